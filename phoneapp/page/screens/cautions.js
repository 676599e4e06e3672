// What everybody must see before a pad is driven.
import { el } from "../../common/dom.js";

export function cautions() {
  return el(
    "aside",
    { class: "caution", "aria-label": "Cautions" },
    el("p", {}, el("strong", {}, "Low current only. Never leave a driven pad alone.")),
    el(
      "ul",
      {},
      el("li", {}, "Keep it away from pacemakers, insulin pumps and other implants, from magnetic cards and mechanical watches."),
      el("li", {}, "Use an isolated supply. Stop if a wire gets warm."),
      el("li", {}, "Strong fields can leave this phone's compass and camera disturbed: one more reason for low current."),
    ),
  );
}
