// A rehearsal: a made-up phone that is carried over the drawing, and beside it
// the phone page itself, fed with what that phone reads. Afterwards what was
// hidden is shown beside the verdict.
import { byId, el } from "../common/dom.js";
import { stateBadge, wordOf } from "../common/states.js";
import { field } from "./hold-plot.js";
import { ask } from "./live.js";
import { KEYS, MadeUpPhone, poseWords } from "./made-up-phone.js";
import { phoneAsks } from "./phone-asks.js";
import { stacks } from "./stacks.js";

const SEND_MS = 80;
const RETRY_MS = 1000;

export const DIFFICULTIES = [
  ["easy", "easy: one coil or one string the wrong way"],
  ["usual", "usual: also open, shorted, the whole pad, or nothing at all"],
  ["hard", "hard: wrong joins, weak coils, two things at once"],
];

export class Rehearsal {
  /**
   * @param {{id: string, page: string, drawing: any, say: (text: string) => void, ontrouble: (e: Error) => void,
   *   onend: () => void, onanother: () => void, onrow: (row: import("./bench.js").Row | null) => void, onreveal: () => void, state: () => any}} o
   */
  constructor(o) {
    this.o = o;
    this.kept = `polewise-rehearsal-${o.id}`;
    this.shown = `${this.kept}-shown`;
    this.truth = null;
    this.ended = false;
    this.phone = new MadeUpPhone({
      drawing: o.drawing,
      pose: recalled(this.kept),
      onmove: (p) => {
        this.pose = p;
        if (this.stands) this.stands.textContent = poseWords(p);
      },
      say: o.say,
      asked: () => this.asked(),
    });
    this.build();
    this.connect();
    this.timer = setInterval(() => {
      this.send();
      this.offer();
    }, SEND_MS);
    if (sessionStorage.getItem(this.shown)) void this.reveal(); // shown before the page was loaded again
  }

  /** Where the phone's own page wants the phone; it knows before the bench does. */
  asked() {
    return phoneAsks(byId("rehearsal").querySelector("iframe"));
  }

  /** The button says where it carries the phone now; one that lies right stays. */
  offer() {
    const to = this.asked();
    const there = Boolean(to && this.phone.liesAt(to));
    const words = !to ? "Carry it to the next coil" : there ? `It lies on ${to.id}` : `${to.drawn ? "Draw" : "Carry"} it to ${to.id}`;
    if (this.next.textContent !== words) this.next.textContent = words;
    // Not disabled: it would lose the focus, and who carries by keys had to find it anew for every coil.
    const nowhere = String(!to || there);
    if (this.next.getAttribute("aria-disabled") !== nowhere) this.next.setAttribute("aria-disabled", nowhere);
    this.o.onrow(to?.along ? { at: to.id, along: to.along } : null);
  }

  carry() {
    const to = this.asked();
    if (to && !this.phone.liesAt(to)) this.phone.goTo(to);
  }

  build() {
    this.reading = el("p", { class: "sensor-line" }, "The sensor is starting.");
    this.next = el("button", { type: "button", class: "small", id: "carry", onclick: () => this.carry() }, "Carry it to the next coil");
    this.revealButton = el("button", { type: "button", class: "small", id: "reveal", onclick: () => void this.reveal(true) }, "Give up and show what was hidden");
    this.result = el("div", { id: "truth", role: "group", "aria-label": "What was hidden", tabindex: "-1" });
    const press = (label, text, act) => el("button", { type: "button", class: "small", "aria-label": label, title: label, onclick: act }, text);
    byId("handling").replaceChildren(
      this.next,
      press("Lay down / lift", "Lay down / lift", () => this.phone.toggle()),
      press("Turn the phone to the left", "↺", () => this.phone.turn(5)),
      press("Turn the phone to the right", "↻", () => this.phone.turn(-5)),
      (this.tilting = el(
        "details",
        {},
        el("summary", {}, "Tilt and keys"),
        el(
          "p",
          { class: "row" },
          press("Top edge up", "Top edge up", () => this.phone.tilt(2, 0)),
          press("Top edge down", "Top edge down", () => this.phone.tilt(-2, 0)),
          press("Left edge up", "Left edge up", () => this.phone.tilt(0, 2)),
          press("Right edge up", "Right edge up", () => this.phone.tilt(0, -2)),
          press("Level, top edge away from you", "Level", () => this.phone.flat()),
        ),
        el("p", {}, "On the drawing: drag the phone by its body, turn it by the knob at its top, tilt it by the bubble of its level."),
        el("p", {}, KEYS),
      )),
      (this.stands = el("p", { class: "stands" }, poseWords(this.phone.pose))),
    );
    byId("rehearsal").replaceChildren(
      el("h2", { class: "kicker" }, "The made-up phone shows"),
      el("iframe", { src: this.o.page, title: "The phone page of the made-up phone" }),
      this.reading,
    );
    byId("hidden").replaceChildren(
      el("h2", { class: "kicker" }, "Rehearsal"),
      el("p", {}, "Something may be wrong with this made-up pad. Follow the phone's screen and drag the phone over the drawing: its cross goes on the middle of a coil. Let go to lay it down."),
      (this.ways = el("div", { class: "row" }, this.revealButton, el("button", { type: "button", onclick: () => this.o.onend() }, "End the rehearsal"))),
      this.result,
    );
    this.visible(true);
  }

