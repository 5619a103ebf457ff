// Keeps the screen awake while the sound is on, where the browser offers that: most phones stop a
// page, its sound included, when the screen goes dark.
import { at, say } from "./words.js";

let wanted = false;
let lock = null;

export function keepAwake() {
  wanted = true;
  ask();
}

export function letSleep() {
  wanted = false;
  lock?.release();
  lock = null;
  showAwake();
}

// The browser takes it back whenever the page is out of sight.
document.addEventListener("visibilitychange", () => {
  if (wanted && document.visibilityState === "visible") ask();
});
const box = at("awake");
box.addEventListener("change", () => (wanted && box.checked ? ask() : letSleepOnly()));

async function ask() {
  if (box.checked && "wakeLock" in navigator) {
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.onrelease = () => {
        lock = null;
        showAwake();
      };
    } catch {
      lock = null;
    }
  }
  showAwake();
}

function letSleepOnly() {
  lock?.release();
}

export function showAwake() {
  const offered = "wakeLock" in navigator;
  box.disabled = !offered;
  say(at("awake-state"), offered ? held() : "This browser cannot keep the screen awake here: set that on the device.");
}

function held() {
  if (!wanted) return "The screen stays awake once the sound is on.";
  return lock ? "The screen stays awake." : "The screen may go dark.";
}
