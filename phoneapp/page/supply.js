// How the supply is to be set, in words. Pure.

/** @param {{volts: number, amps: number, limit_amps: number, drive: string, hz?: number, duty?: number}} s */
export function supplyWords(s) {
  const set = s.amps > 0 ? `${round(s.amps)} A` : `${round(s.volts)} V`;
  const limit = s.limit_amps > 0 && !(s.amps > 0) ? `, limited to ${round(s.limit_amps)} A` : "";
  const pulse = s.drive === "pulsed" ? `, pulsed ${(s.hz || 1) === 1 ? "once" : `${round(s.hz)} times`} a second, on for ${Math.round((s.duty || 0.5) * 100)} % of the time` : "";
  return set + limit + pulse;
}

/** @param {number} x */
export function round(x) {
  return String(Number(x.toPrecision(3)));
}