  visible(yes) {
    for (const id of ["rehearsal", "handling", "hidden"]) byId(id).hidden = !yes;
    document.body.classList.toggle("rehearsing", yes);
  }

  end() {
    this.ended = true;
    clearInterval(this.timer);
    this.socket.close();
    this.phone.remove();
    this.o.onrow(null);
    sessionStorage.removeItem(this.kept);
    sessionStorage.removeItem(this.shown);
    for (const id of ["rehearsal", "handling", "hidden", "coil-by-coil"]) byId(id).replaceChildren();
    byId("coil-by-coil").hidden = true;
    this.visible(false);
  }

  connect() {
    const u = new URL(`api/rehearsals/${this.o.id}/bench`, location.href);
    u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
    this.sent = "";
    this.socket = new WebSocket(u);
    this.socket.onmessage = (e) => this.read(JSON.parse(e.data));
    this.socket.onclose = () => {
      if (this.ended) return;
      this.reading.textContent = "The made-up sensor does not answer; trying again. If that stays, begin another rehearsal.";
      setTimeout(() => !this.ended && this.connect(), RETRY_MS);
    };
  }

  read(m) {
    const numbers = m.uT.map((v) => v.toFixed(0).replace("-", "−").padStart(5)).join(" ");
    this.reading.textContent = `${numbers} uT, supply ${m.drive === "off" ? "off" : m.drive === "pulse" ? "pulsing" : "on"}`;
  }

  send() {
    const text = JSON.stringify(this.pose);
    if (text === this.sent || this.socket.readyState !== WebSocket.OPEN) return;
    this.socket.send(text);
    this.sent = text;
    sessionStorage.setItem(this.kept, text);
  }

  /** What follows from a new state. */
  follow(state) {
    const decided = state.verdict && state.verdict.outcome !== "undecided";
    this.revealButton.textContent = decided ? "Show what was hidden" : "Give up and show what was hidden";
    this.revealButton.classList.toggle("main", Boolean(decided && !this.truth));
    this.revealButton.hidden = Boolean(this.truth);
    // Once it is what comes next it stands where the eyes and the pointer are.
    if (decided && this.revealButton.parentElement === this.ways) this.tilting.before(this.revealButton);
    if (this.truth) this.tell(state);
  }

  /** @param {boolean} [pressed] not of a page that was loaded again */
  async reveal(pressed) {
    try {
      this.truth = await ask(`api/rehearsals/${this.o.id}/truth`);
    } catch (e) {
      this.o.ontrouble(e);
      return;
    }
    if (this.ended) return;
    sessionStorage.setItem(this.shown, "yes");
    this.phone.reveal(this.truth.offset_mm);
    this.follow(this.o.state());
    this.o.onreveal();
    if (pressed) this.result.focus(); // the button is gone, and what was hidden stands further down
  }

