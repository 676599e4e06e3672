// Words and small parts that the list, an old check and the sign-off share.
import { asTyped, el } from "../../common/dom.js";
import { stateBadge } from "../../common/states.js";

/** What may be the matter with a check: the shape to show, and its words. */
export const STATES = {
  signed: ["as-planned", "signed off"],
  exception: ["undecided", "signed off with exception"],
  "as-planned": ["as-planned", "as planned, not signed off"],
  fault: ["wrong", "something is wrong"],
  undecided: ["undecided", "undecided"],
  unread: ["dead", "nothing read"],
};

/** @param {string} state @param {boolean} [capital] as a title */
export function checkBadge(state, capital = false) {
  const [shape, words] = STATES[state] || STATES.undecided;
  return stateBadge(shape, capital ? words[0].toUpperCase() + words.slice(1) : words);
}

/** A stored time in the reader's own time zone. @param {string | number} stored */
export function when(stored) {
  const t = new Date(stored);
  if (!stored || Number.isNaN(t.getTime())) return "";
  const two = (n) => String(n).padStart(2, "0");
  return `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())} ${two(t.getHours())}:${two(t.getMinutes())}`;
}

/** The sum by which paper and file are matched. @param {string} sha256 */
export function sum(sha256) {
  return el("p", { class: "rec-sum" }, "SHA-256 of the record's JSON: ", el("code", {}, sha256));
}

const acrossWords = (o) => (o.across === "pad" ? "the pad" : o.across.replace(":", " "));

/** An ohmmeter reading beside what was planned. @param {any} o */
export function ohmWords(o) {
  return `${acrossWords(o)}: ${o.ohms === null ? "open" : `${o.ohms.toFixed(2)} ohm`} read, ${o.low.toFixed(2)} to ${o.high.toFixed(2)} planned`;
}

/** The ohms that count of a check, those outside the plan's bounds first. @param {any[]} ohms */
export function ohmsRead(ohms) {
  const read = ohms.filter((o) => o.counts).sort((a, b) => Number(a.agrees) - Number(b.agrees));
  if (read.length === 0) return null;
  const outside = read.filter((o) => !o.agrees).length;
  const line = (o) => `${acrossWords(o)}: ${o.ohms === null ? "open" : `${o.ohms.toFixed(2)} ohm`}, ${o.agrees ? "within" : "outside"} ${o.low.toFixed(2)} to ${o.high.toFixed(2)}`;
  return el("details", { class: "rec-ohms", open: read.length <= 4 }, el("summary", {}, `Ohms read: ${read.length}, ${outside > 0 ? `${outside} not ` : read.length > 1 ? "all " : ""}within the plan's bounds`), el("ul", {}, ...read.map((o) => el("li", {}, line(o)))));
}

/** Ways to a signed record. @param {string} check */
export function recordLinks(check) {
  const at = `api/records/${encodeURIComponent(check)}`;
  return el(
    "p",
    { class: "row rec-links" },
    el("a", { href: `${at}.html`, target: "_blank", rel: "noopener" }, "Open the record, to print"),
    el("a", { href: `${at}.html?save=1`, download: "" }, "Save it as a page"),
    el("a", { href: `${at}.json`, download: "" }, "Save it as JSON"),
  );
}

/** What has not changed: of a size only where one was read both times. @param {{coils: number, sizes: number}} compared */
function unmoved({ coils, sizes }) {
  if (coils === 0) return "Nothing to compare yet.";
  if (sizes === 0) return "No claim has changed. How strong a coil is was not read both times.";
  return sizes < coils ? `No claim has changed, and no size has moved by more than the error; a size was read both times of ${sizes} of them.` : "Of these, no claim and no size has moved by more than the error.";
}

/** What has changed since a record was signed. @param {any} compared */
export function changes(compared) {
  const serial = compared.serial ? asTyped(compared.serial) : "";
  const which = compared.by === "serial" ? ["the same serial number, ", serial] : ["the same plan", ...(serial ? [", serial number ", serial] : []), "; whether it is the same pad is not known here"];
  const link = el("a", { href: `#records/${compared.check}` }, `signed ${when(compared.signed)}`);
  return el(
    "div",
    { class: "rec-changes" },
    el("h3", {}, "Since it was signed off"),
    el("p", { class: "note" }, "Compared with the record ", link, " (", ...which, `). ${compared.coils} coils were read both times.`),
    compared.plan_changed ? el("p", { class: "note", id: "plan-since" }, "The plan was changed since. Each time the coils were held against the plan of that time: one may come out otherwise here though nobody touched it.") : null,
    compared.changes.length > 0
      ? el("ul", {}, ...compared.changes.map((c) => el("li", {}, c.say)))
      : el("p", {}, unmoved(compared)),
  );
}
