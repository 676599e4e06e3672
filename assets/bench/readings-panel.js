// Every reading: what the phone gave and what was expected of it, and a way to
// throw it out, take it again, or put it back.
import { el, svg } from "../common/dom.js";
import { AXES, field } from "./hold-plot.js";
import { ask } from "./live.js";
import { northText } from "./convention.js";
import { readBefore } from "./mend.js";
import { holdSamples, passTrace } from "./reading-plot.js";

const SHOWN = 24;
const FEW = 4; // faces listed without being asked for

/** The reading thrown out last, for the way back. @type {{check: string, source: string, at: string, t: number, words: string} | null} */
let thrown = null;

/** @typedef {{selected: string | null, onpick: (id: string | null) => void, ontrouble: (e: Error) => void, say: (text: string) => void, past?: boolean, head?: Element[]}} Options past: to be looked at only; head: stands below the title */

/** @param {HTMLElement} place @param {any} state @param {Options} o */
export function showReadings(place, state, o) {
  const all = [
    ...(state.holds || []).filter((h) => !h.open).map((h) => ({ ...h, first: h.at, words: `the hold on ${h.at}${sideOf(h)} at ${h.t.toFixed(0)} s`, coils: [h.at] })),
    ...(state.passes || []).filter((p) => !p.open).map((p) => ({ ...p, first: p.along[0], words: `the pass from ${p.along[0]} to ${p.along.at(-1)} at ${p.t.toFixed(0)} s`, coils: p.along, pass: true })),
  ];
  const order = [...new Set(all.map((r) => r.source))];
  all.sort((a, b) => order.indexOf(a.source) - order.indexOf(b.source) || a.t - b.t);
  const list = all.filter((r) => !o.selected || r.coils.includes(o.selected));
  const faces = (state.faces || []).filter((f) => !o.selected || f.at === o.selected);
  const before = Boolean(o.selected) && readBefore(state).includes(o.selected);
  const why = state.why;
  if (thrown?.check !== state.check.id) thrown = null;
  const back = thrown && all.some((r) => r.thrown_out && nameOf(r) === nameOf({ ...thrown, first: thrown.at }));
  const key = JSON.stringify([state.check.id, Boolean(state.sign_off?.signed), o.selected, why?.best, why?.rival, back, list.map((r) => [r.source, r.first, r.t, r.count, r.thrown_out, r.account?.times, r.account?.best, r.account?.traced]), faces, before]);
  if (place.dataset.key === key) return;
  place.dataset.key = key;
  const opened = new Set([...place.querySelectorAll("details.reading[open]:not([data-newest])")].map((d) => /** @type {HTMLElement} */ (d).dataset.reading));
  const focused = focusIn(place);
  const parts = [el("h2", { id: o.past ? null : "holds-title", class: "kicker" }, o.selected ? `Readings of ${o.selected}` : "Readings"), ...(o.head || [])];
  if (back) parts.push(wayBack(state, o));
  if (o.selected) parts.push(el("p", {}, el("button", { type: "button", class: "small", onclick: () => o.onpick(null) }, "Show all coils")));
  if (faces.length > 0) parts.push(byHand(faces, place));
  if (list.length === 0 && faces.length === 0) {
    const words = before ? `${o.selected} was read before the mend only. Those readings stand under Records, with the check before.` : o.selected ? `Nothing has been read of ${o.selected}${o.past ? "." : " yet."}` : o.past ? "Nothing was read of this pad." : "Each reading appears here with its samples as the phone gave them, and with what was expected.";
    parts.push(el("p", { class: "note" }, words));
  }
  const counting = list.filter((r) => !r.thrown_out);
  if (counting.length > 0 && why?.best) parts.push(strokes(why));
  const out = list.filter((r) => r.thrown_out);
  const some = (rows, first) => [
    ...rows.slice(-SHOWN).reverse().map((r, i) => row(r, { newest: first && i === 0, open: (first && i === 0) || opened.has(nameOf(r)), why, state }, o)),
    rows.length > SHOWN ? el("p", { class: "note" }, `${rows.length - SHOWN} earlier ones are not shown. Pick a coil to see its own.`) : null,
  ].filter(Boolean);
  parts.push(...some(counting, true));
  if (out.length > 0) parts.push(el("details", { class: "all-thrown", open: Boolean(place.querySelector(".all-thrown[open]")) }, el("summary", {}, `${out.length} thrown out`), ...some(out, false)));
  place.replaceChildren(...parts);
  if (focused) /** @type {any} */ (place.querySelector(focused))?.focus({ preventScroll: true });
}

