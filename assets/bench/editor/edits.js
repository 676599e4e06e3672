// What the editor's actions do to a plan, as edits of its text. Nothing here
// knows of the page; lengths come in millimetres and go out in the plan's unit.

/**
 * @typedef {{op: string, table?: string, id?: string, key?: string, value?: any, pairs?: {key: string, value: any}[]}} Edit
 * @typedef {{plan: any, values: any, unit_mm: number}} Sight
 */

const TOGETHER = 0.5; // of half a coil: nearer than that, two lie in one row

/** @param {Sight} sight @param {number} mm a length in the plan's unit, to a ten-thousandth */
export function inUnit(sight, mm) {
  return Math.round((mm / sight.unit_mm) * 1e4) / 1e4 + 0;
}

/** @returns {Edit} */
export function set(table, id, key, value) {
  return { op: "set", table, id, key, value };
}

// How a person would write a table: what it is called first, then what it is like.
const ORDER = ["id", "winding", "shape", "inner", "corner", "turns", "build", "width", "wire_awg", "wire_mm", "ohms", "at", "turned", "north", "sense", "join", "of", "coils", "lead_ohms"];

/** @returns {Edit} */
export function add(table, values) {
  const place = (key) => (ORDER.indexOf(key) + 1 || ORDER.length + 1);
  const pairs = Object.entries(values).map(([key, value]) => ({ key, value }));
  return { op: "add", table, pairs: pairs.sort((a, b) => place(a.key) - place(b.key)) };
}

/** Coils to new places. @param {Sight} sight @param {Map<string, {x: number, y: number}>} places mm @returns {Edit[]} */
export function move(sight, places) {
  return [...places].map(([id, p]) => set("coil", id, "at", [inUnit(sight, p.x), inUnit(sight, p.y)]));
}

/** Half the size of a coil's copper along x and y as it lies. */
export function extent(coil, winding) {
  const hx = winding.inner_mm[0] / 2 + winding.build_mm;
  const hy = winding.inner_mm[1] / 2 + winding.build_mm;
  // A rounded rectangle: its core turned, and the rounding around it.
  const r = Math.min(hx, hy, winding.shape === "rectangle" ? winding.corner_mm + winding.build_mm : Infinity);
  const a = (coil.turned_deg * Math.PI) / 180;
  const [c, s] = [Math.abs(Math.cos(a)), Math.abs(Math.sin(a))];
  return { x: c * (hx - r) + s * (hy - r) + r, y: s * (hx - r) + c * (hy - r) + r };
}

function chosen(sight, ids) {
  const windings = new Map(sight.plan.windings.map((w) => [w.id, w]));
  return sight.plan.coils.filter((c) => ids.has(c.id)).map((c) => ({ c, half: extent(c, windings.get(c.winding)) }));
}

/**
 * Lines coils up.
 * @param {Sight} sight @param {Set<string>} ids
 * @param {"left" | "centre" | "right" | "bottom" | "middle" | "top"} how
 */
export function align(sight, ids, how) {
  const list = chosen(sight, ids);
  const axis = ["left", "centre", "right"].includes(how) ? "x" : "y";
  const side = { left: -1, bottom: -1, centre: 0, middle: 0, right: 1, top: 1 }[how];
  const at = (k) => k.c[`${axis}_mm`] + side * k.half[axis];
  const all = list.map(at);
  const line = side < 0 ? Math.min(...all) : side > 0 ? Math.max(...all) : all.reduce((a, b) => a + b, 0) / all.length;
  return move(sight, new Map(list.map((k) => [k.c.id, { x: k.c.x_mm, y: k.c.y_mm, [axis]: line - side * k.half[axis] }])));
}

/**
 * Puts the centres at equal distances between the two outermost. Coils that lie in
 * one row or column across that way stay together.
 * @param {Sight} sight @param {Set<string>} ids @param {"x" | "y"} axis
 */
export function spread(sight, ids, axis) {
  const at = (k) => k.c[`${axis}_mm`];
  const list = chosen(sight, ids).sort((a, b) => at(a) - at(b));
  /** @type {typeof list[]} */
  const lines = [];
  for (const k of list) {
    const line = lines.at(-1);
    if (line && at(k) - at(line[0]) < TOGETHER * k.half[axis]) line.push(k);
    else lines.push([k]);
  }
  const mean = (line) => line.reduce((sum, k) => sum + at(k), 0) / line.length;
  const from = mean(lines[0]);
  const step = lines.length > 1 ? (mean(lines.at(-1)) - from) / (lines.length - 1) : 0;
  return move(sight, new Map(lines.flatMap((line, i) => line.map((k) => [k.c.id, { x: k.c.x_mm, y: k.c.y_mm, [axis]: lines.length > 1 ? from + i * step : mean(line) }]))));
}

