// Plans being edited, kept in the browser so that a reload loses nothing: each
// with the text it began from, and with what stands typed in a field and is not
// in the text yet.

const KEY = "polewise-plan-drafts";
const MOST = 4;

/** @typedef {{field: string, text: string, picked: string[], detailed: string | null}} Typed the field by its id, and what it belonged to */
/** @typedef {{id: string, base: string, text: string, typed: Typed | null, at: number, name: string}} Draft */

/** @returns {Draft[]} the latest first */
export function drafts() {
  try {
    const list = JSON.parse(localStorage.getItem(KEY) || "[]");
    return Array.isArray(list) ? list.filter((d) => typeof d?.text === "string" && typeof d?.base === "string") : [];
  } catch {
    return [];
  }
}

/** Keeps a draft, or drops it where nothing differs. @param {Draft} d @returns {boolean} whether it could be kept */
export function keep(d) {
  const others = drafts().filter((k) => k.id !== d.id);
  return write(d.text === d.base && !d.typed ? others : [d, ...others].slice(0, MOST));
}

/** @param {string} id */
export function drop(id) {
  write(drafts().filter((k) => k.id !== id));
}

function write(list) {
  try {
    localStorage.setItem(KEY, JSON.stringify(list));
    return true;
  } catch {
    return false; // full, or forbidden
  }
}
