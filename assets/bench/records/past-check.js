// An old check, to be looked at only: its verdict, drawing, coils and readings. What
// was expected of each reading is not stored: the program works it out again when
// the check is opened, or when it is asked for where that takes minutes, and the rest
// is looked at meanwhile.
import { asTyped, el } from "../../common/dom.js";
import { percent } from "../../common/states.js";
import { looksOf } from "../bench.js";
import { coilTable } from "../coil-table.js";
import { follow } from "../follow.js";
import { ask } from "../live.js";
import { PadDrawing } from "../pad-drawing.js";
import { showReadings } from "../readings-panel.js";
import { readCoils } from "../verdict-panel.js";
import { whyPanel } from "../why-panel.js";
import { LabelFields } from "./label.js";
import { Task } from "./task.js";
import { changes, checkBadge, ohmsRead, recordLinks, sum, when } from "./words.js";

const BROKEN = "The program does not answer. Is it still running? Start it again in its terminal, then try again.";

const MANY = 60; // readings that may take minutes

export class PastCheck {
  /** @param {{ontrouble: (e: Error) => void}} o */
  constructor(o) {
    this.o = o;
    this.place = el("div", { class: "rec-past" });
    this.turn = 0;
  }

  /** @param {string} id @param {boolean} focus whether the focus goes to it */
  async open(id, focus) {
    this.leave();
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
    this.reasons = el("div", {});
    this.task = new Task("rec-weigh", "Stop");
    this.again = el("button", { type: "button", class: "small", id: "rec-weigh-again", hidden: true, onclick: () => void this.weigh() }, "Work it out");
    const buttons = el("div", { class: "view-buttons" });
    const drawn = el("div", { class: "drawing" });
    this.drawing = new PadDrawing(drawn, { buttons, onpick: (k) => this.fill(k) });
    this.place.replaceChildren(back, ...this.head(), el("div", { class: "rec-columns" }, el("div", { class: "rec-drawing" }, buttons, drawn), this.card()), el("div", { class: "rec-columns" }, this.coils, this.holds));
    if (focus) this.place.querySelector("h2").focus();
    this.drawing.setPlan({ ...state.plan, name: `${state.plan.name} as it was claimed` });
    this.fill();
    const n = counting(state);
    if (n > MANY) this.offer(`What was expected of these ${n} readings has to be worked out again, which may take minutes.`);
    else if (n > 0) await this.weigh();
  }

  /** @param {string} why */
  offer(why) {
    this.task.outcome.replaceChildren(el("p", { class: "note" }, why));
    this.again.hidden = false;
  }

  /** What is being worked out for it is not wanted any more. */
  leave() {
    this.task?.stopper?.abort();
  }

  /** Has it worked out again what was expected of each reading. */
  async weigh() {
    const { turn, state, task } = this;
    const n = counting(state);
    const held = document.activeElement === this.again; // it goes
    this.again.hidden = true;
    const path = `api/checks/${encodeURIComponent(state.check.id)}/weighed`;
    const words = `Working out again what was expected of ${n} ${n === 1 ? "reading" : "readings"}`;
    const done = task.run(
      words,
      async ({ signal, tell }) => {
        const from = performance.now();
        let most = 0; // seconds after which it is given up
        const ticking = setInterval(() => {
          const s = Math.round((performance.now() - from) / 1000);
          tell(`${words}: all of them are held against one explanation after another, ${s} s so far${most ? `, ${Math.round(most / 60)} minutes at most` : ""}.`);
        }, 500);
        try {
          const told = await follow(path, { signal }, (m) => (most = m.progress.most_s), BROKEN);
          if (turn !== this.turn) return [];
          const { otherwise, ...known } = told;
          Object.assign(state, known);
          this.show();
          return otherwise.length > 0 ? [el("p", { class: "note" }, `Worked out again now, ${otherwise.join(", ")} ${otherwise.length === 1 ? "comes" : "come"} out otherwise: the program may have learned since. What was claimed then stands.`)] : [];
        } finally {
          clearInterval(ticking);
        }
      },
      () => "Stopped: what was read is shown without what was expected.",
    );
    if (held) /** @type {any} */ (this.place.querySelector("#past-name")).focus({ preventScroll: true });
    await done;
    if (turn === this.turn) this.again.hidden = Boolean(state.why);
  }

