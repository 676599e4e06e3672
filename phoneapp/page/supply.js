// How the supply is to be set, in words, and when to doubt it. Pure.

/** @param {{volts: number, amps: number, limit_amps: number, drive: string, hz?: number, duty?: number}} s */
export function supplyWords(s) {
  const set = s.amps > 0 ? `${round(s.amps)} A` : `${round(s.volts)} V`;
  const limit = s.limit_amps > 0 && !(s.amps > 0) ? `, limited to ${round(s.limit_amps)} A` : "";
  const pulse = s.drive === "pulsed" ? `, pulsed ${(s.hz || 1) === 1 ? "once" : `${round(s.hz)} times`} a second, on for ${Math.round((s.duty || 0.5) * 100)} % of the time` : "";
  return set + limit + pulse;
}

/**
 * Whether it may be the supply that coils have no field. Not where all of them are of
 * one string and another coil has one: that is what a dead string looks like.
 * @param {{strings: {id: string, coils: string[]}[]}} plan @param {string[]} quiet coils without a field
 * @param {boolean} another a coil that is none of them has a field
 */
export function mayBeSupply(plan, quiet, another) {
  return !another || plan.strings.length === 1 || plan.strings.filter((s) => s.coils.some((id) => quiet.includes(id))).length > 1;
}

/** @param {number} x */
export function round(x) {
  return String(Number(x.toPrecision(3)));
}
