// Gravity, and how fast the phone turns, from whatever sensor there is. Nothing
// fails without them: the readings alone will do.
import { whereAmI } from "../system.js";

const GRAVITY_EVERY_MS = 500;

/**
 * @param {(ms2: number[], stamp_ms?: number) => void} ongravity thinned; +9.81 on z when flat, screen up
 * @param {(m: {rate_dps?: number, g?: number[]}, stamp_ms?: number) => void} onmotion as it comes
 * @returns {{stop(): void}}
 */
export function startMotion(ongravity, onmotion) {
  const stops = [];
  let lastGravity = -Infinity;
  const gravity = (ms2, stamp_ms) => {
    const now = performance.now();
    if (now - lastGravity < GRAVITY_EVERY_MS || !ms2.every(Number.isFinite)) return;
    lastGravity = now;
    ongravity(ms2, stamp_ms);
  };

  let sensed = false; // a gravity sensor of its own is better than a guess from acceleration
  const Class = globalThis.GravitySensor;
  if (Class) {
    try {
      const sensor = new Class({ frequency: 10 });
      sensor.onerror = () => {};
      sensor.onreading = () => {
        sensed = true;
        const g = [sensor.x, sensor.y, sensor.z];
        gravity(g, sensor.timestamp);
        onmotion({ g }, sensor.timestamp);
      };
      sensor.start();
      stops.push(() => sensor.stop());
    } catch {
      // Not allowed, or none.
    }
  }

  // Browsers of one kind of phone give this with the opposite sign (from memory).
  const sign = whereAmI(navigator).system === "apple" ? -1 : 1;
  /** @type {number[] | null} */
  let smooth = null;
  /** @param {DeviceMotionEvent} e */
  const moved = (e) => {
    const a = e.accelerationIncludingGravity;
    const r = e.rotationRate;
    const g = a && a.x !== null && a.y !== null && a.z !== null ? [sign * a.x, sign * a.y, sign * a.z] : undefined;
    const rate_dps = r && r.alpha !== null ? Math.hypot(r.alpha, r.beta || 0, r.gamma || 0) : undefined;
    if (!g && rate_dps === undefined) return;
    onmotion({ g, rate_dps }, e.timeStamp);
    if (!g || sensed) return;
    smooth = smooth ? smooth.map((v, i) => v + 0.1 * (g[i] - v)) : g;
    gravity(smooth, e.timeStamp);
  };
  addEventListener("devicemotion", moved);
  stops.push(() => removeEventListener("devicemotion", moved));
  return { stop: () => stops.forEach((s) => s()) };
}
