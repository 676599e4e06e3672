// A cause and its mend as what is seen of the wiring: which coils stand in which
// string, how they face, and where something is to be touched. Pure: no drawing.

/** @typedef {{id: string, face: number, wrong: boolean, weak: boolean, bypass: boolean, gap: boolean, touch: string, guest: boolean, unread: boolean}} Slot face: 1 up, -1 down, 0 none; bypass: its leads touch; gap: a joint beside it does not conduct; guest: it belongs into another string; unread: nobody read it */
/** @typedef {{string: string, index: number, slots: (Slot | null)[], crossed: boolean, touchEnds: string, somewhere: boolean, into: string | null, from: string | null}} Row a null slot stands for coils left out; somewhere: a place in it, nobody knows which, does not conduct; into, from: the string it is chained to, or that is chained to it */
/** @typedef {{rows: Row[], plug: boolean, touchPlug: boolean, more: number}} Scene */

const MOST_STRINGS = 4;
const MOST_COILS = 5; // more would be too small to read on a phone

// What is to be done, and what was done.
const ACTS = { flip: ["turn over", "turned"], replace: ["new coil", "new"], "remake-joint": ["joint", "mended"], rejoin: ["move", "moved"] };

/** @param {any} plan @param {any} cause @param {boolean} after @param {Set<string>} [read] coils that were read; all of them where it is left out @returns {Scene | null} */
export function scene(plan, cause, after, read) {
  const mend = cause.mend || [];
  const faults = cause.faults || [];
  if (mend.length === 0) return null;
  const of = new Map(plan.strings.flatMap((s) => s.coils.map((id) => [id, s.id])));
  const coilsOf = new Map(plan.strings.map((s) => [s.id, [...s.coils]]));
  const chained = new Map(); // string: the one its end goes into
  const wrong = new Set();
  const plug = mend.some((m) => m.do === "swap-pad");
  const flip = (ids) => ids.forEach((id) => (wrong.has(id) ? wrong.delete(id) : wrong.add(id)));
  const acts = new Map(mend.filter((m) => m.id && ACTS[m.do]).map((m) => [m.id, ACTS[m.do][Number(after)]]));
  for (const f of faults) if (f.kind === "coil-shorted" && acts.has(f.id) && !after) acts.set(f.id, "shorted");
  const crossed = new Set();
  const gapped = new Set();
  const dead = new Set();
  const named = new Set(mend.map((m) => m.id));
  for (const m of mend) if (of.has(m.id)) named.add(of.get(m.id));
  for (const f of faults) {
    switch (f.kind) {
      case "coil-reversed":
        flip([f.id]);
        break;
      case "string-reversed":
        flip(coilsOf.get(f.id) || []);
        crossed.add(f.id);
        break;
      case "group-reversed":
        for (const id of stringsUnder(plan, f.id)) {
          flip(coilsOf.get(id) || []);
          crossed.add(id);
          named.add(id);
        }
        break;
      case "pad-reversed":
        flip(plan.coils.map((c) => c.id));
        break;
      case "coil-shorted":
        dead.add(f.id);
        break;
      case "coil-open":
        (coilsOf.get(of.get(f.id)) || []).forEach((id) => dead.add(id));
        break;
      case "string-open":
        (coilsOf.get(f.id) || []).forEach((id) => dead.add(id));
        gapped.add(f.id);
        named.add(f.id);
        break;
      case "strings-in-series":
        f.ids.forEach((id, i) => {
          named.add(id);
          if (i > 0) chained.set(f.ids[i - 1], id);
        });
        break;
      case "coil-in-wrong-string":
        named.add(f.string);
        named.add(of.get(f.id));
        if (!after) {
          coilsOf.set(of.get(f.id), coilsOf.get(of.get(f.id)).filter((id) => id !== f.id));
          coilsOf.get(f.string)?.push(f.id);
        }
        break;
      default:
        break;
    }
    if (of.has(f.id)) named.add(of.get(f.id));
  }
  const list = plan.strings.filter((s) => plug || named.has(s.id));
  if (list.length === 0) return null;
  const shown = inChains(list, chained).slice(0, MOST_STRINGS);
  const kind = new Map(faults.filter((f) => f.id).map((f) => [f.id, f.kind]));
  const north = new Map(plan.coils.map((c) => [c.id, c.north === "up" ? 1 : -1]));
  const swapped = new Set(mend.filter((m) => m.do === "swap-string").map((m) => m.id));
  const guests = new Set(faults.filter((f) => f.kind === "coil-in-wrong-string").map((f) => f.id));
  const unread = (id) => !after && Boolean(read) && !read.has(id);
  const slot = (id) => ({
    id,
    unread: unread(id),
    face: !after && dead.has(id) ? 0 : (wrong.has(id) && !after ? -1 : 1) * north.get(id),
    wrong: wrong.has(id) && !after && !unread(id),
    weak: !after && kind.get(id) === "turns-shorted",
    bypass: !after && kind.get(id) === "coil-shorted",
    gap: !after && kind.get(id) === "coil-open",
    touch: acts.get(id) || "",
    guest: !after && guests.has(id),
  });
  return {
    rows: shown.map((s) => ({
      string: s.id,
      index: plan.strings.indexOf(s),
      slots: shorten(coilsOf.get(s.id), (id) => acts.has(id) || guests.has(id) || kind.has(id)).map((id) => (id === null ? null : slot(id))),
      crossed: !after && crossed.has(s.id),
      touchEnds: swapped.has(s.id) || (crossed.has(s.id) && mend.some((m) => m.do === "rejoin")) ? (after ? "swapped" : "swap") : gapped.has(s.id) ? "" : acts.get(s.id) || "",
      somewhere: !after && gapped.has(s.id),
      into: (!after && chained.get(s.id)) || null,
      from: (!after && [...chained].find(([, to]) => to === s.id)?.[0]) || null,
    })),
    plug: plug && !after,
    touchPlug: plug,
    more: list.length - shown.length,
  };
}

/** Strings chained to each other stand one under the other. */
function inChains(list, chained) {
  const out = [];
  const put = (s) => {
    if (!s || out.includes(s)) return;
    out.push(s);
    put(list.find((k) => k.id === chained.get(s.id)));
  };
  const later = new Set(chained.values());
  for (const s of list) if (!later.has(s.id)) put(s);
  for (const s of list) put(s);
  return out;
}

/** At most MOST_COILS of a string, those that matter among them; null where some are left out. @param {string[]} ids @param {(id: string) => boolean} matters */
function shorten(ids, matters) {
  if (ids.length <= MOST_COILS) return ids;
  const keep = new Set([0, ids.length - 1]);
  ids.forEach((id, i) => keep.size < MOST_COILS - 1 && matters(id) && keep.add(i));
  // Then what stands beside them.
  for (let d = 1; d < ids.length && keep.size < MOST_COILS - 1; d++) {
    for (const i of [...keep]) {
      for (const k of [i - d, i + d]) if (k >= 0 && k < ids.length && keep.size < MOST_COILS - 1) keep.add(k);
    }
  }
  const out = [];
  let last = -1;
  for (const i of [...keep].sort((a, b) => a - b)) {
    if (i > last + 1) out.push(null);
    out.push(ids[i]);
    last = i;
  }
  return out;
}

function stringsUnder(plan, id, depth = 0) {
  if (plan.strings.some((s) => s.id === id)) return [id];
  const g = (plan.groups || []).find((k) => k.id === id);
  return !g || depth > plan.groups.length ? [] : g.of.flatMap((m) => stringsUnder(plan, m, depth + 1));
}
