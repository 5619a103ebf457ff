// Shows api/status, and stops believing it 3 s after the supervisor published it.
import { showGuidance } from "./guidance.js";
import { showRules } from "./rules.js";
import { showLockout } from "./story.js";
import { DECIMALS, at, duration, figure, list, minus, say, sentence, title, when } from "./words.js";

const STALE_AFTER_S = 3;
const PROBE_STALE_AFTER_S = 60; // the longest that any settings let a probe be silent
const POLL_MS = 1000;
const TIMEOUT_MS = 2000;
const TICK_MS = 250;
const OWN_PROFILE = "bank"; // the settings' own name for themselves, see settings.model

// circuit state: [name of its shape, word, what it means]
const STATES = {
  "open": ["open", "Open", "No charging current can flow. Closing is a deliberate act at the machine."],
  "closed": ["closed", "Closed", "Charging current can flow. The contactor holds only while good readings keep renewing its permission."],
  "locked out": ["locked", "Locked out", "The protection opened the circuit. It stays open until somebody has found the cause and resets it at the machine."],
  "unfit": ["unfit", "Unfit", "The circuit is open, and something stands in the way of closing it."],
  "paused": ["paused", "Paused", "The circuit is open between two pulses of a pulsed hold. It closes again by itself: hands off."],
  "finished": ["finished", "Finished", "The charge has ended and the circuit is open."],
};
const FAILED = ["failed", "Not seen to open", "Locked out, but nothing shows that the circuit has opened. Current may be flowing: switch the supply off at the mains now."];

let seen = null; // newest snapshot and the moment it was asked for
let problem = "This page has not heard from the supervisor yet.";

const moment = () => ({ steady: performance.now(), wall: Date.now() });

// The steady clock stops while a device sleeps, the wall clock may be set back: trust the longer.
function secondsSince(then) {
  const now = moment();
  return Math.max(now.steady - then.steady, now.wall - then.wall) / 1000;
}

function ageS() {
  return seen && seen.status.age_s + secondsSince(seen.asked);
}

function isFresh() {
  return seen !== null && seen.status.fresh && problem === "" && ageS() <= STALE_AFTER_S;
}

async function poll() {
  const asked = moment();
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), TIMEOUT_MS);
  try {
    const response = await fetch("api/status", { signal: stop.signal, cache: "no-store" });
    take(await response.json(), asked);
  } catch {
    if (!isFresh()) problem = "This page gets no answer from the machine.";
  } finally {
    clearTimeout(timer);
    setTimeout(poll, Math.max(0, POLL_MS - secondsSince(asked) * 1000));
  }
}

function take(status, asked) {
  if (typeof status.fresh !== "boolean") throw new TypeError("not a status");
  problem = status.problem;
  if (status.circuit !== undefined) {
    showSnapshot(status); // first: a snapshot that cannot be shown must not renew the age
    seen = { status, asked };
  }
  tick();
}

function tick() {
  const fresh = isFresh();
  document.documentElement.dataset.fresh = fresh;
  const [shape, word, meaning] = fresh ? known(seen.status) : ["none", "No fresh data", doubt()];
  document.documentElement.dataset.state = shape;
  say(at("state"), word);
  say(at("meaning"), meaning);
  say(at("age"), seen ? `${word} · ${fresh ? "data " : ""}${duration(Math.max(1, Math.ceil(ageS())))} old` : "No data yet");
  const where = seen ? seen.status.bank : "";
  const simulated = seen && seen.status.simulated ? "SIMULATION " : "";
  document.title = `${simulated}${word} ${where}`;
}

function known(status) {
  return status.lockout && status.lockout.failed_to_open ? FAILED : STATES[status.circuit];
}

function doubt() {
  const why = problem || "This page gets no answer from the machine.";
  const last = seen ? ` The last word was “${known(seen.status)[1].toLowerCase()}”; it may be wrong by now.` : "";
  return `${why}${last} Look at the contactor and at a meter, not at this page.`;
}

function showSnapshot(status) {
  say(at("bank"), status.bank);
  say(at("profile"), status.profile === OWN_PROFILE ? "" : `profile ${status.profile}`);
  at("simulation").hidden = !status.simulated;
  at("uncommissioned").hidden = status.uncommissioned === null;
  say(at("uncommissioned-reason"), status.uncommissioned ?? "");
  at("blocked").hidden = status.not_closing_because.length === 0;
  list(at("blocked-list"), status.not_closing_because, (item, reason) => say(item, sentence(reason)));
  showLockout(status.lockout);
  for (const name of ["front_cell", "far_cell", "shunt"]) showChannel(name, status);
  showMargin(status);
  list(at("probes"), status.probes, showProbe);
  showGuidance(status);
  showRules(status);
  list(at("events"), status.events.slice(-12).reverse(), showEvent);
  const auxiliary = { true: "closed", false: "open", null: "not fitted" }[status.auxiliary_closed];
  say(at("contacts"), `Coil ${status.coil_on ? "on" : "off"} · auxiliary contact ${auxiliary}`);
  say(at("closings"), closings(status));
  const { bus_errors: errors, deadline_misses: late } = status.counters;
  say(at("machine"), `Since ${when(status.started_wall)}: ${errors} bus errors, ${late} late cycles. Version ${status.version}`);
}

