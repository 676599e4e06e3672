// What stands beside the drawing: exact numbers of what is picked, its kind of
// winding, the strings, what is wrong, and the plan as text. It is built anew
// only when other things are to be shown; else its fields follow.
import { north } from "../../common/north.js";
import { el } from "../../common/dom.js";
import * as edits from "./edits.js";
import { either, field } from "./fields.js";
import { foldOverlaps } from "./overlaps.js";

const FACES = [["up", "up"], ["down", "down"]]; // prettier-ignore
const SENSES = [["", "not said"], ["ccw", "counter-clockwise"], ["cw", "clockwise"]]; // prettier-ignore
const SHAPES = [["round", "round"], ["oblong", "oblong"], ["rectangle", "rectangle"]]; // prettier-ignore
const UNIT_WORDS = { mm: "mm", cm: "cm", in: "in" };
const LINES = { left: "left sides", centre: "centres, in a column", right: "right sides", bottom: "near sides", middle: "centres, in a row", top: "far sides" };
const PROBLEMS_SHOWN = 8;

export class Panel {
  /**
   * @param {HTMLElement} place
   * @param {any} o the editor: its board, ledger and actions
   */
  constructor(place, o) {
    this.o = o;
    this.place = place;
    this.key = "";
    this.fields = [];
    this.problems = el("section", { class: "card problems", "aria-label": "What is wrong with the plan", hidden: true, tabindex: "-1" });
    /** How many things are wrong. */
    this.wrong = 0;
    this.picked = el("section", { class: "card", id: "ed-picked", "aria-label": "What is picked" });
    this.strings = el("section", { class: "card", id: "ed-strings", "aria-label": "Strings" });
    this.text = this.textCard();
    place.replaceChildren(this.problems, this.picked, this.strings, this.text);
  }

  get sight() {
    return this.o.ledger.sight;
  }

  /** Shows the plan as it is now. */
  show() {
    const { sight } = this;
    this.showProblems();
    if (document.activeElement !== this.area && this.area.value !== this.o.ledger.text) this.area.value = this.o.ledger.text;
    const { values } = sight;
    this.picked.hidden = this.strings.hidden = !sight.plan;
    if (!sight.plan) return;
    const ids = [...this.o.board.picked];
    const key = JSON.stringify([
      ids, (values.winding || []).map((w) => [w.id, w.shape, "wire_mm" in w]), (values.coil || []).map((c) => c.winding),
      values.supply && ["amps" in values.supply, values.supply.drive], values.length_unit, this.o.board.order !== null, this.o.redrawing,
    ]); // prettier-ignore
    if (key !== this.key) {
      this.key = key;
      const focus = this.picked.contains(document.activeElement) ? document.activeElement.id : "";
      this.fields = [];
      const parts = ids.length === 0 ? this.padParts() : ids.length === 1 ? this.coilParts(ids) : this.severalParts(ids);
      this.picked.replaceChildren(...parts.filter(Boolean));
      if (focus) document.getElementById(focus)?.focus();
    }
    for (const f of this.fields) f.refresh();
    this.showStrings();
  }

  field(o) {
    const f = this.keptField(o);
    this.fields.push(f);
    return f.node;
  }

  /** A field of which the editor keeps what is typed until the plan has it. */
  keptField(o) {
    return field({ ...o, settled: () => this.o.typed?.field === o.id && this.o.typing(null) });
  }

  either(o) {
    const f = either(o);
    this.fields.push(f);
    return f.node;
  }

  raw(table, id) {
    const t = this.sight.values?.[table];
    return (id === undefined ? t : (t || []).find((k) => k.id === id)) || {};
  }

  /** What is wrong with one key of a table. */
  troubleOf(table, id, ...keys) {
    const found = this.sight.problems.find((p) => p.table === table && (id === undefined || p.id === id) && !p.with && keys.some((k) => (p.key || "").endsWith(`.${k}`)));
    return found ? `${found.say} ${found.remedy || ""}`.trim() : "";
  }

