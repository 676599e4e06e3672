// A rehearsal: a made-up phone that is dragged over the drawing, and beside it
// the phone page itself, fed with what that phone reads.
import { byId, el, svg } from "../common/dom.js";
import { ask } from "./live.js";

const SEND_MS = 100;
const PHONE = { width: 74, height: 150, mark: 62 }; // millimetres; the mark lies this far below the top edge
const STEP = 4;
const TURN = 5;

export class Rehearsal {
  /** @param {{id: string, page: string, say: (text: string) => void, ontrouble: (e: Error) => void, onend: () => void}} o */
  constructor(o) {
    this.o = o;
    this.pose = { x_mm: 0, y_mm: 0, top_deg: 0, tilt_deg: [0, 0], down: true };
    this.truth = null;
    const u = new URL(`api/rehearsals/${o.id}/bench`, location.href);
    u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
    this.socket = new WebSocket(u);
    this.socket.onmessage = (e) => {
      const m = JSON.parse(e.data);
      this.reading.textContent = `The sensor reads ${m.uT.map((v) => v.toFixed(0)).join(", ")} uT; the supply is ${m.drive === "off" ? "off" : "on"}.`;
    };
    this.timer = setInterval(() => this.send(), SEND_MS);
    this.build();
  }

  build() {
    this.reading = el("span", { class: "note" }, "");
    this.reveal = el("button", { type: "button", id: "reveal", onclick: () => void this.show() }, "Show what was hidden");
    this.result = el("div", { id: "truth", role: "status" });
    byId("rehearsal").replaceChildren(
      el("h2", {}, "Rehearsal"),
      el("iframe", { src: this.o.page, title: "The phone page of the made-up phone", allow: "" }),
      this.reading,
      el("div", { class: "row" }, this.reveal, el("button", { type: "button", onclick: () => this.o.onend() }, "End the rehearsal")),
      this.result,
    );
    byId("rehearsal").hidden = false;
    byId("rehearsal-keys").hidden = false;
    document.body.classList.add("rehearsing");
  }

  end() {
    clearInterval(this.timer);
    this.socket.close();
    byId("rehearsal").hidden = true;
    byId("rehearsal").replaceChildren();
    byId("rehearsal-keys").hidden = true;
    document.body.classList.remove("rehearsing");
  }

  send() {
    const text = JSON.stringify(this.pose);
    if (text === this.sent || this.socket.readyState !== WebSocket.OPEN) return;
    this.socket.send(text);
    this.sent = text;
  }

  async show() {
    try {
      this.truth = await ask(`api/rehearsals/${this.o.id}/truth`);
    } catch (e) {
      this.o.ontrouble(e);
      return;
    }
    const fooled = this.truth.plain_sign_check;
    this.result.replaceChildren(
      el("p", {}, el("strong", {}, "What was hidden: "), this.truth.say),
      el("p", {}, `The sensor sits ${this.truth.offset_mm[0].toFixed(0)} mm to the right and ${this.truth.offset_mm[1].toFixed(0)} mm up from the mark (shown as a red dot).`),
      el("p", {}, fooled.length === 0 ? "A plain look at the sign over each coil would have got every coil right here." : `A plain look at the sign over each coil would have got ${fooled.join(", ")} wrong.`),
    );
    this.place(this.svg, this.state);
  }

  /** Puts the phone on a fresh drawing. @param {SVGSVGElement} drawing @param {any} state */
  place(drawing, state) {
    if (!drawing) return;
    const first = !this.state;
    this.svg = drawing;
    this.state = state;
    if (first) {
      const c = state.plan.coils[0];
      this.pose.x_mm = c.x_mm - 120;
      this.pose.y_mm = c.y_mm - 60;
    }
    this.node?.remove();
    const { width, height, mark } = PHONE;
    const node = svg(
      "g",
      { class: "made-up", tabindex: "0", role: "application", "aria-label": "The made-up phone. Arrow keys move it, Q and E turn it, Space lays it down or lifts it, N goes to the coil asked for.", "data-phone": true },
      svg("rect", { class: "body", x: -width / 2, y: -mark, width, height, rx: 12 }),
      svg("circle", { class: "mark", r: 6 }),
      svg("path", { class: "mark", d: "M-12 0h24M0-12v24" }),
      svg("text", { "text-anchor": "middle", "font-size": 11, y: -mark + 16 }, "top"),
    );
    if (this.truth) node.append(svg("circle", { class: "sensor", cx: this.truth.offset_mm[0], cy: -this.truth.offset_mm[1], r: 6 }));
    this.node = node;
    node.addEventListener("pointerdown", (e) => this.grab(/** @type {PointerEvent} */ (e)));
    node.addEventListener("keydown", (e) => this.key(/** @type {KeyboardEvent} */ (e)));
    drawing.append(node);
    this.draw();
  }

