// Drawing the phone along a row: where that is chosen, and its two screens.
import { svg } from "../../common/dom.js";
import { drawnKey, padDrawing } from "../drawing.js";
import { rowName } from "../rows.js";

const HEAD = 0.045; // of the arrow, in its length, but not less than
const HEAD_MM = 16;

/**
 * @param {import("../flow.js").VectorFlow} flow
 * @param {any} told
 * @param {{note: string, do: Record<string, (...a: any[]) => void>}} page
 * @param {{mark: string, top: string, undo: import("../page.js").Action[], result: import("../page.js").Action}} o mark: what of the phone goes on a coil; top: where its top edge points
 * @returns {import("../page.js").Screen}
 */
export function rowScreen(flow, told, page, o) {
  const { strokes } = flow;
  const row = /** @type {import("../rows.js").Row} */ (strokes.row);
  const [first, last] = [row.coils[0], row.coils[row.coils.length - 1]];
  const seconds = strokes.advised_s;
  // One button under one finger: no need to look for it at the end of the stroke, and keys stay on it.
  const button = { id: "stroke", main: true, onclick: page.do.drawn };
  if (flow.stage === "drawing")
    return {
      ...drawn(told, row, flow.start_deg, true),
      note: page.note,
      glance: true,
      title: `Draw it to ${last}`,
      lead: `${Math.floor(strokes.elapsed_s)} s of about ${seconds} s. Slowly and evenly, not lifting. Tap when it is over ${last}.`,
      progress: flow.progress,
      actions: [{ ...button, label: `It is over ${last}` }, { label: "Begin this row anew", id: "not-drawn", onclick: page.do.notDrawn }],
    };
  const lies = flow.done.some((d) => d.along) ? "as before" : `flat, ${o.top}`;
  return {
    ...drawn(told, row, flow.start_deg, false),
    note: page.note,
    glance: true,
    title: `Next: ${rowName(row)}`,
    lead: `Lay ${o.mark} on ${first}, ${lies}. Tap Start, then draw it to ${last} in about ${seconds} s, not lifting.`,
    actions: [{ ...button, label: "Start" }, ...o.undo, { label: "Coil by coil", id: "coil-by-coil", onclick: () => page.do.byRow(false) }, o.result],
  };
}

/** The pad with the way of the stroke. @param {any} told @param {import("../rows.js").Row} row @param {number} top_deg @param {boolean} under the stroke is under way */
function drawn(told, row, top_deg, under) {
  const lies = (at) => ({ x_mm: at[0], y_mm: at[1], top_deg, shifted: false });
  const [first, last] = [row.coils[0], row.coils[row.coils.length - 1]];
  const o = { next: under ? last : first, states: told.states(), label: `The pad. The phone is drawn from ${first} to ${last}`, ...(under ? { from: lies(row.from), phone: lies(row.to) } : { phone: lies(row.from) }) };
  return {
    drawing: () => {
      const pad = padDrawing(told.plan, o);
      pad.append(arrow(row, under));
      return pad;
    },
    drawn: drawnKey({ ...o, row, plan: told.check }),
  };
}

/** @param {import("../rows.js").Row} row @param {boolean} under */
function arrow(row, under) {
  const { from, to, length_mm } = row;
  const [x, y] = to;
  const back = [0, 1].map((k) => ((from[k] - to[k]) / length_mm) * Math.max(HEAD_MM, HEAD * length_mm));
  const [bx, by, px, py] = [x + back[0], y + back[1], -back[1] * 0.55, back[0] * 0.55];
  return svg("g", { class: under ? "stroke is-under-way" : "stroke", "aria-hidden": "true", "data-along": rowName(row) }, svg("path", { d: `M${from[0]} ${-from[1]}L${x} ${-y}M${bx + px} ${-(by + py)}L${x} ${-y}L${bx - px} ${-(by - py)}` }));
}

/**
 * What changes over between rows and coils, asked where the reading begins.
 * @param {import("../flow.js").VectorFlow} flow @param {{do: Record<string, (...a: any[]) => void>}} page
 * @returns {import("../page.js").Action[]}
 */
export function rowChoice(flow, page) {
  const { rows, on } = flow.strokes;
  if (rows.length === 0) return [];
  return [on ? { label: "Rather coil by coil", id: "coil-by-coil", onclick: () => page.do.byRow(false) } : byRow("Draw it along rows: quicker", page)];
}

/**
 * In the last look after a mend a stroke a row is offered beside the coil that is next.
 * @param {import("../flow.js").VectorFlow} flow @param {{do: Record<string, (...a: any[]) => void>}} page
 * @returns {import("../page.js").Action | null}
 */
export function rowOffer(flow, page) {
  const { rows, on, afterMend } = flow.strokes;
  return afterMend && !on && rows.length > 0 && flow.unread.length === 0 ? byRow("Draw it along rows", page) : null;
}

/** @param {string} label @param {{do: Record<string, (...a: any[]) => void>}} page */
function byRow(label, page) {
  return { label, id: "by-row", onclick: () => page.do.byRow(true) };
}
