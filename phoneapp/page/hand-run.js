// The hand route: no sensor, just what a needle or a hand meter shows.
import { list } from "../common/names.js";
import * as page from "./page.js";
import { outFace } from "./remembered.js";
import { handScreen } from "./screens/hand.js";
import { mayBeSupply } from "./supply.js";

const NOTHINGS = 3; // coils one after the other

export class HandRun {
  /** @param {import("./run.js").Tools} tools */
  constructor(tools) {
    this.tools = tools;
    /** @type {"convention"|"on"|"faces"|"result"} */
    this.stage = outFace.get() ? "on" : "convention";
    /** Faces read, for the drawing: 1 for field toward the reader, -1 away, 0 nothing. @type {Record<string, number>} */
    this.faces = {};
    /** @type {{at: string, t: number, face?: number}[]} */
    this.read = [];
    /** @type {string | null} */
    this.chosen = null;
    /** The coil that the page named last: it stays the one to be read, whatever others read. @type {string | null} */
    this.named = null;
    this.note = "";
    /** A coil was read and its verdict has not come. */
    this.waits = false;
    this.do = {
      convention: (word) => {
        tools.told.callOutFace(word);
        this.to("on");
      },
      supplyOn: () => this.to("faces"),
      read: (face) => this.readFace(face),
      undo: () => this.undo(),
      pick: (id) => {
        this.chosen = id;
        this.stage = "faces";
        const last = this.toUndo;
        this.note = last?.at === id && tools.told.verdict?.next?.at !== id ? `${id} was tapped before. If that was a slip, take it back first with Undo ${id}: else both count.` : "";
        this.show();
      },
      ohms: () => tools.ohms(),
      goOn: () => this.to("faces"),
      result: () => this.to("result"),
      again: () => tools.again(),
    };
  }

  get target() {
    const { told } = this.tools;
    return this.chosen || this.named || this.unread?.id || told.verdict?.next?.at || told.plan.coils[0].id;
  }

  get unread() {
    const { told } = this.tools;
    return told.plan.coils.find((c) => !(c.id in this.faces) && !(told.coil(c.id)?.used > 0));
  }

  get lastRead() {
    return this.read[this.read.length - 1];
  }

  /** What Undo takes back: the last tap over the coil picked, else the last of all. */
  get toUndo() {
    return (this.chosen && this.read.findLast((r) => r.at === this.chosen)) || this.lastRead;
  }

  /** @param {boolean} resumed */
  async begin(resumed) {
    if (!resumed) this.tools.stream.add({ type: "start", v: 1, route: "hand", device: this.tools.device });
  }

  end() {}

  hidden() {}

  linked() {}

  next() {
    return this.stage === "result" ? null : this.target;
  }

  save() {
    return { faces: this.faces, read: this.read };
  }

  restore(kept) {
    Object.assign(this, kept);
    if (this.stage === "on" && this.read.length > 0) this.stage = "faces";
  }

  /** @param {"north"|"south"|"none"} face */
  readFace(face) {
    const at = this.target;
    const t = this.tools.clock.at();
    this.tools.stream.add({ type: "reading", t, at, face });
    this.tools.stream.flush();
    this.faces[at] = { north: 1, south: -1, none: 0 }[face];
    this.read.push({ at, t, face: this.faces[at] });
    this.chosen = this.named = null;
    this.note = this.nothingWords();
    if (this.note) this.tools.say(this.note);
    this.tools.counted(at);
    this.waits = true;
    if (!this.unread && this.read.length === this.tools.told.plan.coils.length) this.stage = "result";
    this.show();
  }

  /** The supply may be off, where one coil after the other gives nothing: asked once of them. */
  nothingWords() {
    const nothing = this.read.slice(this.read.findLastIndex((r) => this.faces[r.at] !== 0) + 1).map((r) => r.at);
    const doubt = (/** @type {string[]} */ ids) => {
      const another = Object.keys(this.faces).some((id) => this.faces[id] !== 0 && !ids.includes(id));
      return ids.length >= NOTHINGS && mayBeSupply(this.tools.told.plan, ids, another);
    };
    return doubt(nothing) && !doubt(nothing.slice(0, -1)) ? `Nothing over ${list(nothing)}. Is the supply on, and the pad plugged in? If it was off, take them back with Undo, and read them again.` : "";
  }

  undo() {
    const last = this.toUndo;
    if (!last) return;
    this.read.splice(this.read.indexOf(last), 1);
    this.tools.stream.undo(last.at, last.t);
    const before = this.read.findLast((r) => r.at === last.at)?.face;
    if (before === undefined) delete this.faces[last.at];
    else this.faces[last.at] = before;
    this.chosen = last.at;
    this.note = "";
    this.show();
  }

  to(stage) {
    this.stage = stage;
    this.named = null;
    this.note = "";
    this.show();
  }

  /** Where every coil was read, and no other is asked for by needle, that was the last. */
  verdict() {
    const next = this.tools.told.verdict?.next;
    const done = !next || next.route === "ohms" || next.at === this.lastRead?.at;
    if (this.waits && !this.chosen && !this.unread && done) this.stage = "result";
    this.waits = false;
    this.show();
  }

  /** What the person is told to read stays so until it is read. */
  name() {
    if (this.stage === "faces" && (this.unread || !this.waits)) this.named ??= this.target;
  }

  show() {
    this.name();
    page.show(handScreen(this, this.tools.told));
  }
}
