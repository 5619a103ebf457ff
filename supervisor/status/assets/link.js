// Brings the status: by the stream where there is one, and by asking. Every answer that was asked
// for sets the machine's clock, so it is asked now and then beside the stream, too.
import { ageS, isPresent, moment, secondsSince, setMachineClock } from "./clock.js";

const BEAT_MS = 1000;
const BESIDE_STREAM_S = 5;
const TIMEOUT_MS = 2000;
const STREAM_QUIET_S = 3; // the server sends at least one event a second
const STREAM_AGAIN_S = 10;
const SILENCE = "This page gets no answer from the machine.";

let seen = null; // the newest snapshot that could be shown
let problem = "This page has not heard from the supervisor yet.";
let asked = null;
let asking = false;
let stream = null;
let streamBegan = null;
let streamHeard = null;
let show = () => {};

export const latest = () => seen;
export const whyNot = () => problem || SILENCE;
export const latestAgeS = () => seen && ageS(seen);
export const isFresh = () => seen !== null && seen.fresh && problem === "" && isPresent(seen);

// Calls showStatus with each snapshot; what it throws makes the page go on to doubt.
export function connect(showStatus) {
  show = showStatus;
  for (const event of ["pageshow", "online"]) addEventListener(event, ask);
  document.addEventListener("visibilitychange", ask);
  setInterval(beat, BEAT_MS);
  beat();
}

function beat() {
  const within = (then, seconds) => then !== null && secondsSince(then) < seconds;
  if (!within(streamHeard, STREAM_QUIET_S)) {
    if (!within(streamBegan, STREAM_AGAIN_S)) listen();
    ask();
  } else if (!within(asked, BESIDE_STREAM_S)) ask();
}

function listen() {
  stream?.close();
  streamBegan = moment();
  stream = new EventSource("api/stream");
  stream.addEventListener("status", (event) => {
    streamHeard = moment();
    takeEvent(JSON.parse(event.data));
  });
  stream.onerror = () => stream.close(); // "beat" opens another
}

// Whatever waited on its way is not to replace what came since.
function takeEvent(status) {
  if (seen === null || status.circuit === undefined || status.published_at_s >= seen.published_at_s) take(status);
}

async function ask() {
  if (asking) return;
  asking = true;
  asked = moment();
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), TIMEOUT_MS);
  try {
    const answer = await fetch("api/status", { signal: stop.signal, cache: "no-store" });
    const status = await answer.json();
    setMachineClock(status, asked);
    take(status);
  } catch {
    if (!isFresh()) problem = SILENCE;
  } finally {
    clearTimeout(timer);
    asking = false;
  }
}

function take(status) {
  if (typeof status.fresh !== "boolean") throw new TypeError("not a status");
  problem = status.problem;
  if (status.circuit === undefined) return;
  show(status); // first: a snapshot that cannot be shown must not renew the age
  seen = status;
}
