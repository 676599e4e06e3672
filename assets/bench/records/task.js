// Work that may take long: it shows how far it is, and can be stopped.
import { el } from "../../common/dom.js";

const SHOW_MS = 300; // what is over sooner shows nothing

export class Task {
  /** @param {string} id @param {string} stop words of the button that stops it */
  constructor(id, stop) {
    this.bar = /** @type {HTMLProgressElement} */ (el("progress", { "aria-label": "how far it is" }));
    this.words = el("span", {});
    const button = el("button", { type: "button", class: "small", id: `${id}-stop`, onclick: () => this.stopper?.abort() }, stop);
    this.working = el("div", { class: "row rec-working", hidden: true }, this.bar, this.words, button);
    this.outcome = el("div", { role: "status", id: `${id}-outcome` });
    this.place = el("div", { class: "rec-task" }, this.working, this.outcome);
    /** @type {AbortController | null} */
    this.stopper = null;
  }

  /**
   * Does the work. One thing at a time: while it goes on, asking again does nothing.
   * @param {string} words
   * @param {(o: {signal: AbortSignal, tell: (words: string, part?: number) => void}) => Promise<(Node | string)[]>} work gives what to show at the end
   * @param {() => string} stopped what to say when it was stopped
   */
  async run(words, work, stopped) {
    if (this.stopper) return;
    const stopper = (this.stopper = new AbortController());
    const tell = (text, part) => {
      this.words.textContent = text;
      if (part === undefined) this.bar.removeAttribute("value");
      else this.bar.value = part;
    };
    tell(words, undefined);
    this.outcome.replaceChildren();
    const timer = setTimeout(() => (this.working.hidden = false), SHOW_MS);
    try {
      this.outcome.replaceChildren(...(await work({ signal: stopper.signal, tell })));
    } catch (e) {
      this.outcome.replaceChildren(el("p", { class: stopper.signal.aborted ? "note" : "trouble" }, stopper.signal.aborted ? stopped() : e.message));
    } finally {
      clearTimeout(timer);
      this.working.hidden = true;
      this.stopper = null;
    }
  }
}

/** A size in words. @param {number} bytes */
export function size(bytes) {
  return bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}
