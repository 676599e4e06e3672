// One source: what it is and says, and the pane for what is to be done with it.
import { el, setText } from "../../common/dom.js";
import { PickPane } from "./pick-pane.js";
import { StepsPane } from "./steps-pane.js";
import { UsePane } from "./use-pane.js";

/**
 * @typedef {object} Tools what a pane works with
 * @property {() => any} check the page's state
 * @property {(what: string, body: any) => Promise<void>} act
 * @property {(run: () => Promise<void>) => void} tryTo runs it; words of a failure appear on the card
 * @property {(anew: boolean) => void} teachAnew
 */

export class SourceView {
  /** @param {string} name @param {{check: () => any, act: (what: string, body: any) => Promise<void>}} o */
  constructor(name, o) {
    this.name = name;
    this.anew = false;
    this.last = null;
    this.pane = null;
    this.mode = "";
    this.title = el("strong", {}, name);
    this.link = el("span", { class: "link" });
    this.line = el("p", { class: "note" });
    this.badWords = el("summary", {});
    this.badList = el("ul", {});
    this.bad = el("details", { class: "feed-bad", hidden: true }, this.badWords, this.badList);
    this.trouble = el("p", { class: "trouble", role: "alert", hidden: true });
    this.body = el("div", {});
    this.node = el("section", { class: "feed", "data-feed": name, "aria-label": `Sensor ${name}` }, el("p", { class: "feed-head" }, this.title, this.link), this.line, this.trouble, this.body, this.bad);
    /** @type {Tools} */
    this.tools = {
      check: o.check,
      act: o.act,
      tryTo: (run) => void this.tryTo(run),
      teachAnew: (anew) => {
        this.anew = anew;
        if (this.last) this.show(this.last);
      },
    };
  }

  async tryTo(run) {
    this.trouble.hidden = true;
    try {
      await run();
    } catch (e) {
      this.trouble.textContent = e.message;
      this.trouble.hidden = false;
      this.trouble.scrollIntoView({ block: "nearest" });
    }
  }

  /** @param {any} f */
  show(f) {
    if (this.last && JSON.stringify(this.last.dialect) !== JSON.stringify(f.dialect)) this.anew = false;
    this.last = f;
    setText(this.link, f.live ? "sends" : `silent for ${spell(f.silent_s)}`);
    this.link.className = f.live ? "link up" : "link lost";
    const pace = f.live && f.per_second > 0 ? `, about ${f.per_second < 9.5 ? f.per_second.toFixed(1) : f.per_second.toFixed(0)} messages a second` : "";
    setText(this.line, (f.dialect ? `Read as ${f.dialect.name}` : "Not shown yet which numbers are the field") + pace + ".");
    this.showBad(f);
    const mode = f.teaching ? "steps" : f.dialect && !this.anew ? "use" : "pick";
    if (mode !== this.mode) {
      this.mode = mode;
      this.trouble.hidden = true;
      this.pane = mode === "steps" ? new StepsPane(f, this.tools) : mode === "use" ? new UsePane(f, this.tools) : new PickPane(f, this.tools);
      this.body.replaceChildren(this.pane.node);
    }
    this.pane.show(f);
  }

  showBad(f) {
    this.bad.hidden = f.counts.bad === 0;
    setText(this.badWords, `${f.counts.bad} ${f.counts.bad === 1 ? "line" : "lines"} not usable`);
    const words = f.bad_lines.map((b) => `line ${b.line}: ${b.why}`);
    const now = words.join("\n");
    if (this.badShown === now) return;
    this.badShown = now;
    this.badList.replaceChildren(...words.map((w) => el("li", {}, w)));
  }

  checkChanged() {
    if (this.last) this.pane?.show(this.last);
  }
}

/** @param {number} s */
function spell(s) {
  return s < 90 ? `${Math.round(s)} s` : `${Math.round(s / 60)} min`;
}
