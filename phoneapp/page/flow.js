// The vector route as a state machine: supply off, rest, supply on, then hold
// after hold until the verdict is in. Pure: events go in, effects come out, and
// what to show is read off it. Times are the capture's, in seconds; readings are
// in microtesla in the phone's axes.
//
//   off ─ tap ─ resting ─ enough ─ on ─ tap ─ counting ─ enough ─ lift ─ moved ─ place ─ settled ─ counting …
//                                                          │                         └ doubtful ─ quiet or same ─ tap ┘
//                                                          └ every coil read ─ waiting ─ verdict ─ result
//
// Doubtful: there is far less field than planned (quiet: the phone may lie beside the pad, or
// after some coils of that kind the supply may be off), or it reads just as on the coil before (same: it may not have been moved at all,
// or if it read so once already the supply may be off).
//
// A rest larger than the earth can make (lit) is no rest yet: the supply may be on. Where the person says
// that it is off the phone has a magnetism of its own, and a rest like that one is not asked about again.
//
// The coil named last stays the one to be read whatever other phones read meanwhile: this one may be
// on its way there. Where it need not be read any more that is said (taken), and a tap leads on to
// another coil, on which it must be laid anew.
//
// Where the person draws along rows (row-stroke.js) the row to be drawn stands between the
// holds, as long as there is one: counting … ─ row ─ tap ─ drawing ─ tap ─ row … ─ lift …
//
// The rest is taken with the phone lying on the coil that is read first, so that
// this coil is read off and on at one place. While the supply is being switched no
// reading is sent: nobody knows which side of the switch it belongs to.
//
// Readings outside a hold count as taken with the phone lying as the capture's first
// line says. Where it lies turned from that, the rest belongs in the hold, whose line
// says how.

import { distinct, HoldDetector, jitterOf, noiseOf } from "./hold-detector.js";
import { after, ReadingFlow } from "./reading-flow.js";
import { RowStrokes } from "./row-stroke.js";
import { wrap180 } from "./sources/headings.js";
import { SteadyReadings } from "./still-steady.js";
import { distance, mean, norm } from "./vectors.js";

const REST_S = 2; // outside any hold, with the supply off
const SHORT_REST_S = 0.8; // where every hold has its own
const OFF_HOLD_S = 1.2; // in the hold, before the supply goes on
const UNSTEADY_S = 8; // after so long without a steady rest it is said
const GUARD_S = 0.3; // after a switch, before readings count
const HOLD_S = 2.5;
const PERIODS = 3; // of a pulsed drive
const LEAST_READINGS = 12; // that differ
const FROZEN_READINGS = 5; // fewer than so many different ones in twice the time: frozen
const QUIET_UT = 8; // less pull than this, or than a fifth of what a sound coil would give, is asked about
const QUIET_SHARE = 0.2;
const LEAST_REACH = 0.05; // of the planned pull: no sensor on the mark meets less of it
const QUIET_HOLDS = 2; // one after the other, before the supply is asked about
const SAME_HOLDS = 2;
const UNKNOWN_NOISE_UT = 0.9;
const NOISY_UT = [1.5, 12]; // that no phone at rest has by itself, nor one carried about
const RESTLESS_S = 4; // of noise, before it is said that this is why it does not settle
const NO_EARTH_UT = 110; // a field larger than this with the supply off is a driven coil's, or the phone's own; as the verdict has it
const OWN_UT = 30; // within which two rests of such a phone lie
const SAME_UT = 2.5; // no two placings agree so well, but for a rare chance
const ALIKE_DEG = 15; // the phone lies the same way, but for a hand's error
const ALIKE_MM = 10;

/** Between holds: the phone is being laid on what was named. */
const BETWEEN = ["lift", "place", "quiet", "same"];

/** @typedef {{top_deg?: number, shift_mm?: number[], route?: string, why?: string}} Asked */
/** @typedef {"off"|"resting"|"lit"|"on"|"counting"|"lift"|"place"|"quiet"|"same"|"taken"|"unchanged"|"row"|"drawing"|"waiting"|"result"} Stage */
/**
 * What the page has to do: send a capture line, switch a made-up supply, take a
 * hold back, or tell the person.
 * @typedef {{do: "line", line: object} | {do: "drive", state: string} | {do: "undo", at: string, t: number}
 *   | {do: "counted", at: string, along?: string[]} | {do: "spoilt", row: import("./rows.js").Row, why: import("./row-stroke.js").Spoilt} | {do: "quiet-row", row: import("./rows.js").Row} | {do: "broken", at: string, why: Broken, jitter_uT?: number} | {do: "restless", at: string, jitter_uT: number} | {do: "unsteady"} | {do: "fruitless", at: string} | {do: "taken", at: string, read: boolean}} Effect
 */

