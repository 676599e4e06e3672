// The sign-off: one form for a check, kept while it is filled in, whatever the
// phones send meanwhile.
import { el } from "../../common/dom.js";
import { stateBadge, wordOf } from "../../common/states.js";
import { ask } from "../live.js";
import { readCoils } from "../verdict-panel.js";
import { changes, recordLinks, sum, when } from "./words.js";

const MAKER = "polewise-maker"; // whose name was typed last on this computer
const COMPARE_MS = 1500;
const SHOWN = 30; // coils named in an exception

export class SignOff {
  /** @param {{place: HTMLElement, onagain: () => void}} o */
  constructor(o) {
    this.o = o;
    this.check = "";
    this.key = "";
    this.compared = el("div", {});
    this.timer = 0;
  }

  /** @param {any} state */
  show(state) {
    const s = state.sign_off;
    const { place } = this.o;
    place.hidden = !s || readCoils(state).length === 0;
    if (place.hidden) return;
    if (state.check.id !== this.check) {
      this.check = state.check.id;
      this.key = "";
      this.build(s);
    }
    if (!s.signed && !state.check.rehearsal) this.compare(state);
    const claims = Object.fromEntries(state.verdict.coils.map((c) => [c.id, c.state]));
    const key = JSON.stringify([s.signed, s.refused, s.except, s.ohms, s.except && claims]);
    if (key === this.key) return;
    this.key = key;
    this.except = s.except;
    const title = el("h2", { class: "kicker" }, "Sign-off");
    if (s.signed) place.replaceChildren(title, ...this.signed(s.signed));
    else if (s.refused) place.replaceChildren(title, el("p", { class: "note" }, s.refused));
    else place.replaceChildren(title, this.compared, ...this.open(s, claims));
  }

  signed(signed) {
    const badge = signed.exception ? stateBadge("undecided", "Signed off with an exception") : stateBadge("as-planned", "Signed off");
    return [
      el("p", { class: "outcome" }, badge),
      el("p", {}, `By ${signed.maker}, ${when(signed.signed)}`, signed.serial ? `, serial number ${signed.serial}` : "", "."),
      signed.exception ? el("p", { class: "rec-typed" }, signed.exception.reason) : null,
      recordLinks(this.check),
      sum(signed.sha256),
      el("p", { class: "note" }, "This check takes no more readings. To read the pad again begin a new check; it is compared with this record."),
      el("button", { type: "button", id: "check-signed-again", onclick: this.o.onagain }, "Check this pad again"),
    ].filter(Boolean);
  }

  /** The fields, made once for a check. */
  build(s) {
    const field = (name, words, value, attributes, area) => {
      const input = /** @type {any} */ (el(area ? "textarea" : "input", { name, ...attributes }));
      input.value = value;
      return { input, label: el("label", {}, words, input) };
    };
    const keep = () => {
      ask(`api/checks/${encodeURIComponent(this.check)}/label`, { serial: this.serial.input.value, note: this.note.input.value }).catch((e) => (this.trouble.textContent = e.message));
    };
    this.serial = field("serial", "Serial number", s.label.serial, { maxlength: 64, autocomplete: "off", onchange: keep });
    this.maker = field("maker", "Your name or initials", localStorage.getItem(MAKER) || "", { maxlength: 64, autocomplete: "off" });
    this.note = field("note", "Note (may stay empty)", s.label.note, { maxlength: 600, rows: 2, onchange: keep }, true);
    this.reason = field("reason", "Why it is signed all the same (stands on the record)", "", { maxlength: 600, rows: 3 }, true);
    this.trouble = el("p", { class: "trouble", role: "alert" });
    this.button = /** @type {any} */ (el("button", { type: "submit", class: "main", id: "sign" }, "Sign off"));
    this.facts = el("div", {});
    this.form = el(
      "form",
      { class: "rec-form" },
      this.facts,
      this.reason.label,
      this.serial.label,
      this.maker.label,
      this.note.label,
      el("p", { class: "note" }, "What is signed stays as it is signed: nobody can change or delete it here."),
      this.trouble,
      el("div", { class: "row" }, this.button),
    );
    this.form.addEventListener("submit", (e) => {
      e.preventDefault();
      void this.sign();
    });
    this.fold = el("details", {}, el("summary", {}, "Sign off with a written exception"), this.form);
    this.compared.replaceChildren();
  }

  open(s, claims) {
    const read = s.ohms.filter((o) => o.counts);
    const ohms =
      read.length === 0
        ? "No ohms were read."
        : read.every((o) => o.agrees)
          ? `${read.length} ohmmeter readings, all within the plan's bounds.`
          : `${read.filter((o) => !o.agrees).length} of ${read.length} ohmmeter readings are outside the plan's bounds.`;
    this.reason.label.hidden = !s.except;
    this.reason.input.required = Boolean(s.except);
    if (!s.except) {
      this.button.textContent = "Sign off";
      this.facts.replaceChildren(el("p", {}, `Every coil is claimed as planned. ${ohms}`));
      return [this.form];
    }
    this.button.textContent = "Sign off with this exception";
    const { coils, ohms: against, wiring } = s.except;
    this.facts.replaceChildren(
      el("p", {}, "The record will say in plain sight what is wrong or not decided:"),
      el(
        "ul",
        {},
        coils.length > 0 ? el("li", {}, coils.slice(0, SHOWN).map((id) => `${id} ${wordOf(claims[id])}`).join(", ") + (coils.length > SHOWN ? ` and ${coils.length - SHOWN} more` : "")) : null,
        against.length > 0 ? el("li", {}, `ohms outside the plan's bounds: ${against.map((a) => a.replace(":", " ")).join(", ")}`) : null,
        wiring ? el("li", {}, wiring) : null,
      ),
      el("p", { class: "note" }, ohms),
    );
    if (this.form.parentElement !== this.fold) this.fold.append(this.form);
    return [el("p", {}, "It can be signed off once every coil is claimed as planned and the ohms, if any were read, agree."), this.fold];
  }

  async sign() {
    this.button.disabled = true;
    this.trouble.textContent = "";
    try {
      localStorage.setItem(MAKER, this.maker.input.value);
      await ask("api/sign-off", {
        check: this.check,
        serial: this.serial.input.value,
        maker: this.maker.input.value,
        note: this.note.input.value,
        except: this.except ? { reason: this.reason.input.value, ...this.except } : null,
      });
    } catch (e) {
      this.trouble.textContent = e.message;
    } finally {
      this.button.disabled = false;
    }
  }

  /** Puts what was signed before beside what is read now, a moment after it changed. */
  compare(state) {
    const seen = JSON.stringify([this.check, state.verdict.coils.map((c) => [c.state, c.measured_uT]), state.sign_off.ohms, state.sign_off.label]);
    if (seen === this.seen) return;
    this.seen = seen;
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      const check = this.check;
      const answer = await ask(`api/checks/${encodeURIComponent(check)}/compared`).catch(() => null);
      if (check !== this.check || !answer) return;
      this.compared.replaceChildren(...(answer.compared ? [changes(answer.compared)] : []));
    }, COMPARE_MS);
  }
}
