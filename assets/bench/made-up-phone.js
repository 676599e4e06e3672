// The made-up phone on the drawing: dragged by its body with mouse or finger,
// turned by the knob at its top, tilted by the bubble of its level; all of it with
// keys as well. In the hand it is lifted; let go, it lies down.
import { svg } from "../common/dom.js";

const BODY = { width: 74, height: 150, mark: 62 }; // millimetres; the mark lies this far below the top edge
const STEP_MM = 4;
const BIG_STEP_MM = 25;
const TURN_DEG = 5;
const TILT_DEG = 2;
const MOST_TILT_DEG = 30;
const CARRY_MS = 450;
const DRAW_MS = 50;
const DRAW_MM_S = 65; // as a hand draws it along a row
const NEAR_MM = 2;
const NEAR_DEG = 3;
const LEVEL = { r: 12, y: 40 }; // the spirit level below the mark, millimetres
const KNOB_Y = -BODY.mark - 13;
const REACH_MM = 18; // round knob and bubble

export const KEYS = "Arrows carry it, with Shift in bigger steps; Space lays it down or lifts it; Q and E turn it; W, S, A, D tilt it, 0 lays it level; N carries it to the coil asked for.";

// Which way the bubble goes as pitch and roll grow: a pitch above 0 raises the top
// edge, a roll above 0 the left one.
const SIGNS = [1, -1];

/** An angle from -180 to 180. */
const turned = (deg) => ((deg + 540) % 360) - 180;

const within = (v) => Math.max(-MOST_TILT_DEG, Math.min(MOST_TILT_DEG, v));

/** How a pose stands, in words. @param {Pose} p */
export function poseWords(p) {
  const [pitch, roll] = p.tilt_deg;
  const words = [p.down ? "It lies" : "It is lifted"];
  if (Math.abs(p.top_deg) >= 1) words.push(`turned ${Math.abs(p.top_deg)}° to the ${p.top_deg > 0 ? "left" : "right"}`);
  if (pitch) words.push(`its ${pitch > 0 ? "top" : "lower"} edge up by ${Math.abs(pitch)}°`);
  if (roll) words.push(`its ${roll > 0 ? "left" : "right"} edge up by ${Math.abs(roll)}°`);
  return `${words.join(", ")}.`;
}

/** @typedef {{x_mm: number, y_mm: number, top_deg: number, tilt_deg: number[], down: boolean}} Pose */

