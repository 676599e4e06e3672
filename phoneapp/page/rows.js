// The rows of a pad that a phone can be drawn along in one stroke: coils on one straight
// line parallel to an edge of the pad. Pure. Lengths are millimetres of the pad frame.

const ASIDE = 0.25; // of the smallest coil's half width: so far a coil may lie beside the line
const LEAST_APART_MM = 5; // about the same middle no way leads from one coil to the next

/** @typedef {{coils: string[], from: number[], to: number[], length_mm: number}} Row from the first coil's middle to the last's */
/** @typedef {{id: string, n: number, x: number, y: number, half: number[]}} Spot a coil, the plan's nth, with how far it reaches each way */

/**
 * Along x, left to right, or along y, near to far: whichever leaves fewer rows and coils
 * in none. Rows along x come from the farthest on, as the pad is read; columns from the left.
 * @param {{coils: any[], windings: any[]}} plan
 * @returns {Row[]}
 */
export function rowsOf(plan) {
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  const spots = plan.coils.map((c, n) => ({ id: c.id, n, x: c.x_mm, y: c.y_mm, half: halfExtent(c, windings.get(c.winding)) }));
  const [across, away] = [linesOf(spots, "x", "y"), linesOf(spots, "y", "x")];
  return (away.strokes < across.strokes ? away : across).rows;
}

/**
 * @param {Spot[]} spots @param {"x"|"y"} along @param {"x"|"y"} aside
 * @returns {{rows: Row[], strokes: number}} strokes: rows, and coils in none
 */
function linesOf(spots, along, aside) {
  const [k, sign] = aside === "y" ? [1, -1] : [0, 1];
  /** @type {Spot[][]} */
  const lines = [];
  for (const s of [...spots].sort((a, b) => sign * (a[aside] - b[aside]))) {
    const line = lines.at(-1);
    const room = line && 2 * ASIDE * Math.min(s.half[k], ...line.map((o) => o.half[k]));
    if (line && Math.abs(s[aside] - line[0][aside]) <= room) line.push(s);
    else lines.push([s]);
  }
  /** @type {Row[]} */
  const rows = [];
  for (const line of lines) {
    line.sort((a, b) => a[along] - b[along] || a.n - b.n);
    /** @type {Spot[]} */
    const way = [];
    for (const s of line) if (way.length === 0 || s[along] - way[way.length - 1][along] >= LEAST_APART_MM) way.push(s);
    if (way.length < 2) continue;
    const [a, b] = [way[0], way[way.length - 1]];
    rows.push({ coils: way.map((s) => s.id), from: [a.x, a.y], to: [b.x, b.y], length_mm: Math.hypot(b.x - a.x, b.y - a.y) });
  }
  return { rows, strokes: rows.length + spots.length - rows.reduce((sum, r) => sum + r.coils.length, 0) };
}

/** How far a coil's copper reaches to the right and away from its middle. @param {any} c @param {any} w */
function halfExtent(c, w) {
  const [x, y] = [0, 1].map((k) => w.inner_mm[w.shape === "round" ? 0 : k] / 2 + w.build_mm);
  if (w.shape === "round") return [x, x];
  const [sin, cos] = [Math.sin, Math.cos].map((f) => Math.abs(f(((c.turned_deg || 0) * Math.PI) / 180)));
  return [x * cos + y * sin, x * sin + y * cos];
}

/** A row as a person would call it. @param {Row} row */
export function rowName(row) {
  return `${row.coils[0]} to ${row.coils[row.coils.length - 1]}`;
}
