// A plot of what was measured: cells above, current below, one axis of time. Of moments, oldest
// first: {before_s, front_cell, far_cell, shunt, low, high}, null where nothing could be believed;
// "low" and "high" hold the least and the most of each channel, where a moment stands for a while.
import { TIMES, decimals, niceStep, scale, ticks } from "./scales.js";
import { figure, minus } from "./words.js";

const CELLS = { unit: "V", title: "Cells, V", keys: ["front_cell", "far_cell"], least: 0.02, steps: 4, top: 26, height: 118 };
const CURRENT = { unit: "A", title: "Current, A", keys: ["shunt"], least: 2, steps: 3, top: 184, height: 66 };
const NAMES = { front_cell: "front cell", far_cell: "far cell", shunt: "current" };
const NS = "http://www.w3.org/2000/svg";
const EM = 16; // units of the drawing: text keeps the reader's size, lines take the width there is
const [LEFT, RIGHT, BOTTOM] = [46, 10, 42];

// In words: from the first good value to the last, of each, and the extremes where they are known.
export function summary(moments, while_) {
  const parts = [...CELLS.keys, ...CURRENT.keys].map((key) => {
    const unit = key === "shunt" ? "A" : "V";
    const good = valuesOf(moments, [key]);
    if (good.length === 0) return `${NAMES[key]} without a good reading`;
    const [first, last] = [good[0], good.at(-1)].map((value) => figure(value, unit));
    return `${NAMES[key]} from ${first} to ${last}${extremes(moments, key, unit)}${moments.at(-1)[key] === null ? ", then no good reading" : ""}`;
  });
  return `${while_}: ${parts.join("; ")}.`;
}

function extremes(moments, key, unit) {
  if (!moments.some((moment) => moment.high)) return "";
  const all = rangeOf(moments, [key]);
  return `, ${figure(Math.min(...all), unit)} at the least, ${figure(Math.max(...all), unit)} at the most`;
}

// Draws anew only when the story, the width or the size of text has changed. limits: {unit: value};
// gaps and marks: in seconds before the end, [from, to] and [when, words].
export function draw(svg, { story, moments, span, unit, words, pixels, limits = {}, gaps = [], marks = [] }) {
  const width = Math.round((EM * pixels) / parseFloat(getComputedStyle(document.documentElement).fontSize));
  const drawn = [story, moments.length, span, width].join();
  if (width <= LEFT + RIGHT || svg.dataset.story === drawn) return;
  svg.dataset.story = drawn;
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${width} ${CURRENT.top + CURRENT.height + BOTTOM}`);
  const right = width - RIGHT;
  const time = { span, unit, words, right, x: (beforeS) => right - ((right - LEFT) * beforeS) / span };
  for (const gap of gaps) drawGap(svg, gap, time);
  for (const panel of [CELLS, CURRENT]) drawPanel(svg, panel, moments, time, limits[panel.unit] ?? null);
  drawTimes(svg, time);
  for (const mark of marks) drawMark(svg, mark, time);
}

function drawPanel(svg, { unit, title, keys, least, steps, top, height }, moments, { x, right }, limit) {
  const values = rangeOf(moments, keys);
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
  for (const key of keys.filter(() => moments.some(({ high }) => high))) add(svg, "path", { class: `band ${key}`, d: band(moments, key, x, y) });
  for (const key of keys) add(svg, "path", { class: key, d: trace(moments, key, x, y) });
}

function drawTimes(svg, { span, unit, words, right, x }) {
  const bottom = CURRENT.top + CURRENT.height;
  const step = niceStep(span / TIMES[unit] / 5);
  for (const before of ticks(0, span / TIMES[unit], step)) {
    const at = x(before * TIMES[unit]);
    add(svg, "path", { class: "grid", d: `M${at} ${bottom}v5` });
    write(svg, before.toFixed(decimals(step)), { x: at, y: bottom + 18, "text-anchor": "middle" });
  }
  write(svg, `${unit} before ${words}`, { x: (LEFT + right) / 2, y: bottom + 37, "text-anchor": "middle" });
}

function drawMark(svg, [before, words], { span, right, x }) {
  if (before < 0 || before > span) return;
  const at = x(before);
  add(svg, "path", { class: "trip", d: `M${at} ${CELLS.top}V${CURRENT.top + CURRENT.height}` });
  if (words === "") return;
  const atRight = at > (LEFT + right) / 2;
  write(svg, words, { x: atRight ? at - 5 : at + 5, y: CELLS.top + CELLS.height - 6, "text-anchor": atRight ? "end" : "start" });
}

function drawGap(svg, [from, to], { span, x }) {
  const start = x(Math.min(from, span));
  const width = x(Math.max(to, 0)) - start;
  const place = { class: "gap", fill: "url(#hatch)", x: start, y: CELLS.top, width: Math.max(width, 1), height: CURRENT.top + CURRENT.height - CELLS.top };
  if (from > to && width >= 0) add(svg, "rect", place);
}

// A gap where nothing could be believed; a value that stands alone is a dot.
function trace(moments, key, x, y) {
  return runs(moments, (moment) => moment[key] !== null).map((run) => {
    const [first, ...others] = run.map((moment) => point(moment.before_s, moment[key], x, y));
    return [`M${first}h0`, ...others].join("L");
  }).join("");
}

function band(moments, key, x, y) {
  return runs(moments, ({ high }) => high && high[key] !== null).map((run) => {
    const upper = run.map((moment) => point(moment.before_s, moment.high[key], x, y));
    const lower = run.map((moment) => point(moment.before_s, moment.low[key], x, y)).reverse();
    return `M${[...upper, ...lower].join("L")}Z`;
  }).join("");
}

const point = (beforeS, value, x, y) => `${x(beforeS).toFixed(1)} ${y(value).toFixed(1)}`;

function runs(moments, isKnown) {
  const found = [[]];
  for (const moment of moments) {
    if (isKnown(moment)) found.at(-1).push(moment);
    else found.push([]);
  }
  return found.filter((run) => run.length > 0);
}

function valuesOf(moments, keys) {
  return keys.flatMap((key) => moments.map((moment) => moment[key])).filter((value) => value !== null);
}

function rangeOf(moments, keys) {
  const ends = moments.flatMap(({ low, high }) => [low, high]).filter(Boolean);
  return valuesOf([...moments, ...ends], keys);
}

function write(svg, words, attributes) {
  add(svg, "text", attributes).textContent = words;
}

function add(svg, name, attributes) {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return svg.appendChild(node);
}
