// The heading route: the phone lies beside a coil, and the supply is switched on
// while it lies there. The coil's pull turns the compass.
import * as ui from "./ui.js";

const SETTLE_S = 3.5; // the compass follows with a lag of about a second
const BESIDE_MM = 25; // from the copper's outer edge to the mark

export class CompassRun {
  /** @param {{app: any, start: object, startSource: Function, clock: () => number}} o */
  constructor(o) {
    this.app = o.app;
    this.clock = o.clock;
    this.o = o;
    this.stage = "place";
  }

  async begin() {
    this.source = await this.o.startSource((h) => this.heading(h));
    this.app.stream.add({ type: "start", v: 1, route: "heading", ...this.o.start });
    this.show();
  }

  end() {
    this.source?.stop();
  }

  /** Beside the coil, on the side where its pull is most across the needle. */
  shift(at) {
    const c = this.app.plan.coils.find((k) => k.id === at);
    const w = this.app.plan.windings.find((k) => k.id === c.winding);
    // North lies at the heading's other side: with the top edge along pad +y the
    // needle points at -heading, counter-clockwise from +y.
    const north = (-(this.now ?? 0) * Math.PI) / 180;
    const across = Math.abs(Math.cos(north)) > Math.abs(Math.sin(north)) ? "x" : "y";
    const reach = (w.shape === "round" || across === "x" ? w.inner_mm[0] : w.inner_mm[1]) / 2 + w.build_mm + BESIDE_MM;
    const other = this.app.timesRead(at) % 2 === 1 ? -1 : 1;
    return across === "x" ? { mm: [other * reach, 0], words: other > 0 ? "right of" : "left of" } : { mm: [0, other * reach], words: other > 0 ? "beyond" : "in front of" };
  }

  show() {
    const at = this.app.target();
    if (!at) {
      this.showResult();
      return;
    }
    this.stage = "place";
    this.at = at;
    this.side = this.shift(at);
    ui.drawing(this.app.plan, { next: at, states: this.app.states(), onpick: (id) => ((this.app.chosen = id), this.show()), label: `The pad. Next is ${at}` });
    ui.meter(null);
    ui.show({
      title: `Supply off. Phone ${this.side.words} ${at}`,
      lead: `Lay it ${BESIDE_MM} mm from the copper, ${this.side.words} ${at}, top edge away from you. Do not turn it until told.`,
      focus: false,
      actions: [
        { label: "It lies there, supply off", main: true, id: "is-off", onclick: () => this.off() },
        { label: "Result so far", onclick: () => this.showResult() },
      ],
    });
  }

  off() {
    const t = this.clock();
    this.app.stream.add({ type: "hold", t, at: this.at, shift_mm: this.side.mm }, { type: "drive", t, state: "off" });
    this.wait("off", "The compass settles", () => {
      ui.show({
        title: "Switch the supply on",
        lead: "Leave the phone where it is.",
        body: [ui.cautions()],
        actions: [{ label: "It is on", main: true, id: "is-on", onclick: () => this.on() }],
      });
    });
  }

  on() {
    this.before = this.now;
    this.app.stream.add({ type: "drive", t: this.clock(), state: "on" });
    this.wait("on", "The compass turns", () => {
      this.app.stream.add({ type: "lift", t: this.clock() });
      this.app.stream.flush();
      const turned = Math.abs(((this.now - this.before + 540) % 360) - 180);
      this.app.counted(this.at);
      this.show();
      if (turned < 5) ui.lead(`The compass hardly turned (${turned.toFixed(0)} degrees). A little more current tells more, if the wire stays cold.`);
      if (turned > 120) ui.lead(`The pull is far stronger than the earth's field (${turned.toFixed(0)} degrees). Half the current tells more.`);
    });
  }

  wait(stage, title, then) {
    this.stage = stage;
    this.since = this.clock();
    this.then = then;
    ui.show({ title, lead: "Keep the phone still.", actions: [] });
  }

  heading(h) {
    this.now = h.deg;
    const t = this.clock();
    if (this.stage !== "off" && this.stage !== "on") return;
    const line = { type: "heading", t, deg: h.deg };
    if (Number.isFinite(h.turned)) line.turned_deg = h.turned;
    if (Number.isFinite(h.accuracy)) line.accuracy_deg = h.accuracy;
    this.app.stream.add(line);
    const share = (t - this.since) / SETTLE_S;
    ui.meter(Math.min(1, share), `${h.deg.toFixed(0)} deg`);
    if (share >= 1 && this.then) {
      const then = this.then;
      this.then = null;
      then();
    }
  }

  back() {}

  verdictChanged() {
    if (this.stage === "result") this.showResult();
    else if (this.stage === "place") this.show();
  }

  showResult() {
    this.stage = "result";
    ui.meter(null);
    ui.drawing(this.app.plan, { states: this.app.states(), label: "The pad with what is known of each coil" });
    ui.show({
      title: this.app.outcomeTitle(),
      lead: this.app.outcomeLead(),
      body: [this.app.coilList(), ...this.app.notes()],
      actions: [{ label: "Go on reading", main: true, id: "go-on", onclick: () => this.show() }],
    });
  }
}
