// Every hold: its samples plotted, and a way to throw it out and take it again.
import { el } from "../common/dom.js";
import { holdPlot } from "./hold-plot.js";
import { ask } from "./live.js";

const SHOWN = 24;

/**
 * @param {HTMLElement} place @param {any} state
 * @param {{selected: string | null, onpick: (id: string | null) => void, ontrouble: (e: Error) => void}} o
 */
export function showHolds(place, state, o) {
  const finished = (state.holds || []).filter((h) => !h.open);
  const holds = finished.filter((h) => !o.selected || h.at === o.selected);
  const key = JSON.stringify([state.check.id, o.selected, holds.map((h) => [h.source, h.at, h.t, h.count, h.thrown_out, h.expected_uT])]);
  if (place.dataset.key === key) return;
  place.dataset.key = key;
  const opened = new Set([...place.querySelectorAll("details[open]:not([data-newest])")].map((d) => /** @type {HTMLElement} */ (d).dataset.hold));
  const lastOf = new Map();
  for (const h of finished) if (!h.thrown_out) lastOf.set(h.at, h);
  const shown = holds.slice(-SHOWN).reverse();
  const parts = [el("h2", { id: "holds-title", class: "kicker" }, o.selected ? `Readings of ${o.selected}` : "Readings")];
  if (o.selected) parts.push(el("p", {}, el("button", { type: "button", class: "small", onclick: () => o.onpick(null) }, "Show all coils")));
  if (holds.length === 0) {
    const words = o.selected ? `Nothing has been read of ${o.selected} yet. Lay the phone on it.` : "Each hold appears here with its samples as the phone gave them.";
    parts.push(el("p", { class: "note" }, words));
  } else {
    parts.push(el("p", { class: "note" }, "Phone axes, in microtesla: x across the screen, y along it, z out of it."));
  }
  parts.push(...shown.map((h, i) => holdRow(h, { last: lastOf.get(h.at) === h, newest: i === 0, open: i === 0 || opened.has(nameOf(h)) }, o)));
  if (holds.length > SHOWN) parts.push(el("p", { class: "note" }, `${holds.length - SHOWN} earlier ones are not shown. Pick a coil to see its own.`));
  place.replaceChildren(...parts);
}

function nameOf(h) {
  return `${h.source} ${h.t}`;
}

function holdRow(h, { last, newest, open }, o) {
  const mean = h.mean_uT || h.measured_uT;
  const throwOut = el(
    "button",
    {
      type: "button",
      class: "small throw-out",
      "aria-label": `Throw out and take again the last hold on ${h.at}`,
      onclick: (e) => {
        e.target.disabled = true;
        ask("api/captures/undo", { at: h.at }).catch((err) => {
          e.target.disabled = false;
          o.ontrouble(err);
        });
      },
    },
    "Throw out and take again",
  );
  return el(
    "details",
    { class: h.thrown_out ? "hold thrown" : "hold", open, "data-newest": newest, "data-hold": nameOf(h) },
    el("summary", {}, el("strong", {}, h.at), ` at ${h.t.toFixed(0)} s, ${h.count || h.bearings || 0} readings`, h.thrown_out ? ", thrown out" : ""),
    holdPlot(h),
    el(
      "div",
      { class: "row" },
      mean ? el("span", { class: "note" }, `mean ${mean.map((v) => v.toFixed(1).replace("-", "−")).join(", ")} uT`) : null,
      last ? throwOut : null,
    ),
  );
}
