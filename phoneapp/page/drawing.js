// The small drawings of the phone page: the pad with the next coil and the phone
// on it, and the phone with its sensor.
import { svg } from "../common/dom.js";
import { placeLabels } from "../common/far-labels.js";
import { shortName } from "../common/names.js";
import { bounds, drawName, drawPad } from "../common/pad.js";

// A phone of middling size, millimetres; only for the drawing.
const PHONE_MM = { width: 72, height: 152, round: 9 };
const LINE_MM = 3; // half its line, and a little air
const STICKER_MM = 16; // half across; so large that the coil's name is seen in it
const NAME_MM = 14; // from a coil's middle to the edge of its name
const FAR = 0.08; // of the drawing's longer side: a smaller coil has no name in it, and no finger hits it
const LETTERS = 27; // of a name beside its coil, in the drawing's longer side

/**
 * @typedef {{x_mm: number, y_mm: number, top_deg: number, shifted?: boolean, shift_mm?: number[], mark_mm?: number[]}} Lies where the phone's mark lies, pad frame; shifted, or by how much: off a coil's middle; top edge counter-clockwise from pad +y; mark_mm: where on the phone the mark is, as a sticker, right of and above the middle
 * @param {any} plan
 * @param {{next?: string | null, states?: Record<string, string>, faces?: Record<string, number>, asks?: boolean, phone?: Lies | null, from?: Lies | null, onpick?: (id: string) => void, label: string}} o asks: as drawPad has it; phone: where it is to lie; from: where it lies as long as it was not lifted
 */
export function padDrawing(plan, o) {
  const root = drawPad(plan, { small: true, next: o.next || undefined, states: o.states, faces: o.faces, asks: o.asks, onpick: o.onpick, label: o.label });
  if (o.phone) {
    if (o.from) root.append(phoneOn(o.from, "phone-from"));
    root.append(phoneOn(o.phone, o.from ? "phone-on is-goal" : "phone-on"), ...wayTo(o.phone));
    // A phone may be larger than the pad. Room for it on every coil, so that the
    // drawing keeps its scale from coil to coil.
    makeRoom(root, [...plan.coils.map((c) => around({ ...c, top_deg: 0, mark_mm: o.phone?.mark_mm })), around(o.phone), ...(o.from ? [around(o.from)] : [])]);
  }
  nameFar(root, plan, o);
  return root;
}

/**
 * The pad, of which the person may pick another coil to read: on the drawing, or from a
 * list where the drawing's coils are too small for a finger.
 * @param {any} told @param {Parameters<typeof padDrawing>[1]} o @param {((id: string) => void) | undefined} onpick undefined: not now
 */
export function padToPick(told, o, onpick) {
  const far = isFar(told.plan);
  return {
    drawing: () => padDrawing(told.plan, { ...o, onpick: far ? undefined : onpick }),
    drawn: drawnKey({ ...o, plan: told.check, picks: !!onpick }),
    pick: far && onpick ? { strings: told.plan.strings, onpick } : undefined,
  };
}

/** How far a coil's copper reaches from its middle. @param {any} plan */
function reachOf(plan) {
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  return (c) => Math.max(...windings.get(c.winding).inner_mm) / 2 + windings.get(c.winding).build_mm;
}

/** Whether coils are small in a drawing of the whole pad. @param {any} plan */
function isFar(plan) {
  const b = bounds(plan);
  const reach = reachOf(plan);
  return plan.coils.some((c) => 2 * reach(c) < FAR * Math.max(b.x1 - b.x0, b.y1 - b.y0));
}

/**
 * Where coils are too small for names in them, those that matter stand beside them:
 * the next one, and what is wrong.
 * @param {SVGElement} root @param {any} plan @param {{next?: string | null, states?: Record<string, string>}} o
 */
function nameFar(root, plan, o) {
  if (!isFar(plan)) return;
  const span = Math.max(...(root.getAttribute("viewBox") || "").split(" ").slice(2).map(Number));
  const reach = reachOf(plan);
  root.classList.add("is-far");
  const b = bounds(plan);
  const spots = plan.coils.map((c) => {
    const rank = c.id === o.next ? 0 : ["reversed", "dead", "weak"].includes(o.states?.[c.id] || "") ? 1 : 3;
    return { id: c.id, text: shortName(c.id, 12), x: c.x_mm, y: -c.y_mm, r: reach(c), rank };
  });
  const named = spots.filter((s) => s.rank < 2);
  const letter = span / LETTERS;
  for (const l of placeLabels(named, { x: b.x0, y: -b.y1, w: b.x1 - b.x0, h: b.y1 - b.y0 }, letter)) root.append(drawName(l, letter, l.rank === 0 ? null : o.states?.[l.id]));
}

/** @typedef {{x0: number, y0: number, x1: number, y1: number}} Box y down, as drawn */

/** The box around a phone, its line included. @param {Lies} at @returns {Box} */
function around(at) {
  const [s, c] = [Math.sin, Math.cos].map((f) => f((at.top_deg * Math.PI) / 180));
  const [sin, cos] = [s, c].map(Math.abs);
  const [right, up] = at.mark_mm || [0, 0];
  const [mid_x, mid_y] = [at.x_mm - right * c + up * s, at.y_mm - right * s - up * c];
  const x = (PHONE_MM.width * cos + PHONE_MM.height * sin) / 2 + LINE_MM;
  const y = (PHONE_MM.width * sin + PHONE_MM.height * cos) / 2 + LINE_MM;
  return { x0: mid_x - x, y0: -mid_y - y, x1: mid_x + x, y1: -mid_y + y };
}

