// The verdict on the reading counted last. On a slow bench one on the readings before
// it may come in between: what that asks for has been done already. Pure.

/** So long it is waited for; a reading may also turn out to be of no use. */
export const AWAIT_S = 15;

/**
 * Whether a verdict was made without the reading of a coil that was counted last.
 * @param {any} verdict @param {string | undefined} at @param {number} usedBefore readings of it that counted before
 */
export function lacks(verdict, at, usedBefore) {
  const coil = verdict?.coils?.find((c) => c.id === at);
  return !!coil && coil.used <= usedBefore;
}
