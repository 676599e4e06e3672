// The coil that is selected: its winding cut through the middle, to scale, with
// the current in its turns and the field that makes; what is claimed of it, with
// every chance as a bar; and its numbers.
import { el, svg } from "../common/dom.js";
import { percent, stateBadge } from "../common/states.js";
import { microtesla } from "./coil-mark.js";
import { byNeedle } from "./coil-table.js";
import { readBefore } from "./mend.js";
import { northText } from "./convention.js";

const W = 340;
const MOST_TURNS = 260; // drawn one by one
const CHANCES = ["as-planned", "reversed", "weak", "dead"];

export class CoilCard {
  /** @param {HTMLElement} place @param {{onclose: () => void, onreading: (id: string) => void}} o */
  constructor(place, o) {
    this.place = place;
    this.o = o;
    this.key = "";
  }

  /** @param {any} state @param {string | null} selected */
  show(state, selected) {
    const c = state.plan.coils.find((k) => k.id === selected);
    this.place.hidden = !c;
    if (!c) {
      this.key = "";
      return;
    }
    const v = state.verdict?.coils.find((k) => k.id === c.id);
    const p = state.predicted?.coils.find((k) => k.id === c.id);
    const string = state.plan.strings.find((s) => s.id === c.string);
    const w = state.plan.windings.find((k) => k.id === c.winding);
    const next = state.prompt?.at === c.id;
    const before = readBefore(state).includes(c.id);
    const needle = byNeedle(state, c.id);
    const key = JSON.stringify([state.check.id, c, v, p, next, before, needle]);
    if (key === this.key) return;
    this.key = key;
    const read = v && v.used > 0;
    const focused = this.place.contains(document.activeElement) ? /** @type {any} */ (document.activeElement).dataset.act : "";
    const parts = [
      el("div", { class: "card-head" }, el("h2", { class: "kicker" }, `Coil ${c.id}`), el("button", { type: "button", class: "small", "data-act": "close", "aria-label": "Close: back to all coils", onclick: () => this.o.onclose() }, "Close")),
      el("p", { class: "outcome" }, read ? stateBadge(v.state) : el("span", { class: "note" }, "not read yet")),
      before ? el("p", { class: "note" }, "Read before the mend only: read it once more.") : null,
      needle ? el("p", { class: "note" }, "Read by needle: which way it faces, not how strong it is.") : null,
      section(w, c, state.plan.above_mm, read ? v.state : null),
      ...(read ? [chances(v.p)] : []),
      el(
        "dl",
        { class: "coil-facts" },
        ...fact("Planned", northText((n) => n.way(c.north)), p ? `, ${microtesla(p.bz_uT)} uT at ${p.amps.toFixed(2)} A` : ""),
        ...(read ? fact("Expected", `${microtesla(v.expected_uT)} uT where the sensor lies`) : []),
        ...(v?.measured_uT != null ? fact("Read", `${microtesla(v.measured_uT)} uT, ${v.used} ${v.used === 1 ? "reading" : "readings"}`) : []),
        ...fact("Winding", `${w.id}: ${w.turns} turns, ${w.inner_mm[0] === w.inner_mm[1] ? w.inner_mm[0] : w.inner_mm.join(" × ")} mm inside, ${w.build_mm} × ${w.width_mm} mm section`),
        ...fact("String", string ? `${string.id}, coil ${string.coils.indexOf(c.id) + 1} of ${string.coils.length} from its plus end` : "none"),
      ),
      next ? el("p", { class: "next" }, el("strong", {}, "Asked for next."), " The verdict says why.") : null,
      read ? el("button", { type: "button", class: "small", "data-act": "reading", onclick: () => this.o.onreading(c.id) }, "Look at its readings") : null,
    ];
    this.place.replaceChildren(...parts.filter(Boolean));
    if (focused) /** @type {any} */ (this.place.querySelector(`[data-act="${focused}"]`))?.focus({ preventScroll: true });
  }
}

function fact(name, ...words) {
  return [el("dt", {}, name), el("dd", {}, ...words)];
}