/** Coils whose copper reaches over the pad's edge, and how far in mm. */
export function offPad(plan) {
  const [w, h] = plan.outline_mm;
  if (!(w > 0)) return [];
  const windings = new Map(plan.windings.map((k) => [k.id, k]));
  return plan.coils
    .filter((c) => windings.has(c.winding))
    .map((c) => {
      const half = extent(c, windings.get(c.winding));
      return { id: c.id, mm: Math.max(half.x - c.x_mm, c.x_mm + half.x - w, half.y - c.y_mm, c.y_mm + half.y - h) };
    })
    .filter((k) => k.mm > 0.05);
}

const NAMED = 3; // coils alike

/** The weakest and strongest field over the coils, in words. @param {{id: string, bz_uT: number}[]} coils */
export function fieldOver(coils) {
  const known = coils.map((c) => ({ id: c.id, b: Math.round(Math.abs(c.bz_uT)) }));
  const words = (b) => {
    const ids = known.filter((k) => k.b === b).map((k) => k.id);
    return `${b} uT (${ids.length > NAMED ? `${ids.length} coils` : ids.join(", ")})`;
  };
  const all = known.map((k) => k.b);
  const [least, most] = [Math.min(...all), Math.max(...all)];
  if (least < most) return `${words(least)} to ${words(most)}`;
  return known.length > 1 ? `${most} uT over every coil` : words(most);
}

/** How the strings are joined, from plug to plug; empty where there is nothing to join. @param {any} plan */
export function joined(plan) {
  const known = new Map((plan?.groups || []).map((g) => [g.id, g]));
  const inner = new Set([...known.values()].flatMap((g) => g.of));
  const tops = [...(plan?.strings || []), ...known.values()].map((k) => k.id).filter((id) => !inner.has(id));
  const told = (id, within = []) => {
    const g = known.get(id);
    if (!g || within.includes(id)) return id;
    const parts = g.of.map((m) => told(m, [...within, id]));
    return g.join === "series" ? parts.join(" → ") : parts.length > 1 ? `(${parts.join(" parallel ")})` : parts[0] || id;
  };
  if (tops.length === 0 || (plan.strings.length < 2 && known.size === 0)) return "";
  return `+ ${tops.length > 1 ? `(${tops.map((id) => told(id)).join(" parallel ")})` : told(tops[0])} −`;
}

/** Every id of coils, strings and groups. */
export function idsOf(plan) {
  return new Set([...plan.coils, ...plan.strings, ...plan.groups].map((k) => k.id));
}

/** The next free id after one like A3. @param {string} id @param {Set<string>} taken gets the new one */
export function nextID(id, taken) {
  const [, stem, digits] = /^(.*?)(\d*)$/.exec(id);
  for (let n = Number(digits || 0) + 1; ; n++) {
    const next = `${stem.slice(0, 32 - String(n).length)}${n}`;
    if (taken.has(next)) continue;
    taken.add(next);
    return next;
  }
}

/** A free id for a string: A to Z, then S1 and on. */
export function stringID(taken) {
  for (let k = 0; k < 26; k++) {
    const id = String.fromCharCode(65 + k);
    if (taken.has(id)) continue;
    taken.add(id);
    return id;
  }
  return nextID("S", taken);
}

/** Whether round each coil placed there is room, by their outer circles. */
function fits(plan, placed) {
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  const reach = (c) => {
    const w = windings.get(c.winding);
    return Math.hypot(w.inner_mm[0] / 2 + w.build_mm, w.shape === "round" ? 0 : w.inner_mm[1] / 2 + w.build_mm);
  };
  return placed.every((p) => plan.coils.every((c) => Math.hypot(c.x_mm - p.x_mm, c.y_mm - p.y_mm) >= reach(c) + reach(p)));
}

const WAYS = [[1, 0], [0, -1], [0, 1], [-1, 0], [1, -1], [1, 1], [-1, 1], [-1, -1]]; // prettier-ignore
const FARTHEST = 2000;

