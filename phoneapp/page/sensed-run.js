// What the two routes with a sensor have in common: a flow that takes what the
// sensor says, and whose effects are carried out here.
import * as page from "./page.js";
import { ampsInSight, brokenWords, typedAmps } from "./run.js";

export class SensedRun {
  /** @param {import("./run.js").Tools} tools @param {any} flow */
  constructor(tools, flow) {
    this.tools = tools;
    this.flow = flow;
    this.flow.verdict = tools.told.verdict;
    this.note = "";
    /** Amps typed that were asked about. @type {number | undefined} */
    this.doubted = undefined;
    /** What was last wrong with those typed. */
    this.problem = "";
    /** What a page before a reload left to be done. @type {any[]} */
    this.restored = [];
    /** Last reading: capture's time, and the page's. */
    this.last = { t: 0, at_ms: performance.now() };
    this.stopped = false;
  }

  /** To be called once the source gives readings. @param {boolean} resumed */
  begun(resumed) {
    this.apply(resumed ? this.restored : this.flow.joins(), true);
  }

  end() {
    clearInterval(this.watch);
    this.source?.stop();
  }

  supplyOn() {
    const { amps, problem, doubted } = typedAmps(this.ampsExpected(), this.doubted);
    this.doubted = doubted;
    if (this.note === this.problem) this.note = "";
    if (!problem) {
      this.apply(this.flow.supplyOn(this.tools.clock.at(), amps));
      return;
    }
    this.note = this.problem = problem;
    this.tools.say(problem);
    this.show();
    ampsInSight();
  }

  get lost() {
    return this.tools.stream.link === "lost";
  }

  linked() {
    if (this.flow.stage === "waiting") this.show();
  }

  /** What is laid on the coils: the phone's middle, or a sticker that lies elsewhere. @returns {{marked: boolean, mark_mm?: number[]}} */
  mark() {
    const { place } = this.tools;
    return place?.marked ? { marked: true, mark_mm: place.mm } : { marked: false };
  }

  /** What the supply should show. @returns {Parameters<typeof import("../common/amps.js").ampsDoubt>[1]} */
  ampsExpected() {
    const { plan, predicted } = this.tools.told;
    return { amps: predicted?.pad?.amps, strings: predicted?.strings, supply: plan.supply };
  }

  /** Carries out one effect that every route has. @param {any} e */
  carryOut(e) {
    const { tools } = this;
    switch (e.do) {
      case "line":
        tools.stream.add(e.line);
        if (["lift", "pass-end"].includes(e.line.type)) tools.stream.flush();
        if (["hold", "pass"].includes(e.line.type)) tools.keep();
        break;
      case "drive":
        this.source?.drive?.(e.state);
        break;
      case "undo":
        tools.stream.undo(e.at, e.t);
        tools.keep();
        break;
      case "counted":
        tools.counted(e.at, e.along);
        break;
      case "broken":
        this.note = brokenWords(e.at, e.why, e.jitter_uT);
        tools.broken(e.at);
        tools.say(this.note);
        break;
    }
  }

  next() {
    return this.flow.stage === "result" ? null : this.flow.target;
  }

  hidden() {
    this.apply(this.flow.gap(this.last.t), true);
    this.tools.stream.flush();
  }

  verdict(v) {
    this.apply(this.flow.setVerdict(v), true);
    this.show();
  }

  save() {
    return { ...this.flow.save(), note: this.note };
  }

  restore(kept) {
    this.restored = this.flow.restore(kept, this.tools.clock.at());
    this.note = kept.chosen && !this.flow.chosen ? "" : kept.note; // it asked for a coil that another phone has read
  }

  show() {
    if (this.flow.stage !== "on") this.doubted = undefined;
    page.show(this.screen());
  }

  /** Carries out effects and shows what changed. @param {any[]} _effects @param {boolean} [_quietly] @abstract */
  apply(_effects, _quietly) {}

  /** @abstract @returns {any} */
  screen() {}
}
