// Finding the sensor: over which coil, and how the phone is laid there. Pure.
// Lengths are in millimetres of the pad frame, angles counter-clockwise.
//
// First the phone's middle lies on the coil's middle, then it is turned by half
// about it: a middle that the maker sees a little off cancels. Then the phone is
// slid until its middle lies on the winding's inner edge, a line that can be seen,
// and turned there too: a sensor that was over the copper is told from one that
// was not.

/** @typedef {{top_deg: number, shift_mm: number[], edge: ""|"near"|"far"|"left"|"right"}} Placing */

/**
 * The coil to use: one whose claim stands, wide, and far from others.
 * @param {any} plan @param {any} [verdict]
 */
export function coilToUse(plan, verdict) {
  const room = (c) => Math.min(1e6, ...plan.coils.filter((o) => o !== c).map((o) => Math.hypot(o.x_mm - c.x_mm, o.y_mm - c.y_mm)));
  const wide = (c) => Math.min(...plan.windings.find((w) => w.id === c.winding).inner_mm);
  const right = (c) => (verdict?.coils?.find((v) => v.id === c.id)?.state === "as-planned" ? 1 : 0);
  const dead = (c) => (["dead", "weak"].includes(verdict?.coils?.find((v) => v.id === c.id)?.state) ? 1 : 0);
  const neighbours = (c) => plan.coils.filter((o) => o !== c && Math.hypot(o.x_mm - c.x_mm, o.y_mm - c.y_mm) < 1.5 * room(c)).length;
  const order = (a, b) => dead(a) - dead(b) || right(b) - right(a) || wide(b) - wide(a) || neighbours(a) - neighbours(b);
  return plan.coils.slice().sort(order)[0].id;
}

/** @param {{turned_deg: number}} coil @param {{inner_mm: number[]}} winding @returns {Placing[]} */
export function placings(coil, winding) {
  const a = (coil.turned_deg * Math.PI) / 180;
  const axes = [
    [Math.cos(a), Math.sin(a)],
    [-Math.sin(a), Math.cos(a)],
  ];
  // Of the winding's axes the one that runs more along the phone.
  const k = Math.abs(axes[0][1]) > Math.abs(axes[1][1]) + 1e-9 ? 0 : 1;
  const reach = winding.inner_mm[Math.min(k, winding.inner_mm.length - 1)] / 2;
  const toward = axes[k].map((v) => Math.round((axes[k][1] > 0 ? -1 : 1) * reach * v * 10) / 10 || 0);
  const away = toward.map((v) => -v || 0);
  return [
    { top_deg: 0, shift_mm: [0, 0], edge: "" },
    { top_deg: 180, shift_mm: [0, 0], edge: "" },
    { top_deg: 0, shift_mm: toward, edge: side(toward) },
    { top_deg: 180, shift_mm: away, edge: side(away) },
  ];
}

/** @param {number[]} v @returns {Placing["edge"]} */
function side([x, y]) {
  if (Math.abs(x) > Math.abs(y)) return x > 0 ? "right" : "left";
  return y > 0 ? "far" : "near";
}
