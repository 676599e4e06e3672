// Every number of the last message, live, and what the person says it is.
import { el, setText } from "../../common/dom.js";
import { keep, keepTyping, recall } from "../kept.js";

const ROLES = [
  ["", "not used"],
  ["x", "field x"],
  ["y", "field y"],
  ["z", "field z"],
  ["gx", "gravity x"],
  ["gy", "gravity y"],
  ["gz", "gravity z"],
  ["t", "time"],
];
const UNITS = [
  ["uT", "microtesla (uT)"],
  ["mT", "millitesla (mT)"],
  ["G", "gauss (G)"],
  ["mG", "milligauss (mG)"],
  ["nT", "nanotesla (nT)"],
  ["counts", "raw counts"],
];
const TIMES = [
  ["s", "seconds"],
  ["ms", "milliseconds"],
  ["us", "microseconds"],
  ["ns", "nanoseconds"],
];

export class PickPane {
  /** @param {any} f @param {import("./source-view.js").Tools} tools */
  constructor(f, tools) {
    this.tools = tools;
    this.source = f.source;
    /** @type {Map<string, {value: HTMLElement, moved: HTMLElement, span: HTMLElement, now: HTMLElement, role: any, node: HTMLElement}>} */
    this.rows = new Map();
    this.list = el("ul", { class: "numbers", "aria-label": "Numbers of the last message" });
    this.hint = el("p", { class: "proposal", role: "status" });
    this.take = el("button", { type: "button", class: "small", hidden: true, onclick: () => this.takeProposal() }, "Pick these");
    this.unit = choice("Unit of the field", UNITS, () => (this.changed(), this.remember()));
    this.perUT = el("input", { type: "text", inputmode: "decimal", size: 8, "aria-describedby": `counts-${f.source}` });
    keepTyping(this.perUT, `counts ${f.source}`);
    this.counts = el(
      "div",
      {},
      el("label", {}, "Counts in one microtesla ", this.perUT),
      el("p", { class: "note", id: `counts-${f.source}` }, "The sensor's data sheet has it: 1090 counts a gauss, say, are 10.9 a microtesla."),
    );
    this.time = choice("Unit of the time", TIMES, () => this.remember());
    this.offers = el("div", {});
    this.go = el("button", { type: "button", class: "main", onclick: () => this.tools.tryTo(() => this.pick()) }, "These are the field");
    const again = f.dialect ? el("button", { type: "button", onclick: () => tools.teachAnew(false) }, "Leave it as it is") : null;
    const away = f.dialect ? null : el("button", { type: "button", onclick: () => tools.tryTo(() => tools.act("drop", { source: f.source })) }, "Take off this list");
    this.node = el("div", {}, this.offers, el("div", { class: "feed-row" }, this.hint, this.take), this.list, this.unit.node, this.counts, this.time.node, el("div", { class: "row" }, this.go, again, away));
    /** What was picked before the page was loaded again. @type {{roles: Record<string, string>, unit?: string, time?: string}} */
    this.before = { roles: {}, ...recall(`pick ${f.source}`) };
    if (this.before.unit) this.unit.set(this.before.unit);
    if (this.before.time) this.time.set(this.before.time);
    this.changed();
  }

  remember() {
    const roles = Object.fromEntries([...this.rows].map(([path, row]) => [path, row.role.value]).filter(([, role]) => role));
    keep(`pick ${this.source}`, { roles, unit: this.unit.value(), time: this.time.value() });
  }

  /** @param {any} f */
  show(f) {
    this.proposal = f.proposal;
    for (const n of f.numbers) this.showNumber(n);
    for (const [path, row] of this.rows) if (!f.numbers.some((n) => n.path === path)) row.node.remove();
    const p = f.proposal;
    setText(this.hint, p ? p.why : "Turn the device about in all directions, away from the pad and from steel. Three numbers that move together are likely the field.");
    this.take.hidden = !p || rolesOf(p).every(([path, role]) => this.rows.get(path)?.role.value === role);
    const offered = f.offered.join("\n");
    if (offered === this.offered) return;
    this.offered = offered;
    this.offers.replaceChildren(
      ...f.offered.map((name) =>
        el(
          "p",
          { class: "feed-row" },
          `Its numbers look like those of ${name}. `,
          el("button", { type: "button", class: "small", onclick: () => this.tools.tryTo(() => this.tools.act("use", { source: this.source, name })) }, `It is ${name}`),
        ),
      ),
    );
  }

