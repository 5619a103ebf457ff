// The rules: where each stands, what it promises, and which ones are off.
import { at, duration, figure, list, name, say, sentence, title } from "./words.js";

const WARN_WITHIN_S = 1800;
// Which side of its limit a rule trips on; above, where nothing is said. "unsaid": only the reason
// tells, as a temperature may be too high or too low.
const SIDES = {
  undervoltage: "below",
  reverse_current: "below",
  balance: "either",
  failed_to_open: "either",
  temperature: "unsaid",
  sensing: "unsaid",
};

export function showRules({ rules, without }) {
  list(at("rules"), rules, showRule);
  list(at("off-rules"), without, showOff);
  at("off").hidden = without.length === 0;
  say(at("off-count"), without.length === 1 ? "1 protection is off" : `${without.length} protections are off`);
  say(at("off-names"), sentence(without.map(({ rule }) => name(rule)).join(", ")));
  const warned = rules.filter(soon);
  at("warnings").hidden = warned.length === 0;
  say(at("warned"), warned.length === 0 ? "" : `Warning: ${warned.map(({ rule }) => name(rule)).join(", ")}`);
  list(at("warning-list"), warned, showWarning);
}

export function limitWords({ rule, limit, unit, reason }) {
  const known = limit !== null && unit !== "";
  const side = SIDES[rule] === "unsaid" && / below /.test(reason) ? "below" : SIDES[rule];
  return (known ? { below: "below ", either: "±" }[side] ?? "" : "") + figure(limit, unit);
}

export function isOnItsWay({ left_s: left, state }) {
  return left !== null && state !== "trip";
}

export function soon(rule) {
  return isOnItsWay(rule) && rule.left_s < WARN_WITHIN_S;
}

// Rounded down: nobody is to have less time than was said.
export function shortTime({ left_s: left }) {
  return left < 1 ? "less than 1\u00a0s" : duration(left, Math.floor);
}

const timeLeft = (rule) => `trips in ${shortTime(rule)} if nothing changes`;

function showWarning(item, rule) {
  say(item.children[0], sentence(`${title(rule.rule)} ${timeLeft(rule)}`));
  say(item.children[1], sentence(rule.reason));
}

function showOff(row, { rule, reason }) {
  say(row.querySelector(".name"), title(rule));
  say(row.querySelector(".reason"), sentence(reason));
}

function showRule(row, rule) {
  const clear = rule.state === "clear";
  const warns = soon(rule) || (isOnItsWay(rule) && !clear);
  row.dataset.state = rule.state;
  say(row.querySelector(".name"), title(rule.rule));
  row.querySelector("use").setAttribute("href", `#mark-${rule.state.replace(" ", "-")}`);
  say(row.querySelector(".word"), rule.for_s === null ? rule.state : `${rule.state} ${duration(rule.for_s)}`);
  say(row.querySelector(".measured"), figure(rule.measured, rule.unit));
  const limit = limitWords(rule);
  say(row.querySelector(".limit"), `${limit.startsWith("below") ? "trips" : "limit"} ${limit}`);
  say(row.querySelector(".left"), warns ? sentence(timeLeft(rule)) : "");
  say(row.querySelector(".reason"), clear ? "" : sentence(rule.reason));
  list(row.querySelector("dl"), facts(rule, clear, warns), showFact);
}

function showFact(item, [term, text, live]) {
  say(item.querySelector("dt"), term);
  say(item.querySelector("dd"), text);
  item.querySelector("dd").classList.toggle("live", live);
}

// [term, text, whether it is of now] of what the row itself does not tell.
function facts(rule, clear, warns) {
  return [
    ["Margin", margin(rule), true],
    ["Finding", clear ? sentence(rule.reason) : "", true],
    ["Time left", isOnItsWay(rule) && !warns ? sentence(timeLeft(rule)) : "", true],
    ["Promise", promise(rule), false],
    ["Guard band", rule.guard_band === null ? "" : `±${figure(rule.guard_band, rule.unit, 1)} measuring error at the limit`, false],
    ["Function", rule.function && `${rule.function}, IEEE C37.2`, false],
  ].filter(([, text]) => text !== "");
}

function margin({ rule, measured, limit, unit }) {
  if (measured === null || unit === "") return "";
  const side = SIDES[rule];
  if (side === "unsaid") return `${figure(Math.abs(limit - measured), unit)} from the limit`;
  const left = { below: measured - limit, either: limit - Math.abs(measured) }[side] ?? limit - measured;
  return left >= 0 ? figure(left, unit) : `none: ${figure(-left, unit)} past the limit`;
}

// Rounded up: "at worst" is not to be too good by a digit.
function promise({ rule, unit, response_s: response, highest_v: highest }) {
  if (unit === "") return "";
  if (response === null) return "The more current, the sooner it opens.";
  const up = (value, digits) => Math.ceil(value * 10 ** digits - 1e-6) / 10 ** digits;
  const within = response < 120 ? figure(up(response, 2), "s") : duration(response, Math.ceil);
  const act = rule === "failed_to_open" ? "Calls for help" : "Opens";
  const cell = highest === null ? "" : `; a cell reaches ${figure(up(highest, 3), "V")} at most`;
  return `${act} within ${within} at worst${cell}.`;
}
