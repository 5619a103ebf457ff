// Scales of a plot: round steps, and as much room as the values need.

export const TIMES = { s: 1, min: 60, h: 3600 };

// The unit in which so many seconds are best told.
export function timeUnit(seconds) {
  if (seconds < 180) return "s";
  return seconds < 10_800 ? "min" : "h";
}

// From, to, step. A zero needs no space beyond it, nor does the noise of one.
export function scale(lowest, highest, least, steps) {
  const range = highest - lowest;
  const spare = Math.max(0.1 * range, (least - range) / 2);
  const isZero = (value) => Math.abs(value) <= 0.02 * Math.max(range, least);
  const from = isZero(lowest) ? 0 : lowest - spare;
  const to = isZero(highest) && from < 0 ? 0 : highest + spare;
  const step = niceStep((to - from) / steps);
  return [step * Math.floor(from / step), step * Math.ceil(to / step), step];
}

export function niceStep(rough) {
  const power = 10 ** Math.floor(Math.log10(rough));
  return power * [1, 2, 5, 10].find((factor) => factor * power >= rough * (1 - 1e-9));
}

export function ticks(low, high, step) {
  return Array.from({ length: Math.floor((high - low) / step + 1e-6) + 1 }, (_, index) => low + index * step);
}

export function decimals(step) {
  return Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
}
