// Serial number and note of a check that is not signed: two fields that lose
// nothing. What the program has not stored yet stays with the browser.
import { el } from "../../common/dom.js";
import { ask } from "../live.js";
import { keepTyped, typedFor } from "./typed.js";

export class LabelFields {
  /** @param {{check: string, label: {serial: string, note: string}, ontrouble: (e: Error) => void, onkept?: () => void}} o */
  constructor(o) {
    this.o = o;
    this.serial = /** @type {HTMLInputElement} */ (el("input", { name: "serial", dir: "auto", maxlength: 64, autocomplete: "off" }));
    this.note = /** @type {HTMLTextAreaElement} */ (el("textarea", { name: "note", dir: "auto", maxlength: 600, rows: 2 }));
    this.labels = [el("label", {}, "Serial number (may stay empty)", this.serial), el("label", {}, "Note (may stay empty)", this.note)];
    const typed = typedFor(o.check);
    this.stored = o.label;
    this.serial.value = typed.serial ?? o.label.serial;
    this.note.value = typed.note ?? o.label.note;
    for (const [name, field] of this.fields()) {
      field.addEventListener("input", () => keepTyped(o.check, { [name]: field.value }));
      field.addEventListener("change", () => void this.send());
    }
    if (typed.serial !== undefined || typed.note !== undefined) void this.send();
  }

  /** @returns {["serial" | "note", HTMLInputElement | HTMLTextAreaElement][]} */
  fields() {
    return [
      ["serial", this.serial],
      ["note", this.note],
    ];
  }

  async send() {
    const sent = { serial: this.serial.value, note: this.note.value };
    try {
      this.stored = await ask(`api/checks/${encodeURIComponent(this.o.check)}/label`, sent);
    } catch (e) {
      this.o.ontrouble(e);
      return;
    }
    for (const [name, field] of this.fields()) if (field.value === sent[name]) keepTyped(this.o.check, { [name]: undefined });
    this.o.onkept?.();
  }

  /** What the program has now, unless something else is being typed here. @param {{serial: string, note: string}} label */
  follow(label) {
    for (const [name, field] of this.fields()) {
      if (label[name] === this.stored[name] || field === document.activeElement || typedFor(this.o.check)[name] !== undefined) continue;
      field.value = label[name];
    }
    this.stored = label;
  }
}