/** Why a hold did not count. @typedef {"moved"|"shaken"|"noise"|"gap"|"frozen"} Broken */

/** @extends {ReadingFlow<Effect>} */
export class VectorFlow extends ReadingFlow {
  /**
   * @param {{
   *   coils: string[],
   *   supply: {drive: string, hz?: number, duty?: number},
   *   expected_uT?: Record<string, number>,
   *   everyHold?: boolean,
   *   toss?: () => boolean,
   *   rows?: import("./rows.js").Row[],
   *   afterMend?: boolean,
   *   carried?: string[],
   * }} o expected_uT: strength of the field over each
   *   coil as planned. everyHold: switch the supply off and on again on every coil.
   *   rows: that may be drawn along in one stroke. afterMend: it takes a look over all that was read before
   */
  constructor(o) {
    super(o);
    this.hz = o.supply.drive === "pulsed" ? o.supply.hz || 1 : 0;
    this.duty = o.supply.duty || 0.5;
    this.expected = o.expected_uT || {};
    this.everyHold = o.everyHold || false;
    /** @type {Stage} */
    this.stage = "off";
    this.driven = false;
    /** The person says that the supply is on, though there is hardly any field. */
    this.supplySure = false;
    /** Which way the top edge points by the capture's first line, counter-clockwise from away. */
    this.start_deg = 0;
    /** Mean readings with the supply off, by the way the phone lay. @type {{top_deg: number, u: number[]}[]} */
    this.backgrounds = [];
    /** Rests larger than the earth's field that are the phone's own, as the person says. @type {number[][]} */
    this.owned = [];
    this.detector = new HoldDetector({ hz: this.hz, duty: this.duty });
    this.strokes = new RowStrokes(o.rows || [], o.afterMend || false);
    /**
     * Largest share of the planned pull that a hold on the mark came to. A sensor away
     * from the mark meets less than planned, on every coil. @type {number | null}
     */
    this.reach = null;
    /** The hold counted last. @type {{at: string, on: Sample[]} | null} */
    this.before = null;
    /** The hold in progress. @type {{at: string, top_deg: number, t: number, from: number, off: Sample[], on: Sample[], usedAtFirst: number} | null} */
    this.hold = null;
    /** Where and how the phone is to be laid, as the page named it last; unread: nobody had read it yet. @type {{at: string, asked: Asked, unread: boolean} | null} */
    this.named = null;
    /** The coil on which a motion sensor broke a hold off last. @type {string | null} */
    this.shookAt = null;
    /** Readings while the phone is being laid on a coil. @type {{at: string | null, told: boolean, samples: Sample[]} | null} */
    this.placing = null;
    /** What it was to be laid on before another phone read that. @type {{at: string, read: boolean} | null} */
    this.taken = null;
    /** Where and how the phone lies since it was said to: news does not move it. @type {{at: string, asked: Asked} | null} */
    this.laid = null;
    /** Where and how it lay in the hold opened last. @type {{at: string, asked: Asked} | null} */
    this.lay = null;
    /** @type {Sample[]} */
    this.rest = [];
    this.restSince = 0;
  }

  // What comes next

  /** The coil to lay the phone on, or null when none is asked for. */
  get target() {
    return (this.laid || this.named || this.wanted)?.at ?? null;
  }

  /** What is to be read as far as is known now, and how. @returns {{at: string, asked: Asked} | null} */
  get wanted() {
    const { unread } = this;
    const n = this.verdict?.next;
    const at = this.chosen || (this.fromEnd ? unread[unread.length - 1] : unread[0]) || (!this.awaiting && n?.at);
    if (!at) return null;
    const plain = this.awaiting || unread.length > 0 || !n || n.at !== at || (this.chosen && n.route); // a coil chosen is read by phone all the same
    return { at, asked: plain ? {} : { top_deg: n.top_deg, shift_mm: n.shift_mm, route: n.route, why: n.why } };
  }

  /** Names what is to be read next. */
  name() {
    const { wanted } = this;
    this.named = wanted && { ...wanted, unread: this.unread.includes(wanted.at) };
  }

  /** Whether what was named last is still to be read, and so. */
  get stillWanted() {
    const { named } = this;
    return !named || named.at === this.chosen || this.unread.includes(named.at) || this.wantedAlike;
  }

  /** Whether what is wanted now is what was named last, at the same place and in the same way. */
  get wantedAlike() {
    const { named, wanted } = this;
    return !!named && !!wanted && wanted.at === named.at && sameWay(wanted.asked, named.asked);
  }

  /** How the phone is to lie on the target, where that differs from the usual. @returns {Asked} */
  get asked() {
    return (this.laid || this.named || this.wanted)?.asked ?? {};
  }

