// Headings from AbsoluteOrientationSensor, which fuses the magnetometer in.
import { codeOf, Trouble } from "../troubles.js";
import { headingOfQuaternion } from "./headings.js";

/**
 * @param {(deg: number, stamp_ms?: number) => void} onheading
 * @param {number} within_ms
 * @returns {Promise<{stop(): void}>} rejects with a Trouble
 */
export function startAbsoluteOrientation(onheading, within_ms) {
  return startOrientation(globalThis.AbsoluteOrientationSensor, onheading, within_ms);
}

/** @param {any} Class @param {(deg: number, stamp_ms?: number) => void} ondirection @param {number} within_ms */
export function startOrientation(Class, ondirection, within_ms) {
  return new Promise((resolve, reject) => {
    if (!Class) throw new Trouble("missing");
    let sensor;
    const stop = () => {
      clearTimeout(timer);
      sensor?.stop();
    };
    const fail = (code) => {
      stop();
      reject(new Trouble(code));
    };
    const timer = setTimeout(() => fail(document.hidden || !document.hasFocus() ? "hidden" : "silent"), within_ms);
    try {
      sensor = new Class({ frequency: 10 });
      sensor.onerror = (e) => fail(codeOf(e.error?.name));
      sensor.onreading = () => {
        clearTimeout(timer);
        resolve({ stop });
        const deg = sensor.quaternion ? headingOfQuaternion(sensor.quaternion) : NaN;
        if (Number.isFinite(deg)) ondirection(deg, sensor.timestamp);
      };
      sensor.start();
    } catch (e) {
      fail(codeOf(/** @type {Error} */ (e).name));
    }
  });
}