  /** A field for one key of tables of one kind. */
  keyField(table, ids, key, o) {
    const list = ids || [undefined];
    const of = (id) => this.raw(table, id)[key];
    return this.field({
      id: `ed-${table}-${key}`,
      get: () => {
        const first = of(list[0]) ?? o.otherwise ?? null;
        return list.every((id) => (of(id) ?? o.otherwise ?? null) === first) ? first : undefined;
      },
      put: (v, typed) => {
        const change = list.map((id) => (v === null ? { op: "unset", table, id, key } : edits.set(table, id, key, v)));
        return this.o.change(change, `${o.label} of ${list[0] ?? table}`, `${table}.${key}.${list}${typed}`);
      },
      trouble: () => this.troubleOf(table, list.length === 1 ? list[0] : undefined, key),
      ...o,
    });
  }

  /** A field for one of two numbers of a list, like at = [x, y]. */
  pairField(table, ids, key, i, o) {
    const list = ids || [undefined];
    const of = (id) => this.raw(table, id)[key];
    return this.field({
      id: `ed-${table}-${key}-${i}`,
      get: () => {
        const first = of(list[0])?.[i] ?? null;
        return list.every((id) => (of(id)?.[i] ?? null) === first) ? first : undefined;
      },
      put: (v) => {
        const change = list.map((id) => {
          const pair = Array.isArray(of(id)) ? [...of(id)] : [v, v];
          pair[i] = v;
          return edits.set(table, id, key, pair);
        });
        return this.o.change(change, `${o.label} of ${list[0] ?? table}`, `${table}.${key}.${i}.${list}`);
      },
      trouble: () => (i === 0 ? this.troubleOf(table, list.length === 1 ? list[0] : undefined, key) : ""),
      ...o,
    });
  }

  unit() {
    return UNIT_WORDS[this.sight.values.length_unit] || "mm";
  }

  step() {
    return 1 / this.sight.unit_mm;
  }

  padParts() {
    const unit = this.unit();
    const { supply } = this.sight.values;
    const by = supply && "amps" in supply ? "amps" : "volts";
    const pulsed = supply?.drive === "pulsed";
    const swap = (to) => {
      const was = this.sight.predicted;
      const value = to === "amps" ? was?.pad.amps || 1 : was?.pad.volts || 2;
      void this.o.change([{ op: "unset", table: "supply", key: by }, edits.set("supply", undefined, to, Math.round(value * 100) / 100 || 1)], "kind of supply");
    };
    const drive = (to) => {
      const change = [edits.set("supply", undefined, "drive", to)];
      if (to === "pulsed") change.push(edits.set("supply", undefined, "hz", supply?.hz ?? 1), edits.set("supply", undefined, "duty", supply?.duty ?? 0.5));
      else change.push({ op: "unset", table: "supply", key: "hz" }, { op: "unset", table: "supply", key: "duty" });
      void this.o.change(change, "drive");
    };
    return [
      el("h2", {}, "The pad"),
      el("p", { class: "note" }, "Pick a coil to give it exact numbers. Drag a frame with the mouse, or Shift and click, to pick several."),
      this.field({
        id: "ed-name", label: "name", kind: "text", wide: true, get: () => this.sight.values.name ?? "",
        put: (v) => this.o.change([{ op: "set", key: "name", value: v }], "name", "name"),
      }), // prettier-ignore
      el(
        "div",
        { class: "fields" },
        this.pairField("outline", null, "size", 0, { label: "pad, across", unit, step: this.step() }),
        this.pairField("outline", null, "size", 1, { label: "pad, away", unit, step: this.step() }),
        this.keyField("sensor", null, "above", { label: "sensor over the coils", unit, step: this.step(), optional: true, hint: String(edits.inUnit(this.sight, 6)) }),
      ),
      el("h3", {}, "Supply during the check"),
      el(
        "div",
        { class: "fields" },
        this.either({ label: "set to", choices: [["volts", "volts"], ["amps", "amps"]], get: () => by, put: (v) => v !== by && swap(v) }), // prettier-ignore
        this.keyField("supply", null, by, { label: by === "amps" ? "current" : "voltage", unit: by === "amps" ? "A" : "V", step: 0.1 }),
        this.keyField("supply", null, "limit_amps", { label: "current limit", unit: "A", step: 0.1, optional: true, hint: "none" }),
        this.keyField("supply", null, "source_ohms", { label: "its own resistance", unit: "ohm", step: 0.01, optional: true, hint: "0" }),
        this.either({ label: "drive", choices: [["steady", "steady"], ["pulsed", "pulsed"]], get: () => (pulsed ? "pulsed" : "steady"), put: (v) => (v === "pulsed") !== pulsed && drive(v) }), // prettier-ignore
        pulsed ? this.keyField("supply", null, "hz", { label: "pulses a second", unit: "Hz", step: 0.1 }) : null,
        pulsed ? this.keyField("supply", null, "duty", { label: "share of time on", step: 0.05 }) : null,
      ),
      this.advice(),
    ];
  }

