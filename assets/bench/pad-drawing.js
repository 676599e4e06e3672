// The pad drawn large and to scale, seen from above, y away from the person. It
// is built once for a plan; what is known of the coils is changed in place, so
// that two hundred coils and ten readings a second do not hold the page up.
import { el, svg } from "../common/dom.js";
import { placeLabels } from "../common/far-labels.js";
import { shortName } from "../common/names.js";
import { bounds, drawName, PATTERNS } from "../common/pad.js";
import { CoilMark, NAME_SIZE } from "./coil-mark.js";
import { leads } from "./leads.js";
import { View } from "./view.js";

const NEAR_PX = 40; // a bore with at least so many pixels of radius shows words and numbers
const NAME_PX = 8; // a name in its coil is larger, or it is not there
const LETTER_PX = 11; // of names that stand beside their coils then
const STEPS_MM = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];

let drawings = 0; // on this page

export class PadDrawing {
  /**
   * @param {HTMLElement} place
   * @param {{onpick: (id: string, e: Event) => void, buttons: HTMLElement, keys?: string, onnear?: (near: "all" | "some" | "none") => void}} o keys: what the keys do here, in words; onnear: which coils have room for figures
   */
  constructor(place, o) {
    this.o = o;
    this.geometry = "";
    this.sight = null;
    this.grid = `grid-${++drawings}`;
    /** @type {Map<string, CoilMark>} */
    this.marks = new Map();
    /** Leads and ends as drawn, by string. @type {Map<string, {key: string, leads: Element, ends: Element}>} */
    this.runs = new Map();
    this.svg = /** @type {SVGSVGElement} */ (svg("svg", { class: "pad large", role: "group" }));
    this.view = new View(this.svg, (box, scale) => this.seen(box, scale));
    this.map = svg("g", { class: "map-layer" });
    this.under = svg("g", { class: "under" }); // what lies over the coils and under a phone
    this.overlay = svg("g", { class: "overlay" });
    this.coils = svg("g", { class: "coils" });
    this.svg.addEventListener("keydown", (e) => this.key(e));
    const button = (label, text, act) => el("button", { type: "button", class: "view-button", "aria-label": label, title: label, onclick: act }, text);
    place.replaceChildren(this.view.node);
    o.buttons.replaceChildren(
      button("Closer", "+", () => this.view.zoom(1.4)),
      button("Farther", "−", () => this.view.zoom(1 / 1.4)),
      button("Fit the whole pad", "Fit", () => this.view.fit()),
    );
  }

  /**
   * Draws a plan. What stays of the one before keeps its place in the page, and
   * with it the pointer and the focus.
   * @param {any} plan
   * @param {"fit" | "keep" | "still"} [view] show all of a plan of another size; keep what is seen;
   *   or leave even the bounds alone, while something is being moved
   */
  setPlan(plan, view = "fit") {
    const key = JSON.stringify([plan.name, plan.outline_mm, plan.windings, plan.coils, plan.strings]);
    if (key === this.geometry && view !== "keep") return;
    const sameSize = this.plan && JSON.stringify(bounds(this.plan)) === JSON.stringify(bounds(plan));
    this.geometry = key;
    this.plan = plan;
    const runs = leads(plan);
    this.keepMarks(plan);
    const size = bounds(plan);
    const large = Math.min(2, Math.max(1, (size.x1 - size.x0) / 900)); // words on a large pad are larger, or nobody could read them
    const outlined = plan.outline_mm[0] > 0;
    const edge = { x: 0, y: -plan.outline_mm[1], width: plan.outline_mm[0], height: plan.outline_mm[1], rx: 10 };
    const sheet = outlined ? [svg("rect", { class: "pad-outline", ...edge }), svg("rect", { class: "paper-grid", ...edge, fill: `url(#${this.grid})` })] : [];
    this.svg.setAttribute("aria-label", `The pad ${plan.name}, seen from above. ${this.o.keys || "Arrow keys go from coil to coil, plus and minus zoom, 0 shows all."}`);
    if (!this.parts) {
      this.parts = Object.fromEntries(["sheet", "leads", "ends", "scale", "names"].map((name) => [name, svg("g", { class: name })]));
      this.svg.replaceChildren(patterns(this.grid), this.parts.sheet, this.map, this.parts.leads, this.coils, this.parts.ends, this.parts.scale, this.parts.names, this.under, this.overlay);
    }
    this.touched = ""; // ends may have been made anew
    this.parts.sheet.replaceChildren(...sheet);
    this.keepRuns(runs, large);
    if (view === "still") return;
    const b = bounds(plan);
    for (const e of runs.flatMap((r) => r.ends)) {
      b.x0 = Math.min(b.x0, e.to.x - 4);
      b.x1 = Math.max(b.x1, e.to.x + 4);
      b.y0 = Math.min(b.y0, -e.to.y - 4);
      b.y1 = Math.max(b.y1, -e.to.y + 4);
    }
    const margin = Math.max(b.x1 - b.x0, b.y1 - b.y0) * 0.02 + 6;
    const letter = Math.max(9, (b.x1 - b.x0) * 0.022); // of the scale bar
    this.forScale = 2.4 * letter; // the lowest strip
    const home = { x: b.x0 - margin, y: -b.y1 - margin, w: b.x1 - b.x0 + 2 * margin, h: b.y1 - b.y0 + 2 * margin + this.forScale };
    this.svg.style.setProperty("--pad-shape", `${home.w} / ${home.h}`);
    this.parts.scale.replaceChildren(scaleBar(home, Math.max(b.x1 - b.x0, 1), letter));
    if (this.view.zoomed && view === "keep") this.view.setBounds(home);
    else if (!sameSize || !this.view.zoomed) this.view.setHome(home.x, home.y, home.w, home.h);
  }

