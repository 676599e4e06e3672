// The made-up phone on the drawing: dragged by its body with mouse or finger,
// carried and turned with keys. In the hand it is lifted; let go, it lies down.
import { svg } from "../common/dom.js";

const BODY = { width: 74, height: 150, mark: 62 }; // millimetres; the mark lies this far below the top edge
const STEP_MM = 4;
const BIG_STEP_MM = 25;
const TURN_DEG = 5;
const TILT_DEG = 2;
const MOST_TILT_DEG = 30;
const CARRY_MS = 450;

export const KEYS = "Arrows carry it, with Shift in bigger steps; Space lays it down or lifts it; Q and E turn it; W, S, A, D tilt it; N carries it to the coil asked for.";

/** @typedef {{x_mm: number, y_mm: number, top_deg: number, tilt_deg: number[], down: boolean}} Pose */

export class MadeUpPhone {
  /** @param {{drawing: any, pose: Pose | null, onmove: (p: Pose) => void, say: (text: string) => void, asked: () => string | null}} o */
  constructor(o) {
    this.o = o;
    const home = o.drawing.view.home;
    /** @type {Pose} */
    this.pose = o.pose || { x_mm: home.x + home.w - 46, y_mm: -(home.y + home.h - 104), top_deg: 0, tilt_deg: [0, 0], down: true };
    const { width, height, mark } = BODY;
    this.sensor = svg("g", {});
    this.node = svg(
      "g",
      { class: "made-up", tabindex: "0", role: "application", "aria-roledescription": "phone to carry", "aria-label": `The made-up phone. ${KEYS}` },
      svg("rect", { class: "shadow", x: -width / 2 + 4, y: -mark + 6, width, height, rx: 12 }),
      svg("rect", { class: "body", x: -width / 2, y: -mark, width, height, rx: 12 }),
      svg("rect", { class: "screen", x: -width / 2 + 5, y: -mark + 9, width: width - 10, height: height - 18, rx: 5 }),
      svg("path", { class: "top", d: `M-9 ${-mark + 5}h18` }),
      svg("circle", { class: "mark", r: 7 }),
      svg("path", { class: "mark", d: "M-14 0h9M5 0h9M0-14v9M0 5v9" }),
      svg("circle", { class: "mark-dot", r: 1.8 }),
      svg("text", { class: "phone-state", "text-anchor": "middle", "font-size": 10, y: 62 }, ""),
      this.sensor,
    );
    this.words = this.node.querySelector(".phone-state");
    this.node.addEventListener("pointerdown", (e) => this.grab(/** @type {PointerEvent} */ (e)));
    this.node.addEventListener("keydown", (e) => this.key(/** @type {KeyboardEvent} */ (e)));
    o.drawing.overlay.replaceChildren(this.node);
    this.moved();
  }

  remove() {
    clearTimeout(this.carrying);
    this.node.remove();
  }

  moved() {
    const p = this.pose;
    const home = this.o.drawing.view.home;
    p.x_mm = Math.min(home.x + home.w, Math.max(home.x, p.x_mm));
    p.y_mm = Math.min(-home.y, Math.max(-home.y - home.h, p.y_mm));
    // Tilt is drawn as the body foreshortened; a degree is exaggerated to be seen.
    const [sx, sy] = [Math.cos((p.tilt_deg[1] * 2 * Math.PI) / 180), Math.cos((p.tilt_deg[0] * 2 * Math.PI) / 180)];
    this.node.setAttribute("transform", `translate(${p.x_mm} ${-p.y_mm}) rotate(${-p.top_deg}) scale(${sx} ${sy})`);
    this.node.classList.toggle("down", p.down);
    this.words.textContent = p.down ? "lies" : "lifted";
    this.o.onmove({ ...p, tilt_deg: [...p.tilt_deg] });
  }

