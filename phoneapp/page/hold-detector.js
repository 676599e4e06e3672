// Tells from the readings when the phone lies still and when it has been moved.
// Pure: it knows no page and no sensor. Readings are in microtesla in the phone's
// axes, times in seconds; a phone gives about ten a second.
//
// Steady drive: still means that the readings of the last moments agree within
// what the phone's own noise and quantisation make. Pulsed drive: the readings of
// a phone that lies still jump between two levels, so still means that they lie
// on one line between two ends that do not wander. A motion sensor, where there
// is one, must not say otherwise.

/** @typedef {{t: number, u: number[]}} Sample */
/** @typedef {{event: "settled", since: number} | {event: "moved", t: number}} Told */

const SETTLE_S = 0.8;
const LEAST = 4; // readings in a window
const MOVED_RUN = 3; // readings in a row that are elsewhere
const MOVING_S = 1; // a tap on the screen shakes the phone for less
const MAX_WINDOW = 400; // readings kept, whatever the rate
const STEP_UT = 0.8; // the coarsest quantisation seen is 0.7 uT
const TYPICAL_NOISE_UT = 0.9;

export class HoldDetector {
  /**
   * @param {{hz?: number, noise_uT?: number}} [o] hz: of a pulsed drive. noise_uT:
   *   standard deviation of one reading, as found during the rest
   */
  constructor(o = {}) {
    this.hz = o.hz || 0;
    this.setNoise(o.noise_uT ?? TYPICAL_NOISE_UT);
    this.reset();
  }

  /** @param {number} sd_uT */
  setNoise(sd_uT) {
    this.noise = Math.min(2, Math.max(0.15, sd_uT));
  }

  /**
   * Forgets the readings. Unless loose, the phone must be moved before it can
   * settle: it still lies where the last hold was, or beside the pad.
   * @param {{loose?: boolean}} [o]
   */
  reset({ loose = false } = {}) {
    /** @type {Sample[]} */
    this.window = [];
    /** Ends of the line that the held readings lie on, the same twice if steady. @type {number[][] | null} */
    this.held = null;
    this.away = 0;
    /** @type {"loose" | "fixed" | "held"} */
    this.state = loose ? "loose" : "fixed";
    this.movingSince = null;
  }

  /** A hold has ended where the phone lies: it must be moved before the next. */
  mustMove() {
    this.state = "fixed";
    this.away = 0;
  }

  /** The next settling may begin now: the person says that the phone was moved. */
  loosen() {
    this.state = "loose";
    this.held = null;
    this.window = [];
  }

  /** Seconds of readings that are looked at together. */
  get span() {
    return this.hz > 0 ? Math.min(2.6, Math.max(1.2, 1.2 / this.hz)) : SETTLE_S;
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
    return t - this.movingSince >= MOVING_S ? this.moved(t) : null;
  }

  /**
   * @param {Sample} s
   * @returns {Told | null}
   */
  feed(s) {
    this.window.push(s);
    while (this.window.length > MAX_WINDOW || this.window[0].t < s.t - this.span - 0.05) this.window.shift();
    if (this.state !== "loose") {
      // Where nothing is remembered, what comes first is: the phone lies there.
      this.held ??= this.ends();
      if (!this.held) return null;
      this.away = this.offLine(s.u, this.held) ? this.away + 1 : 0;
      return this.away >= MOVED_RUN ? this.moved(s.t) : null;
    }
    const ends = this.shaken ? null : this.ends();
    if (!ends) return null;
    this.held = ends;
    this.state = "held";
    this.away = 0;
    return { event: "settled", since: this.window[0].t };
  }

  /** The person says that the phone lies still now: what comes is the hold. */
  hold() {
    this.state = "held";
    this.held = null;
    this.away = 0;
    this.window = [];
  }

  /** @param {number} t @returns {Told} */
  moved(t) {
    this.state = "loose";
    this.held = null;
    this.away = 0;
    this.movingSince = null;
    this.window = [];
    return { event: "moved", t };
  }

