// Says that a verdict is being worked out, once that takes long enough to wonder,
// and lets a person stop it.
import { el } from "../common/dom.js";
import { ask } from "./live.js";

const PATIENCE_MS = 700;
const TICK_MS = 500;

export class Judging {
  /** @param {HTMLElement} place @param {{ontrouble: (e: Error) => void}} o */
  constructor(place, o) {
    this.place = place;
    this.bar = el("progress", { "aria-label": "working out the verdict" });
    this.words = el("span", {});
    const button = (id, text, path) =>
      el(
        "button",
        {
          type: "button",
          class: "small",
          id,
          onclick: (e) => {
            e.target.disabled = true;
            ask(path, {})
              .catch(o.ontrouble)
              .finally(() => (e.target.disabled = false));
          },
        },
        text,
      );
    this.stop = button("stop-judging", "Stop", "api/judging/stop");
    this.again = button("judge-now", "Work it out now", "api/judging/now");
    place.replaceChildren(this.bar, this.words, this.stop, this.again);
  }

  /** @param {{readings: number, stopped: boolean} | null | undefined} j */
  show(j) {
    if (j && !j.stopped && this.now && !this.now.stopped) return; // goes on
    this.now = j;
    clearInterval(this.timer);
    this.place.hidden = !j?.stopped;
    if (!j) return;
    this.bar.hidden = this.stop.hidden = j.stopped;
    this.again.hidden = !j.stopped;
    if (j.stopped) {
      this.words.textContent = "Stopped: the verdict is that from before the last readings. It goes on with the next one.";
      return;
    }
    const from = performance.now(); // the clock of this page: the program's may differ
    this.timer = setInterval(() => {
      const ms = performance.now() - from;
      this.place.hidden = ms < PATIENCE_MS;
      this.words.textContent = `Working out the verdict of ${j.readings} readings, ${Math.round(ms / 1000)} s so far. You may read on.`;
    }, TICK_MS);
  }
}
