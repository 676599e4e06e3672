// Says that a verdict is being worked out, once that takes long enough to wonder.
import { el } from "../common/dom.js";

const PATIENCE_MS = 700;
const TICK_MS = 500;

export class Judging {
  /** @param {HTMLElement} place @param {{ontrouble: (e: Error) => void}} o */
  constructor(place, o) {
    this.place = place;
    this.o = o;
    this.words = el("span", {});
    place.replaceChildren(el("progress", { "aria-label": "working out the verdict" }), this.words);
  }

  /** @param {{since: number} | null | undefined} j */
  show(j) {
    clearInterval(this.timer);
    if (!j) {
      this.place.hidden = true;
      return;
    }
    const from = performance.now(); // the clock of this page: the program's may differ
    const tick = () => {
      const ms = performance.now() - from;
      this.place.hidden = ms < PATIENCE_MS;
      this.words.textContent = `Working out the verdict, ${Math.max(1, Math.round(ms / 1000))} s. What stands below is from before; you may read on.`;
    };
    this.timer = setInterval(tick, TICK_MS);
  }
}
