// The states of the circuit: [name of the shape, word, what it means].
import { channelOf, valueOf } from "./readings.js";
import { figure, sentence } from "./words.js";

const STATES = {
  "open": ["open", "Open", "No charging current can flow. Closing is a deliberate act at the machine."],
  "closed": ["closed", "Closed", "Charging current can flow."],
  "locked out": ["locked", "Locked out", "The protection opened the circuit. It stays open until somebody has found the cause and resets it at the machine."],
  "unfit": ["unfit", "Unfit", "The circuit is open, and something stands in the way of closing it."],
  "paused": ["paused", "Paused", "The circuit is open between two pulses of a pulsed hold. It closes again by itself: hands off."],
  "finished": ["finished", "Finished", "The charge has ended and the circuit is open."],
};
const FAILED = ["failed", "Not seen to open", "Locked out, but nothing shows that the circuit has opened. Current may be flowing: switch the supply off at the mains now."];

const HAND_NEEDED = "Closed, and a hand is needed now.";
const FLOWS = {
  false: "Open: no charging current flows.",
  true: "Current still flows: switch the supply off at the mains now.",
  null: "The coil is off; whether current flows is not known.",
};
const AT = "at the contactor and at a meter, not at this page.";

export const isNotOpen = ({ lockout }) => lockout !== null && lockout.failed_to_open;

export function stateOf(status) {
  return isNotOpen(status) ? FAILED : STATES[status.circuit];
}

// What the state means now: it must not sound calmer than what stands below it.
export function meaningOf(status) {
  const [, , meaning] = stateOf(status);
  if (status.circuit === "closed" && status.guidance?.cues.some(({ urgency }) => urgency === "now")) return HAND_NEEDED;
  if (!isTripped(status)) return meaning;
  return flows(status) ? FLOWS.true : `${FLOWS[flows(status)]} ${meaning}`;
}

// What shows it, on a trip that opened; "" else. Apart from the meaning, as figures change.
export function opened(status) {
  if (!isTripped(status)) return "";
  const current = valueOf(channelOf(status, "shunt"));
  const measured = current === null ? "" : `${figure(current, "A")} measured now.`;
  return [measured, sentence(`opening ${opening(status.lockout)}`)].filter(Boolean).join(" ");
}

export function opening({ failed_to_open: failed, opened_in_s: openedInS }) {
  if (failed) return "NOT SEEN: nothing shows that it opened after the coil was dropped";
  if (openedInS === null) return "seen by nobody";
  return `confirmed ${(openedInS * 1000).toFixed(0)}\u00a0ms after the coil was dropped`;
}

const isTripped = (status) => status.circuit === "locked out" && !isNotOpen(status);

// Told from zero by what the rule goes by that watches the opening; null: nobody knows.
function flows({ channels, rules }) {
  const current = valueOf(channelOf({ channels }, "shunt"));
  const least = rules.find(({ rule, unit }) => rule === "failed_to_open" && unit === "A")?.limit ?? null;
  return current === null || least === null ? null : Math.abs(current) > least;
}

export function doubt(status, why) {
  if (status === null) return `${why} Nothing on this page is of now. Look ${AT}`;
  const last = `${why} The last word was “${stateOf(status)[1].toLowerCase()}”`;
  if (isNotOpen(status)) return `${last}: switch the supply off at the mains, then look ${AT}`;
  return `${last}; it may be wrong by now. Look ${AT}`;
}
