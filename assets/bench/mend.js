// A mend in words: its steps, what it does to readings taken before it, and when a
// cause is known well enough for anybody to pick up a soldering iron. Pure.
import { list } from "../common/names.js";

const CAUSE_SURE = 0.99; // what a claim needs, a cause needs before its mend is asked for
const LIKELY = 0.02; // a cause is still worth a word
const NAMED = 4; // coils of a string that are named one by one

const readCoils = (state) => state.verdict.coils.filter((c) => c.used > 0);

/** Coils that are known by what was read before a mend only. @param {any} state @returns {string[]} */
export function readBefore(state) {
  if (!state.mended || !state.verdict) return [];
  return readCoils(state).map((c) => c.id).filter((id) => !state.mended.since.includes(id));
}

/** Coils that a fault turns or stops. @param {any} f @param {any} plan @returns {string[]} */
export function coilsOf(f, plan) {
  const under = (id, depth = 0) => {
    const g = (plan.groups || []).find((k) => k.id === id);
    return g && depth <= plan.groups.length ? g.of.flatMap((m) => under(m, depth + 1)) : stringOf(id);
  };
  const stringOf = (id) => plan.strings.find((s) => s.id === id)?.coils || [];
  switch (f.kind) {
    case "coil-reversed":
    case "coil-shorted":
    case "turns-shorted":
      return [f.id];
    case "string-reversed":
    case "string-open":
      return stringOf(f.id);
    case "coil-open":
      return plan.strings.find((s) => s.coils.includes(f.id))?.coils || [];
    case "group-reversed":
      return under(f.id);
    case "pad-reversed":
      return plan.coils.map((c) => c.id);
    default:
      return [];
  }
}

/** What of the pad a fault takes whole; empty where that is one coil. @param {any} f @param {any} plan */
function wholeOf(f, plan) {
  switch (f.kind) {
    case "string-reversed":
    case "string-open":
      return `string ${f.id}`;
    case "coil-open":
      return `string ${plan.strings.find((s) => s.coils.includes(f.id))?.id}`;
    case "group-reversed":
      return `group ${f.id}`;
    case "pad-reversed":
      return "pad";
    default:
      return "";
  }
}

/**
 * Whether a coil that was to be turned was read since and is still wrong: another may have
 * been turned in its place. @param {any} state
 */
function notTurned({ mended, plan, verdict }) {
  const wrong = (id) => !["as-planned", "undecided"].includes(verdict.coils.find((c) => c.id === id)?.state);
  return Boolean(mended) && turnedBy(mended.mend, plan).some((id) => mended.since.includes(id) && wrong(id));
}

/**
 * Whether the mend of the likeliest cause has to wait: something else is to be read, and
 * the cause is not sure, or takes in coils that nobody read; or another coil may have been
 * turned than was to be.
 * @param {any} state @param {boolean} asked whether a reading is asked for
 */
export function mendWaits(state, asked) {
  const v = state.verdict;
  const cause = v?.outcome === "fault" && v.causes?.[0];
  if (!cause || !asked) return false;
  if (notTurned(state) && readBefore(state).length > 0) return true;
  const read = new Set(readCoils(state).map((c) => c.id));
  // An ohmmeter tells of a string that carries nothing, whatever nobody read.
  const measured = (state.sign_off?.ohms || []).some((o) => o.counts && !o.agrees);
  return cause.p < CAUSE_SURE || cause.faults.some((f) => !(measured && /-(open|shorted)$/.test(f.kind)) && coilsOf(f, state.plan).some((id) => !read.has(id)));
}

/** Whether any coil is claimed as anything but planned. @param {any} state */
export function anyWrong(state) {
  return readCoils(state).some((c) => ["reversed", "dead", "weak"].includes(c.state));
}

/** What is known without any cause: the coils that are not as planned. @param {any} state */
export function knownWords(state) {
  const read = readCoils(state);
  const of = (is) => read.filter((c) => c.state === is).map((c) => c.id);
  const one = (ids, word) => (ids.length > 6 ? `${ids.length} coils are ${word}` : `${list(ids)} ${ids.length === 1 ? "is" : "are"} ${word}`);
  const parts = ["reversed", "dead", "weak"].filter((is) => of(is).length > 0).map((is) => one(of(is), is));
  return parts.length > 0 ? `${parts.join("; ")}.` : "What is wrong is not settled yet.";
}

/** What the next coil tells of the causes that are still likely. @param {any} state @param {string} at */
export function tellsApart(state, at) {
  const faults = (state.verdict.causes || []).filter((c) => c.p >= LIKELY).flatMap((c) => c.faults);
  const f = faults.find((k) => wholeOf(k, state.plan) && coilsOf(k, state.plan).includes(at));
  if (!f || readCoils(state).some((c) => c.id === at)) return "";
  const of = new Set(coilsOf(f, state.plan));
  const known = readCoils(state).filter((c) => of.has(c.id) && c.state !== "as-planned" && c.state !== "undecided");
  const part = known.length > 0 && known.length <= 6 ? ` or ${list(known.map((c) => c.id))} alone` : "";
  return ` It tells whether the whole ${wholeOf(f, state.plan)} is wrong${part}.`;
}

/** @param {any} m one step of a mend @param {any} plan @param {any[]} [faults] what it mends */
export function mendWords(m, plan, faults = []) {
  const kinds = Object.entries({ coil: plan.coils, string: plan.strings, group: plan.groups || [] });
  const kind = kinds.find(([, all]) => all.some((x) => x.id === m.id))?.[0];
  const what = `${kind} ${m.id}`;
  switch (m.do) {
    case "flip":
      return `Turn ${what} over, or swap its two leads`;
    case "swap-string":
      return `Swap the two ends of ${what}`;
    case "swap-pad":
      return "Swap the pad's two leads at its plug";
    case "rejoin":
      return kind === "group" ? `Swap the two ends of ${what}` : `Undo the joints of ${what} and join it as the plan has it`;
    case "remake-joint":
      if (kind === "string") return `Find the open place in ${what}: measure ${inTurn(plan.strings.find((s) => s.id === m.id).coils)} and the leads between; solder it again`;
      if (faults.some((f) => f.kind === "coil-shorted" && f.id === m.id)) return `Part the touching leads at ${what}, or replace the coil`;
      return `Solder the joints of ${what} again; if it stays open, replace the coil`;
    case "replace":
      return `Wind ${what} anew and replace it`;
    default:
      return `${m.do} ${m.id || ""}`;
  }
}

function inTurn(ids) {
  return ids.length > NAMED ? `${ids[0]} to ${ids.at(-1)} one by one` : list(ids);
}

/**
 * Why nothing read before a mend counts after it; empty where what was read over the
 * other coils goes on to count.
 * @param {any[]} mend @param {any} plan
 */
export function whyAnew(mend, plan) {
  for (const m of mend) {
    if (m.do === "remake-joint") return "a joint or a short was mended";
    if (m.do === "replace") return "a coil was replaced";
    if (m.do === "rejoin" && !(plan.groups || []).some((g) => g.id === m.id)) return "the wiring was joined otherwise";
  }
  return mend.length > 0 ? "" : "what was mended is not known";
}

/** Coils that a mend turned. @param {any[]} mend @param {any} plan @returns {string[]} */
export function turnedBy(mend, plan) {
  const kinds = { flip: "coil-reversed", "swap-string": "string-reversed", rejoin: "group-reversed", "swap-pad": "pad-reversed" };
  return [...new Set(mend.flatMap((m) => (kinds[m.do] ? coilsOf({ kind: kinds[m.do], id: m.id }, plan) : [])))];
}