  /** Which way the top edge is to point on the target. */
  get top_deg() {
    return this.asked.top_deg ?? 0;
  }

  /** Mean reading with the supply off of the phone as it is to lie now. @type {number[] | null} */
  get background() {
    return this.backgrounds.find((b) => alike(b.top_deg, this.hold?.top_deg ?? this.top_deg))?.u || null;
  }

  /** The rest is taken in the hold: outside it would say that the phone lies another way. */
  get restsInHold() {
    return !alike(this.top_deg, this.start_deg);
  }

  /** Holds counted last that all had hardly any field. */
  get quietHolds() {
    return this.done.slice(this.done.findLastIndex((d) => !d.quiet) + 1);
  }

  get oftenQuiet() {
    return !this.supplySure && this.quietHolds.length >= QUIET_HOLDS;
  }

  /** Holds counted last that all read just as the first of them. */
  get sameHolds() {
    return this.done.slice(Math.max(0, this.done.findLastIndex((d) => !d.same)));
  }

  get oftenSame() {
    return !this.supplySure && this.sameHolds.length >= SAME_HOLDS;
  }

  /** One coil after the other without a field, or read just alike: it may be the supply, which is asked once. */
  get doubtsSupply() {
    return this.doubtedHolds.length > 0;
  }

  /** Holds during which the supply may have been off. */
  get doubtedHolds() {
    const { stage } = this;
    if ((stage === "quiet" || stage === "unchanged") && this.oftenQuiet) return this.quietHolds;
    return (stage === "same" || stage === "unchanged") && this.oftenSame ? this.sameHolds : [];
  }

  get holdSeconds() {
    return this.hz > 0 ? Math.max(HOLD_S, PERIODS / this.hz) : HOLD_S;
  }

  /** Share of the rest or the hold in progress that has been counted, 0 to 1. */
  get progress() {
    if (this.stage === "resting") {
      const rest = this.rest.length ? this.rest[this.rest.length - 1].t - this.rest[0].t : 0;
      if (this.restsInHold) return Math.min(1, rest / this.restSeconds);
      const off = this.hold ? this.elapsed(this.hold.off) : 0;
      return Math.min(1, (rest + off) / (this.restSeconds + OFF_HOLD_S));
    }
    if (this.stage === "drawing") return this.strokes.progress;
    if (this.stage === "counting" && this.hold) return Math.min(1, this.elapsed(this.hold.on) / this.holdSeconds);
    return 0;
  }

  get restSeconds() {
    if (!this.everyHold || !this.background) return REST_S;
    return this.restsInHold ? OFF_HOLD_S : SHORT_REST_S;
  }

  elapsed(samples) {
    return samples.length ? samples[samples.length - 1].t - samples[0].t : 0;
  }

  // Events. Each returns the effects.

  /** This page begins: where others have read all there is to read, with what is known. */
  joins() {
    this.name();
    if (!this.target || this.asked.route === "ohms") this.stage = "result";
    return this.take();
  }

  /** "The supply is off and the phone lies on the coil." @param {number} t */
  supplyOff(t) {
    if (this.stage !== "off" && this.stage !== "lit") return [];
    this.line({ type: "drive", t, state: "off" });
    this.emit({ do: "drive", state: "off" });
    this.driven = false;
    this.lie();
    this.stage = "resting";
    this.rest = [];
    this.restSince = t;
    this.unsteadyTold = false;
    return this.take();
  }

  /** "It is off": this phone reads so much by itself. @param {number} t */
  restIsOwn(t) {
    if (this.stage !== "lit") return [];
    this.owned.push(mean(this.rest.map((s) => s.u)));
    return this.supplyOff(t); // afresh: it may have been touched meanwhile
  }

  /** "The supply is on." @param {number} t @param {number} [amps] total, read off the supply */
  supplyOn(t, amps) {
    if (this.stage !== "on" || !this.hold) return [];
    const told = amps > 0 ? { amps } : {};
    if (this.hz > 0) this.line({ type: "drive", t, state: "pulse", hz: this.hz, duty: this.duty, ...told });
    else this.line({ type: "drive", t, state: "on", ...told });
    this.emit({ do: "drive", state: this.hz > 0 ? "pulse" : "on" });
    this.driven = true;
    this.stage = "counting";
    this.hold.from = t + GUARD_S;
    this.detector.hold();
    return this.take();
  }

  /** A reading. @param {number} t @param {number[]} u */
  sample(t, u) {
    const s = { t, u };
    switch (this.stage) {
      case "resting":
        this.resting(s);
        break;
      case "counting":
        this.counting(s);
        break;
      case "lift":
      case "place":
      case "quiet":
      case "same":
      case "taken":
      case "row":
      case "waiting":
      case "result":
        if (this.driven) this.send(s);
        this.between(s);
        break;
      case "drawing":
        this.send(s);
        if (this.strokes.sample(s)) this.spoil(s.t, "long");
        break;
      case "unchanged":
        this.detector.feed(s); // so that the next hold asks for a move first
        break;
      default: // while the supply is being switched, or it is asked whether it was, nothing is sent
    }
    return this.take();
  }

