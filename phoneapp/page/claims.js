// What to say when a verdict comes in: about the coil just read, and about coils
// whose claim has changed with it. Pure.
import { wordOf } from "../common/states.js";

const GRAVEST = ["reversed", "dead", "weak", "undecided", "as-planned"];

/** @typedef {{id: string, state: string, used: number}} Coil */
/**
 * @typedef {object} News
 * @property {{id: string, state: string} | null} read the coil just read, as it stands
 * @property {{id: string, state: string}[]} changed others whose claim is new or has been taken back, the gravest first
 * @property {string} say in one or two sentences
 * @property {import("./buzz.js").Cue | null} cue
 */

/**
 * @param {Coil[]} before coils of the verdict told last
 * @param {Coil[]} now coils of the verdict that came
 * @param {string | null} justRead a coil counted and not yet told of
 * @returns {News}
 */
export function newsOf(before, now, justRead) {
  const was = new Map(before.map((c) => [c.id, c.state]));
  const just = now.find((c) => c.id === justRead && c.used > 0);
  const read = just ? { id: just.id, state: just.state } : null;
  const changed = now
    .filter((c) => c.id !== just?.id && c.state !== (was.get(c.id) || "undecided"))
    .map((c) => ({ id: c.id, state: c.state }))
    .sort((a, b) => GRAVEST.indexOf(a.state) - GRAVEST.indexOf(b.state));
  const parts = [];
  if (read) parts.push(read.state === "undecided" ? `${read.id} counted, undecided so far.` : `${read.id} ${wordOf(read.state)}.`);
  const right = changed.filter((c) => c.state === "as-planned");
  for (const c of changed) {
    if (c.state === "as-planned") continue;
    parts.push(c.state === "undecided" ? `${c.id} is undecided again.` : `${c.id} ${wordOf(c.state)}.`);
  }
  if (right.length > 0) parts.push(`${list(right.map((c) => c.id))} as planned.`);
  return { read, changed, say: parts.join(" "), cue: cueOf(read, changed) };
}

/** The gravest of what is new. @returns {import("./buzz.js").Cue | null} */
function cueOf(read, changed) {
  const states = [...(read ? [read] : []), ...changed].map((c) => c.state);
  for (const grave of /** @type {const} */ (["reversed", "dead", "weak"])) if (states.includes(grave)) return grave;
  if (read) return /** @type {any} */ (read.state);
  return states.includes("as-planned") ? "as-planned" : states.length > 0 ? "undecided" : null;
}

/** @param {string[]} ids */
export function list(ids) {
  if (ids.length < 2) return ids.join("");
  return `${ids.slice(0, -1).join(", ")} and ${ids[ids.length - 1]}`;
}
