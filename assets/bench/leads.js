// Where the leads of a pad run in the drawing: from the plus end of each string
// to its minus end, coil by coil, and where the label of each end finds room.

const STUB_MM = 19; // from a coil's copper to the label of a string's end

/** @typedef {import("../common/pad.js").Plan} Plan */
/** @typedef {{x: number, y: number}} Point */
/** @typedef {{string: string, index: number, hops: {from: Point, to: Point}[], plus: Point[], ends: {coil: string, sign: "+" | "-", from: Point, to: Point}[]}} Run */

/** Half size of a coil's copper along a direction, drawing frame (y down). */
function reach(coil, w, angle) {
  const a = angle + (coil.turned_deg * Math.PI) / 180; // the drawing turns it the other way
  const hx = w.inner_mm[0] / 2 + w.build_mm;
  const hy = w.inner_mm[1] / 2 + w.build_mm;
  const [c, s] = [Math.abs(Math.cos(a)), Math.abs(Math.sin(a))];
  if (w.shape === "round") return hx;
  if (w.shape === "rectangle") return Math.min(c > 1e-9 ? hx / c : Infinity, s > 1e-9 ? hy / s : Infinity);
  // An oblong: two half circles and what is between.
  const r = Math.min(hx, hy);
  const half = Math.max(hx, hy) - r;
  const [along, across] = hx >= hy ? [c, s] : [s, c];
  const straight = across > 1e-9 ? r / across : Infinity;
  if (straight * along <= half) return straight;
  return half * along + Math.sqrt(Math.max(0, r * r - (half * across) ** 2));
}

/** @param {Plan} plan @returns {Run[]} */
export function leads(plan) {
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  const coils = new Map(plan.coils.map((c) => [c.id, c]));
  const place = (c) => ({ x: c.x_mm, y: -c.y_mm });
  const size = (c) => {
    const w = windings.get(c.winding);
    return Math.hypot(w.inner_mm[0] / 2 + w.build_mm, w.shape === "round" ? 0 : w.inner_mm[1] / 2 + w.build_mm);
  };
  const edge = (c, angle) => {
    const r = reach(c, windings.get(c.winding), angle);
    const p = place(c);
    return { x: p.x + r * Math.cos(angle), y: p.y + r * Math.sin(angle) };
  };
  const toward = (a, b) => Math.atan2(place(b).y - place(a).y, place(b).x - place(a).x);
  /** @type {Point[]} */
  const taken = [];
  /** The direction in which a label has most room. */
  const free = (c, against) => {
    let best = 0;
    let most = -Infinity;
    for (let k = 0; k < 24; k++) {
      const angle = (k / 24) * 2 * Math.PI;
      const length = reach(c, windings.get(c.winding), angle) + STUB_MM;
      const p = { x: place(c).x + length * Math.cos(angle), y: place(c).y + length * Math.sin(angle) };
      let room = 30;
      for (const o of plan.coils) if (o !== c) room = Math.min(room, Math.hypot(place(o).x - p.x, place(o).y - p.y) - size(o));
      for (const t of taken) room = Math.min(room, Math.hypot(t.x - p.x, t.y - p.y) - 14);
      if (plan.outline_mm[0] > 0) room = Math.min(room, p.x, -p.y, plan.outline_mm[0] - p.x, plan.outline_mm[1] + p.y);
      const turn = against === null ? 0 : Math.cos(angle - against); // away from the neighbour, if it can be
      const score = room - 9 * turn;
      if (score > most) [most, best] = [score, angle];
    }
    return best;
  };
  return plan.strings.map((s, index) => {
    const row = s.coils.map((id) => coils.get(id)).filter(Boolean);
    /** @type {Run} */
    const run = { string: s.id, index, hops: [], plus: [], ends: [] };
    if (row.length === 0) return run;
    const end = (c, sign, neighbour) => {
      const angle = free(c, neighbour ? toward(c, neighbour) : null);
      const from = edge(c, angle);
      const to = { x: from.x + STUB_MM * Math.cos(angle), y: from.y + STUB_MM * Math.sin(angle) };
      taken.push(to);
      run.ends.push({ coil: c.id, sign, from, to });
      return from;
    };
    run.plus.push(end(row[0], "+", row[1]));
    for (let i = 1; i < row.length; i++) {
      const from = edge(row[i - 1], toward(row[i - 1], row[i]));
      const to = edge(row[i], toward(row[i], row[i - 1]));
      run.hops.push({ from, to });
      run.plus.push(to);
    }
    end(row[row.length - 1], "-", row[row.length - 2]);
    return run;
  });
}

