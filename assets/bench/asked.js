// The next reading asked for, drawn where it is to be taken: the outline of a
// phone over the coil, turned and shifted as asked.
import { svg } from "../common/dom.js";

const BODY = { width: 74, height: 150, mark: 62 }; // millimetres, as the made-up phone's

export class Asked {
  /** @param {any} drawing */
  constructor(drawing) {
    this.node = svg("g", { class: "asked", "aria-hidden": "true" });
    this.drawing = drawing;
  }

  /** @param {any} state null: nothing is asked for */
  show(state) {
    const n = state?.verdict?.next;
    const c = n && state.prompt?.at === n.at && state.plan.coils.find((k) => k.id === n.at);
    const shift = n?.shift_mm || [0, 0];
    // A hold as any other needs no drawing: the coil itself is marked. Where a compass
    // lies its phone shows.
    if (!c || state.prompt.shown || n.route === "ohms" || (typeof n.top_deg !== "number" && !n.shift_mm)) {
      this.node.remove();
      return;
    }
    const { width, height, mark } = BODY;
    this.node.setAttribute("transform", `translate(${c.x_mm + shift[0]} ${-(c.y_mm + shift[1])}) rotate(${-(n.top_deg || 0)})`);
    this.node.replaceChildren(
      svg("rect", { class: "asked-body", x: -width / 2, y: -mark, width, height, rx: 12 }),
      svg("path", { class: "asked-top", d: `M0 ${-mark - 4}v-13m-5 6l5-6l5 6` }),
      svg("path", { class: "asked-mark", d: "M-10 0h20M0-10v20" }),
    );
    this.drawing.under.append(this.node);
  }
}
