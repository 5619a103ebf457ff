// The states of the circuit: [name of the shape, word, what it means].

const STATES = {
  "open": ["open", "Open", "No charging current can flow. Closing is a deliberate act at the machine."],
  "closed": ["closed", "Closed", "Charging current can flow."],
  "locked out": ["locked", "Locked out", "The protection opened the circuit. It stays open until somebody has found the cause and resets it at the machine."],
  "unfit": ["unfit", "Unfit", "The circuit is open, and something stands in the way of closing it."],
  "paused": ["paused", "Paused", "The circuit is open between two pulses of a pulsed hold. It closes again by itself: hands off."],
  "finished": ["finished", "Finished", "The charge has ended and the circuit is open."],
};
const FAILED = ["failed", "Not seen to open", "Locked out, but nothing shows that the circuit has opened. Current may be flowing: switch the supply off at the mains now."];

export function stateOf(status) {
  return status.lockout && status.lockout.failed_to_open ? FAILED : STATES[status.circuit];
}

export function doubt(status, why) {
  const last = status === null
    ? " Nothing on this page is of now."
    : ` The last word was “${stateOf(status)[1].toLowerCase()}”; it may be wrong by now.`;
  return `${why}${last} Look at the contactor and at a meter, not at this page.`;
}
