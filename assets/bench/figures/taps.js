// A face read by hand, with a needle or a hand meter, tapped in for the coil that
// is selected.
import { el, svg } from "../../common/dom.js";
import { needleOver } from "../../common/north.js";
import { faceSign } from "../../common/pad.js";
import { northText } from "../convention.js";
import { entries } from "./entries.js";

const capital = (s) => s[0].toUpperCase() + s.slice(1);

const FACES = [
  { face: "north", word: (n) => `${capital(n.own.north)} up`, needle: (n) => `${n.physics.north}draws a needle's south end`, sign: 1 },
  { face: "south", word: (n) => `${capital(n.own.south)} up`, needle: (n) => `${n.physics.south}draws a needle's north end`, sign: -1 },
  { face: "none", word: () => "No face", needle: () => "the needle does not care", sign: 0 },
];

class Taps {
  constructor() {
    this.coil = "";
    this.check = "";
    this.trouble = el("p", { class: "trouble", role: "alert" });
    this.title = el("span", { class: "taps-title" });
    this.buttons = FACES.map((f) =>
      el("button", { type: "button", class: "tap", "data-tap": f.face, "aria-pressed": "false", onclick: () => void this.tap(f.face) }, sign(f.sign), el("span", {}, el("strong", {}, northText(f.word)), el("small", {}, northText(f.needle)))),
    );
    this.clear = el("button", { type: "button", class: "tap", "data-tap": "clear", onclick: () => void this.tap(null) }, "Clear");
    this.element = el("div", { class: "taps", role: "group" }, this.title, ...this.buttons, this.clear, this.trouble);
    entries.follow(() => this.draw());
  }

  /** Turns the controls to a coil. @param {string} coil @param {string} check */
  show(coil, check) {
    if (coil === this.coil && check === this.check) return;
    this.coil = coil;
    this.check = check;
    this.trouble.textContent = "";
    this.draw();
    if (entries.now?.check !== check) void entries.load().catch(() => {}); // told on the next tap
  }

  draw() {
    const face = entries.now?.check === this.check ? entries.now.faces[this.coil] : undefined;
    this.title.textContent = `${this.coil} by hand, supply on. ${needleOver(this.coil)} Tap what it shows, not what is planned.`;
    this.element.setAttribute("aria-label", `Which face of ${this.coil} looks up, read by hand`);
    for (const b of this.buttons) b.setAttribute("aria-pressed", String(b.dataset.tap === face));
    /** @type {any} */ (this.clear).disabled = !face;
  }

  /** @param {string | null} face null takes it back */
  async tap(face) {
    const { coil, check } = this;
    this.trouble.textContent = "";
    try {
      if (face) await entries.add(check, [{ type: "reading", at: coil, face }]);
      else await entries.clear(check, coil);
    } catch (e) {
      this.trouble.textContent = e.message;
    }
  }
}

function sign(face) {
  return svg("svg", { viewBox: "-11 -11 22 22", class: "tap-sign", "aria-hidden": "true" }, faceSign(face, 9));
}

export const taps = new Taps();
