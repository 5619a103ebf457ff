// Whether this page sounds, why, and the button that says and changes it.
import { moment, secondsSince } from "./clock.js";
import { allowSound, canSound, hush, keepSounding, sound } from "./sound.js";
import { keepAwake, letSleep, showAwake } from "./awake.js";
import { at, say } from "./words.js";

const LOST_AFTER_S = 7; // a link that is away for a breath wakes nobody; common practice, no source
const NOTICED_S = 3; // a device that wakes has the time to ask again
const KEPT = "sound-was-on"; // for this tab: a page that is loaded anew may not sound by itself
const WHY = { trip: "tripped", now: "act now", lost: "no data" };

let on = false;
let quiet = new Set(); // what a tap has silenced
let occasion = null; // {kind, keys} of what it would sound for
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
    quiet = new Set((occasion?.keys ?? []).filter((key) => quiet.has(key)));
  }
  if (on && isLoud()) keepSounding(occasion.kind);
  show();
}

const isLoud = () => occasion !== null && occasion.keys.some((key) => !quiet.has(key));

function whatIsUp({ lockout, guidance }) {
  if (lockout) return { kind: "trip", keys: [`trip ${lockout.wall}`] };
  const keys = (guidance?.cues ?? []).filter(({ urgency }) => urgency === "now").map(({ cue }) => cue);
  return keys.length > 0 ? { kind: "now", keys } : null;
}

// Until then it goes on with what it sounds for.
function whatIsLost() {
  if (secondsSince(freshAt) < LOST_AFTER_S) return occasion;
  lostAt ??= moment();
  return secondsSince(lostAt) < NOTICED_S ? occasion : { kind: "lost", keys: ["lost"] };
}

// What a tap does is what the button says.
async function tap() {
  if (!on || !canSound()) await turnOn();
  else if (isLoud()) {
    for (const key of occasion.keys) quiet.add(key);
    hush();
  } else turnOff();
  show();
}

async function turnOn() {
  await allowSound(show);
  on = true;
  quiet = new Set();
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
  if (isLoud()) return ["alarm", `ALARM: ${WHY[occasion.kind]}`, "Tap for quiet"];
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
