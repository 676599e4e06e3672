// The few checks the pure tests need, and made-up readings with a fixed seed.

export function ok(value, what) {
  if (!value) throw new Error(what || "expected something true");
}

export function equal(is, should, what = "") {
  const [a, b] = [JSON.stringify(is), JSON.stringify(should)];
  if (a !== b) throw new Error(`${what ? `${what}: ` : ""}expected ${b}, found ${a}`);
}

export function near(is, should, within, what = "") {
  if (!(Math.abs(is - should) <= within)) throw new Error(`${what ? `${what}: ` : ""}expected ${should} within ${within}, found ${is}`);
}

/** Even numbers from 0 to 1: the 32-bit generator "mulberry32". @param {number} seed */
export function random(seed) {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) | 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** Normal numbers of mean 0 and sd 1 (Box and Muller). @param {() => number} rnd */
export function normal(rnd) {
  return Math.sqrt(-2 * Math.log(1 - rnd())) * Math.cos(2 * Math.PI * rnd());
}
