// Finding the sensor as a state machine: the phone is laid on one coil several
// ways, and in each the supply is switched once. Pure: events go in; what to show
// is read off it. Times are in seconds, readings in microtesla, phone axes.
//
//   lay ─ tap ─ first ─ steady ─ switch ─ tap ─ second ─ steady ─ lay … asking ─ answer
//                                                   └ no change: lay again, from supply off
//
// The lines gathered go to the bench, which answers where the sensor sits. They
// are no part of a check.
import { noiseOf } from "./hold-detector.js";
import { PulsedReadings } from "./still-pulsed.js";
import { SteadyReadings } from "./still-steady.js";
import { distance, mean } from "./vectors.js";

const RUN_S = 1.8;
const PERIODS = 3; // of a pulsed drive
const GUARD_S = 0.4; // after a tap, before readings count
const UNSTEADY_S = 10;
const LEAST_READINGS = 10;
const NO_CHANGE_UT = 6;
const TYPICAL_NOISE_UT = 0.9;
const ASK_FROM = 2; // placings

/** @typedef {"lay"|"first"|"switch"|"second"|"asking"|"answer"} Stage */
/** @typedef {{found: boolean, offset_mm: number[], offset_sd_mm: number[], why?: string, holds: number}} Answer */
/** @typedef {"" | "unchanged" | "unsteady" | "gap"} Told */

export class SensorFlow {
  /**
   * @param {{at: string, placings: import("./sensor-places.js").Placing[], supply: {drive: string, hz?: number, duty?: number}, device?: string}} o
   */
  constructor(o) {
    this.at = o.at;
    this.placings = o.placings;
    this.hz = o.supply.drive === "pulsed" ? o.supply.hz || 1 : 0;
    this.duty = o.supply.duty || 0.5;
    this.device = o.device || "";
    /** @type {Stage} */
    this.stage = "lay";
    /** Whether the supply is on, as far as was said. */
    this.driven = false;
    /** The lines of every placing done. @type {object[][]} */
    this.done = [];
    /** Lines of the placing in progress. @type {object[]} */
    this.lines = [];
    /** @type {Answer | null} */
    this.answer = null;
    /** What went wrong a moment ago. @type {Told} */
    this.told = "";
    /** @type {Sample[]} */
    this.run = [];
    this.since = 0;
    this.noise = TYPICAL_NOISE_UT;
    this.shaken = false;
    /** The supply has to be set to what it is asked to be: it does not stay so by itself. */
    this.afresh = true;
  }

  get number() {
    return this.done.length + 1;
  }

  get placing() {
    return this.placings[this.done.length % this.placings.length];
  }

  get runSeconds() {
    return this.hz > 0 && this.driven ? Math.max(RUN_S, PERIODS / this.hz) : RUN_S;
  }

  get progress() {
    if (this.stage !== "first" && this.stage !== "second") return undefined;
    return this.run.length ? Math.min(1, (this.run[this.run.length - 1].t - this.run[0].t) / this.runSeconds) : 0;
  }

  /** All lines so far, as a capture. */
  capture() {
    return [{ type: "start", v: 1, route: "vector", top_deg: 0, device: this.device }, ...this.done.flat()];
  }

  /** "It lies there, and the supply is as asked." @param {number} t */
  laid(t) {
    if (this.stage !== "lay") return;
    this.told = "";
    this.afresh = false;
    this.lines = [this.driveLine(t)];
    this.begin("first", t);
  }

  /** "It is on now", or off. @param {number} t @param {number} [amps] read off the supply */
  switched(t, amps) {
    if (this.stage !== "switch") return;
    this.told = "";
    this.driven = !this.driven;
    this.lines.push(this.driveLine(t, amps));
    this.begin("second", t);
  }

  /** @param {Stage} stage @param {number} t */
  begin(stage, t) {
    this.stage = stage;
    this.since = t;
    this.run = [];
  }

  driveLine(t, amps) {
    const told = amps && amps > 0 && this.driven ? { amps } : {};
    if (!this.driven) return { type: "drive", t, state: "off" };
    return this.hz > 0 ? { type: "drive", t, state: "pulse", hz: this.hz, duty: this.duty, ...told } : { type: "drive", t, state: "on", ...told };
  }

