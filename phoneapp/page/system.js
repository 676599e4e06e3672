// Which system and browser the page is in, as far as that changes what to do.

/** @typedef {{system: "android"|"apple"|"other", browser: "chromium"|"safari"|"firefox"|"other"}} Where */

/**
 * @param {{userAgent: string, maxTouchPoints?: number}} navigator
 * @returns {Where}
 */
export function whereAmI({ userAgent: ua, maxTouchPoints = 0 }) {
  // A tablet of the second kind calls itself a Macintosh, but has a touch screen.
  const apple = /iPhone|iPad|iPod/.test(ua) || (/Macintosh/.test(ua) && maxTouchPoints > 1);
  const system = apple ? "apple" : /Android/.test(ua) ? "android" : "other";
  if (apple) return { system, browser: "safari" }; // whatever its name, it is that engine
  const browser = /Firefox\//.test(ua) ? "firefox" : /Chrome\/|Chromium\//.test(ua) ? "chromium" : /Safari\//.test(ua) ? "safari" : "other";
  return { system, browser };
}

/** What to call this phone in a capture: nothing that tells more than its kind. @param {Where} w */
export function deviceName(w) {
  const system = { android: "Android phone", apple: "iPhone or iPad", other: "computer" }[w.system];
  const browser = { chromium: "Chromium-family browser", safari: "Safari-family browser", firefox: "Firefox-family browser", other: "browser" }[w.browser];
  return `${system}, ${browser}`;
}
