// The heading route as a state machine: beside each coil the compass is read with
// the supply off and then on. Pure: events go in, effects come out. Times are the
// capture's, in seconds; headings in degrees clockwise from north.
//
//   place ─ tap ─ off ─ settled ─ on ─ tap ─ counting ─ settled ─ place … waiting ─ verdict ─ result
//                        └ first rest: another side is better ─ place
//
// Which side of a coil turns the compass most depends on where north lies, which only
// the first rest tells. Until then it is guessed, and that place may have to be left.
//
// First one side of every coil, then the other side of those still in doubt.
import { alsoDoes, currentFor, placeBeside, shareOfBest, STILL_DEG, strengthOf } from "./heading-places.js";
import { after, ReadingFlow } from "./reading-flow.js";
import { wrap180 } from "./sources/headings.js";
import { mayBeSupply } from "./supply.js";

const LAG_S = 3; // a compass follows with a lag of about a second
const SETTLED_DEG = 5; // spread over the last second
const AT_MOST_S = 7;
const LEAST_HEADINGS = 8;
const MOVED_DEG = 15; // turned by hand in a hold
const ENOUGH = 0.8; // of the turn that the best side gives: not worth moving for

/** @typedef {"place"|"off"|"on"|"counting"|"waiting"|"result"} Stage */
/**
 * @typedef {{do: "line", line: object} | {do: "drive", state: string} | {do: "undo", at: string, t: number} | {do: "counted", at: string}
 *   | {do: "strength", at: string, tells: "weak"|"strong", turn_deg: number, amps: number | null, others: boolean} | {do: "turned", deg: number} | {do: "elsewhere", at: string} | {do: "fruitless", at: string} | {do: "broken", at: string, why: "gap"}} Effect
 */

/** @extends {ReadingFlow<Effect>} */
export class HeadingFlow extends ReadingFlow {
  /** @param {{plan: any, amps: number, beside?: Record<string, import("./heading-places.js").Beside[]>, carried?: string[]}} o amps: total current as planned; beside: the places by every coil */
  constructor(o) {
    super({ ...o, coils: o.plan.coils.map((c) => c.id) });
    this.plan = o.plan;
    /** Total current as planned, and as it is set as far as is known. */
    this.planned_amps = o.amps;
    this.amps = o.amps;
    this.beside = o.beside || {};
    /** What the supply is to be set to since a turn was too large or too small; null: nothing was. @type {number | null} */
    this.set_amps = null;
    /** What it was set to where the plan's current would not do. @type {{tells: "weak"|"strong", amps: number} | null} */
    this.set = null;
    /** Coils beside which the compass hardly turned, one after the other. @type {{at: string, still: boolean}[]} */
    this.weak = [];
    /** It turned beside another, with the supply set as it is. */
    this.turnedOnce = false;
    /** @type {Stage} */
    this.stage = "place";
    /** The coil that the page named last. @type {string | null} */
    this.named = null;
    /** Heading of the pad's +y; from the compass before anything is driven. @type {number | null} */
    this.rest_deg = null;
    /** The same as the phone was held when it gave its first heading. @type {number | null} */
    this.guess_deg = null;
    /** @type {any} the hold in progress */
    this.hold = null;
    /** @type {{t: number, deg: number}[]} since the supply was switched last */
    this.run = [];
  }

  /** The coil named last stays the one to be read, whatever other phones read: this one may lie there. */
  get target() {
    return this.named || this.wanted;
  }

  /** The coil to be read as far as is known now. @returns {string | null} */
  get wanted() {
    if (this.chosen) return this.chosen;
    const { unread } = this;
    if (unread.length > 0) return this.fromEnd ? unread[unread.length - 1] : unread[0];
    if (this.awaiting) return null;
    // Both sides of what is in doubt, before the verdict's own wishes.
    const other = this.coils.find((id) => this.timesRead(id) === 1 && this.coil(id)?.state === "undecided");
    if (other) return other;
    const n = this.verdict?.next;
    return n && n.route !== "ohms" && !this.fruitless ? n.at : null;
  }

  /** Where the phone goes now. */
  get place() {
    const at = this.target;
    const c = this.plan.coils.find((k) => k.id === at);
    if (!c) return null;
    const side = /** @type {1|-1} */ (this.timesRead(c.id) % 2 === 0 ? 1 : -1);
    return { at: c.id, side, ...placeBeside(c, this.windingOf(c), this.rest_deg ?? this.guess_deg ?? 0, side, this.beside[c.id]) };
  }