  /** Another setting of the supply that would be read better, and a button that takes it over. */
  advice() {
    const words = el("span", {});
    const other = () => edits.otherSupply(this.sight.check?.raw, this.sight.plan?.supply, this.sight.predicted?.pad.amps);
    const take = el("button", { type: "button", class: "small", id: "ed-take-advice", onclick: () => void this.o.change(other()?.edits || [], "supply as advised") }, "Take it over");
    const node = el("p", { class: "note advice", id: "ed-advice" }, words, " ", take);
    const refresh = () => {
      const o = other();
      if (!o && node.contains(document.activeElement)) document.getElementById("ed-supply-volts")?.focus();
      node.hidden = !o;
      words.textContent = o ? `Your plan says ${o.own}. Advice: ${o.advice}.` : "";
    };
    refresh();
    this.fields.push({ refresh });
    return node;
  }

  placeFields(ids) {
    const unit = this.unit();
    return [
      this.pairField("coil", ids, "at", 0, { label: "x", unit, step: this.step() }),
      this.pairField("coil", ids, "at", 1, { label: "y", unit, step: this.step() }),
      this.keyField("coil", ids, "turned", { label: "turned", unit: "deg", optional: true, hint: "0", step: 1 }),
    ];
  }

  faceFields(ids) {
    return [
      this.either({
        label: north().north,
        choices: /** @type {any} */ (FACES),
        get: () => {
          const all = new Set(ids.map((id) => this.raw("coil", id).north ?? "up"));
          return all.size === 1 ? [...all][0] : undefined;
        },
        put: (v) => this.o.change(ids.map((id) => edits.set("coil", id, "north", v)), `north ${v}`),
      }),
      this.keyField("coil", ids, "sense", {
        label: "wound, start to finish", double: true, kind: "choice", otherwise: "", choices: () => SENSES,
        put: (v) => this.o.change(ids.map((id) => (v ? edits.set("coil", id, "sense", v) : { op: "unset", table: "coil", id, key: "sense" })), "winding direction"),
      }), // prettier-ignore
      this.keyField("coil", ids, "winding", { label: "kind of winding", kind: "choice", choices: () => (this.sight.values.winding || []).map((w) => [w.id, w.id]) }),
    ];
  }

  actions(ids) {
    const act = (id, words, run) => el("button", { type: "button", class: "small", id, onclick: run }, words);
    return el("div", { class: "row acts" }, act("ed-duplicate", "Duplicate", () => this.o.duplicate()), act("ed-delete", "Delete", () => this.o.remove()), act("ed-none", "Done", () => this.o.board.pick([])));
  }

  coilParts(ids) {
    const [id] = ids;
    return [
      el("h2", {}, `Coil ${id}`),
      el(
        "div",
        { class: "fields" },
        this.field({
          id: "ed-coil-id", label: "name", kind: "text", get: () => id, trouble: () => this.troubleOf("coil", id, "id"),
          whole: true, check: (v) => this.o.taken("coil", v), put: (v) => this.o.rename("coil", id, v),
        }), // prettier-ignore
        ...this.placeFields(ids),
        ...this.faceFields(ids),
      ),
      this.actions(ids),
      ...this.windingParts(ids),
    ];
  }

  severalParts(ids) {
    const line = (how) => el("button", { type: "button", class: "small", "data-align": how, onclick: () => this.o.align(how) }, LINES[how]);
    const even = (axis, words) => el("button", { type: "button", class: "small", "data-spread": axis, disabled: ids.length < 3, onclick: () => this.o.spread(axis) }, words);
    return [
      el("h2", {}, `${ids.length} coils`),
      el("p", { class: "note" }, ids.length > 12 ? `${ids.slice(0, 12).join(", ")} and ${ids.length - 12} more` : ids.join(", ")),
      this.actions(ids),
      el("h3", {}, "Line up"),
      el("div", { class: "row" }, ...Object.keys(LINES).map(line)),
      el("h3", {}, "Space evenly"),
      el("div", { class: "row" }, even("x", "across"), even("y", "away")),
      el("h3", {}, "All of them"),
      el("div", { class: "fields" }, ...this.placeFields(ids), ...this.faceFields(ids)),
      ...this.windingParts(ids),
    ];
  }

