// What this phone's page remembers from one pad to the next. Without storage it
// simply remembers nothing.

/** @param {string} key @returns {any} null if there is nothing usable */
function recall(key) {
  try {
    return JSON.parse(localStorage.getItem(`polewise ${key}`) || "null");
  } catch {
    return null;
  }
}

/** @param {string} key @param {any} value null forgets it */
function remember(key, value) {
  try {
    if (value === null) localStorage.removeItem(`polewise ${key}`);
    else localStorage.setItem(`polewise ${key}`, JSON.stringify(value));
  } catch {
    // Forbidden or full: it holds until the page is closed.
  }
}

/** Whether claims are spoken. */
export const voice = { get: () => recall("voice") === true, set: (/** @type {boolean} */ on) => remember("voice", on) };

/** Whether claims sound. */
export const tones = { get: () => recall("tones") !== false, set: (/** @type {boolean} */ on) => remember("tones", on) };

/** What the person calls the face with the field coming out: "north" as physics does, or "south"; null if not asked yet. */
export const outFace = {
  get: () => /** @type {"north"|"south"|null} */ (["north", "south"].includes(recall("out-face")) ? recall("out-face") : null),
  set: (/** @type {"north"|"south"} */ word) => remember("out-face", word),
};

/**
 * Where the magnetometer sits in this phone, millimetres right of and above the
 * middle of the screen, with how well that is known; null if it was not found.
 * marked: a sticker is there, and the person lays that on the coils.
 */
export const sensorPlace = {
  get() {
    const p = recall("sensor");
    const pair = (v) => Array.isArray(v) && v.length === 2 && v.every(Number.isFinite);
    return p && pair(p.mm) && pair(p.sd_mm) ? /** @type {{mm: number[], sd_mm: number[], marked: boolean}} */ (p) : null;
  },
  set: (/** @type {{mm: number[], sd_mm: number[], marked: boolean} | null} */ p) => remember("sensor", p),
};
