// What is entered by hand on this page for the check in progress: faces and ohms.
// The server keeps it; this asks, adds and takes back.
import { ask } from "../live.js";

const TRIES = 3; // another window of this page may have used the number meanwhile

class Entries {
  constructor() {
    /** @type {{check: string, began: string, last_seq: number, last_t: number, faces: Record<string, string>, ohms: Record<string, {ohms: number | null, celsius?: number}>} | null} */
    this.now = null;
    /** @type {Set<() => void>} */
    this.listeners = new Set();
    this.lastT = 0;
    /** @type {Promise<any>} one change at a time */
    this.queue = Promise.resolve();
  }

  /** @param {() => void} listener told of every change */
  follow(listener) {
    this.listeners.add(listener);
  }

  async load() {
    this.now = await ask("api/readings");
    for (const l of this.listeners) l();
    return this.now;
  }

  /** A time of its own for a line, seconds since the check began. It comes after all
   * that are there, also where this computer's clock was put back. */
  t() {
    const since = (Date.now() - Date.parse(this.now?.began || "")) / 1000 || 0;
    this.lastT = Math.round(Math.max(since, this.lastT + 0.001, (this.now?.last_t ?? 0) + 0.001) * 1000) / 1000;
    return this.lastT;
  }

  /** Adds lines to the check named. @param {string} check @param {object[]} lines without their times */
  add(check, lines) {
    return this.change(async () => {
      for (let tries = 1; ; tries++) {
        const now = await this.load();
        const start = now.last_seq === 0 ? [{ type: "start", v: 1, route: "hand", device: "the bench page" }] : [];
        try {
          await ask("api/readings", { check, seq: now.last_seq + 1, lines: [...start, ...lines.map((l) => ({ ...l, t: this.t() }))] });
          return;
        } catch (e) {
          if (e.code !== "seq-taken" || tries >= TRIES) throw e;
        }
      }
    });
  }

  /** Takes back what stands for a coil, or a place of the ohmmeter. @param {string} check @param {string} target */
  clear(check, target) {
    return this.change(() => ask("api/readings/clear", { check, target }));
  }

  change(act) {
    const done = this.queue.then(act).finally(() => this.load());
    this.queue = done.catch(() => {});
    return done;
  }
}

export const entries = new Entries();