  draw() {
    const { x_mm, y_mm, top_deg, down } = this.pose;
    this.node.setAttribute("transform", `translate(${x_mm} ${-y_mm}) rotate(${-top_deg})`);
    this.node.classList.toggle("down", down);
  }

  /** @param {PointerEvent} e */
  point(e) {
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return { x: p.x, y: -p.y };
  }

  /** @param {PointerEvent} e */
  grab(e) {
    e.preventDefault();
    this.node.focus({ preventScroll: true });
    const from = this.point(e);
    const start = { ...this.pose };
    this.pose.down = false;
    this.draw();
    const move = (ev) => {
      const to = this.point(ev);
      this.pose.x_mm = start.x_mm + to.x - from.x;
      this.pose.y_mm = start.y_mm + to.y - from.y;
      this.draw();
    };
    const drop = () => {
      removeEventListener("pointermove", move);
      removeEventListener("pointerup", drop);
      removeEventListener("pointercancel", drop);
      this.pose.down = true;
      this.draw();
    };
    addEventListener("pointermove", move);
    addEventListener("pointerup", drop);
    addEventListener("pointercancel", drop);
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const by = e.shiftKey ? STEP * 6 : STEP;
    const moves = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, by], ArrowDown: [0, -by] };
    if (moves[e.key]) {
      this.pose.x_mm += moves[e.key][0];
      this.pose.y_mm += moves[e.key][1];
    } else if (e.key === "q" || e.key === "Q") this.pose.top_deg += TURN;
    else if (e.key === "e" || e.key === "E") this.pose.top_deg -= TURN;
    else if (e.key === " ") {
      this.pose.down = !this.pose.down;
      this.o.say(this.pose.down ? "The phone lies down." : "The phone is lifted.");
    } else if (e.key === "n" || e.key === "N") this.goTo(this.state.prompt?.at);
    else return;
    e.preventDefault();
    this.draw();
  }

  /** Lifts the phone, carries it to a coil and lays it down. @param {string} id */
  goTo(id) {
    const c = this.state.plan.coils.find((k) => k.id === id);
    if (!c) return;
    this.pose.down = false;
    this.pose.x_mm = c.x_mm;
    this.pose.y_mm = c.y_mm;
    this.draw();
    setTimeout(() => {
      this.pose.down = true;
      this.draw();
      this.o.say(`The phone lies on ${id}.`);
    }, 600);
  }
}

/** Asks what to rehearse. @param {HTMLDialogElement} dialog @param {{id: string, name: string}[]} demos @param {(choice: any) => Promise<void>} onbegin */
export function askRehearsal(dialog, demos, onbegin) {
  const trouble = el("p", { class: "trouble", role: "alert" });
  const plan = el("select", { name: "plan" }, el("option", { value: "" }, "the plan on the bench"), ...demos.map((d) => el("option", { value: d.id }, d.name)));
  const how = el(
    "select",
    { name: "difficulty" },
    el("option", { value: "easy" }, "easy: one coil or one string the wrong way"),
    el("option", { value: "usual", selected: true }, "usual: also open, shorted, the whole pad, or nothing"),
    el("option", { value: "hard" }, "hard: wrong joins, weak coils, two things at once"),
  );
  const form = el(
    "form",
    { method: "dialog" },
    el("h2", {}, "Rehearse without hardware"),
    el("p", {}, "The program hides a fault in a made-up pad. Drag the phone over its coils and find out what it is. The check on the bench ends; it stays stored."),
    el("label", {}, "Pad", plan),
    el("label", {}, "How hard", how),
    trouble,
    el("div", { class: "row" }, el("button", { type: "submit", class: "main", id: "begin-rehearsal" }, "Begin"), el("button", { type: "button", onclick: () => dialog.close() }, "Not now")),
  );
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    onbegin({ demo: plan.value || null, difficulty: how.value, fault: "random" }).then(
      () => dialog.close(),
      (err) => (trouble.textContent = err.message),
    );
  });
  dialog.replaceChildren(form);
  dialog.showModal();
}
