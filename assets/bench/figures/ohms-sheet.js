// The ohms sheet: what an ohmmeter should read, what it did read, and what the
// difference may mean. What is typed stays on this computer until it is used in a
// check.
import { el, setText } from "../../common/dom.js";
import { ask } from "../live.js";
import { entries } from "./entries.js";
import { digits, parse, plainNumber } from "./numbers.js";
import { printOnly } from "./printing.js";

const WAIT_MS = 350; // after the last key
const STATES = { "as-planned": ["\u2713", "as planned"], low: ["\u25bc", "low"], high: ["\u25b2", "high"], open: ["\u25cb", "open"] };

/** @typedef {{value: string, open: boolean}} Typed */

export class OhmsSheet {
  constructor() {
    /** @type {any} */
    this.figures = null;
    this.planTOML = "";
    this.key = "";
    /** The check whose plan this is; empty if none is. */
    this.check = "";
    /** @type {Record<string, Typed>} */
    this.typed = {};
    this.asked = 0;
    this.rows = new Map();
    this.name = el("p", { class: "sheet-name" });
    this.how = el("p", { class: "note" });
    this.body = el("tbody");
    this.together = el("div", { class: "together", role: "status" });
    this.trouble = el("p", { class: "trouble", role: "alert" });
    this.use = /** @type {HTMLButtonElement} */ (el("button", { type: "button", id: "use-ohms", class: "small main", onclick: () => void this.useInCheck() }, "Use in the check"));
    this.used = el("p", { class: "note", id: "ohms-used", role: "status", tabindex: "-1" });
    this.element = el(
      "section",
      { class: "card figure-card wide", id: "ohms-sheet", "aria-labelledby": "ohms-sheet-title" },
      el(
        "div",
        { class: "panel-head" },
        el("h3", { class: "kicker", id: "ohms-sheet-title" }, "Ohms sheet"),
        el("button", { type: "button", class: "small", id: "print-ohms", onclick: () => printOnly("ohms") }, "Print the sheet"),
      ),
      el("div", { class: "sheet-head" }, el("p", { class: "sheet-title" }, "Ohms sheet"), this.name, el("p", { class: "sheet-lines" }, ...["Date", "Temperature of the coils, °C", "Meter", "By"].map((w) => el("span", {}, w)))),
      this.how,
      el(
        "div",
        { class: "sheet-scroll" },
        el(
          "table",
          { class: "ohms-table" },
          el("caption", { class: "out-of-sight" }, "Ohms expected and read"),
          el("thead", {}, el("tr", {}, ...["across", "expected, ohm", "read, ohm", "or"].map((h) => el("th", { scope: "col" }, h)), el("th", { scope: "col" }, el("span", { class: "on-screen" }, "what it says"), el("span", { class: "on-sheet" }, "notes")))),
          this.body,
        ),
      ),
      this.together,
      this.trouble,
      el("div", { class: "row" }, this.use, el("button", { type: "button", class: "small", id: "clear-ohms", onclick: () => this.clear() }, "Clear the sheet")),
      this.used,
    );
    entries.follow(() => this.tellUsed());
  }

  /** @param {any} figures @param {string} plan its name @param {string} planTOML */
  show(figures, plan, planTOML) {
    this.figures = figures;
    this.planTOML = planTOML;
    this.name.textContent = plan;
    const key = `polewise ohms ${plan} ${figures.ohms.map((o) => o.across).join(" ")}`;
    if (key !== this.key) {
      this.key = key;
      this.recall();
      this.build();
    }
    this.how.replaceChildren(
      `Supply off. A coil, string or group is measured unplugged from the rest, the pad at its own plug. Expected at ${plainNumber(figures.room_celsius)} \u00b0C: let warm coils cool, or `,
      el("span", { class: "on-screen" }, "give their temperature as the room's."),
      el("span", { class: "on-sheet" }, "note their temperature."),
    );
    for (const o of figures.ohms) this.rows.get(o.across).expected.textContent = `${digits(o.low)} to ${digits(o.high)}`;
    this.compareSoon(0);
    this.tellUsed();
  }

  /** @param {string} check "" when this plan is not the one being checked */
  follow(check) {
    if (check === this.check) return;
    this.check = check;
    if (check && entries.now?.check !== check) void entries.load().catch(() => {}); // told when it is used
    this.tellUsed();
  }

  recall() {
    let kept = null;
    try {
      kept = JSON.parse(localStorage.getItem(this.key) || "null");
    } catch {
      // Unreadable: an empty sheet.
    }
    this.typed = kept && typeof kept.typed === "object" ? kept.typed : {};
  }

  changed() {
    try {
      localStorage.setItem(this.key, JSON.stringify({ typed: this.typed }));
    } catch {
      // Forbidden or full: it holds until the page is closed.
    }
    this.compareSoon(WAIT_MS);
    this.tellUsed();
  }

  clear() {
    this.typed = {};
    this.build();
    this.changed();
  }

