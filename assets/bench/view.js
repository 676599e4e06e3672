// Zoom and pan of a drawing: wheel (with Ctrl, or once the drawing has been clicked
// or zoomed), two fingers, dragging, keys, buttons.

const NEAREST = 12; // times the whole
const STILL_PX = 4; // a pointer that moves less has tapped

export class View {
  /**
   * @param {SVGSVGElement} svg
   * @param {(pxPerMM: number) => void} onscale
   */
  constructor(svg, onscale) {
    this.svg = svg;
    this.onscale = onscale;
    this.home = { x: 0, y: 0, w: 1, h: 1 };
    this.box = this.home;
    /** @type {Map<number, {x: number, y: number}>} */
    this.fingers = new Map();
    this.travelled = 0;
    svg.addEventListener("wheel", (e) => this.wheel(e), { passive: false });
    svg.addEventListener("pointerdown", (e) => this.down(e));
    svg.addEventListener("pointermove", (e) => this.move(e));
    for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, (e) => this.up(/** @type {PointerEvent} */ (e)));
    svg.addEventListener("click", (e) => this.travelled > STILL_PX && e.stopPropagation(), { capture: true });
    new ResizeObserver(() => this.scaled()).observe(svg);
  }

  /** Sets the whole drawing's box in its own units. */
  setHome(x, y, w, h) {
    this.home = { x, y, w, h };
    this.fit();
  }

  /** Sets the whole drawing's box and goes on showing what is seen. */
  setBounds(home) {
    this.home = home;
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
    const w = Math.min(this.home.w, Math.max(this.home.w / NEAREST, this.box.w / by));
    const k = w / this.box.w;
    this.show({ x: about.x - (about.x - this.box.x) * k, y: about.y - (about.y - this.box.y) * k, w, h: this.box.h * k });
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
  draw() {
    this.drawn = this.box;
    this.svg.setAttribute("viewBox", `${this.box.x} ${this.box.y} ${this.box.w} ${this.box.h}`);
    this.svg.classList.toggle("zoomed", this.zoomed);
    this.scaled();
  }

  scaled() {
    const r = this.svg.getBoundingClientRect();
    if (r.width > 0) this.onscale(Math.min(r.width / this.box.w, r.height / this.box.h));
  }

  /** Where a pointer is, in the drawing's units. @param {{clientX: number, clientY: number}} e */
  point(e) {
    const r = this.svg.getBoundingClientRect();
    const scale = Math.min(r.width / this.box.w, r.height / this.box.h) || 1; // fitted in, in the middle
    return { x: this.box.x + this.box.w / 2 + (e.clientX - r.left - r.width / 2) / scale, y: this.box.y + this.box.h / 2 + (e.clientY - r.top - r.height / 2) / scale };
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
    this.travelled = 0;
    this.fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
  }

  move(e) {
    const last = this.fingers.get(e.pointerId);
    if (!last) return;
    const dx = e.clientX - last.x;
    const dy = e.clientY - last.y;
    const before = this.spread();
    this.fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
    this.travelled += Math.hypot(dx, dy);
    const r = this.svg.getBoundingClientRect();
    if (this.fingers.size === 2) {
      const after = this.spread();
      if (before && after) this.zoom(after.apart / before.apart, this.point({ clientX: after.x, clientY: after.y }));
      this.pan(-dx / 2 / r.width, -dy / 2 / r.height);
    } else if (this.zoomed && this.travelled > STILL_PX) {
      if (!this.svg.hasPointerCapture(e.pointerId)) this.svg.setPointerCapture(e.pointerId);
      this.pan(-dx / r.width, -dy / r.height);
    }
  }

  up(e) {
    this.fingers.delete(e.pointerId);
  }

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
