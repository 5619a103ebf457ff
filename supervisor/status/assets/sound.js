// Sounds without files: patterns of tones, in the browser's own sound machine.

// [frequency in Hz (0: silence), length in s]: told apart by rhythm as well as by pitch, and like
// the buzzer's at the machine where it has the same to say: long for a trip, quick for "now".
const PATTERNS = {
  trip: [[880, 0.9], [0, 0.1], [660, 0.9], [0, 0.1]],
  now: [[1040, 0.12], [0, 0.1], [1040, 0.12], [0, 0.1], [1040, 0.12], [0, 0.1], [1040, 0.12], [0, 1.2]],
  lost: [[520, 0.35], [0, 0.1], [390, 0.6], [0, 3]],
  on: [[780, 0.1], [0, 0.05], [1040, 0.15]],
};
const VOLUME = 0.6;
const RAMP_S = 0.01; // no click at either end

let machine = null;
let playing = [];
let untilS = 0;

// A browser lets a page sound only after a tap or a key: call it from one.
export async function allowSound(changed) {
  if (machine === null) {
    machine = new AudioContext();
    machine.onstatechange = changed;
  }
  await machine.resume();
}

export const canSound = () => machine !== null && machine.state === "running";

// Begins the pattern once more when what was begun has ended.
export function keepSounding(pattern) {
  if (canSound() && machine.currentTime >= untilS) sound(pattern);
}

export function sound(pattern) {
  hush();
  let atS = machine.currentTime + 0.02;
  for (const [frequency, lengthS] of PATTERNS[pattern]) {
    if (frequency > 0) playing.push(tone(frequency, atS, lengthS));
    atS += lengthS;
  }
  untilS = atS;
}

export function hush() {
  for (const tone of playing) tone.stop();
  playing = [];
  untilS = 0;
}

function tone(frequency, atS, lengthS) {
  const oscillator = new OscillatorNode(machine, { type: "triangle", frequency });
  const loudness = new GainNode(machine, { gain: 0 });
  loudness.gain.setValueAtTime(0, atS);
  loudness.gain.linearRampToValueAtTime(VOLUME, atS + RAMP_S);
  loudness.gain.setValueAtTime(VOLUME, atS + lengthS - RAMP_S);
  loudness.gain.linearRampToValueAtTime(0, atS + lengthS);
  oscillator.connect(loudness).connect(machine.destination);
  oscillator.start(atS);
  oscillator.stop(atS + lengthS);
  return oscillator;
}
