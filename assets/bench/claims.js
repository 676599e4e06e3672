// What was claimed in a check, in the order in which it came. Kept in the browser
// so that a page loaded again still tells it.
import { el } from "../common/dom.js";
import { percent, stateBadge, wordOf } from "../common/states.js";

const MOST = 400;
const SHOWN = 6;

/** @typedef {{id: string, state: string, p: number, before: string | null, when: number}} Claim */

export class Claims {
  constructor() {
    this.check = "";
    /** @type {Claim[]} */
    this.list = [];
  }

  /** Takes a new state; returns what is new in it. @param {any} state @returns {Claim[]} */
  take(state) {
    if (state.check.id !== this.check) {
      this.check = state.check.id;
      this.list = recalled(this.check);
    }
    const stood = new Map(this.list.map((c) => [c.id, c.state]));
    const fresh = [];
    for (const c of state.verdict?.coils || []) {
      const before = stood.get(c.id) || null;
      if (before === c.state || (before === null && c.used === 0)) continue;
      fresh.push({ id: c.id, state: c.state, p: Math.max(...Object.values(c.p)), before, when: Date.now() });
    }
    if (fresh.length > 0) {
      this.list = [...this.list, ...fresh].slice(-MOST);
      try {
        sessionStorage.setItem(nameOf(this.check), JSON.stringify(this.list));
      } catch {
        // Full or forbidden: told as long as the page is open.
      }
    }
    return fresh;
  }

  /** @returns {HTMLElement | null} */
  panel() {
    if (this.list.length === 0) return null;
    const row = (c) => el("li", {}, el("time", { datetime: new Date(c.when).toISOString() }, clock(c.when)), " ", el("strong", {}, c.id), " ", stateBadge(c.state), ` ${percent(c.p)}`, c.before ? el("span", { class: "note" }, `, was ${wordOf(c.before)}`) : null);
    const last = this.list.slice(-SHOWN).reverse();
    return el("details", { class: "claims" }, el("summary", {}, "Claims, newest first"), el("ol", { reversed: true, start: this.list.length }, ...last.map(row)), this.list.length > SHOWN ? el("p", { class: "note" }, `and ${this.list.length - SHOWN} before`) : null);
  }
}

function nameOf(check) {
  return `polewise-claims-${check}`;
}

function clock(ms) {
  return new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" });
}

/** @returns {Claim[]} */
function recalled(check) {
  try {
    const list = JSON.parse(sessionStorage.getItem(nameOf(check)) || "[]");
    return Array.isArray(list) ? list : [];
  } catch {
    return [];
  }
}
