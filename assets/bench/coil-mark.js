// One coil of the large drawing: its copper to scale, its face, what was planned,
// what was read, what is claimed and how sure that is. It is built once and then
// only changed where something changed.
import { svg } from "../common/dom.js";
import { fitName, shortName } from "../common/names.js";
import { faceSign, outline } from "../common/pad.js";
import { percent, shapeOf, wordOf } from "../common/states.js";
import { north } from "../common/north.js";

/** What a coil shows. @typedef {{state: string | null, p: Record<string, number> | null, planned_uT: number | null, measured_uT: number | null, how?: string, before?: boolean, next: boolean, selected: boolean, counting: number | null, fooled: boolean, trouble?: string, order?: number, step?: number, fresh?: boolean}} Look how: it was read, where no size is known; before: it was read before a mend only; step: of the mend that touches it; fresh: claimed just now; trouble: what is wrong with it as planned, in words; order: its place in a string being drawn */

export const NAME_SIZE = 0.58; // of a name in its coil, seen from far, in radii of the bore
const DOUBTS = ["as-planned", "reversed", "weak", "dead"];

/** A number of microtesla with a true minus. @param {number} v */
export function microtesla(v) {
  return v.toFixed(0).replace("-", "−");
}

export class CoilMark {
  /** @param {any} coil @param {any} winding */
  constructor(coil, winding) {
    this.coil = coil;
    this.up = coil.north === "up" ? 1 : -1;
    this.made = shapeKey(coil, winding);
    this.r = Math.min(...winding.inner_mm) / 2;
    this.winding = winding;
    this.reach = Math.hypot(...winding.inner_mm) / 2 + 2 * winding.build_mm + this.r * 0.2; // nothing of it is farther from its middle
    this.shown = "";
    /** @type {Look | null} */
    this.look = null;
    this.isNear = false;
    this.name = svg("title", {});
    const turned = (u, name) => {
      const o = outline(winding, u);
      o.setAttribute("class", name);
      o.setAttribute("transform", `rotate(${-coil.turned_deg})`);
      return o;
    };
    this.live = svg("g", { class: "mark-live", "aria-hidden": "true" });
    this.node = svg(
      "g",
      { class: "coil", transform: `translate(${coil.x_mm} ${-coil.y_mm})`, "data-coil": coil.id, role: "button", tabindex: "-1", "aria-pressed": "false" },
      this.name,
      turned(winding.build_mm + this.r * 0.13, "halo"),
      turned(winding.build_mm, "copper"),
      turned(winding.build_mm / 2, "turns"),
      turned(0, "bore"),
      this.live,
    );
    this.node.style.setProperty("--build", String(winding.build_mm)); // the copper as one stroke, where the field shows through
  }

  /** Whether another coil would be drawn the same but for its place. */
  sameAs(coil, winding) {
    return this.made === shapeKey(coil, winding);
  }

  place(coil) {
    this.coil = coil;
    this.node.setAttribute("transform", `translate(${coil.x_mm} ${-coil.y_mm})`);
  }

  /** Whether it shows words and numbers, or its name alone. @param {boolean} is */
  near(is) {
    if (is === this.isNear) return;
    this.isNear = is;
    this.live.classList.toggle("is-near", is);
  }

