// Turns of the phone by hand from RelativeOrientationSensor: gyroscope and gravity
// only, so that no field pulls at them.
import { startOrientation } from "./absolute-orientation.js";
import { Turns } from "./headings.js";

/**
 * @param {(turned_deg: number) => void} onturned clockwise, since the first reading
 * @param {number} within_ms
 * @returns {Promise<{stop(): void}>} rejects with a Trouble
 */
export function startRelativeOrientation(onturned, within_ms) {
  const turns = new Turns();
  return startOrientation(globalThis.RelativeOrientationSensor, (deg) => onturned(turns.feed(deg)), within_ms);
}
