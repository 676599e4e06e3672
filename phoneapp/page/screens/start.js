// The first screen: what this phone can give, in one sentence with one button.

import { el } from "../../common/dom.js";
import { wordsFor } from "../troubles.js";

/** Troubles that a person can do something about. */
const MENDABLE = ["insecure", "denied", "policy", "hidden", "silent", "motion-denied"];

const ROUTES = {
  vector: { say: "This phone gives raw readings: the surest way.", begin: "Begin" },
  heading: { say: "This phone gives a compass heading. That will do.", begin: "Begin with the compass" },
  hand: { say: "No sensor reaches this page, but you can tap what a compass needle or a meter says.", begin: "Begin by hand" },
};

/** @returns {import("../page.js").Screen} */
export function findingOut() {
  return { title: "One moment", lead: "Finding out what this phone can give.", actions: [] };
}

/** @param {() => void} onretry @returns {import("../page.js").Screen} */
export function noBench(onretry) {
  return {
    title: "The bench does not answer",
    lead: "Is the program running, and is this phone on the same network? If the program was started anew elsewhere, scan the QR code again.",
    actions: [{ label: "Try again", id: "retry", main: true, onclick: onretry }],
  };
}

/**
 * @param {() => Node} drawing @param {string} drawn
 * @returns {import("../page.js").Screen}
 */
export function signedScreen(drawing, drawn) {
  return {
    whole: true,
    title: "This pad is signed off",
    lead: "Its check takes no more readings. To read it again, begin a new check of the same pad on the bench page: this page then goes on by itself.",
    drawing,
    drawn,
    actions: [],
  };
}

/**
 * Somebody rehearses on the bench, and this phone lies on another pad or on none.
 * @returns {import("../page.js").Screen}
 */
export function rehearsalElsewhere() {
  return {
    whole: true,
    title: "Rehearsal on the bench: this is not your pad",
    lead: "The pad and the phone there are made up, so nothing is read here. To check a real pad, begin a new check on the bench page: this page then goes on by itself.",
    actions: [],
  };
}

/**
 * @param {any} told
 * @param {import("../probe.js").Found} found
 * @param {{note: string, drawing: () => Node, where: import("../system.js").Where, begin: (route: "vector"|"heading"|"hand") => void, resume: (() => void) | null, findSensor?: (() => void) | null}} o findSensor: where this phone's sensor is not known yet
 * @returns {import("../page.js").Screen}
 */
export function startScreen(told, found, o) {
  const route = ROUTES[found.best];
  const ask = found.best === "heading" && found.compass === "ask" ? " You will be asked to allow it." : "";
  return {
    title: told.plan.name,
    lead: told.rehearsal ? "A rehearsal: phone and pad are made up, and something may be wrong. Move the phone on the bench page." : route.say + ask,
    note: o.note,
    why: told.rehearsal || o.note ? "" : why(found, o.where),
    drawing: o.drawing,
    drawn: `start ${told.check}`,
    actions: o.resume
      ? [
          { label: "Go on where you were", id: "resume", main: true, onclick: o.resume },
          { label: "Begin anew", id: "begin", onclick: () => o.begin(found.best) },
        ]
      : [
          ...(o.findSensor ? [{ label: "Find this phone's sensor first", small: "once a phone, two minutes: fewer readings stay undecided", id: "find-first", onclick: o.findSensor }] : []),
          { label: told.rehearsal ? "Begin" : route.begin, id: "begin", main: true, onclick: () => o.begin(found.best) },
        ],
  };
}

/** Why it is not the better way, where something can be done about that. */
function why(found, where) {
  const reasons = [found.raw, found.best === "hand" && found.compass !== "ask" ? found.compass : null].filter((t) => t && MENDABLE.includes(t.code));
  if (reasons.length === 0) return "";
  return `${wordsFor(reasons[0].code, where).say} What to do about it stands below.`;
}

/**
 * After a mend. The bench takes it that the mend is the one that was told.
 * @param {any} told @param {() => void} onyes @param {() => void} onno
 * @returns {import("../page.js").Screen}
 */
export function againScreen(told, onyes, onno) {
  return {
    whole: true,
    title: "Mended just as told?",
    lead: "Then a new check begins. Where the mend only turned coils or swapped leads, what was read over the others goes on to count.",
    why: told.verdict?.causes[0]?.say || "",
    body: [el("p", { class: "remark" }, "If you mended something else, begin a new check on the bench page instead. All that was read stays stored.")],
    actions: [
      { label: "Yes, check again", id: "again-yes", main: true, onclick: onyes },
      { label: "Not yet", id: "again-no", onclick: onno },
    ],
  };
}

/** It is mended: said, and not to be unsaid. @returns {import("../page.js").Screen} */
export function againAsked() {
  return { whole: true, title: "A new check begins", lead: "As soon as the bench has heard that it is mended. Leave this page open until then." };
}
