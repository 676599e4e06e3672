// Winding cards: one for each kind of coil and lead mark, to wind by. On paper
// they stand alone.
import { el, svg } from "../../common/dom.js";
import { faceSign } from "../../common/pad.js";
import { northText } from "../convention.js";
import { printOnly } from "./printing.js";

/** @param {any} f @param {string} plan its name */
export function cardsPanel(f, plan) {
  return el(
    "section",
    { class: "card figure-card wide", id: "winding-cards", "aria-labelledby": "winding-cards-title" },
    el(
      "div",
      { class: "panel-head" },
      el("h3", { class: "kicker", id: "winding-cards-title" }, "Winding cards"),
      el("button", { type: "button", class: "small", id: "print-cards", onclick: () => printOnly("cards") }, "Print cards"),
    ),
    el("div", { class: "winding-cards" }, ...f.cards.map((c, i) => card(c, plan, `${i + 1} of ${f.cards.length}`))),
  );
}

function card(c, plan, nth) {
  const plus = c.plus_lead ? `plus: ${c.plus_lead} lead` : "plus: by the way it is wound";
  return el(
    "article",
    { class: "winding-card" },
    el(
      "header",
      {},
      svg("svg", { viewBox: "-12 -12 24 24", class: "card-face", "aria-hidden": "true" }, faceSign(c.north === "up" ? 1 : -1, 10)),
      el("div", {}, el("h4", {}, c.winding), el("p", {}, northText((n) => n.way(c.north)), `, ${plus}`)),
      el("p", { class: "card-of" }, plan, el("br"), `card ${nth}`),
    ),
    el("p", { class: "card-coils" }, el("strong", {}, `${c.coils.length} `), c.coils.length === 1 ? "coil: " : "coils: ", c.coils.join(", ")),
    el("dl", {}, ...part("Set", c.set), ...part("Count", c.count), ...part("Ends", c.ends), ...part("Measure", c.measure), ...part("Mark", c.mark)),
    ticks(c.coils),
  );
}

const STEPS = ["set", "turns counted", "ends", "ohm read", "marked"];
const COILS_A_TABLE = 12; // at most

/** To fill in on paper: a line for each coil, a box for each step. @param {string[]} coils */
function ticks(coils) {
  const size = Math.ceil(coils.length / Math.ceil(coils.length / COILS_A_TABLE));
  const some = (from) =>
    el(
      "table",
      {},
      el("thead", {}, el("tr", {}, ...["coil", ...STEPS].map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, ...coils.slice(from, from + size).map((id) => el("tr", {}, el("th", { scope: "row" }, id), ...STEPS.map(() => el("td"))))),
    );
  const tables = [];
  for (let from = 0; from < coils.length; from += size) tables.push(some(from));
  return el("div", { class: "ticks" }, ...tables);
}

/** The program writes plain letters for terminals. @param {string} text */
const degrees = (text) => text.replace(/(\d) C\b/g, "$1 °C");

function part(word, things) {
  return [el("dt", {}, word), el("dd", {}, el("ul", {}, ...things.map((t) => el("li", {}, northText((n) => n.said(degrees(t)))))))];
}
