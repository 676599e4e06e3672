// “Other ways, and help”: the three routes with what this phone says to each, the
// certificate, and the few things that can be set.
import { el } from "../../common/dom.js";
import { stateBadge } from "../../common/states.js";
import { canVibrate, CUES, tryOut } from "../buzz.js";
import { outFace, sensorPlace } from "../remembered.js";
import { wordsFor } from "../troubles.js";

/**
 * @param {{
 *   found: import("../probe.js").Found | null,
 *   where: import("../system.js").Where,
 *   base: URL,
 *   rehearsal: boolean,
 *   number: string,
 *   ownCertificate: boolean,
 *   take: (route: "vector"|"heading"|"hand") => void,
 *   tryAgain: () => void,
 *   ohms: (() => void) | null,
 *   byRow?: {on: boolean, take: (on: boolean) => void} | null,
 *   findSensor: (() => void) | null,
 *   changed: () => void,
 *   callOutFace: (word: "north"|"south") => void,
 * }} o number: what tells it from phones of its kind; ownCertificate: the bench runs with one of its maker's own
 * @returns {Node[]}
 */
export function helpFor(o) {
  return [
    ...(o.rehearsal ? [] : [el("h2", {}, "Ways to read"), way("Raw readings", "vector", o.found?.raw, o), way("Compass heading", "heading", o.found?.compass, o), hand(o)]),
    ...(o.byRow ? [alongRows(o.byRow)] : []),
    ...(o.rehearsal ? [] : (o.ownCertificate ? ownCertificate() : certificate(o.base, o.where))),
    ...cues(),
    el("h2", {}, "Settings"),
    convention(o),
    ...(sensorPlace.get() ? [forgetSensor(o.changed)] : []),
    ...(o.rehearsal ? [] : [el("p", { class: "remark", id: "number" }, `Among phones of the same kind the bench page calls this one number ${o.number}.`)]),
  ];
}

/** What is felt and heard of a reading, each to be tried. */
function cues() {
  const row = (cue, name) => el("li", {}, el("button", { type: "button", class: "small", id: `cue-${cue}`, onclick: () => void tryOut(cue) }, name), el("span", {}, CUES[cue].words));
  const states = /** @type {const} */ (["as-planned", "reversed", "weak", "dead", "undecided"]);
  return [
    el("h2", {}, canVibrate() ? "What you feel and hear" : "What you hear"),
    el("p", {}, canVibrate() ? "Tap one to try it. Vibration and tones have the same rhythm." : "Tap one to try it. This browser does not let a page vibrate."),
    el("ul", { class: "cues" }, ...states.map((s) => row(s, stateBadge(s))), row("counted", "counted"), row("broken", "not counted")),
  ];
}

/** One route: whether it works here, and if not, why and what to do. */
function way(name, route, trouble, o) {
  const works = trouble === null;
  const ask = trouble === "ask";
  const words = works || ask || !trouble ? null : wordsFor(trouble.code, o.where);
  const say = works ? "Works on this phone." : ask ? "Works once you allow it." : words ? words.say : "Not tried yet.";
  return el(
    "section",
    { class: "way", "data-code": works ? "works" : ask ? "ask" : trouble?.code || "" },
    el("h3", {}, name),
    el("p", {}, say),
    words && words.steps.length > 0 && el("ol", {}, ...words.steps.map((s) => el("li", {}, s))),
    works || ask
      ? el("button", { type: "button", class: "small", id: `way-${route}`, onclick: () => o.take(route) }, route === "vector" ? "Use raw readings" : "Use the compass")
      : el("button", { type: "button", class: "small", id: `again-${route}`, onclick: o.tryAgain }, "Try again"),
  );
}

