// The plan's text as it is changed: one change after the other, each through the
// program, with what was before kept for undo. While something is being dragged
// the program is asked what would follow, one question at a time, the latest
// first.
import { ask } from "../live.js";

const MOST_STEPS = 200;
const MOST_CHARS = 4e6; // in all that is kept
const MERGE_MS = 1200; // changes of one thing within this are one step

/** @typedef {{text: string, label: string}} Step */

export class Ledger {
  /** @param {{onsight: (sight: any, preview: boolean) => void, ontext: (text: string) => void, ontrouble: (e: Error) => void}} o */
  constructor(o) {
    this.o = o;
    this.text = "";
    this.sight = null;
    /** @type {Step[]} */
    this.before = [];
    /** @type {Step[]} */
    this.after = [];
    this.waiting = [];
    this.preview = null;
    this.merge = { key: "", at: 0 };
    this.running = null;
  }

  /** Begins with a text; what was before is kept only when asked. @param {string} text @param {string} [label] */
  begin(text, label) {
    return this.put({ text, label, fresh: !label });
  }

  /** @param {any[]} edits @param {string} label @param {string} [mergeKey] */
  change(edits, label, mergeKey = "") {
    return edits.length ? this.put({ edits, label, mergeKey }) : Promise.resolve(true);
  }

  undo() {
    return this.put({ back: true });
  }

  redo() {
    return this.put({ forth: true });
  }

  put(job) {
    return new Promise((done) => {
      this.waiting.push({ ...job, done });
      void this.run();
    });
  }

  /** What would follow from edits that are not made yet; null ends it. @param {any[] | null} edits */
  wonder(edits) {
    this.preview = edits;
    if (edits) void this.run();
    else this.asking = null; // an answer on its way comes too late
  }

  async run() {
    if (this.running) return;
    this.running = true;
    try {
      for (;;) {
        const job = this.waiting.shift();
        if (job) job.done(await this.carryOut(job));
        else if (this.preview) {
          const edits = this.preview;
          this.preview = null;
          this.asking = edits;
          const sight = await this.look(this.text, edits);
          if (sight && this.asking === edits && !this.waiting.length) this.o.onsight(sight, true);
        } else break;
      }
    } finally {
      this.running = null;
    }
  }

  async look(text, edits) {
    try {
      return await ask("api/plan/look", { plan_toml: text, edits });
    } catch (e) {
      this.o.ontrouble(/** @type {Error} */ (e));
      return null;
    }
  }

  /** @returns {Promise<boolean>} whether it came about */
  async carryOut(job) {
    this.asking = null;
    const from = job.back ? this.before : job.forth ? this.after : null;
    if (from && !from.length) return false;
    const step = from?.at(-1);
    const sight = await this.look(step ? step.text : (job.text ?? this.text), job.edits || []);
    if (!sight) {
      if (this.sight) this.o.onsight(this.sight, false); // as it was
      return false;
    }
    const now = performance.now();
    const merges = job.mergeKey && job.mergeKey === this.merge.key && now - this.merge.at < MERGE_MS;
    this.merge = { key: job.mergeKey || "", at: now };
    if (job.fresh) {
      this.before = [];
      this.after = [];
    } else if (step) {
      from.pop();
      (job.back ? this.after : this.before).push({ text: this.text, label: step.label });
    } else if (sight.plan_toml !== this.text) {
      if (!merges) this.before.push({ text: this.text, label: job.label });
      this.after = [];
      this.bound();
    }
    const changed = sight.plan_toml !== this.text;
    this.text = sight.plan_toml;
    this.sight = sight;
    if (changed) this.o.ontext(this.text);
    this.o.onsight(sight, false);
    return true;
  }

  bound() {
    let chars = 0;
    let keep = 0;
    for (let i = this.before.length - 1; i >= 0 && keep < MOST_STEPS; i--) {
      chars += this.before[i].text.length;
      if (chars > MOST_CHARS && keep > 0) break;
      keep++;
    }
    this.before.splice(0, this.before.length - keep);
  }
}