  /** Marks of coils that are the same but for their place are moved, the others made. */
  keepMarks(plan) {
    const windings = new Map(plan.windings.map((w) => [w.id, w]));
    const focused = this.coils.contains(document.activeElement) ? /** @type {any} */ (document.activeElement).dataset.coil : null;
    const before = this.marks;
    this.marks = new Map();
    for (const c of plan.coils) {
      const winding = windings.get(c.winding);
      let mark = before.get(c.id);
      if (mark?.sameAs(c, winding)) {
        mark.place(c);
        before.delete(c.id);
      } else {
        mark = new CoilMark(c, winding);
        mark.node.addEventListener("click", (e) => this.o.onpick(c.id, e));
        this.coils.append(mark.node);
      }
      this.marks.set(c.id, mark);
    }
    for (const m of before.values()) m.node.remove();
    // String by string, in which order they are read out; a coil added later stands with its own.
    let last = null;
    for (const id of new Set([...plan.strings.flatMap((s) => s.coils), ...this.marks.keys()])) {
      const m = this.marks.get(id);
      if (!m) continue;
      const next = last ? last.nextSibling : this.coils.firstChild;
      if (next !== m.node) this.coils.insertBefore(m.node, next);
      last = m.node;
    }
    if (this.sight) this.seen(...this.sight, true);
    if (focused && !this.coils.contains(document.activeElement)) this.focus(focused);
    if (!this.coils.querySelector('[tabindex="0"]')) this.first();
  }

  /** Draws leads and ends of strings anew where they are others: of two hundred coils all of them take longer than a frame. */
  keepRuns(runs, large) {
    const before = this.runs;
    this.runs = new Map();
    for (const run of runs) {
      const key = JSON.stringify([run, large]);
      let drawn = before.get(run.string);
      if (drawn?.key !== key) {
        const next = { key, leads: drawRun(run), ends: svg("g", {}, ...drawEnds(run, large)) };
        for (const part of ["leads", "ends"]) drawn ? drawn[part].replaceWith(next[part]) : this.parts[part].append(next[part]);
        drawn = next;
      }
      before.delete(run.string);
      this.runs.set(run.string, drawn);
    }
    for (const gone of before.values()) for (const part of ["leads", "ends"]) gone[part].remove();
  }

  /** @param {Map<string, import("./coil-mark.js").Look>} looks */
  show(looks) {
    let others = false;
    for (const [id, look] of looks) if (this.marks.get(id)?.show(look)) others = true;
    this.nameFar(others);
  }

  /** Numbers the string ends, or the pad's, that a step of a mend exchanges. @param {Map<string, number>} steps */
  touch(steps) {
    const key = JSON.stringify([...steps]);
    if (key === this.touched || !this.parts) return;
    this.touched = key;
    for (const end of this.parts.ends.querySelectorAll("[data-string]")) {
      const n = steps.get(end.dataset.string) || steps.get("pad");
      end.classList.toggle("is-touched", Boolean(n));
      end.querySelector(".step")?.remove();
      if (n) end.append(svg("g", { class: "step", transform: "translate(0 -13)" }, svg("circle", { r: 7 }), svg("text", { "text-anchor": "middle", y: 3.4, "font-size": 9.5 }, String(n))));
    }
  }

  /** Words and numbers for the coils in sight, where they are near enough: to change all of two hundred takes longer than a frame. */
  seen(box, scale, others = false) {
    this.sight = [box, scale];
    let r = Infinity;
    for (const m of this.marks.values()) r = Math.min(r, m.r);
    const coils = [...this.marks.values()];
    const roomy = (m) => m.r * scale >= NEAR_PX;
    this.o.onnear?.(coils.every(roomy) ? "all" : coils.some(roomy) ? "some" : "none");
    this.svg.classList.toggle("is-tiny", r * NAME_SIZE * scale < NAME_PX);
    for (const m of this.marks.values()) {
      const { x_mm: x, y_mm: y } = m.coil;
      m.near(roomy(m) && x + m.reach > box.x && x - m.reach < box.x + box.w && -y + m.reach > box.y && -y - m.reach < box.y + box.h);
    }
    this.nameFar(others);
  }

