// Every way in which a phone can fail to give readings: what it is, and what to do
// about it in the browser at hand.

/**
 * @typedef {"insecure"|"missing"|"not-readable"|"denied"|"policy"|"hidden"|"silent"|"motion-denied"|"no-compass"|"ended"} Code
 */

/** A source could not be started, or stopped. */
export class Trouble extends Error {
  /** @param {Code} code */
  constructor(code) {
    super(code);
    this.name = "Trouble";
    this.code = code;
  }
}

/** Names of what a sensor throws, in our codes. @param {string} name of a DOMException @returns {Code} */
export function codeOf(name) {
  switch (name) {
    case "NotAllowedError":
      return "denied";
    case "SecurityError":
      return "policy";
    case "NotReadableError":
      return "not-readable";
    default:
      return "silent";
  }
}

/**
 * @param {Code} code
 * @param {import("./system.js").Where} where
 * @returns {{say: string, steps: string[]}}
 */
export function wordsFor(code, where) {
  switch (code) {
    case "insecure":
      return {
        say: "This page was not opened by its safe address, so the browser keeps every sensor from it.",
        steps: ["Scan the QR code on the bench page again: its address begins with https.", "If the browser then warns of the certificate, go on to the page all the same, or see the certificate below."],
      };
    case "missing":
      return missing(where);
    case "not-readable":
      return {
        say: "This browser knows the magnetometer but cannot reach it: either the phone has none, or the browser's part that reads it is switched off.",
        steps: rawInChromium(where),
      };
    case "denied":
      return {
        say: "This page is not allowed to use the motion sensors.",
        steps:
          where.system === "android"
            ? ["Tap the sign to the left of the page's address.", "Choose Permissions, then Motion sensors, and allow them.", "If there is no such entry: browser menu, Settings, Site settings, Motion sensors.", "Load this page again."]
            : ["Click the sign to the left of the page's address.", "Allow motion sensors for this page.", "Load this page again."],
      };
    case "policy":
      return {
        say: "This page is shown inside another page, and that one does not let it use sensors.",
        steps: ["Open this page by itself: scan the QR code on the bench page."],
      };
    case "hidden":
      return {
        say: "Browsers stop the sensors of a page that is not in front.",
        steps: ["Bring this page to the front, tap it once, and keep the screen on."],
      };
    case "silent":
      return {
        say: "The sensor was started but sends nothing.",
        steps: ["Keep this page in front and the screen on, and try again.", "Close other pages and apps that use the compass.", "If it stays silent, this phone may have no magnetometer."],
      };
    case "motion-denied":
      return {
        say: "The phone was asked for motion and orientation, and the answer was no.",
        steps: ["Close this page in every tab, open it again, and answer Allow when you are asked.", "If you are not asked any more: Settings, Apps, Safari, Clear history and website data for this page, then open it again."],
      };
    case "no-compass":
      return {
        say: "This browser gives no compass heading.",
        steps: where.system === "other" ? ["Computers seldom have a compass. Open the page on a phone."] : ["Try another browser on this phone.", "Switch on location and motion access for the browser in the phone's settings: some phones tie the compass to them."],
      };
    case "ended":
      return { say: "This rehearsal has ended.", steps: ["Begin another on the bench page."] };
  }
  return { say: "The sensor failed in a way this page does not know.", steps: ["Load the page again."] };
}

/** @param {import("./system.js").Where} where */
function missing(where) {
  if (where.system === "apple") return { say: "Browsers on this kind of phone give pages no raw readings. The compass works, with nothing to set.", steps: [] };
  if (where.browser === "firefox")
    return {
      say: "This browser gives pages no raw readings.",
      steps: where.system === "android" ? ["The compass may work here.", "A Chromium-family browser can give raw readings, with a feature switched on: open this page there and see what it says."] : [],
    };
  if (where.browser === "chromium") return { say: "This browser can read the magnetometer, but pages get it only with a feature switched on.", steps: rawInChromium(where) };
  return { say: "This browser gives pages no raw readings.", steps: [] };
}

/** @param {import("./system.js").Where} where */
function rawInChromium(where) {
  if (where.system === "android")
    return [
      "For those who use developer tools; everybody else has the compass.",
      "In the browser open chrome://flags, switch on “enable command line on non-rooted devices”, and restart it.",
      "On a computer with adb, write the browser's command-line file: adb shell \"echo '_ --enable-features=GenericSensorExtraClasses' > /data/local/tmp/chrome-command-line\"",
      "Force-stop the browser in the phone's settings, open it again, and load this page.",
      "Switching on “experimental web platform features” alone is not enough: the sensor then shows, but cannot be reached.",
    ];
  return ["Start the browser with --enable-features=GenericSensorExtraClasses. Few computers have a magnetometer, though."];
}
