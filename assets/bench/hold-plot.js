// The samples of one hold, plotted axis by axis: what the phone gave, the level
// with the supply off, and what the likeliest explanation and its rival expected
// there. Every line has its own stroke and its own word.
import { svg } from "../common/dom.js";

const W = 300;
const STRIP = 62; // height of one axis
const LEFT = 44;
const RIGHT = 50;
export const AXES = ["x", "y", "z"];

/** A field in microtesla with a true minus. @param {number} v @param {number} [digits] */
export function field(v, digits = 0) {
  return v.toFixed(digits).replace(/^-(0(\.0+)?)$/, "$1").replace("-", "−");
}

/** @param {any} h a hold of the state @param {number[][]} samples what was read in it */
export function holdPlot(h, samples) {
  if (samples.length < 2) return null;
  const t0 = samples[0][0];
  const span = samples.at(-1)[0] - t0 || 1;
  const x = (t) => LEFT + ((t - t0) / span) * (W - LEFT - RIGHT);
  const strips = AXES.map((axis, a) => strip(h.account, samples, a, axis, x));
  const foot = svg("text", { class: "plot-text", x: W - RIGHT, y: 3 * STRIP + 11, "text-anchor": "end", "font-size": 10 }, `${span.toFixed(1)} s`);
  return svg("svg", { class: "plot", viewBox: `0 0 ${W} ${3 * STRIP + 15}`, role: "img", "aria-label": words(h.at, samples, span) }, ...strips, foot);
}

function strip(k, samples, a, axis, x) {
  const lines = k
    ? [
        ["rest", "off", k.rest_uT[a], 0],
        ["best", "likeliest", k.best.uT[a], k.best.sd_uT[a]],
        ...(k.rival ? [["rival", "rival", k.rival.uT[a], k.rival.sd_uT[a]]] : []),
      ]
    : [];
  const values = [...samples.map((s) => s[a + 1]), ...lines.flatMap(([, , v, sd]) => [v - 2 * sd, v + 2 * sd])];
  let [low, high] = [Math.min(...values), Math.max(...values)];
  const spare = Math.max(3, (high - low) * 0.08);
  [low, high] = [low - spare, high + spare];
  const top = 6;
  const bottom = STRIP - 4;
  const y = (u) => bottom - ((u - low) / (high - low)) * (bottom - top);
  const end = W - RIGHT;
  const parts = [svg("path", { class: "plot-frame", d: `M${LEFT} ${top}V${bottom}H${end}` })];
  for (const u of ticks(low, high)) parts.push(svg("path", { class: "plot-grid", d: `M${LEFT} ${y(u)}H${end}` }), svg("text", { class: "plot-text", x: LEFT - 4, y: y(u) + 3.5, "text-anchor": "end", "font-size": 9.5 }, field(u)));
  for (const [name, , v, sd] of lines) {
    if (sd > 0) parts.push(svg("rect", { class: `plot-band of-${name}`, x: LEFT, width: end - LEFT, y: y(v + 2 * sd), height: Math.max(1, y(v - 2 * sd) - y(v + 2 * sd)) }));
    parts.push(svg("path", { class: `plot-${name}`, d: `M${LEFT} ${y(v)}H${end}` }));
  }
  parts.push(svg("polyline", { class: "plot-read", points: samples.map((s) => `${x(s[0]).toFixed(1)},${y(s[a + 1]).toFixed(1)}`).join(" ") }));
  const at = apart(lines.map(([, , v]) => y(v)), 10, bottom);
  lines.forEach(([name, word], i) => parts.push(svg("text", { class: `plot-word of-${name}`, x: end + 4, y: at[i] + 3.2, "font-size": 10 }, word)));
  parts.push(svg("text", { class: "plot-axis", x: 3, y: STRIP / 2 + 5, "font-size": 13 }, axis));
  return svg("g", { transform: `translate(0 ${a * STRIP})` }, ...parts);
}

function words(at, samples, span) {
  const range = (a) => {
    const v = samples.map((s) => s[a + 1]);
    return `${AXES[a]} from ${Math.min(...v).toFixed(0)} to ${Math.max(...v).toFixed(0)}`;
  };
  return `${span.toFixed(1)} seconds over ${at}: ${[0, 1, 2].map(range).join(", ")} microtesla`;
}

/** Moves heights apart so that what is written there does not overlap. @param {number[]} at @param {number} least @param {number} lowest */
function apart(at, least, lowest) {
  if (at.length === 0) return at;
  const order = at.map((_, i) => i).sort((i, j) => at[i] - at[j]);
  const out = [...at];
  for (let k = 1; k < order.length; k++) out[order[k]] = Math.max(out[order[k]], out[order[k - 1]] + least);
  const over = Math.max(0, out[order.at(-1)] - lowest);
  return out.map((v) => v - over);
}

/** Two to five round numbers within a range: one alone tells no scale. @param {number} low @param {number} high */
export function ticks(low, high) {
  const raw = (high - low) / 3;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const every = (step) => {
    const out = [];
    for (let u = Math.ceil(low / step) * step; u <= high; u += step) out.push(u);
    return out;
  };
  return [10, 5, 2, 1].map((k) => every(k * ten)).find((found) => found.length >= 2) || [];
}
