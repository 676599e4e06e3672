// What flow.js and heading-flow.js share: the readings that count, and the verdict on
// the last of them. On a slow bench one on the readings before it may come in between:
// what that asks for has been done already. Pure.
import { Effects } from "./effects.js";

const AWAIT_S = 15; // so long it is waited for; a reading may also turn out to be of no use
const MOST_ALIKE = 2; // readings of one kind that tell nothing new, before no more are asked for
const TELLS = Math.log(1.5); // the odds of a state moved by more: that told something
const LEAST_CHANCE = 0.001; // smaller ones come and go

/** @typedef {{used: number, read: string | null}} Known of a coil; read: what was read of it, where a reading may take the place of another */
/** @typedef {{at: string, t: number, along?: string[], quiet?: boolean, same?: boolean, rested?: boolean, side?: 1|-1}} Read a hold or a stroke; along: a stroke's coils; quiet: there was hardly any field; same: it read just as the one before; rested: the supply was off in it first; side: of the coil, beside it */

/** @template {{do: string}} E @extends {Effects<E>} */
export class ReadingFlow extends Effects {
  /** @param {{coils: string[], carried?: string[], toss?: () => boolean}} o coils: in the plan's order; carried: read before a mend only; toss: of a coin, by which two phones that go the same way part */
  constructor({ coils, carried = [], toss = () => Math.random() < 0.5 }) {
    super();
    this.coils = coils;
    this.carried = carried;
    this.toss = toss;
    /** @type {string} */
    this.stage = "";
    /** What counts and was not taken back, in order. @type {Read[]} */
    this.done = [];
    /** The coil picked by the person. @type {string | null} */
    this.chosen = null;
    /** The hold that broke off last: its coil is chosen then. used: readings of it that counted before. @type {{at: string, used?: number} | null} */
    this.broke = null;
    /** Another phone goes by the plan's order: this one goes from its end. */
    this.fromEnd = false;
    /** @type {any} the last verdict */
    this.verdict = null;
    /** The verdict on what was counted last has not come. */
    this.awaiting = false;
    /** Something was counted, and no verdict on it has been looked at. */
    this.news = false;
    /** What was known of its coil before it. @type {Known} */
    this.knownBefore = { used: 0, read: null };
    /** Readings of its coil that counted when it began. */
    this.usedAtFirst = 0;
    /** When it was counted, or a connection was there last. */
    this.countedAt = 0;
    /**
     * What was asked for since any claim changed: how often while it told nothing new,
     * and the chances of its coil before. @type {{claims: string, made: Map<string, {times: number, p: Record<string, number>}>}}
     */
    this.asks = { claims: "", made: new Map() };
    /** The same is asked for again and again: no more by itself. */
    this.fruitless = false;
  }

  /** Whether the coil to be read again since its hold broke off was read by another phone. */
  brokeIsRead() {
    const { broke } = this;
    return !!broke && broke.at === this.chosen && broke.used !== undefined && this.coil(broke.at)?.used > broke.used;
  }

  /** A coil as the verdict has it. @param {string | undefined} id */
  coil(id) {
    return this.verdict?.coils?.find((c) => c.id === id);
  }

  timesRead(id) {
    return this.done.filter((d) => d.at === id || d.along?.includes(id)).length;
  }

  /** Coils that nobody has read yet, this phone or another. */
  get unread() {
    return this.coils.filter((id) => this.timesRead(id) === 0 && !(this.coil(id)?.used > 0));
  }

  /** Some coil was read before the mend only, as far as this page knows. */
  get unreadSince() {
    return this.carried.some((id) => this.timesRead(id) === 0);
  }

  /** A hold or a stroke counts, and the verdict on it is waited for. @param {Read} read @param {number} t now */
  takeIn(read, t) {
    const { at, along } = read;
    this.done.push(read);
    this.awaiting = this.news = true;
    const coil = this.coil(at);
    // Where a new reading takes the place of one before a mend no more of them count than before.
    this.knownBefore = { used: coil?.used ?? 0, read: this.carried.includes(at) ? readOf(coil) : null };
    this.countedAt = t;
    this.emit(/** @type {any} */ ({ do: "counted", at, ...(along ? { along } : {}) }));
  }

  /** What was counted last does not count after all. */
  takeBack() {
    const last = this.done.pop();
    if (!last) return undefined;
    this.awaiting = false;
    this.usedAtFirst = Infinity; // that of what was counted before it is not known any more
    this.emit(/** @type {any} */ ({ do: "undo", at: last.at, t: last.t }));
    return last;
  }

  /** A verdict has come: whether it knows of what was counted last. @param {any} v */
  hears(v) {
    this.verdict = v;
    const { at } = this.done[this.done.length - 1] || {};
    const coil = this.coil(at);
    const { used, read } = this.knownBefore;
    this.awaiting = this.awaiting && !!coil && coil.used <= used && (read === null || readOf(coil) === read);
    // Another phone read the same coil at the same time: it goes the same way, and sees this one do so.
    if (this.news && !this.awaiting && this.done.filter((d) => d.at === at).length === 1 && coil?.used > this.usedAtFirst + 1 && this.toss()) this.fromEnd = !this.fromEnd;
    return !this.awaiting;
  }

  /**
   * Counts how often one reading was asked for while it told nothing new.
   * @param {string | null} way how it is to be read; null: not what the page asks for now
   */
  heedAsk(way) {
    const n = this.verdict?.next;
    const claims = JSON.stringify([this.verdict?.outcome, ...(this.verdict?.coils || []).map((c) => c.state)]);
    if (claims !== this.asks.claims || this.unread.length > 0) this.asks = { claims, made: new Map() };
    this.fruitless = false;
    if (!n || n.route === "ohms" || this.unread.length > 0 || this.chosen || way === null) return;
    const ask = `${n.at} ${way}`;
    const p = this.coil(n.at)?.p || {};
    const before = this.asks.made.get(ask);
    const made = before && !telling(before.p, p) ? { times: before.times + 1, p: before.p } : { times: 1, p };
    this.asks.made.set(ask, made);
    if (made.times <= MOST_ALIKE) return;
    this.fruitless = true;
    this.emit(/** @type {any} */ ({ do: "fruitless", at: n.at }));
  }

  /** Whether the verdict was waited for long enough. @param {number} t */
  waitsNoMore(t) {
    if (t - this.countedAt <= AWAIT_S) return false;
    this.awaiting = false;
    return true;
  }

  /** There is no connection: the verdict is waited for from when it is back. @param {number} t */
  cutOff(t) {
    if (this.stage === "waiting") this.countedAt = t;
  }
}

/** No two readings come to the same. */
const readOf = (coil) => JSON.stringify(coil?.measured_uT ?? coil?.p ?? null);

/** Whether chances moved enough to matter. @param {Record<string, number>} before @param {Record<string, number>} now */
function telling(before, now) {
  const odds = (p) => Math.log(p / (1 - Math.min(p, 1 - 1e-9)));
  return Object.keys(now).some((k) => {
    const [a, b] = [before[k] || 0, now[k]].map((p) => Math.max(p, LEAST_CHANCE));
    return Math.abs(odds(a) - odds(b)) > TELLS;
  });
}

/** A moment after t: lines are put in order by their times. @param {number} t */
export function after(t) {
  return Math.round((t + 0.001) * 1000) / 1000;
}
