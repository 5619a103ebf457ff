// The charge: how far it is, how it will go on, what it waits for.
import { isNotOpen } from "./states.js";
import { at, duration, figure, list, say, sentence, told } from "./words.js";

const MICRO = 1e6;
const COVERAGE = 2; // k: every ± of this page is an expanded uncertainty
const PULSES_SHOWN = 6;
const IN_SECONDS_BELOW_S = 1200; // pulses shorten by seconds, and that is what there is to see

const down = (seconds) => duration(seconds, Math.floor);
const words = (text) => sentence(told(text));

export function showGuidance(status) {
  const { guidance, circuit } = status;
  const closed = circuit === "closed";
  at("charge").hidden = guidance === null;
  at("stages").hidden = guidance === null;
  at("ahead").hidden = guidance === null || !closed;
  if (guidance === null) return;
  showStages(guidance);
  // Advice on the hold is advice for the hand on the knob; while paused it is hands off. And what
  // guides takes a circuit for open whose coil is off.
  say(at("advice"), circuit === "paused" || isNotOpen(status) ? "" : told(guidance.advice));
  showToLimit(guidance.to_limit);
  showForecast("to-full", guidance.to_full, `about ${duration(guidance.to_full.best_s)}`);
  say(at("cell"), closed ? cell(guidance) : "");
  say(at("resistance"), closed ? resistance(guidance) : "");
  say(at("charged"), charged(guidance));
  say(at("charge-left"), `At most ${figure(guidance.left_ah, "Ah")}`);
  for (const id of ["cell", "resistance"]) at(id).parentElement.hidden = !closed;
  showFull(guidance.full);
  showRest(guidance.rest);
  showPulses(guidance.pulses, circuit);
}

function showStages({ stage, stage_for_s: forS }) {
  for (const item of at("stages").children) {
    const present = item.dataset.stage === stage;
    if (present) item.setAttribute("aria-current", "step");
    else item.removeAttribute("aria-current");
    item.querySelector(".word").classList.toggle("live", present);
    say(item.querySelector(".for"), present ? `for ${down(forS)}` : "");
  }
}

// In large the time to go by: the limit at the earliest, full as it is expected.
function showForecast(id, { best_s: best, words: text }, large) {
  say(at(`${id}-time`), best === null ? "" : large);
  say(at(id), words(text));
}

// Where it may be at once, "0 s" would say that it is: then until when it will be.
function showToLimit(forecast) {
  const { best_s: best, low_s: low, high_s: high } = forecast;
  const isNear = high !== null && (low ?? best) < 1;
  say(at("to-limit-term"), isNear ? "Limit" : "Limit, at the earliest");
  showForecast("to-limit", forecast, isNear ? within(high) : down(Math.max(0, low ?? best)));
}

const within = (seconds) => `within ${seconds < 7200 ? `${Math.max(1, Math.ceil(seconds / 60))}\u00a0min` : duration(seconds, Math.ceil)}`;

function cell({ measured_v: measured, at_rest_v: atRest }) {
  if (measured === null) return "Cannot tell.";
  const rest = atRest === null ? "at rest: not known yet" : `${figure(atRest, "V")} at rest, less the drop of the current`;
  return `${figure(measured, "V")} measured; ${rest}`;
}

function resistance({ resistance_ohm: ohm, resistance_u_ohm: standardOhm }) {
  if (ohm === null) return "Not known yet: turns of the knob will show it";
  const unsure = standardOhm === null ? "" : ` ± ${figure(COVERAGE * standardOhm * MICRO, "microohm")}`;
  return `${figure(ohm * MICRO, "microohm")}${unsure}, learned from turns of the knob`;
}

function charged({ charged_ah: ah, charged_u_ah: unsureAh, charged_wh: wh, charge_is_whole: whole }) {
  const counted = `${figure(ah, "Ah")} ± ${figure(unsureAh, "Ah")}, ${figure(wh, "Wh")}`;
  return whole ? counted : `At least ${counted}; a restart lost some`;
}

function showFull(full) {
  at("full").hidden = full === null;
  if (full === null) return;
  const { for_s: forS, of_s: ofS, missing } = full;
  const met = missing.length === 0;
  say(at("full-head"), met ? "All is met for full" : "Missing to full");
  list(at("missing"), missing, (item, text) => say(item, words(text)));
  const then = met ? ", then the circuit opens by itself" : "";
  say(at("full-for"), `Met for ${down(forS)} of ${duration(ofS)}${then}.`);
  progress(at("full-progress"), forS, ofS);
}

function showRest(rest) {
  at("rest").hidden = rest === null;
  if (rest === null) return;
  const { state, for_s: forS, of_s: ofS, findings } = rest;
  say(at("rest-state"), {
    watching: `Watching for ${down(forS)} of ${duration(ofS)}.`,
    passed: "Passed: the balance took.",
    failed: "Not passed.",
  }[state]);
  at("rest").dataset.state = state;
  at("rest-progress").hidden = state !== "watching";
  progress(at("rest-progress"), forS, ofS);
  list(at("findings"), findings, (item, text) => say(item, words(text)));
  say(at("rest-values"), values(rest));
}

function values({ front_v: front, lag_v: lag, fall_v_per_h: fall }) {
  const mV = (volts) => `${Math.abs(volts * 1000).toFixed(0)}\u00a0mV`;
  const parts = [
    front === null ? "" : `front cell at ${figure(front, "V")}`,
    lag === null ? "" : `far cell ${mV(lag)} ${lag < 0 ? "above" : "below"} it`,
    fall === null ? "" : `${fall < 0 ? "rising" : "falling"} by ${mV(fall)} an hour`,
  ].filter((text) => text !== "");
  return parts.length === 0 ? "" : sentence(parts.join(", "));
}

function showPulses(pulses, circuit) {
  at("pulses").hidden = pulses === null;
  if (pulses === null) return;
  const { count, most, lengths_s: lengths, waits_for: waitsFor } = pulses;
  say(at("pulse-count"), `Closed again by itself ${count} times, ${most} at the most.`);
  const newest = lengths.slice(-PULSES_SHOWN).map((s) => (s < IN_SECONDS_BELOW_S ? `${Math.round(s)}\u00a0s` : down(s)));
  say(at("pulse-lengths"), newest.length === 0 ? "" : `Pulses, the newest last: ${newest.join(", ")}.`);
  const waits = circuit === "paused" ? `The next waits for ${waitsFor}` : waitsFor;
  say(at("pulse-waits"), waitsFor && words(waits));
}

function progress(bar, value, most) {
  bar.max = Math.max(most, 1);
  bar.value = value;
}