  /** The kind of winding of what is picked, where it is one. */
  windingParts(ids) {
    const kinds = new Set(ids.map((id) => this.raw("coil", id).winding));
    const [id] = kinds;
    if (kinds.size !== 1 || !this.raw("winding", id).id) return [];
    const unit = this.unit();
    const w = this.raw("winding", id);
    const all = (this.sight.values.coil || []).filter((c) => c.winding === id).length;
    const others = all - ids.length;
    const wire = "wire_mm" in w ? "wire_mm" : "wire_awg";
    const shape = (to) => {
      const size = Array.isArray(w.inner) ? w.inner : [w.inner, w.inner];
      const change = [edits.set("winding", id, "shape", to), edits.set("winding", id, "inner", to === "round" ? size[0] : size)];
      if (to !== "rectangle") change.push({ op: "unset", table: "winding", id, key: "corner" });
      void this.o.change(change, `shape of ${id}`);
    };
    const gauge = (to) => {
      const now = this.sight.gauges[id]?.wire_mm || 0.64;
      const value = to === "wire_mm" ? Math.round(now * 1e3) / 1e3 : Math.round(36 - (39 * Math.log(now / 0.127)) / Math.log(92));
      void this.o.change([{ op: "unset", table: "winding", id, key: wire }, edits.set("winding", id, to, value)], `wire of ${id}`);
    };
    return [
      el("h3", {}, `Winding ${id}`),
      el("p", { class: "note", id: "ed-shared" }, others > 0 ? `${all} coils are wound so: a change here changes all of them. ` : ids.length > 1 ? `These ${ids.length} only are wound so.` : "Only this is wound so."),
      others > 0 ? el("button", { type: "button", class: "small own", id: "ed-own", onclick: () => this.o.ownWinding() }, ids.length > 1 ? "Make a kind of their own" : "Make a kind of its own") : null,
      el(
        "div",
        { class: "fields" },
        this.field({ id: "ed-winding-shape", label: "shape", kind: "choice", choices: () => SHAPES, get: () => this.raw("winding", id).shape, put: shape, trouble: () => this.troubleOf("winding", id, "shape") }),
        w.shape === "round"
          ? this.keyField("winding", [id], "inner", { label: "inner diameter", unit, step: this.step() })
          : this.pairField("winding", [id], "inner", 0, { label: "inner size, x", unit, step: this.step() }),
        w.shape === "round" ? null : this.pairField("winding", [id], "inner", 1, { label: "inner size, y", unit, step: this.step() }),
        w.shape === "rectangle" ? this.keyField("winding", [id], "corner", { label: "inner corner radius", unit, step: this.step(), optional: true, hint: "0" }) : null,
        this.keyField("winding", [id], "turns", { label: "turns", kind: "whole", steps: [5, 1] }),
        this.keyField("winding", [id], "build", { label: "build, outward", unit, step: this.step() }),
        this.keyField("winding", [id], "width", { label: "height", unit, step: this.step() }),
        this.either({ label: "wire by", choices: [["wire_awg", "gauge"], ["wire_mm", "mm"]], get: () => wire, put: (v) => v !== wire && gauge(v) }), // prettier-ignore
        wire === "wire_mm"
          ? this.keyField("winding", [id], "wire_mm", { label: "bare wire", unit: "mm", step: 0.01 })
          : this.keyField("winding", [id], "wire_awg", { label: "wire gauge", unit: "AWG", steps: [1, 1] }),
        this.keyField("winding", [id], "ohms", { label: "ohms, if measured", optional: true, step: 0.01, hint: () => this.sight.gauges[id]?.ohms.toFixed(2) ?? "" }),
        this.field({
          id: "ed-winding-id", label: "name of this kind", kind: "text", get: () => id, trouble: () => this.troubleOf("winding", id, "id"),
          whole: true, check: (v) => this.o.taken("winding", v), put: (v) => this.o.rename("winding", id, v),
        }), // prettier-ignore
      ),
    ];
  }

