// What a plan comes to: wire, ohms, currents, field, and what to print. Asks the
// server again a moment after anything changed, and shows the last answer until
// the next one is there.
import { el, setText } from "../../common/dom.js";
import { offPad } from "../editor/edits.js";
import { foldOverlaps } from "../editor/overlaps.js";
import { ask } from "../live.js";
import { cardsPanel } from "./cards.js";
import { parse } from "./numbers.js";
import { OhmsSheet } from "./ohms-sheet.js";
import { cutPanel, fieldPanel, keepPanel, stringsPanel, supplyPanel, warningsPanel, windingsPanel } from "./panels.js";

const WAIT_MS = 400;
const SLOW_MS = 1500;
const OPTIONS = [
  { key: "room_celsius", label: "Room", unit: "°C", usual: "20" },
  { key: "spool_kg", label: "Spool", unit: "kg of copper", usual: "0.5" },
  { key: "slack_percent", label: "Slack of leads", unit: "%", usual: "15" },
  { key: "tail_mm", label: "Tails of a coil", unit: "mm", usual: "150" },
];
const KEPT = "polewise planning options";

/** Where the page's index leads. */
const PARTS = [
  ["figure-supply", "Supply"],
  ["figure-keep", "Keep away"],
  ["figure-field", "Field"],
  ["figure-cut", "Wire"],
  ["ohms-sheet", "Ohms sheet"],
  ["winding-cards", "Cards"],
];

class Figures {
  /** @param {HTMLElement} root */
  constructor(root) {
    this.planTOML = "";
    this.plan = null; // as it is drawn
    this.asked = 0;
    /** @type {Record<string, string>} */
    this.options = recallOptions();
    this.sheet = new OhmsSheet();
    this.name = el("span", { class: "figures-plan" });
    this.state = el("span", { class: "note", role: "status", id: "figures-state" });
    this.trouble = el("p", { class: "trouble", role: "alert", id: "figures-trouble" });
    this.warnings = el("div");
    this.panels = el("div", { class: "figure-panels" });
    this.cards = el("div");
    this.root = root;
    root.classList.add("figures");
    root.replaceChildren(
      el("div", { class: "figures-head" }, el("h2", {}, "What the plan comes to"), this.name, this.state),
      el("div", { class: "figures-options", role: "group", "aria-label": "Room, spool, slack and tails" }, ...OPTIONS.map((o) => this.field(o))),
      this.trouble,
      this.warnings,
      this.panels,
      this.sheet.element,
      this.cards,
    );
    this.sheet.element.hidden = true;
    const index = el("nav", { class: "figures-index", "aria-label": "Further down on this page" }, el("span", {}, "Further down:"), ...PARTS.map(([id, words]) => el("button", { type: "button", class: "linkish", "data-to": id, onclick: () => goTo(id) }, words)));
    root.parentElement.prepend(index);
  }

  field(o) {
    const input = /** @type {HTMLInputElement} */ (el("input", { type: "text", inputmode: "decimal", size: 5, id: `option-${o.key}`, autocomplete: "off", value: this.options[o.key] ?? o.usual }));
    input.addEventListener("input", () => {
      this.options[o.key] = input.value;
      try {
        localStorage.setItem(KEPT, JSON.stringify(this.options));
      } catch {
        // Forbidden or full: it holds until the page is closed.
      }
      this.soon();
    });
    return el("label", { for: input.id }, el("span", {}, `${o.label}, ${o.unit}`), input);
  }

  /** @param {string} planTOML @param {any} plan */
  show(planTOML, plan) {
    if (planTOML === this.planTOML) return;
    const first = this.planTOML === "";
    this.planTOML = planTOML;
    this.plan = plan;
    this.followBench();
    this.soon(first ? 0 : WAIT_MS);
  }

  soon(ms = WAIT_MS) {
    clearTimeout(this.timer);
    this.slow ||= setTimeout(() => (this.state.textContent = "working it out\u2026"), SLOW_MS); // nothing is said of what is done at once
    this.timer = setTimeout(() => void this.ask(), ms);
  }