  /** News of a motion sensor. @param {number} t @param {"still"|"moving"|"unknown"} motion */
  motion(t, motion) {
    if (["off", "resting", "lit", "on"].includes(this.stage)) return [];
    this.heed(this.detector.motion(t, motion), true);
    return this.take();
  }

  /** "It lies on the coil", without waiting for the readings to settle. @param {number} t */
  onIt(t) {
    if (this.doubtsSupply) this.supplySure = true;
    if (BETWEEN.includes(this.stage)) {
      // From now on, however long it has lain there: what was read meanwhile is sent already.
      this.detector.hold();
      this.begin(t);
    }
    return this.take();
  }

  /** "I have lifted it." @param {number} t */
  lifted(t) {
    if (this.stage === "counting") this.heed({ event: "moved", t });
    else if (this.stage === "lift") {
      this.detector.loosen();
      this.stage = "place";
    }
    return this.take();
  }

  /** "The supply is on all the same": a hold without change counts. @param {number} t */
  unchangedCounts(t) {
    if (this.doubtsSupply) this.supplySure = true;
    if (this.stage !== "unchanged") return this.take();
    this.line({ type: "lift", t: Math.max(t, after(this.hold.on[this.hold.on.length - 1].t)) });
    this.counted(t);
    return this.take();
  }

  /** "The supply was off": what was read meanwhile is taken back and asked for again. @param {number} t */
  supplyWasOff(t) {
    if (!this.doubtsSupply) return [];
    const holds = this.doubtedHolds;
    if (this.hold) this.abandon(t);
    this.done = this.done.slice(0, -holds.length);
    this.owned = []; // that a rest was the phone's own may have been wrong, too
    for (const { at, t } of holds) this.emit({ do: "undo", at, t });
    this.awaiting = false;
    this.chosen = holds[0].at;
    this.name();
    this.stage = "off";
    return this.take();
  }

  /** The person picks a coil. @param {string} id */
  pick(id) {
    if (["counting", "unchanged", "drawing"].includes(this.stage) || !this.coils.includes(id)) return [];
    this.chosen = id;
    this.broke = null;
    this.fruitless = false;
    this.name();
    if (["waiting", "result", "taken", "row"].includes(this.stage)) this.toNext();
    return this.take();
  }

  /** Takes the last hold back; it is asked for again. */
  undo() {
    if (this.stage === "counting" || this.stage === "drawing") return [];
    const last = this.takeBack();
    if (!last) return [];
    if (!last.along) this.chosen = last.at;
    this.name();
    if (last.rested && this.driven) this.stage = "off"; // how it lay then is in doubt as well
    else if (this.stage !== "off" && this.stage !== "on" && this.stage !== "resting") this.toNext();
    return this.take();
  }

  /** Takes another rest, on the coil that is next. @param {number} t */
  restAgain(t) {
    if (this.hold) this.abandon(t);
    this.laid = null;
    this.stage = "off";
    this.name();
    if (this.target) return this.take();
    this.chosen = this.coils[0];
    this.name();
    return this.take();
  }

  /** Readings stopped for a while. @param {number} t of the last before the gap */
  gap(t) {
    if (this.stage === "counting") this.breakOff(t, "gap");
    else if (this.stage === "drawing") this.spoil(t, "gap");
    else if (["resting", "lit", "on"].includes(this.stage)) {
      if (this.hold) this.abandon(t);
      this.laid = null;
      this.rest = [];
      this.stage = "off";
    } else if (this.stage === "place" || this.stage === "quiet" || this.stage === "same") {
      // What happened meanwhile nobody saw.
      this.stage = "lift";
      this.detector.reset();
    }
    return this.take();
  }

  /** @param {any} v */
  setVerdict(v) {
    if (!this.hears(v)) return this.take();
    const { wanted } = this;
    if (this.stage === "off" && !wanted) this.stage = "result"; // another phone read it all meanwhile
    if (this.news) this.heedAsk(this.askedWay);
    this.news = false;
    const between = BETWEEN.includes(this.stage);
    const taken = this.stage === "taken";
    if (this.stage === "waiting" || ((between || taken) && (!wanted || wanted.asked.route === "ohms" || this.fruitless))) this.toNext();
    else if (taken) {
      this.name();
      if (this.named?.at === this.taken?.at) this.taken.read = false; // asked for again after all
    }
    else if (between && !this.stillWanted) this.takeAway();
    else if (between && this.wantedAlike) this.name(); // why may be another
    return this.take();
  }

