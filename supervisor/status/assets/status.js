// The page: shows each status, and stops believing it 3 s after the supervisor published it.
import { followAct, setUpAct } from "./act.js";
import { setUpAlarm, watch } from "./alarm.js";
import { showCues } from "./cues.js";
import { showGuidance } from "./guidance.js";
import { connect, isFresh, latest, latestAgeS, whyNot } from "./link.js";
import { showReadings } from "./readings.js";
import { showRules } from "./rules.js";
import { doubt, isNotOpen, meaningOf, opened, stateOf } from "./states.js";
import { showLockout } from "./story.js";
import { followTrend } from "./trend.js";
import { showVerdict } from "./verdict.js";
import { at, duration, list, say, sentence, when } from "./words.js";

const TICK_MS = 250;
const OWN_PROFILE = "bank"; // the settings' own name for themselves, see settings.model
const AWAY = "This page was out of sight.";
const ICONS = { none: "mark-old", locked: "mark-trip", failed: "mark-trip" };

// A page out of sight may be stopped at any moment and be shown again as it was. So it is left
// showing nothing that could be believed.
const inSight = () => document.visibilityState === "visible";

function tick() {
  const status = latest();
  const fresh = isFresh();
  const shown = fresh && inSight();
  const [shape, word] = shown ? stateOf(status) : ["none", "No fresh data"];
  document.documentElement.dataset.fresh = shown;
  document.documentElement.dataset.state = shape;
  say(at("state"), word);
  say(at("meaning"), shown ? meaningOf(status) : doubt(status, fresh ? AWAY : whyNot()));
  say(at("age"), status ? `${shown ? word : "OLD"} · ${age()} old` : "No data yet");
  document.title = `${status?.simulated ? "SIMULATION " : ""}${word} ${status?.bank ?? ""}`;
  const icon = `assets/${ICONS[shape] ?? "mark"}.svg`;
  if (at("icon").getAttribute("href") !== icon) at("icon").setAttribute("href", icon);
  watch(status, fresh);
}

function age() {
  const seconds = latestAgeS();
  return seconds === null ? "unknown time" : duration(Math.max(1, Math.ceil(seconds)));
}

function show(status) {
  say(at("bank"), status.bank);
  say(at("profile"), status.profile === OWN_PROFILE ? "" : `profile ${status.profile}`);
  at("simulation").hidden = !status.simulated;
  at("uncommissioned").hidden = at("untried-link").hidden = status.uncommissioned === null;
  say(at("uncommissioned-reason"), status.uncommissioned ?? "");
  at("blocked").hidden = status.not_closing_because.length === 0 || isNotOpen(status);
  list(at("blocked-list"), status.not_closing_because, (item, reason) => say(item, sentence(reason)));
  say(at("opened"), opened(status));
  at("opened").hidden = opened(status) === "";
  followAct(status);
  showVerdict(status);
  showCues(status);
  showReadings(status);
  showLockout(status.lockout);
  followTrend(status);
  showGuidance(status);
  showRules(status);
  list(at("events"), status.events.slice(-12).reverse(), showEvent);
  const { bus_errors: errors, deadline_misses: late } = status.counters;
  say(at("machine"), `Since ${when(status.started_wall)}: ${errors} bus errors, ${late} late cycles. Version ${status.version}`);
}

function showEvent(row, event) {
  const time = row.querySelector("time");
  time.dateTime = event.wall;
  say(time, when(event.wall));
  say(row.querySelector("span"), sentence(event.text));
}

// Only the page's own files are kept; where a browser has no such store, it works without.
navigator.serviceWorker?.register("service-worker.js").catch(() => {});
setUpAct();
setUpAlarm();
connect((status) => {
  show(status);
  queueMicrotask(tick); // when it has been taken as the latest
});
setInterval(tick, TICK_MS);
addEventListener("pageshow", tick);
document.addEventListener("visibilitychange", tick);