  async ask() {
    const asked = ++this.asked;
    const { planTOML, plan } = this;
    /** @type {Record<string, number>} */
    const options = {};
    for (const o of OPTIONS) {
      const x = parse(this.options[o.key] ?? o.usual);
      if (x === null) {
        this.failed(`${o.label}: expected a number, as in ${o.usual}.`);
        return;
      }
      options[o.key] = x;
    }
    let answer;
    try {
      answer = await ask("api/planning", { plan_toml: planTOML, options });
    } catch (e) {
      // What is wrong with a plan is told with its drawing, item by item.
      if (asked === this.asked) this.failed(e.code === "bad-plan" ? "Figures follow once the plan is whole. What is wrong stands with its drawing." : e.message);
      return;
    }
    if (asked !== this.asked) return;
    this.done();
    setText(this.state, "");
    this.trouble.textContent = "";
    this.root.classList.remove("stale");
    this.draw(answer, planTOML, plan);
  }

  done() {
    clearTimeout(this.slow);
    this.slow = 0;
  }

  /** @param {string} say what is wrong; the figures below are the last that were right */
  failed(say) {
    this.done();
    this.trouble.textContent = say;
    const shown = this.panels.childElementCount > 0;
    this.state.textContent = shown ? `the figures below are from before, of ${this.name.textContent}` : "";
    this.root.classList.toggle("stale", shown);
  }

  /** @param {any} answer @param {string} planTOML @param {any} plan */
  draw(answer, planTOML, plan) {
    const f = answer.planning;
    this.name.textContent = answer.name;
    this.warnings.replaceChildren(warningsPanel(f, foldOverlaps(answer.problems, plan), plan ? offPad(plan) : []));
    this.panels.replaceChildren(supplyPanel(f, plan), keepPanel(f), windingsPanel(f), stringsPanel(f, plan), fieldPanel(f), cutPanel(f));
    this.sheet.element.hidden = false;
    this.sheet.show(f, answer.name, planTOML);
    this.cards.replaceChildren(cardsPanel(f, answer.name));
  }

  followBench() {
    this.sheet.follow(onBench && onBench.toml === this.planTOML ? onBench.check : "");
  }
}

/** The address is the view's: a part is gone to without it. @param {string} id */
function goTo(id) {
  const title = document.getElementById(`${id}-title`);
  if (!title) return; // no figures yet
  title.tabIndex = -1;
  title.closest("section").scrollIntoView({ block: "start" });
  title.focus({ preventScroll: true });
}

function recallOptions() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT) || "{}");
    return typeof kept === "object" && kept ? kept : {};
  } catch {
    return {};
  }
}

/** @type {WeakMap<HTMLElement, Figures>} */
const shown = new WeakMap();
/** @type {{toml: string, check: string} | null} */
let onBench = null;

/**
 * Shows what a plan comes to. Call it as often as the plan changes.
 * @param {HTMLElement} root @param {{planTOML: string, plan: any}} o plan: as it is drawn, null where it cannot be
 */
export function showFigures(root, { planTOML, plan }) {
  let f = shown.get(root);
  if (!f) shown.set(root, (f = new Figures(root)));
  f.show(planTOML, plan);
}

/**
 * Follows the check in progress while the Plan view is open: shows its plan when
 * nothing is shown yet or another was begun, and leaves an edited one alone.
 * @param {HTMLElement} root @param {any} state
 */
export function figuresOfBench(root, state) {
  const fresh = onBench?.check !== state.check.id;
  onBench = { toml: state.plan.toml, check: state.check.id };
  if (fresh || !shown.has(root)) showFigures(root, { planTOML: state.plan.toml, plan: state.plan });
  shown.get(root)?.followBench();
}

/** Works out again what the program could not be asked. @param {HTMLElement} root */
export function figuresAgain(root) {
  const f = shown.get(root);
  if (f?.trouble.textContent) f.soon(0);
}
