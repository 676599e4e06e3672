// The drawing of the plan as a place to work: picking, dragging, nudging with
// keys, drawing a frame round several, and tapping a string together.
import { el, svg } from "../../common/dom.js";
import { PadDrawing } from "../pad-drawing.js";

const STILL_PX = 4; // a pointer that moves less has tapped
const CATCH_PX = 6; // a coil that comes so close to another's row or column is drawn into it
const STEP_MM = 5; // of an arrow key; with Shift 1
const GRID_MM = 1; // of dragging; with Alt none

const KEYS =
  "Enter or a click picks a coil, with Shift several. Arrow keys move picked coils by 5 millimetres, with Shift by 1; they go from coil to coil where the coil is not picked. Delete takes coils out, Escape picks nothing.";

export class Board {
  /**
   * @param {HTMLElement} place @param {HTMLElement} buttons
   * @param {{onpick: () => void, ondrag: (places: Map<string, {x: number, y: number}> | null) => void,
   *   onmove: (places: Map<string, {x: number, y: number}>, key: boolean) => void, onback: () => void, ondelete: () => void, onduplicate: () => void,
   *   onorder: () => void, say: (text: string) => void}} o
   */
  constructor(place, buttons, o) {
    this.o = o;
    this.place = place;
    /** What is picked. @type {Set<string>} */
    this.picked = new Set();
    this.several = false;
    /** A string being drawn: its coils in order. @type {string[] | null} */
    this.order = null;
    this.drag = null;
    this.frame = null;
    this.plan = null;
    this.looks = () => ({});
    const inner = el("div", {});
    this.drawing = new PadDrawing(inner, { buttons, onpick: (id, e) => this.tapped(id, e), keys: KEYS });
    this.drawing.svg.classList.add("editing");
    this.notes = el("div", { class: "notes", "aria-hidden": "true" });
    place.replaceChildren(inner, this.notes);
    const on = (name, act) => place.addEventListener(name, act, { capture: true });
    on("pointerdown", (e) => this.down(e));
    on("pointermove", (e) => this.moved(e));
    on("pointerup", (e) => this.up(e));
    on("pointercancel", (e) => this.cancel(e));
    on("click", (e) => this.click(e));
    on("keydown", (e) => this.key(e));
    // A finger that drags a coil does not scroll the page.
    place.addEventListener("touchmove", (e) => this.drag && e.touches.length === 1 && e.cancelable && e.preventDefault(), { passive: false });
    new ResizeObserver(() => this.showNotes()).observe(place);
  }

  /** @param {any} plan @param {"fit" | "keep" | "still"} view */
  setPlan(plan, view) {
    this.plan = plan;
    for (const id of this.picked) if (!plan.coils.some((c) => c.id === id)) this.picked.delete(id);
    if (this.order) this.order = this.order.filter((id) => plan.coils.some((c) => c.id === id));
    this.drawing.setPlan(plan, view);
    this.draw();
  }

  /** Shows what is known of each coil. */
  draw() {
    const looks = new Map();
    for (const c of this.plan.coils) {
      const known = this.looks(c.id);
      looks.set(c.id, {
        state: null, p: null, measured_uT: null, next: false, counting: null, fooled: false,
        planned_uT: known.bz_uT ?? null, trouble: known.trouble || "", selected: this.picked.has(c.id),
        order: this.order ? this.order.indexOf(c.id) + 1 : 0,
      }); // prettier-ignore
    }
    this.drawing.show(looks);
    this.drawOrder();
    this.showNotes();
  }

  drawOrder() {
    const at = new Map(this.plan.coils.map((c) => [c.id, c]));
    const points = (this.order || []).map((id) => at.get(id)).map((c) => `${c.x_mm},${-c.y_mm}`);
    this.path ??= svg("polyline", { class: "order-path" });
    this.path.setAttribute("points", points.join(" "));
    if (!this.path.isConnected) this.drawing.overlay.append(this.path);
  }

  /** What is wrong, in words beside one coil: a picked one, or the first. */
  showNotes() {
    if (!this.plan) return;
    const troubled = this.plan.coils.map((c) => ({ c, say: this.looks(c.id).trouble })).filter((k) => k.say);
    const picked = troubled.filter((k) => this.picked.has(k.c.id));
    const shown = (picked.length ? picked : troubled).slice(0, 1);
    const { view } = this.drawing;
    const box = this.place.getBoundingClientRect();
    if (!box.width) return;
    this.notes.replaceChildren(
      ...shown.map(({ c, say }) => {
        const p = view.onScreen({ x: c.x_mm, y: -c.y_mm });
        const r = (this.drawing.marks.get(c.id)?.r || 0) * view.scale();
        const note = el("p", { class: "note-at" }, say[0].toUpperCase() + say.slice(1));
        const width = Math.min(260, box.width - 12);
        note.style.width = `${width}px`;
        note.style.left = `${Math.max(6, Math.min(box.width - width - 6, p.x - box.left - width / 2))}px`;
        note.style.top = `${Math.max(0, Math.min(box.height - 40, p.y - box.top + r + 14))}px`;
        return note;
      }),
    );
  }

