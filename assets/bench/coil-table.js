// Every coil in a table: all that the drawing shows, in words and numbers. The
// table stands as long as the plan does; a row is made anew where it changed.
import { el } from "../common/dom.js";
import { percent, stateBadge, wordOf } from "../common/states.js";
import { microtesla } from "./coil-mark.js";
import { readBefore } from "./mend.js";
import { taps } from "./figures/taps.js";

const MANY = 24; // coils, from which on those that are wrong are named above the table
const MOST_WRONG = 12; // named there
const SCROLLED = 60; // and from which on it scrolls by itself

/** What is shown now, by place. @type {WeakMap<HTMLElement, {key: string, body: HTMLElement, rows: Map<string, {key: string, row: HTMLElement, below: HTMLElement | null}>}>} */
const shown = new WeakMap();

/** @param {HTMLElement} place @param {any} state @param {{selected: string | null, onpick: (id: string) => void, past?: boolean}} o past: to be looked at only */
export function coilTable(place, state, o) {
  const key = JSON.stringify([state.check.id, state.plan.coils.map((c) => c.id), state.predicted?.strings]);
  let table = shown.get(place);
  if (table?.key !== key) {
    table = { key, body: el("tbody", {}), rows: new Map() };
    shown.set(place, table);
    place.replaceChildren(
      el("p", { class: "wrong-ones", hidden: true }),
      el(
        "div",
        { class: "scroll", tabindex: "0", role: "region", "aria-label": "All coils" },
        el(
          "table",
          { class: "coils-table" },
          el("caption", { class: "out-of-sight" }, "Every coil: what is claimed, how sure, the field expected at the sensor and read, in microtesla"),
          el("thead", {}, el("tr", {}, ...["coil", "is, how sure", "expected", "read"].map((h) => el("th", { scope: "col" }, h)))),
          table.body,
        ),
      ),
      strings(state),
    );
    place.classList.toggle("is-long", state.plan.coils.length > SCROLLED);
  }
  const predicted = new Map((state.predicted?.coils || []).map((c) => [c.id, c]));
  const judged = new Map((state.verdict?.coils || []).map((c) => [c.id, c]));
  if (state.plan.coils.length > MANY) nameWrong(/** @type {HTMLElement} */ (place.querySelector(".wrong-ones")), state, o);
  const old = new Set(readBefore(state));
  let before = null;
  for (const c of state.plan.coils) {
    const v = judged.get(c.id);
    const read = v && v.used > 0;
    const selected = o.selected === c.id;
    const cells = {
      state: read ? v.state : "",
      sure: read ? sureWords(v) : "",
      expected: read ? microtesla(v.expected_uT) : predicted.has(c.id) ? microtesla(predicted.get(c.id).bz_uT) : "",
      read: v?.measured_uT != null ? microtesla(v.measured_uT) : read ? howRead(state, c.id) : "",
      old: old.has(c.id),
    };
    const rowKey = JSON.stringify([cells, selected]);
    let held = table.rows.get(c.id);
    if (held?.key !== rowKey) {
      const focused = held?.row.contains(document.activeElement);
      const row = rowOf(c.id, cells, selected, o);
      if (held) held.row.replaceWith(row);
      else if (before) before.after(row);
      else table.body.prepend(row);
      held = { key: rowKey, row, below: held?.below ?? null };
      table.rows.set(c.id, held);
      if (focused) /** @type {any} */ (row.querySelector("button")).focus({ preventScroll: true });
    }
    // The taps stay where they are while the row above them is made anew, so that
    // a verdict that comes in does not take a button from under a finger.
    const tapped = selected && !o.past && !state.sign_off?.signed;
    if (tapped && !held.below) {
      held.below = el("tr", { class: "selected" }, el("td", { colspan: 4, class: "taps-cell" }, taps.element));
      held.row.after(held.below);
    } else if (!tapped && held.below) {
      held.below.remove();
      held.below = null;
    }
    if (tapped) taps.show(c.id, state.check.id);
    before = held.below ?? held.row;
  }
}

/** How sure a claim is; of a coil without one, what is likeliest. @param {any} coil */
function sureWords(coil) {
  const [state, p] = Object.entries(coil.p).reduce((most, one) => (one[1] > most[1] ? one : most));
  const chance = percent(p).replace("over", ">");
  return coil.state === "undecided" ? `${wordOf(state)} ${chance}` : chance;
}

function rowOf(id, cells, selected, o) {
  return el(
    "tr",
    { class: [selected && "selected", cells.old && "is-old"].filter(Boolean).join(" ") || null },
    el("th", { scope: "row" }, el("button", { type: "button", class: "coil-button", "data-coil": id, "aria-pressed": String(selected), onclick: () => o.onpick(id) }, id)),
    el("td", {}, cells.state ? stateBadge(cells.state) : el("span", { class: "note" }, "not read"), cells.sure && " ", cells.sure && el("span", { class: "sure" }, cells.old ? "before the mend" : cells.sure)),
    el("td", {}, cells.expected),
    el("td", {}, cells.read),
  );
}

const FIELDS = "Fields in microtesla, where the sensor lies. Expected of a coil that was read: at the current that the readings show.";

/** What each string is planned to take: unequal strings in parallel differ with nothing wrong. */
function strings(state) {
  const p = state.predicted;
  if (!p?.strings) return el("p", { class: "note" }, FIELDS);
  const one = (s) => `string ${s.id} ${s.amps.toFixed(2)} A through ${s.ohms.toFixed(2)} ohm`;
  return el("p", { class: "note" }, `${FIELDS} Planned: ${p.strings.map(one).join("; ")}; the pad ${p.pad.amps.toFixed(2)} A at ${p.pad.volts.toFixed(1)} V.`);
}

/** How a coil was read of which no size is known. @param {any} state @param {string} id */
export function howRead(state, id) {
  if ((state.passes || []).some((p) => !p.open && !p.thrown_out && p.along.includes(id))) return "by pass";
  return (state.holds || []).some((h) => !h.open && !h.thrown_out && h.at === id && h.bearings > 0) ? "by compass" : "by hand";
}

/** Whether of a coil nothing is known but which face looks up: a needle tells no size. @param {any} state @param {string} id */
export function byNeedle(state, id) {
  const v = state.verdict?.coils.find((c) => c.id === id);
  const faces = (state.faces || []).filter((f) => f.at === id);
  return Boolean(v?.used > 0 && v.measured_uT == null && faces.length > 0 && faces.every((f) => f.uT == null) && howRead(state, id) === "by hand");
}

/** The coils that are not as planned, each to be picked. @param {HTMLElement} place @param {any} state @param {{onpick: (id: string) => void}} o */
function nameWrong(place, state, o) {
  const wrong = (state.verdict?.coils || []).filter((c) => c.used > 0 && c.state !== "as-planned" && c.state !== "undecided");
  const key = JSON.stringify(wrong.map((c) => [c.id, c.state]));
  if (place.dataset.key === key) return;
  place.dataset.key = key;
  place.hidden = wrong.length === 0;
  const name = (c) => el("button", { type: "button", class: "small", onclick: () => o.onpick(c.id) }, `${c.id} ${c.state}`);
  place.replaceChildren("Not as planned: ", ...wrong.slice(0, MOST_WRONG).flatMap((c) => [name(c), " "]), wrong.length > MOST_WRONG ? `and ${wrong.length - MOST_WRONG} more` : "");
}
