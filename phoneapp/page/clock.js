// One clock for everything a capture holds: seconds since it began. It goes on
// through a reload of the page, so that a capture does too.

/** Milliseconds since 1970, as even as performance.now. */
function now_ms() {
  return performance.timeOrigin + performance.now();
}

export class Clock {
  /** @param {number} [began_ms] when the capture began, of a clock before a reload */
  constructor(began_ms) {
    this.began_ms = began_ms ?? now_ms();
  }

  /**
   * Seconds since the capture began, to a millisecond.
   * @param {number} [stamp_ms] a time stamp of an event or sensor; now if left out
   */
  at(stamp_ms) {
    // Some browsers stamp events from 1970 or not at all; only a stamp near now
    // is one of this clock's.
    const near = stamp_ms !== undefined && Math.abs(performance.now() - stamp_ms) < 1000;
    const ms = near ? performance.timeOrigin + stamp_ms : now_ms();
    return Math.max(0, Math.round(ms - this.began_ms) / 1000);
  }
}