/** Faces read by hand: no more than what was seen. @param {any[]} faces @param {HTMLElement} place where the list stands now */
function byHand(faces, place) {
  const up = (f) => northText((n) => (f.face === "none" ? "no face" : `${n[f.face]} up`));
  const line = (f) => el("li", {}, el("strong", {}, f.at), ", by hand: ", up(f), f.uT == null ? "" : `, ${field(f.uT)} uT`);
  const lines = el("ul", {}, ...faces.map(line));
  if (faces.length <= FEW) return el("div", { class: "by-hand" }, lines);
  return el("details", { class: "by-hand", open: Boolean(place.querySelector("details.by-hand[open]")) }, el("summary", {}, `${faces.length} faces read by hand`), lines);
}

/** Where in the panel the focus is, as a selector that holds when it is drawn anew. */
function focusIn(place) {
  const at = document.activeElement;
  if (!at || !place.contains(at)) return null;
  const reading = at.closest("[data-reading]")?.getAttribute("data-reading");
  if (reading) return `[data-reading="${CSS.escape(reading)}"] :is(.throw-out, .put-back)`;
  return at.id ? `#${CSS.escape(at.id)}` : null;
}

function nameOf(r) {
  return `${r.source} ${r.first} ${r.t}`;
}

/** What the strokes of the plots mean. */
function strokes(why) {
  const stroke = (name) => svg("svg", { class: "stroke", viewBox: "0 0 28 8", "aria-hidden": "true" }, svg("path", { class: `plot-${name}`, d: "M1 4H27" }));
  return el(
    "dl",
    { class: "plot-key" },
    el("dt", {}, stroke("read")),
    el("dd", {}, "read"),
    el("dt", {}, stroke("rest")),
    el("dd", {}, "supply off"),
    el("dt", {}, stroke("best")),
    el("dd", {}, el("strong", {}, "likeliest: "), why.best),
    ...(why.rival ? [el("dt", {}, stroke("rival")), el("dd", {}, el("strong", {}, "rival: "), why.rival)] : []),
  );
}

function wayBack(state, o) {
  const last = thrown;
  return el(
    "p",
    { class: "way-back", role: "status" },
    `Thrown out: ${last.words}. It no longer counts; take it again. `,
    el("button", { type: "button", class: "small", id: "undo-throw", onclick: (e) => act(e.target, o, "api/captures/put-back", last, () => o.say(`Put back: ${last.words} counts again.`)) }, "Put it back"),
  );
}

/** Asks for a change of one reading; the new state shows what came of it. */
function act(button, o, path, body, after) {
  button.disabled = true;
  ask(path, body).then(after, (err) => {
    button.disabled = false;
    o.ontrouble(err);
  });
}

function row(r, { newest, open, why, state }, o) {
  const name = nameOf(r);
  const body = el("div", { class: "reading-body" });
  const fill = () => body.childElementCount === 0 && body.append(...bodyOf(r, why, state, o));
  const details = el(
    "details",
    { class: r.thrown_out ? "hold reading thrown" : "hold reading", open, "data-newest": newest, "data-reading": name },
    el("summary", {}, el("strong", {}, r.pass ? `${r.along[0]} to ${r.along.at(-1)}` : r.at), `${r.pass ? ", pass" : ""}${sideOf(r)} at ${r.t.toFixed(0)} s, ${r.count || r.bearings || 0} readings`, badge(r)),
    body,
  );
  if (open) fill();
  details.addEventListener("toggle", () => /** @type {HTMLDetailsElement} */ (details).open && fill());
  return details;
}

function badge(r) {
  if (r.thrown_out) return el("span", { class: "reading-badge" }, "thrown out");
  if (r.account?.stray) return el("span", { class: "reading-badge stray" }, "! fits nothing");
  return null;
}

function bodyOf(r, why, state, o) {
  const compass = r.heading ? el("p", {}, compassWords(r.heading)) : null;
  const parts = [r.pass ? passTrace(state.check.id, r) : (compass ?? holdSamples(state.check.id, r))];
  if (!r.pass && r.account) parts.push(numbers(r.account));
  const says = told(r, why);
  if (says) parts.push(el("p", { class: "note" }, says));
  if (!state.sign_off?.signed && !o.past) parts.push(el("div", { class: "row" }, r.thrown_out ? putBack(r, o) : throwOut(r, state, o)));
  return parts;
}