/** Drawn along rows or laid on each coil, in the middle of a check. @param {{on: boolean, take: (on: boolean) => void}} byRow */
function alongRows({ on, take }) {
  return el(
    "section",
    { class: "way", "data-code": "works" },
    el("h3", {}, "Along each row"),
    el("p", {}, on ? "The phone is drawn along each row. What is left to ask about is read coil by coil afterwards." : "In place of laying the phone on each coil you may draw it along each row in one stroke: quicker."),
    el("button", { type: "button", class: "small", id: "change-rows", onclick: () => take(!on) }, on ? "Lay it on each coil" : "Draw it along each row"),
  );
}

function hand(o) {
  return el(
    "section",
    { class: "way", "data-code": "works" },
    el("h3", {}, "By hand"),
    el("p", {}, "A compass needle or a hand meter over each coil, and you tap what it says. Needs no sensor at all."),
    el("button", { type: "button", class: "small", id: "way-hand", onclick: () => o.take("hand") }, "Tap by hand"),
    " ",
    o.ohms && el("button", { type: "button", class: "small", id: "way-ohms", onclick: o.ohms }, "Ohms"),
    " ",
    o.findSensor && el("button", { type: "button", class: "small", id: "find-sensor", onclick: o.findSensor }, "Find the sensor in this phone"),
  );
}

function ownCertificate() {
  return [
    el("h2", {}, "The certificate"),
    el("p", {}, "The bench was started with a certificate of its own maker's choice. If the browser warns of it, ask whoever chose it which authority this phone has to trust."),
  ];
}

/** @param {URL} base @param {import("../system.js").Where} where */
function certificate(base, where) {
  const steps = {
    android: [
      "Fetch the certificate with the link below.",
      "Open Settings, Security, More security settings, Encryption and credentials, Install a certificate, CA certificate. (The names differ a little from phone to phone: search the settings for “CA certificate”.)",
      "Choose “Install anyway”, then the file polewise-authority.crt.",
      "Load this page again.",
    ],
    apple: [
      "Fetch the certificate with the link below and allow the download of a profile.",
      "Open Settings: tap “Profile downloaded” at the top, then Install.",
      "A second switch, without which it does not count: Settings, General, About, Certificate Trust Settings (at the very end), and switch on full trust for “polewise”.",
      "Load this page again.",
    ],
  };
  const name = { android: "On an Android phone", apple: "On an iPhone or iPad" };
  const order = where.system === "apple" ? ["apple", "android"] : ["android", "apple"];
  return [
    el("h2", {}, "The certificate"),
    el("p", {}, "The bench program made its own certificate, so the browser warns of it. Going on past the warning is enough in most browsers. If the connection is still refused, or to be rid of the warning, install the bench's authority once:"),
    ...order.map((s) => el("details", { open: s === where.system }, el("summary", {}, name[s]), el("ol", {}, ...steps[s].map((t) => el("li", {}, t))))),
    el("p", {}, el("a", { id: "ca", class: "apart", href: new URL("ca.crt", base).href, download: "polewise-authority.crt" }, "Fetch the authority's certificate")),
    el("p", { class: "remark" }, "It lets your own bench vouch for itself to this phone. Remove it in the same settings when you no longer need it."),
  ];
}

/** @param {{changed: () => void, callOutFace: (word: "north"|"south") => void}} o */
function convention(o) {
  const choice = (word, label) => {
    const input = /** @type {HTMLInputElement} */ (el("input", { type: "radio", name: "out-face", value: word, id: `out-${word}`, checked: (outFace.get() || "north") === word }));
    input.addEventListener("change", () => {
      o.callOutFace(word);
      o.changed();
    });
    return el("p", { class: "choice" }, input, el("label", { for: `out-${word}` }, label));
  };
  return el(
    "fieldset",
    {},
    el("legend", {}, "The face that the field comes out of, and that pushes a needle's north end away, I call"),
    choice("north", "north, as in physics"),
    choice("south", "south"),
  );
}

/** @param {() => void} changed */
function forgetSensor(changed) {
  return el(
    "p",
    {},
    "This phone's sensor place is known. ",
    el("button", { type: "button", class: "small", id: "forget-sensor", onclick: () => (sensorPlace.set(null), changed()) }, "Forget it"),
  );
}
