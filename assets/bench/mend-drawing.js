// A mend as two small drawings of the wiring, before and after: each string a
// line from the plus rail to the minus rail, its coils with the face they show.
// What has to be touched is ringed, with a word for what to do there.
import { el, svg } from "../common/dom.js";
import { fitName, shortName } from "../common/names.js";
import { faceSign, PATTERNS } from "../common/pad.js";
import { shapeOf } from "../common/states.js";
import { scene } from "./wiring-scene.js";

const COIL = 42; // pitch of coils in a string
const ROW = 64;
const LEFT = 62;
const TOP = 30;
const R = 11;
const LETTER = 10.5;

/** @param {any} plan @param {any} cause @param {Set<string>} [read] coils that were read; all of them where it is left out @returns {HTMLElement | null} */
export function mendDrawing(plan, cause, read) {
  const [now, then] = [scene(plan, cause, false, read), scene(plan, cause, true, read)];
  if (!now || !then) return null;
  const longest = Math.max(...[...now.rows, ...then.rows].map((r) => r.slots.length));
  const one = (title, s, words, name) =>
    el(
      "figure",
      { class: name },
      el("figcaption", {}, title),
      svg("svg", { class: "wiring", viewBox: `0 0 ${2 * LEFT + longest * COIL} ${s.rows.length * ROW + TOP + 2}`, role: "img", "aria-label": words }, ...rails(s, longest), ...s.rows.map((r, i) => drawRow(r, i, longest, s))),
    );
  return el(
    "div",
    { class: "before-after" },
    one("Now", now, `The wiring now: ${wordsOf(now)}`, "now"),
    one("After the mend", then, "The wiring after the mend: every coil in its string and facing as planned", "then"),
    now.more > 0 ? el("p", { class: "note" }, `and ${now.more} more strings likewise`) : null,
  );
}

/** What is wrong in a scene, in words. */
function wordsOf(s) {
  const slots = s.rows.flatMap((r) => r.slots.filter(Boolean));
  const list = (ids, words) => (ids.length > 0 ? [`${ids.join(", ")} ${words}`] : []);
  const ids = (test) => slots.filter(test).map((k) => k.id);
  return (
    [
      ...(s.plug ? ["the pad's two leads are exchanged"] : []),
      ...list(s.rows.filter((r) => r.crossed).map((r) => `string ${r.string}`), "with its ends exchanged"),
      ...(s.plug ? [] : list(ids((k) => k.wrong), "the wrong way")),
      ...list(ids((k) => k.bypass), "shorted"),
      ...list(ids((k) => k.weak), "weak"),
      ...list(ids((k) => k.gap), "open"),
      ...list(s.rows.filter((r) => r.somewhere).map((r) => `string ${r.string}`), "open somewhere"),
      ...s.rows.filter((r) => r.into).map((r) => `string ${r.string} goes on into string ${r.into}`),
      ...list(ids((k) => k.guest), "in the wrong string"),
      ...list(ids((k) => k.unread), "not read"),
    ].join("; ") || "as planned"
  );
}

function rails(s, longest) {
  const right = 2 * LEFT + longest * COIL;
  const height = s.rows.length * ROW + TOP - 6;
  const sign = (x, text) => svg("text", { class: "rail-sign", x, y: 15, "text-anchor": "middle", "font-size": 15 }, text);
  const parts = [svg("path", { class: "rail", d: `M14 20V${height}M${right - 14} 20V${height}` }), sign(14, s.plug ? "−" : "+"), sign(right - 14, s.plug ? "+" : "−")];
  if (s.touchPlug) parts.push(svg("circle", { class: "touch", cx: 14, cy: 10, r: 9 }), svg("circle", { class: "touch", cx: right - 14, cy: 10, r: 9 }), svg("text", { class: "act", x: 28, y: 14, "font-size": LETTER }, s.plug ? "swap" : "swapped"));
  return parts;
}

