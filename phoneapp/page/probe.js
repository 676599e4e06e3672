// Finds out by trying what this phone can give, within three seconds.
import { startCompass } from "./sources/compass.js";
import { mustAsk } from "./sources/deviceorientation.js";
import { startMagnetometer } from "./sources/magnetometer.js";
import { Trouble } from "./troubles.js";

const AT_MOST_MS = 2900;

/**
 * raw, compass: null if it works, else why not. compass "ask": it may work once
 * the person has been asked, in a tap.
 * @typedef {{best: "vector"|"heading"|"hand", raw: Trouble | null, compass: Trouble | null | "ask"}} Found
 */

/** @returns {Promise<Found>} */
export async function probe() {
  const late = new Promise((_, reject) => setTimeout(() => reject(new Trouble("silent")), AT_MOST_MS));
  late.catch(() => {}); // both may be done before
  const raw = outcome(Promise.race([startMagnetometer(() => {}), late]));
  const compass = mustAsk() ? Promise.resolve(/** @type {const} */ ("ask")) : outcome(Promise.race([startCompass(() => {}), late]));
  const rawIs = await raw;
  if (rawIs === null) return { best: "vector", raw: null, compass: mustAsk() ? "ask" : null };
  const compassIs = await compass;
  const works = compassIs === null || compassIs === "ask";
  return { best: works ? "heading" : "hand", raw: rawIs, compass: compassIs };
}

/** @param {Promise<any>} started @returns {Promise<Trouble | null>} */
async function outcome(started) {
  try {
    (await started).stop();
    return null;
  } catch (e) {
    return e instanceof Trouble ? e : new Trouble("silent");
  }
}