  showProblems() {
    const { more, plan } = this.sight;
    // What a button adds is not told as the file would have it.
    const adds = { coil: plan?.coils.length === 0 && "No coil yet. Press “Add a coil”.", string: plan?.strings.length === 0 && (plan.coils.length ? "No string yet. Press “Draw a string”, and tap its coils." : "") };
    const problems = foldOverlaps(this.sight.problems, plan, { mm: this.sight.unit_mm, name: this.sight.values ? this.unit() : "mm" }).flatMap((p) => {
      const say = p.key === p.table && !p.line && adds[p.table];
      return typeof say !== "string" ? [p] : say ? [{ say }] : [];
    });
    this.problems.hidden = problems.length === 0;
    const item = (p) => {
      const words = `${p.say} ${p.remedy || ""}`.trim();
      const goes = p.table === "coil" && this.sight.plan?.coils.some((c) => c.id === p.id);
      const where = p.key ? `${p.key.replaceAll('"', "")}${p.line ? `, line ${p.line}` : ""}: ` : p.line ? `line ${p.line}: ` : "";
      return el("li", {}, goes ? el("button", { type: "button", class: "link", onclick: () => this.o.board.pick(p.coils || [p.id, p.with].filter(Boolean)) }, `${where}${words}`) : `${where}${words}`);
    };
    this.wrong = problems.length + more;
    const rest = this.wrong - PROBLEMS_SHOWN;
    const all = problems.slice(0, PROBLEMS_SHOWN).map(item);
    const words = this.sight.usable ? "It cannot be built like this" : "Not a whole plan yet";
    this.problems.replaceChildren(el("h2", {}, `! ${words}`), el("ul", {}, ...all), rest > 0 ? el("p", { class: "note" }, `and ${rest} more`) : "");
  }

  showsWrong() {
    this.problems.scrollIntoView({ block: "start" });
    this.problems.focus({ preventScroll: true });
  }

  /** Goes to the fields of what is picked. */
  showsPicked() {
    this.picked.scrollIntoView({ block: "start" });
    /** @type {HTMLElement | null} */ (this.picked.querySelector("input, button"))?.focus({ preventScroll: true });
  }

  showStrings() {
    const { plan, predicted, values } = this.sight;
    if (this.strings.contains(document.activeElement) && document.activeElement.tagName === "INPUT") return;
    const focus = this.strings.contains(document.activeElement) ? document.activeElement.id : "";
    const known = new Map((predicted?.strings || []).map((s) => [s.id, s]));
    const loose = plan.coils.filter((c) => !c.string).map((c) => c.id);
    const press = (id, words, label, run) => el("button", { type: "button", class: "small", id, "aria-label": label, onclick: run }, words);
    const row = (s, i) => {
      const k = known.get(s.id);
      const lead = (values.string || []).find((r) => r.id === s.id)?.lead_ohms;
      const wrong = this.sight.problems.filter((p) => p.table === "string" && p.id === s.id);
      return el(
        "li",
        { class: `string-row string-${i % 6}` },
        el("p", {}, el("strong", {}, s.id), " ", el("span", { class: "chain" }, s.coils.length ? `+ ${s.coils.join(" → ")} −` : "no coils")),
        el("span", { class: "note" }, k ? `${k.ohms.toFixed(2)} ohm, ${k.amps.toFixed(3)} A${lead ? `, leads ${lead} ohm` : ""}` : "not known yet"),
        ...wrong.map((p) => el("p", { class: "bad" }, `${p.say} ${p.remedy || ""}`)),
        el(
          "div",
          { class: "row" },
          press(`ed-redraw-${s.id}`, "Draw again", `Draw again string ${s.id}`, () => this.o.drawString(s.id)),
          press(`ed-details-${s.id}`, this.detailed === s.id ? "Less" : "More", `${this.detailed === s.id ? "Less" : "More"} of string ${s.id}: name, leads and ends`, () => this.stringDetails(s.id)),
        ),
        this.detailed === s.id ? this.detailsOf(s) : null,
      );
    };
    this.strings.replaceChildren(
      el("h2", {}, "Strings"),
      el("ul", { class: "string-list" }, ...plan.strings.map(row)),
      loose.length ? el("p", { class: "bad" }, `In no string yet: ${loose.join(", ")}.`) : "",
      this.groupsPart(),
    );
    if (focus) document.getElementById(focus)?.focus();
  }

  stringDetails(id) {
    this.detailed = this.detailed === id ? null : id;
    this.showStrings();
  }

