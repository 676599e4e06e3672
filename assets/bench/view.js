// Zoom and pan of a drawing: wheel (with Ctrl, or once the drawing has been clicked
// or zoomed), two fingers, dragging, keys, buttons. The drawing itself stays as it
// is, and what holds it is moved and made larger: with its viewBox changed, the
// browser would lay out every word of it again at each step.
import { el } from "../common/dom.js";

const NEAREST = 12; // times the whole
const STILL_PX = 4; // a pointer that moves less has tapped

export class View {
  /**
   * @param {SVGSVGElement} svg
   * @param {(box: {x: number, y: number, w: number, h: number}, scale: number) => void} onview told what is seen of it, in its own units, and the pixels of one
   */
  constructor(svg, onview) {
    this.svg = svg;
    this.onview = onview;
    this.sheet = el("div", { class: "view-sheet" }, svg);
    this.node = el("div", { class: "view-window" }, this.sheet);
    this.home = { x: 0, y: 0, w: 1, h: 1 };
    this.box = this.home;
    /** @type {Map<number, {x: number, y: number}>} */
    this.fingers = new Map();
    this.grip = null;
    this.travelled = 0;
    svg.addEventListener("wheel", (e) => this.wheel(e), { passive: false });
    svg.addEventListener("pointerdown", (e) => this.down(e));
    svg.addEventListener("pointermove", (e) => this.move(e));
    for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, (e) => this.up(/** @type {PointerEvent} */ (e)));
    // Fingers that move the drawing do not scroll the page: two at once, or one that
    // goes over the zoomed drawing. Said here and not by touch-action, which every
    // part of the drawing would have to be told of when it changes.
    const ours = (e) => (e.touches.length > 1 || (this.zoomed && e.type === "touchmove")) && e.cancelable && e.preventDefault();
    for (const name of ["touchstart", "touchmove"]) svg.addEventListener(name, ours, { passive: false });
    svg.addEventListener("click", (e) => this.travelled > STILL_PX && e.stopPropagation(), { capture: true });
    // On paper all of it is seen.
    addEventListener("beforeprint", () => this.draw(this.home));
    addEventListener("afterprint", () => this.draw());
    new ResizeObserver(() => this.draw()).observe(this.node);
  }

  /** Sets the whole drawing's box in its own units. */
  setHome(x, y, w, h) {
    this.whole({ x, y, w, h });
    this.fit();
  }

  whole(home) {
    this.home = home;
    this.svg.setAttribute("viewBox", `${home.x} ${home.y} ${home.w} ${home.h}`);
  }

  /** Sets the whole drawing's box and goes on showing what is seen. */
  setBounds(home) {
    this.whole(home);
    const w = Math.min(this.box.w, home.w);
    this.show({ ...this.box, w, h: (w * home.h) / home.w });
  }

  fit() {
    this.show(this.home);
  }

  /** Moves what is seen so that a place is in it. @param {number} x @param {number} y in the drawing's units @param {number} r room around it */
  reveal(x, y, r) {
    if (!this.zoomed) return;
    const { box } = this;
    const into = (at, from, size) => (size < 2 * r ? at - size / 2 : Math.min(at - r, Math.max(at + r - size, from)));
    this.show({ ...box, x: into(x, box.x, box.w), y: into(y, box.y, box.h) });
  }

  get zoomed() {
    return this.box.w < this.home.w * 0.999;
  }

  /** @param {number} by above 1: closer. @param {{x: number, y: number}} [about] in the drawing's units */
  zoom(by, about = { x: this.box.x + this.box.w / 2, y: this.box.y + this.box.h / 2 }) {
    const w = this.width(this.box.w / by);
    const k = w / this.box.w;
    this.show({ x: about.x - (about.x - this.box.x) * k, y: about.y - (about.y - this.box.y) * k, w, h: this.box.h * k });
  }

  /** A width of what is seen, kept between the whole and the nearest. @param {number} w */
  width(w) {
    return Math.min(this.home.w, Math.max(this.home.w / NEAREST, w));
  }

  /** @param {number} dx shares of what is seen */
  pan(dx, dy) {
    this.show({ ...this.box, x: this.box.x + dx * this.box.w, y: this.box.y + dy * this.box.h });
  }

  show(box) {
    const { home } = this;
    this.box = {
      w: box.w,
      h: box.h,
      x: Math.min(home.x + home.w - box.w, Math.max(home.x, box.x)),
      y: Math.min(home.y + home.h - box.h, Math.max(home.y, box.y)),
    };
    if (this.frame) return; // drawn with the frame that is coming
    this.draw();
    this.frame = requestAnimationFrame(() => {
      this.frame = 0;
      if (this.drawn !== this.box) this.draw();
    });
  }

  /** A wheel or two fingers move oftener than the screen; one redraw a frame does. */
  draw(box = this.box) {
    this.drawn = box;
    this.svg.classList.toggle("zoomed", this.zoomed);
    const { home } = this;
    const r = this.node.getBoundingClientRect();
    const scale = this.scale(box, r);
    if (!scale) return; // not shown
    const k = home.w / box.w;
    const [x, y] = [(r.width - box.w * scale) / 2, (r.height - box.h * scale) / 2]; // fitted in, in the middle
    this.sheet.style.transform = `translate(${x * (1 - k) + (home.x - box.x) * scale}px, ${y * (1 - k) + (home.y - box.y) * scale}px) scale(${k})`;
    this.onview(box, scale);
  }

  /** Pixels of a unit of the drawing; 0 while it is not shown. */
  scale(box = this.box, r = this.node.getBoundingClientRect()) {
    return Math.min(r.width / box.w, r.height / box.h);
  }

  /** Where a pointer is, in the drawing's units. @param {{clientX: number, clientY: number}} e */
  point(e, box = this.box) {
    const r = this.node.getBoundingClientRect();
    const scale = this.scale(box, r) || 1;
    return { x: box.x + box.w / 2 + (e.clientX - r.left - r.width / 2) / scale, y: box.y + box.h / 2 + (e.clientY - r.top - r.height / 2) / scale };
  }

  /** Where a place of the drawing is on the screen. @param {{x: number, y: number}} p */
  onScreen(p) {
    const { box } = this;
    const r = this.node.getBoundingClientRect();
    const scale = this.scale(box, r);
    return { x: r.left + r.width / 2 + (p.x - box.x - box.w / 2) * scale, y: r.top + r.height / 2 + (p.y - box.y - box.h / 2) * scale };
  }

  /** @param {WheelEvent} e */
  wheel(e) {
    const asked = e.ctrlKey || e.metaKey;
    const here = this.zoomed || (e.deltaY < 0 && this.svg.contains(document.activeElement));
    if (!asked && !here) return; // the page scrolls
    e.preventDefault();
    this.zoom(Math.exp(-e.deltaY / 300), this.point(e));
  }

  down(e) {
    if (e.isPrimary) this.fingers.clear(); // of one that was let go elsewhere nobody told
    this.travelled = 0;
    this.fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
    this.gripped();
  }

  move(e) {
    const last = this.fingers.get(e.pointerId);
    if (!last) return;
    if (e.buttons === 0) {
      this.up(e); // it was let go elsewhere
      return;
    }
    const dx = e.clientX - last.x;
    const dy = e.clientY - last.y;
    this.fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
    this.travelled += Math.hypot(dx, dy);
    const two = this.fingers.size > 1;
    if (!two && (!this.zoomed || this.travelled <= STILL_PX)) return;
    if (!this.svg.hasPointerCapture(e.pointerId)) this.svg.setPointerCapture(e.pointerId);
    if (two) {
      this.pinch();
    } else {
      const scale = this.scale() || 1;
      this.show({ ...this.box, x: this.box.x - dx / scale, y: this.box.y - dy / scale });
    }
  }

  up(e) {
    this.fingers.delete(e.pointerId);
    this.gripped();
  }

  /** Notes what two fingers hold, where they are now. */
  gripped() {
    const s = this.spread();
    this.grip = s && { at: this.point({ clientX: s.x, clientY: s.y }), apart: s.apart, w: this.box.w };
  }

  /** What the fingers took hold of stays under them. */
  pinch() {
    const { grip } = this;
    const s = this.spread();
    const w = this.width((grip.w * grip.apart) / s.apart);
    const box = { x: 0, y: 0, w, h: (w * this.home.h) / this.home.w };
    const now = this.point({ clientX: s.x, clientY: s.y }, box);
    this.show({ ...box, x: grip.at.x - now.x, y: grip.at.y - now.y });
  }

  /** The first two fingers: how far apart, and where their middle is. */
  spread() {
    const [a, b] = [...this.fingers.values()];
    return a && b ? { apart: Math.hypot(a.x - b.x, a.y - b.y) || 1, x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 } : null;
  }

  /** @param {KeyboardEvent} e @returns {boolean} whether the key meant the view */
  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return false;
    const step = { ArrowLeft: [-0.15, 0], ArrowRight: [0.15, 0], ArrowUp: [0, -0.15], ArrowDown: [0, 0.15] }[e.key];
    if (e.key === "+" || e.key === "=") this.zoom(1.4);
    else if (e.key === "-") this.zoom(1 / 1.4);
    else if (e.key === "0") this.fit();
    else if (step && e.shiftKey) this.pan(step[0], step[1]);
    else return false;
    e.preventDefault();
    return true;
  }
}
