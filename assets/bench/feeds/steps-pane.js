// How the sensor's axes lie in the device, found from four ways of laying it down.
import { el, setText, svg } from "../../common/dom.js";
import { keepTyping } from "../kept.js";

const STEPS = [
  { id: "flat", say: "Lay it flat, face up, its top edge away from you.", draw: () => slab({ top: "up", word: "face" }) },
  { id: "quarter", say: "Turn it a quarter to the left, still flat: its top edge points to your left.", draw: () => slab({ top: "left", word: "face" }) },
  { id: "on-top", say: "Turn it back as in step 1. Lift the edge near you until it stands on its top edge: its face looks away from you.", draw: () => slab({ top: "down", word: "back" }) },
  { id: "on-left", say: "Lay it back as in step 1. Lift its right edge until it stands on its left edge: its face looks to the left.", draw: () => upright() },
];

/** A slab as the person sees it; the thick edge is its top edge. */
function slab({ top, word }) {
  const wide = top === "left";
  const [x, y, w, h] = wide ? [6, 17, 52, 30] : [17, 6, 30, 52];
  const edge = { up: `M${x} ${y}h${w}`, left: `M${x} ${y}v${h}`, down: `M${x} ${y + h}h${w}` }[top];
  return svg(
    "svg",
    { viewBox: "0 0 64 64", class: "step-drawing", "aria-hidden": "true" },
    svg("rect", { x, y, width: w, height: h, rx: 3, class: word === "back" ? "step-slab back" : "step-slab" }),
    svg("path", { d: edge, class: "step-edge" }),
    svg("text", { x: 32, y: 36, "text-anchor": "middle", "font-size": 11, class: "step-word" }, word),
  );
}

/** Seen along the table: on its left edge, the face to the left. */
function upright() {
  return svg(
    "svg",
    { viewBox: "0 0 64 64", class: "step-drawing", "aria-hidden": "true" },
    svg("rect", { x: 38, y: 8, width: 8, height: 48, rx: 2, class: "step-slab" }),
    svg("path", { d: "M34 32h-22m7 -6l-7 6l7 6", class: "step-arrow" }),
    svg("text", { x: 20, y: 22, "text-anchor": "middle", "font-size": 11, class: "step-word" }, "face"),
    svg("path", { d: "M4 57h56", class: "step-table" }),
  );
}

const HALF = "polewise-half";

export class StepsPane {
  /** @param {any} f @param {import("./source-view.js").Tools} tools */
  constructor(f, tools) {
    this.tools = tools;
    this.source = f.source;
    this.rows = STEPS.map((s, i) => {
      const done = el("span", { class: "step-done" });
      const button = /** @type {HTMLButtonElement} */ (el("button", { type: "button", "data-step": s.id, onclick: () => tools.tryTo(() => this.look(s.id)) }, "It lies so"));
      return { ...s, done, button, node: el("li", { class: "step" }, s.draw(), el("div", {}, el("p", {}, `${i + 1}. ${s.say}`), el("p", { class: "step-do" }, button, done))) };
    });
    const remembered = localStorage.getItem(HALF) || "";
    this.half = /** @type {HTMLSelectElement} */ (
      el(
        "select",
        { name: "half", onchange: (e) => localStorage.setItem(HALF, e.target.value) },
        el("option", { value: "" }, "choose"),
        el("option", { value: "north" }, "north of the equator"),
        el("option", { value: "south" }, "south of the equator"),
        el("option", { value: "unknown" }, "near it, or not known"),
      )
    );
    this.half.value = remembered;
    this.solve = el("button", { type: "button", class: "main solve", onclick: () => tools.tryTo(() => this.workOut()) }, "Work out the axes");
    this.words = el("p", { class: "solved", role: "status" });
    this.as = /** @type {HTMLInputElement} */ (el("input", { type: "text", maxlength: 40, name: "as", value: f.dialect?.name || f.source }));
    keepTyping(this.as, `as ${f.source}`);
    this.atSensor = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox", name: "at-sensor" }));
    this.keep = el(
      "form",
      { class: "keep", hidden: true, onsubmit: (e) => (e.preventDefault(), tools.tryTo(() => tools.act("keep", { source: this.source, name: this.as.value, at_sensor: this.atSensor.checked }))) },
      el("label", { class: "feed-choice" }, el("span", {}, "Keep it under the name"), this.as),
      el("label", { class: "feed-check" }, this.atSensor, " I know where the sensor is in it, and lay that spot on the coil's centre"),
      el("p", { class: "note" }, "Leave the box open when you do not know where in the device the sensor sits."),
      el("button", { type: "submit", class: "main" }, "Keep and use"),
    );
    this.node = el(
      "div",
      {},
      el("h3", {}, "How it lies"),
      el("p", {}, "The earth's field tells how the sensor sits in the device. Go away from the pad and from steel, with the supply off. On a bare board, decide which side is its face and which edge its top, and mark them."),
      el("ol", { class: "steps" }, ...this.rows.map((r) => r.node)),
      el("label", { class: "feed-choice" }, el("span", {}, "This bench stands"), this.half),
      el("div", { class: "row" }, this.solve, el("button", { type: "button", onclick: () => tools.tryTo(() => tools.act("unpick", { source: this.source })) }, "Pick other numbers")),
      this.words,
      this.keep,
    );
  }

  /** @param {any} f */
  show(f) {
    const t = f.teaching;
    if (!t) return;
    this.rows.forEach((r, i) => {
      const taken = i < t.steps.length;
      const next = i === t.steps.length;
      const looking = t.looking && next;
      r.button.disabled = t.looking || i > t.steps.length;
      setText(r.button, looking ? "Looking: keep it still" : taken ? "Take again" : "It lies so");
      r.button.classList.toggle("main", next && !t.looking);
      setText(r.done, taken ? "taken" : "");
      r.node.toggleAttribute("aria-current", next);
    });
    /** @type {any} */ (this.solve).disabled = t.steps.length < STEPS.length || t.looking;
    setText(this.words, t.solved ? `Settled: ${t.solved}, on the right the numbers as you picked them. The field here is ${t.earth_uT.toFixed(0)} uT. ${t.notes.join(" ")}`.trim() : "");
    this.keep.hidden = !t.solved;
  }

  async look(step) {
    await this.tools.act("step", { source: this.source, step });
    const next = this.rows.find((r) => r.button.textContent === "It lies so" && !r.button.disabled);
    if (next) next.button.focus();
    else this.half.focus();
  }

  async workOut() {
    if (!this.half.value) {
      this.half.focus();
      throw new Error("Say on which half of the earth the bench stands: the field points down into the ground in the north, and out of it in the south.");
    }
    await this.tools.act("solve", { source: this.source, half: this.half.value });
    this.as.focus();
  }
}
