// What the maker calls the face that the field comes out of, asked once for all
// pages and shown wherever north is written.
import { byId, el } from "../common/dom.js";
import { callOutFace, north } from "../common/north.js";
import { ask } from "./live.js";

/** @type {"north"|"south"|null} */
let outFace = null;

/** A text that follows the convention. @param {(n: ReturnType<typeof north>) => string} words @returns {HTMLElement} */
export function northText(words) {
  const span = /** @type {any} */ (el("span", { class: "north-text" }, words(north())));
  span.northWords = words;
  return span;
}

/** Shows the question or its answer under the drawing. */
export async function askConvention() {
  const known = await ask("api/convention").catch(() => null);
  outFace = known?.out_face || null;
  show();
}

/** It was answered, here or on a phone. @param {"north"|"south"} word */
export function conventionAnswered(word) {
  if (word === outFace) return;
  outFace = word;
  show();
}

function show() {
  callOutFace(outFace);
  for (const span of /** @type {any} */ (document.querySelectorAll(".north-text"))) if (span.northWords) span.textContent = span.northWords(north());
  byId("legend-north").textContent = north().way("up");
  const choice = (word, label) => el("button", { type: "button", class: "small", id: `call-${word}`, onclick: () => void choose(word) }, label);
  byId("convention").classList.toggle("unanswered", !outFace);
  byId("convention").replaceChildren(
    ...(outFace
      ? [north().note, " ", choice(outFace === "north" ? "south" : "north", outFace === "north" ? "I call it south" : "I call it north")]
      : ["A face that the field comes out of pushes a compass needle's north end away: physics calls it north, some makers south. You call it ", el("span", {}, choice("north", "North"), " ", choice("south", "South"))]),
  );
}

/** @param {"north"|"south"} word */
async function choose(word) {
  try {
    await ask("api/convention", { out_face: word });
    outFace = word;
    show();
    byId("convention").querySelector("button")?.focus(); // the one tapped is gone
  } catch (e) {
    byId("convention").append(" ", el("span", { class: "trouble", role: "alert" }, /** @type {Error} */ (e).message));
  }
}