  /** @param {PointerEvent} e */
  grab(e) {
    if (e.button > 0) return;
    e.preventDefault();
    e.stopPropagation();
    clearTimeout(this.carrying);
    /** @type {any} */ (this.node).focus({ preventScroll: true });
    this.node.setPointerCapture(e.pointerId);
    const from = this.o.drawing.toPad(e);
    const start = { x: this.pose.x_mm, y: this.pose.y_mm };
    this.pose.down = false;
    this.moved();
    const move = (ev) => {
      if (ev.pointerId !== e.pointerId) return;
      ev.stopPropagation();
      const to = this.o.drawing.toPad(ev);
      this.pose.x_mm = start.x + to.x - from.x;
      this.pose.y_mm = start.y + to.y - from.y;
      this.moved();
    };
    const drop = (ev) => {
      if (ev.pointerId !== e.pointerId) return;
      this.node.removeEventListener("pointermove", move);
      this.node.removeEventListener("pointerup", drop);
      this.node.removeEventListener("pointercancel", drop);
      this.pose.down = true;
      this.moved();
    };
    this.node.addEventListener("pointermove", move);
    this.node.addEventListener("pointerup", drop);
    this.node.addEventListener("pointercancel", drop);
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const by = e.shiftKey ? BIG_STEP_MM : STEP_MM;
    const moves = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, by], ArrowDown: [0, -by] };
    const tilts = { w: [-TILT_DEG, 0], s: [TILT_DEG, 0], a: [0, -TILT_DEG], d: [0, TILT_DEG] };
    const key = e.key.length === 1 ? e.key.toLowerCase() : e.key;
    if (moves[key]) this.carry(moves[key][0], moves[key][1]);
    else if (tilts[key]) this.tilt(tilts[key][0], tilts[key][1]);
    else if (key === "q") this.turn(TURN_DEG);
    else if (key === "e") this.turn(-TURN_DEG);
    else if (key === " " || key === "Enter") this.toggle();
    else if (key === "n") this.goTo(this.o.asked());
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  carry(dx, dy) {
    clearTimeout(this.carrying);
    if (this.pose.down) this.o.say("Lifted. Space lays it down.");
    this.pose.down = false;
    this.pose.x_mm += dx;
    this.pose.y_mm += dy;
    this.moved();
  }

  turn(by) {
    this.pose.top_deg = ((this.pose.top_deg + by + 540) % 360) - 180;
    this.moved();
  }

  tilt(pitch, roll) {
    const hold = (v) => Math.max(-MOST_TILT_DEG, Math.min(MOST_TILT_DEG, v));
    this.pose.tilt_deg = [hold(this.pose.tilt_deg[0] + pitch), hold(this.pose.tilt_deg[1] + roll)];
    this.moved();
  }

  toggle() {
    clearTimeout(this.carrying);
    this.pose.down = !this.pose.down;
    this.o.say(this.pose.down ? "The phone lies down." : "The phone is lifted.");
    this.moved();
  }

  /** Lifts the phone, carries it to a coil and lays it down. @param {string | null} id */
  goTo(id) {
    const c = this.o.drawing.plan.coils.find((k) => k.id === id);
    if (!c) {
      this.o.say("No coil is asked for just now.");
      return;
    }
    clearTimeout(this.carrying);
    this.pose.down = false;
    this.moved();
    this.carrying = setTimeout(() => {
      this.pose.x_mm = c.x_mm;
      this.pose.y_mm = c.y_mm;
      this.moved();
      this.carrying = setTimeout(() => {
        this.pose.down = true;
        this.moved();
        this.o.say(`The phone lies on ${id}.`);
      }, CARRY_MS);
    }, CARRY_MS);
  }

  /** Shows where the sensor really sits. @param {number[]} offset_mm right and up from the mark */
  reveal(offset_mm) {
    this.sensor.replaceChildren(
      svg("path", { class: "sensor-way", d: `M0 0L${offset_mm[0]} ${-offset_mm[1]}` }),
      svg("rect", { class: "sensor", x: offset_mm[0] - 5, y: -offset_mm[1] - 5, width: 10, height: 10, rx: 2 }),
      svg("text", { class: "sensor-word", x: offset_mm[0] + 8, y: -offset_mm[1] + 3.5, "font-size": 10 }, "sensor"),
    );
  }
}
