// What was typed and is not stored by the program yet, kept in the browser so
// that a reload loses nothing: by check, of the latest few checks.

const KEY = "polewise-record-typed";
const MOST = 8;

/** @typedef {{check: string, fields: Record<string, string>}} Typed */

/** @returns {Typed[]} the latest first */
function all() {
  try {
    const list = JSON.parse(localStorage.getItem(KEY) || "[]");
    return Array.isArray(list) ? list.filter((t) => typeof t?.check === "string" && t.fields && typeof t.fields === "object") : [];
  } catch {
    return [];
  }
}

/** What was typed for a check, by field. @param {string} check @returns {Record<string, string>} */
export function typedFor(check) {
  return all().find((t) => t.check === check)?.fields || {};
}

/** Keeps fields beside those kept before; undefined drops one. @param {string} check @param {Record<string, string | undefined>} fields */
export function keepTyped(check, fields) {
  const kept = Object.entries({ ...typedFor(check), ...fields }).filter(([, v]) => typeof v === "string");
  const others = all().filter((t) => t.check !== check);
  try {
    localStorage.setItem(KEY, JSON.stringify(kept.length > 0 ? [{ check, fields: Object.fromEntries(kept) }, ...others].slice(0, MOST) : others));
  } catch {
    // full, or forbidden: what is typed stands in the page all the same
  }
}

/** @param {string} check */
export function dropTyped(check) {
  keepTyped(check, Object.fromEntries(Object.keys(typedFor(check)).map((k) => [k, undefined])));
}
