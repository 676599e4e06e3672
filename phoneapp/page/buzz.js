// Vibration and tones, distinct for each claim, for hands and eyes that are busy.
// As planned: short and high. Reversed: three long ones, falling. Undecided: two
// short ones on one note.
import { tones } from "./remembered.js";

/** @typedef {"as-planned"|"reversed"|"dead"|"weak"|"undecided"|"counted"|"broken"} Cue */

/** Milliseconds on, off, on … @type {Record<Cue, number[]>} */
export const PATTERNS = {
  "as-planned": [60],
  reversed: [260, 90, 260, 90, 260],
  dead: [600],
  weak: [120, 80, 120, 80, 400],
  undecided: [50, 70, 50],
  counted: [25],
  broken: [30, 40, 30, 40, 30, 40, 30],
};

/** Notes in hertz, one after the other. @type {Record<Cue, number[]>} */
export const TONES = {
  "as-planned": [880],
  reversed: [392, 330, 262],
  dead: [147],
  weak: [440, 415, 392],
  undecided: [523, 523],
  counted: [660],
  broken: [220, 220, 220],
};

const NOTE_S = 0.16;

/** @type {AudioContext | undefined} */
let audio;

/** To be called in a tap: browsers allow sound only after one. */
export function allowSound() {
  try {
    audio ||= new AudioContext();
    void audio.resume();
  } catch {
    audio = undefined; // no sound here; the page says everything as well
  }
}

/** @param {Cue} cue */
export function buzz(cue) {
  navigator.vibrate?.(PATTERNS[cue]);
  if (!tones.get() || audio?.state !== "running") return;
  let at = audio.currentTime + 0.02;
  for (const hz of TONES[cue]) {
    const tone = audio.createOscillator();
    const level = audio.createGain();
    tone.frequency.value = hz;
    level.gain.setValueAtTime(0.15, at);
    level.gain.exponentialRampToValueAtTime(0.001, at + NOTE_S);
    tone.connect(level).connect(audio.destination);
    tone.start(at);
    tone.stop(at + NOTE_S + 0.01);
    at += NOTE_S + 0.03;
  }
}