function closings({ operations, rated_operations: rated }) {
  const whole = (number) => String(number).replace(/\B(?=(\d{3})+$)/g, "\u00a0");
  const limit = rated === null ? "so far" : `of ${whole(rated)} rated`;
  return `Contactor: ${whole(operations)} ${operations === 1 ? "closing" : "closings"} ${limit}`;
}

function channelOf(status, name) {
  return status.channels.find((channel) => channel.channel === name);
}

// The value, or null when the reading is bad or older than the page's own limit.
function valueOf(channel) {
  return channel && channel.age_s <= STALE_AFTER_S ? channel.value : null;
}

function showChannel(name, status) {
  const channel = channelOf(status, name);
  const value = valueOf(channel);
  at(name).hidden = channel === undefined;
  if (channel === undefined) return;
  at(name).classList.toggle("no-value", value === null);
  const bad = `no value: ${channel.value === null ? channel.quality : "old reading"}`;
  const digits = DECIMALS[channel.unit];
  say(at(name).querySelector(".live"), value === null ? bad : minus(value.toFixed(digits)));
  say(at(name).querySelector("small"), `${channel.unit} ± ${channel.uncertainty.toFixed(digits)}`);
}

function showProbe(row, { probe, place, celsius, quality, age_s: ageS }) {
  const old = ageS > PROBE_STALE_AFTER_S;
  const bad = celsius === null || old;
  row.classList.toggle("no-value", bad);
  say(row.querySelector("dt"), `${title(place)} · ${probe}`);
  say(row.querySelector(".live"), bad ? `no value: ${celsius === null ? quality : "old reading"}` : minus(celsius.toFixed(DECIMALS["°C"])));
  say(row.querySelector("small"), ageS > STALE_AFTER_S ? `°C, ${duration(ageS)} ago` : "°C");
}

function showMargin(status) {
  const rule = status.rules.find((candidate) => candidate.rule === "overvoltage");
  const cells = ["front_cell", "far_cell"].map((name) => channelOf(status, name)).filter(Boolean);
  const values = cells.map(valueOf);
  const canTell = rule !== undefined && values.length > 0 && !values.includes(null);
  at("scale").toggleAttribute("hidden", !canTell);
  if (!canTell) {
    say(at("margin"), "Margin to the overvoltage limit: cannot tell.");
    return;
  }
  const margin = rule.limit - Math.max(...values);
  const side = margin >= 0 ? "below" : "above";
  say(at("margin"), `${figure(Math.abs(margin), "V")} ${side} the overvoltage limit.`);
  drawScale(status, rule.limit, values);
}

function drawScale(status, limit, values) {
  const low = Math.floor((Math.min(limit - 0.35, ...values) + 1e-9) * 10) / 10;
  const high = Math.max(status.never_above_v, ...values) + 0.01;
  const x = (volts) => `${(100 * (volts - low)) / (high - low)}%`;
  const place = (id, attributes) => {
    for (const [name, value] of Object.entries(attributes)) at(id).setAttribute(name, value);
  };
  place("scale-zone", { x: x(limit), width: `${(100 * (high - limit)) / (high - low)}%` });
  place("scale-limit", { x1: x(limit), x2: x(limit) });
  place("scale-never", { x1: x(status.never_above_v), x2: x(status.never_above_v) });
  place("scale-limit-text", { x: x(limit) });
  place("scale-never-text", { x: x(status.never_above_v) });
  place("scale-front", { x: x(values[0]) });
  at("scale-far").toggleAttribute("hidden", values.length < 2);
  if (values.length > 1) place("scale-far", { x: x(values[1]) });
  say(at("scale-limit-text"), `limit ${figure(limit, "V")}`);
  say(at("scale-never-text"), `never above ${figure(status.never_above_v, "V")}`);
  say(at("scale-low-text"), figure(low, "V"));
}

function showEvent(row, event) {
  const time = row.querySelector("time");
  time.dateTime = event.wall;
  say(time, when(event.wall));
  say(row.querySelector("span"), sentence(event.text));
}

setInterval(tick, TICK_MS);
addEventListener("pageshow", tick);
addEventListener("visibilitychange", tick);
poll();
