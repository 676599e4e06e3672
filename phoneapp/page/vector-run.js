// The vector route at work: sensor in, capture lines out, screens shown.
import { VectorFlow } from "./flow.js";
import * as page from "./page.js";
import { quietWords, spoiltWords } from "./row-stroke.js";
import { rowName, rowsOf } from "./rows.js";
import { fruitlessWords, restlessWords, startLine } from "./run.js";
import { placeWords, vectorScreen } from "./screens/vector.js";
import { SensedRun } from "./sensed-run.js";
import { startMagnetometer } from "./sources/magnetometer.js";
import { startMotion } from "./sources/motion.js";
import { startRehearsal } from "./sources/rehearsal.js";
import { Stillness } from "./stillness.js";

/** Stages that ask the person something. @type {import("./flow.js").Stage[]} */
const ASKS = ["lit", "on", "quiet", "same", "taken", "unchanged"];
const ALONE_MS = 60000; // without readings, so that the person may have been away
const STOPPED_MS = 1500; // no reading for so long is a gap

/** The supply is switched at every coil, as ticked last: also after a mend. */
let everyHold = false;

export class VectorRun extends SensedRun {
  /** @param {import("./run.js").Tools} tools */
  constructor(tools) {
    const { told } = tools;
    super(tools, new VectorFlow({ coils: told.plan.coils.map((c) => c.id), supply: told.plan.supply, expected_uT: told.expected_uT(), everyHold, rows: rowsToDraw(told), afterMend: told.afterMend, carried: told.carried }));
    this.stillness = new Stillness();
    this.unsteady = false;
    /** When a reading came last, by the clock. */
    this.heard_ms = Date.now();
    const now = () => tools.clock.at();
    const flow = this.flow;
    this.do = {
      supplyOff: () => this.apply(flow.supplyOff(now())),
      supplyOn: () => this.supplyOn(),
      lies: () => this.apply(flow.onIt(now())),
      moved: () => this.apply(flow.lifted(now())),
      onward: () => this.apply(flow.onward()),
      undo: () => this.apply(flow.undo()),
      restAgain: () => this.apply(flow.restAgain(now())),
      restIsOwn: () => this.apply(flow.restIsOwn(now())),
      asItIs: () => this.apply(flow.takeRestAsItIs()),
      wasOff: () => this.apply(flow.supplyWasOff(now())),
      unchanged: () => this.apply(flow.unchangedCounts(now())),
      result: () => this.apply(flow.showResult()),
      goOn: () => this.apply(flow.goOn()),
      pick: (id) => this.apply(flow.pick(id)),
      everyHold: (on) => (flow.everyHold = everyHold = on),
      byRow: (on) => {
        this.apply(flow.byRow(on));
        tools.help();
      },
      drawn: () => this.apply(flow.drawn(now())),
      notDrawn: () => this.apply(flow.notDrawn(now())),
      again: () => tools.again(),
      ohms: () => tools.ohms(),
    };
  }

  /** @param {boolean} resumed */
  async begin(resumed) {
    const { tools } = this;
    const { told } = tools;
    everyHold = this.flow.everyHold;
    // The capture's first line goes before its first reading, and only once there
    // is a sensor that works.
    let begun = resumed;
    const reading = (u, stamp_ms) => begun && this.reading(u, stamp_ms);
    // How it lies while a hold is in question is no part of that hold.
    const gravity = (ms2, stamp_ms) => begun && this.flow.stage !== "unchanged" && tools.stream.add({ type: "gravity", t: tools.clock.at(stamp_ms), ms2: ms2.map((v) => Math.round(v * 1000) / 1000) });
    const motion = (m, stamp_ms) => begun && this.moving(m, stamp_ms);
    const failed = (trouble) => tools.failed(trouble);
    this.source = told.rehearsal ? await startRehearsal(told.base, told.rehearsal, reading, gravity, motion, failed) : await startMagnetometer(reading, failed);
    if (!resumed) {
      // The first rest counts as taken with the phone as this line says.
      this.flow.start_deg = this.flow.top_deg;
      tools.stream.add(startLine(tools, "vector", this.flow.start_deg));
    }
    begun = true;
    this.begun(resumed);
    if (!told.rehearsal) this.motion = startMotion(gravity, motion);
    this.watch = setInterval(() => this.watchGap(), 500);
  }

  end() {
    super.end();
    this.motion?.stop();
  }

  /** @param {number[]} u @param {number} [stamp_ms] */
  reading(u, stamp_ms) {
    const t = this.tools.clock.at(stamp_ms);
    if (t < this.last.t) return; // a late one, delivered after a gap was told
    const away_ms = Date.now() - this.heard_ms; // also while the phone was asleep
    this.heard_ms = Date.now();
    this.last = { t, at_ms: performance.now() };
    if (this.stopped) {
      this.stopped = false;
      this.show();
    }
    if (this.lost) this.flow.cutOff(t);
    const effects = this.flow.sample(t, u);
    page.field(u);
    page.progress(this.flow.progress);
    this.apply(effects, true);
    if (away_ms >= ALONE_MS && this.flow.driven) this.tellAlone(away_ms);
  }

