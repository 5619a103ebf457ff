// A plot of what was measured before a trip: cells above, current below, one axis of time.
import { figure, minus } from "./words.js";

const CELLS = { unit: "V", title: "Cells, V", keys: ["front_cell", "far_cell"], least: 0.02, steps: 4, top: 26, height: 118 };
const CURRENT = { unit: "A", title: "Current, A", keys: ["shunt"], least: 2, steps: 3, top: 184, height: 66 };
const NAMES = { front_cell: "front cell", far_cell: "far cell", shunt: "current" };
// The rules whose limit is one on what is drawn.
const LIMITED = new Set([
  "overvoltage", "overvoltage_high_set", "undervoltage", "overcurrent", "overcurrent_inverse", "reverse_current",
]);
const NS = "http://www.w3.org/2000/svg";
const EM = 16; // units of the drawing: text keeps the reader's size, lines take the width there is
const [LEFT, RIGHT, BOTTOM] = [46, 10, 42];

// In words: from the first good value to the last, of each.
export function summary(moments, span) {
  const parts = [...CELLS.keys, ...CURRENT.keys].map((key) => {
    const good = valuesOf(moments, [key]);
    if (good.length === 0) return `${NAMES[key]} without a good reading`;
    const [first, last] = [good[0], good.at(-1)].map((value) => figure(value, key === "shunt" ? "A" : "V"));
    return `${NAMES[key]} from ${first} to ${last}${moments.at(-1)[key] === null ? ", then no good reading" : ""}`;
  });
  return `The last ${Math.round(span)}\u00a0s: ${parts.join("; ")}.`;
}

// Draws anew only when the story, the width or the size of text has changed.
export function draw(svg, { lockout, moments, span, pixels }) {
  const width = Math.round((EM * pixels) / parseFloat(getComputedStyle(document.documentElement).fontSize));
  const story = [lockout.wall, moments.length, span, width].join();
  if (svg.dataset.story === story) return;
  svg.dataset.story = story;
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${width} ${CURRENT.top + CURRENT.height + BOTTOM}`);
  const right = width - RIGHT;
  const time = { span, right, x: (beforeS) => right - ((right - LEFT) * beforeS) / span };
  const limit = LIMITED.has(lockout.tripped_by) ? lockout : {};
  for (const panel of [CELLS, CURRENT]) drawPanel(svg, panel, moments, time, limit.unit === panel.unit ? limit.limit : null);
  drawTimes(svg, time);
}

function drawPanel(svg, { unit, title, keys, least, steps, top, height }, moments, { x, right }, limit) {
  const values = valuesOf(moments, keys);
  write(svg, title, { x: 0, y: top - 12 });
  if (values.length === 0) {
    write(svg, "no good reading", { x: LEFT, y: top + height / 2 });
    return;
  }
  const shown = [...values, limit ?? values[0], unit === "A" ? 0 : values[0]];
  const [low, high, step] = scale(Math.min(...shown), Math.max(...shown), least, steps);
  const y = (value) => top + (height * (high - value)) / (high - low);
  for (const tick of ticks(low, high, step)) {
    add(svg, "path", { class: "grid", d: `M${LEFT} ${y(tick)}H${right}` });
    write(svg, minus(tick.toFixed(decimals(step))), { x: LEFT - 6, y: y(tick) + 4, "text-anchor": "end" });
  }
  if (limit !== null) {
    add(svg, "path", { class: "limit", d: `M${LEFT} ${y(limit)}H${right}` });
    write(svg, `limit ${figure(limit, unit)}`, { class: "limit", x: LEFT + 4, y: y(limit) + (values[0] > limit ? 14 : -5) });
  }
  for (const key of keys) add(svg, "path", { class: key, d: trace(moments, key, x, y) });
}

function drawTimes(svg, { span, right, x }) {
  const bottom = CURRENT.top + CURRENT.height;
  const step = niceStep(span / 5);
  for (const before of ticks(0, span, step)) {
    add(svg, "path", { class: "grid", d: `M${x(before)} ${bottom}v5` });
    write(svg, before.toFixed(decimals(step)), { x: x(before), y: bottom + 18, "text-anchor": "middle" });
  }
  add(svg, "path", { class: "trip", d: `M${right} ${CELLS.top}V${bottom}` });
  write(svg, "s before the trip", { x: (LEFT + right) / 2, y: bottom + 37, "text-anchor": "middle" });
}

// A gap where nothing could be believed; a value that stands alone is a dot.
function trace(moments, key, x, y) {
  let lost = true;
  return moments.map((moment) => {
    const value = moment[key];
    const start = lost;
    lost = value === null;
    return lost ? "" : `${start ? "M" : "L"}${x(moment.before_s).toFixed(1)} ${y(value).toFixed(1)}${start ? "h0" : ""}`;
  }).join("");
}

function valuesOf(moments, keys) {
  return keys.flatMap((key) => moments.map((moment) => moment[key])).filter((value) => value !== null);
}

// From, to, step. A zero needs no space beyond it, nor does the noise of one.
function scale(lowest, highest, least, steps) {
  const range = highest - lowest;
  const spare = Math.max(0.1 * range, (least - range) / 2);
  const isZero = (value) => Math.abs(value) <= 0.02 * Math.max(range, least);
  const from = isZero(lowest) ? 0 : lowest - spare;
  const to = isZero(highest) && from < 0 ? 0 : highest + spare;
  const step = niceStep((to - from) / steps);
  return [step * Math.floor(from / step), step * Math.ceil(to / step), step];
}

function niceStep(rough) {
  const power = 10 ** Math.floor(Math.log10(rough));
  return power * [1, 2, 5, 10].find((factor) => factor * power >= rough * (1 - 1e-9));
}

function ticks(low, high, step) {
  return Array.from({ length: Math.floor((high - low) / step + 1e-6) + 1 }, (_, index) => low + index * step);
}

function decimals(step) {
  return Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
}

function write(svg, words, attributes) {
  add(svg, "text", attributes).textContent = words;
}

function add(svg, name, attributes) {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return svg.appendChild(node);
}
