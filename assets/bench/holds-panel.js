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
  const key = JSON.stringify([o.selected, holds.map((h) => [h.source, h.at, h.t, h.count, h.thrown_out, h.expected_uT])]);
  if (place.dataset.key === key) return;
  place.dataset.key = key;
  const lastOf = new Map();
  for (const h of finished) if (!h.thrown_out) lastOf.set(h.at, h);
  place.replaceChildren(
    el("h2", { id: "holds-title", class: "kicker" }, o.selected ? `Readings of ${o.selected}` : "Readings"),
    o.selected ? el("p", {}, el("button", { type: "button", class: "small", onclick: () => o.onpick(null) }, "Show all coils")) : null,
    holds.length === 0
      ? el("p", { class: "note" }, o.selected ? `Nothing has been read of ${o.selected} yet. Lay the phone on it.` : "Each hold appears here with its samples as the phone gave them.")
      : el("p", { class: "note" }, "Phone axes, in microtesla: x across the screen, y along it, z out of it."),
    ...holds
      .slice(-SHOWN)
      .reverse()
      .map((h) => holdRow(h, lastOf.get(h.at) === h, o)),
    holds.length > SHOWN ? el("p", { class: "note" }, `${holds.length - SHOWN} earlier ones are not shown. Pick a coil to see its own.`) : null,
  );
}

function holdRow(h, last, o) {
  const mean = h.mean_uT || h.measured_uT;
  const throwOut = el(
    "button",
    {
      type: "button",
      class: "small",
      "aria-label": `Throw out the last hold on ${h.at} and take it again`,
      onclick: (e) => {
        e.target.disabled = true;
        ask("api/captures/undo", { at: h.at }).catch((err) => {
          e.target.disabled = false;
          o.ontrouble(err);
        });
      },
    },
    "Throw out",
  );
  return el(
    "div",
    { class: h.thrown_out ? "hold thrown" : "hold" },
    el(
      "p",
      {},
      el("button", { type: "button", class: "coil-button", onclick: () => o.onpick(h.at), "aria-label": `Show coil ${h.at}` }, h.at),
      ` at ${h.t.toFixed(0)} s, ${h.count || h.bearings || 0} readings`,
      mean ? `, mean ${mean.map((v) => v.toFixed(0).replace("-", "−")).join(", ")}` : "",
      h.thrown_out ? ", thrown out" : "",
    ),
    last ? throwOut : null,
    holdPlot(h),
  );
}
