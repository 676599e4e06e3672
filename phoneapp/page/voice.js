// A voice that can be switched on: "A3 reversed. Next: B1".

let on = localStorage.getItem("polewise-voice") === "on";

export const canSpeak = "speechSynthesis" in globalThis;

export function voiceOn() {
  return on && canSpeak;
}

export function toggleVoice() {
  on = !on;
  localStorage.setItem("polewise-voice", on ? "on" : "off");
  if (!on) speechSynthesis.cancel();
  return on;
}

/** @param {string} text */
export function speak(text) {
  if (!voiceOn()) return;
  speechSynthesis.cancel();
  const u = new SpeechSynthesisUtterance(text);
  u.lang = "en";
  speechSynthesis.speak(u);
}