  /** Names beside the coils, where the drawing is too small for names in them. @param {boolean} others whether others may be wanted now */
  nameFar(others) {
    if (!this.parts || !this.sight) return;
    const tiny = this.svg.classList.contains("is-tiny");
    const letter = tiny ? LETTER_PX / 1.2 ** Math.round(Math.log(this.sight[1]) / Math.log(1.2)) : 0; // not another one at each step of a wheel
    if (letter === this.letter && !others) return;
    this.letter = letter;
    const spots = tiny ? [...this.marks.values()].map((m) => m.spot()) : [];
    const key = JSON.stringify([letter, spots]);
    if (key === this.named) return;
    this.named = key;
    const room = { ...this.view.home, h: this.view.home.h - this.forScale };
    this.parts.names.replaceChildren(...placeLabels(spots, room, letter).map((l) => drawName(l, letter, this.marks.get(l.id).look?.state)));
  }

  /** Where a pointer is, millimetres of the pad frame. */
  toPad(e) {
    const p = this.view.point(e);
    return { x: p.x, y: -p.y };
  }

  first() {
    const first = this.marks.values().next().value;
    if (first) first.node.setAttribute("tabindex", "0");
  }

  /** Puts the focus on the coil that Tab would lead to. */
  enter() {
    /** @type {any} */ (this.coils.querySelector('[tabindex="0"]'))?.focus({ preventScroll: true });
  }

  focus(id) {
    for (const m of this.marks.values()) m.node.setAttribute("tabindex", "-1");
    const m = this.marks.get(id);
    if (!m) return;
    m.node.setAttribute("tabindex", "0");
    /** @type {any} */ (m.node).focus({ preventScroll: true });
    this.view.reveal(m.coil.x_mm, -m.coil.y_mm, m.r + m.winding.build_mm);
  }

  key(e) {
    if (this.view.key(e)) return;
    const at = e.target.closest?.("[data-coil]")?.dataset.coil;
    if (!at) return;
    if (e.key === "Enter" || e.key === " ") {
      e.preventDefault();
      this.o.onpick(at, e);
      return;
    }
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
    if (!way) return;
    e.preventDefault();
    const here = this.marks.get(at).coil;
    let best = null;
    let least = Infinity;
    for (const { coil } of this.marks.values()) {
      const along = (coil.x_mm - here.x_mm) * way[0] + (coil.y_mm - here.y_mm) * way[1];
      const aside = Math.abs((coil.x_mm - here.x_mm) * way[1]) + Math.abs((coil.y_mm - here.y_mm) * way[0]);
      if (along > 1 && along + 2 * aside < least) [best, least] = [coil.id, along + 2 * aside];
    }
    if (best) this.focus(best);
  }
}

/** @param {string} id */
function patterns(id) {
  return svg(
    "defs",
    {},
    svg("pattern", { id, width: 10, height: 10, patternUnits: "userSpaceOnUse" }, svg("path", { class: "grid-line", d: "M10 0H0V10" })),
  );
}

/** @param {import("./leads.js").Run} run */
function drawRun(run) {
  const dash = PATTERNS[run.index % PATTERNS.length];
  const line = (a, b, name = "") => svg("path", { class: `lead string-${run.index % PATTERNS.length} ${name}`, "stroke-dasharray": dash, d: `M${a.x} ${a.y}L${b.x} ${b.y}` });
  return svg("g", { class: "run" }, ...run.hops.map((h) => line(h.from, h.to)), ...run.ends.map((e) => line(e.from, e.to)));
}

/** @param {import("./leads.js").Run} run @param {number} large */
function drawEnds(run, large) {
  const plus = run.plus.map((p) =>
    svg("g", { class: "plus-mark", transform: `translate(${p.x} ${p.y})` }, svg("circle", { r: 4.4 }), svg("path", { d: "M-2.4 0h4.8M0-2.4v4.8" })),
  );
  const ends = run.ends.map((e) => {
    const words = `${shortName(run.string, 7)} ${e.sign === "+" ? "+" : "−"}`;
    const half = 4 + words.length * 3.1;
    return svg(
      "g",
      { class: `string-end string-${run.index % PATTERNS.length}`, "data-string": run.string, transform: `translate(${e.to.x} ${e.to.y}) scale(${large})` },
      svg("rect", { x: -half, y: -7, width: 2 * half, height: 14, rx: 7 }),
      svg("text", { "text-anchor": "middle", y: 3.6, "font-size": 10 }, words),
    );
  });
  return [...plus, ...ends];
}

/** A length to compare with, as large as its letters ask for. */
function scaleBar(home, width, letter) {
  const step = STEPS_MM.findLast((s) => s <= width / 4) || 1;
  const y = home.y + home.h - letter;
  const x = home.x + 1.1 * letter;
  const tick = 0.44 * letter;
  return svg(
    "g",
    { class: "scale-bar" },
    svg("path", { d: `M${x} ${y - tick}v${2 * tick}M${x} ${y}h${step}M${x + step} ${y - tick}v${2 * tick}`, "stroke-width": letter * 0.15 }),
    svg("text", { x: x + step + 0.7 * letter, y: y + tick, "font-size": letter }, `${step} mm`),
  );
}
