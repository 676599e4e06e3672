// The verdict in words: outcome, causes with their mends, the next reading.
import { el } from "../common/dom.js";
import { percent, stateBadge } from "../common/states.js";
import { mendDrawing } from "./mend-drawing.js";

const OUTCOMES = {
  "as-planned": ["as-planned", "As planned"],
  fault: ["reversed", "Something is wrong"],
  undecided: ["undecided", "Not decided yet"],
};

/** @param {any} m one step of a mend */
export function mendWords(m) {
  switch (m.do) {
    case "flip":
      return `Turn coil ${m.id} over, or swap its two leads`;
    case "swap-string":
      return `Swap the two ends of string ${m.id}`;
    case "swap-pad":
      return "Swap the pad's two leads at its plug";
    case "rejoin":
      return `Part ${m.id} and join it where the plan has it`;
    case "remake-joint":
      return `Make the joint of ${m.id} anew`;
    case "replace":
      return `Wind ${m.id} anew and replace it`;
    default:
      return `${m.do} ${m.id || ""}`;
  }
}

/** Coils of the pad that something has been read of. @param {any} state */
export function readCoils(state) {
  return (state.verdict?.coils || []).filter((c) => c.used > 0);
}

/**
 * @param {HTMLElement} place @param {any} state
 * @param {{onrehearse: () => void, onagain: () => void}} o
 */
export function showVerdict(place, state, o) {
  const v = state.verdict;
  const read = readCoils(state).length;
  const parts = [el("h2", { id: "verdict-title", class: "kicker" }, "Verdict")];
  if (!v || read === 0) {
    parts.push(
      el("p", { class: "outcome" }, stateBadge("undecided", "Nothing read yet")),
      el("p", {}, "Scan the code below with a phone and lay it on one coil after another. No phone or no pad at hand? Rehearse with made-up ones; it takes a minute."),
    );
    if (!state.check.rehearsal) parts.push(el("button", { type: "button", class: "main", onclick: o.onrehearse }, "Rehearse now"));
    place.replaceChildren(...parts);
    return;
  }
  const [shape, word] = OUTCOMES[v.outcome] || OUTCOMES.undecided;
  parts.push(el("p", { class: `outcome outcome-${v.outcome}` }, stateBadge(shape, word)));
  parts.push(progress(state, read));
  if (v.outcome === "as-planned") parts.push(el("p", {}, "Every coil faces as planned. The pad may be taped, once the ohms agree as well."));
  if (v.outcome === "fault") parts.push(...causes(state));
  else parts.push(...suspicions(v));
  if (v.next) parts.push(el("p", { class: "next" }, el("strong", {}, `Next: ${v.next.at}. `), v.next.why));
  if (v.outcome === "fault" && !state.check.rehearsal) {
    parts.push(
      el("p", { class: "note" }, "Switch the supply off before you touch a joint. After the mend read again what was touched, then go once over all coils."),
      el("button", { type: "button", id: "mended", onclick: o.onagain }, "It is mended: check again"),
    );
  }
  for (const n of v.notes || []) parts.push(el("p", { class: "note" }, n));
  place.replaceChildren(...parts);
}

function progress(state, read) {
  const claimed = state.verdict.coils.filter((c) => c.state !== "undecided").length;
  const all = state.plan.coils.length;
  return el(
    "p",
    { class: "progress-line" },
    el("progress", { max: all, value: claimed, "aria-label": "coils decided" }),
    el("span", {}, `${claimed} of ${all} coils decided${read < all ? `, ${all - read} not read yet` : ""}`),
  );
}

/** The likeliest cause whole, with its mend; others that are not out of the question. */
function causes(state) {
  const list = state.verdict.causes || [];
  if (list.length === 0) return [el("p", {}, "What causes it is not settled. Read the coils asked for, and measure the ohms.")];
  const [first, ...rest] = list;
  const parts = [
    el(
      "div",
      { class: "cause" },
      el("p", { class: "cause-say" }, first.say),
      el("p", { class: "p" }, `${first.p >= 0.5 ? "Likeliest cause" : "Most likely so far"}, ${percent(first.p)}`),
      mendDrawing(state.plan, first),
      (first.mend || []).length > 0 ? el("ol", { class: "mend" }, ...first.mend.map((m) => el("li", {}, `${mendWords(m)}.`))) : null,
    ),
  ];
  const others = rest.filter((c) => c.p >= (first.p >= 0.95 ? 0.02 : 0.01)).slice(0, 3);
  if (others.length > 0) parts.push(el("details", { class: "others" }, el("summary", {}, "It may also be"), el("ul", {}, ...others.map((c) => el("li", {}, `${c.say} (${percent(c.p)})`)))));
  return parts;
}

/** Before anything is decided: what is suspected, if anything stands out. */
function suspicions(v) {
  const c = (v.causes || []).find((k) => k.p >= 0.2);
  return v.outcome === "undecided" && c ? [el("p", { class: "suspicion" }, `Suspected so far (${percent(c.p)}): ${c.say}`)] : [];
}
