// The screens of the hand route: faces by a compass needle or a hand meter.
import { el } from "../../common/dom.js";
import { needleOver } from "../../common/north.js";
import { needleDrawing, padToPick } from "../drawing.js";
import { supplyWords } from "../supply.js";
import { cautions } from "./cautions.js";
import { resultScreen } from "./result.js";

/**
 * @param {import("../hand-run.js").HandRun} run
 * @param {any} told
 * @returns {import("../page.js").Screen}
 */
export function handScreen(run, told) {
  switch (run.stage) {
    case "convention":
      return conventionScreen(run.do.convention);
    case "on":
      return supplyScreen(run, told);
    case "faces":
      return facesScreen(run, told);
    default:
      return resultScreen(told, {
        note: run.note,
        actions: [],
        onpick: run.do.pick,
        again: run.do.again,
        goOn: run.do.goOn,
        ohms: run.do.ohms,
      });
  }
}

/** What this person calls a face, asked once. @param {(word: "north"|"south") => void} onanswer @returns {import("../page.js").Screen} */
export function conventionScreen(onanswer) {
  return {
    title: "What do you call this face?",
    lead: "A coil's field comes out of it: the north end of a compass needle is pushed away, the south end is drawn to it.",
    bodied: "convention",
    body: [el("p", { class: "remark" }, "Physics calls it north. Some makers name faces the other way round. Asked once; it can be changed under “Other ways, and help”.")],
    actions: [
      { label: "North", id: "call-north", main: true, onclick: () => onanswer("north") },
      { label: "South", id: "call-south", main: true, onclick: () => onanswer("south") },
    ],
  };
}

/** The cautions are on it whole: among faces they are below what is tapped. */
function supplyScreen(run, told) {
  return {
    whole: true,
    title: "Switch the supply on",
    lead: `Set ${supplyWords(told.plan.supply)}. Have a compass needle or a hand meter ready.`,
    note: run.note,
    bodied: "hand on",
    body: [cautions()],
    actions: [
      { label: "It is on", id: "is-on", main: true, onclick: run.do.supplyOn },
      { label: "Ohms first, supply off", id: "ohms", onclick: run.do.ohms },
    ],
  };
}

function facesScreen(run, told) {
  const at = run.target;
  const n = told.north;
  const options = { next: at, states: told.states(), faces: run.faces, asks: true, label: `The pad. ${at} is next` };
  return {
    title: `Which face of ${at} looks up?`,
    lead: `Supply on. ${needleOver(at)}`,
    note: run.note,
    ...padToPick(told, options, run.do.pick),
    bodied: `faces ${n.note}`,
    body: [
      el("figure", { class: "needle" }, needleDrawing(), el("figcaption", { class: "remark" }, "On edge over the middle; or flat on the winding, where the end that points to the coil's middle is the one that turns to it. A hand meter goes over the middle. No face: the needle does not care.")),
      el("p", { class: "remark" }, n.note),
      cautions(),
    ],
    actions: [
      { label: capital(n.own.north), small: n.physics.north + n.needle.north, sign: 1, id: "north", main: true, onclick: () => run.do.read("north") },
      { label: capital(n.own.south), small: n.physics.south + n.needle.south, sign: -1, id: "south", main: true, onclick: () => run.do.read("south") },
      { label: "No face", sign: 0, id: "none", onclick: () => run.do.read("none") },
      ...(run.toUndo ? [{ label: `Undo ${run.toUndo.at}`, id: "undo", onclick: run.do.undo }] : []),
      { label: "Ohms", id: "ohms", onclick: run.do.ohms },
      { label: "Verdict", id: "result", onclick: run.do.result },
    ],
  };
}

const capital = (s) => s[0].toUpperCase() + s.slice(1);
