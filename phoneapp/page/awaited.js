// The verdict on the reading counted last. On a slow bench one on the readings before
// it may come in between: what that asks for has been done already. Pure.

/** So long it is waited for; a reading may also turn out to be of no use. */
export const AWAIT_S = 15;

/** @typedef {{used: number, read: string | null}} Known read: what was read of it, where a reading may take the place of another */

/**
 * What a verdict knows of a coil before a reading of it is counted.
 * @param {any} coil as the verdict has it @param {boolean} carried it was read before a mend only: a new reading takes the place of that, and no more of them count than before
 * @returns {Known}
 */
export function knownOf(coil, carried) {
  return { used: coil?.used ?? 0, read: carried ? readOf(coil) : null };
}

/**
 * Whether a verdict was made without the reading of a coil that was counted last.
 * @param {any} verdict @param {string | undefined} at @param {Known} before
 */
export function lacks(verdict, at, before) {
  const coil = verdict?.coils?.find((c) => c.id === at);
  return !!coil && coil.used <= before.used && (before.read === null || readOf(coil) === before.read);
}

/** No two readings come to the same. */
const readOf = (coil) => JSON.stringify(coil?.measured_uT ?? coil?.p ?? null);
