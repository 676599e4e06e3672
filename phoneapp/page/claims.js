// What to say when a verdict comes in: about the coil just read, and about coils
// whose claim has changed with it. Pure.
import { list } from "../common/names.js";
import { percent, wordOf } from "../common/states.js";

const GRAVEST = ["reversed", "dead", "weak", "undecided", "as-planned"];

const LIKELY = 0.8; // so likely a state is told before it is claimed

/** @typedef {{id: string, state: string, used: number, p?: Record<string, number>}} Coil */
/**
 * @typedef {object} News
 * @property {{id: string, state: string, so_far?: string} | null} read the coil just read, as it stands; so_far: what it likely is, where that is not sure yet
 * @property {{id: string, state: string, first?: boolean}[]} changed others whose claim is new or has been taken back, the gravest first; of a row just drawn along those without a claim, too (first)
 * @property {string} say in one or two sentences
 * @property {import("./buzz.js").Cue | null} cue
 */

/**
 * @param {Coil[]} before coils of the verdict told last
 * @param {Coil[]} now coils of the verdict that came
 * @param {string | null} justRead a coil counted and not yet told of
 * @param {string[]} [row] coils of a row drawn along and not yet told of
 * @returns {News}
 */
export function newsOf(before, now, justRead, row = []) {
  const was = new Map(before.map((c) => [c.id, c.state]));
  const just = now.find((c) => c.id === justRead && c.used > 0);
  const likely = just?.state === "undecided" ? likeliest(just) : null;
  const read = just ? { id: just.id, state: just.state, ...(likely ? { so_far: `likely ${wordOf(likely.state)}, ${percent(likely.p)}` } : {}) } : null;
  const changed = now
    .map((c) => ({ id: c.id, state: c.state, ...(row.includes(c.id) && c.used > 0 && c.state === "undecided" && c.state === (was.get(c.id) || "undecided") ? { first: true } : {}) }))
    .filter((c) => c.id !== just?.id && ("first" in c || c.state !== (was.get(c.id) || "undecided")))
    .sort((a, b) => GRAVEST.indexOf(a.state) - GRAVEST.indexOf(b.state));
  const parts = [];
  if (read) parts.push(read.state === "undecided" ? `${read.id} counted, ${likely ? `likely ${wordOf(likely.state)}` : "undecided"} so far.` : `${read.id} ${wordOf(read.state)}.`);
  const right = changed.filter((c) => c.state === "as-planned");
  for (const c of changed) {
    if (c.state === "as-planned") continue;
    if (c.state !== "undecided") parts.push(`${c.id} ${wordOf(c.state)}.`);
    else if (!("first" in c)) parts.push(`${c.id} is undecided again.`);
  }
  const open = changed.filter((c) => "first" in c);
  if (open.length > 0) parts.push(`${list(open.map((c) => c.id))} undecided so far.`);
  if (right.length > 0) parts.push(`${list(right.map((c) => c.id))} as planned.`);
  return { read, changed, say: parts.join(" "), cue: cueOf(read, changed) };
}

/** What a coil without a claim likely is. @param {Coil} c */
function likeliest(c) {
  const [state, p] = Object.entries(c.p || {}).reduce((most, one) => (one[1] > most[1] ? one : most), ["", 0]);
  return p >= LIKELY ? { state, p } : null;
}

/** The gravest of what is new. @returns {import("./buzz.js").Cue | null} */
function cueOf(read, changed) {
  const states = [...(read ? [read] : []), ...changed].map((c) => c.state);
  for (const grave of /** @type {const} */ (["reversed", "dead", "weak"])) if (states.includes(grave)) return grave;
  if (read) return /** @type {any} */ (read.state);
  return states.includes("as-planned") ? "as-planned" : states.length > 0 ? "undecided" : null;
}
