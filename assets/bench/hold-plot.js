// The samples of one hold, plotted: each axis with its own stroke, and where they
// are known the background and what was expected.
import { svg } from "../common/dom.js";

const W = 320;
const H = 96;
const LEFT = 40;
const AXES = ["x", "y", "z"];

/** @param {any} h */
export function holdPlot(h) {
  if (!h.samples || h.samples.length < 2) return null;
  const t0 = h.samples[0][0];
  const span = h.samples.at(-1)[0] - t0 || 1;
  const lines = [
    ["rest", h.rest_uT],
    ["expected", h.expected_uT],
    ["rival", h.rival_uT],
  ].filter(([, v]) => Array.isArray(v));
  const all = [...h.samples.flatMap((s) => s.slice(1)), ...lines.flatMap(([, v]) => v)];
  let low = Math.min(...all);
  let high = Math.max(...all);
  const pad = Math.max(2, (high - low) * 0.08);
  low -= pad;
  high += pad;
  const x = (t) => LEFT + ((t - t0) / span) * (W - LEFT - 18);
  const y = (u) => H - 8 - ((u - low) / (high - low)) * (H - 16);
  const parts = [svg("path", { class: "plot-frame", d: `M${LEFT} 8V${H - 8}H${W - 16}` })];
  for (const u of ticks(low, high)) {
    parts.push(svg("path", { class: "plot-grid", d: `M${LEFT} ${y(u)}H${W - 16}` }), svg("text", { class: "plot-text", x: LEFT - 4, y: y(u) + 3.5, "text-anchor": "end", "font-size": 10 }, u.toFixed(0).replace("-", "−")));
  }
  for (const [name, v] of lines) for (let a = 0; a < 3; a++) parts.push(svg("path", { class: `plot-${name}`, d: `M${LEFT} ${y(v[a])}H${W - 16}` }));
  const names = apart(h.samples.at(-1).slice(1).map(y), 11);
  AXES.forEach((axis, a) => {
    parts.push(
      svg("polyline", { class: `plot-${axis}`, points: h.samples.map((s) => `${x(s[0]).toFixed(1)},${y(s[a + 1]).toFixed(1)}`).join(" ") }),
      svg("text", { class: "plot-text", x: W - 13, y: names[a] + 3.5, "font-size": 11 }, axis),
    );
  });
  return svg("svg", { class: "plot", viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": words(h, span) }, ...parts);
}

function words(h, span) {
  const range = (a) => {
    const v = h.samples.map((s) => s[a + 1]);
    return `${AXES[a]} from ${Math.min(...v).toFixed(0)} to ${Math.max(...v).toFixed(0)}`;
  };
  return `${span.toFixed(1)} seconds over ${h.at}: ${[0, 1, 2].map(range).join(", ")} microtesla`;
}

/** Moves heights apart so that what is written there does not overlap. @param {number[]} at @param {number} least */
function apart(at, least) {
  const order = at.map((_, i) => i).sort((i, j) => at[i] - at[j]);
  const out = [...at];
  for (let k = 1; k < order.length; k++) out[order[k]] = Math.max(out[order[k]], out[order[k - 1]] + least);
  const over = Math.max(0, out[order.at(-1)] - (H - 6));
  return out.map((v) => v - over);
}

/** Two to four round numbers within a range. */
function ticks(low, high) {
  const raw = (high - low) / 3;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * ten).find((s) => s >= raw) || raw;
  const out = [];
  for (let u = Math.ceil(low / step) * step; u <= high && out.length < 6; u += step) out.push(u);
  return out;
}