/** Widens a drawing so that it holds some boxes. @param {SVGElement} root @param {Box[]} boxes */
function makeRoom(root, boxes) {
  const [x, y, w, h] = (root.getAttribute("viewBox") || "").split(" ").map(Number);
  const x0 = Math.min(x, ...boxes.map((b) => b.x0));
  const y0 = Math.min(y, ...boxes.map((b) => b.y0));
  const x1 = Math.max(x + w, ...boxes.map((b) => b.x1));
  const y1 = Math.max(y + h, ...boxes.map((b) => b.y1));
  root.setAttribute("viewBox", `${x0} ${y0} ${x1 - x0} ${y1 - y0}`);
}

/** From a coil's middle, or the edge of its name there, to a mark off it. @param {Lies} at */
function wayTo({ x_mm, y_mm, shift_mm = [0, 0] }) {
  const [x, y] = shift_mm;
  const rest = 1 - NAME_MM / Math.hypot(x, y);
  if (!(rest > 0)) return [];
  return [svg("path", { class: "phone-way", d: `M${x_mm - rest * x} ${-y_mm + rest * y}L${x_mm} ${-y_mm}`, "aria-hidden": "true" })];
}

/** A key that changes when the drawing would. @param {any} o */
export function drawnKey(o) {
  return JSON.stringify(o);
}

/** @param {Lies} at @param {string} name */
function phoneOn(at, name) {
  return svg(
    "g",
    { class: name, transform: `translate(${at.x_mm} ${-at.y_mm}) rotate(${-at.top_deg})`, "aria-hidden": "true" },
    svg("g", at.mark_mm ? { transform: `translate(${-at.mark_mm[0]} ${at.mark_mm[1]})` } : {}, ...outline()),
    // On the middle of a coil the mark would hide the coil's name.
    at.mark_mm && svg("circle", { class: "phone-sticker", r: STICKER_MM }),
    (at.shifted || at.shift_mm) && svg("path", { class: "phone-mark", d: "M-9 0H9M0 -9V9" }),
  );
}

function outline() {
  const { width: w, height: h, round: r } = PHONE_MM;
  return [
    svg("rect", { class: "phone-body", x: -w / 2, y: -h / 2, width: w, height: h, rx: r, ry: r }),
    // The top edge, where most phones have the ear piece.
    svg("path", { class: "phone-top", d: `M-10 ${-h / 2 + 7}H10` }),
  ];
}

/**
 * The phone seen from the screen's side, with the place of its magnetometer.
 * @param {{mm: number[], sd_mm: number[]} | null} sensor millimetres right of and above the middle of the screen
 * @param {string} label
 */
export function phoneDrawing(sensor, label) {
  const { width: w, height: h } = PHONE_MM;
  const place = sensor ? sensorMarks(sensor) : [];
  return svg(
    "svg",
    { class: "phone-drawing", role: "img", "aria-label": label, viewBox: `${-w / 2 - 12} ${-h / 2 - 8} ${w + 24} ${h + 16}` },
    ...outline(),
    svg("path", { class: "phone-mark", d: "M-6 0H6M0 -6V6" }),
    ...place,
  );
}

const RING = 2.45; // spreads: it lies within 19 times in 20

/** A dot with its ring, and how far it is from the middle each way. */
function sensorMarks({ mm, sd_mm }) {
  const [x, y] = [mm[0], -mm[1]];
  const text = (at, words, anchor) => svg("text", { class: "phone-figure", x: at[0], y: at[1], "text-anchor": anchor }, words);
  const left = x > 0; // figures on the side where there is room
  return [
    svg("path", { class: "sensor-way", d: `M0 0V${y}H${x}` }),
    svg("ellipse", { class: "sensor-doubt", cx: x, cy: y, rx: RING * sd_mm[0], ry: RING * sd_mm[1] }),
    svg("circle", { class: "sensor-place", cx: x, cy: y, r: 2.6 }),
    Math.abs(y) >= 1 && text([left ? Math.min(-3, x - RING * sd_mm[0] - 2) : Math.max(3, x + RING * sd_mm[0] + 2), y / 2 + 2], `${Math.round(Math.abs(y))} mm`, left ? "end" : "start"),
    Math.abs(x) >= 1 && text([x / 2, y - RING * sd_mm[1] - 3], `${Math.round(Math.abs(x))} mm`, "middle"),
  ];
}

/** A compass on edge over the middle of a coil, seen from the side. */
export function needleDrawing() {
  const copper = (x) => svg("rect", { class: "copper", x, y: 30, width: 9, height: 7, rx: 1.5 });
  return svg(
    "svg",
    { class: "needle-drawing", role: "img", "aria-label": "A compass on edge over the middle of a coil, seen from the side: its needle dips", viewBox: "-32 -16 64 58" },
    copper(-30),
    copper(21),
    svg("path", { class: "bench-line", d: "M-32 38.5H32" }),
    svg("circle", { class: "compass", cy: 6, r: 17 }),
    svg("path", { class: "needle-end", d: "M-3 6L0 -8L3 6Z" }),
    svg("path", { class: "needle-other", d: "M-3 6L0 20L3 6Z" }),
  );
}