  windingOf(c) {
    return this.plan.windings.find((k) => k.id === c.winding);
  }

  /**
   * The current to set in place of the plan's, or null where the plan's will do.
   * @returns {{tells: "weak"|"strong"|"turned", amps: number} | null}
   */
  get advice() {
    if (this.set_amps !== null) return { tells: "turned", amps: this.set_amps };
    const across_uT = (this.hold || this.place)?.across_uT ?? null;
    if (this.set && alsoDoes(across_uT, this.set.amps / this.planned_amps)) return this.set;
    const c = currentFor(across_uT, this.planned_amps, this.plan.supply?.limit_amps || 0);
    return c.tells === "well" ? null : c;
  }

  get progress() {
    if (this.stage !== "off" && this.stage !== "counting") return undefined;
    return this.run.length ? Math.min(1, (this.run[this.run.length - 1].t - this.run[0].t) / LAG_S) : 0;
  }

  /** As in the vector route. */
  joins() {
    this.toNext();
    return this.take();
  }

  /** "It lies there, and the supply is off." @param {number} t */
  placed(t) {
    const p = this.place;
    if (this.stage !== "place" || !p) return [];
    this.line({ type: "drive", t, state: "off" });
    this.emit({ do: "drive", state: "off" });
    this.line({ type: "hold", t: after(t), at: p.at, shift_mm: p.shift_mm });
    this.named = p.at;
    this.hold = { at: p.at, side: p.side, shift_mm: p.shift_mm, across_uT: p.across_uT, t: after(t), usedAtFirst: this.coil(p.at)?.used ?? 0, off_deg: null, turned: [] };
    this.run = [];
    this.stage = "off";
    return this.take();
  }

  /** @param {number} t @param {number} [amps] read off the supply */
  supplyOn(t, amps) {
    if (this.stage !== "on") return [];
    if (this.set_amps === null && this.advice) this.set = /** @type {any} */ (this.advice);
    this.amps = amps && amps > 0 ? amps : (this.advice?.amps ?? this.planned_amps);
    this.line({ type: "drive", t, state: "on", ...(amps && amps > 0 ? { amps } : {}) });
    this.emit({ do: "drive", state: "on" });
    this.run = [];
    this.stage = "counting";
    return this.take();
  }

  /** @param {number} t @param {{deg: number, turned_deg?: number, accuracy_deg?: number}} h */
  heading(t, h) {
    this.guess_deg ??= h.deg;
    if (this.stage === "waiting" && this.waitsNoMore(t)) this.toNext();
    if (this.stage !== "off" && this.stage !== "counting") return this.take();
    /** @type {any} */
    const line = { type: "heading", t, deg: tenth(h.deg) };
    if (Number.isFinite(h.turned_deg)) line.turned_deg = tenth(h.turned_deg);
    if (Number.isFinite(h.accuracy_deg)) line.accuracy_deg = tenth(h.accuracy_deg);
    this.line(line);
    this.run.push({ t, deg: h.deg });
    if (Number.isFinite(h.turned_deg)) this.hold.turned.push(h.turned_deg);
    if (this.settled()) this.runEnds(t);
    return this.take();
  }

  settled() {
    const long = this.run[this.run.length - 1].t - this.run[0].t;
    if (long < LAG_S || this.run.length < LEAST_HEADINGS) return false;
    const last = this.run.filter((r) => r.t > this.run[this.run.length - 1].t - 1);
    const spread = Math.max(...last.map((r) => Math.abs(wrap180(r.deg - last[0].deg))));
    return spread <= SETTLED_DEG || long >= AT_MOST_S;
  }

  runEnds(t) {
    const deg = this.run[this.run.length - 1].deg;
    if (this.stage === "off") {
      this.hold.off_deg = deg;
      const first = this.rest_deg === null;
      this.rest_deg ??= deg;
      if (first && this.isElsewhere()) {
        const { at } = this.hold;
        this.abandon(t);
        this.emit({ do: "elsewhere", at });
      } else this.stage = "on";
      return;
    }
    const { at, side, t: began, usedAtFirst, off_deg, turned } = this.hold;
    this.line({ type: "lift", t: after(t) });
    this.hold = null;
    this.chosen = null;
    this.usedAtFirst = usedAtFirst;
    this.takeIn({ at, side, t: began }, t);
    const byHand = turned.length > 1 ? turned[turned.length - 1] - turned[0] : 0;
    if (Math.abs(byHand) > MOVED_DEG) this.emit({ do: "turned", deg: byHand });
    else {
      const turn_deg = wrap180(deg - off_deg - byHand);
      const s = strengthOf(turn_deg, this.amps);
      this.weak = s.tells === "weak" ? [...this.weak, { at, still: Math.abs(turn_deg) < STILL_DEG }] : [];
      if (s.tells !== "weak") this.turnedOnce = true;
      // What is dead turns nothing at any current: a coil alone raises none, nor does a string.
      const again = this.weak.length > 1;
      const others = again && this.weak.every((w) => w.still) && !mayBeSupply(this.plan, this.weak.map((w) => w.at), this.turnedOnce);
      const sets = s.tells === "strong" || (again && !others);
      if (s.tells !== "well") this.emit({ do: "strength", at, tells: s.tells, turn_deg, amps: sets ? s.amps : null, others });
      if (sets) {
        this.set_amps = s.amps;
        this.turnedOnce = false;
      }
    }
    this.toNext();
  }