  /** The truth beside the verdict. */
  tell(state) {
    const t = this.truth;
    const v = state.verdict;
    const fooled = t.plain_sign_check;
    const distance = Math.hypot(t.offset_mm[0], t.offset_mm[1]);
    const right = agrees(t, v);
    this.result.replaceChildren(
      el(
        "dl",
        { class: "truth" },
        el("dt", {}, "Hidden was"),
        el("dd", {}, el("strong", {}, t.say)),
        el("dt", {}, "The verdict says"),
        el("dd", {}, verdictWords(v)),
        el("dt", {}, "So"),
        el("dd", { class: right === "found" || right === "faces" ? "found" : right === "wrong" ? "missed" : "" }, OUTCOMES[right]),
        el("dt", {}, "The sensor"),
        el("dd", {}, `sits ${distance.toFixed(0)} mm from the mark; it is drawn on the phone now. Nobody had told the program.`),
        el("dt", {}, "A plain look at the sign"),
        el(
          "dd",
          {},
          fooled.length === 0
            ? "over each coil would have been right everywhere here."
            : `over each coil would have got ${fooled.join(", ")} wrong${fooled.length > 2 ? `: ${fooled.length} of ${state.plan.coils.length} coils` : ""}. ${fooled.length === 1 ? "It carries" : "They carry"} a ! on the drawing.`,
        ),
      ),
      el("button", { type: "button", class: "main", id: "another", onclick: () => this.o.onanother() }, "Rehearse another"),
    );
    byId("coil-by-coil").replaceChildren(...coilByCoil(t, v));
    byId("coil-by-coil").hidden = false;
  }
}

const OUTCOMES = {
  open: "nothing was claimed yet. Read more coils to settle it.",
  found: "found.",
  faces: "found on every coil. Where in the string the trouble sits, or how the strings are joined, is for the ohmmeter to say.",
  part: "found in part: what was claimed is right, some coils are still undecided.",
  wrong: "not found. Read more coils, or the ohms, to settle it.",
};

/** How the verdict stands beside the truth. @returns {keyof typeof OUTCOMES} */
function agrees(t, v) {
  const claimed = (v?.coils || []).filter((c) => c.state !== "undecided");
  if (!v || (v.outcome === "undecided" && claimed.length === 0)) return "open";
  const names = (list) => JSON.stringify(list.map((f) => [f.kind, f.id || "", f.string || "", [...(f.ids || [])].sort()]).sort());
  if (t.faults.length === 0 ? v.outcome === "as-planned" : v.outcome === "fault" && v.causes?.length > 0 && names(v.causes[0].faults) === names(t.faults)) return "found";
  const truth = new Map(t.looks.map((l) => [l.id, l.truth]));
  if (claimed.some((c) => truth.get(c.id) !== c.state)) return "wrong";
  if (claimed.length < t.looks.length) return v.outcome === "undecided" && claimed.length === 0 ? "open" : "part";
  return "faces";
}

const SAYS = { "as-planned": "as planned", reversed: "reversed", nothing: "no clear sign" };

/** The truth, the verdict and the plain look at the sign, coil by coil. */
function coilByCoil(t, v) {
  const judged = new Map((v?.coils || []).map((c) => [c.id, c]));
  const head = ["coil", "it was", "verdict", "plain sign", "uT at the mark", "at the sensor"];
  const row = (l) => {
    const j = judged.get(l.id);
    return el(
      "tr",
      { class: l.wrong ? "fooled-row" : null },
      el("th", { scope: "row" }, l.id),
      el("td", {}, stateBadge(l.truth)),
      el("td", {}, j && j.used > 0 ? stateBadge(j.state) : "not read"),
      el("td", {}, l.wrong ? el("strong", { class: "missed" }, `! ${SAYS[l.says]}, wrong`) : SAYS[l.says]),
      el("td", {}, field(l.mark_uT)),
      el("td", {}, field(l.sensor_uT)),
    );
  };
  return [
    el("h2", { class: "kicker" }, "The truth beside the verdict, coil by coil"),
    stacks(el("table", {}, el("thead", {}, el("tr", {}, ...head.map((h) => el("th", { scope: "col" }, h)))), el("tbody", {}, ...t.looks.map(row)))),
    el("p", { class: "note" }, "The figures are microtesla across the pad, above 0 toward the planned face: once at the mark and once where the sensor really sits. A plain check takes the second for the first. Just outside a winding the field points the other way, and a neighbour's field is there as well."),
  ];
}

function verdictWords(v) {
  if (!v || v.outcome === "undecided") return "not decided yet.";
  if (v.outcome === "as-planned") return "every coil faces as planned.";
  return v.causes?.[0]?.say || v.coils.filter((c) => c.state !== "as-planned").map((c) => `${c.id} ${wordOf(c.state)}`).join(", ");
}

function recalled(key) {
  try {
    return JSON.parse(sessionStorage.getItem(key) || "null");
  } catch {
    return null;
  }
}
