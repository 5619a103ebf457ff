// Opens the contactor from here: the one act of this page. Two taps in two places, the second one
// in a dialog that comes up with "Leave it" in focus, so that neither a double tap nor a held key
// does it.
import { at, say, sentence } from "./words.js";

const TIMEOUT_MS = 10_000;
const ARMED_AFTER_MS = 700;
const NO_ANSWER = "No answer: nobody knows whether the machine was told. Look at the state above; if current still flows, switch the supply off at the mains.";
const KEPT = "open-token";

let arming;

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
}

function confirm() {
  const told = /^[\x21-\x7e]+$/.test(at("token").value.trim());
  say(at("open-result"), told ? "" : "That is no token: it has neither spaces nor letters with accents.");
  if (!told) return;
  at("open-now").disabled = true;
  clearTimeout(arming);
  arming = setTimeout(() => (at("open-now").disabled = false), ARMED_AFTER_MS);
  at("confirm").showModal();
}

async function open(token) {
  say(at("open-result"), "Asking the machine to open.");
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
    say(at("open-result"), sentence(told.problem ?? told.message));
  } catch {
    say(at("open-result"), NO_ANSWER);
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