  /** What was named need not be read any more, and the phone may be on its way there. */
  takeAway() {
    const { at, unread: read } = this.named;
    this.taken = { at, read };
    if (read) this.fromEnd = !this.fromEnd; // two that go the same way would meet on every coil
    this.name();
    this.stage = "taken";
    this.emit({ do: "taken", at, read });
  }

  /** "On to the next", after another phone read what was named. */
  onward() {
    if (this.stage !== "taken") return this.take();
    this.toNext();
    this.detector.reset(); // wherever it was just laid, it is to be lifted from there
    return this.take();
  }

  /** The way in which the verdict asks for its next reading. */
  get askedWay() {
    if (this.stage === "row" || this.stage === "drawing") return null;
    const n = this.verdict?.next;
    return JSON.stringify([n?.top_deg ?? 0, (n?.shift_mm || [0, 0]).map((mm) => Math.round(mm / ALIKE_MM))]);
  }

  /** Shows what is known so far. */
  showResult() {
    if (BETWEEN.includes(this.stage) || ["taken", "row", "waiting"].includes(this.stage)) this.stage = "result";
    return this.take();
  }

  /** On with reading, from the result. */
  goOn() {
    if (this.stage !== "result") return [];
    this.fruitless = false;
    this.asks.made.clear();
    if (!this.driven) return this.restAgain(0);
    if (!this.wanted) this.chosen = this.coils[0];
    this.toNext();
    return this.take();
  }

  // Rows

  /** The person draws along rows, or lays the phone on each coil. @param {boolean} on */
  byRow(on) {
    if (this.stage === "drawing") return [];
    this.strokes.take(on);
    if (on) {
      this.everyHold = false;
      this.chosen = null;
    }
    // With the supply off it begins with the rest all the same.
    if (this.driven && (BETWEEN.includes(this.stage) || ["taken", "row", "waiting", "result"].includes(this.stage))) this.toNext();
    return this.take();
  }

  /** "It lies over the first coil": the stroke begins; or "it is over the last". @param {number} t */
  drawn(t) {
    const { strokes } = this;
    if (this.stage === "row" && strokes.row) {
      strokes.begin(t);
      this.usedAtFirst = this.coil(strokes.row.coils[0])?.used ?? 0;
      this.stage = "drawing";
      this.line({ type: "pass", t, along: strokes.row.coils });
    } else if (this.stage === "drawing" && !strokes.slipped(t)) {
      const why = strokes.spoilt(t);
      if (why) this.spoil(t, why);
      else this.strokeCounts(t);
    }
    return this.take();
  }

  /** "Not this one": the stroke in progress does not count. @param {number} t */
  notDrawn(t) {
    if (this.stage === "drawing") this.spoil(t, "lifted");
    return this.take();
  }

  strokeCounts(t) {
    const { row, stroke, quiet } = this.strokes;
    this.line({ type: "pass-end", t: this.endOfStroke(t) });
    this.strokes.stroke = null;
    this.before = null;
    this.takeIn({ at: row.coils[0], t: stroke.t, along: row.coils }, t);
    if (quiet) this.emit({ do: "quiet-row", row });
    this.detector.reset();
    this.toNext();
  }

  /** Ends the stroke in progress and has it taken back. @param {number} t @param {import("./row-stroke.js").Spoilt} why */
  spoil(t, why) {
    const { row, stroke } = this.strokes;
    this.line({ type: "pass-end", t: this.endOfStroke(t) });
    this.strokes.stroke = null;
    this.stage = "row";
    this.detector.reset();
    this.emit({ do: "undo", at: row.coils[0], t: stroke.t });
    this.emit({ do: "spoilt", row, why });
  }

  /** After its last reading: lines are put in order by their times. @param {number} t */
  endOfStroke(t) {
    const { stroke } = this.strokes;
    return Math.max(t, after(stroke.samples.at(-1)?.t ?? stroke.t));
  }

  // Inside

  resting(s) {
    if (this.hold) {
      this.hold.off.push(s);
      this.send(s);
      if (this.elapsed(this.hold.off) >= OFF_HOLD_S) this.stage = "on";
      return;
    }
    // The rest is sent whole once it is steady: what came while the phone was
    // still being laid down is not part of it.
    this.rest.push(s);
    while (this.rest[0].t < s.t - this.restSeconds - 0.15) this.rest.shift();
    const long = this.elapsed(this.rest) >= this.restSeconds;
    if (!long || !this.restSteady) {
      if (!this.unsteadyTold && s.t - this.restSince > UNSTEADY_S) {
        this.unsteadyTold = true;
        this.emit({ do: "unsteady" });
      }
      return;
    }
    this.takeRest();
  }

