// Where to lay the phone so that a coil turns its compass most. Pure. Lengths are
// in millimetres of the pad frame, headings in degrees clockwise from north.
//
// A coil's field spreads sideways over its winding, away from its middle on the
// one face and toward it on the other. It turns the needle only by its part across
// the needle, so the place is over the winding, on the side that lies across: east
// or west of the coil's middle rather than north or south of it.

const LEAST_AMPS = 0.01; // few supplies are set to less
const EARTH_UT = 20; // its level part, over most inhabited places from 15 to 35

/** @typedef {{shift_mm: number[], b_uT: number[]}} Beside a place over the winding's inner edge, with the field there as planned */
/** @typedef {{shift_mm: number[], words: "right"|"left"|"far"|"near", across_uT: number | null}} Place across: the field's part across the needle, as planned */

/**
 * @param {{x_mm: number, y_mm: number, turned_deg: number}} coil
 * @param {{inner_mm: number[]}} winding
 * @param {number} heading_deg of the pad's +y, with the supply off
 * @param {1 | -1} side the one or the other, opposite
 * @param {Beside[]} [beside] the coil's four sides with the predicted field, which other coils have a part in
 * @returns {Place}
 */
export function placeBeside(coil, winding, heading_deg, side, beside) {
  const places = placesBeside(coil, winding, heading_deg, beside);
  // Of places that turn it alike, to a part in twenty, the first: to the right, or far.
  const most = Math.max(...places.map((p) => p.turns));
  const first = places.find((p) => p.turns >= 0.95 * most) || places[0];
  const dot = (p) => p.shift_mm[0] * first.shift_mm[0] + p.shift_mm[1] * first.shift_mm[1];
  const { shift_mm, across_uT } = side === 1 ? first : places.reduce((a, b) => (dot(b) < dot(a) ? b : a));
  return { shift_mm, across_uT, words: sideWords(shift_mm) };
}

/**
 * How much a place turns the needle, as a share of what the best of its coil does.
 * @param {number[]} shift_mm
 * @param {Parameters<typeof placesBeside>} where
 */
export function shareOfBest(shift_mm, ...where) {
  const places = placesBeside(...where);
  const most = Math.max(...places.map((p) => p.turns));
  const here = places.find((p) => p.shift_mm.every((v, k) => v === shift_mm[k]));
  return here && most > 0 ? here.turns / most : 1;
}

/**
 * A coil's four sides, with how much each turns the needle.
 * @param {{turned_deg: number}} coil
 * @param {{inner_mm: number[]}} winding
 * @param {number} heading_deg
 * @param {Beside[]} [beside]
 */
function placesBeside(coil, winding, heading_deg, beside) {
  const h = (heading_deg * Math.PI) / 180;
  const east = [Math.cos(h), Math.sin(h)]; // of the needle, in the pad frame
  const across = (v) => v[0] * east[0] + v[1] * east[1];
  if (beside?.length) {
    return beside.map(({ shift_mm, b_uT }) => ({ shift_mm, across_uT: across(b_uT), turns: Math.abs(across(b_uT)) }));
  }
  return sides(coil, winding).map((shift_mm) => ({ shift_mm, across_uT: null, turns: Math.abs(across(shift_mm)) / Math.hypot(...shift_mm) }));
}

/** The four sides of a winding's inner edge, from its middle. */
function sides(coil, winding) {
  const a = (coil.turned_deg * Math.PI) / 180;
  const [x, y] = [winding.inner_mm[0] / 2, winding.inner_mm[winding.inner_mm.length - 1] / 2];
  const tenth = (v) => Math.round(v * 10) / 10 || 0;
  return [[x, 0], [-x, 0], [0, y], [0, -y]].map(([u, v]) => [tenth(u * Math.cos(a) - v * Math.sin(a)), tenth(u * Math.sin(a) + v * Math.cos(a))]);
}

/**
 * Whether the field is right for a compass there, before anything was read, and
 * the current that would put it right.
 * @param {number | null} across_uT as planned
 * @param {number} amps total, as planned
 * @param {number} limit_amps of the supply, 0 if none
 * @returns {{tells: "well"} | {tells: "weak"|"strong", amps: number}}
 */
export function currentFor(across_uT, amps, limit_amps) {
  const ratio = Math.abs(across_uT ?? EARTH_UT) / EARTH_UT;
  if (doesWell(ratio)) return { tells: "well" };
  const best = Math.max(LEAST_AMPS, amps / Math.max(ratio, 1e-3));
  return { tells: ratio > 3 ? "strong" : "weak", amps: limit_amps > 0 ? Math.min(best, limit_amps) : Math.min(best, 4 * amps) };
}

/** @param {number} ratio of the field across the needle to the earth's */
const doesWell = (ratio) => ratio >= 0.25 && ratio <= 3;

/**
 * Whether a current set for another place is right there too: a supply is not to be set
 * anew at every coil.
 * @param {number | null} across_uT as planned @param {number} times the planned current
 */
export function alsoDoes(across_uT, times) {
  return doesWell((Math.abs(across_uT ?? EARTH_UT) * times) / EARTH_UT);
}

/** @param {number[]} shift */
function sideWords([x, y]) {
  if (Math.abs(x) >= Math.abs(y)) return x > 0 ? "right" : "left";
  return y > 0 ? "far" : "near";
}

export const STILL_DEG = 2; // no turn: a compass wavers by as much

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
  return turn < 10 ? { tells: "weak", amps: amps * factor } : { tells: "strong", amps: Math.max(amps * factor, Math.min(amps, LEAST_AMPS)) };
}