  /** @param {Look} look @returns {boolean} whether it was another one */
  show(look) {
    // Figures as they are shown: behind the comma they change with every coil that is moved.
    const key = JSON.stringify([look, this.coil.string], (name, v) => (name.endsWith("_uT") && v !== null ? microtesla(v) : v));
    if (key === this.shown) return false;
    this.shown = key;
    this.look = look;
    const { coil, r } = this;
    this.node.setAttribute("class", ["coil", look.state && `is-${look.state}`, look.next && "is-next", look.selected && "is-selected", look.fooled && "is-fooled", look.trouble && "is-troubled", look.order && "is-ordered", look.fresh && "is-fresh", look.step && "is-touched", look.before && "is-before"].filter(Boolean).join(" "));
    this.node.setAttribute("aria-pressed", String(look.selected));
    this.name.textContent = this.words(look); // names the button as well
    const face = look.state === "reversed" ? -this.up : look.state === "dead" ? 0 : this.up;
    const sign = faceSign(face, r * 0.22);
    if (!look.state || look.state === "undecided") sign.classList.add("only-planned");
    if (face === 0) sign.classList.add("none");
    const text = (name, size, y, content) => svg("text", { class: name, "text-anchor": "middle", "font-size": r * size, y: r * y }, content);
    const glyph = (size, x, y) =>
      svg("path", { class: "state-shape", d: shapeOf(look.state), transform: `translate(${r * (x - size / 2)} ${r * (y - size / 2)}) scale(${(r * size) / 17})` });
    // Within the bore: name, face, word and figures, each where it is wide enough.
    const named = (size, room, y) => {
      const name = fitName(coil.id, size, room);
      return text("coil-name", name.letter, y, name.text);
    };
    const near = svg("g", { class: "near" }, named(0.36, 1.6, -0.52));
    sign.setAttribute("transform", `translate(0 ${-r * 0.16})`);
    near.append(sign);
    const far = svg("g", { class: "far" }, named(NAME_SIZE, 1.8, -0.12));
    const small = faceSign(face, r * 0.24);
    small.setAttribute("class", `${sign.getAttribute("class")}`);
    small.setAttribute("transform", `translate(${look.state ? -r * 0.32 : 0} ${r * 0.4})`);
    far.append(small);
    if (look.state) {
      const word = wordOf(look.state);
      const width = 0.22 * 0.59 * word.length;
      near.append(glyph(0.24, -width / 2 - 0.06, 0.28), svg("text", { class: "coil-word", "font-size": r * 0.22, x: r * (-width / 2 + 0.1), y: r * 0.36 }, word));
      far.append(glyph(0.52, 0.34, 0.4));
    }
    if (look.before || look.how) near.append(text("coil-value", 0.18, 0.65, look.before ? "before the mend" : look.how));
    else if (look.planned_uT !== null) {
      const values = look.measured_uT !== null ? `${microtesla(look.measured_uT)} of ${microtesla(look.planned_uT)}` : `${microtesla(look.planned_uT)} uT`;
      near.append(text("coil-value", look.state ? 0.2 : 0.22, look.state ? 0.66 : 0.46, values));
    }
    // Seen from very far a shape alone: what is claimed, or the face where nothing is.
    const tiny = svg("g", { class: "tiny" });
    if (look.state) tiny.append(look.state === "as-planned" ? glyph(1, 0, 0) : glyph(1.35, 0, 0));
    else {
      const planned = faceSign(this.up, r * 0.42);
      planned.classList.add("only-planned");
      tiny.append(planned);
    }
    const parts = [near, far, tiny];
    if (look.state === "undecided" && look.p) parts.push(this.doubt(look.p));
    if (look.counting !== null) parts.push(this.count(look.counting));
    if (look.order) parts.push(svg("g", { class: "order", transform: `translate(${r * 0.62} ${-r * 0.62})` }, svg("circle", { r: r * 0.3 }), svg("text", { "text-anchor": "middle", "font-size": r * 0.36, y: r * 0.13 }, String(look.order))));
    if (look.step) parts.push(svg("g", { class: "step", transform: `translate(${-r * 0.86} ${-r * 0.86}) scale(${r / 34})` }, svg("circle", { r: 9 }), svg("text", { "text-anchor": "middle", y: 4.4, "font-size": 12 }, String(look.step))));
    if (look.fooled || look.trouble) parts.push(svg("text", { class: "fooled", "text-anchor": "middle", "font-size": r * 0.34, x: r * 0.86, y: -r * 0.74 }, "!"));
    this.live.replaceChildren(...parts);
    return true;
  }