/** Every chance as a bar, each with its own pattern, shape and number. @param {Record<string, number>} p */
function chances(p) {
  return el(
    "ul",
    { class: "chances" },
    ...CHANCES.map((k) =>
      el(
        "li",
        {},
        stateBadge(k),
        svg("svg", { class: "chance", viewBox: "0 0 100 8", preserveAspectRatio: "none", "aria-hidden": "true" }, svg("rect", { class: "chance-all", width: 100, height: 8 }), svg("path", { class: `doubt-${k}`, "stroke-width": 8, d: `M0 4H${(100 * (p[k] || 0)).toFixed(2)}` })),
        el("span", { class: "chance-p" }, percent(p[k] || 0)),
      ),
    ),
  );
}

/**
 * The winding cut through its middle, seen from the person's side.
 * @param {any} w @param {any} coil @param {number} above_mm @param {string | null} state
 */
function section(w, coil, above_mm, state) {
  const planned = coil.north === "up" ? 1 : -1;
  const face = state === "reversed" ? -planned : state === "dead" ? 0 : planned;
  const half = w.inner_mm[0] / 2;
  const room = Math.max(w.width_mm + above_mm + 26, 40);
  const mm = W / (2 * (half + w.build_mm) + 24); // drawn units per millimetre
  const height = room * mm;
  const bench = height - 8;
  const top = bench - w.width_mm * mm;
  const cut = (side) => {
    // Seen so, a current counter-clockwise from above comes toward the reader on the left.
    const x0 = side < 0 ? W / 2 - (half + w.build_mm) * mm : W / 2 + half * mm;
    const toward = side * face < 0;
    const parts = [svg("rect", { class: "copper", x: x0, y: top, width: w.build_mm * mm, height: w.width_mm * mm })];
    const across = Math.max(1, Math.round(Math.sqrt((w.turns * w.build_mm) / w.width_mm)));
    const down = Math.max(1, Math.ceil(w.turns / across));
    const r = Math.min((w.build_mm * mm) / across, (w.width_mm * mm) / down) * 0.4;
    let d = "";
    if (w.turns <= MOST_TURNS && r > 0.5) {
      for (let i = 0; i < w.turns; i++) {
        const x = x0 + (((i % across) + 0.5) / across) * w.build_mm * mm;
        const y = top + ((Math.floor(i / across) + 0.5) / down) * w.width_mm * mm;
        d += `M${(x - r).toFixed(2)} ${y.toFixed(2)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
      }
    }
    parts.push(svg("path", { class: "cut-turns", d }));
    const sign = svg("g", { class: "face", transform: `translate(${x0 + (w.build_mm * mm) / 2} ${top - 13})` }, svg("circle", { r: 7 }));
    if (face !== 0) sign.append(toward ? svg("circle", { class: "dot", r: 2.6 }) : svg("path", { d: "M-5 -5L5 5M5 -5L-5 5" }));
    parts.push(sign);
    return svg("g", {}, ...parts);
  };
  const middle = W / 2;
  const arrow =
    face === 0
      ? svg("text", { class: "cut-word", x: middle, y: (top + bench) / 2, "text-anchor": "middle", "font-size": 12 }, "no field")
      : svg("path", { class: "cut-field", d: face > 0 ? `M${middle} ${bench - 2}V${top - 22}m-6 9l6 -9l6 9` : `M${middle} ${top - 24}V${bench - 2}m-6 -9l6 9l6 -9` });
  const sensor = top - above_mm * mm;
  return svg(
    "svg",
    { class: "cut", viewBox: `0 0 ${W} ${height.toFixed(1)}`, role: "img", "aria-label": `Coil ${coil.id} cut through its middle, to scale: ${w.turns} turns; ${face === 0 ? "no field" : `the field goes ${face > 0 ? "up" : "down"}`}${state === "reversed" ? ", the wrong way" : ""}` },
    svg("path", { class: "cut-bench", d: `M0 ${bench}H${W}` }),
    svg("path", { class: "cut-sensor", d: `M${middle - half * mm * 0.8} ${sensor.toFixed(1)}H${middle + half * mm * 0.8}` }),
    svg("text", { class: "cut-word", x: middle + 12, y: sensor - 4, "font-size": 10 }, `sensor, ${above_mm} mm over it`),
    cut(-1),
    cut(1),
    arrow,
    svg("text", { class: "cut-word", x: middle + 12, y: bench - 6, "font-size": 10 }, state && state !== "undecided" ? "as found" : "as planned"),
  );
}
