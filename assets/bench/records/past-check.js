// An old check, to be looked at only: its verdict, drawing, coils and readings.
import { el } from "../../common/dom.js";
import { percent } from "../../common/states.js";
import { looksOf } from "../bench.js";
import { coilTable } from "../coil-table.js";
import { ask } from "../live.js";
import { PadDrawing } from "../pad-drawing.js";
import { showReadings } from "../readings-panel.js";
import { readCoils } from "../verdict-panel.js";
import { LabelFields } from "./label.js";
import { changes, checkBadge, recordLinks, sum, when } from "./words.js";

export class PastCheck {
  /** @param {{ontrouble: (e: Error) => void}} o */
  constructor(o) {
    this.o = o;
    this.place = el("div", { class: "rec-past" });
    this.turn = 0;
  }

  /** @param {string} id @param {boolean} focus whether the focus goes to it */
  async open(id, focus) {
    const turn = ++this.turn;
    const back = el("p", {}, el("a", { href: "#records" }, "All pads and checks"));
    this.place.replaceChildren(back, el("p", { role: "status" }, "Opening the check…"));
    this.state = null;
    let state;
    try {
      state = await ask(`api/checks/${encodeURIComponent(id)}`);
    } catch (e) {
      if (turn === this.turn) this.place.replaceChildren(back, el("p", { class: "trouble", role: "alert" }, e.message));
      return;
    }
    if (turn !== this.turn) return;
    this.state = state;
    this.selected = null;
    this.coils = el("section", { class: "card", "aria-label": "Coils" });
    this.holds = el("section", { class: "card", "aria-label": "Readings" });
    const buttons = el("div", { class: "view-buttons" });
    const drawn = el("div", { class: "drawing" });
    this.drawing = new PadDrawing(drawn, { buttons, onpick: (k) => this.fill(k) });
    this.place.replaceChildren(back, ...this.head(), el("div", { class: "rec-columns" }, el("div", { class: "rec-drawing" }, buttons, drawn), this.card()), el("div", { class: "rec-columns" }, this.coils, this.holds));
    if (focus) this.place.querySelector("h2").focus();
    this.drawing.setPlan({ ...state.plan, name: `${state.plan.name} as it was claimed` });
    this.fill();
  }

  head() {
    const { check, plan, sign_off: s, current } = this.state;
    const kind = check.rehearsal ? "Rehearsal" : "Check";
    return [
      el("h2", { id: "past-name", tabindex: "-1" }, plan.name),
      el("p", { class: "note" }, `${kind} of ${when(check.began)}${s.label.serial ? `, serial number ${s.label.serial}` : ""}. `, current ? el("a", { href: "#check" }, "It is on the bench now.") : "It can be looked at, not changed."),
    ];
  }

  card() {
    const { check, verdict: v, sign_off: s, compared } = this.state;
    const first = v?.outcome === "fault" && v.causes?.[0];
    const state = s.signed ? (s.signed.exception ? "exception" : "signed") : readCoils(this.state).length === 0 ? "unread" : v.outcome;
    return el(
      "section",
      { class: "card", "aria-label": "Verdict and record" },
      el("p", { class: "outcome" }, checkBadge(state, true)),
      s.signed ? el("p", {}, `By ${s.signed.maker}, ${when(s.signed.signed)}.`) : null,
      s.signed?.exception ? el("p", { class: "rec-typed" }, s.signed.exception.reason) : null,
      first ? el("p", { class: "cause-say" }, `${first.say} (${percent(first.p)})`) : null,
      ...(v?.notes || []).map((n) => el("p", { class: "note" }, n)),
      ...(s.signed ? [recordLinks(check.id), sum(s.signed.sha256)] : []),
      s.signed && s.label.note ? el("p", { class: "rec-typed" }, s.label.note) : null,
      !s.signed ? this.labels() : null,
      compared ? changes(compared) : null,
      el("p", { class: "row rec-links" }, ...[["json", "Export this check as JSON"], ["csv", "its coils as CSV"], ["captures", "its captures"]].map(([as, words]) => el("a", { href: `api/checks/export?ids=${check.id}&as=${as}`, download: "" }, words))),
    );
  }

  /** What a check that is not signed is called. */
  labels() {
    const { check, sign_off: s } = this.state;
    const kept = el("p", { class: "note", role: "status" });
    const fields = new LabelFields({ check: check.id, label: s.label, ontrouble: this.o.ontrouble, onkept: () => (kept.textContent = "kept") });
    const form = el("form", { class: "rec-form" }, ...fields.labels, el("div", { class: "row" }, el("button", { type: "submit", class: "small" }, "Keep serial number and note"), kept));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      void fields.send();
    });
    return form;
  }

  /** @param {string | null} [id] */
  fill(id = null) {
    this.selected = this.selected === id ? null : id;
    this.drawing.show(looksOf({ ...this.state, prompt: null }, this.selected));
    coilTable(this.coils, this.state, { past: true, selected: this.selected, onpick: (k) => this.fill(k) });
    showReadings(this.holds, this.state, { selected: this.selected, onpick: (k) => this.fill(k), ontrouble: this.o.ontrouble, say: () => {}, past: true });
  }
}
