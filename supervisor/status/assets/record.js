// The session as it was recorded (api/history), and what this page has heard since.
import { moment, secondsSince } from "./clock.js";
import { CHANNELS, channelOf, valueOf } from "./readings.js";

const TIMEOUT_MS = 10_000;
const MOST_HEARD = 1500; // some twenty minutes without an answer
const SILENT_S = 4; // between two statuses: the link was away
const COLUMNS = { front_cell: ["front", "v"], far_cell: ["far", "v"], shunt: ["current", "a"] };

export const wallS = (text) => Date.parse(text) / 1000; // of the machine, as all walls here

let record = null; // {window, answer, asked}
let heard = []; // {wallS, front_cell, far_cell, shunt, low, high}
let asking = null;

export function hear(status) {
  const at = wallS(status.wall);
  if (heard.length > 0 && at <= heard.at(-1).wallS) heard = heard.filter((earlier) => earlier.wallS < at);
  const known = CHANNELS.map((name) => [name, channelOf(status, name)]);
  const pick = (of) => Object.fromEntries(known.map(([name, channel]) => [name, valueOf(channel) === null ? null : of(channel)]));
  const mean = pick((channel) => channel.value);
  heard.push({ wallS: at, ...mean, low: pick((c) => c.low ?? c.value), high: pick((c) => c.high ?? c.value) });
  heard = heard.slice(-MOST_HEARD);
}

export const recordOf = (window) => (record && record.window === window ? record.answer : null);
export const recordAgeS = () => record && secondsSince(record.asked);

// "" when an answer came, else why not.
export async function askRecord(window, points) {
  asking?.abort();
  const mine = (asking = new AbortController());
  const asked = moment();
  const timer = setTimeout(() => mine.abort(), TIMEOUT_MS);
  try {
    const reply = await fetch(`api/history?${window}&points=${points}`, { signal: mine.signal, cache: "no-store" });
    const answer = await reply.json();
    if (!reply.ok) return answer.problem ?? "The machine has no record to show.";
    if (!Array.isArray(answer.columns.before_s)) throw new TypeError("not a record");
    if (asking === mine) record = { window, answer, asked };
    return "";
  } catch {
    return mine !== asking ? "" : "The record could not be fetched.";
  } finally {
    clearTimeout(timer);
  }
}

// {moments, gaps, endS, unseenS} of a record, with what was heard since when it is of the same
// session. A gap is what the record says is one: what lies between its newest moment and what was
// heard, or between two statuses, is not recorded yet, and says nothing on the readings.
export function joined(answer, isUnderWay) {
  const newestS = wallS(answer.newest_utc);
  const since = isUnderWay ? heard.filter((later) => later.wallS > newestS) : [];
  const endS = since.at(-1)?.wallS ?? newestS;
  const gaps = answer.gaps.map(([from, to]) => [from + endS - newestS, to + endS - newestS]);
  const moments = rows(answer.columns, endS - newestS);
  let lastS = newestS - Math.max(0, answer.bucket_s - SILENT_S);
  let unseenS = 0;
  for (const { wallS: at, ...values } of since) {
    if (at - lastS > SILENT_S + answer.bucket_s) {
      unseenS += at - Math.max(lastS, newestS);
      moments.push({ before_s: endS - at, ...nothing(), low: null, high: null });
    }
    moments.push({ before_s: endS - at, ...values });
    lastS = at;
  }
  return { moments, gaps, endS, unseenS };
}

const nothing = () => Object.fromEntries(CHANNELS.map((name) => [name, null]));

function rows(columns, later) {
  const at = (index, end) => Object.fromEntries(CHANNELS.map((name) => {
    const [column, unit] = COLUMNS[name];
    return [name, columns[`${column}_${end}_${unit}`][index] ?? null];
  }));
  return columns.before_s.map((before, index) => ({
    before_s: before + later, ...at(index, "mean"), low: at(index, "low"), high: at(index, "high"),
  }));
}