  build() {
    this.rows.clear();
    this.body.replaceChildren(
      ...this.figures.ohms.map((o) => {
        const name = o.across.replace(":", " ");
        const t = this.typed[o.across] || { value: "", open: false };
        const input = /** @type {HTMLInputElement} */ (
          el("input", { type: "text", inputmode: "decimal", size: 6, autocomplete: "off", value: t.value, disabled: t.open, "aria-label": `Ohms read across ${name}`, "data-across": o.across })
        );
        const open = el("button", { type: "button", class: "open-button", "aria-pressed": String(t.open), "aria-label": `${name} is open`, title: "no reading: open" }, "open");
        const row = { input, open, expected: el("td"), says: el("td", { class: "says" }) };
        input.addEventListener("input", () => this.enter(o.across, { value: input.value, open: false }));
        open.addEventListener("click", () => {
          const on = open.getAttribute("aria-pressed") !== "true";
          open.setAttribute("aria-pressed", String(on));
          input.disabled = on;
          this.enter(o.across, { value: input.value, open: on });
        });
        this.rows.set(o.across, row);
        return el("tr", {}, el("th", { scope: "row" }, name), row.expected, el("td", {}, input), el("td", {}, open), row.says);
      }),
    );
  }

  /** @param {string} across @param {Typed} t */
  enter(across, t) {
    if (t.value.trim() === "" && !t.open) delete this.typed[across];
    else this.typed[across] = t;
    this.changed();
  }

  /** What is filled in, as readings; what is no number is left out. */
  readings() {
    const celsius = this.figures.room_celsius;
    return this.figures.ohms
      .filter((o) => this.typed[o.across])
      .map((o) => ({ across: o.across, ohms: this.typed[o.across].open ? null : parse(this.typed[o.across].value), celsius }))
      .filter((r) => this.typed[r.across].open || (r.ohms !== null && r.ohms >= 0));
  }

  compareSoon(ms) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => void this.compare(), ms);
  }

  async compare() {
    const asked = ++this.asked;
    const readings = this.readings();
    let c = { findings: [], together: [] };
    try {
      if (readings.length > 0) c = await ask("api/planning/compare", { plan_toml: this.planTOML, readings });
    } catch (e) {
      if (asked === this.asked) this.trouble.textContent = e.message;
      return;
    }
    if (asked !== this.asked) return; // more was typed meanwhile
    this.trouble.textContent = "";
    const found = new Map(c.findings.map((f) => [f.across, f]));
    for (const [across, row] of this.rows) {
      const f = found.get(across);
      const t = this.typed[across];
      row.input.setAttribute("aria-invalid", String(Boolean(t && !t.open && !f)));
      row.says.replaceChildren(...(f ? tell(f) : t && !t.open ? ["expected ohms as a number without a unit, as in 0.97"] : []));
    }
    this.together.replaceChildren(
      ...(c.together.length > 0 ? [el("p", {}, el("strong", {}, "One fault alone would read like all of this: "), c.together.slice(0, 6).join("; "), c.together.length > 6 ? `; and ${c.together.length - 6} more` : "", ".")] : []),
    );
  }

  /** Readings that the check does not have yet. */
  fresh() {
    const has = entries.now?.check === this.check ? entries.now.ohms : {};
    return this.readings().filter((r) => !(r.across in has) || has[r.across].ohms !== r.ohms || (has[r.across].celsius ?? 20) !== r.celsius);
  }

  async useInCheck() {
    if (this.using) return;
    const lines = this.fresh().map((r) => ({ type: "ohms", ...r }));
    this.trouble.textContent = "";
    this.using = true;
    try {
      await entries.add(this.check, lines);
    } catch (e) {
      this.trouble.textContent = e.message;
    }
    this.using = false;
    const focused = document.activeElement === this.use;
    this.tellUsed();
    // A button that is disabled loses the focus to the page's top.
    if (focused && this.use.disabled) this.used.focus();
  }

  tellUsed() {
    if (!this.figures) return;
    const n = this.fresh().length;
    this.use.disabled = !this.check || n === 0;
    this.use.textContent = n > 0 && this.check ? `Use in the check (${n})` : "Use in the check";
    const has = entries.now?.check === this.check ? Object.keys(entries.now.ohms).length : 0;
    if (!this.check) setText(this.used, "This is not the plan being checked: begin a check with it to use its readings there.");
    else if (has === 0) setText(this.used, "The check has no ohms from this page yet.");
    else setText(this.used, `The check has ${has === 1 ? "one reading" : `${has} readings`} of ohms from this page. A new value takes the old one's place.`);
  }
}

function tell(f) {
  const [shape, word] = STATES[f.state] || ["?", f.state];
  const chip = el("span", { class: `ohm-state is-${f.state}` }, el("span", { "aria-hidden": "true" }, shape), ` ${word}`);
  return f.may.length > 0 ? [chip, el("span", { class: "may" }, ` May be ${f.may.join("; or ")}.`)] : [chip];
}
