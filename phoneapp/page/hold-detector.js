// Tells from the readings when the phone lies still and when it has been moved.
// Pure: it knows no page and no sensor. Readings are in microtesla in the phone's
// axes, times in seconds; a phone gives about ten a second.
//
// What readings look like while the phone lies still depends on the drive: see
// still-steady.js and still-pulsed.js. A motion sensor, where there is one, must
// not say otherwise.
import { PulsedReadings } from "./still-pulsed.js";
import { SteadyReadings } from "./still-steady.js";
import { BACK_S } from "./stillness.js";

/** @typedef {{t: number, u: number[]}} Sample */
/** @typedef {{event: "settled", since: number} | {event: "moved", t: number}} Told */

// Readings elsewhere count up, others down. Under a pulsed drive every other
// reading may be an off one, which is the same everywhere, so they count less.
const MOVED = 5;
const UP = 2;
const UP_PULSED = 3;
const DOWN = 2;
const DOWN_PULSED = 1;
const MOVED_UT = 20; // steady drive: a spread that no phone at rest has
const MOVING_S = 1; // a tap on the screen shakes the phone for less
const MAX_WINDOW = 400; // readings kept, whatever the rate
const TYPICAL_NOISE_UT = 0.9;
const MEDIAN_OF_THREE = 0.79; // of three squares' mean, for normal noise

export class HoldDetector {
  /**
   * @param {{hz?: number, duty?: number, noise_uT?: number}} [o] hz, duty: of a pulsed
   *   drive. noise_uT: standard deviation of one reading, as found during the rest
   */
  constructor(o = {}) {
    this.hz = o.hz || 0;
    this.duty = o.duty || 0.5;
    this.setNoise(o.noise_uT ?? TYPICAL_NOISE_UT);
    this.reset();
  }

  /** @param {number} sd_uT */
  setNoise(sd_uT) {
    this.noise = Math.min(2, Math.max(0.15, sd_uT));
    this.still = this.hz > 0 ? new PulsedReadings(this.hz, this.duty, this.noise) : new SteadyReadings(this.noise);
  }

  /**
   * Forgets the readings. Unless loose, the phone must be moved before it can
   * settle: it still lies where the last hold was, or beside the pad.
   * @param {{loose?: boolean}} [o]
   */
  reset({ loose = false } = {}) {
    /** @type {"loose" | "fixed" | "held"} */
    this.state = loose ? "loose" : "fixed";
    this.forget();
  }

  forget() {
    /** @type {Sample[]} */
    this.window = [];
    /** What the readings of the phone as it lies look like. @type {{has(u: number[], t: number): boolean} | null} */
    this.held = null;
    this.away = 0;
    this.movingSince = null;
    this.disturbedAt = -Infinity;
  }

  /** A hold has ended where the phone lies: it must be moved before the next. */
  mustMove() {
    this.state = "fixed";
    this.away = 0;
  }

  /** The next settling may begin now: the person says that the phone was moved. */
  loosen() {
    this.state = "loose";
    this.forget();
  }

  /** The person says that the phone lies still now: what comes is the hold. */
  hold() {
    this.state = "held";
    this.forget();
  }

  /**
   * What a motion sensor says.
   * @param {number} t
   * @param {"still" | "moving" | "unknown"} motion
   * @returns {Told | null}
   */
  motion(t, motion) {
    this.shaken = motion === "moving";
    if (!this.shaken) {
      this.movingSince = null;
      return null;
    }
    this.movingSince ??= t;
    this.disturbedAt = Math.max(this.disturbedAt, t - BACK_S);
    return t - this.movingSince >= MOVING_S ? this.moved(t) : null;
  }

  /**
   * @param {Sample} s
   * @returns {Told | null}
   */
  feed(s) {
    this.window.push(s);
    while (this.window.length > MAX_WINDOW || this.window[0].t < s.t - this.still.span_s - 0.05) this.window.shift();
    if (this.state !== "loose") {
      // Where nothing is remembered, what settles first is: the phone lies there.
      this.held ??= this.still.fit(this.window);
      // It never lay still since a gap: it is being moved already.
      if (!this.held) return this.state === "fixed" && this.hz === 0 && spread(this.window) > MOVED_UT ? this.moved(s.t) : null;
      const [up, down] = this.hz > 0 ? [UP_PULSED, DOWN_PULSED] : [UP, DOWN];
      this.away = Math.max(0, this.away + (this.held.has(s.u, s.t) ? -down : up));
      return this.away >= MOVED ? this.moved(s.t) : null;
    }
    // A hand may hold it still for a moment: what was read before it was last shaken does not count.
    while (this.window[0].t < this.disturbedAt) this.window.shift();
    const found = this.shaken ? null : this.still.fit(this.window);
    if (!found) return null;
    this.held = found;
    this.state = "held";
    this.away = 0;
    return { event: "settled", since: this.window[0].t };
  }

  /** @param {number} t @returns {Told} */
  moved(t) {
    this.loosen();
    return { event: "moved", t };
  }
}

/** Largest spread of an axis. @param {Sample[]} samples */
function spread(samples) {
  return Math.max(...[0, 1, 2].map((k) => Math.max(...samples.map((s) => s.u[k])) - Math.min(...samples.map((s) => s.u[k]))));
}

/** Standard deviation of one reading from a stretch of a phone at rest, all axes together. @param {Sample[]} samples */
export function noiseOf(samples) {
  const squares = [];
  for (let i = 1; i < samples.length; i++) {
    const d = samples[i].u.map((v, a) => v - samples[i - 1].u[a]);
    if (d.every((v) => v === 0)) continue; // frozen, not quiet
    squares.push((d[0] * d[0] + d[1] * d[1] + d[2] * d[2]) / 6);
  }
  if (squares.length < 5) return TYPICAL_NOISE_UT;
  squares.sort((a, b) => a - b);
  const kept = squares.slice(0, Math.ceil(squares.length * 0.9)); // without a jump
  return Math.sqrt(kept.reduce((sum, x) => sum + x, 0) / kept.length) * 1.1;
}

/** How many readings differ from the one before: repeats are one reading that froze. @param {Sample[]} samples */
export function distinct(samples) {
  let n = 0;
  for (let i = 0; i < samples.length; i++) if (i === 0 || samples[i].u.some((v, a) => v !== samples[i - 1].u[a])) n++;
  return n;
}

/** How far readings jump about from one to the next; a few large jumps do not count. @param {Sample[]} samples */
export function jitterOf(samples) {
  const squares = samples.slice(1).map((s, i) => s.u.reduce((sum, v, a) => sum + (v - samples[i].u[a]) ** 2, 0) / 6);
  squares.sort((a, b) => a - b);
  return squares.length < 5 ? 0 : Math.sqrt(squares[Math.floor(squares.length / 2)] / MEDIAN_OF_THREE);
}
