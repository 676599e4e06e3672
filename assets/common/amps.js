// Whether amps that somebody typed can be what the supply shows. Pure.

import { list } from "./names.js";

const NEAR = 0.05; // of what is expected
const MOST_OPEN = 4; // strings named
const FAR = 2; // times what is expected, or that part of it
const DISPLAY = 1.05; // a display may say this much more than flows

/**
 * Asks about amps that are above the plan's limit or far from what is expected; empty
 * where they are neither.
 * @param {number} amps
 * @param {{amps?: number, asked?: number, strings?: {id: string, amps: number}[], supply?: {limit_amps?: number, drive?: string, duty?: number}}} o
 *   amps: as planned, and of each string; asked: those the page asked to set in their place
 */
export function ampsDoubt(amps, o) {
  const expected = o.asked || o.amps || 0;
  const limit = o.supply?.limit_amps || 0;
  // Of pulses some displays show the mean.
  const least = expected * (o.supply?.drive === "pulsed" && !o.asked ? o.supply.duty || 0.5 : 1);
  const over = limit > 0 && amps > limit * DISPLAY;
  if (!over && (!(expected > 0) || (amps <= expected * FAR && amps > (least / FAR) * DISPLAY))) return "";
  if (!(expected > 0)) return `${amps} A? The plan allows ${three(limit)} A.`;
  const gives = o.asked ? `About ${three(expected)} A was asked for` : `The plan gives ${three(expected)} A`;
  return `${amps} A? ${gives}${over ? `, ${three(limit)} A at most` : ""}.${o.asked ? "" : openWords(amps, expected, o.strings || [])}`;
}

/**
 * Which string may be open where all are side by side and that much is missing.
 * @param {number} amps @param {number} expected @param {{id: string, amps: number}[]} strings
 */
function openWords(amps, expected, strings) {
  const all = strings.reduce((sum, s) => sum + s.amps, 0);
  const open = strings.length > 1 && Math.abs(all - expected) < NEAR * expected ? strings.filter((s) => Math.abs(expected - s.amps - amps) < NEAR * expected) : [];
  if (open.length === 0) return "";
  if (open.length > MOST_OPEN) return " So much is missing where one string is open.";
  return ` So much is missing where ${open.length > 1 ? "one of the strings" : "string"} ${list(open.map((s) => s.id))} is open.`;
}

const three = (x) => String(Number(x.toPrecision(3)));