  /** @param {Iterable<string>} ids */
  pick(ids) {
    this.picked = new Set(ids);
    this.draw();
    this.o.onpick();
  }

  tapped(id, e) {
    if (this.order) {
      if (this.order.at(-1) === id) this.order.pop();
      else if (!this.order.includes(id)) this.order.push(id);
      this.draw();
      this.o.onorder();
      return;
    }
    const adds = this.several || e.shiftKey || e.ctrlKey || e.metaKey;
    const next = new Set(adds ? this.picked : []);
    if (this.picked.has(id) && (adds || this.picked.size === 1)) next.delete(id);
    else next.add(id);
    this.pick(next);
  }

  coilAt(e) {
    return e.target.closest?.("[data-coil]")?.dataset.coil || null;
  }

  down(e) {
    this.quiet = false;
    if (e.button !== 0 || !this.drawing.svg.contains(e.target)) return;
    if (this.drag || this.frame) {
      // A second finger: the two zoom.
      if (this.drag) {
        this.drawing.view.down(this.drag.event);
        this.stop(false);
      }
      return;
    }
    const id = this.coilAt(e);
    if (id && !this.order) {
      e.stopPropagation(); // or the view would pan
      this.drag = { id, event: e, from: this.drawing.toPad(e), x: e.clientX, y: e.clientY, on: false };
    } else if (!id && e.pointerType === "mouse" && !this.order && (e.shiftKey || !this.drawing.view.zoomed)) {
      e.stopPropagation();
      this.frame = { from: this.drawing.toPad(e), x: e.clientX, y: e.clientY, on: false, pointer: e.pointerId, adds: e.shiftKey };
    }
  }

  moved(e) {
    if (this.frame?.pointer === e.pointerId) {
      this.stretch(e);
      return;
    }
    const { drag } = this;
    if (!drag || e.pointerId !== drag.event.pointerId) return;
    e.stopPropagation();
    if (!drag.on) {
      if (Math.hypot(e.clientX - drag.x, e.clientY - drag.y) < STILL_PX) return;
      drag.on = true;
      if (!this.picked.has(drag.id)) this.pick(e.shiftKey || this.several ? [...this.picked, drag.id] : [drag.id]);
      this.drawing.svg.setPointerCapture(e.pointerId);
      this.drawing.svg.classList.add("dragging");
      drag.start = new Map(this.plan.coils.filter((c) => this.picked.has(c.id)).map((c) => [c.id, { x: c.x_mm, y: c.y_mm }]));
      drag.others = this.plan.coils.filter((c) => !this.picked.has(c.id));
    }
    drag.to = { clientX: e.clientX, clientY: e.clientY, alt: e.altKey };
    drag.tick ??= requestAnimationFrame(() => this.follow());
  }

  /** Moves what is dragged to where the pointer is. */
  follow() {
    const { drag } = this;
    if (!drag) return;
    drag.tick = null;
    const p = this.drawing.toPad(drag.to);
    const own = drag.start.get(drag.id);
    let x = own.x + p.x - drag.from.x;
    let y = own.y + p.y - drag.from.y;
    const guides = [];
    if (!drag.to.alt) {
      const near = CATCH_PX / (this.drawing.view.scale() || 1);
      const caught = (v, axis) => {
        let best = null;
        for (const c of drag.others) if (Math.abs(c[axis] - v) < Math.min(near, best ? Math.abs(best[axis] - v) : Infinity)) best = c;
        return best;
      };
      const column = caught(x, "x_mm");
      const row = caught(y, "y_mm");
      x = column ? column.x_mm : Math.round(x / GRID_MM) * GRID_MM;
      y = row ? row.y_mm : Math.round(y / GRID_MM) * GRID_MM;
      if (column) guides.push([x, y, column.x_mm, column.y_mm]);
      if (row) guides.push([x, y, row.x_mm, row.y_mm]);
    }
    this.guide(guides);
    drag.places = new Map([...drag.start].map(([id, s]) => [id, { x: s.x + x - own.x, y: s.y + y - own.y }]));
    this.setPlan(placed(this.plan, drag.places), "still");
    this.o.ondrag(drag.places);
  }

  guide(lines) {
    this.guides ??= svg("g", { class: "guides" });
    this.guides.replaceChildren(...lines.map(([x1, y1, x2, y2]) => svg("line", { x1, y1: -y1, x2, y2: -y2 })));
    if (!this.guides.isConnected) this.drawing.overlay.append(this.guides);
  }