/** On which side of its coil a compass lay: it is read on more than one. */
function sideOf(r) {
  const [x, y] = r.heading?.shift_mm || [0, 0];
  if (Math.abs(x) < 1 && Math.abs(y) < 1) return "";
  if (Math.abs(x) > Math.abs(y)) return x > 0 ? ", to its right," : ", to its left,";
  return y > 0 ? ", beyond it," : ", on your side of it,";
}

/** What a compass showed. @param {{off_deg: number | null, on_deg: number | null}} h */
function compassWords({ off_deg: off, on_deg: on }) {
  const deg = (v) => `${v.toFixed(0)}°`;
  if (off === null && on === null) return "The supply was not told as off or on while the compass was read.";
  if (off === null || on === null) return `The compass came to rest at ${deg(off ?? on)}, with the supply ${off === null ? "on" : "off"}.`;
  const turn = ((on - off + 540) % 360) - 180;
  return `The compass stood at ${deg(off)} with the supply off and at ${deg(on)} with it on: the supply turned it by ${deg(Math.abs(turn))} ${turn > 0 ? "clockwise" : "counter-clockwise"}.`;
}

/** The plot in numbers. */
function numbers(k) {
  const line = (word, v, sd) => el("tr", {}, el("th", { scope: "row" }, word), ...AXES.map((_, a) => el("td", {}, field(v[a]), sd ? el("span", { class: "sd" }, ` ± ${Math.max(1, sd[a]).toFixed(0)}`) : null)));
  return el(
    "table",
    { class: "reading-numbers" },
    el("caption", { class: "out-of-sight" }, "This hold in microtesla, phone axes: x across the screen, y along it, z out of it"),
    el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "uT"), ...AXES.map((x) => el("th", { scope: "col" }, x)))),
    el("tbody", {}, line("read", k.read_uT), line(k.own ? "off" : "off, estimated", k.rest_uT), line("likeliest", k.best.uT, k.best.sd_uT), k.rival ? line("rival", k.rival.uT, k.rival.sd_uT) : null, line("pad alone: read less off", k.read_uT.map((u, a) => u - k.rest_uT[a]))),
  );
}

/** What a reading says, in words. */
function told(r, why) {
  const k = r.account;
  if (r.thrown_out) return "It was thrown out and counts for nothing.";
  if (!k) return "";
  if (k.stray) return r.pass ? "Neither the plan nor any fault known here explains this pass. Was it this row, and in this direction? Throw it out and draw it again, slowly." : "Neither the plan nor any fault known here explains this reading. Was the phone on that coil? Is steel near? Throw it out and take it again.";
  if (!why?.rival || !k.times) return "";
  if (k.times >= 1.5) return `It speaks for the likeliest explanation, ${ratio(k.times)} to 1 against the rival.`;
  if (k.times <= 1 / 1.5) return `It speaks for the rival, ${ratio(1 / k.times)} to 1.`;
  return "It does not tell the likeliest explanation from its rival.";
}

/** Thousands stand apart by a space that no line breaks at. @param {number} v */
export function ratio(v) {
  if (v >= 1e6) return "over a million";
  return v >= 100 ? Math.round(v).toLocaleString("en").replace(/,/g, "\u202f") : v >= 10 ? v.toFixed(0) : v.toFixed(1);
}

function throwOut(r, state, o) {
  return el(
    "button",
    {
      type: "button",
      class: "small throw-out",
      "aria-label": `Throw out and take again: ${r.words}`,
      onclick: (e) => {
        thrown = { check: state.check.id, source: r.source, at: r.first, t: r.t, words: r.words };
        act(e.target, o, "api/captures/undo", { at: r.first, source: r.source, t: r.t }, () => o.say(`Thrown out: ${r.words}. The button Put it back makes it count again.`));
      },
    },
    "Throw out and take again",
  );
}

function putBack(r, o) {
  return el(
    "button",
    { type: "button", class: "small put-back", "aria-label": `Put back: ${r.words}`, onclick: (e) => act(e.target, o, "api/captures/put-back", { at: r.first, source: r.source, t: r.t }, () => o.say(`Put back: ${r.words} counts again.`)) },
    "Put it back",
  );
}
