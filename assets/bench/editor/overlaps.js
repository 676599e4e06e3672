// Copper that overlaps, told once where one wrong distance makes many pairs of it.

/** Decimals of a length to read. */
const about = (x) => String(Math.round(x * 100) / 100);

/**
 * Problems of a plan with the overlaps of round coils told together, by the
 * distance that their centres need.
 * @param {any[]} problems @param {any} plan as it is drawn @param {{mm: number, name: string}} [unit] of the plan's lengths
 * @returns {any[]} those told together name their coils
 */
export function foldOverlaps(problems, plan, unit = { mm: 1, name: "mm" }) {
  const coils = new Map((plan?.coils || []).map((c) => [c.id, c]));
  const radius = new Map((plan?.windings || []).filter((w) => w.shape === "round").map((w) => [w.id, w.inner_mm[0] / 2 + w.build_mm]));
  /** @type {Map<string, {p: any, apart: number}[]>} */
  const alike = new Map();
  for (const p of problems) {
    const [a, b] = [coils.get(p.id), coils.get(p.with)];
    const need = a && b ? radius.get(a.winding) + radius.get(b.winding) : NaN;
    if (!p.with || !(need > 0)) continue;
    const key = about(need / unit.mm);
    alike.set(key, [...(alike.get(key) || []), { p, apart: Math.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) }]);
  }
  const told = new Map(); // of every problem told together, by the first of them
  for (const [need, pairs] of alike) {
    if (pairs.length < 2) continue;
    const nearest = pairs.reduce((least, k) => (k.apart < least.apart ? k : least));
    const more = pairs.length === 2 ? "one more pair is too near" : `${pairs.length - 1} more pairs are too near`;
    const say = `Coils ${nearest.p.with} and ${nearest.p.id} overlap: their centres are ${about(nearest.apart / unit.mm)} ${unit.name} apart and need ${need}; ${more}.`;
    const one = { ...nearest.p, key: "", line: 0, say, remedy: "", coils: [...new Set(pairs.flatMap((k) => [k.p.with, k.p.id]))] };
    pairs.forEach((k, i) => told.set(k.p, i === 0 ? [one] : []));
  }
  return problems.flatMap((p) => told.get(p) || [p.with ? { ...p, key: "", line: 0 } : p]);
}
