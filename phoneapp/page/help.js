// What to try where something is missing, step by step.
import { el } from "../common/dom.js";

/** @param {string} title @param {...string} steps */
function steps(title, ...list) {
  return el("div", {}, el("h2", {}, title), el("ol", {}, ...list.map((s) => el("li", {}, s))));
}

/**
 * @param {{code: string} | null} trouble
 * @param {URL} base
 */
export function helpFor(trouble, base) {
  const out = [];
  const apple = /iPhone|iPad/.test(navigator.userAgent);
  if (trouble?.code === "missing" || trouble?.code === "not-readable") {
    out.push(
      apple
        ? el("p", {}, "Browsers on this system give no raw readings. The compass works, and taps by hand always do.")
        : steps(
            "Raw readings in a Chromium browser on Android",
            "They need the browser feature GenericSensorExtraClasses, which is off and has no switch in the settings.",
            "Those who use developer tools can switch it on: open the page chrome://flags, allow the command line on devices that are not rooted, then write the browser's command-line file over adb with --enable-features=GenericSensorExtraClasses, and start the browser again.",
            "Everybody else: the compass works without it.",
          ),
    );
  }
  if (trouble?.code === "not-allowed") {
    out.push(steps("Let this page use the sensors", "Tap the sign beside the page's address.", "Open the permissions, and allow motion sensors.", "Load the page again."));
  }
  out.push(
    steps(
      "If the browser warns of the certificate",
      "The bench made its own certificate; nobody else vouches for it. Go on past the warning, or install the authority once:",
      "Android: fetch the certificate below, then Settings, Security, Encryption and credentials, Install a certificate, CA certificate.",
      "iPhone and iPad: fetch it, then Settings, Profile downloaded, Install. Then a second switch: Settings, General, About, Certificate Trust Settings, and switch on full trust for it.",
    ),
    el("p", {}, el("a", { href: new URL("ca.crt", base).href, download: "polewise-authority.crt" }, "Fetch the authority's certificate")),
    northChoice(),
  );
  return out;
}

function northChoice() {
  const other = localStorage.getItem("polewise-north") === "drawn-to";
  const box = el("input", { type: "checkbox", id: "north-other", checked: other });
  box.addEventListener("change", () => localStorage.setItem("polewise-north", /** @type {HTMLInputElement} */ (box).checked ? "drawn-to" : "leaves"));
  return el("p", {}, box, " ", el("label", { for: "north-other" }, "I call the face north that draws a needle's north end (the other convention)."));
}