  /** How much its name is wanted where not every name has room, and what is written then. */
  spot() {
    const { look, coil, winding } = this;
    const wrong = look && ["reversed", "dead", "weak"].includes(look.state);
    const always = look && (wrong || look.selected || look.step || look.trouble || look.fooled || look.counting !== null);
    const rank = look?.next ? 0 : always ? 1 : look?.state === "undecided" ? 2 : 3;
    const r = (winding.shape === "round" ? this.r : Math.hypot(...winding.inner_mm) / 2) + winding.build_mm;
    const name = shortName(coil.id, 12);
    return { id: coil.id, text: look?.next ? `next: ${name}` : name, x: coil.x_mm, y: -coil.y_mm, r, rank };
  }

  /** @param {Look} look */
  words(look) {
    const { coil } = this;
    const words = [`Coil ${coil.id}, ${coil.string ? `string ${coil.string}` : "in no string"}, planned ${north().way(coil.north)}`];
    if (look.state) words.push(wordOf(look.state) + (look.p ? likeliest(look.state, look.p) : ""));
    if (look.before) words.push("read before the mend only");
    if (look.how) words.push(`read ${look.how}`);
    else if (look.measured_uT !== null) words.push(`read ${microtesla(look.measured_uT)} of ${microtesla(look.planned_uT)} microtesla`);
    else if (look.planned_uT !== null) words.push(`${microtesla(look.planned_uT)} microtesla planned`);
    if (look.fooled) words.push("a plain check of the sign would have got it wrong");
    if (look.step) words.push(`touched by step ${look.step} of the mend`);
    if (look.next) words.push("to be read next");
    if (look.order) words.push(`number ${look.order} of the string being drawn`);
    if (look.trouble) words.push(look.trouble);
    return words.join(", ");
  }

  /** Doubt as shares of a ring, each kind with its own stroke. @param {Record<string, number>} p */
  doubt(p) {
    // On a round coil the copper itself carries it.
    const w = this.winding;
    const r = w.shape === "round" ? this.r + w.build_mm / 2 : this.r * 0.95;
    const ring = svg("g", { class: "doubt-ring", "stroke-width": w.shape === "round" ? w.build_mm * 0.62 : 3 });
    let from = 0;
    for (const kind of DOUBTS) {
      const share = p[kind] || 0;
      if (share > 0.004) ring.append(svg("path", { class: `doubt-${kind}`, d: arc(r, from, Math.min(0.9999, from + share)) }));
      from += share;
    }
    return ring;
  }

  /** How much of a hold has been counted. @param {number} share */
  count(share) {
    const w = this.winding;
    const r = Math.max(...w.inner_mm) / 2 + w.build_mm + this.r * 0.13;
    return svg("path", { class: "counting", d: arc(r, 0, Math.min(0.9999, share)) });
  }
}

/** How sure a claim is; of what is not decided also what it most likely is. @param {string} state @param {Record<string, number>} p */
function likeliest(state, p) {
  const best = DOUBTS.reduce((a, b) => ((p[b] || 0) > (p[a] || 0) ? b : a));
  return state === "undecided" ? ` (most likely ${wordOf(best)}, ${percent(p[best] || 0)})` : ` (${percent(p[best] || 0)})`;
}

/** All that a coil's mark is built from. */
function shapeKey(coil, winding) {
  return JSON.stringify([coil.id, coil.turned_deg, coil.north, winding]);
}

/** An arc clockwise from the top, between shares of a full turn. */
function arc(r, from, to) {
  const at = (s) => `${(r * Math.sin(2 * Math.PI * s)).toFixed(2)} ${(-r * Math.cos(2 * Math.PI * s)).toFixed(2)}`;
  return `M${at(from)}A${r} ${r} 0 ${to - from > 0.5 ? 1 : 0} 1 ${at(to)}`;
}
