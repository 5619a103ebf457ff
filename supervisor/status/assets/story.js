// The story of a lockout: why, how it opened, and what was measured before.
import { draw, summary } from "./plot.js";
import { limitWords } from "./rules.js";
import { opening } from "./states.js";
import { at, figure, say, sentence, title, when } from "./words.js";

const LATEST_S = 10;
const MINUTE_S = 60;
// The rules whose limit is one on what is drawn.
const LIMITED = new Set([
  "overvoltage", "overvoltage_high_set", "undervoltage", "overcurrent", "overcurrent_inverse", "reverse_current",
]);

export function showLockout(lockout) {
  at("lockout").hidden = lockout === null;
  if (lockout === null) return;
  const { tripped_by: rule, unit, before } = lockout;
  say(at("lockout-reason"), sentence(lockout.reason));
  say(at("lockout-rule"), title(rule));
  say(at("lockout-measured"), figure(lockout.measured, unit, 1));
  say(at("lockout-limit"), limitWords({ ...lockout, rule }));
  say(at("lockout-when"), when(lockout.wall));
  say(at("lockout-opening"), opening(lockout));
  say(at("lockout-stored"), lockout.stored ? "on disk; outlasts a restart" : "NOT on disk; only until a restart");
  say(at("lockout-remedy"), sentence(lockout.remedy));
  at("before").hidden = before.length === 0;
  at("longer").hidden = !before.some((moment) => moment.before_s > LATEST_S);
  showBefore(at("seconds"), lockout, LATEST_S);
  showBefore(at("minute"), lockout, MINUTE_S);
}

function showBefore(place, lockout, longest) {
  const oldest = Math.max(1, ...lockout.before.map((moment) => moment.before_s));
  const span = Math.min(longest, Math.ceil(oldest));
  const moments = lockout.before.filter((moment) => moment.before_s <= span);
  say(place.querySelector("figcaption"), summary(moments, `The last ${Math.round(span)}\u00a0s`));
  draw(place.querySelector("svg"), {
    story: lockout.wall,
    moments,
    span,
    unit: "s",
    words: "the trip",
    pixels: at("lockout").clientWidth,
    limits: LIMITED.has(lockout.tripped_by) ? { [lockout.unit]: lockout.limit } : {},
    marks: [[0, ""]],
  });
}
