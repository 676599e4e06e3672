// The hand route: no sensor, just what a compass needle or hand meter shows, and
// an ohmmeter if there is one.
import { el } from "../common/dom.js";
import * as ui from "./ui.js";

export class HandRun {
  /** @param {{app: any, clock: () => number}} o */
  constructor(o) {
    this.app = o.app;
    this.clock = o.clock;
  }

  async begin() {
    this.app.stream.add({ type: "start", v: 1, route: "hand" });
    this.show();
  }

  end() {}

  show() {
    this.stage = "read";
    const at = this.app.target() || this.app.plan.coils[0].id;
    ui.drawing(this.app.plan, { next: at, states: this.app.states(), onpick: (id) => this.pick(id), label: `The pad. Next is ${at}` });
    const convention = this.app.northWords();
    ui.show({
      title: `Which face looks up on ${at}?`,
      lead: `With the supply on, hold a compass needle or hand meter over the middle of ${at}.`,
      body: [el("p", { class: "why" }, convention.explain), ui.cautions(), this.ohms(at)],
      focus: false,
      actions: [
        { label: `North up (${convention.north})`, main: true, id: "north", onclick: () => this.read(at, "north") },
        { label: `South up (${convention.south})`, id: "south", onclick: () => this.read(at, "south") },
        { label: "Nothing there", id: "none", onclick: () => this.read(at, "none") },
        { label: "Result so far", onclick: () => this.showResult() },
      ],
    });
  }

  pick(id) {
    this.app.chosen = id;
    this.show();
  }

  read(at, face) {
    this.app.stream.add({ type: "reading", t: this.clock(), at, face });
    this.app.stream.flush();
    this.app.counted(at);
    this.show();
  }

  ohms(at) {
    const input = el("input", { type: "text", inputmode: "decimal", size: 6, "aria-label": `ohms of coil ${at}`, placeholder: "ohms" });
    const say = el("span", { class: "why", role: "status" });
    const send = () => {
      const text = input.value.trim().replace(",", ".").toLowerCase();
      const open = text === "open" || text === "inf";
      const ohms = Number(text);
      if (!open && (text === "" || !(ohms >= 0))) {
        say.textContent = "Write a number, or the word open.";
        return;
      }
      this.app.stream.add({ type: "ohms", t: this.clock(), across: `coil:${at}`, ohms: open ? null : ohms });
      this.app.stream.flush();
      say.textContent = `Noted: ${open ? "open" : `${ohms} ohm`} across ${at}.`;
    };
    return el("p", {}, `Ohms of ${at}, unplugged from the rest: `, input, " ", el("button", { type: "button", class: "small", onclick: send }, "Note"), " ", say);
  }

  verdictChanged() {
    if (this.stage === "result") this.showResult();
    else this.show();
  }

  back() {}

  showResult() {
    this.stage = "result";
    ui.drawing(this.app.plan, { states: this.app.states(), label: "The pad with what is known of each coil" });
    ui.show({
      title: this.app.outcomeTitle(),
      lead: this.app.outcomeLead(),
      body: [this.app.coilList(), ...this.app.notes()],
      actions: [{ label: "Go on reading", main: true, id: "go-on", onclick: () => this.show() }],
    });
  }
}
