// What is measured now, and how far the highest cell is from the limit.
import { STALE_AFTER_S } from "./clock.js";
import { DECIMALS, at, duration, figure, list, minus, say, title } from "./words.js";

const PROBE_STALE_AFTER_S = 60; // the longest that any settings let a probe be silent
export const CELLS = ["front_cell", "far_cell"];
export const CHANNELS = [...CELLS, "shunt"];

export function showReadings(status) {
  for (const name of CHANNELS) showChannel(name, status);
  showMargin(status);
  list(at("probes"), status.probes, showProbe);
  const auxiliary = { true: "closed", false: "open", null: "not fitted" }[status.auxiliary_closed];
  say(at("contacts"), `Coil ${status.coil_on ? "on" : "off"} · auxiliary contact ${auxiliary}`);
  say(at("closings"), closings(status));
}

// What trips first as the cells fill.
export function limitOf(status) {
  const rule = status.rules.find((candidate) => candidate.rule === "overvoltage");
  return rule && rule.unit === "V" ? rule.limit : null;
}

export function channelOf(status, name) {
  return status.channels.find((channel) => channel.channel === name);
}

// The value, or null when the reading is bad or older than the page's own limit.
export function valueOf(channel) {
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

function closings({ operations, rated_operations: rated }) {
  const whole = (number) => String(number).replace(/\B(?=(\d{3})+$)/g, "\u00a0");
  const limit = rated === null ? "so far" : `of ${whole(rated)} rated`;
  return `Contactor: ${whole(operations)} ${operations === 1 ? "closing" : "closings"} ${limit}`;
}

function showMargin(status) {
  const limit = limitOf(status);
  const cells = CELLS.map((name) => channelOf(status, name)).filter(Boolean);
  const values = cells.map(valueOf);
  const canTell = limit !== null && values.length > 0 && !values.includes(null);
  at("scale").toggleAttribute("hidden", !canTell);
  at("margin").classList.toggle("no-value", !canTell);
  const margin = canTell ? limit - Math.max(...values) : 0;
  say(at("margin-term"), margin < 0 ? "Above the limit" : "To the limit");
  say(at("margin").querySelector(".live"), canTell ? Math.abs(margin).toFixed(DECIMALS.V) : "cannot tell");
  say(at("margin").querySelector("small"), canTell ? `V ${margin < 0 ? "above" : "below"} ${figure(limit, "V")}` : "");
  if (canTell) drawScale(status, limit, values);
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
