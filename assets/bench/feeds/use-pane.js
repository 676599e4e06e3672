// A taught source at work: the supply, and which coil it lies on.
import { ampsDoubt } from "../../common/amps.js";
import { el, setText } from "../../common/dom.js";
import { keep, keepTyping } from "../kept.js";

const ENOUGH = 25; // readings of a usual hold

export class UsePane {
  /** @param {any} f @param {import("./source-view.js").Tools} tools */
  constructor(f, tools) {
    this.tools = tools;
    this.source = f.source;
    this.chosen = false; // the person picked a coil by hand
    /** Amps typed that were asked about. @type {number | null} */
    this.doubted = null;
    this.field = el("p", { class: "doing" });
    this.off = toggle("Supply is off", () => tools.tryTo(() => this.supply(false)));
    this.on = toggle("Supply is on", () => tools.tryTo(() => this.supply(true)));
    this.amps = /** @type {HTMLInputElement} */ (el("input", { type: "text", inputmode: "decimal", size: 6, name: "amps" }));
    keepTyping(this.amps, `amps ${f.source}`);
    this.coil = /** @type {HTMLSelectElement} */ (el("select", { name: "coil", onchange: () => (this.chosen = true) }));
    this.hold = /** @type {HTMLButtonElement} */ (el("button", { type: "button", class: "main hold-button", onclick: () => this.tools.tryTo(() => this.press()) }));
    this.say = el("p", { class: "feed-say", role: "status" });
    this.name = /** @type {HTMLInputElement} */ (el("input", { type: "text", maxlength: 40, name: "rename", value: f.dialect.name }));
    keepTyping(this.name, `rename ${f.source}`);
    this.how = el("p", { class: "note" });
    this.node = el(
      "div",
      {},
      this.field,
      this.say,
      el("div", { class: "row" }, this.off, this.on, el("label", { class: "feed-amps" }, "amps shown ", this.amps)),
      el("div", { class: "row" }, el("label", { class: "feed-coil" }, "It lies on ", this.coil), this.hold),
      el(
        "details",
        { class: "feed-kept" },
        el("summary", {}, "What was shown of it"),
        this.how,
        el(
          "form",
          { class: "row", onsubmit: (e) => (e.preventDefault(), tools.tryTo(() => tools.act("rename", { name: this.dialect.name, to: this.name.value }))) },
          el("label", {}, "Name ", this.name),
          el("button", { type: "submit", class: "small" }, "Rename"),
        ),
        el(
          "div",
          { class: "row" },
          el("button", { type: "button", class: "small", onclick: () => tools.teachAnew(true) }, "Show it again"),
          el("button", { type: "button", class: "small", onclick: () => tools.tryTo(() => tools.act("forget", { name: this.dialect.name })) }, "Forget it"),
          el("button", { type: "button", class: "small", onclick: () => tools.tryTo(() => tools.act("drop", { source: this.source })) }, "Take off this list"),
        ),
      ),
    );
  }

  /** @param {any} f */
  show(f) {
    const d = f.dialect;
    if (!d) return;
    this.f = f;
    if (this.dialect && this.dialect.name !== d.name) {
      this.name.value = d.name;
      keep(`rename ${this.source}`, null);
    }
    this.dialect = d;
    setText(this.field, f.uT ? "xyz".split("").map((a, i) => `${a} ${f.uT[i].toFixed(0).replace("-", "−").padStart(5)}`).join("  ") + " uT" : "no reading of the field yet");
    setText(this.how, `Field: ${d.field.join(", ")} in ${d.unit === "counts" ? `counts, ${d.per_uT} a microtesla` : d.unit}. Axes: ${axes(d.axes)}.${d.gravity ? ` Gravity: ${d.gravity.join(", ")}.` : ""} Time: ${d.time ? `${d.time} in ${d.time_unit}` : "when it arrives"}.`);
    this.showCoils(f);
    const off = f.supply === "off";
    const on = f.supply === "on" || f.supply === "pulse";
    this.off.setAttribute("aria-pressed", String(off));
    this.on.setAttribute("aria-pressed", String(on));
    setText(this.hold, f.at ? `End hold on ${f.at}` : "Begin hold");
    this.hold.disabled = !f.at && (!f.supply || f.rehearsal || !f.live);
    this.coil.disabled = Boolean(f.at);
    setText(this.say, this.words(f, off));
  }

  words(f, off) {
    if (f.rehearsal) return "A rehearsal is going on. This sensor counts once a new check of a real pad is begun.";
    if (f.missing) return `Its messages come without ${f.missing}. Show it again, or see what changed in what it sends.`;
    if (!f.live) return "It sends nothing now.";
    if (f.at) return f.in_hold < ENOUGH ? `Keep it still on ${f.at}: ${f.in_hold} of ${ENOUGH} readings.` : `${f.at}: ${f.in_hold} readings, enough. End the hold.`;
    if (!f.supply) return "Lay it anywhere on the pad, flat, its top edge away from you. Switch the supply off and say so here.";
    if (off) return "Leave it lying for two seconds. Then switch the supply on and say so.";
    const asked = this.tools.check()?.prompt?.at;
    const first = asked || this.chosen ? "" : "Nothing more is asked for. To read a coil again: ";
    return `${first}${first ? "lay" : "Lay"} it on ${this.coil.value}, flat, its top edge away from you, and begin the hold.${f.full ? " Readings between holds are no longer kept: there are enough." : ""}`;
  }

  /** The coil asked for next is picked by itself, unless the person picked one. */
  showCoils(f) {
    const check = this.tools.check();
    if (!check) return;
    const ids = check.plan.coils.map((c) => c.id);
    if (this.ids !== ids.join()) {
      this.ids = ids.join();
      this.coil.replaceChildren(...ids.map((id) => el("option", { value: id }, id)));
      this.chosen = false;
    }
    if (f.at) this.coil.value = f.at;
    else if (!this.chosen && check.prompt?.at && document.activeElement !== this.coil) this.coil.value = check.prompt.at;
  }

  async supply(on) {
    const text = this.amps.value.trim().replace(",", ".");
    const amps = on && text ? Number(text) : null;
    if (amps !== null && !(amps > 0)) throw new Error("Expected the amps as a number, as in 0.8, or nothing.");
    const state = this.tools.check();
    const doubt = amps === null || amps === this.doubted || !state ? "" : ampsDoubt(amps, { amps: state.predicted?.pad?.amps, strings: state.predicted?.strings, supply: state.plan.supply });
    this.doubted = doubt ? amps : null; // asked about once
    if (doubt) throw new Error(`${doubt} Put it right, or press once more if the supply shows that.`);
    await this.tools.act("supply", { source: this.source, on, amps });
  }

  async press() {
    if (this.f.at) {
      await this.tools.act("lift", { source: this.source });
      this.chosen = false;
    } else {
      await this.tools.act("hold", { source: this.source, at: this.coil.value });
    }
  }
}

function axes(a) {
  return a.from.map((from, i) => `${"xyz"[i]} = ${a.sign[i] < 0 ? "−" : ""}${"xyz"[from]}`).join(", ");
}

function toggle(words, run) {
  return el("button", { type: "button", "aria-pressed": "false", onclick: () => run() }, words);
}
