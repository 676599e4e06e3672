// Finding the sensor at work: readings in, screens shown, the bench asked where the
// sensor sits, and the place remembered for this phone.
import { buzz } from "./buzz.js";
import { Clock } from "./clock.js";
import * as page from "./page.js";
import { sensorPlace } from "./remembered.js";
import { ampsInSight, typedAmps } from "./run.js";
import { placeWords, sensorScreen } from "./screens/sensor.js";
import { SensorFlow } from "./sensor-flow.js";
import { coilToUse, placings } from "./sensor-places.js";
import { startMagnetometer } from "./sources/magnetometer.js";
import { startMotion } from "./sources/motion.js";
import { Stillness } from "./stillness.js";
import { speak } from "./voice.js";

const STOPPED_MS = 1500; // no reading for so long is a gap
const FOUND_WITHIN_MS = 30000; // the bench takes a second for it, and one phone after the other
const STICKER_MM = 2; // how well a sticker is put where it should be

export class SensorRun {
  /** @param {{told: import("./told.js").Told, device: string, close: (note: string) => void, failed: (t: import("./troubles.js").Trouble) => void}} o */
  constructor(o) {
    this.o = o;
    const { plan, verdict } = o.told;
    const at = coilToUse(plan, verdict);
    const coil = plan.coils.find((c) => c.id === at);
    const winding = plan.windings.find((w) => w.id === coil.winding);
    this.clock = new Clock();
    this.flow = new SensorFlow({ at, placings: placings(coil, winding), supply: plan.supply, device: o.device });
    this.stillness = new Stillness();
    this.note = "";
    /** Amps typed that were asked about. @type {number | undefined} */
    this.doubted = undefined;
    this.last_ms = performance.now();
    this.ended = false;
    const { flow } = this;
    this.do = {
      laid: () => this.act(() => flow.laid(this.clock.at())),
      switched: () => this.switched(),
      asItIs: () => this.act(() => flow.asItIs()),
      undo: () => this.act(() => flow.undo()),
      ask: () => this.act(() => {}),
      more: () => this.act(() => flow.more()),
      stop: () => o.close(""),
      keep: () => this.keep(false),
      sticker: () => this.keep(true),
    };
  }

  async begin() {
    this.source = await startMagnetometer((u, stamp_ms) => this.reading(u, stamp_ms), (t) => this.o.failed(t));
    if (this.ended) {
      this.source.stop();
      return;
    }
    this.motion = startMotion(
      (ms2, stamp_ms) => this.flow.gravity(this.clock.at(stamp_ms), ms2.map((v) => Math.round(v * 1000) / 1000)),
      (m, stamp_ms) => {
        const t = this.clock.at(stamp_ms);
        this.stillness.feed({ t, ...m });
        this.flow.motion(this.stillness.at(t));
      },
    );
    this.watch = setInterval(() => this.watchGap(), 500);
  }

  end() {
    this.ended = true;
    clearInterval(this.watch);
    this.source?.stop();
    this.motion?.stop();
  }

  /** @param {number[]} u @param {number} [stamp_ms] */
  reading(u, stamp_ms) {
    this.last_ms = performance.now();
    const changed = this.flow.sample(this.clock.at(stamp_ms), u);
    if (this.flow.stage !== "answer") page.field(u);
    page.progress(this.flow.progress);
    if (!changed) return;
    buzz(this.flow.told ? "broken" : "counted");
    this.went();
  }

  /** @param {() => void} event */
  act(event) {
    this.note = "";
    this.doubted = undefined;
    event();
    this.went();
  }

  /** After every change of the flow. */
  went() {
    this.show();
    if (this.flow.stage === "asking") void this.ask();
    else if (this.flow.stage === "switch") speak(this.flow.driven ? "Supply off." : "Supply on.");
  }

  switched() {
    const { plan, predicted } = this.o.told;
    const { amps, problem, doubted } = this.flow.driven ? {} : typedAmps({ amps: predicted?.pad?.amps, supply: plan.supply }, this.doubted);
    this.doubted = doubted;
    this.note = problem || "";
    if (!problem) this.flow.switched(this.clock.at(), amps);
    this.went();
    if (problem) ampsInSight();
  }

  async ask() {
    if (this.waiting) return;
    this.waiting = true;
    try {
      const r = await fetch(new URL("sensor", this.o.told.base), { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ lines: this.flow.capture() }), signal: AbortSignal.timeout(FOUND_WITHIN_MS) });
      const answer = await r.json();
      if (answer.error) throw new Error(`${answer.error.say} ${answer.error.hint || ""}`);
      this.flow.answered(answer);
      if (answer.found) buzz("as-planned");
      if (this.flow.stage === "answer") speak(`Sensor found, ${placeWords(answer.offset_mm)}.${this.flow.driven ? " Switch the supply off." : ""}`);
    } catch (e) {
      const { name, message } = /** @type {Error} */ (e);
      this.note = ["TypeError", "TimeoutError"].includes(name) ? "The bench does not answer. Is this phone still on its network? Do the last placing again to ask once more." : message;
    }
    this.waiting = false;
    if (!this.ended) this.show();
  }

  watchGap() {
    if (performance.now() - this.last_ms > STOPPED_MS && this.flow.gap()) this.went();
  }

  hidden() {
    if (this.flow.gap()) this.went();
  }

  /** @param {boolean} marked a sticker is there */
  keep(marked) {
    const a = this.flow.answer;
    if (!a?.found) return;
    const sd_mm = a.offset_sd_mm.map((s) => Math.round(Math.hypot(s, marked ? STICKER_MM : 0) * 10) / 10);
    sensorPlace.set({ mm: a.offset_mm, sd_mm, marked });
    this.o.close(marked ? "From now on lay the sticker on the coils." : "The sensor's place is remembered. Go on laying the middle of the phone on the coils.");
  }

  show() {
    if (this.flow.stage === "answer") page.reading("");
    page.show(sensorScreen(this.flow, this.o.told, { note: this.note, doubted: this.doubted !== undefined, do: this.do }));
  }
}