  /** How strong the rest's field is, microtesla. */
  get restField() {
    return norm(mean(this.rest.map((s) => s.u)));
  }

  get restSteady() {
    // How noisy this phone is is not known before its rest.
    return this.rest.length >= FROZEN_READINGS && new SteadyReadings(UNKNOWN_NOISE_UT).steady(this.rest);
  }

  takeRest() {
    const { rest, top_deg } = this;
    const u = mean(rest.map((s) => s.u));
    if (this.hz === 0 && norm(u) > NO_EARTH_UT && !this.owned.some((own) => distance(own, u) < OWN_UT)) {
      this.stage = "lit";
      return;
    }
    this.backgrounds = [...this.backgrounds.filter((b) => !alike(b.top_deg, top_deg)), { top_deg, u }];
    if (rest.length >= LEAST_READINGS) this.detector.setNoise(noiseOf(rest));
    if (this.restsInHold) {
      this.open(after(rest[0].t - 0.002)); // its first reading too belongs to the hold
      this.hold.off = rest;
      this.stage = "on";
    }
    for (const r of rest) this.send(r);
    if (!this.hold) this.open(after(rest[rest.length - 1].t));
  }

  /** Takes the rest as it is: the person says that it gets no steadier. */
  takeRestAsItIs() {
    if (this.stage !== "resting" || this.hold || this.rest.length < FROZEN_READINGS) return [];
    this.takeRest();
    return this.take();
  }

  counting(s) {
    this.send(s);
    if (s.t >= this.hold.from) this.hold.on.push(s);
    const told = this.detector.feed(s);
    if (told?.event === "moved") {
      this.heed(told);
      return;
    }
    const long = this.elapsed(this.hold.on);
    if (long < this.holdSeconds) return;
    const n = distinct(this.hold.on);
    if (n < LEAST_READINGS && long < 2 * this.holdSeconds) return;
    if (n < FROZEN_READINGS) {
      this.breakOff(s.t, "frozen");
      return;
    }
    const unchanged = this.hold.off.length > 0 && this.pull(this.hold.on) < QUIET_UT;
    if (unchanged || (this.oftenQuiet && this.quiet(this.hold.on, this.hold.at)) || (this.oftenSame && this.same(this.hold.on))) {
      // Until it is known whether the supply is on the hold is not over: the bench takes it for no reading.
      this.stage = "unchanged";
      return;
    }
    this.line({ type: "lift", t: after(s.t) });
    this.counted(s.t);
  }

  /** Between holds: is it lifted, does it lie still on the next coil? */
  between(s) {
    if (["waiting", "result", "taken", "row"].includes(this.stage)) {
      // Watched only so that the next hold asks for a move first.
      this.detector.feed(s);
      if (this.stage === "waiting" && this.waitsNoMore(s.t)) this.toNext();
      return;
    }
    const told = this.detector.feed(s);
    if (told?.event === "settled" && this.stage === "place") {
      const window = this.detector.window;
      if (this.quiet(window, this.target)) this.stage = "quiet";
      else if (this.same(window)) this.stage = "same";
      else this.begin(after(told.since - 0.002), window); // the first reading belongs to the hold
      return;
    }
    if (this.stage === "place") this.watchNoise(s);
    this.heed(told);
  }

  /** Whether noise is why the phone is not seen to lie still. @param {Sample} s */
  watchNoise(s) {
    const p = (this.placing = this.placing?.at === this.target ? this.placing : { at: this.target, told: false, samples: [] });
    if (this.detector.shaken) p.samples = [];
    p.samples.push(s);
    while (p.samples[0].t < s.t - RESTLESS_S) p.samples.shift();
    if (p.told || this.hz > 0 || this.elapsed(p.samples) < RESTLESS_S - 0.3) return;
    const jitter_uT = jitterOf(p.samples);
    const half = Math.floor(p.samples.length / 2);
    const [a, b] = [p.samples.slice(0, half), p.samples.slice(half)].map((list) => mean(list.map((r) => r.u)));
    if (!noise(jitter_uT) || distance(a, b) > jitter_uT) return; // carried about, its mean changes
    p.told = true;
    this.emit({ do: "restless", at: p.at, jitter_uT });
  }

  /** @param {import("./hold-detector.js").Told | null} told @param {boolean} [shaken] a motion sensor says so */
  heed(told, shaken) {
    if (told?.event !== "moved") return;
    if (this.stage === "counting") {
      const on = this.hold.on;
      // Lifted a moment early: what was counted is a reading.
      if (this.elapsed(on) >= 0.7 * this.holdSeconds && distinct(on) >= LEAST_READINGS * 0.7) {
        this.line({ type: "lift", t: after(on[on.length - 1].t - 0.4) });
        this.counted(told.t);
        this.stage = this.stage === "lift" ? "place" : this.stage;
        this.detector.loosen();
      } else this.breakOff(told.t, shaken ? "shaken" : "moved");
    } else if (this.stage === "lift" || this.stage === "quiet" || this.stage === "same") {
      this.stage = "place";
    }
  }

