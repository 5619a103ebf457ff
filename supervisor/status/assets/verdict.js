// One line below the state: how the protection stands, taken together.
import { isOnItsWay, limitWords, shortTime, soon } from "./rules.js";
import { isNotOpen } from "./states.js";
import { at, figure, name, say, title } from "./words.js";

const NAMED = 2; // of the rules that are not clear

export function showVerdict(status) {
  const worrying = status.rules.filter((rule) => rule.state !== "clear" || soon(rule));
  const calmNow = worrying.length === 0 && status.rules.length > 0;
  const calm = worrying.length === 0 && status.without.length === 0 && status.lockout === null;
  at("verdict-mark").setAttribute("href", `#mark-${calm ? "clear" : "warning"}`);
  // What is off does not watch a circuit in which nothing is to flow.
  const isIdle = status.circuit === "open" || status.circuit === "finished";
  at("verdict").classList.toggle("worry", worrying.length > 0 || status.lockout !== null || (!calm && !isIdle));
  say(at("verdict-words"), [
    status.lockout && tripped(status.lockout),
    ...worrying.slice(0, NAMED).map(worry),
    status.lockout ? afterTrip(status, calmNow) : count(status.rules.length, worrying.length),
  ].filter(Boolean).join(" "));
  at("off-link").hidden = status.without.length === 0;
  say(at("off-words"), status.without.length === 1 ? "1 protection is off." : `${status.without.length} protections are off.`);
}

function tripped({ tripped_by: rule, measured, limit, unit, reason }) {
  if (measured === null || limit === null) return `Tripped by ${name(rule)}.`;
  return `Tripped by ${name(rule)}: ${figure(measured, unit, 1)}, limit ${limitWords({ rule, limit, unit, reason })}.`;
}

function worry(rule) {
  if (isOnItsWay(rule)) return `${title(rule.rule)}: trips in ${shortTime(rule)}.`;
  return `${title(rule.rule)}: ${rule.state}.`;
}

// A trip takes its cause away from the readings, and beside a contactor that did not open nothing
// is to sound calm.
function afterTrip(status, calm) {
  return calm && !isNotOpen(status) ? "Nothing is past a limit now; the cause may still be there." : "";
}

function count(all, worrying) {
  if (all === 0) return "No rule is watching.";
  const rules = all === 1 ? "rule" : "rules";
  return `${worrying === 0 ? "All" : `${all - worrying} of`} ${all} ${rules} clear.`;
}
