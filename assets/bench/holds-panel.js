// Every hold: its samples plotted, and a way to throw it out and take it again.
import { el, svg } from "../common/dom.js";
import { ask } from "./live.js";

const SHOWN = 60;

/** @param {HTMLElement} place @param {any} state @param {(e: Error) => void} ontrouble */
export function showHolds(place, state, ontrouble) {
  const holds = state.holds.filter((h) => !h.open).slice(-SHOWN).reverse();
  const lastOf = new Map();
  for (const h of state.holds) lastOf.set(h.at, h);
  place.replaceChildren(
    el("h2", { id: "holds-title" }, "Readings"),
    holds.length === 0 ? el("p", { class: "note" }, "Each hold appears here with its samples: z thick, x thin, y dashed, phone axes.") : null,
    ...holds.map((h) =>
      el(
        "div",
        { class: "hold" },
        el("span", {}, el("strong", {}, h.at), ` at ${h.t.toFixed(0)} s, ${h.count || h.bearings} readings`, h.mean_uT ? `, mean ${h.mean_uT.map((v) => v.toFixed(0)).join(", ")} uT` : ""),
        lastOf.get(h.at) === h
          ? el(
              "button",
              { type: "button", "aria-label": `Throw out the last hold on ${h.at}`, onclick: () => ask("api/captures/undo", { at: h.at }).catch(ontrouble) },
              "Throw out",
            )
          : null,
        plot(h),
      ),
    ),
  );
}

function plot(h) {
  if (h.samples.length < 2) return null;
  const t0 = h.samples[0][0];
  const span = h.samples.at(-1)[0] - t0 || 1;
  const all = h.samples.flatMap((s) => s.slice(1));
  const low = Math.min(...all);
  const high = Math.max(...all, low + 1);
  const line = (a) => h.samples.map((s) => `${(((s[0] - t0) / span) * 300).toFixed(1)},${(52 - ((s[a] - low) / (high - low)) * 50).toFixed(1)}`).join(" ");
  return svg(
    "svg",
    { viewBox: "0 0 300 54", preserveAspectRatio: "none", role: "img", "aria-label": `Samples over ${h.at}, from ${low.toFixed(0)} to ${high.toFixed(0)} microtesla` },
    ...["x", "y", "z"].map((n, i) => svg("polyline", { class: `plot-${n}`, points: line(i + 1) })),
  );
}