/** @param {import("./wiring-scene.js").Row} r */
function drawRow(r, place, longest, s) {
  const y = TOP + place * ROW + 22;
  const right = 2 * LEFT + longest * COIL;
  const at = (i) => LEFT + i * COIL + COIL / 2;
  const first = at(0);
  const last = at(Math.max(0, r.slots.length - 1));
  const style = { class: `lead string-${r.index % PATTERNS.length}`, "stroke-dasharray": PATTERNS[r.index % PATTERNS.length] };
  const wire = (d) => svg("path", { ...style, fill: "none", d });
  const parts = [];
  // The way in, along the coils, and out.
  if (r.crossed) parts.push(wire(`M14 ${y - 28}H${last + 20}V${y}H${last}`), wire(`M${first} ${y}H${first - 20}V${y + 29}H${right - 14}`));
  else {
    if (!r.from) parts.push(wire(`M14 ${y}H${first}`));
    if (!r.into) parts.push(wire(`M${last} ${y}H${right - 14}`));
    else parts.push(wire(`M${last} ${y}H${last + 20}V${y + ROW / 2 + 2}H${first - 20}V${y + ROW}H${first}`));
  }
  parts.push(wire(`M${first} ${y}H${last}`));
  if (r.somewhere) {
    const [from, to] = [first - R - 14, last + R + 14];
    parts.push(svg("rect", { class: "touch", x: from, y: y - R - 6, width: to - from, height: 2 * R + 27, rx: R + 6 }));
    parts.push(svg("text", { class: "act", x: (first + last) / 2, y: y - R - 10, "font-size": LETTER, "text-anchor": "middle" }, "open somewhere here"));
  }
  let above = false; // of two side by side that are to be touched one has its word above the other's
  r.slots.forEach((k, i) => {
    above = Boolean(k?.touch && r.slots[i - 1]?.touch && !above);
    parts.push(k ? drawSlot(k, at(i), y, above) : svg("text", { "font-size": 14, x: at(i), y: y - 3, "text-anchor": "middle" }, "…"));
  });
  if (r.touchEnds) {
    for (const x of [first - 20, last + 20]) parts.push(svg("circle", { class: "touch", cx: x, cy: y, r: 7.5 }));
    // Beside a way that goes up there, else above: not across coil and ring.
    const where = r.crossed ? { x: last + 31, y: y + 3.6 } : { x: last + 20, y: y - R - 4, "text-anchor": "middle" };
    parts.push(svg("text", { class: "act", ...where, "font-size": LETTER }, { move: "rejoin", moved: "rejoined" }[r.touchEnds] || r.touchEnds));
  }
  parts.push(svg("text", { class: "string-name", x: 18, y: y + 19, "font-size": LETTER }, r.string.length > 3 ? shortName(r.string, 8) : `string ${r.string}`)); // beside the first coil's name
  return svg("g", {}, ...parts);
}

/** @param {import("./wiring-scene.js").Slot} k @param {number} x @param {number} y @param {boolean} above its word has to give way to its neighbour's */
function drawSlot(k, x, y, above) {
  const name = fitName(k.id, LETTER, COIL - 2);
  return svg(
    "g",
    { class: ["wire-coil", k.wrong && "wrong", k.unread && "unread"].filter(Boolean).join(" "), transform: `translate(${x} ${y})` },
    svg("circle", { class: "back", r: R }),
    k.unread ? svg("text", { class: "unread-sign", "text-anchor": "middle", "font-size": 13, y: 4.6 }, "?") : faceSign(k.face, R),
    k.bypass ? svg("path", { class: "bypass", d: `M${-R - 8} 0C${-R - 6} ${-R * 2.2} ${R + 6} ${-R * 2.2} ${R + 8} 0` }) : null,
    k.weak ? svg("path", { class: "state-shape weak-sign", d: shapeOf("weak"), transform: `translate(${R - 4} ${-R - 6}) scale(0.62)` }) : null,
    k.gap ? gap(R + 6, 0) : null,
    k.touch || k.guest ? svg("circle", { class: "touch", r: R + 4 }) : null,
    svg("text", { "text-anchor": "middle", "font-size": name.letter, y: R + 15, "font-weight": k.touch ? 700 : 400 }, name.text),
    k.touch ? svg("text", { class: "act", "text-anchor": "middle", "font-size": LETTER, y: (k.bypass ? -R - 11 : -R - 7) - (above ? 15 : 0) }, k.touch) : null,
  );
}

/** A place that does not conduct. */
function gap(x, y) {
  return svg("g", { class: "gap", transform: `translate(${x} ${y})` }, svg("rect", { x: -4, y: -4, width: 8, height: 8 }), svg("path", { d: "M-4 -6L-1 6M2 -6L5 6" }));
}
