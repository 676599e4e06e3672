// What a page needs to go on after a reload: which route of which check was under
// way, its clock, and how far it was.

const KEY = "polewise session";

/** @typedef {{check: string, source: string, route: "vector"|"heading"|"hand", began_ms: number, kept: any}} Session */

const LONGEST_MS = 12 * 3600e3;

/** @param {Storage | null} storage @param {Session} session */
export function saveSession(storage, session) {
  try {
    storage?.setItem(KEY, JSON.stringify(session));
  } catch {
    // Full: a reload then begins anew, and nothing that was read is lost.
  }
}

/** @param {Storage | null} storage */
export function dropSession(storage) {
  storage?.removeItem(KEY);
}

/**
 * The session before the reload, if it belongs to this check and source.
 * @param {Storage | null} storage @param {string} check @param {string} source
 * @returns {Session | null}
 */
export function keptSession(storage, check, source) {
  try {
    const s = JSON.parse(storage?.getItem(KEY) || "null");
    const age_ms = performance.timeOrigin + performance.now() - s.began_ms;
    return s.check === check && s.source === source && age_ms > 0 && age_ms < LONGEST_MS ? s : null;
  } catch {
    return null;
  }
}
