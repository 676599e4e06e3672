// Names of coils on a drawing seen from so far that no name fits into its coil, as
// on a map: those that matter stand always, over their neighbours where it must be,
// with a line to their coil where that is not beside them; the others where there
// is room between the coils. Pure.

/** @typedef {{x: number, y: number, w: number, h: number}} Box */
/** @typedef {{id: string, text: string, x: number, y: number, r: number, rank: number}} Spot r: of the circle that holds the coil; rank: 0 next, 1 to be named always, 2 marked by a shape to be seen, 3 any other */
/** @typedef {Spot & {box: Box, from: {x: number, y: number} | null}} Label from: where the line to the coil begins */

const HIGH = 1.35; // of the letters
const WIDE = 0.62; // a bold letter
const GAP = 0.25;
const WAYS = [[0, -1], [0, 1], [1, 0], [-1, 0], [1, -1], [-1, -1], [1, 1], [-1, 1]];
const FARTHEST = 5; // coils away
const ALWAYS = 1;
const SHAPE = 2;

/**
 * @param {Spot[]} spots @param {Box} bounds @param {number} letter their height
 * @returns {Label[]}
 */
export function placeLabels(spots, bounds, letter) {
  /** @type {Label[]} */
  const placed = [];
  const order = [...spots].sort((a, b) => a.rank - b.rank); // those that matter first: what hides one of them is given up soon
  for (const spot of order) {
    const label = spot.rank <= ALWAYS ? somewhere(spot, order, placed, bounds, letter) : between(spot, order, placed, bounds, letter);
    if (label) placed.push(label);
  }
  return placed;
}

/** @param {Spot} s @param {number} letter */
const size = (s, letter) => ({ w: (s.text.length * WIDE + 0.7) * letter, h: HIGH * letter });

/** A label so many coils away on one side, within bounds. */
function beside(s, way, away, bounds, letter) {
  const { w, h } = size(s, letter);
  const [dx, dy] = way;
  const gap = GAP * letter;
  const reach = s.r + gap + away * 2 * s.r;
  const x = s.x + dx * (reach + w / 2) - w / 2;
  const y = s.y + dy * (reach + h / 2) - h / 2;
  const box = { x: Math.min(bounds.x + bounds.w - w, Math.max(bounds.x, x)), y, w, h };
  return y < bounds.y || y + h > bounds.y + bounds.h || covers(box, s) ? null : box;
}

/** One that is always named: the nearest place that hides no name and no coil that matters. */
function somewhere(s, spots, placed, bounds, letter) {
  let best = null;
  let least = Infinity;
  for (let away = 0; away <= FARTHEST && away < least; away++) {
    for (const way of WAYS) {
      const box = beside(s, way, away, bounds, letter);
      if (!box || placed.some((p) => overlap(box, p.box))) continue;
      const cost = away + 0.01 * WAYS.indexOf(way) + hidden(box, spots);
      if (cost < least) [best, least] = [{ ...s, box, from: away > 0 ? edge(s, box) : null }, cost];
    }
  }
  return best;
}

/** How bad it is that a box hides coils. @param {Box} box @param {Spot[]} spots by rank */
function hidden(box, spots) {
  let cost = 0;
  for (const k of spots) {
    if (!covers(box, k)) continue;
    if (k.rank <= ALWAYS) return Infinity;
    cost += k.rank === SHAPE ? 0.8 : 0.2;
  }
  return cost;
}

/** Any other: only where nothing at all is hidden. */
function between(s, spots, placed, bounds, letter) {
  for (const way of WAYS.slice(0, 4)) {
    const box = beside(s, way, 0, bounds, letter);
    if (box && !placed.some((p) => overlap(box, p.box) || (p.from && crosses(p, box))) && !spots.some((k) => covers(box, k))) return { ...s, box, from: null };
  }
  return null;
}

function overlap(a, b) {
  return a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
}

/** Whether a box hides something of a coil. @param {Box} box @param {Spot} s */
function covers(box, s) {
  const dx = s.x - Math.min(box.x + box.w, Math.max(box.x, s.x));
  const dy = s.y - Math.min(box.y + box.h, Math.max(box.y, s.y));
  return dx * dx + dy * dy < s.r * s.r;
}

/** Whether the line of a label goes through a box, roughly. */
function crosses(label, box) {
  const to = middle(label.box);
  return overlap(box, { x: Math.min(label.x, to.x), y: Math.min(label.y, to.y), w: Math.abs(label.x - to.x), h: Math.abs(label.y - to.y) });
}

const middle = (box) => ({ x: box.x + box.w / 2, y: box.y + box.h / 2 });

/** Where the line from a coil to its label leaves the coil. */
function edge(s, box) {
  const to = middle(box);
  const d = Math.hypot(to.x - s.x, to.y - s.y) || 1;
  return { x: s.x + ((to.x - s.x) * s.r) / d, y: s.y + ((to.y - s.y) * s.r) / d };
}
