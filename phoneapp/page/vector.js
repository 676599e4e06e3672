// The vector route: a rest with the supply off, then hold after hold.
import { HoldDetector } from "./hold-detector.js";
import * as ui from "./ui.js";

const REST_S = 2;
const HOLD_S = 2.5; // with a steady drive
const PULSES = 3; // periods that a hold must last with a pulsed one
const HZ = 10;
const STALE_MS = 1500; // no reading for so long is told

export class VectorRun {
  /**
   * @param {{app: any, start: object, startSource: (onreading: (u: number[]) => void, ongravity: (g: number[]) => void) => Promise<any>, clock: () => number}} o
   */
  constructor(o) {
    this.app = o.app;
    this.clock = o.clock;
    this.o = o;
    this.detector = new HoldDetector();
    this.stage = "off";
    this.restFrom = null;
    this.holding = null; // {at, since, count}
    this.lastAt = null;
  }

  /** Starts the sensor; rejects with words when it cannot. */
  async begin() {
    // Readings that come before the start line would be refused.
    let started = false;
    this.source = await this.o.startSource(
      (u) => started && this.reading(u),
      (g) => started && this.gravity(g),
    );
    started = true;
    this.app.stream.add({ type: "start", v: 1, route: "vector", ...this.o.start });
    this.watch = setInterval(() => this.checkStale(), 500);
    this.askRest();
  }

  end() {
    clearInterval(this.watch);
    this.source?.stop();
  }

  pulsed() {
    const s = this.app.plan?.supply;
    return s?.drive === "pulsed" ? s : null;
  }

  holdSeconds() {
    const p = this.pulsed();
    return p ? Math.max(HOLD_S, PULSES / p.hz, 3) : HOLD_S;
  }

  askRest() {
    this.stage = "off";
    ui.meter(null);
    ui.drawing(null);
    ui.show({
      title: "Switch the supply off",
      lead: "Lay the phone flat beside the pad, top edge away from you. It reads the background first.",
      actions: [{ label: "It is off", main: true, id: "is-off", onclick: () => this.rest() }],
    });
  }

  rest() {
    this.app.stream.add({ type: "drive", t: this.clock(), state: "off" });
    this.source.drive?.("off");
    this.stage = "resting";
    this.restFrom = this.clock();
    this.detector.reset();
    ui.show({ title: "Reading the background", lead: "Keep the phone still.", actions: [] });
    ui.meter(0);
  }

  askOn() {
    this.stage = "ask-on";
    ui.meter(null);
    const p = this.pulsed();
    const s = this.app.plan?.supply || {};
    const set = s.volts ? `${s.volts} V` : s.amps ? `${s.amps} A` : "the low check current";
    ui.show({
      title: "Switch the supply on",
      lead: `Set it to ${set}${p ? `, pulsed at ${p.hz} Hz` : ""}, as planned.`,
      body: [ui.cautions()],
      actions: [
        { label: "It is on", main: true, id: "is-on", onclick: () => this.driveOn() },
        { label: "Read the background again", onclick: () => this.askRest() },
      ],
    });
  }

  driveOn() {
    const p = this.pulsed();
    const state = p ? "pulse" : "on";
    this.app.stream.add({ type: "drive", t: this.clock(), state, ...(p ? { hz: p.hz, duty: p.duty } : {}) });
    this.source.drive?.(state);
    this.stage = "holds";
    this.detector.reset();
    this.lifted = true;
    this.showHolds();
  }

  /** The coil the phone should go to. */
  target() {
    return this.app.target();
  }

  showHolds() {
    if (this.stage !== "holds") return;
    const at = this.holding?.at || this.target();
    const app = this.app;
    if (!at) {
      this.showResult();
      return;
    }
    const waiting = !this.holding && !this.lifted;
    ui.drawing(app.plan, { next: at, states: app.states(), onpick: (id) => this.pick(id), label: `The pad. Next is ${at}` });
    const seconds = this.holdSeconds();
    const words = this.holding
      ? { title: `Counting on ${at}`, lead: "Keep still." }
      : waiting
        ? { title: "Lift the phone", lead: `Next: ${at}.` }
        : { title: `Lay the phone on ${at}`, lead: app.whyOf(at) || "Its mark on the middle of the coil, top edge away from you. Counting begins by itself." };
    ui.show({
      ...words,
      focus: false,
      actions: [
        ...(this.holding ? [] : [{ label: `It lies on ${at}`, main: true, id: "lies", onclick: () => this.holdNow() }]),
        ...(this.lastAt ? [{ label: `Take ${this.lastAt} back`, id: "undo", onclick: () => this.undo() }] : []),
        { label: "Background again", onclick: () => this.askRest() },
        { label: "Result so far", onclick: () => this.showResult() },
      ],
    });
    ui.meter(this.holding ? Math.min(1, this.holding.count / (seconds * HZ)) : 0, this.text);
  }

