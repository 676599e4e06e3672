// The heading route at work: compass in, capture lines out, screens shown.
import { HeadingFlow } from "./heading-flow.js";
import * as page from "./page.js";
import { fruitlessWords, startLine } from "./run.js";
import { elsewhereWords, headingScreen, strengthWords } from "./screens/heading.js";
import { SensedRun } from "./sensed-run.js";
import { startCompass } from "./sources/compass.js";

const STOPPED_MS = 2500; // no heading for so long is a gap

export class HeadingRun extends SensedRun {
  /** @param {import("./run.js").Tools} tools */
  constructor(tools) {
    const { told } = tools;
    super(tools, new HeadingFlow({ plan: told.plan, amps: told.predicted?.pad?.amps || 1, beside: told.beside, carried: told.carried }));
    const now = () => tools.clock.at();
    const flow = this.flow;
    this.do = {
      placed: () => this.apply(flow.placed(now())),
      supplyOn: () => this.supplyOn(),
      undo: () => this.apply(flow.undo(now())),
      pick: (id) => this.apply(flow.pick(id)),
      result: () => this.apply(flow.showResult()),
      goOn: () => this.apply(flow.goOn()),
      again: () => tools.again(),
      ohms: () => tools.ohms(),
    };
  }

  /** @param {boolean} resumed */
  async begin(resumed) {
    let begun = resumed;
    this.source = await startCompass((h, stamp_ms) => begun && this.heading(h, stamp_ms));
    if (!resumed) this.tools.stream.add(startLine(this.tools, "heading"));
    begun = true;
    this.begun(resumed);
    this.watch = setInterval(() => this.watchGap(), 500);
  }

  /** @param {import("./sources/compass.js").Heading} h @param {number} [stamp_ms] */
  heading(h, stamp_ms) {
    const t = this.tools.clock.at(stamp_ms);
    if (t < this.last.t) return;
    this.last = { t, at_ms: performance.now() };
    if (this.stopped) this.note = "";
    this.stopped = false;
    if (this.lost) this.flow.cutOff(t);
    const effects = this.flow.heading(t, h);
    page.reading(`${Math.round(h.deg)}°`);
    page.progress(this.flow.progress);
    this.apply(effects, true);
  }

  /** @param {import("./heading-flow.js").Effect[]} effects @param {boolean} [quietly] */
  apply(effects, quietly) {
    const { tools } = this;
    for (const e of effects) {
      switch (e.do) {
        case "strength":
          this.note = strengthWords(e, this.tools.told.plan);
          tools.say(this.note);
          break;
        case "turned":
          this.note = `The phone was turned by ${Math.round(Math.abs(e.deg))} degrees meanwhile. That was allowed for, but let it lie next time.`;
          break;
        case "fruitless":
          this.note = fruitlessWords(e.at, false);
          tools.say(this.note);
          break;
        case "elsewhere":
          this.note = elsewhereWords(e.at);
          tools.broken(e.at);
          tools.say(`${this.note} ${this.screen().lead}`);
          break;
        default:
          if (e.do === "line" && /** @type {any} */ (e.line).type === "hold") this.note = "";
          this.carryOut(e);
      }
    }
    const place = this.flow.stage === "place" ? this.flow.place?.words : "";
    const now = `${this.flow.stage} ${this.flow.hold?.at || this.flow.target} ${place} ${this.note}`;
    if (quietly && now === this.shown) return;
    this.shown = now;
    this.show();
    if (this.flow.stage === "on" && this.said !== "on") tools.say("Switch the supply on.");
    this.said = this.flow.stage;
  }

  watchGap() {
    if (performance.now() - this.last.at_ms < STOPPED_MS) return;
    this.last.at_ms = performance.now();
    this.note ||= "No headings are coming. Bring this page to the front and keep the screen on.";
    const effects = this.flow.gap(this.last.t);
    this.apply(effects, true);
    if (effects.length > 0 || this.stopped) return; // said with it, or before
    this.stopped = true;
    this.tools.broken("");
    this.tools.say("Headings have stopped.");
  }

  ampsExpected() {
    const { supply } = this.tools.told.plan;
    return { ...super.ampsExpected(), asked: this.flow.advice?.amps, supply: { ...supply, drive: "steady" } };
  }

  screen() {
    return headingScreen(this.flow, this.tools.told, { note: this.note, doubted: this.doubted !== undefined, ...this.mark(), lost: this.lost, do: this.do });
  }
}
