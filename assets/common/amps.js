// Whether amps that somebody typed can be what the supply shows. Pure.

const FAR = 2; // times what is expected, or that part of it
const DISPLAY = 1.05; // a display may say this much more than flows

/**
 * Asks about amps that are above the plan's limit or far from what is expected; empty
 * where they are neither.
 * @param {number} amps
 * @param {{amps?: number, asked?: number, supply?: {limit_amps?: number, drive?: string, duty?: number}}} o
 *   amps: as planned; asked: those the page asked to set in their place
 */
export function ampsDoubt(amps, o) {
  const expected = o.asked || o.amps || 0;
  const limit = o.supply?.limit_amps || 0;
  // Of pulses some displays show the mean.
  const least = expected * (o.supply?.drive === "pulsed" && !o.asked ? o.supply.duty || 0.5 : 1);
  const over = limit > 0 && amps > limit * DISPLAY;
  if (!over && (!(expected > 0) || (amps <= expected * FAR && amps >= least / FAR))) return "";
  if (!(expected > 0)) return `${amps} A? The plan allows ${three(limit)} A.`;
  const gives = o.asked ? `About ${three(expected)} A was asked for` : `The plan gives ${three(expected)} A`;
  return `${amps} A? ${gives}${over ? `, ${three(limit)} A at most` : ""}.`;
}

const three = (x) => String(Number(x.toPrecision(3)));