  up(e) {
    if (this.frame?.pointer === e.pointerId) {
      const { frame } = this;
      this.frame = null;
      this.frameBox?.remove();
      if (frame.on) {
        this.quiet = true;
        this.pick(frame.inside || []);
      } else if (!frame.adds && this.picked.size) this.pick([]);
      return;
    }
    const { drag } = this;
    if (!drag || e.pointerId !== drag.event.pointerId) return;
    if (drag.on && drag.tick) {
      cancelAnimationFrame(drag.tick);
      this.follow();
    }
    this.quiet = drag.on;
    this.stop(true);
  }

  cancel(e) {
    if (this.drag?.event.pointerId === e.pointerId) this.stop(false);
    if (this.frame?.pointer === e.pointerId) {
      this.frame = null;
      this.frameBox?.remove();
    }
  }

  /** Ends a drag. @param {boolean} keeps whether what was moved stays there */
  stop(keeps) {
    const { drag } = this;
    this.drag = null;
    this.guide([]);
    this.drawing.svg.classList.remove("dragging");
    if (!drag?.on) return;
    if (drag.tick) cancelAnimationFrame(drag.tick);
    const came = [...(drag.places || [])].some(([id, p]) => p.x !== drag.start.get(id).x || p.y !== drag.start.get(id).y);
    this.o.ondrag(null);
    if (keeps && came) this.o.onmove(drag.places, false);
    else {
      this.setPlan(placed(this.plan, drag.start), "still");
      this.o.onback();
    }
  }

  /** A frame drawn with the mouse picks what it touches the middle of. */
  stretch(e) {
    const { frame } = this;
    if (!frame.on && Math.hypot(e.clientX - frame.x, e.clientY - frame.y) < STILL_PX) return;
    if (!frame.on) {
      frame.on = true;
      frame.before = frame.adds ? [...this.picked] : [];
      this.drawing.svg.setPointerCapture(e.pointerId);
    }
    const p = this.drawing.toPad(e);
    const [x0, x1] = [Math.min(p.x, frame.from.x), Math.max(p.x, frame.from.x)];
    const [y0, y1] = [Math.min(p.y, frame.from.y), Math.max(p.y, frame.from.y)];
    this.frameBox ??= svg("rect", { class: "pick-frame" });
    for (const [k, v] of Object.entries({ x: x0, y: -y1, width: x1 - x0, height: y1 - y0 })) this.frameBox.setAttribute(k, String(v));
    this.drawing.overlay.append(this.frameBox);
    const hit = this.plan.coils.filter((c) => c.x_mm >= x0 && c.x_mm <= x1 && c.y_mm >= y0 && c.y_mm <= y1).map((c) => c.id);
    frame.inside = [...new Set([...frame.before, ...hit])];
    this.picked = new Set(frame.inside);
    this.draw();
  }

  click(e) {
    if (!this.quiet) return;
    this.quiet = false;
    e.stopPropagation(); // it ended a drag
    e.preventDefault();
  }

  key(e) {
    if (e.target.closest?.("input, select, textarea")) return;
    const at = this.coilAt(e);
    const done = () => {
      e.preventDefault();
      e.stopPropagation();
    };
    if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "a") {
      done();
      this.pick(this.plan.coils.map((c) => c.id));
    } else if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "d" && this.picked.size) {
      done();
      this.o.onduplicate();
    } else if (e.ctrlKey || e.metaKey) {
      return;
    } else if (e.key === "Escape") {
      done();
      if (this.drag) this.stop(false);
      else if (this.order) this.drawString(null);
      else this.pick([]);
    } else if ((e.key === "Delete" || e.key === "Backspace") && this.picked.size && !this.order) {
      done();
      this.o.ondelete();
    } else if (this.picked.size && !this.order && !e.altKey && (!at || this.picked.has(at))) {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
      if (!step) return;
      done();
      this.nudge(step, e.shiftKey ? 1 : STEP_MM);
    }
  }

  /** @param {number[]} way @param {number} mm */
  nudge(way, mm) {
    const places = new Map(this.plan.coils.filter((c) => this.picked.has(c.id)).map((c) => [c.id, { x: c.x_mm + way[0] * mm, y: c.y_mm + way[1] * mm }]));
    this.setPlan(placed(this.plan, places), "still");
    this.o.onmove(places, true);
  }

  /** Begins to draw a string, or ends it. @param {string[] | null} order */
  drawString(order) {
    this.order = order;
    if (order) this.picked.clear();
    this.drawing.svg.classList.toggle("ordering", Boolean(order));
    this.draw();
    this.o.onpick();
    this.o.onorder();
  }
}

/** A plan with some of its coils elsewhere. @param {any} plan @param {Map<string, {x: number, y: number}>} places */
export function placed(plan, places) {
  return {
    ...plan,
    coils: plan.coils.map((c) => {
      const p = places.get(c.id);
      return p ? { ...c, x_mm: p.x, y_mm: p.y } : c;
    }),
  };
}