  detailsOf(s) {
    const { id } = s;
    const press = (name, words, run) => el("button", { type: "button", class: "small", id: name, onclick: run }, words);
    const name = this.keptField({ id: "ed-string-id", label: "name", kind: "text", get: () => id, whole: true, check: (v) => this.o.taken("string", v), put: (v) => this.o.rename("string", id, v) });
    const lead = this.keptField({
      id: "ed-string-lead", label: "leads", unit: "ohm", optional: true, hint: "0", step: 0.01, get: () => this.raw("string", id).lead_ohms ?? null, trouble: () => this.troubleOf("string", id, "lead_ohms"),
      put: (v) => this.o.change([v === null ? { op: "unset", table: "string", id, key: "lead_ohms" } : edits.set("string", id, "lead_ohms", v)], `leads of ${id}`, `lead.${id}`),
    }); // prettier-ignore
    return el(
      "div",
      { class: "details" },
      el("div", { class: "fields" }, name.node, lead.node),
      el(
        "div",
        { class: "row" },
        press("ed-turn", "Swap its ends", () => void this.o.change([edits.set("string", id, "coils", [...s.coils].reverse())], `ends of ${id}`)),
        press("ed-pick", "Pick its coils", () => this.o.board.pick(s.coils)),
        press("ed-apart", "Take it apart", () => void this.o.change([{ op: "remove", table: "string", id }], `string ${id} taken apart`)),
      ),
    );
  }

  groupsPart() {
    const { plan } = this.sight;
    if (plan.strings.length < 2) return "";
    const open = this.groupsOpen ?? plan.groups.length > 0;
    const words = plan.groups.length ? "How the strings are joined" : "All strings are in parallel";
    const row = (g) => {
      const join = field({
        id: `ed-join-${g.id}`, label: `${g.id}: joins in`, kind: "choice", choices: () => [["parallel", "parallel"], ["series", "series"]], get: () => g.join,
        put: (v) => this.o.change([edits.set("group", g.id, "join", v)], `join of ${g.id}`), trouble: () => this.troubleOf("group", g.id, "join"),
      }); // prettier-ignore
      const of = this.keptField({
        id: `ed-of-${g.id}`, label: "its strings or groups", kind: "text", get: () => g.of.join(", "), trouble: () => this.troubleOf("group", g.id, "of"),
        whole: true, put: (v) => this.o.change([edits.set("group", g.id, "of", v.split(/[\s,]+/).filter(Boolean))], `members of ${g.id}`),
      }); // prettier-ignore
      return el("div", { class: "fields group-row" }, join.node, of.node, el("button", { type: "button", class: "small", onclick: () => void this.o.change([{ op: "remove", table: "group", id: g.id }], `group ${g.id} taken out`) }, `Take out ${g.id}`));
    };
    const free = [...plan.strings, ...plan.groups].map((k) => k.id).filter((k) => !plan.groups.some((g) => g.of.includes(k)));
    const addGroup = () => {
      const id = edits.nextID("group", edits.idsOf(plan));
      this.groupsOpen = true;
      void this.o.change([edits.add("group", { id, join: "parallel", of: free })], `group ${id}`);
    };
    const node = el("details", { open, class: "on-screen" }, el("summary", {}, words), ...plan.groups.map(row), free.length > 1 ? el("button", { type: "button", class: "small", id: "ed-add-group", onclick: addGroup }, plan.groups.length ? `Join ${free.join(", ")} in a group` : "Join them otherwise") : null);
    node.addEventListener("toggle", () => (this.groupsOpen = /** @type {any} */ (node).open));
    return node;
  }

  /** The plan as text, for those who like it so and for what has no field. */
  textCard() {
    this.area = /** @type {HTMLTextAreaElement} */ (el("textarea", { id: "ed-text", spellcheck: "false", "aria-label": "The plan's text" }));
    let timer = 0;
    const take = () => {
      clearTimeout(timer);
      if (this.area.value !== this.o.ledger.text) void this.o.rewrite(this.area.value);
    };
    this.area.addEventListener("input", () => {
      clearTimeout(timer);
      this.o.keepTyped(this.area.value);
      timer = setTimeout(take, 400);
    });
    this.area.addEventListener("blur", take);
    return el("details", { class: "card as-text" }, el("summary", {}, "The plan as text"), this.area);
  }
}
