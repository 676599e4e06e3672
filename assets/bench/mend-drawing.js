// A mend as two small drawings of the wiring, before and after: each string a
// line from the plus rail to the minus rail, its coils with the face they show.
// What has to be touched is ringed.
import { el, svg } from "../common/dom.js";
import { faceSign, PATTERNS } from "../common/pad.js";

const MOST_STRINGS = 4;
const MOST_COILS = 8;
const COIL = 34; // pitch of coils in a string
const ROW = 40;
const LEFT = 38;

/** @param {any} plan @param {any} cause @returns {HTMLElement | null} */
export function mendDrawing(plan, cause) {
  const mend = cause.mend || [];
  if (mend.length === 0) return null;
  const wholePad = mend.some((m) => m.do === "swap-pad");
  const touched = (s) => wholePad || mend.some((m) => m.id === s.id || s.coils.includes(m.id)) || faultOf(cause, s);
  const strings = plan.strings.filter(touched);
  if (strings.length === 0) return null;
  const shown = strings.slice(0, MOST_STRINGS);
  const rest = strings.length - shown.length;
  const longest = Math.min(MOST_COILS, Math.max(...shown.map((s) => s.coils.length)));
  const wrong = turnedCoils(plan, cause);
  const swapped = new Set([...mend.filter((m) => m.do === "swap-string").map((m) => m.id), ...(cause.faults || []).filter((f) => f.kind === "string-reversed").map((f) => f.id)]);
  const one = (title, after) =>
    el(
      "figure",
      {},
      el("figcaption", {}, title),
      svg(
        "svg",
        {
          class: "wiring",
          viewBox: `0 0 ${LEFT * 2 + longest * COIL} ${shown.length * ROW + 36}`,
          role: "img",
          "aria-label": after ? "Wiring after the mend: every coil faces as planned" : `Wiring before the mend: ${[...wrong].join(", ") || "faces as planned"}${wrong.size ? " the wrong way" : ""}`,
        },
        ...rails(longest, shown.length, after, wholePad),
        ...shown.map((s, row) => stringRow(plan, s, row, { longest, after, wrong, mend, swapped, cause })),
      ),
    );
  return el("div", { class: "before-after" }, one("Now", false), one("After the mend", true), rest > 0 ? el("p", { class: "note" }, `and ${rest} more strings likewise`) : null);
}

function faultOf(cause, s) {
  return (cause.faults || []).some((f) => f.id === s.id || f.string === s.id || (f.ids || []).includes(s.id));
}

/** Coils that face the wrong way under a cause. */
function turnedCoils(plan, cause) {
  const wrong = new Set();
  const flip = (ids) => ids.forEach((id) => (wrong.has(id) ? wrong.delete(id) : wrong.add(id)));
  const strings = new Map(plan.strings.map((s) => [s.id, s.coils]));
  const groups = new Map((plan.groups || []).map((g) => [g.id, g.of]));
  const under = (id, depth = 0) => strings.get(id) || (depth > groups.size ? [] : (groups.get(id) || []).flatMap((m) => under(m, depth + 1)));
  for (const f of cause.faults || []) {
    if (f.kind === "coil-reversed") flip([f.id]);
    else if (f.kind === "string-reversed") flip(strings.get(f.id) || []);
    else if (f.kind === "group-reversed") flip(under(f.id));
    else if (f.kind === "pad-reversed") flip(plan.coils.map((c) => c.id));
  }
  return wrong;
}

function rails(longest, rows, after, wholePad) {
  const right = LEFT * 2 + longest * COIL;
  const swapped = wholePad && !after;
  const height = rows * ROW + 6;
  const sign = (x, text) => svg("text", { class: "rail-sign", x, y: 14, "text-anchor": "middle", "font-size": 15 }, text);
  const parts = [
    svg("path", { class: "rail", d: `M14 20V${height + 10}M${right - 14} 20V${height + 10}` }),
    sign(14, swapped ? "−" : "+"),
    sign(right - 14, swapped ? "+" : "−"),
  ];
  if (wholePad) parts.push(svg("circle", { class: "touch", cx: 14, cy: 9, r: 11 }), svg("circle", { class: "touch", cx: right - 14, cy: 9, r: 11 }));
  return parts;
}

function stringRow(plan, s, row, o) {
  const y = row * ROW + ROW / 2 + 24;
  const right = LEFT * 2 + o.longest * COIL;
  const index = plan.strings.indexOf(s);
  const crossed = o.swapped.has(s.id) && !o.after;
  const shown = s.coils.slice(0, MOST_COILS);
  const first = LEFT + COIL / 2;
  const last = LEFT + (shown.length - 1) * COIL + COIL / 2;
  const dash = PATTERNS[index % PATTERNS.length];
  const way = crossed
    ? `M14 ${y - 13}H${last + 18}V${y}H${last} M${first} ${y}H${first - 18}V${y + 13}H${right - 14}` // its ends are exchanged
    : `M14 ${y}H${right - 14}`;
  const parts = [svg("path", { class: `lead string-${index % PATTERNS.length}`, "stroke-dasharray": dash, d: way })];
  if (crossed) parts.push(svg("path", { class: `lead string-${index % PATTERNS.length}`, "stroke-dasharray": dash, d: `M${first} ${y}H${last}` }));
  if (o.swapped.has(s.id)) parts.push(svg("circle", { class: "touch", cx: first - 18, cy: y, r: 8 }), svg("circle", { class: "touch", cx: last + 18, cy: y, r: 8 }));
  const north = new Map(plan.coils.map((c) => [c.id, c.north === "up" ? 1 : -1]));
  shown.forEach((id, i) => {
    const x = LEFT + i * COIL + COIL / 2;
    const act = o.mend.find((m) => m.id === id);
    const faulty = (o.cause.faults || []).find((f) => f.id === id);
    const dead = !o.after && faulty && /shorted|open/.test(faulty.kind) && faulty.kind !== "turns-shorted";
    const sign = faceSign(dead ? 0 : (o.wrong.has(id) && !o.after ? -1 : 1) * north.get(id), 11);
    parts.push(
      svg(
        "g",
        { class: o.wrong.has(id) && !o.after ? "wire-coil wrong" : "wire-coil", transform: `translate(${x} ${y})` },
        svg("circle", { class: "back", r: 11 }),
        sign,
        act || faulty ? svg("circle", { class: "touch", r: 15 }) : null,
        svg("text", { "text-anchor": "middle", "font-size": 9, y: 24 }, id),
      ),
    );
  });
  if (s.coils.length > shown.length) parts.push(svg("text", { "font-size": 12, x: last + 22, y: y + 4 }, "…"));
  parts.push(svg("text", { class: "string-name", x: 20, y: y - 15, "font-size": 9 }, `string ${s.id}`));
  return svg("g", {}, ...parts);
}
