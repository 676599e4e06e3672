// Raw magnetometer readings, where the browser gives them.

/**
 * @typedef {{code: string, say: string, remedy: string}} Trouble
 * @typedef {{t: number, u: number[]}} Sample
 */

const FIRST_READING_MS = 2000;

/** @param {string} name @returns {Trouble} */
function trouble(name) {
  switch (name) {
    case "insecure":
      return { code: "insecure", say: "The browser gives sensors only to secure pages.", remedy: "Open this page by its https address, from the QR code." };
    case "missing":
      return { code: "missing", say: "This browser gives web pages no raw magnetometer.", remedy: "Use compass headings or taps by hand below; any phone can." };
    case "NotReadableError":
      return { code: "not-readable", say: "The browser knows a magnetometer but cannot reach it: the sensor is switched off in its features, or the phone has none.", remedy: "In a Chromium browser the feature GenericSensorExtraClasses must be on. Or use another way below." };
    case "NotAllowedError":
    case "SecurityError":
      return { code: "not-allowed", say: "The page may not use the sensors.", remedy: "Allow motion sensors for this page in the browser's site settings, then load it again." };
    default:
      return { code: "silent", say: "The sensor started but sends nothing.", remedy: "Bring this page to the front and keep the screen on. If nothing comes, use another way below." };
  }
}

/**
 * Starts the magnetometer. Resolves when the first reading is there.
 * @param {(u: number[]) => void} onreading
 * @returns {Promise<{stop(): void}>} rejects with a Trouble
 */
export async function startMagnetometer(onreading) {
  if (!globalThis.isSecureContext) throw trouble("insecure");
  const Class = globalThis.Magnetometer;
  if (!Class) throw trouble("missing");
  return new Promise((resolve, reject) => {
    let sensor;
    let settled = false;
    const fail = (name) => {
      if (settled) return;
      settled = true;
      clearTimeout(timer);
      sensor?.stop();
      reject(trouble(name));
    };
    const timer = setTimeout(() => fail("silent"), FIRST_READING_MS);
    try {
      sensor = new Class({ frequency: 10 });
    } catch (e) {
      fail(e.name);
      return;
    }
    sensor.onerror = (e) => fail(e.error?.name || "silent");
    sensor.onreading = () => {
      if (!settled) {
        settled = true;
        clearTimeout(timer);
        resolve({ stop: () => sensor.stop() });
      }
      onreading([sensor.x, sensor.y, sensor.z]);
    };
    sensor.start();
  });
}

/**
 * Gravity, where there is a sensor for it; nothing is missed without.
 * @param {(g: number[]) => void} onreading
 */
export function startGravity(onreading) {
  const Class = globalThis.GravitySensor;
  if (!Class) return { stop() {} };
  try {
    const sensor = new Class({ frequency: 2 });
    sensor.onerror = () => {};
    sensor.onreading = () => onreading([sensor.x, sensor.y, sensor.z]);
    sensor.start();
    return { stop: () => sensor.stop() };
  } catch {
    return { stop() {} };
  }
}
