// A pass drawn along its row: the readings as dots where they were most likely
// taken, over the field that the likeliest explanation and its rival predict.
import { svg } from "../common/dom.js";
import { field, ticks } from "./hold-plot.js";

const W = 300;
const H = 181;
const [LEFT, RIGHT, TOP, FOOT] = [42, 8, 20, 31];

/** @param {any} k a pass laid along its row */
export function passPlot(k) {
  if (k.read.length < 2) return null;
  const curves = [k.best, ...(k.rival ? [k.rival] : [])];
  const xs = curves.flat().map((c) => c[0]);
  const us = [...curves.flat(), ...k.read].map((c) => c[1]);
  const [from, to] = [Math.min(...xs), Math.max(...xs)];
  let [low, high] = [Math.min(...us, 0), Math.max(...us, 0)];
  const spare = (high - low) * 0.06 + 2;
  [low, high] = [low - spare, high + spare];
  const x = (mm) => LEFT + ((mm - from) / (to - from)) * (W - LEFT - RIGHT);
  const y = (u) => H - FOOT - ((u - low) / (high - low)) * (H - FOOT - TOP);
  const line = (c) => c.map(([mm, u], i) => `${i ? "L" : "M"}${x(mm).toFixed(1)} ${y(u).toFixed(1)}`).join("");
  const parts = [svg("path", { class: "plot-frame", d: `M${LEFT} ${TOP}V${H - FOOT}H${W - RIGHT}` })];
  for (const u of ticks(low, high)) parts.push(svg("path", { class: u === 0 ? "plot-zero" : "plot-grid", d: `M${LEFT} ${y(u)}H${W - RIGHT}` }), svg("text", { class: "plot-text", x: LEFT - 4, y: y(u) + 3.5, "text-anchor": "end", "font-size": 9.5 }, field(u)));
  k.coils.forEach((id, i) => parts.push(svg("path", { class: "plot-coil", d: `M${x(k.at_mm[i])} ${TOP}V${H - FOOT}` }), svg("text", { class: "plot-word", x: x(k.at_mm[i]), y: TOP - 7, "text-anchor": "middle", "font-size": 11 }, id)));
  if (k.rival) parts.push(svg("path", { class: "plot-rival", d: line(k.rival) }));
  parts.push(svg("path", { class: "plot-best", d: line(k.best) }));
  const dot = 2.1;
  parts.push(svg("path", { class: "plot-dots", d: k.read.map(([mm, u]) => `M${(x(mm) - dot).toFixed(1)} ${y(u).toFixed(1)}a${dot} ${dot} 0 1 0 ${2 * dot} 0a${dot} ${dot} 0 1 0 ${-2 * dot} 0`).join("") }));
  parts.push(svg("text", { class: "plot-text", x: W - RIGHT, y: H - 3, "text-anchor": "end", "font-size": 10 }, "mm along the row"));
  for (const mm of along(from, to)) parts.push(svg("text", { class: "plot-text", x: x(mm), y: H - FOOT + 13, "text-anchor": "middle", "font-size": 9.5 }, field(mm)));
  const words = `The pass over ${k.coils.join(", ")}: ${k.read.length} readings from ${field(Math.min(...k.read.map((r) => r[1])))} to ${field(Math.max(...k.read.map((r) => r[1])))} microtesla across the pad`;
  return svg("svg", { class: "plot", viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": words }, ...parts);
}

/** Places to name along a row: every 100 mm, or fewer on a long one. @param {number} from @param {number} to */
function along(from, to) {
  const step = [50, 100, 200, 500, 1000].find((d) => (to - from) / d <= 7) || 2000;
  const out = [];
  for (let mm = Math.ceil(from / step) * step; mm <= to; mm += step) out.push(mm);
  return out;
}