export class MadeUpPhone {
  /** @param {{drawing: any, pose: Pose | null, onmove: (p: Pose) => void, say: (text: string) => void, asked: () => import("./phone-asks.js").Asked | null}} o */
  constructor(o) {
    this.o = o;
    const home = o.drawing.view.home;
    /** @type {Pose} */
    this.pose = o.pose || { x_mm: home.x + home.w - 46, y_mm: -(home.y + home.h - 104), top_deg: 0, tilt_deg: [0, 0], down: true };
    this.goal = ""; // where it is being carried, by itself
    const { width, height, mark } = BODY;
    this.sensor = svg("g", {});
    this.bubble = svg("circle", { class: "bubble", r: 4.2, cy: LEVEL.y });
    const reach = (y) => svg("circle", { class: "reach", r: REACH_MM, cy: y }); // a finger is thicker than what it takes hold of
    this.level = svg("g", { class: "level" }, reach(LEVEL.y), svg("circle", { class: "level-rim", r: LEVEL.r, cy: LEVEL.y }), svg("circle", { class: "level-ring", r: 5.6, cy: LEVEL.y }), this.bubble);
    this.knob = svg("g", { class: "knob" }, reach(KNOB_Y), svg("path", { d: `M0 ${-mark}V${KNOB_Y + 7}` }), svg("circle", { class: "knob-rim", r: 7.5, cy: KNOB_Y }), svg("path", { class: "knob-way", d: `M-3.6 ${KNOB_Y + 1.4}a3.8 3.8 0 1 1 7.2 0m-2.6 -.4l2.6 .8l1.2 -2.4` }));
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
      svg("text", { class: "phone-state", "text-anchor": "middle", "font-size": 10, y: 67 }, ""),
      this.level,
      this.knob,
      this.sensor,
    );
    this.words = this.node.querySelector(".phone-state");
    this.knob.addEventListener("pointerdown", (e) => this.twist(/** @type {PointerEvent} */ (e)));
    this.level.addEventListener("pointerdown", (e) => this.lean(/** @type {PointerEvent} */ (e)));
    this.node.addEventListener("pointerdown", (e) => this.grab(/** @type {PointerEvent} */ (e)));
    // Or a finger would scroll the page: of a part of an SVG browsers do not heed touch-action.
    this.node.addEventListener("touchstart", (e) => e.cancelable && e.preventDefault(), { passive: false });
    this.node.addEventListener("keydown", (e) => this.key(/** @type {KeyboardEvent} */ (e)));
    o.drawing.overlay.replaceChildren(this.node);
    this.moved();
  }

  remove() {
    this.stop();
    this.node.remove();
  }

  moved() {
    const p = this.pose;
    // Tilt is drawn as the body foreshortened; a degree is exaggerated to be seen.
    const [sx, sy] = [Math.cos((p.tilt_deg[1] * 2 * Math.PI) / 180), Math.cos((p.tilt_deg[0] * 2 * Math.PI) / 180)];
    this.node.setAttribute("transform", `translate(${p.x_mm} ${-p.y_mm}) rotate(${-p.top_deg}) scale(${sx} ${sy})`);
    this.node.classList.toggle("down", p.down);
    this.words.textContent = p.down ? "lies" : "lifted";
    const per = LEVEL.r / MOST_TILT_DEG;
    this.bubble.setAttribute("cx", String(SIGNS[1] * p.tilt_deg[1] * per * 0.65));
    this.bubble.setAttribute("cy", String(LEVEL.y - SIGNS[0] * p.tilt_deg[0] * per * 0.65));
    this.o.onmove({ ...p, tilt_deg: [...p.tilt_deg] });
  }

  /** A hand does not lose it beside the drawing; where it is asked for, it may lie there. */
  keepInView() {
    const p = this.pose;
    const home = this.o.drawing.view.home;
    p.x_mm = Math.min(home.x + home.w, Math.max(home.x, p.x_mm));
    p.y_mm = Math.min(-home.y, Math.max(-home.y - home.h, p.y_mm));
  }

  /**
   * Follows a pointer from where it went down until it is let go.
   * @param {PointerEvent} e @param {(at: {x: number, y: number}) => void} onmove pad millimetres @param {() => void} [ondrop]
   */
  follow(e, onmove, ondrop) {
    const target = /** @type {Element} */ (e.currentTarget);
    e.preventDefault();
    e.stopPropagation();
    this.stop();
    /** @type {any} */ (this.node).focus({ preventScroll: true });
    target.setPointerCapture(e.pointerId);
    const move = (ev) => {
      if (ev.pointerId !== e.pointerId) return;
      ev.stopPropagation();
      onmove(this.o.drawing.toPad(ev));
      this.keepInView();
      this.moved();
    };
    const drop = (ev) => {
      if (ev.pointerId !== e.pointerId) return;
      target.removeEventListener("pointermove", move);
      for (const end of ["pointerup", "pointercancel"]) target.removeEventListener(end, drop);
      ondrop?.();
      this.moved();
    };
    target.addEventListener("pointermove", move);
    for (const end of ["pointerup", "pointercancel"]) target.addEventListener(end, drop);
  }

  /** @param {PointerEvent} e */
  grab(e) {
    if (e.button > 0) return;
    const from = this.o.drawing.toPad(e);
    const start = { x: this.pose.x_mm, y: this.pose.y_mm };
    this.pose.down = this.drawn;
    this.follow(
      e,
      (to) => {
        this.pose.x_mm = start.x + to.x - from.x;
        this.pose.y_mm = start.y + to.y - from.y;
      },
      () => (this.pose.down = true),
    );
    this.moved();
  }

  /** Turns about the mark. @param {PointerEvent} e */
  twist(e) {
    if (e.button > 0) return;
    this.follow(e, (to) => {
      const deg = (Math.atan2(-(to.x - this.pose.x_mm), to.y - this.pose.y_mm) * 180) / Math.PI;
      this.pose.top_deg = Math.round(deg);
    });
  }

  /** Tilts: the bubble goes to what is highest. @param {PointerEvent} e */
  lean(e) {
    if (e.button > 0) return;
    const a = (this.pose.top_deg * Math.PI) / 180;
    const from = this.o.drawing.toPad(e);
    const start = this.pose.tilt_deg;
    this.follow(e, (to) => {
      const [dx, dy] = [to.x - from.x, to.y - from.y];
      const right = dx * Math.cos(a) + dy * Math.sin(a);
      const up = -dx * Math.sin(a) + dy * Math.cos(a);
      const per = MOST_TILT_DEG / LEVEL.r;
      this.pose.tilt_deg = [start[0] + SIGNS[0] * up * per, start[1] + SIGNS[1] * right * per].map((v) => Math.round(within(v)));
    });
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
    else if (key === "0") this.flat();
    else if (key === "q") this.turn(TURN_DEG);
    else if (key === "e") this.turn(-TURN_DEG);
    else if (key === " " || key === "Enter") this.toggle();
    else if (key === "n") this.goTo(this.o.asked());
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  carry(dx, dy) {
    this.stop();
    if (this.pose.down && !this.drawn) this.o.say("Lifted. Space lays it down.");
    this.pose.down = this.pose.down && this.drawn;
    this.pose.x_mm += dx;
    this.pose.y_mm += dy;
    this.keepInView();
    this.moved();
  }

  /** A stroke is under way: it is drawn along, not lifted. */
  get drawn() {
    return this.o.asked()?.drawn ?? false;
  }

  turn(by) {
    this.pose.top_deg = turned(this.pose.top_deg + by);
    this.moved();
  }

  tilt(pitch, roll) {
    this.pose.tilt_deg = [within(this.pose.tilt_deg[0] + pitch), within(this.pose.tilt_deg[1] + roll)];
    this.moved();
  }

  /** Level, and its top edge away from the person. */
  flat() {
    this.pose.tilt_deg = [0, 0];
    this.pose.top_deg = 0;
    this.o.say("The phone lies level, its top edge away from you.");
    this.moved();
  }

  toggle() {
    this.stop();
    this.pose.down = !this.pose.down;
    this.o.say(this.pose.down ? "The phone lies down." : "The phone is lifted.");
    this.moved();
  }

  /** Whether it lies where it is asked for. @param {import("./phone-asks.js").Asked} to */
  liesAt(to) {
    const p = this.pose;
    return p.down && Math.hypot(p.x_mm - to.x_mm, p.y_mm - to.y_mm) < NEAR_MM && Math.abs(turned(p.top_deg - to.top_deg)) < NEAR_DEG;
  }

  /**
   * Lifts the phone, carries it where it is asked for, turned and moved aside as
   * asked, and lays it down.
   * @param {import("./phone-asks.js").Asked | null} to
   */
  goTo(to) {
    if (!to || this.liesAt(to)) {
      this.o.say(to ? `The phone lies on ${to.id}.` : "No coil is asked for just now.");
      return;
    }
    const goal = [to.x_mm, to.y_mm, to.top_deg].join();
    if (this.goal === goal) return; // asked for again, it would never arrive
    this.stop();
    this.goal = goal;
    if (to.drawn && this.pose.down) {
      this.drawOn(to);
      return;
    }
    this.pose.down = false;
    this.moved();
    this.carrying = setTimeout(() => {
      this.pose.x_mm = to.x_mm;
      this.pose.y_mm = to.y_mm;
      this.pose.top_deg = to.top_deg;
      this.moved();
      this.carrying = setTimeout(() => {
        this.goal = "";
        this.pose.down = true;
        this.moved();
        this.o.say(`The phone lies on ${to.id}.`);
      }, CARRY_MS);
    }, CARRY_MS);
  }

  /** Draws the phone to where a stroke ends. @param {import("./phone-asks.js").Asked} to */
  drawOn(to) {
    this.carrying = setTimeout(() => {
      const p = this.pose;
      const [dx, dy] = [to.x_mm - p.x_mm, to.y_mm - p.y_mm];
      const share = Math.min(1, (DRAW_MM_S * DRAW_MS) / 1000 / Math.max(Math.hypot(dx, dy), 1e-6));
      p.x_mm += share * dx;
      p.y_mm += share * dy;
      this.moved();
      if (share < 1) {
        this.drawOn(to);
        return;
      }
      this.goal = "";
      this.o.say(`The phone lies on ${to.id}.`);
    }, DRAW_MS);
  }

  /** It is carried no further by itself. */
  stop() {
    clearTimeout(this.carrying);
    this.goal = "";
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