  pick(id) {
    if (this.holding) return;
    this.app.chosen = id;
    this.showHolds();
  }

  holdNow() {
    if (!this.latest) {
      ui.lead("No reading yet. Keep this page in front.");
      return;
    }
    this.detector.reset();
    this.detector.hold(this.latest);
    this.byHand = true;
    this.startHold(this.clock());
  }

  startHold(since) {
    const at = this.target();
    if (!at) return;
    this.holding = { at, since, count: 0 };
    this.app.stream.add({ type: "hold", t: since, at });
    ui.clearClaim();
    this.showHolds();
  }

  endHold() {
    const { at } = this.holding;
    this.app.stream.add({ type: "lift", t: this.clock() });
    this.app.stream.flush();
    this.holding = null;
    this.byHand = false;
    this.lifted = false;
    this.lastAt = at;
    this.app.counted(at);
    this.showHolds();
  }

  undo() {
    const at = this.lastAt;
    if (!at) return;
    this.app.undo(at);
    this.lastAt = null;
    this.lifted = true;
    this.detector.reset();
    this.showHolds();
  }

  /** @param {number[]} u */
  reading(u) {
    const t = this.clock();
    this.latest = { t, u };
    this.heard = performance.now();
    this.text = `${u.map((v) => v.toFixed(0)).join(" ")} uT`;
    this.app.stream.add({ type: "b", t, uT: u });
    if (this.stage === "resting") {
      const share = (t - this.restFrom) / REST_S;
      ui.meter(Math.min(1, share), this.text);
      if (share >= 1) this.askOn();
      return;
    }
    if (this.stage !== "holds") return;
    const e = this.detector.feed({ t, u });
    if (this.holding) {
      this.holding.count++;
      if (e?.event === "moved" && !this.pulsed()) this.broken();
      else if (t - this.holding.since >= this.holdSeconds()) this.endHold();
      else ui.meter((t - this.holding.since) / this.holdSeconds(), this.text);
      return;
    }
    if (e?.event === "moved") {
      this.lifted = true;
      this.showHolds();
    }
    if (e?.event === "settled" && this.lifted && !this.pulsed()) this.startHold(e.since);
    else ui.meter(0, this.text);
  }

  /** Moved before enough was counted: what there is still counts for the verdict. */
  broken() {
    const { at, count } = this.holding;
    if (count >= HZ) {
      this.endHold();
      this.lifted = true;
      return;
    }
    this.app.stream.add({ type: "lift", t: this.clock() });
    this.holding = null;
    this.lifted = true;
    this.app.undo(at);
    this.showHolds();
    ui.lead(`The phone moved too soon. Lay it on ${at} once more.`);
  }

  /** @param {number[]} g */
  gravity(g) {
    this.app.stream.add({ type: "gravity", t: this.clock(), ms2: g });
  }

  checkStale() {
    if (this.heard && performance.now() - this.heard > STALE_MS && (this.stage === "holds" || this.stage === "resting")) {
      ui.lead("No readings are coming. Keep this page in front and the screen on.");
    }
  }

  back() {
    ui.lead("Readings stopped while the page was hidden. Go on where you were.");
    if (this.holding) this.broken();
  }

  verdictChanged() {
    if (this.stage === "holds") this.showHolds();
    else if (this.stage === "result") this.showResult();
  }

  showResult() {
    this.stage = "result";
    ui.meter(null);
    const v = this.app.verdict;
    ui.drawing(this.app.plan, { states: this.app.states(), label: "The pad with what is known of each coil" });
    ui.show({
      title: this.app.outcomeTitle(),
      lead: this.app.outcomeLead(),
      body: [this.app.coilList(), ...this.app.notes()],
      actions: [
        { label: v?.outcome === "as-planned" ? "Read once more" : "Go on reading", main: true, id: "go-on", onclick: () => this.goOn() },
        { label: "Background again", onclick: () => this.askRest() },
      ],
    });
  }

  goOn() {
    this.stage = "holds";
    this.lifted = true;
    this.detector.reset();
    if (!this.target()) this.app.chosen = this.app.plan.coils[0].id;
    this.showHolds();
  }
}
