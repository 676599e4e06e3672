// Why the verdict says what it says: the likeliest explanation, its best rival,
// and the readings that carry the one against the other.
import { el } from "../common/dom.js";
import { wordOf } from "../common/states.js";
import { microtesla } from "./coil-mark.js";
import { northText } from "./convention.js";
import { ratio } from "./readings-panel.js";

const MOST_WRONG = 8;
const TELLING = 1.2; // a reading that tells less is not listed

/** @param {any} state @param {{onlook: (name: string) => void}} o @returns {HTMLElement | null} */
export function whyPanel(state, o) {
  const w = state.why;
  if (!w?.best) return null;
  const parts = [el("summary", {}, "Why, reading by reading")];
  parts.push(...wrongCoils(state), el("p", {}, el("strong", {}, "Likeliest: "), w.best));
  if (!w.rival) {
    parts.push(el("p", {}, "No other explanation comes near."));
  } else {
    parts.push(el("p", {}, el("strong", {}, "Best rival that says otherwise of some coil: "), w.rival, ` It is ${ratio(w.worse_by)} times less likely.`));
    const list = (w.carried || []).filter((c) => c.times >= TELLING || c.times <= 1 / TELLING);
    if (list.length > 0) parts.push(el("ul", { class: "carried" }, ...list.map((c) => carried(c, state, o))));
    else parts.push(el("p", { class: "note" }, "No reading tells the two apart; what makes the rival less likely is that it happens less often."));
  }
  return el("details", { class: "why" }, ...parts);
}

/** Why each coil that is not as planned is said not to be: what was read there. @param {any} state */
function wrongCoils(state) {
  const wrong = (state.verdict?.coils || []).filter((c) => c.used > 0 && c.state !== "as-planned" && c.state !== "undecided");
  const read = (c) => (c.measured_uT == null ? `${c.id}: ` : `${c.id} read ${microtesla(c.measured_uT)} uT where ${microtesla(c.expected_uT)} was expected: `);
  const line = (c) => el("li", {}, `${read(c)}${wordOf(c.state)} rather than as planned, ${ratio((c.p[c.state] || 0) / (c.p["as-planned"] || 0))} to 1.`);
  return wrong.length > 0 ? [el("ul", { class: "wrong-coils" }, ...wrong.slice(0, MOST_WRONG).map(line)), wrong.length > MOST_WRONG ? el("p", { class: "note" }, `and ${wrong.length - MOST_WRONG} more`) : null].filter(Boolean) : [];
}

function carried(c, state, o) {
  const weight = Math.min(1, Math.abs(Math.log10(c.times)) / 6);
  const against = c.times < 1;
  const bar = el("span", { class: against ? "weight against" : "weight", "aria-hidden": "true" });
  bar.style.width = `${(6 + 94 * weight).toFixed(0)}%`;
  const id = /^hold on (\S+) at|^[a-z, ]+ read by hand on (\S+)$/.exec(c.reading);
  const coil = id && (id[1] || id[2]);
  const words = / read by hand on /.test(c.reading) ? northText((n) => n.said(c.reading)) : el("span", {}, c.reading);
  const name = coil && state.plan.coils.some((k) => k.id === coil) ? el("button", { type: "button", class: "linkish", onclick: () => o.onlook(coil) }, words) : words;
  return el("li", {}, name, el("span", { class: "carried-says" }, against ? `${ratio(1 / c.times)} to 1 for the rival` : `${ratio(c.times)} to 1`), el("span", { class: "track", "aria-hidden": "true" }, bar));
}
