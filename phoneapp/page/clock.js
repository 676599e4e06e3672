// One clock for everything a capture holds: seconds since it began.

/** @returns {() => number} */
export function startClock() {
  const began = performance.now();
  return () => Math.round(performance.now() - began) / 1000;
}
