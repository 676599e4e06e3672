// Readings of a phone that lies still under a steady drive: they agree within what
// its own noise and quantisation make. Pure.
import { distance, mean, norm } from "./vectors.js";

const SETTLE_S = 0.8;
const LEAST = 4; // readings
const STEP_UT = 0.8; // the coarsest quantisation seen is 0.7 uT

export class SteadyReadings {
  /** @param {number} noise_uT standard deviation of one reading */
  constructor(noise_uT) {
    this.noise = noise_uT;
    /** Seconds of readings that are looked at together. */
    this.span_s = SETTLE_S;
  }

  /**
   * What they look like, or null if they wander.
   * @param {import("./hold-detector.js").Sample[]} w
   */
  fit(w) {
    return w.length >= LEAST && w[w.length - 1].t - w[0].t >= this.span_s - 0.15 && this.steady(w) ? this.at(mean(w.map((s) => s.u))) : null;
  }

  /** @param {import("./hold-detector.js").Sample[]} w */
  steady(w) {
    const half = Math.floor(w.length / 2);
    for (let a = 0; a < 3; a++) {
      const v = w.map((s) => s.u[a]);
      if (Math.max(...v) - Math.min(...v) > 6 * this.noise + STEP_UT) return false;
      const drift = average(v.slice(0, half)) - average(v.slice(half));
      if (Math.abs(drift) > (5 * this.noise) / Math.sqrt(w.length) + STEP_UT) return false;
    }
    return true;
  }

  /** @param {number[]} level */
  at(level) {
    // Close over a winding a millimetre is worth many microtesla: not every
    // shiver is a move.
    const tolerance = 8 * this.noise + 4 + 0.04 * norm(level);
    return { has: (/** @type {number[]} */ u) => distance(u, level) <= tolerance };
  }
}

/** @param {number[]} v */
function average(v) {
  return v.reduce((sum, x) => sum + x, 0) / v.length;
}