/** The smallest shift at which copies of coils find room, with all of their copper on the pad where they can, else where the pad can be made larger for them. */
export function room(plan, coils) {
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  const [w, h] = plan.outline_mm;
  const half = new Map(coils.map((c) => [c.id, extent(c, windings.get(c.winding))]));
  const after = (p) => p.x_mm >= half.get(p.id).x && p.y_mm >= half.get(p.id).y;
  const inside = (p) => !(w > 0) || (after(p) && p.x_mm <= w - half.get(p.id).x && p.y_mm <= h - half.get(p.id).y);
  const shifts = [];
  for (let far = 10; far <= FARTHEST; far += 5) for (const [x, y] of WAYS) shifts.push({ x: x * far, y: y * far });
  shifts.sort((a, b) => Math.hypot(a.x, a.y) - Math.hypot(b.x, b.y)); // keeps the order of the ways where they are alike
  let best = null; // off the pad, unless there is room on it farther away
  let last = null; // where no pad can be
  for (const by of shifts) {
    const placed = coils.map((c) => ({ ...c, x_mm: c.x_mm + by.x, y_mm: c.y_mm + by.y }));
    const on = placed.every(inside);
    const can = on || placed.every(after);
    if ((!on && best) || (!can && last) || !fits(plan, placed)) continue;
    if (on) return by;
    if (can) best = by;
    else last = by;
  }
  return best || last || { x: 20, y: -20 };
}

const EDGE_MM = 10; // from the copper to the edge of a pad made larger

/** Makes the pad large enough for new coils. @param {Sight} sight @param {any[]} placed @returns {Edit[]} */
function larger(sight, placed) {
  const { plan } = sight;
  const size = plan.outline_mm;
  if (!(size[0] > 0)) return [];
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  const to = ["x", "y"].map((axis, i) => {
    const end = Math.max(...placed.map((p) => p[`${axis}_mm`] + extent(p, windings.get(p.winding))[axis]));
    return end > size[i] ? Math.ceil(end + EDGE_MM) : size[i];
  });
  return to.some((mm, i) => mm > size[i]) ? [set("outline", undefined, "size", to.map((mm) => inUnit(sight, mm)))] : [];
}

/**
 * Copies coils to where there is room. A copy joins the string of its original;
 * where a whole string is copied, the copies make a string of their own.
 * @param {Sight} sight @param {Set<string>} ids @returns {{edits: Edit[], ids: string[]}}
 */
export function duplicate(sight, ids) {
  const { plan, values } = sight;
  const coils = plan.coils.filter((c) => ids.has(c.id));
  const by = room(plan, coils);
  const taken = idsOf(plan);
  const named = new Map();
  const edits = [];
  for (const s of plan.strings) {
    if (!s.coils.length || !s.coils.every((id) => ids.has(id))) continue;
    const own = stringID(taken);
    for (const id of s.coils) named.set(id, nextID(id.startsWith(s.id) ? `${own}0` : id, taken));
  }
  const whole = new Set(named.keys());
  for (const c of coils) {
    if (!named.has(c.id)) named.set(c.id, nextID(c.id, taken));
    const raw = values.coil.find((k) => k.id === c.id);
    edits.push(add("coil", { ...raw, id: named.get(c.id), at: [inUnit(sight, c.x_mm + by.x), inUnit(sight, c.y_mm + by.y)] }));
  }
  edits.push(...larger(sight, coils.map((c) => ({ ...c, x_mm: c.x_mm + by.x, y_mm: c.y_mm + by.y })))); // prettier-ignore
  const now = plan.strings.map((s) => ({ ...s, coils: [...s.coils] }));
  const strings = idsOf(plan);
  for (const s of plan.strings) {
    const more = s.coils.filter((id) => ids.has(id)).map((id) => named.get(id));
    if (!more.length) continue;
    if (s.coils.every((id) => whole.has(id))) {
      const id = stringID(strings);
      const raw = values.string.find((k) => k.id === s.id);
      edits.push(add("string", { ...raw, id, coils: more }), ...joinGroup(plan, id, s.id, false));
    } else {
      now.find((k) => k.id === s.id).coils.push(...more);
      edits.push(set("string", s.id, "coils", [...s.coils, ...more]));
    }
  }
  return { edits, ids: [...named.values()] };
}

/** Puts a new string beside another, or in its place, where there are groups. */
function joinGroup(plan, id, beside, instead) {
  const g = plan.groups.find((k) => k.of.includes(beside)) || plan.groups.find((k) => !plan.groups.some((o) => o.of.includes(k.id)));
  if (!g) return [];
  const of = instead && g.of.includes(beside) ? g.of.map((m) => (m === beside ? id : m)) : [...g.of, id];
  return [set("group", g.id, "of", of)];
}

/**
 * Joins coils into one string, in order, and takes them out of those they were
 * in. A string left without coils goes, and the new one takes its place among
 * the groups.
 * @param {Sight} sight @param {string[]} order @param {string | null} into the string to draw anew
 * @returns {{edits: Edit[], id: string, left: string[]}} left: coils now in no string
 */
