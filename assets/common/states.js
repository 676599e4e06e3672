// What is claimed of a coil: its word, its shape, what it means.
import { el, svg } from "./dom.js";

/** @typedef {"as-planned"|"reversed"|"dead"|"weak"|"undecided"} State */

/** @type {Record<State, {word: string, shape: string}>} */
const STATES = {
  "as-planned": { word: "as planned", shape: "M3 9l4 4 7-9" }, // a tick
  reversed: { word: "reversed", shape: "M4 4h7a3 3 0 0 1 0 8H4m3-3-3 3 3 3" }, // an arrow that turns back
  dead: { word: "dead", shape: "M3 3l11 11M14 3L3 14" }, // a cross
  weak: { word: "weak", shape: "M2 6q3 4 6 0t7 0M2 12q3 4 6 0t7 0" }, // a wave
  undecided: { word: "undecided", shape: "M5 6a3.5 3.5 0 1 1 3.5 4v2m0 2v.5" }, // a question
};

// Of a whole pad or check, where it is not one coil that the shape stands for.
const WRONG = "M8.5 2.5v7.5m0 3.7v.3"; // an exclamation

/** @param {string} state */
export function wordOf(state) {
  return (STATES[state] || STATES.undecided).word;
}

/** @param {string} state */
export function shapeOf(state) {
  return state === "wrong" ? WRONG : (STATES[state] || STATES.undecided).shape;
}

/**
 * A state as shape and word.
 * @param {string} state
 * @param {string} [word]
 */
export function stateBadge(state, word) {
  return el(
    "span",
    { class: `state state-${state}` },
    svg(
      "svg",
      { viewBox: "0 0 17 17", "aria-hidden": "true" },
      svg("path", { d: shapeOf(state), fill: "none", stroke: "currentColor", "stroke-width": 2.2, "stroke-linecap": "round", "stroke-linejoin": "round" }),
    ),
    word || wordOf(state),
  );
}

/** Smoothly says a chance without ever saying certain. @param {number} p */
export function percent(p) {
  if (p > 0.9999) return "over 99.99 %";
  if (p >= 0.99) return `${(p * 100).toFixed(2)} %`;
  if (p < 0.0001) return "under 0.01 %";
  if (p < 0.01) return `${(p * 100).toFixed(2)} %`;
  // A claim needs 99 %: what falls short of it does not read like one.
  if (p >= 0.98) return `${(Math.floor(p * 1000) / 10).toFixed(1)} %`;
  return `${Math.round(p * 100)} %`;
}
