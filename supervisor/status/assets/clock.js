// How old is what the machine said? Told without this device's time of day.

export const STALE_AFTER_S = 3;

export const moment = () => ({ steady: performance.now(), wall: Date.now() });

// The steady clock stops while a device sleeps, the wall clock may be set back: trust the longer.
export function secondsSince(then) {
  const now = moment();
  return Math.max(now.steady - then.steady, now.wall - then.wall) / 1000;
}

// The machine's own clock, at the latest it can be: what it said in an answer, and the time since
// that was asked for. An event of a stream says nothing on it: it may have waited on its way, as
// it does while a phone sleeps, and would look as if it were of now.
let told = null;

export function setMachineClock(status, asked) {
  if (status.age_s !== null) told = { machineS: status.published_at_s + status.age_s, asked };
}

// At the most; null when no answer has told the machine's time yet.
export function ageS(status) {
  return told && told.machineS + secondsSince(told.asked) - status.published_at_s;
}

// Published after the machine's time by more than two clocks part: from before its restart.
const AHEAD_S = 1;

export function isPresent(status) {
  const age = ageS(status);
  return age !== null && age <= STALE_AFTER_S && age >= -AHEAD_S;
}