  showNumber(n) {
    let row = this.rows.get(n.path);
    if (!row) {
      row = {
        value: el("span", { class: "number-value" }),
        moved: el("span", { class: "number-moved" }),
        span: el("span", { class: "swing-span" }),
        now: el("span", { class: "swing-now" }),
        role: el("select", { "aria-label": `What ${n.path} is`, onchange: (e) => this.roleChosen(n.path, e.target.value) }, ...ROLES.map(([v, words]) => el("option", { value: v }, words))),
        node: el("li", {}),
      };
      row.node.append(el("span", { class: "number-path" }, n.path), row.value, el("span", { class: "swing", "aria-hidden": "true" }, row.span, row.now), row.moved, row.role);
      row.role.value = this.before.roles[n.path] || "";
      this.rows.set(n.path, row);
      this.changed();
      this.list.append(row.node);
    }
    row.node.classList.toggle("stale", Boolean(n.stale));
    setText(row.value, figure(n.value));
    const width = n.most - n.lowest || 1;
    const at = (v) => Math.min(100, Math.max(0, n.most > n.lowest ? ((v - n.lowest) / width) * 100 : 50));
    row.span.style.left = `${at(n.low)}%`;
    row.span.style.width = `${at(n.high) - at(n.low)}%`;
    row.now.style.left = `${at(n.value)}%`;
    setText(row.moved, n.stale ? "old" : n.high > n.low ? `moved ${figure(n.high - n.low)}` : "still");
  }

  /** A role belongs to one number. */
  roleChosen(path, role) {
    for (const [other, row] of this.rows) if (other !== path && role && row.role.value === role) row.role.value = "";
    this.changed();
    this.remember();
  }

  withRole(role) {
    for (const [path, row] of this.rows) if (row.role.value === role) return path;
    return "";
  }

  changed() {
    this.counts.hidden = this.unit.value() !== "counts";
    this.time.node.hidden = !this.withRole("t");
  }

  takeProposal() {
    const p = this.proposal;
    if (!p) return;
    for (const row of this.rows.values()) row.role.value = "";
    for (const [path, role] of rolesOf(p)) {
      const row = this.rows.get(path);
      if (row) row.role.value = role;
    }
    this.unit.set(p.unit);
    if (p.time_unit) this.time.set(p.time_unit);
    this.changed();
    this.remember();
    this.take.hidden = true;
    this.go.focus();
  }

  async pick() {
    const of = (names) => names.map((r) => this.withRole(r));
    const gravity = of(["gx", "gy", "gz"]);
    const some = gravity.filter(Boolean).length;
    if (some > 0 && some < 3) throw new Error("Pick all three gravity numbers, or none.");
    const counts = this.unit.value() === "counts";
    const per_uT = counts ? Number(this.perUT.value.trim().replace(",", ".")) : 0;
    if (counts && !(per_uT > 0)) throw new Error("Expected how many counts one microtesla is, as in 10.9.");
    const time = this.withRole("t");
    await this.tools.act("pick", { source: this.source, field: of(["x", "y", "z"]), unit: this.unit.value(), per_uT, gravity: some ? gravity : null, time, time_unit: time ? this.time.value() : "" });
  }
}

/** What a proposal takes each number for; gravity and time may be seen later than the field. */
function rolesOf(p) {
  return [...p.field.map((path, i) => [path, "xyz"[i]]), ...(p.gravity || []).map((path, i) => [path, "g" + "xyz"[i]]), ...(p.time ? [[p.time, "t"]] : [])];
}

function choice(label, options, onchange) {
  const select = /** @type {HTMLSelectElement} */ (el("select", { onchange }, ...options.map(([v, words]) => el("option", { value: v }, words))));
  return { node: el("label", { class: "feed-choice" }, el("span", {}, label), select), value: () => select.value, set: (v) => (select.value = v) };
}

/** A number short enough for a column. @param {number} v */
export function figure(v) {
  const a = Math.abs(v);
  const s = a !== 0 && (a >= 1e6 || a < 1e-3) ? v.toExponential(2) : v.toFixed(a >= 1000 ? 0 : a >= 100 ? 1 : a >= 1 ? 2 : 4);
  return s.replace("-", "−");
}
