// A voice that can be switched on: "A3 reversed. Next: B1".
import { voice } from "./remembered.js";

export const canSpeak = "speechSynthesis" in globalThis && "SpeechSynthesisUtterance" in globalThis;

export function voiceOn() {
  return canSpeak && voice.get();
}

/** @param {boolean} on */
export function setVoice(on) {
  voice.set(on);
  if (!on && canSpeak) speechSynthesis.cancel();
}

/** Says it in place of whatever is being said. @param {string} text */
export function speak(text) {
  if (!voiceOn() || !text) return;
  speechSynthesis.cancel();
  const u = new SpeechSynthesisUtterance(text);
  u.lang = "en";
  speechSynthesis.speak(u);
}
