// Opens the contactor from here: the one act of this page. Two taps in two places, the second one
// in a dialog that comes up with "Leave it" in focus, so that neither a double tap nor a held key
// does it.
import { STALE_AFTER_S, ageS, moment, secondsSince } from "./clock.js";
import { latest } from "./link.js";
import { at, say, sentence, when } from "./words.js";

const TIMEOUT_MS = 10_000;
const ARMED_AFTER_MS = 700;
const REFUSED = 403;
const NO_ANSWER = "No answer: nobody knows whether the machine was told. Look at the state above; if current still flows, switch the supply off at the mains.";
const EMPTY = "The token is missing. It is the word in the file that web.token_file names; whoever set the page up has it.";
const NO_TOKEN = "That is no token: it has neither spaces nor letters with accents.";
const KEPT = "open-token";

let arming;
let aging;
let opened = null; // when the machine said that it did
let wasClosed = false;

export function setUpAct() {
  at("token").value = kept();
  at("open-form").addEventListener("submit", (event) => {
    event.preventDefault();
    confirm();
  });
  at("open-leave").addEventListener("click", () => at("confirm").close());
  at("open-now").addEventListener("click", () => {
    at("confirm").close();
    open(at("token").value.trim());
  });
  at("token-shown").addEventListener("change", ({ target }) => {
    at("token").type = target.checked ? "text" : "password";
  });
}

// Where no token was set up there is nothing to ask for, and the page says what else there is.
//
// What came of opening is of no use once the circuit is closed again, whoever closed it.
export function followAct(status) {
  for (const part of ["open-what", "open-form"]) at(part).hidden = !status.opening_set_up;
  for (const part of ["open-not-set-up", "open-how"]) at(part).hidden = status.opening_set_up;
  const isClosed = status.circuit === "closed";
  const publishedS = opened && secondsSince(opened) - (ageS(status) ?? Infinity); // since it opened
  const isAnew = !wasClosed || (opened !== null && publishedS > STALE_AFTER_S);
  if (isClosed && isAnew) tell("");
  wasClosed = isClosed;
}

// An answer is of now for as long as any status is; from then on it ages with the page.
function tell(words, { isDone = false } = {}) {
  opened = isDone ? moment() : null;
  clearTimeout(aging);
  at("open-result").classList.remove("live");
  if (isDone) aging = setTimeout(() => at("open-result").classList.add("live"), 1000 * STALE_AFTER_S);
  say(at("open-result"), words);
  say(at("open-when"), words && latest() ? `By the status of ${when(latest().wall)}.` : "");
}

function confirm() {
  const token = at("token").value.trim();
  const wrong = token === "" ? EMPTY : /^[\x21-\x7e]+$/.test(token) ? "" : NO_TOKEN;
  tell(wrong);
  if (wrong) return;
  at("open-now").disabled = true;
  clearTimeout(arming);
  arming = setTimeout(() => (at("open-now").disabled = false), ARMED_AFTER_MS);
  at("confirm").showModal();
}

async function open(token) {
  tell("Asking the machine to open.");
  at("open-ask").disabled = true;
  try {
    const answer = await fetch("api/open", {
      method: "POST",
      headers: { "Authorization": `Bearer ${token}`, "Content-Type": "application/json" },
      body: JSON.stringify({ confirm: "open" }),
      signal: AbortSignal.timeout(TIMEOUT_MS),
    });
    const told = await answer.json();
    if (answer.ok) keep(token);
    const refused = answer.status === REFUSED; // whatever the token
    say(at("open-refused"), refused ? sentence(told.problem) : "");
    tell(refused ? "Not opened: the reason stands above the token." : sentence(told.problem ?? told.message), { isDone: answer.ok });
  } catch {
    tell(NO_ANSWER);
  } finally {
    at("open-ask").disabled = false;
  }
}

// For this tab alone, until it is closed, and only once the machine has taken it: with what it
// guards the worst is a circuit that opens, and nobody should have to type it twice at night.
function keep(token) {
  try {
    sessionStorage.setItem(KEPT, token);
  } catch {
    // Then it is typed again.
  }
}

function kept() {
  try {
    return sessionStorage.getItem(KEPT) ?? "";
  } catch {
    return "";
  }
}
