// Compass headings of the top edge, clockwise from magnetic north, from
// whatever the phone has.

const FIRST_MS = 2500;

/** Heading of a device-to-earth quaternion (x, y, z, w): where its y axis points. */
export function headingOf([x, y, z, w]) {
  const east = 2 * (x * y - w * z);
  const north = 1 - 2 * (x * x + z * z);
  return (Math.atan2(east, north) * 180) / Math.PI;
}

/** @param {number} a */
export function wrap360(a) {
  return ((a % 360) + 360) % 360;
}

/**
 * @typedef {{deg: number, turned?: number, accuracy?: number}} Heading
 * @param {(h: Heading) => void} onheading
 * @returns {Promise<{stop(): void, from: string}>}
 */
export async function startHeadings(onheading) {
  const ask = globalThis.DeviceOrientationEvent?.requestPermission;
  if (typeof ask === "function") {
    const answer = await ask.call(globalThis.DeviceOrientationEvent).catch(() => "denied");
    if (answer !== "granted") {
      throw { code: "not-allowed", say: "The phone did not let this page use the compass.", remedy: "Close the page, open it again, and answer yes when asked for motion and orientation." };
    }
  }
  return first([byOrientationSensor(onheading), byOrientationEvent(onheading)]);
}

/** @param {Promise<any>[]} tries */
async function first(tries) {
  try {
    return await Promise.any(tries);
  } catch {
    throw { code: "no-compass", say: "This browser gives no compass heading.", remedy: "Read the faces by hand: a compass needle does." };
  }
}

/** @param {(h: Heading) => void} onheading */
function byOrientationSensor(onheading) {
  return new Promise((resolve, reject) => {
    const Absolute = globalThis.AbsoluteOrientationSensor;
    if (!Absolute) return reject(new Error("missing"));
    let turned0;
    let turned;
    let relative;
    const sensor = new Absolute({ frequency: 10 });
    const timer = setTimeout(() => {
      sensor.stop();
      reject(new Error("silent"));
    }, FIRST_MS);
    sensor.onerror = (e) => {
      clearTimeout(timer);
      reject(e.error);
    };
    sensor.onreading = () => {
      clearTimeout(timer);
      resolve({ from: "orientation sensor", stop: () => (sensor.stop(), relative?.stop()) });
      onheading({ deg: wrap360(headingOf(sensor.quaternion)), turned });
    };
    sensor.start();
    // Turns by hand, by gyroscope alone: they are told apart from the coils' pull.
    const Relative = globalThis.RelativeOrientationSensor;
    if (!Relative) return;
    relative = new Relative({ frequency: 10 });
    relative.onerror = () => {};
    let total = 0;
    relative.onreading = () => {
      const h = headingOf(relative.quaternion);
      if (turned0 !== undefined) total += ((h - turned0 + 540) % 360) - 180;
      turned0 = h;
      turned = total;
    };
    relative.start();
  });
}

/** @param {(h: Heading) => void} onheading */
function byOrientationEvent(onheading) {
  return new Promise((resolve, reject) => {
    let found = "";
    const listen = (e) => {
      let h;
      if (typeof e.webkitCompassHeading === "number") {
        // This system's alpha is by gyroscope, counter-clockwise.
        h = { deg: e.webkitCompassHeading, turned: typeof e.alpha === "number" ? unwrap(-e.alpha) : undefined, accuracy: e.webkitCompassAccuracy };
      } else if (e.type === "deviceorientationabsolute" && typeof e.alpha === "number") {
        h = { deg: wrap360(360 - e.alpha) };
      }
      if (!h) return;
      if (!found) {
        found = e.type;
        clearTimeout(timer);
        resolve({ from: e.type, stop });
      }
      onheading(h);
    };
    let last;
    let total = 0;
    const unwrap = (a) => {
      if (last !== undefined) total += ((a - last + 540) % 360 + 360) % 360 - 180;
      last = a;
      return total;
    };
    const stop = () => {
      removeEventListener("deviceorientationabsolute", listen);
      removeEventListener("deviceorientation", listen);
    };
    const timer = setTimeout(() => {
      stop();
      reject(new Error("silent"));
    }, FIRST_MS);
    addEventListener("deviceorientationabsolute", listen);
    addEventListener("deviceorientation", listen);
  });
}
