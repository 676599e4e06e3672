// Tells from the readings alone when the phone lies still and when it has been
// moved. Pure: it knows no page and no sensor.

const SETTLE_S = 0.75; // how long readings must agree
const SETTLE_UT = 3.5; // how far apart they may be, any axis
const SETTLE_LEAST = 5; // readings
const MOVED_UT = 10; // how far from the hold's middle counts as moved
const MOVED_RUN = 3; // readings in a row

/** @typedef {{t: number, u: number[]}} Sample */

export class HoldDetector {
  constructor() {
    this.reset();
  }

  /** Forgets everything; the next hold may begin at once. */
  reset() {
    /** @type {Sample[]} */
    this.window = [];
    /** @type {number[] | null} */
    this.held = null;
    this.away = 0;
    this.mayHold = true;
  }

  /**
   * @param {Sample} s
   * @returns {{event: "settled", since: number} | {event: "moved", t: number} | null}
   */
  feed(s) {
    this.window.push(s);
    while (this.window.length > 0 && this.window[0].t < s.t - SETTLE_S - 0.05) this.window.shift();
    if (this.held) {
      const far = Math.max(...s.u.map((v, a) => Math.abs(v - this.held[a])));
      this.away = far > MOVED_UT ? this.away + 1 : 0;
      if (this.away < MOVED_RUN) return null;
      this.held = null;
      this.mayHold = true;
      this.window = [s];
      return { event: "moved", t: s.t };
    }
    if (!this.mayHold || this.window.length < SETTLE_LEAST || s.t - this.window[0].t < SETTLE_S - 0.15) return null;
    for (let a = 0; a < 3; a++) {
      const v = this.window.map((w) => w.u[a]);
      if (Math.max(...v) - Math.min(...v) > SETTLE_UT) return null;
    }
    this.held = [0, 1, 2].map((a) => this.window.reduce((sum, w) => sum + w.u[a], 0) / this.window.length);
    this.away = 0;
    return { event: "settled", since: this.window[0].t };
  }

  /** A hold begun by hand: what comes now is taken as still. @param {Sample} s */
  hold(s) {
    this.held = [...s.u];
    this.away = 0;
  }
}
