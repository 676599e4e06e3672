// The pad drawn to scale, seen from above: y points away from the person, so up
// on the page. Used by the bench page, large, and by the phone page, small.
import { svg } from "./dom.js";
import { fitName } from "./names.js";
import { north } from "./north.js";
import { shapeOf, wordOf } from "./states.js";

/**
 * @typedef {{id: string, shape: string, inner_mm: number[], corner_mm: number, build_mm: number, width_mm: number, turns: number}} Winding
 * @typedef {{id: string, x_mm: number, y_mm: number, turned_deg: number, north: string, sense: string, winding: string, string: string}} Coil
 * @typedef {{name: string, outline_mm: number[], windings: Winding[], coils: Coil[], strings: {id: string, coils: string[]}[]}} Plan
 */

// Strings are told apart by the pattern of the line that joins their coils.
export const PATTERNS = ["", "14 7", "3 6", "16 6 3 6", "24 8", "8 4 2 4 2 4"];

/** Bounds of everything drawn, in millimetres. @param {Plan} plan */
export function bounds(plan) {
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  let [x0, y0, x1, y1] = [0, 0, plan.outline_mm[0], plan.outline_mm[1]];
  if (!(x1 > 0)) [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const c of plan.coils) {
    const w = /** @type {Winding} */ (windings.get(c.winding));
    const r = Math.hypot(w.inner_mm[0] / 2 + w.build_mm, w.shape === "round" ? 0 : w.inner_mm[1] / 2 + w.build_mm);
    x0 = Math.min(x0, c.x_mm - r);
    y0 = Math.min(y0, c.y_mm - r);
    x1 = Math.max(x1, c.x_mm + r);
    y1 = Math.max(y1, c.y_mm + r);
  }
  return x1 > x0 ? { x0, y0, x1, y1 } : { x0: 0, y0: 0, x1: 100, y1: 100 }; // nothing to draw yet
}

/** Outline of a winding at distance u outside its inner path. @param {Winding} w @param {number} u */
export function outline(w, u) {
  const x = w.inner_mm[0] / 2 + u;
  const y = w.inner_mm[1] / 2 + u;
  const r = (w.shape === "rectangle" ? w.corner_mm : Math.min(...w.inner_mm) / 2) + u;
  return svg("rect", { x: -x, y: -y, width: 2 * x, height: 2 * y, rx: r, ry: r });
}

/**
 * @param {Plan} plan
 * @param {{next?: string, states?: Record<string, string>, values?: Record<string, string>, onpick?: (id: string) => void, label?: string, small?: boolean, faces?: Record<string, number>, asks?: boolean}} [options] asks: which face looks up is asked of the person, who is not shown what is planned
 */
export function drawPad(plan, options = {}) {
  const b = bounds(plan);
  const margin = Math.max(b.x1 - b.x0, b.y1 - b.y0) * 0.03 + 4;
  const width = b.x1 - b.x0 + 2 * margin;
  const height = b.y1 - b.y0 + 2 * margin;
  const root = svg("svg", {
    class: "pad",
    viewBox: `${b.x0 - margin} ${-b.y1 - margin} ${width} ${height}`,
    role: options.onpick ? "group" : "img",
    "aria-label": options.label || `The pad ${plan.name}, seen from above`,
  });
  if (plan.outline_mm[0] > 0) {
    root.append(svg("rect", { class: "pad-outline", x: 0, y: -plan.outline_mm[1], width: plan.outline_mm[0], height: plan.outline_mm[1], rx: 10 }));
  }
  const coils = new Map(plan.coils.map((c) => [c.id, c]));
  plan.strings.forEach((s, i) => {
    const points = s.coils.map((id) => coils.get(id)).filter(Boolean);
    root.append(
      svg("polyline", {
        class: `pad-string string-${i % PATTERNS.length}`,
        "stroke-dasharray": PATTERNS[i % PATTERNS.length],
        points: points.map((c) => `${c.x_mm},${-c.y_mm}`).join(" "),
      }),
    );
  });
  const windings = new Map(plan.windings.map((w) => [w.id, w]));
  for (const c of plan.coils) root.append(drawCoil(c, /** @type {Winding} */ (windings.get(c.winding)), options));
  return root;
}

/**
 * A ring with a dot for field toward the reader, with a cross for field away,
 * empty for none.
 * @param {number} face @param {number} r radius
 */
