// The verdict in words: outcome, causes with their mends, the next reading, and
// every coil in a table, which says all that the drawing shows.
import { el } from "../common/dom.js";
import { percent, stateBadge } from "../common/states.js";

const OUTCOMES = {
  "as-planned": ["as-planned", "As planned"],
  fault: ["reversed", "Something is wrong"],
  undecided: ["undecided", "Not decided yet"],
};

/** @param {any} m */
export function mendWords(m) {
  switch (m.do) {
    case "flip":
      return `Turn ${m.id} over, or swap its leads`;
    case "swap-string":
      return `Swap the ends of string ${m.id}`;
    case "swap-pad":
      return "Swap the pad's two leads at its plug";
    case "rejoin":
      return `Rejoin ${m.id}`;
    case "remake-joint":
      return `Make the joint of ${m.id} anew`;
    case "replace":
      return `Replace ${m.id}`;
    default:
      return `${m.do} ${m.id || ""}`;
  }
}

/** @param {HTMLElement} place @param {any} state */
export function showVerdict(place, state) {
  const v = state.verdict;
  const read = (v?.coils || []).some((c) => c.used > 0);
  const parts = [el("h2", { id: "verdict-title" }, "Verdict")];
  if (!v || !read) {
    parts.push(el("p", { class: "outcome" }, stateBadge("undecided", "Nothing read yet")));
    parts.push(el("p", {}, "Scan the code with a phone and lay it on the coils, or rehearse without one."));
  } else {
    const [shape, word] = OUTCOMES[v.outcome];
    parts.push(el("p", { class: "outcome" }, stateBadge(shape, word)));
    if (v.outcome === "as-planned") parts.push(el("p", {}, "Every coil faces as planned."));
    const sure = v.outcome === "fault" && v.causes[0]?.p >= 0.9;
    for (const [i, c] of v.causes.entries()) {
      if (i > 0 && (c.p < 0.02 || (sure && i > 1))) break;
      if (v.outcome !== "fault" && c.p < 0.05) break;
      parts.push(
        el(
          "div",
          { class: "cause" },
          el("span", { class: "p" }, `${i === 0 ? "Likeliest cause" : "Or"}, ${percent(c.p)}`),
          el("div", {}, c.say),
          c.mend.length > 1 ? el("p", { class: "mend" }, `${c.mend.length} actions: ${c.mend.map(mendWords).join("; ")}.`) : null,
        ),
      );
    }
    if (v.next) parts.push(el("p", { class: "next" }, el("strong", {}, `Next: ${v.next.at}. `), v.next.why));
    for (const n of v.notes) parts.push(el("p", { class: "note" }, n));
  }
  parts.push(coilTable(state));
  place.replaceChildren(...parts);
}

function coilTable(state) {
  const predicted = new Map((state.predicted?.coils || []).map((c) => [c.id, c]));
  const rows = state.plan.coils.map((c) => {
    const v = state.verdict?.coils?.find((k) => k.id === c.id);
    const p = predicted.get(c.id);
    return el(
      "tr",
      {},
      el("th", { scope: "row" }, c.id),
      el("td", {}, v && v.used > 0 ? stateBadge(v.state) : "not read"),
      el("td", {}, v && v.used > 0 ? percent(Math.max(...Object.values(v.p))) : ""),
      el("td", {}, v && v.used > 0 ? v.expected_uT.toFixed(0) : p ? p.bz_uT.toFixed(0) : ""),
      el("td", {}, v?.measured_uT != null ? v.measured_uT.toFixed(0) : ""),
      el("td", {}, p ? p.ohms.toFixed(2) : ""),
    );
  });
  return el(
    "div",
    { class: "scroll", tabindex: "0", role: "region", "aria-label": "All coils" },
    el(
      "table",
      {},
      el("thead", {}, el("tr", {}, ...["coil", "is", "sure", "planned uT", "read uT", "ohm"].map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, ...rows),
    ),
  );
}
