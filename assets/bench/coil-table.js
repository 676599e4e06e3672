// Every coil in a table: all that the drawing shows, in words and numbers.
import { el } from "../common/dom.js";
import { percent, stateBadge } from "../common/states.js";
import { microtesla } from "./coil-mark.js";

/** @param {any} state @param {{selected: string | null, onpick: (id: string) => void}} o */
export function coilTable(state, o) {
  const predicted = new Map((state.predicted?.coils || []).map((c) => [c.id, c]));
  const judged = new Map((state.verdict?.coils || []).map((c) => [c.id, c]));
  const rows = state.plan.coils.map((c) => {
    const v = judged.get(c.id);
    const p = predicted.get(c.id);
    const read = v && v.used > 0;
    return el(
      "tr",
      { class: o.selected === c.id ? "selected" : null },
      el("th", { scope: "row" }, el("button", { type: "button", class: "coil-button", "aria-pressed": String(o.selected === c.id), onclick: () => o.onpick(c.id) }, c.id)),
      el("td", {}, read ? stateBadge(v.state) : el("span", { class: "note" }, "not read")),
      el("td", {}, read ? percent(Math.max(...Object.values(v.p))) : ""),
      el("td", {}, read ? microtesla(v.expected_uT) : p ? microtesla(p.bz_uT) : ""),
      el("td", {}, v?.measured_uT != null ? microtesla(v.measured_uT) : ""),
      el("td", {}, p ? `${p.amps.toFixed(2)}` : ""),
    );
  });
  return el(
    "div",
    { class: "scroll", tabindex: "0", role: "region", "aria-label": "All coils" },
    el(
      "table",
      { class: "coils-table" },
      el("caption", { class: "out-of-sight" }, "Every coil: what is claimed, how sure, the field planned and read in microtesla, the current planned in amperes"),
      el("thead", {}, el("tr", {}, ...["coil", "is", "sure", "planned uT", "read uT", "planned A"].map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, ...rows),
    ),
  );
}
