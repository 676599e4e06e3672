// Vibration and tones for hands and eyes that are busy. A hand tells apart how many
// pulses there are and whether they are short or long; the tones have the same
// rhythm, and go up or down besides. A phone's loudspeaker gives hardly anything
// below 300 Hz.
import { tones } from "./remembered.js";

/** @typedef {"as-planned"|"reversed"|"dead"|"weak"|"undecided"|"counted"|"broken"} Cue */

/** Pulses in milliseconds with a note in hertz each, what lies between them, and the same in words. @type {Record<Cue, {pulses: number[], notes: number[], gap_ms?: number, words: string}>} */
export const CUES = {
  "as-planned": { pulses: [70], notes: [1047], words: "one short, a high note" },
  undecided: { pulses: [70, 70], notes: [659, 659], words: "two short, on one note" },
  weak: { pulses: [70, 350], notes: [659, 392], words: "a short and a long, the long one lower" },
  reversed: { pulses: [230, 230, 230], notes: [784, 587, 440], words: "three long, falling" },
  dead: { pulses: [650], notes: [330], words: "one very long, a low note" },
  counted: { pulses: [35], notes: [740], words: "a tick: the claim follows" },
  broken: { pulses: [45, 45, 45, 45], notes: [392, 392, 392, 392], gap_ms: 55, words: "four quick ones: read it again" },
};

const GAP_MS = 110;
const LEAST_NOTE_MS = 90; // shorter is a click

/** @type {AudioContext | undefined} */
let audio;

/** To be called in a tap: browsers allow sound only after one. Resolves when there may be sound. */
export async function allowSound() {
  try {
    audio ||= new AudioContext();
    await audio.resume();
  } catch {
    audio = undefined; // no sound here; the page says everything as well
  }
}

/** Whether this browser lets a page vibrate. */
export function canVibrate() {
  return "vibrate" in navigator;
}

/** What is felt: milliseconds on, off, on … @param {Cue} cue */
export function patternOf(cue) {
  const { pulses, gap_ms = GAP_MS } = CUES[cue];
  return pulses.flatMap((ms, i) => (i > 0 ? [gap_ms, ms] : [ms]));
}

/** @param {Cue} cue */
export function buzz(cue) {
  navigator.vibrate?.(patternOf(cue));
  if (tones.get()) play(cue);
}

/** @param {Cue} cue */
function play(cue) {
  if (audio?.state !== "running") return;
  const { pulses, notes, gap_ms = GAP_MS } = CUES[cue];
  let at = audio.currentTime + 0.02;
  notes.forEach((hz, i) => {
    const length = Math.max(LEAST_NOTE_MS, pulses[i]) / 1000;
    const tone = audio.createOscillator();
    const level = audio.createGain();
    tone.frequency.value = hz;
    // As loud for most of its length: a note that dies away at once is short, however long.
    level.gain.setValueAtTime(0.15, at);
    level.gain.setValueAtTime(0.15, at + 0.6 * length);
    level.gain.exponentialRampToValueAtTime(0.001, at + length);
    tone.connect(level).connect(audio.destination);
    tone.start(at);
    tone.stop(at + length + 0.01);
    at += length + gap_ms / 1000;
  });
}

/** Gives a cue in a tap, to learn it by, whether tones are on or not. @param {Cue} cue */
export async function tryOut(cue) {
  navigator.vibrate?.(patternOf(cue));
  await allowSound();
  play(cue);
}
