// What to do now: the most urgent cue in full above the figures, the others below them.
import { at, duration, list, say, sentence, told } from "./words.js";

const URGENCIES = { now: "Now", soon: "Soon", note: "Note" };
const ALOUD_FOR_MS = 10_000;

let announced = new Set(); // what has been read aloud of the present cues

export function showCues({ guidance, fresh, silent_s: silentS }) {
  at("silent").hidden = silentS <= 0;
  say(at("silence"), silentS > 0 ? `Buzzer silent for ${duration(silentS, Math.ceil)}, alarms too` : "");
  const cues = guidance ? guidance.cues : [];
  const [first, ...others] = cues;
  at("cues").hidden = first === undefined;
  list(at("first-cue"), first ? [first] : [], showCue);
  at("more-cues").hidden = others.length === 0;
  at("more-count").parentElement.hidden = others.length === 0;
  say(at("more-count"), `${others.length} more below`);
  list(at("cue-list"), others, showCue);
  announce(fresh ? cues : []);
}

function showCue(item, { urgency, text, reason }) {
  item.dataset.urgency = urgency;
  item.querySelector("use").setAttribute("href", `#mark-${urgency}`);
  say(item.querySelector(".word"), URGENCIES[urgency]);
  say(item.querySelector(".text"), told(text));
  say(item.querySelector(".reason"), reason && sentence(told(reason)));
}

// Read aloud when a cue comes or becomes urgent, not whenever a number in it changes; and gone soon
// after, so that no reader comes across a number of a while ago.
function announce(cues) {
  const key = ({ cue, urgency }) => `${urgency} ${cue}`;
  for (const cue of cues.filter((candidate) => !announced.has(key(candidate)))) {
    const line = document.createElement("p");
    line.textContent = `${URGENCIES[cue.urgency]}: ${cue.text}`;
    at(cue.urgency === "now" ? "cue-alert" : "cue-told").append(line);
    setTimeout(() => line.remove(), ALOUD_FOR_MS);
  }
  announced = new Set(cues.map(key));
}
