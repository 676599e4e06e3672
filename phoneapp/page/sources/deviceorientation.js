// Headings from orientation events: deviceorientationabsolute on one kind of
// phone, webkitCompassHeading on the other, which asks the person first.
import { Trouble } from "../troubles.js";
import { whereAmI } from "../system.js";
import { headingOfAngles, Turns } from "./headings.js";

/**
 * Whether no event comes before the person has been asked, which is allowed only
 * in a tap. Other browsers have the function that asks too, but give events
 * without it.
 */
export function mustAsk() {
  return canAsk() && whereAmI(navigator).system === "apple";
}

function canAsk() {
  return typeof globalThis.DeviceOrientationEvent?.requestPermission === "function";
}

/** Asks; to be called in a tap. @returns {Promise<void>} rejects with a Trouble */
export async function ask() {
  if (!canAsk()) return;
  let answer = "denied";
  try {
    answer = await globalThis.DeviceOrientationEvent.requestPermission();
    // Motion is a question of its own in some versions; without it there is still a compass.
    await globalThis.DeviceMotionEvent?.requestPermission?.().catch(() => {});
  } catch {
    // Not in a tap, or refused before.
  }
  if (answer !== "granted") throw new Trouble("motion-denied");
}

/**
 * @param {(h: {deg: number, turned_deg?: number, accuracy_deg?: number}, stamp_ms?: number) => void} onheading
 * @param {number} within_ms
 * @returns {Promise<{stop(): void}>} rejects with a Trouble
 */
export function startDeviceOrientation(onheading, within_ms) {
  return new Promise((resolve, reject) => {
    const turns = new Turns();
    /** @type {number | undefined} */
    let turned_deg;
    const stop = () => {
      clearTimeout(timer);
      removeEventListener("deviceorientationabsolute", absolute);
      removeEventListener("deviceorientation", relative);
    };
    const timer = setTimeout(() => {
      stop();
      reject(new Trouble(document.hidden ? "hidden" : "no-compass"));
    }, within_ms);
    const give = (h, stamp_ms) => {
      clearTimeout(timer);
      resolve({ stop });
      onheading(h, stamp_ms);
    };
    /** @param {any} e */
    const absolute = (e) => {
      if (Number.isFinite(e.alpha)) give({ deg: headingOfAngles(e.alpha, e.beta ?? 0), turned_deg }, e.timeStamp);
    };
    // Here alpha is by gyroscope alone, whatever zero it began with: it tells how
    // far the phone was turned by hand.
    /** @param {any} e */
    const relative = (e) => {
      if (Number.isFinite(e.alpha) && !e.absolute) turned_deg = turns.feed(-e.alpha);
      if (!Number.isFinite(e.webkitCompassHeading)) return;
      const accuracy_deg = e.webkitCompassAccuracy >= 0 ? e.webkitCompassAccuracy : undefined;
      give({ deg: e.webkitCompassHeading, turned_deg, accuracy_deg }, e.timeStamp);
    };
    addEventListener("deviceorientationabsolute", absolute);
    addEventListener("deviceorientation", relative);
  });
}
