// Readings of a phone that lies still under a pulsed drive: they jump between two
// levels, off and on, with some in between where the sensor averaged over a switch.
// So they lie on a line from the one to the other. Where the pulses are nearly in
// step with the sensor, only one level may be seen for seconds; the other may then
// appear later, anywhere. Pure.
import { distance, dot, minus, norm } from "./vectors.js";

const LEAST = 6; // readings
const STEP_UT = 0.8;
const SURE_TO_BE_SEEN_S = 0.25; // a level that lasts so long falls on a reading

export class PulsedReadings {
  /** @param {number} hz @param {number} duty @param {number} noise_uT standard deviation of one reading */
  constructor(hz, duty, noise_uT) {
    this.hz = hz;
    this.noise = noise_uT;
    /** For how long a level may be away, seconds; 0 where it may be missed by every reading. */
    this.longest_s = Math.min(duty, 1 - duty) / hz >= SURE_TO_BE_SEEN_S ? Math.max(1, 1.4 / hz) : 0;
    /** Seconds of readings that are looked at together: a period and a bit. */
    this.span_s = Math.min(2.6, Math.max(1.2, 1.2 / hz));
  }

  /**
   * What they look like, or null if they wander.
   * @param {import("./hold-detector.js").Sample[]} w
   */
  fit(w) {
    if (w.length < LEAST || w[w.length - 1].t - w[0].t < this.span_s - 0.15) return null;
    const [a, b] = ends(w.map((s) => s.u));
    const apart = distance(a, b);
    const near = 6 * this.noise + STEP_UT + 0.06 * apart;
    // A phone carried along one line of the field gives readings on a line too,
    // but spread along it, and not with the same ends in both halves.
    const atEnds = w.filter((s) => Math.min(distance(s.u, a), distance(s.u, b)) <= near).length;
    if (atEnds < 0.6 * w.length) return null;
    const half = Math.floor(w.length / 2);
    const inBoth = [a, b].filter((end) => [w.slice(0, half), w.slice(half)].every((part) => part.some((s) => distance(s.u, end) <= near))).length;
    // A slow pulse may show one of its ends in one half only.
    if (inBoth < (this.hz * this.span_s >= 2 ? 2 : 1)) return null;
    const levels = new Levels(a, apart > near ? b : null, this);
    return w.every((s) => levels.has(s.u, s.t)) ? levels : null;
  }
}

/** Two levels, of which the second may not be known yet. */
class Levels {
  /** @param {number[]} a @param {number[] | null} b @param {PulsedReadings} of */
  constructor(a, b, of) {
    this.a = a;
    this.b = b;
    this.of = of;
    /** Readings away from the only level known. @type {number[][]} */
    this.elsewhere = [];
    /** When each of the two was seen last. @type {number[]} */
    this.seen = [];
  }

  /** @param {number[]} u @param {number} t */
  has(u, t) {
    const tolerance = 8 * this.of.noise + 4 + 0.04 * Math.max(norm(this.a), this.b ? norm(this.b) : 0);
    return this.b ? this.between(u, t, tolerance) : this.oneLevel(u, tolerance);
  }

  /** Only one level is known: the second may appear, and all there is of it must lie on one line. */
  oneLevel(u, tolerance) {
    if (distance(u, this.a) <= tolerance) return true;
    this.elsewhere.push(u);
    const far = this.elsewhere.reduce((best, v) => (distance(v, this.a) > distance(best, this.a) ? v : best));
    const onLine = this.elsewhere.every((v) => offLine(v, this.a, far) <= tolerance);
    if (onLine && this.elsewhere.length >= 6) this.b = far;
    return onLine;
  }

  between(u, t, tolerance) {
    if (offLine(u, this.a, this.b) > tolerance) return false;
    // Beyond an end: that was a reading averaged over a switch, this is the level.
    const along = dot(minus(u, this.a), minus(this.b, this.a)) / dot(minus(this.b, this.a), minus(this.b, this.a));
    if (along > 1) this.b = u;
    if (along < 0) this.a = u;
    const { longest_s } = this.of;
    if (!longest_s) return true;
    // Lifted, the on level is gone, though what is left lies on the line.
    const near = tolerance + 0.06 * distance(this.a, this.b);
    [this.a, this.b].forEach((level, i) => {
      if (distance(u, level) <= near) this.seen[i] = t;
      this.seen[i] ??= t;
    });
    return this.seen.every((last) => t - last <= longest_s);
  }
}

/** The two readings furthest apart along the axis on which they vary most. @param {number[][]} readings */
function ends(readings) {
  let best = [readings[0], readings[0]];
  let widest = -1;
  for (let k = 0; k < 3; k++) {
    const lo = readings.reduce((m, u) => (u[k] < m[k] ? u : m));
    const hi = readings.reduce((m, u) => (u[k] > m[k] ? u : m));
    if (hi[k] - lo[k] > widest) [best, widest] = [[lo, hi], hi[k] - lo[k]];
  }
  return best;
}

/** Distance of a reading from the line through two others. */
function offLine(u, a, b) {
  const d = minus(b, a);
  const dd = dot(d, d);
  const along = dd > 0 ? dot(minus(u, a), d) / dd : 0;
  return distance(
    u,
    a.map((v, i) => v + along * d[i]),
  );
}