export function wire(sight, order, into) {
  const { plan } = sight;
  const edits = [];
  const gone = [];
  for (const s of plan.strings) {
    if (s.id === into) continue;
    const left = s.coils.filter((id) => !order.includes(id));
    if (left.length === s.coils.length) continue;
    if (left.length) edits.push(set("string", s.id, "coils", left));
    else gone.push(s);
  }
  const old = plan.strings.find((s) => s.id === into);
  let id = into;
  if (old) edits.unshift(set("string", into, "coils", order));
  else {
    // A string that only changes its order keeps its name.
    const same = gone.find((s) => s.coils.length === order.length);
    if (same) {
      return { edits: [set("string", same.id, "coils", order), ...edits, ...gone.filter((s) => s !== same).map((s) => ({ op: "remove", table: "string", id: s.id }))], id: same.id, left: [] };
    }
    id = stringID(idsOf(plan));
    const from = plan.coils.find((c) => c.id === order[0])?.string;
    edits.push(add("string", { id, coils: order }), ...joinGroup(plan, id, gone[0]?.id ?? from, gone.length > 0));
    edits.push(...gone.map((s) => ({ op: "remove", table: "string", id: s.id })));
  }
  if (old) edits.push(...gone.map((s) => ({ op: "remove", table: "string", id: s.id })));
  return { edits, id, left: old ? old.coils.filter((c) => !order.includes(c)) : [] };
}

/**
 * A new coil like another one, or of the first kind in the middle of the pad. It
 * joins the string of the other, or the last.
 * @param {Sight} sight @param {string | null} like @returns {{edits: Edit[], id: string}}
 */
export function addCoil(sight, like) {
  const { plan, values } = sight;
  const model = plan.coils.find((c) => c.id === like) || plan.coils.at(-1);
  const taken = idsOf(plan);
  const id = nextID(model ? model.id : "A", taken);
  const winding = model ? model.winding : plan.windings[0].id;
  let at = { x: plan.outline_mm[0] / 2 || 100, y: plan.outline_mm[1] / 2 || 100 };
  if (model) {
    const by = room(plan, [model]);
    at = { x: model.x_mm + by.x, y: model.y_mm + by.y };
  }
  const raw = model ? values.coil.find((k) => k.id === model.id) : { sense: "ccw" };
  const { at: _at, id: _id, winding: _winding, ...rest } = raw;
  const edits = [add("coil", { id, winding, at: [inUnit(sight, at.x), inUnit(sight, at.y)], ...rest })];
  if (model) edits.push(...larger(sight, [{ ...model, x_mm: at.x, y_mm: at.y }]));
  const s = plan.strings.find((k) => k.id === model?.string) || plan.strings.at(-1);
  if (s) edits.push(set("string", s.id, "coils", [...s.coils, id]));
  else edits.push(add("string", { id: stringID(taken), coils: [id] }));
  return { edits, id };
}

/** A kind of coil of its own for some coils, like the one they have. */
export function ownWinding(sight, ids) {
  const { plan, values } = sight;
  const first = plan.coils.find((c) => ids.has(c.id));
  const raw = values.winding.find((w) => w.id === first.winding);
  const id = nextID(first.winding, new Set(plan.windings.map((w) => w.id)));
  return { edits: [add("winding", { ...raw, id }), ...[...ids].map((c) => set("coil", c, "winding", id))], id };
}

const ROUNDED = 0.06; // what rounding an advice to two digits makes of it

/**
 * Where the advice for the check sets the supply otherwise than the plan: both in
 * words, and the edits that take the advice over. Else null.
 * @param {any} raw the setting advised for raw readings @param {{volts: number, amps: number}} supply as planned @param {number} amps that the pad takes as planned
 * @returns {{own: string, advice: string, edits: Edit[]} | null}
 */
export function otherSupply(raw, supply, amps) {
  if (!(raw?.amps > 0) || !supply) return null;
  const by = raw.hold_amps ? "amps" : "volts";
  const to = raw.hold_amps ? raw.limit_amps : raw.volts;
  const is = supply[by] > 0 ? supply[by] / to : amps / raw.amps;
  if (Math.abs(is - 1) <= ROUNDED) return null;
  const [other] = ["amps", "volts"].filter((k) => k !== by);
  return {
    own: supply.amps > 0 ? `${supply.amps} A` : `${supply.volts} V`,
    advice: raw.hold_amps ? `${to} A` : `${to} V, limit ${raw.limit_amps} A`,
    edits: [...(supply[other] > 0 ? [{ op: "unset", table: "supply", key: other }] : []), set("supply", undefined, by, to), ...(raw.hold_amps ? [] : [set("supply", undefined, "limit_amps", raw.limit_amps)])],
  };
}