  /** Whether another place would turn the compass much more than where the phone lies. */
  isElsewhere() {
    const { at, shift_mm, side } = this.hold;
    if (side !== 1 || this.rest_deg === null) return false;
    const c = this.plan.coils.find((k) => k.id === at);
    return shareOfBest(shift_mm, c, this.windingOf(c), this.rest_deg, this.beside[at]) < ENOUGH;
  }

  /** @param {string} id */
  pick(id) {
    if (this.hold || !this.coils.includes(id)) return [];
    this.chosen = this.named = id;
    this.broke = null;
    this.fruitless = false;
    this.stage = "place";
    return this.take();
  }

  /** Takes the last hold back, or the one in progress. @param {number} t */
  undo(t) {
    if (this.hold) {
      this.abandon(t);
      return this.take();
    }
    const last = this.takeBack();
    if (!last) return [];
    this.chosen = this.named = last.at;
    this.stage = "place";
    return this.take();
  }

  /** @param {number} t */
  gap(t) {
    if (this.hold) this.gapped(t);
    return this.take();
  }

  gapped(t) {
    const at = this.hold.at;
    this.abandon(t);
    this.emit({ do: "broken", at, why: "gap" });
  }

  abandon(t) {
    this.line({ type: "lift", t: Math.max(t, after(this.hold.t)) });
    this.emit({ do: "undo", at: this.hold.at, t: this.hold.t });
    this.chosen = this.named = this.hold.at;
    this.broke = { at: this.hold.at, used: this.hold.usedAtFirst };
    this.hold = null;
    this.stage = "place";
  }

  /** @param {any} v */
  setVerdict(v) {
    if (this.hears(v)) {
      if (this.news) this.heedAsk(this.wanted === v.next?.at ? `${this.timesRead(this.wanted) % 2}` : null); // the one side, or the other
      this.news = false;
    }
    if (this.stage === "waiting" || (this.stage === "place" && !this.wanted)) this.toNext();
    return this.take();
  }

  toNext() {
    this.named = this.wanted;
    if (this.target) this.stage = "place";
    else this.stage = this.awaiting ? "waiting" : "result";
  }

  showResult() {
    if (!this.hold) this.stage = "result";
    return this.take();
  }

  goOn() {
    if (this.stage !== "result") return [];
    this.fruitless = false;
    this.asks.made.clear();
    if (!this.wanted) this.chosen = this.coils[0];
    this.named = this.wanted;
    this.stage = "place";
    return this.take();
  }

  save() {
    return { done: this.done, chosen: this.chosen, broke: this.broke, rest_deg: this.rest_deg, set_amps: this.set_amps, set: this.set, fromEnd: this.fromEnd, hold: this.hold && { at: this.hold.at, t: this.hold.t, used: this.hold.usedAtFirst } };
  }

  /** As in the vector route. @param {ReturnType<HeadingFlow["save"]>} kept @param {number} t */
  restore(kept, t) {
    this.done = kept.done;
    this.chosen = kept.chosen;
    this.broke = kept.broke ?? null;
    this.rest_deg = kept.rest_deg;
    this.set_amps = kept.set_amps ?? null;
    this.set = kept.set ?? null;
    this.fromEnd = kept.fromEnd ?? false;
    if (kept.hold) {
      this.hold = { ...kept.hold, usedAtFirst: kept.hold.used };
      this.abandon(t);
    }
    if (this.brokeIsRead()) this.chosen = null;
    else if (kept.hold) this.emit({ do: "broken", at: kept.hold.at, why: "gap" });
    this.toNext();
    return this.take();
  }
}

const tenth = (x) => Math.round(x * 10) / 10;