  /** What a motion sensor says. @param {"still"|"moving"|"unknown"} motion */
  motion(motion) {
    this.shaken = motion === "moving";
    if (this.shaken) this.run = [];
  }

  /** @param {number} t @param {number[]} ms2 */
  gravity(t, ms2) {
    if (this.stage === "first" || this.stage === "second") this.lines.push({ type: "gravity", t, ms2 });
  }

  /** A reading; true if the stage has changed. @param {number} t @param {number[]} u */
  sample(t, u) {
    if (this.stage !== "first" && this.stage !== "second") return false;
    if (t < this.since + GUARD_S || this.shaken) return false;
    this.run.push({ t, u });
    while (this.run[0].t < t - this.runSeconds - 0.15) this.run.shift();
    if (this.steady()) {
      this.runEnds();
      return true;
    }
    if (t - this.since > UNSTEADY_S && this.told !== "unsteady") {
      this.told = "unsteady";
      return true;
    }
    return false;
  }

  steady() {
    const { run } = this;
    if (run.length < LEAST_READINGS || run[run.length - 1].t - run[0].t < this.runSeconds) return false;
    if (this.hz > 0 && this.driven) return new PulsedReadings(this.hz, this.duty, this.noise).fit(run) !== null;
    return new SteadyReadings(this.noise).steady(run);
  }

  /** The person says that it gets no steadier. */
  asItIs() {
    if ((this.stage === "first" || this.stage === "second") && this.run.length >= LEAST_READINGS) this.runEnds();
  }

  runEnds() {
    this.told = "";
    const readings = this.run.map((s) => ({ type: "b", t: s.t, uT: s.u }));
    const first = this.run[0].t;
    const last = this.run[this.run.length - 1].t;
    if (this.stage === "first") {
      this.noise = Math.min(2, Math.max(0.3, noiseOf(this.run)));
      this.before = this.run;
      const p = this.placing;
      this.lines.push({ type: "hold", t: step(first, -1), at: this.at, top_deg: p.top_deg, shift_mm: p.shift_mm }, ...readings);
      this.stage = "switch";
      return;
    }
    if (this.noChange()) {
      this.told = "unchanged";
      this.startOver();
      return;
    }
    this.lines.push(...readings, { type: "lift", t: step(last, 1) });
    // Gravity that came before the hold or out of turn does no harm in order.
    this.done.push(this.lines.sort((a, b) => /** @type {any} */ (a).t - /** @type {any} */ (b).t));
    this.lines = [];
    this.stage = this.done.length < ASK_FROM ? "lay" : "asking";
  }

  /** Both runs read alike: nothing was switched. */
  noChange() {
    const [a, b] = [this.before || [], this.run].map((run) => run.map((s) => s.u));
    if (this.hz === 0) return distance(mean(a), mean(b)) < NO_CHANGE_UT;
    const reach = (list, from) => Math.max(...list.map((u) => distance(u, from)));
    const rest = this.driven ? mean(a) : mean(b);
    return Math.max(reach(a, rest), reach(b, rest)) < NO_CHANGE_UT + 3 * this.noise;
  }

  /** This placing again, from the supply off. */
  startOver() {
    this.lines = [];
    this.run = [];
    this.driven = false;
    this.afresh = true;
    this.stage = "lay";
  }

  /** Takes the last placing back, or the one in progress. */
  undo() {
    this.told = "";
    if (this.lines.length === 0) this.done.pop();
    this.answer = null;
    this.startOver();
  }

  /** Readings stopped for a while; true if that matters. */
  gap() {
    if (!["first", "switch", "second"].includes(this.stage)) return false;
    this.startOver();
    this.told = "gap";
    return true;
  }

  /** The bench has answered. @param {Answer} answer */
  answered(answer) {
    if (this.stage !== "asking") return;
    this.answer = answer;
    this.stage = answer.found ? "answer" : "lay";
  }

  /** One placing more. */
  more() {
    if (this.stage !== "answer") return;
    this.driven = false; // as was told with the answer
    this.afresh = true;
    this.stage = "lay";
  }
}

/** @typedef {import("./hold-detector.js").Sample} Sample */

/** @param {number} t @param {number} ms */
function step(t, ms) {
  return Math.max(0, Math.round(t * 1000 + ms) / 1000);
}