  /** Opens a hold with the supply on. @param {number} t @param {Sample[]} [samples] already sent */
  begin(t, samples = []) {
    const at = this.target;
    if (!at) return;
    this.open(t);
    this.hold.from = t;
    this.hold.on = samples.slice();
    this.stage = "counting";
  }

  /** From now on the phone lies on the target. */
  lie() {
    const { target, asked } = this;
    this.laid = target ? { at: target, asked } : null;
  }

  /** @param {number} t */
  open(t) {
    this.lie();
    this.lay = this.laid;
    const { target: at, asked, top_deg } = this;
    /** @type {any} */
    const line = { type: "hold", t, at };
    if (asked.top_deg !== undefined || top_deg !== this.start_deg) line.top_deg = top_deg;
    if (asked.shift_mm) line.shift_mm = asked.shift_mm;
    this.line(line);
    this.hold = { at, top_deg, t, from: t, off: [], on: [], usedAtFirst: this.coil(at)?.used ?? 0 };
  }

  /** The hold in progress counts; its lift has been sent. @param {number} t */
  counted(t) {
    const { at, t: began, on, off, usedAtFirst } = this.hold;
    const pull = this.pull(on);
    // A coil that gives nothing does not tell where the sensor sits; a phone laid
    // beside the mark brings it where it usually does not come.
    const share = pull / this.expected[at];
    if (!this.laid?.asked.shift_mm && pull >= QUIET_UT && share >= LEAST_REACH && share < Infinity) this.reach = Math.min(1, Math.max(share, this.reach ?? 0));
    const quiet = this.quiet(on, at);
    const same = this.same(on);
    if (!quiet && !same) this.supplySure = false;
    this.hold = null;
    this.laid = null;
    this.placing = null;
    this.shookAt = null;
    this.before = { at, on };
    this.chosen = null;
    this.usedAtFirst = usedAtFirst;
    this.takeIn({ at, t: began, ...(off.length > 0 ? { rested: true } : {}), ...(quiet ? { quiet } : {}), ...(same ? { same } : {}) }, t);
    this.toNext();
  }

  /** To where the next hold begins, or to the end. */
  toNext() {
    this.taken = null;
    this.name();
    const row = this.chosen ? null : this.strokes.next({ done: this.done, unread: this.unread, asked: this.fruitless ? null : this.wanted });
    this.strokes.row = row;
    if (row) {
      this.named = { at: row.coils[0], asked: {}, unread: this.unread.includes(row.coils[0]) };
      this.stage = "row";
      return;
    }
    const at = this.target;
    if (this.verdict && this.unread.length === 0 && !this.chosen && (this.fruitless || this.asked.route === "ohms")) {
      this.stage = "result";
      return;
    }
    if (!at) {
      // Every coil has been read; the verdict on the last of them may be awaited.
      this.stage = this.awaiting ? "waiting" : "result";
      return;
    }
    this.stage = this.everyHold ? "off" : "lift";
    this.detector.mustMove();
  }

  /** Ends the hold in progress and has it taken back. @param {number} t @param {Broken} told */
  breakOff(t, told) {
    const { at, off } = this.hold;
    const jitter_uT = jitterOf(this.hold.on);
    const noisy = told === "moved" && !this.detector.shaken && noise(jitter_uT);
    // Once it will have been lifted too soon, time and again it was not.
    const why = noisy ? "noise" : told === "shaken" && this.shookAt !== at ? "moved" : told;
    this.shookAt = told === "shaken" ? at : null;
    this.broke = { at, used: this.hold.usedAtFirst };
    this.abandon(t);
    this.chosen = at;
    this.name();
    const otherwise = told === "moved" || told === "shaken"; // than it lay before
    if (this.everyHold || (otherwise && off.length > 0)) this.stage = "off"; // its readings with the supply off do not count either
    else if (otherwise) {
      this.stage = "place";
      this.detector.loosen();
    } else {
      this.stage = "lift";
      this.detector.reset();
    }
    this.emit({ do: "broken", at, why, ...(noisy ? { jitter_uT } : {}) });
  }

  /** @param {number} t */
  abandon(t) {
    this.line({ type: "lift", t: Math.max(t, after(this.hold.t)) });
    this.emit({ do: "undo", at: this.hold.at, t: this.hold.t });
    this.hold = null;
    this.laid = null;
  }

