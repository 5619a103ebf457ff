// Whether this page sounds, why, and the button that says and changes it.
import { moment, secondsSince } from "./clock.js";
import { allowSound, canSound, hush, keepSounding, sound } from "./sound.js";
import { keepAwake, letSleep, showAwake } from "./awake.js";
import { isNotOpen } from "./states.js";
import { at, say } from "./words.js";

const LOST_AFTER_S = 7; // a link that is away for a breath wakes nobody; common practice, no source
const NOTICED_S = 3; // a device that wakes has the time to ask again
const KEPT = "sound-was-on"; // for this tab: a page that is loaded anew may not sound by itself
const AGAIN_AFTER_S = 30; // common practice, no source
const LOST = { pattern: "lost", why: "no data", keys: ["lost"] };

let on = false;
let quiet = new Map(); // what a tap has silenced, and when
let occasion = null; // {pattern, why, keys, again} of what it would sound for; again: soon after a tap
let freshAt = moment();
let lostAt = null; // when it was noticed

export function setUpAlarm() {
  at("sound").addEventListener("click", tap);
  for (const button of at("tests").querySelectorAll("button")) {
    button.addEventListener("click", () => allowSound(show).then(() => sound(button.dataset.pattern)));
  }
  showAwake();
  if ("AudioContext" in window) return;
  for (const button of [at("sound"), ...at("tests").querySelectorAll("button")]) button.disabled = true;
}

// Called often, with the newest status and whether it is fresh.
export function watch(status, fresh) {
  occasion = fresh ? whatIsUp(status) : whatIsLost();
  if (fresh) {
    freshAt = moment();
    lostAt = null;
    quiet = new Map([...quiet].filter(([key]) => occasion?.keys.includes(key)));
  }
  if (on && isLoud()) keepSounding(occasion.pattern);
  show();
}

const isLoud = () => occasion !== null && !occasion.keys.every(isQuiet);

function isQuiet(key) {
  return quiet.has(key) && !(occasion.again && secondsSince(quiet.get(key)) >= AGAIN_AFTER_S);
}

function whatIsUp(status) {
  const { lockout, guidance } = status;
  if (isNotOpen(status)) return { pattern: "trip", why: "not open", keys: [`failed ${lockout.wall}`], again: true };
  if (lockout) return { pattern: "trip", why: "tripped", keys: [`trip ${lockout.wall}`] };
  const keys = (guidance?.cues ?? []).filter(({ urgency }) => urgency === "now").map(({ cue }) => cue);
  return keys.length > 0 ? { pattern: "now", why: "act now", keys } : null;
}

// Until then it goes on with what it sounds for; and for a contactor that did not open, for good.
function whatIsLost() {
  if (occasion?.again) return occasion;
  if (secondsSince(freshAt) >= LOST_AFTER_S) {
    lostAt ??= moment();
    if (secondsSince(lostAt) >= NOTICED_S) return LOST;
  }
  return occasion && { ...occasion, why: LOST.why };
}

// What a tap does is what the button says.
async function tap() {
  if (!on || !canSound()) await turnOn();
  else if (isLoud() || occasion?.again) {
    for (const key of occasion.keys) quiet.set(key, moment());
    hush();
  } else turnOff();
  show();
}

async function turnOn() {
  await allowSound(show);
  on = true;
  quiet = new Map();
  sound("on");
  keepAwake();
  keep("yes");
}

function turnOff() {
  on = false;
  hush();
  letSleep();
  keep("");
}

function show() {
  const [state, head, hint] = told();
  at("sound").dataset.state = state;
  say(at("sound-head"), head);
  say(at("sound-hint"), hint);
  at("sound-mark").setAttribute("href", state === "off" || state === "stopped" ? "#mark-silent" : "#mark-sound");
}

function told() {
  if (!("AudioContext" in window)) return ["off", "No sound", "This browser offers none"];
  if (!on && kept()) return ["off", "Sound stopped", "Page loaded anew: tap for sound"];
  if (!on) return ["off", "Sound is off", "Tap for sound on"];
  if (!canSound()) return ["stopped", "Sound stopped", "By the browser: tap for sound"];
  if (isLoud()) return ["alarm", `ALARM: ${occasion.why}`, "Tap for quiet"];
  if (occasion?.again) return ["on", `Quiet for ${AGAIN_AFTER_S} s`, `Then again: ${occasion.why}`];
  return ["on", occasion ? "Quiet for this" : "Sound is on", "Tap for sound off"];
}

function keep(value) {
  try {
    sessionStorage.setItem(KEPT, value);
  } catch {
    // A browser that keeps nothing only forgets to say why it is silent.
  }
}

function kept() {
  try {
    return sessionStorage.getItem(KEPT) === "yes";
  } catch {
    return false;
  }
}