  /** The two ends between which the window's readings lie, or null if they wander. */
  ends() {
    const w = this.window;
    if (w.length < LEAST || w[w.length - 1].t - w[0].t < this.span - 0.15) return null;
    return this.hz > 0 ? this.pulsedEnds(w) : this.steadyEnds(w);
  }

  /** @param {Sample[]} w */
  steadyEnds(w) {
    const half = Math.floor(w.length / 2);
    for (let a = 0; a < 3; a++) {
      const v = w.map((s) => s.u[a]);
      if (Math.max(...v) - Math.min(...v) > 6 * this.noise + STEP_UT) return null;
      const drift = Math.abs(mean(v.slice(0, half)) - mean(v.slice(half)));
      if (drift > (2.5 * this.noise * 2) / Math.sqrt(w.length) + STEP_UT) return null;
    }
    const m = [0, 1, 2].map((a) => mean(w.map((s) => s.u[a])));
    return [m, m];
  }

  /** @param {Sample[]} w */
  pulsedEnds(w) {
    const ends = extremes(w);
    if (w.some((s) => this.offLine(s.u, ends))) return null;
    // A phone carried along one line of the field also gives readings on a line,
    // but not the same two ends in both halves of the window.
    const half = Math.floor(w.length / 2);
    const apart = distance(ends[0], ends[1]);
    const tolerance = 6 * this.noise + STEP_UT + 0.06 * apart;
    let seen = 0;
    for (const end of ends) {
      const near = (s) => distance(s.u, end) <= tolerance;
      if (w.slice(0, half).some(near) && w.slice(half).some(near)) seen++;
    }
    // A slow pulse may show one end in one half only.
    if (seen < (this.hz * this.span >= 2 ? 2 : 1)) return null;
    const atEnds = w.filter((s) => Math.min(distance(s.u, ends[0]), distance(s.u, ends[1])) <= tolerance).length;
    return atEnds >= 0.6 * w.length ? ends : null;
  }

  /** Whether a reading lies away from the line between two ends. */
  offLine(u, [a, b]) {
    const d = [0, 1, 2].map((i) => b[i] - a[i]);
    const dd = d[0] * d[0] + d[1] * d[1] + d[2] * d[2];
    const along = dd > 0 ? clamp01([0, 1, 2].reduce((sum, i) => sum + (u[i] - a[i]) * d[i], 0) / dd) : 0;
    const off = distance(
      u,
      a.map((v, i) => v + along * d[i]),
    );
    const size = Math.max(norm(a), norm(b));
    return off > 8 * this.noise + 4 + 0.04 * size;
  }
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
  return Math.sqrt(mean(squares.slice(0, Math.ceil(squares.length * 0.9)))) * 1.1; // without a jump
}

/** How many readings differ from the one before: repeats are one reading that froze. @param {Sample[]} samples */
export function distinct(samples) {
  let n = 0;
  for (let i = 0; i < samples.length; i++) if (i === 0 || samples[i].u.some((v, a) => v !== samples[i - 1].u[a])) n++;
  return n;
}

function extremes(w) {
  let axis = 0;
  let widest = -1;
  for (let a = 0; a < 3; a++) {
    const v = w.map((s) => s.u[a]);
    const range = Math.max(...v) - Math.min(...v);
    if (range > widest) [axis, widest] = [a, range];
  }
  let lo = w[0].u;
  let hi = w[0].u;
  for (const s of w) {
    if (s.u[axis] < lo[axis]) lo = s.u;
    if (s.u[axis] > hi[axis]) hi = s.u;
  }
  return [lo, hi];
}

const mean = (v) => v.reduce((sum, x) => sum + x, 0) / v.length;
const norm = (v) => Math.hypot(v[0], v[1], v[2]);
const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
const clamp01 = (x) => Math.min(1, Math.max(0, x));
