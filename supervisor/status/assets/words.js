// How this page puts names, numbers and times, and how it writes them into its places.

const NAMES = { external: "stop button, power cut or kill" };
const UNITS = { microohm: "µΩ" };
export const DECIMALS = { V: 3, A: 1, s: 2, "V/min": 3, "V/s": 3, "A/s": 1, "°C": 1, "%": 1, h: 2, Ah: 1, Wh: 0, microohm: 1 };

export const at = (id) => document.getElementById(id);

// One child per item, kept and refilled, so that a selection or a reader's place survives.
export function list(parent, items, fill) {
  const template = parent.querySelector("template");
  while (parent.children.length - 1 > items.length) parent.lastElementChild.remove();
  while (parent.children.length - 1 < items.length) parent.append(template.content.cloneNode(true));
  items.forEach((item, index) => fill(parent.children[index + 1], item));
}

export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function name(key) {
  return NAMES[key] ?? key.replaceAll("_", " ");
}

export function title(key) {
  return capital(name(key));
}

// Text that others wrote: a number keeps its unit beside it.
export function told(text) {
  return text.replaceAll("+-", "±").replace(/(\d) (?=(mV|V|A|Ah|°C|s|min|h)(?![a-z]))/g, "$1\u00a0");
}

export function sentence(words) {
  return capital(/[.!?]$/.test(words) ? words : `${words}.`);
}

function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

// A trip by half a millivolt must not read "3.600 V, limit 3.600 V": there, what was measured has
// one digit more. A limit has the same digits wherever it stands.
export function figure(value, unit, more = 0) {
  if (value === null || unit === "") return "—";
  const text = unit in DECIMALS ? value.toFixed(DECIMALS[unit] + more) : String(value);
  return `${minus(text)}\u00a0${UNITS[unit] ?? unit}`;
}

export function minus(text) {
  return text.replace("-", Number(text) === 0 ? "" : "−");
}

export function duration(seconds, round = Math.round) {
  if (seconds < 120) return `${round(seconds)}\u00a0s`;
  if (seconds < 7200) return `${round(seconds / 60)}\u00a0min`;
  return `${round(seconds / 3600)}\u00a0h`;
}

export function when(wall) {
  const date = new Date(wall);
  if (Number.isNaN(date.getTime())) return wall;
  const day = [date.getFullYear(), pad(date.getMonth() + 1), pad(date.getDate())].join("-");
  return `${day} ${clock(date / 1000)}`;
}

const pad = (number) => String(number).padStart(2, "0");

// Time of day, of seconds since 1970.
export function clock(wallS) {
  const date = new Date(wallS * 1000);
  return [date.getHours(), date.getMinutes(), date.getSeconds()].map(pad).join(":");
}
