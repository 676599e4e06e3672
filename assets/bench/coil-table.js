// Every coil in a table: all that the drawing shows, in words and numbers.
import { el } from "../common/dom.js";
import { percent, stateBadge } from "../common/states.js";
import { microtesla } from "./coil-mark.js";
import { taps } from "./figures/taps.js";

/** @param {any} state @param {{selected: string | null, onpick: (id: string) => void}} o */
export function coilTable(state, o) {
  const predicted = new Map((state.predicted?.coils || []).map((c) => [c.id, c]));
  const judged = new Map((state.verdict?.coils || []).map((c) => [c.id, c]));
  const rows = state.plan.coils.map((c) => {
    const v = judged.get(c.id);
    const p = predicted.get(c.id);
    const read = v && v.used > 0;
    const row = el(
      "tr",
      { class: o.selected === c.id ? "selected" : null },
      el("th", { scope: "row" }, el("button", { type: "button", class: "coil-button", "aria-pressed": String(o.selected === c.id), onclick: () => o.onpick(c.id) }, c.id)),
      el("td", {}, read ? stateBadge(v.state) : el("span", { class: "note" }, "not read")),
      el("td", {}, read ? percent(Math.max(...Object.values(v.p))) : ""),
      el("td", {}, read ? microtesla(v.expected_uT) : p ? microtesla(p.bz_uT) : ""),
      el("td", {}, v?.measured_uT != null ? microtesla(v.measured_uT) : ""),
    );
    return o.selected === c.id ? [row, el("tr", { class: "selected" }, el("td", { colspan: 5, class: "taps-cell" }, taps.for(c.id, state.check.id)))] : [row];
  });
  return el(
    "div",
    { class: "scroll", tabindex: "0", role: "region", "aria-label": "All coils" },
    el(
      "table",
      { class: "coils-table" },
      el("caption", { class: "out-of-sight" }, "Every coil: what is claimed, how sure, the field expected at the sensor and read, in microtesla"),
      el("thead", {}, el("tr", {}, ...["coil", "is", "sure", "expected", "read"].map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, ...rows.flat()),
    ),
    strings(state),
  );
}

/** What each string is planned to take: unequal strings in parallel differ with nothing wrong. */
function strings(state) {
  const p = state.predicted;
  if (!p?.strings) return el("p", { class: "note" }, "Fields in microtesla, where the sensor lies.");
  const one = (s) => `${s.id} ${s.amps.toFixed(2)} A, ${s.ohms.toFixed(2)} ohm`;
  return el("p", { class: "note" }, `Fields in microtesla, where the sensor lies. Planned for the strings: ${p.strings.map(one).join("; ")}. Pad ${p.pad.amps.toFixed(2)} A at ${p.pad.volts.toFixed(1)} V.`);
}