  /** Whether readings show far less pull than the plan has there. @param {Sample[]} samples @param {string} at */
  quiet(samples, at) {
    return this.pull(samples) < Math.max(QUIET_UT, QUIET_SHARE * (this.reach ?? 1) * (this.expected[at] || 0));
  }

  /** How far readings lie from those with the supply off, microtesla. @param {Sample[]} samples */
  pull(samples) {
    const { background } = this;
    if (!background || samples.length === 0) return Infinity;
    const readings = samples.map((s) => s.u);
    // Of pulses the strongest tell, of a steady drive the mean.
    const strongest = () => readings.map((u) => distance(u, background)).sort((a, b) => a - b)[Math.floor(readings.length * 0.95)];
    return this.hz > 0 ? strongest() : distance(mean(readings), background);
  }

  /** Whether readings are just those of the hold before. @param {Sample[]} samples */
  same(samples) {
    if (!this.before || this.before.at === this.target) return false;
    const [a, b] = [this.before.on, samples].map((list) => list.map((s) => s.u));
    if (this.hz === 0) return distance(mean(a), mean(b)) < SAME_UT;
    return [Math.min, Math.max].every((pick) => [0, 1, 2].every((k) => Math.abs(pick(...a.map((u) => u[k])) - pick(...b.map((u) => u[k]))) < SAME_UT + 3 * this.detector.noise));
  }

  send(s) {
    this.line({ type: "b", t: s.t, uT: s.u });
  }

  // Through a reload of the page

  /** What a page needs to go on after a reload. */
  save() {
    return {
      done: this.done,
      chosen: this.chosen,
      broke: this.broke,
      everyHold: this.everyHold,
      driven: this.driven,
      start_deg: this.start_deg,
      backgrounds: this.backgrounds,
      owned: this.owned,
      noise_uT: this.detector.noise,
      reach: this.reach,
      fromEnd: this.fromEnd,
      supplySure: this.supplySure,
      hold: this.hold && { at: this.hold.at, t: this.hold.t, used: this.hold.usedAtFirst },
      rows: { on: this.strokes.on, declined: this.strokes.declined },
      stroke: this.strokes.stroke && { at: this.strokes.row.coils[0], t: this.strokes.stroke.t },
    };
  }

  /**
   * Goes on where a page before a reload left off. A hold that was in progress
   * does not count: nobody knows how the phone lay meanwhile.
   * @param {ReturnType<VectorFlow["save"]>} kept @param {number} t
   */
  restore(kept, t) {
    this.done = kept.done;
    this.chosen = kept.chosen;
    this.broke = kept.broke ?? null;
    this.everyHold = kept.everyHold;
    this.driven = kept.driven;
    this.start_deg = kept.start_deg;
    this.backgrounds = kept.backgrounds;
    this.owned = kept.owned ?? [];
    this.detector.setNoise(kept.noise_uT);
    this.reach = kept.reach;
    this.fromEnd = kept.fromEnd ?? false;
    this.supplySure = kept.supplySure;
    if (kept.hold) {
      this.line({ type: "lift", t: Math.max(t, after(kept.hold.t)) });
      this.emit({ do: "undo", at: kept.hold.at, t: kept.hold.t });
      this.chosen = kept.hold.at;
      this.broke = { at: kept.hold.at, used: kept.hold.used };
    }
    if (this.brokeIsRead()) this.chosen = null;
    else if (kept.hold) this.emit({ do: "broken", at: kept.hold.at, why: "gap" });
    Object.assign(this.strokes, kept.rows);
    if (this.driven) this.toNext();
    else {
      this.stage = "off";
      this.name();
    }
    if (kept.stroke) {
      this.line({ type: "pass-end", t: Math.max(t, after(kept.stroke.t)) });
      this.emit({ do: "undo", ...kept.stroke });
      if (this.strokes.row) this.emit({ do: "spoilt", row: this.strokes.row, why: "gap" });
    }
    return this.take();
  }
}

/** @typedef {import("./hold-detector.js").Sample} Sample */

/** Whether two ways of reading a coil are one, but for a hand's error. @param {Asked} a @param {Asked} b */
function sameWay(a, b) {
  const [p, q] = [a, b].map((way) => way.shift_mm || [0, 0]);
  return alike(a.top_deg ?? 0, b.top_deg ?? 0) && Math.hypot(p[0] - q[0], p[1] - q[1]) < ALIKE_MM && a.route === b.route;
}

/** Whether two ways of lying are one, but for a hand's error. @param {number} a @param {number} b degrees */
function alike(a, b) {
  return Math.abs(wrap180(a - b)) < ALIKE_DEG;
}

/** Whether readings that jump so far from one to the next are noise. @param {number} jitter_uT */
function noise(jitter_uT) {
  return jitter_uT >= NOISY_UT[0] && jitter_uT <= NOISY_UT[1];
}
