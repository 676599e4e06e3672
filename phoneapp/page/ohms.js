// What an ohmmeter says of coils, strings and the pad. It goes with any route, as
// lines of the same capture, on a screen over the route's own.
import { byId, el } from "../common/dom.js";
import * as page from "./page.js";

export class Ohms {
  /** @param {import("./run.js").Tools} tools @param {() => void} close back to the route */
  constructor(tools, close) {
    this.tools = tools;
    this.close = close;
    const v = tools.told.verdict;
    // The one asked for; where all faces are right, the pad as a whole, which the
    // sign-off needs.
    this.across = v?.outcome === "as-planned" ? "pad" : v?.next?.across || `coil:${v?.next?.route === "ohms" ? v.next.at : tools.told.plan.coils[0].id}`;
    this.celsius = "20";
    /** @type {string[]} */
    this.noted = [];
    this.note = "";
  }

  show() {
    if (this.tools.told.rehearsal) {
      this.showMadeUp();
      return;
    }
    page.show({
      whole: true,
      title: "Ohms",
      lead: "Supply off. A coil or string is measured unplugged from the rest, the pad at its own plug.",
      note: this.note,
      bodied: `ohms ${this.noted.length}`,
      body: [
        el("p", { class: "choice" }, el("label", { for: "across" }, "Measured across"), this.select()),
        field("ohms-value", this.label(), ""),
        field("celsius", "Temperature of the coil, °C", this.celsius),
        this.list(),
      ],
      actions: [
        { label: "Note it", id: "note-ohms", main: true, onclick: () => this.noteNumber() },
        { label: "It is open (no reading)", id: "note-open", onclick: () => this.add(null) },
        { label: "Back", id: "back", onclick: this.close },
      ],
    }, true);
  }

  /** In a rehearsal the ohmmeter is made up as well: nothing is typed. */
  showMadeUp() {
    page.show({
      whole: true,
      title: "Ohms",
      lead: "The made-up meter measures a coil or string unplugged from the rest, the pad at its own plug.",
      note: this.note,
      bodied: `ohms ${this.noted.length}`,
      body: [el("p", { class: "choice" }, el("label", { for: "across" }, "Measured across"), this.select()), this.list()],
      actions: [
        { label: "Measure it", id: "measure-ohms", main: true, onclick: () => void this.measure() },
        { label: "Back", id: "back", onclick: this.close },
      ],
    }, true);
  }

  async measure() {
    const { told } = this.tools;
    const { across } = this;
    try {
      const r = await fetch(new URL(`rehearsals/${encodeURIComponent(told.rehearsal)}/ohms?across=${encodeURIComponent(across)}`, told.base), { cache: "no-store" });
      if (!r.ok) throw new Error(`the bench answers ${r.status}`);
      const { ohms, celsius } = await r.json();
      this.across = across;
      this.keep(ohms, celsius);
    } catch {
      this.note = "The made-up meter does not answer. Is the rehearsal still on?";
      this.show();
    }
  }

  list() {
    return this.noted.length > 0 ? el("ul", { class: "coils", "aria-label": "Noted" }, ...this.noted.map((n) => el("li", {}, n))) : null;
  }

  select() {
    const p = this.tools.told.plan;
    const option = (value, label) => el("option", { value, selected: value === this.across }, label);
    const select = /** @type {HTMLSelectElement} */ (
      el(
        "select",
        { id: "across" },
        el("optgroup", { label: "Coils" }, ...p.coils.map((c) => option(`coil:${c.id}`, `Coil ${c.id}`))),
        el("optgroup", { label: "Strings" }, ...p.strings.map((s) => option(`string:${s.id}`, `String ${s.id}`))),
        p.groups.length > 0 && el("optgroup", { label: "Groups" }, ...p.groups.map((g) => option(`group:${g.id}`, `Group ${g.id}`))),
        option("pad", "The whole pad"),
      )
    );
    select.addEventListener("change", () => {
      this.across = select.value;
      const typed = document.querySelector("label[for=ohms-value]");
      if (typed) typed.textContent = this.label();
    });
    return select;
  }

  /** What is to be typed, with what the plan has there. */
  label() {
    const p = this.tools.told.predicted;
    const [kind, id] = this.across.split(":");
    const has = { coil: p?.coils, string: p?.strings }[kind]?.find((x) => x.id === id) || (kind === "pad" ? p?.pad : null);
    return typeof has?.ohms === "number" ? `Ohms (planned ${has.ohms.toFixed(2)} at 20\u00a0\u00b0C)` : "Ohms";
  }

  /** What is measured after this: the next in the list, as a hand goes through it. */
  following() {
    const p = this.tools.told.plan;
    const all = [...p.coils.map((c) => `coil:${c.id}`), ...p.strings.map((s) => `string:${s.id}`), ...p.groups.map((g) => `group:${g.id}`), "pad"];
    return all[all.indexOf(this.across) + 1] || "pad";
  }

  noteNumber() {
    const ohms = numberIn("ohms-value");
    if (ohms !== null && ohms >= 0) {
      this.add(ohms);
      return;
    }
    this.note = "Expected a number of ohms, as in 0.97.";
    this.show();
    byId("ohms-value").focus();
  }

  /** @param {number | null} ohms null: open */
  add(ohms) {
    const celsius = numberIn("celsius");
    if (celsius !== null) this.celsius = String(celsius);
    this.keep(ohms, celsius);
    byId("ohms-value").focus();
  }

  /** @param {number | null} ohms @param {number | null} celsius */
  keep(ohms, celsius) {
    const line = { type: "ohms", t: this.tools.clock.at(), across: this.across, ohms };
    this.tools.stream.add(celsius === null ? line : { ...line, celsius });
    this.tools.stream.flush();
    this.noted.unshift(`${this.across.replace(":", " ")}: ${ohms === null ? "open" : `${ohms} ohm`}`);
    this.across = this.following();
    this.note = "";
    this.show();
  }
}

function field(id, label, value) {
  return el("p", { class: "choice" }, el("label", { for: id }, label), el("input", { type: "text", inputmode: "decimal", id, size: 6, autocomplete: "off", value }));
}

/** A number typed into an input, with point or comma. @param {string} id @returns {number | null} */
export function numberIn(id) {
  const text = byId(id).value.trim().replace(",", ".");
  const x = Number(text);
  return text === "" || !Number.isFinite(x) ? null : x;
}
