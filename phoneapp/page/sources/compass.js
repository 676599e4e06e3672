// Compass headings of the top edge from the first of this phone's sources that
// gives any.
import { Trouble } from "../troubles.js";
import { startAbsoluteOrientation } from "./absolute-orientation.js";
import { startDeviceOrientation } from "./deviceorientation.js";
import { startRelativeOrientation } from "./relative-orientation.js";

const FIRST_HEADING_MS = 2000;
const EVERY_MS = 95; // orientation events come sixty times a second; ten tell as much

/**
 * deg: clockwise from magnetic north. turned_deg: how far the phone was turned by
 * hand since the beginning, clockwise.
 * @typedef {{deg: number, turned_deg?: number, accuracy_deg?: number}} Heading
 */

/**
 * @param {(h: Heading, stamp_ms?: number) => void} onheading
 * @returns {Promise<{from: string, stop(): void}>} rejects with a Trouble
 */
export async function startCompass(onheading) {
  if (!globalThis.isSecureContext) throw new Trouble("insecure");
  let from = "";
  let last = -Infinity;
  /** @param {string} source */
  const hear = (source) => (h, stamp_ms) => {
    from ||= source;
    const now = performance.now();
    if (from !== source || now - last < EVERY_MS) return;
    last = now;
    onheading(h, stamp_ms);
  };
  /** @type {number | undefined} */
  let turned_deg;
  const bySensor = hear("orientation sensor");
  const turned = startRelativeOrientation((deg) => (turned_deg = deg), FIRST_HEADING_MS).catch(() => null);
  const tries = [
    startAbsoluteOrientation((deg, stamp_ms) => bySensor({ deg, turned_deg }, stamp_ms), FIRST_HEADING_MS),
    startDeviceOrientation(hear("orientation events"), FIRST_HEADING_MS),
  ];
  const stop = () => {
    for (const t of [...tries, turned]) t.then((s) => s?.stop()).catch(() => {});
  };
  try {
    await Promise.any(tries);
    return { from, stop };
  } catch (all) {
    stop();
    const codes = /** @type {AggregateError} */ (all).errors.map((e) => e.code);
    throw new Trouble(["denied", "policy", "hidden"].find((c) => codes.includes(c)) || "no-compass");
  }
}
