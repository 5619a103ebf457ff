// One line below the state: how the protection stands, taken together.
import { isOnItsWay, limitWords, shortTime, soon } from "./rules.js";
import { at, figure, name, say, title } from "./words.js";

const NAMED = 2; // of the rules that are not clear

export function showVerdict(status) {
  const worrying = status.rules.filter((rule) => rule.state !== "clear" || soon(rule));
  const calm = worrying.length === 0 && status.without.length === 0 && status.lockout === null;
  at("verdict-mark").setAttribute("href", `#mark-${calm ? "clear" : "warning"}`);
  at("verdict").classList.toggle("worry", !calm);
  say(at("verdict-words"), [
    status.lockout && tripped(status.lockout),
    ...worrying.slice(0, NAMED).map(worry),
    // Beside a contactor that did not open nothing is to sound calm.
    status.lockout?.failed_to_open ? "" : count(status.rules.length, worrying.length, status.lockout ? " by now" : ""),
  ].filter(Boolean).join(" "));
  at("off-link").hidden = status.without.length === 0;
  say(at("off-link"), status.without.length === 1 ? "1 protection is off." : `${status.without.length} protections are off.`);
}

function tripped({ tripped_by: rule, measured, limit, unit, reason }) {
  if (measured === null || limit === null) return `Tripped by ${name(rule)}.`;
  return `Tripped by ${name(rule)}: ${figure(measured, unit, 1)}, limit ${limitWords({ rule, limit, unit, reason }, 1)}.`;
}

function worry(rule) {
  if (isOnItsWay(rule)) return `${title(rule.rule)}: trips in ${shortTime(rule)}.`;
  return `${title(rule.rule)}: ${rule.state}.`;
}

function count(all, worrying, when) {
  if (all === 0) return "No rule is watching.";
  const rules = all === 1 ? "rule" : "rules";
  return `${worrying === 0 ? "All" : `${all - worrying} of`} ${all} ${rules} clear${when}.`;
}