  head() {
    const { check, plan, sign_off: s, current, go_on: may, mended, after_mend: before } = this.state;
    const kind = check.rehearsal ? "Rehearsal" : "Check";
    return [
      el("h2", { id: "past-name", tabindex: "-1", dir: "auto" }, plan.name),
      el("p", { class: "note" }, `${kind} of ${when(check.began)}`, ...(s.label.serial ? [", serial number ", asTyped(s.label.serial)] : []), ". ", current ? el("a", { href: "#check" }, "It is on the bench now.") : may ? "Nothing was read since." : "Its readings cannot be changed."),
      may ? el("p", { class: "row" }, el("button", { type: "button", id: "past-go-on", onclick: () => void this.goOn() }, "Go on with this check"), el("span", { class: "note" }, "It comes back to the bench, for readings that are missing.")) : null,
      mended ? el("p", { id: "past-mended" }, "The pad was mended after this check. What came of it: ", el("a", { href: `#records/${mended.id}` }, `the check of ${when(mended.began)}`), ".") : null,
      before ? el("p", { id: "past-before" }, "The pad was mended before this check. What was wrong: ", el("a", { href: `#records/${before.id}` }, `the check of ${when(before.began)}`), ".") : null,
    ].filter(Boolean);
  }

  /** Takes it up again in the place of the check on the bench, of which nothing was read. */
  async goOn() {
    try {
      await ask(`api/checks/${encodeURIComponent(this.state.check.id)}/go-on`, {});
      location.hash = "#check";
    } catch (e) {
      this.o.ontrouble(e);
    }
  }

  card() {
    const { check, verdict: v, sign_off: s, compared } = this.state;
    const first = v?.outcome === "fault" && v.causes?.[0];
    const state = s.signed ? (s.signed.exception ? "exception" : "signed") : readCoils(this.state).length === 0 ? "unread" : v.outcome;
    return el(
      "section",
      { class: "card", "aria-label": "Verdict and record" },
      el("p", { class: "outcome" }, checkBadge(state, true)),
      s.signed ? el("p", {}, "By ", asTyped(s.signed.maker), `, ${when(s.signed.signed)}.`) : null,
      s.signed?.exception ? el("p", { class: "rec-typed", dir: "auto" }, s.signed.exception.reason) : null,
      first ? el("p", { class: "cause-say" }, `${first.say} (${percent(first.p)})`) : null,
      ...(v?.notes || []).map((n) => el("p", { class: "note" }, n)),
      this.reasons,
      ohmsRead(s.ohms),
      ...(s.signed ? [recordLinks(check.id), sum(s.signed.sha256)] : []),
      s.signed && s.label.note ? el("p", { class: "rec-typed", dir: "auto" }, s.label.note) : null,
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
    this.show();
  }

  show() {
    this.drawing.show(looksOf({ ...this.state, prompt: null }, this.selected));
    coilTable(this.coils, this.state, { past: true, selected: this.selected, onpick: (k) => this.fill(k) });
    showReadings(this.holds, this.state, { selected: this.selected, onpick: (k) => this.fill(k), ontrouble: this.o.ontrouble, say: () => {}, past: true, head: [this.task.place, this.again] });
    if (this.state.why && !this.reasons.firstChild) this.reasons.replaceChildren(whyPanel(this.state, { onlook: (id) => this.look(id) }) || "");
  }

  /** Shows what was read of a coil. @param {string} id */
  look(id) {
    this.selected = null;
    this.fill(id);
    this.holds.scrollIntoView({ block: "nearest" });
    this.holds.querySelector("summary")?.focus({ preventScroll: true });
  }
}

/** How many readings of a check count. @param {any} state */
function counting(state) {
  return [...state.holds, ...state.passes].filter((r) => !r.open && !r.thrown_out).length;
}