export function faceSign(face, r) {
  const sign = svg("g", { class: "face" }, svg("circle", { r }));
  if (face > 0) sign.append(svg("circle", { class: "dot", r: r * 0.38 }));
  if (face < 0) sign.append(svg("path", { d: `M${-r * 0.7} ${-r * 0.7}L${r * 0.7} ${r * 0.7}M${r * 0.7} ${-r * 0.7}L${-r * 0.7} ${r * 0.7}` }));
  return sign;
}

/**
 * The face that a coil is drawn with: the one found, else the one read, else the one planned.
 * @param {number} planned @param {string} [state] what is claimed of it @param {number} [read]
 */
export function faceShown(planned, state, read) {
  if (state === "reversed") return -planned;
  if (state === "dead") return 0;
  return state === "as-planned" || state === "weak" ? planned : (read ?? planned);
}

/** A name beside its coil. @param {import("./far-labels.js").Label} label @param {number} letter @param {string | null | undefined} state */
export function drawName({ text, box, from, rank, id }, letter, state) {
  const middle = { x: box.x + box.w / 2, y: box.y + box.h / 2 };
  const node = svg("g", { class: `far-name${rank < 2 ? " is-always" : ""}${rank === 0 ? " is-next" : ""}${state ? ` is-${state}` : ""}`, "data-names": id, "aria-hidden": "true" });
  if (from) node.append(svg("path", { class: "far-name-line", d: `M${from.x} ${from.y}L${middle.x} ${middle.y}`, "stroke-width": letter / 9 }));
  if (rank < 2) node.append(svg("rect", { ...{ x: box.x, y: box.y, width: box.w, height: box.h }, rx: letter * 0.3, "stroke-width": letter / 9 }));
  node.append(svg("text", { "text-anchor": "middle", x: middle.x, y: middle.y + letter * 0.36, "font-size": letter }, text));
  return node;
}

/** @param {Coil} c @param {Winding} w @param {any} options */
function drawCoil(c, w, options) {
  const state = options.states?.[c.id];
  const size = Math.min(w.inner_mm[0], w.shape === "round" ? w.inner_mm[0] : w.inner_mm[1]);
  const words = [`Coil ${c.id}, string ${c.string}`];
  if (!options.asks) words.push(`planned ${north().way(c.north)}`);
  if (state) words.push(wordOf(state));
  if (options.next === c.id) words.push("next");
  if (options.values?.[c.id]) words.push(options.values[c.id]);
  const group = svg("g", {
    class: `coil${state ? ` is-${state}` : ""}${options.next === c.id ? " is-next" : ""}`,
    transform: `translate(${c.x_mm} ${-c.y_mm})`,
    "data-coil": c.id,
  });
  if (options.onpick) {
    group.setAttribute("tabindex", "0");
    group.setAttribute("role", "button");
    group.setAttribute("aria-label", words.join(", "));
    group.addEventListener("click", () => options.onpick(c.id));
    group.addEventListener("keydown", (e) => {
      const k = /** @type {KeyboardEvent} */ (e).key;
      if (k === "Enter" || k === " ") {
        e.preventDefault();
        options.onpick(c.id);
      }
    });
  }
  const body = svg("g", { transform: `rotate(${-c.turned_deg})` });
  const outer = outline(w, w.build_mm);
  outer.setAttribute("class", "copper");
  const inner = outline(w, 0);
  inner.setAttribute("class", "bore");
  body.append(outer, inner);
  group.append(body);
  if (options.next === c.id) {
    const ring = outline(w, w.build_mm + size * 0.09);
    ring.setAttribute("class", "next-ring");
    const turned = svg("g", { transform: `rotate(${-c.turned_deg})` }, ring);
    group.append(turned);
  }
  const face = faceShown(c.north === "up" ? 1 : -1, state, options.faces?.[c.id] ?? (options.asks ? 0 : undefined));
  const sign = faceSign(face, size * 0.1);
  sign.setAttribute("transform", `translate(0 ${-size * 0.3})`);
  if (face !== 0) group.append(sign);
  const name = fitName(c.id, size * 0.24, size * 0.85);
  group.append(svg("text", { class: "coil-name", "text-anchor": "middle", "font-size": name.letter, y: name.letter * 0.35 }, name.text));
  if (state) {
    const k = (size * 0.2) / 17;
    group.append(
      svg("path", { class: "state-shape", d: shapeOf(state), transform: `translate(${-size * 0.1} ${size * 0.17}) scale(${k})` }),
    );
  }
  if (options.values?.[c.id] && !options.small) {
    group.append(svg("text", { class: "coil-value", "text-anchor": "middle", "font-size": size * 0.115, y: size * 0.46 }, options.values[c.id]));
  }
  return group;
}
