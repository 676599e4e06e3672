// Drawing the phone along rows, beside the holds of flow.js: which row is next, and the
// stroke in progress. Pure, as flow.js is, which it is a part of; times are the
// capture's, in seconds.
//
// A stroke counts when it was no faster than readings can follow. One that did not
// count is ended and taken back, and drawn again.

import { distinct } from "./hold-detector.js";

const ADVISED_MM_S = 65; // ten readings a second are one each 6 or 7 mm
const SET_OUT_S = 1; // to begin and to end
const MOST_MM_S = 200;
const LEAST_READINGS = 2; // of each coil, that differ
const SLIP_S = 0.7; // a second tap so soon was none
const LONGEST = 5; // times as long as advised, and
const LONGEST_S = 30; // so much more: nobody draws it any more
const SOME_UT = 8; // a stroke along which readings change by less met no coil that gives a field

/** @typedef {import("./hold-detector.js").Sample} Sample */
/** Why a stroke did not count. @typedef {"fast"|"few"|"lifted"|"gap"|"long"} Spoilt */

export class RowStrokes {
  /** @param {import("./rows.js").Row[]} rows @param {boolean} afterMend every row is drawn once, also where all its coils were read before */
  constructor(rows, afterMend) {
    this.rows = rows;
    this.afterMend = afterMend;
    /** The person draws along rows. */
    this.on = false;
    /** The person would rather not: a row asked for is held coil by coil. */
    this.declined = false;
    /** The row to be drawn, or being drawn. @type {import("./rows.js").Row | null} */
    this.row = null;
    /** The stroke in progress. @type {{t: number, samples: Sample[]} | null} */
    this.stroke = null;
  }

  /** @param {boolean} on */
  take(on) {
    this.on = on && this.rows.length > 0;
    this.declined = !on;
  }

  /**
   * The row to be drawn next, if any.
   * @param {{done: {along?: string[]}[], unread: string[], asked: {at: string, asked: {route?: string}} | null}} o
   *   asked: what the verdict asks for, once all is read
   */
  next({ done, unread, asked }) {
    if (asked?.asked.route === "pass" && !this.declined) return this.rows.find((r) => r.coils.includes(asked.at)) || null;
    if (!this.on) return null;
    const drawn = (r) => done.some((d) => d.along?.join() === r.coils.join());
    return this.rows.find((r) => !drawn(r) && (this.afterMend || r.coils.some((id) => unread.includes(id)))) || null;
  }

  /** So long a stroke takes. */
  get advised_s() {
    return this.row ? Math.round(this.row.length_mm / ADVISED_MM_S + SET_OUT_S) : 0;
  }

  /** @param {number} t */
  begin(t) {
    this.stroke = { t, samples: [] };
  }

  /** A reading. Says whether the stroke has taken so long that nobody can be drawing. @param {Sample} s */
  sample(s) {
    this.stroke?.samples.push(s);
    return s.t - (this.stroke?.t ?? s.t) > LONGEST * this.advised_s + LONGEST_S;
  }

  /** Since it began. */
  get elapsed_s() {
    const { stroke } = this;
    return stroke?.samples.length ? Math.max(0, stroke.samples[stroke.samples.length - 1].t - stroke.t) : 0;
  }

  /** Share of the time advised. */
  get progress() {
    return this.advised_s > 0 ? Math.min(1, this.elapsed_s / this.advised_s) : 0;
  }

  /** Whether a tap so soon is the first one's slip. @param {number} t */
  slipped(t) {
    return !!this.stroke && t - this.stroke.t < SLIP_S;
  }

  /**
   * Whether the stroke that ends now cannot count.
   * @param {number} t
   * @returns {Spoilt | null}
   */
  spoilt(t) {
    if (!this.row || !this.stroke) return null;
    if (this.row.length_mm / (t - this.stroke.t) > MOST_MM_S) return "fast";
    return distinct(this.stroke.samples) < LEAST_READINGS * this.row.coils.length ? "few" : null;
  }

  /** Whether readings changed along the row as little as they do with the supply off. */
  get quiet() {
    const us = this.stroke?.samples.map((s) => s.u) || [];
    return [0, 1, 2].every((k) => Math.max(...us.map((u) => u[k])) - Math.min(...us.map((u) => u[k])) < SOME_UT);
  }
}

/**
 * Why a stroke did not count, in words.
 * @param {string} name of the row @param {string} first its first coil @param {Spoilt} why
 */
export function spoiltWords(name, first, why) {
  const again = `${name} is not counted. Lay the phone on ${first} and draw it once more`;
  switch (why) {
    case "fast":
      return `Far too fast: ${again}, as slowly as it says.`;
    case "few":
      return `Too few readings came: ${again}, slower.`;
    case "lifted":
      return `${again}.`;
    case "long":
      return `That took very long: ${again}.`;
    default:
      return `Readings stopped: ${again}, with this page in front.`;
  }
}

/** A row along which there was next to no field. @param {string} name */
export function quietWords(name) {
  return `Hardly any field from ${name}. If the supply was off, undo it, switch on and draw it again.`;
}