  /** A driven pad may have been left alone. @param {number} ms */
  tellAlone(ms) {
    const words = `No readings came for ${Math.round(ms / 60000)} min, and the supply was on: never leave a driven pad alone.`;
    this.note = [this.note, words].filter(Boolean).join(" ");
    this.tools.say(words);
    this.show();
  }

  /** @param {{rate_dps?: number, g?: number[]}} m @param {number} [stamp_ms] */
  moving(m, stamp_ms) {
    const t = this.tools.clock.at(stamp_ms);
    this.stillness.feed({ t, ...m });
    this.apply(this.flow.motion(t, this.stillness.at(t)), true);
  }

  /**
   * @param {import("./flow.js").Effect[]} effects
   * @param {boolean} [quietly] show only if the stage or the coil changed
   */
  apply(effects, quietly) {
    const { tools } = this;
    if (!quietly) this.note = "";
    for (const e of effects) {
      if (e.do === "unsteady") {
        this.unsteady = true;
        this.note = "The readings do not come to rest. Is the phone lying still, the supply really off, and nothing else driven nearby?";
        tools.say(this.note);
      } else if (e.do === "restless") {
        this.note = restlessWords(e.at, e.jitter_uT);
        tools.say(this.note);
      } else if (e.do === "fruitless") {
        this.note = fruitlessWords(e.at, !!tools.told.rehearsal);
        tools.say(this.note);
      } else if (e.do === "spoilt") {
        this.note = spoiltWords(rowName(e.row), e.row.coils[0], e.why);
        tools.broken("");
        tools.say(this.note);
      } else if (e.do === "quiet-row") {
        this.note = quietWords(rowName(e.row));
        tools.broken("");
        tools.say(this.note);
      } else if (e.do !== "taken") { // that has a screen of its own
        if (e.do === "counted" || (e.do === "line" && /** @type {any} */ (e.line).type === "hold")) this.note = "";
        this.carryOut(e);
      }
    }
    const { flow } = this;
    if (flow.stage !== "resting") this.unsteady = false;
    const seconds = flow.stage === "drawing" ? Math.floor(flow.strokes.elapsed_s) : "";
    const now = `${flow.stage} ${flow.hold?.at || flow.target} ${seconds} ${this.note}`;
    if (quietly && now === this.shown) return;
    this.shown = now;
    this.show();
    // What waits for the person, whose eyes may be on the pad.
    if (flow.stage !== this.said && ASKS.includes(flow.stage)) {
      const { title, lead } = this.screen();
      tools.say(flow.stage === "on" ? `${title}.` : `${title} ${lead}`);
      if (flow.stage !== "on") tools.broken("");
    }
    if (flow.stage === "row" && flow.stage !== this.said && !this.note) tools.say(`Next: ${this.next()}.`);
    this.said = flow.stage;
  }

  next() {
    const { stage, strokes } = this.flow;
    return (stage === "row" || stage === "drawing") && strokes.row ? rowName(strokes.row) : placed(super.next(), this.flow.asked);
  }

  get byRow() {
    const { strokes } = this.flow;
    return strokes.rows.length === 0 ? null : { on: strokes.on, take: (/** @type {boolean} */ on) => this.do.byRow(on) };
  }

  watchGap() {
    const silent_ms = performance.now() - this.last.at_ms;
    if (silent_ms < STOPPED_MS || this.stopped) return;
    this.stopped = true;
    const effects = this.flow.gap(this.last.t);
    this.apply(effects, true);
    this.show();
    if (effects.some((e) => e.do === "broken" || e.do === "spoilt")) return; // said with it
    this.tools.broken("");
    this.tools.say("Readings have stopped.");
  }

  screen() {
    const stopped = this.stopped ? "No readings are coming. Bring this page to the front and keep the screen on." : "";
    return vectorScreen(this.flow, this.tools.told, { note: stopped || this.note, doubted: this.doubted !== undefined, ...this.mark(), lost: this.lost, unsteady: this.unsteady, do: this.do });
  }
}

/** @param {string | null} at @param {import("./flow.js").Asked} asked */
const placed = (at, asked) => at && placeWords(at, asked);

/**
 * Rows that this phone may be drawn along. Pulses come too seldom for a phone that moves.
 * @param {import("./told.js").Told} told
 */
function rowsToDraw(told) {
  return told.plan.supply.drive === "pulsed" ? [] : rowsOf(told.plan);
}
