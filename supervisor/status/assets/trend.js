// The trend: ten minutes, two hours, or the whole session, with what is heard in between.
import { askRecord, hear, joined, recordAgeS, recordOf, wallS } from "./record.js";
import { draw, summary } from "./plot.js";
import { limitOf } from "./readings.js";
import { timeUnit } from "./scales.js";
import { at, clock, duration, say, sentence, when } from "./words.js";

// by the button's data-window: its length, and how often the record is asked for
const WINDOWS = {
  "minutes=10": { spanS: 600, everyS: 5 },
  "minutes=120": { spanS: 7200, everyS: 30 },
  "whole=1": { spanS: null, everyS: 60 },
};
const SOON_S = 5; // while the record is about to say more: it is written every half minute
const BEAT_MS = 1000;
const NO_SESSION = "the journal has no session yet"; // the server's words, see history.py
const LATE_S = 30; // a record that ends so long before now is told to
const [POINTS, MOST_POINTS, PER_PIXEL] = [120, 600, 0.6];

let chosen = "minutes=10";
let byHand = false;
let status = null;
let problem = "";
let isBehind = false; // what was heard is not all in the record yet
let begun = null; // the window last asked for, and when
let begunMs = 0;

export function followTrend(newest) {
  if (status === null) {
    for (const button of buttons()) button.addEventListener("click", () => choose(button.dataset.window, true));
    setInterval(beat, BEAT_MS);
    document.addEventListener("visibilitychange", beat);
    addEventListener("resize", show);
  }
  const first = status === null || (newest.lockout && newest.lockout.wall !== status.lockout?.wall);
  status = newest;
  hear(newest);
  if (first && !byHand) choose(windowWith(newest), false);
}

const buttons = () => at("windows").querySelectorAll("button");

// The shortest that has a trip and something before it in it.
function windowWith({ lockout, wall }) {
  if (lockout === null) return chosen;
  const agoS = wallS(wall) - wallS(lockout.wall);
  return Object.keys(WINDOWS).find((window) => agoS < 0.8 * (WINDOWS[window].spanS ?? Infinity)) ?? "whole=1";
}

function choose(window, hand) {
  byHand ||= hand;
  chosen = window;
  for (const button of buttons()) button.setAttribute("aria-pressed", button.dataset.window === window);
  at("csv").href = `api/history.csv?${window}`;
  beat();
}

function beat() {
  if (document.visibilityState !== "visible") return;
  if (begun !== chosen || performance.now() >= begunMs + 1000 * everyS()) ask();
  show();
}

const everyS = () => Math.min(WINDOWS[chosen].everyS, isBehind ? SOON_S : Infinity);

async function ask() {
  const window = (begun = chosen);
  begunMs = performance.now();
  const points = Math.round(Math.min(MOST_POINTS, Math.max(POINTS, PER_PIXEL * at("trend").clientWidth)));
  const said = await askRecord(window, points);
  if (window !== chosen) return;
  problem = said;
  show();
}

function show() {
  const answer = recordOf(chosen);
  at("trend-figure").hidden = answer === null;
  at("csv").parentElement.hidden = answer === null;
  if (answer === null) {
    isBehind = status.circuit === "closed" && problem.startsWith(NO_SESSION);
    say(at("trend-note"), sentence(isBehind ? "the record begins in a moment" : problem || "asking for the record"));
    return;
  }
  const isOurs = answer.bank === status.bank && answer.simulated === status.simulated;
  const isUnderWay = isOurs && answer.session === status.journal.session;
  const { moments, gaps, endS, unseenS } = joined(answer, isUnderWay);
  isBehind = unseenS > 0 || (!isUnderWay && status.circuit === "closed");
  const spanS = WINDOWS[chosen].spanS ?? Math.max(60, moments[0]?.before_s ?? 0);
  const within = moments.filter((moment) => moment.before_s <= spanS);
  const shownGaps = gaps.filter(([, to]) => to < spanS);
  say(at("trend-note"), notes(answer, isOurs, isUnderWay, endS).join(" "));
  say(at("trend-words"), words(within, shownGaps, spanS, unseenS));
  const limit = limitOf(status);
  const tripS = status.lockout && endS - wallS(status.lockout.wall);
  draw(at("trend-plot"), {
    story: [chosen, answer.session, answer.newest_utc, endS, limit, tripS].join(),
    moments: within,
    span: spanS,
    unit: timeUnit(spanS),
    words: clock(endS),
    pixels: at("trend").clientWidth,
    limits: limit === null ? {} : { V: limit },
    gaps: shownGaps,
    marks: tripS === null ? [] : [[tripS, "trip"]],
  });
}

// Whatever keeps this trend from being the one of now.
function notes(answer, isOurs, isUnderWay, endS) {
  const behindS = wallS(status.wall) - endS;
  const unanswered = problem && recordAgeS() > WINDOWS[chosen].everyS;
  return [
    answer.simulated && "Simulated.",
    !isOurs && `Of another circuit's record, ${answer.bank}: see --state-dir.`,
    isOurs && !isUnderWay && `Of session ${answer.session}, which has ended: not of now. Its last reading is of ${when(answer.newest_utc)}.`,
    isUnderWay && behindS > LATE_S && `The record ends ${duration(behindS)} before now.`,
    unanswered && `${sentence(problem)} This one is ${duration(recordAgeS())} old.`,
    status.journal.trouble && sentence(status.journal.trouble),
    answer.note && sentence(answer.note),
  ].filter(Boolean);
}

function words(moments, gaps, spanS, unseenS) {
  if (moments.length === 0) return "Nothing was recorded in this time.";
  const lostS = gaps.reduce((sum, [from, to]) => sum + Math.min(from, spanS) - to, 0);
  const told = gaps.length === 1 ? "1 gap" : `${gaps.length} gaps`;
  const missing = gaps.length === 0 ? "" : ` ${told} without a good reading, ${duration(lostS)} in all.`;
  const unseen = unseenS === 0 ? "" : ` ${duration(Math.min(unseenS, spanS))} not yet recorded, and not seen by this page.`;
  return summary(moments, chosen === "whole=1" ? `The session, ${duration(spanS)}` : `The last ${duration(spanS)}`) + missing + unseen;
}
