// Tells from gyroscope and accelerometer, or from the direction of gravity alone,
// whether the phone lies still. Pure.

const FORGET_S = 1; // older news than this says nothing
const RATE_DPS = 8; // a hand never turns a phone slower for long
const SHAKE_MS2 = 0.35;
const TILT_DEG = 1.2; // within the time that is looked back
/** A disturbance is told as moving for so long. */
export const BACK_S = 0.4;

/** @typedef {{t: number, rate_dps?: number, g?: number[]}} Motion rate: how fast it turns; g: acceleration with gravity, m/s² */

export class Stillness {
  constructor() {
    /** @type {Motion[]} */
    this.recent = [];
    this.disturbedAt = -Infinity;
    this.latest = -Infinity;
  }

  /** @param {Motion} m */
  feed(m) {
    this.latest = m.t;
    this.recent.push(m);
    while (this.recent.length > 200 || this.recent[0].t < m.t - BACK_S) this.recent.shift();
    if ((m.rate_dps ?? 0) > RATE_DPS || this.shaken(m)) this.disturbedAt = m.t;
  }

  shaken(m) {
    if (!m.g) return false;
    const first = this.recent.find((r) => r.g);
    if (!first || first === m) return false;
    const size = Math.hypot(...m.g);
    const was = Math.hypot(...first.g);
    if (Math.abs(size - was) > SHAKE_MS2) return true;
    const cos = m.g.reduce((sum, v, a) => sum + v * first.g[a], 0) / (size * was || 1);
    return Math.acos(Math.min(1, cos)) > (TILT_DEG * Math.PI) / 180;
  }

  /** @param {number} t @returns {"still" | "moving" | "unknown"} */
  at(t) {
    if (t - this.latest > FORGET_S) return "unknown";
    return t - this.disturbedAt < BACK_S ? "moving" : "still";
  }
}
