// Numbers for reading, and parts of tables.
import { el } from "../../common/dom.js";
import { stacks } from "../stacks.js";

/** To so many significant digits, never with an exponent. @param {number} x @param {number} [digits] */
export function digits(x, digits = 3) {
  if (x === 0) return "0";
  const places = Math.max(0, Math.min(6, digits - 1 - Math.floor(Math.log10(Math.abs(x)))));
  return x.toFixed(places).replace("-", "\u2212");
}

/** Without needless digits. @param {number} x */
export const plainNumber = (x) => String(Math.round(x * 100) / 100).replace("-", "\u2212");

/** @param {number} share 0 to 1 */
export const percent = (share) => `${digits(100 * share, share >= 0.9995 || share < 0.1 ? 2 : 3)} %`;

/** @param {number} uH */
export const inductance = (uH) => (uH >= 1e6 ? `${digits(uH / 1e6)} H` : uH >= 1000 ? `${digits(uH / 1000)} mH` : `${digits(uH)} uH`);

/** A number typed, with point or comma; null if it is none. @param {string} text */
export function parse(text) {
  const t = text.trim().replace(",", ".");
  const x = Number(t);
  return t === "" || !Number.isFinite(x) ? null : x;
}

/**
 * @param {string} caption
 * @param {string[]} heads
 * @param {(string | Node)[][]} rows the first cell of each is its heading
 * @param {string} [kind] class of the table
 */
export function table(caption, heads, rows, kind = "") {
  const made = el(
    "table",
    { class: kind },
    el("caption", { class: "out-of-sight" }, caption),
    el("thead", {}, el("tr", {}, ...heads.map((h) => el("th", { scope: "col" }, h)))),
    el("tbody", {}, ...rows.map((r) => el("tr", {}, ...r.map((c, i) => (i === 0 ? el("th", { scope: "row" }, c) : el("td", {}, c)))))),
  );
  // More than four columns do not fit a phone.
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption }, heads.length > 4 ? stacks(made) : made);
}

/** @param {string} id @param {string} title @param {...(Node | string | null | false)} children */
export function panel(id, title, ...children) {
  return el("section", { class: "card figure-card", id, "aria-labelledby": `${id}-title` }, el("h3", { class: "kicker", id: `${id}-title` }, title), ...children);
}
