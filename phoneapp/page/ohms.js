// What an ohmmeter says of coils, strings and the pad. It goes with any route, as
// lines of the same capture, on a screen over the route's own.
import { byId, el } from "../common/dom.js";
import * as page from "./page.js";

const MOST_OHMS = 1e9; // as the bench takes them
const CELSIUS = [-50, 200];
/** So many times the plan's ohms, or that part of them, may be a slip: a point in the wrong place, or another string. @param {string} across */
const slip = (across) => (across.startsWith("coil:") ? 5 : 1.5);

/** @typedef {{across: string, t: number, say: string}} Noted */

let bodies = 0; // drawn so far, each with fields of its own

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
    /** What was noted on this phone, the newest first. @type {Noted[]} */
    this.noted = tools.ohmsNoted;
    this.body = ++bodies;
    this.note = "";
    /** The last of the list was noted. */
    this.through = false;
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
      bodied: `ohms ${this.body}`,
      body: [
        el("p", { class: "choice" }, el("label", { for: "across" }, "Measured across"), this.select()),
        field("ohms-value", this.label(), "", () => this.noteNumber()),
        field("celsius", "Temperature of the coil, °C", this.celsius, () => this.noteNumber()),
        this.list(),
      ],
      actions: [
        { label: "Note it", id: "note-ohms", main: !this.through, onclick: () => this.noteNumber() },
        { label: "It is open (no reading)", id: "note-open", onclick: () => this.add(null) },
        ...this.undo(),
        this.back(),
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
      bodied: `ohms ${this.body}`,
      body: [el("p", { class: "choice" }, el("label", { for: "across" }, "Measured across"), this.select()), this.list()],
      actions: [
        { label: "Measure it", id: "measure-ohms", main: !this.through, onclick: () => void this.measure() },
        ...this.undo(),
        this.back(),
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

  /** @returns {import("./page.js").Action} */
  back() {
    return { label: this.through ? "Done, go on" : "Back", id: "back", main: this.through, onclick: this.close };
  }

  list() {
    return this.noted.length > 0 ? el("ul", { class: "coils", "aria-label": "Noted" }, ...this.noted.map((n) => el("li", {}, n.say))) : null;
  }

  undo() {
    const [last] = this.noted;
    if (!last) return [];
    const name = named(last.across);
    return [{ label: `Undo ${name}`, id: "undo-ohms", onclick: () => this.takeBack(last, `Taken back: ${name}.`) }];
  }

  /** @param {Noted} n @param {string} note */
  takeBack(n, note) {
    this.drop(n);
    this.across = n.across;
    this.through = false;
    this.note = note;
    this.show();
  }

  /** @param {Noted} n */
  drop(n) {
    this.tools.stream.undo(n.across, n.t);
    this.noted.splice(this.noted.indexOf(n), 1);
    this.body = ++bodies;
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
      this.through = false;
      const typed = document.querySelector("label[for=ohms-value]");
      if (typed) typed.textContent = this.label();
      this.show();
    });
    return select;
  }

  /** What the plan has there, at 20 degrees. @returns {number | null} */
  planned() {
    const p = this.tools.told.predicted;
    const [kind, id] = this.across.split(":");
    const has = { coil: p?.coils, string: p?.strings }[kind]?.find((x) => x.id === id) || (kind === "pad" ? p?.pad : null);
    return typeof has?.ohms === "number" ? has.ohms : null;
  }

  /** What is to be typed, with what the plan has there. */
  label() {
    const planned = this.planned();
    return planned === null ? "Ohms" : `Ohms (planned ${planned.toFixed(2)} at 20\u00a0\u00b0C)`;
  }

  /** What is measured after this: the next in the list, as a hand goes through it. */
  following() {
    const p = this.tools.told.plan;
    const all = [...p.coils.map((c) => `coil:${c.id}`), ...p.strings.map((s) => `string:${s.id}`), ...p.groups.map((g) => `group:${g.id}`), "pad"];
    return all[all.indexOf(this.across) + 1] || "pad";
  }

  noteNumber() {
    const ohms = numberIn("ohms-value");
    if (ohms !== null && ohms >= 0 && ohms <= MOST_OHMS) this.add(ohms);
    else this.refuse("ohms-value", "Expected a number of ohms, as in 0.97. Where the meter gives no reading, it is open.");
  }

  /** @param {string} id of the field @param {string} note */
  refuse(id, note) {
    this.note = note;
    this.show();
    byId(id).focus();
  }

  /** @param {number | null} ohms null: open */
  add(ohms) {
    const typed = byId("celsius").value.trim();
    const celsius = ohms === null ? null : numberIn("celsius"); // open is open, warm or cold
    if (ohms !== null && typed !== "" && (celsius === null || celsius < CELSIUS[0] || celsius > CELSIUS[1])) {
      this.refuse("celsius", `Expected a temperature from ${CELSIUS[0]} to ${CELSIUS[1]} °C, as in 21. Leave it empty if you do not know it.`);
      return;
    }
    this.celsius = typed;
    const [planned, name, times] = [this.planned(), named(this.across), slip(this.across)];
    this.keep(ohms, celsius);
    const far = (/** @type {number} */ x) => planned !== null && (x > planned * times || x * times < planned);
    if (ohms !== null && planned !== null && far(ohms)) {
      const milli = far(ohms / 1000) ? "" : ` Did the meter show milliohms? Then it is ${ohms / 1000} ohm.`;
      this.note = `${name}: ${ohms} ohm is far from the planned ${planned.toFixed(2)}.${milli} If it was a slip, take it back with Undo.`;
      this.show();
    }
    byId(this.through ? "back" : "ohms-value").focus();
  }

  /** @param {number | null} ohms @param {number | null} celsius */
  keep(ohms, celsius) {
    const before = this.noted.find((n) => n.across === this.across);
    if (before) this.drop(before); // the newer one takes its place
    const t = this.tools.clock.at();
    const line = { type: "ohms", t, across: this.across, ohms };
    this.tools.stream.add(celsius === null ? line : { ...line, celsius });
    this.tools.stream.flush();
    const planned = this.planned();
    this.noted.unshift({ across: this.across, t, say: `${named(this.across)}: ${ohms === null ? "open" : `${ohms} ohm`}${planned === null ? "" : `, planned ${planned.toFixed(2)}`}` });
    this.body = ++bodies;
    this.through = this.across === "pad";
    this.across = this.following();
    this.note = "";
    this.show();
  }
}

/** @param {string} across */
const named = (across) => (across === "pad" ? "the pad" : across.replace(":", " "));

/** @param {string} id @param {string} label @param {string} value @param {() => void} onenter */
function field(id, label, value, onenter) {
  const onkeydown = (/** @type {KeyboardEvent} */ e) => {
    if (e.key !== "Enter") return;
    e.preventDefault(); // the button that has the focus then is not pressed too
    onenter();
  };
  return el("p", { class: "choice" }, el("label", { for: id }, label), el("input", { type: "text", inputmode: "decimal", id, size: 6, autocomplete: "off", value, onkeydown }));
}

/** A number typed into an input, with point or comma. @param {string} id @returns {number | null} */
export function numberIn(id) {
  const text = byId(id).value.trim().replace(",", ".");
  const x = Number(text);
  return text === "" || !Number.isFinite(x) ? null : x;
}
