// Vibration and tones, distinct for each claim, for hands and eyes that are busy.

const PATTERNS = { "as-planned": [60], reversed: [220, 90, 220, 90, 220], dead: [450], weak: [120, 80, 120], undecided: [40, 60, 40], counted: [25] };
const TONES = { "as-planned": [880], reversed: [330, 262, 330, 262], dead: [165], weak: [440, 392], undecided: [523, 523], counted: [660] };

let audio;

/** Called from a tap, since browsers allow sound only after one. */
export function allowSound() {
  try {
    audio ||= new AudioContext();
    void audio.resume();
  } catch {
    audio = undefined;
  }
}

/** @param {string} what a state, or "counted" */
export function buzz(what) {
  navigator.vibrate?.(PATTERNS[what] || PATTERNS.undecided);
  if (!audio || audio.state !== "running") return;
  let at = audio.currentTime + 0.02;
  for (const hz of TONES[what] || TONES.undecided) {
    const tone = audio.createOscillator();
    const level = audio.createGain();
    tone.frequency.value = hz;
    level.gain.setValueAtTime(0.15, at);
    level.gain.exponentialRampToValueAtTime(0.001, at + 0.16);
    tone.connect(level).connect(audio.destination);
    tone.start(at);
    tone.stop(at + 0.17);
    at += 0.19;
  }
}
