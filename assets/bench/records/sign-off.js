// The sign-off: one form for a check, kept while it is filled in, whatever the
// phones send meanwhile.
import { asTyped, el } from "../../common/dom.js";
import { list } from "../../common/names.js";
import { stateBadge, wordOf } from "../../common/states.js";
import { ask } from "../live.js";
import { readBefore } from "../mend.js";
import { readCoils } from "../verdict-panel.js";
import { LabelFields } from "./label.js";
import { dropTyped, keepTyped, typedFor } from "./typed.js";
import { changes, ohmWords, recordLinks, sum, when } from "./words.js";

const MAKER = "polewise-maker"; // whose name was typed last on this computer
const COMPARE_MS = 1500;
const UNREAD = "not read";
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
      this.signing = false;
      this.build(s);
    }
    if (!s.signed) this.label.follow(s.label);
    if (!s.signed && !state.check.rehearsal) this.compare(state);
    const claims = Object.fromEntries(state.verdict.coils.map((c) => [c.id, c.used > 0 ? wordOf(c.state) : UNREAD]));
    const wiring = wiringWords(state);
    const key = JSON.stringify([s.signed, s.refused, s.except, s.measure, s.ohms, s.except && claims, wiring]);
    if (key === this.key) return;
    this.key = key;
    this.except = s.except;
    // What is put in again loses the focus; a person may be typing.
    const focused = place.contains(document.activeElement) ? /** @type {HTMLElement} */ (document.activeElement) : null;
    const title = el("h2", { class: "kicker", tabindex: "-1" }, "Sign-off");
    if (s.signed) place.replaceChildren(title, ...this.signed(s.signed));
    else if (s.refused) place.replaceChildren(title, el("p", { class: "note" }, s.refused));
    else place.replaceChildren(title, this.compared, ...this.open(s, claims, wiring));
    if (s.signed && this.signing) title.focus();
    else if (focused && place.contains(focused)) focused.focus({ preventScroll: true });
  }

  /** Leads to what is to be filled in. */
  goTo() {
    this.o.place.scrollIntoView({ block: "start" });
    const empty = [this.label.serial, this.maker.input].find((input) => !input.value);
    (empty || this.button).focus({ preventScroll: true });
  }

  signed(signed) {
    const badge = signed.exception ? stateBadge("undecided", "Signed off with an exception") : stateBadge("as-planned", "Signed off");
    return [
      el("p", { class: "outcome" }, badge),
      el("p", {}, "By ", asTyped(signed.maker), `, ${when(signed.signed)}`, ...(signed.serial ? [", serial number ", asTyped(signed.serial)] : []), "."),
      signed.exception ? el("p", { class: "rec-typed", dir: "auto" }, signed.exception.reason) : null,
      recordLinks(this.check),
      sum(signed.sha256),
      el("p", { class: "note" }, "This check takes no more readings. To read the pad again begin a new check; it is compared with this record."),
      el("button", { type: "button", id: "check-signed-again", onclick: this.o.onagain }, "Check this pad again"),
    ].filter(Boolean);
  }

  /** The fields, made once for a check. */
  build(s) {
    const field = (name, words, value, attributes, area) => {
      const input = /** @type {any} */ (el(area ? "textarea" : "input", { name, dir: "auto", ...attributes }));
      input.value = value;
      return { input, label: el("label", {}, words, input) };
    };
    const { check } = this;
    const typed = typedFor(check);
    const kept = (name) => ({ oninput: (e) => keepTyped(check, { [name]: e.target.value }) });
    this.label = new LabelFields({ check, label: s.label, ontrouble: (e) => (this.trouble.textContent = e.message), onkept: () => (this.trouble.textContent = "") });
    this.maker = field("maker", "Your name or initials", typed.maker ?? (localStorage.getItem(MAKER) || ""), { maxlength: 64, autocomplete: "off", required: true, ...kept("maker") });
    this.reason = field("reason", "Why it is signed all the same (stands on the record)", typed.reason ?? "", { maxlength: 600, rows: 3, ...kept("reason") }, true);
    this.trouble = el("p", { class: "trouble", role: "alert" });
    this.button = /** @type {any} */ (el("button", { type: "submit", class: "main", id: "sign" }, "Sign off"));
    this.facts = el("div", {});
    this.form = el(
      "form",
      { class: "rec-form" },
      this.facts,
      this.reason.label,
      this.label.labels[0],
      this.maker.label,
      this.label.labels[1],
      el("p", { class: "note" }, "What is signed stays as it is signed: nobody can change or delete it here."),
      this.trouble,
      el("div", { class: "row" }, this.button),
    );
    this.form.addEventListener("submit", (e) => {
      e.preventDefault();
      void this.sign();
    });
    this.fold = el("details", { open: Boolean(typed.reason) }, el("summary", {}, "Sign off with a written exception"), this.form);
    this.compared.replaceChildren();
  }

  open(s, claims, wiringSaid) {
    const read = s.ohms.filter((o) => o.counts);
    const against = read.filter((o) => !o.agrees).length;
    const ohms = `${read.length} ohmmeter ${read.length === 1 ? "reading" : "readings"}, ${against === 0 ? (read.length === 1 ? "" : "all ") + "within" : `${against} outside`} the plan's bounds.`;
    this.reason.label.hidden = !s.except;
    this.reason.input.required = Boolean(s.except);
    if (!s.except) {
      this.button.textContent = "Sign off";
      this.facts.replaceChildren(el("p", {}, `Every coil was read and is claimed as planned. ${ohms}`));
      return [this.form];
    }
    this.button.textContent = "Sign off with this exception";
    const { coils, ohms: off, ohms_unread: unread, wiring } = s.except;
    this.facts.replaceChildren(
      el("p", {}, "The record will say in plain sight what is wrong, not decided or not read:"),
      el(
        "ul",
        {},
        coils.length > 0 ? el("li", {}, coils.slice(0, SHOWN).map((id) => `${id} ${claims[id]}`).join(", ") + (coils.length > SHOWN ? ` and ${coils.length - SHOWN} more` : "")) : null,
        off.length > 0 ? el("li", {}, `ohms outside the plan's bounds: ${read.filter((o) => !o.agrees).map(ohmWords).join("; ")}`) : null,
        unread ? el("li", {}, "the ohms of the whole wiring were not read: those of the pad, of every string or of every coil") : null,
        wiring ? el("li", {}, wiring) : null,
      ),
      ...(read.length > 0 ? [el("p", { class: "note" }, ohms)] : []),
    );
    if (this.form.parentElement !== this.fold) this.fold.append(this.form);
    return [el("p", {}, "Not to be signed off as it is: ", el("strong", { id: "not-yet" }, notYet(s.except, claims, wiringSaid, read)), s.measure ? ` ${s.measure} Note it on the phone or in the ohms sheet under Plan.` : "", " Read or mend what is missing; or sign with a written exception."), this.fold];
  }

  async sign() {
    const { check } = this;
    const words = this.button.textContent;
    this.button.disabled = true;
    this.button.textContent = "Making the record\u2026";
    this.trouble.textContent = "";
    this.signing = true;
    try {
      localStorage.setItem(MAKER, this.maker.input.value);
      await ask("api/sign-off", {
        check,
        serial: this.label.serial.value,
        maker: this.maker.input.value,
        note: this.label.note.value,
        except: this.except ? { reason: this.reason.input.value, ...this.except } : null,
      });
      dropTyped(check);
    } catch (e) {
      this.signing = false;
      this.trouble.textContent = e.message;
      this.button.textContent = words;
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

/** What there is to say of the wiring as a whole, where something is. @param {any} state */
function wiringWords(state) {
  const before = readBefore(state);
  if (before.length > 0) return `not read since the mend: ${before.length > SHOWN ? `${before.length} coils` : list(before)}`;
  return state.verdict.outcome === "fault" ? "the wiring is not as planned" : "the wiring is not decided yet";
}

/** What stands against signing, in a sentence. @param {any} except @param {Record<string, string>} claims @param {string} wiringSaid @param {any[]} measured ohms that count */
function notYet({ coils, ohms, ohms_unread: unread, wiring }, claims, wiringSaid, measured) {
  const parts = [];
  const tell = (ids, one, many) => ids.length > 0 && parts.push(ids.length === 1 ? `${ids[0]} ${one}` : `${ids.length} coils ${many}`);
  tell(coils.filter((id) => claims[id] !== UNREAD), "is not claimed as planned", "are not claimed as planned");
  tell(coils.filter((id) => claims[id] === UNREAD), "was not read", "were not read");
  if (wiring) parts.push(wiringSaid);
  if (ohms.length > 3) parts.push(`${ohms.length} ohmmeter readings are outside the plan's bounds`);
  else if (ohms.length > 0) parts.push(measured.filter((o) => !o.agrees).map(ohmWords).join("; "));
  if (unread) parts.push("the ohms of the whole wiring were not read");
  return `${parts.join("; ")}.`;
}
