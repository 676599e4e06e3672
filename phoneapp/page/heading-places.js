// Where to lay the phone so that a coil turns its compass most. Pure. Lengths are
// in millimetres of the pad frame, headings in degrees clockwise from north.
//
// A coil's field spreads sideways over its winding, away from its middle on the
// one face and toward it on the other. It turns the needle only by its part across
// the needle, so the place is over the winding, on the side that lies across: east
// or west of the coil's middle rather than north or south of it.

/**
 * @param {{x_mm: number, y_mm: number, turned_deg: number}} coil
 * @param {{inner_mm: number[]}} winding
 * @param {number} heading_deg of the pad's +y, with the supply off
 * @param {1 | -1} side the one or the other, opposite
 * @returns {{shift_mm: number[], words: string}} from the coil's middle
 */
export function placeBeside(coil, winding, heading_deg, side) {
  const h = (heading_deg * Math.PI) / 180;
  const north = [-Math.sin(h), Math.cos(h)]; // in the pad frame
  const a = (coil.turned_deg * Math.PI) / 180;
  const along = [
    [Math.cos(a), Math.sin(a)],
    [-Math.sin(a), Math.cos(a)],
  ];
  // Of the winding's two axes, the one that lies more across north.
  const pull = (axis) => Math.abs(axis[0] * north[0] + axis[1] * north[1]);
  const k = pull(along[0]) <= pull(along[1]) ? 0 : 1;
  const reach = winding.inner_mm[Math.min(k, winding.inner_mm.length - 1)] / 2;
  const shift_mm = along[k].map((v) => Math.round(side * reach * v * 10) / 10);
  return { shift_mm, words: sideWords(shift_mm) };
}

/** @param {number[]} shift */
function sideWords([x, y]) {
  if (Math.abs(x) >= Math.abs(y)) return x > 0 ? "right" : "left";
  return y > 0 ? "far" : "near";
}

/**
 * Whether a turn of the compass lies where its reading is good, and the current
 * that would put it there.
 * @param {number} turn_deg between supply off and on
 * @param {number} amps total, now
 * @returns {{tells: "well"} | {tells: "weak"|"strong", amps: number}}
 */
export function strengthOf(turn_deg, amps) {
  const turn = Math.min(89, Math.max(1, Math.abs(turn_deg)));
  if (turn >= 10 && turn <= 75) return { tells: "well" };
  // The pull over the earth's part is the tangent; one to one is best.
  const factor = Math.min(4, Math.max(0.2, 1 / Math.tan((turn * Math.PI) / 180)));
  return { tells: turn < 10 ? "weak" : "strong", amps: amps * factor };
}
