// Raw magnetometer readings, microtesla in the phone's axes, ten a second at most.
import { codeOf, Trouble } from "../troubles.js";

const FIRST_READING_MS = 2000;

/**
 * Resolves when the first reading is there.
 * @param {(u: number[], stamp_ms?: number) => void} onreading
 * @param {(trouble: Trouble) => void} [onfail] the sensor stopped later on
 * @returns {Promise<{stop(): void}>} rejects with a Trouble
 */
export function startMagnetometer(onreading, onfail) {
  return new Promise((resolve, reject) => {
    if (!globalThis.isSecureContext) throw new Trouble("insecure");
    const Class = globalThis.Magnetometer;
    if (!Class) throw new Trouble("missing");
    let sensor;
    let begun = false;
    const stop = () => {
      clearTimeout(timer);
      sensor?.stop();
    };
    const fail = (code) => {
      stop();
      if (begun) onfail?.(new Trouble(code));
      else reject(new Trouble(code));
    };
    const timer = setTimeout(() => fail(document.hidden || !document.hasFocus() ? "hidden" : "silent"), FIRST_READING_MS);
    try {
      sensor = new Class({ frequency: 10 });
      sensor.onerror = (e) => fail(codeOf(e.error?.name));
      sensor.onreading = () => {
        const u = [sensor.x, sensor.y, sensor.z];
        // One axis that gives nothing would have the bench refuse all that is sent with it.
        if (!u.every(Number.isFinite)) return;
        clearTimeout(timer);
        if (!begun) {
          begun = true;
          resolve({ stop });
        }
        onreading(u, sensor.timestamp);
      };
      sensor.start();
    } catch (e) {
      fail(codeOf(/** @type {Error} */ (e).name));
    }
  });
}
