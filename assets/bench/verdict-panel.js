// The verdict in words: outcome, causes with their mends, the next reading.
import { asTyped, el } from "../common/dom.js";
import { list } from "../common/names.js";
import { percent, stateBadge } from "../common/states.js";
import { anyWrong, knownWords, mendWaits, mendWords, readBefore, tellsApart, turnedBy, whyAnew } from "./mend.js";
import { byNeedle } from "./coil-table.js";
import { mendDrawing } from "./mend-drawing.js";
import { ohmWords, when } from "./records/words.js";
import { whyPanel } from "./why-panel.js";

const OHMS_DISAGREE = ["undecided", "Facing as planned, ohms disagree"];

const OUTCOMES = {
  "as-planned": ["as-planned", "As planned"],
  fault: ["wrong", "Something is wrong"],
  undecided: ["undecided", "Not decided yet"],
};

/** Coils of the pad that something has been read of. @param {any} state */
export function readCoils(state) {
  return (state.verdict?.coils || []).filter((c) => c.used > 0);
}

/**
 * @param {HTMLElement} place @param {any} state
 * @param {{onrehearse: () => void, onneedle: () => void, onagain: () => void, onsign: () => void, onlook: (id: string) => void, claims: HTMLElement | null}} o
 */
export function showVerdict(place, state, o) {
  const v = state.verdict;
  const read = readCoils(state).length;
  const opened = ["why", "claims", "others", "if-that"].filter((name) => place.querySelector(`details.${name}[open]`));
  const parts = [el("h2", { id: "verdict-title", class: "kicker" }, "Verdict")];
  const held = (state.holds || []).filter((h) => !h.open && !h.thrown_out).length + (state.passes || []).filter((p) => !p.open && !p.thrown_out).length;
  if (!v && held > 0) {
    parts.push(el("p", { class: "outcome" }, stateBadge("undecided", "Being worked out")), el("p", {}, `${held} readings are stored; the verdict on them is on its way.`));
    place.replaceChildren(...parts);
    return;
  }
  // Ohms alone may tell a fault, and never which way a coil faces.
  const measured = state.sign_off?.ohms?.length > 0;
  if (state.mended && (!v || read === 0)) {
    place.replaceChildren(...parts, el("p", { class: "outcome" }, stateBadge("undecided", "After the mend")), el("p", {}, afterWords(state)), caution());
    return;
  }
  if (!v || (read === 0 && !measured)) {
    const serial = state.sign_off?.label?.serial;
    parts.push(
      el("p", { class: "outcome" }, stateBadge("undecided", "Nothing read yet")),
      ...(!state.check.rehearsal && serial ? [el("p", {}, "This is pad ", asTyped(serial), ". Once coils are read they are compared with what was signed of it.")] : []),
      el("p", {}, state.check.rehearsal ? "Press Begin on the made-up phone, then do as it says." : "Scan the code below with a phone and lay it on one coil after another. No phone at hand? A compass needle does, coil by coil. No pad either? Rehearse with made-up ones; it takes a minute."),
    );
    if (!state.check.rehearsal) {
      if (state.left) parts.push(el("p", { id: "left-open" }, "The check before this one is not signed off. As long as nothing is read here you can go back to it: ", el("a", { href: `#records/${state.left.id}` }, `the check of ${when(state.left.began)}`), "."));
      parts.push(
        el("p", {}, "Is your pad another one? ", el("a", { href: "#plan" }, "Draw it under Plan"), ", then use that plan here."),
        caution(),
        el("div", { class: "row" }, el("button", { type: "button", class: "main", onclick: o.onrehearse }, "Rehearse now"), el("button", { type: "button", id: "by-needle", onclick: o.onneedle }, "Read by needle")),
      );
    }
    place.replaceChildren(...parts);
    return;
  }
  const against = ohmsAgainst(state);
  const [shape, word] = v.outcome === "as-planned" && against.length > 0 ? OHMS_DISAGREE : OUTCOMES[v.outcome] || OUTCOMES.undecided;
  parts.push(el("p", { class: `outcome outcome-${v.outcome}` }, stateBadge(shape, word)));
  parts.push(progress(state, read));
  const asked = asksFor(state);
  // What is asked for once more says itself what was read.
  const again = asked?.route === "ohms" ? asked.across || `coil:${asked.at}` : "";
  const told = against.filter((o) => o.across !== again);
  if (told.length > 0) parts.push(el("p", { class: "ohms-against" }, `The ohms disagree: ${told.map(ohmWords).join("; ")}.`));
  if (v.outcome === "as-planned") parts.push(el("p", {}, plannedWords(state)));
  if (v.outcome === "as-planned" && mayBeSigned(state)) parts.push(el("button", { type: "button", class: "main", id: "to-sign-off", onclick: o.onsign }, "Go to the sign-off"));
  const next = asked ? [el("p", { class: "next" }, el("strong", {}, nextWords(asked)), asked.why, v.outcome === "fault" ? tellsApart(state, asked.at) : "")] : [];
  if (v.outcome !== "fault") parts.push(...suspicions(v), ...next);
  else if (mendAwaits(state)) parts.push(el("p", { class: "cause-say" }, knownWords(state)), ...next, ...causes(state, o, true));
  else parts.push(...causes(state, o, false), ...next, ...mended(state, o, true));
  for (const n of v.notes || []) parts.push(el("p", { class: "note" }, n));
  for (const more of [whyPanel(state, o), o.claims]) if (more) parts.push(more);
  place.replaceChildren(...parts);
  for (const name of opened) place.querySelector(`details.${name}`)?.setAttribute("open", "");
}

/** The verdict in a line, for where the panel is out of sight. @param {any} state @returns {[string, string]} shape and words */
export function verdictLine(state) {
  const v = state.verdict;
  if (!v || readCoils(state).length === 0) return ["undecided", state.mended ? "After the mend: nothing read yet" : "Nothing read yet"];
  if (v.outcome === "fault") return ["wrong", anyWrong(state) ? `Something is wrong: ${knownWords(state)}` : "Something is wrong, and it is not settled yet what."];
  if (v.outcome === "as-planned") return ohmsAgainst(state).length > 0 ? /** @type {[string, string]} */ (OHMS_DISAGREE) : ["as-planned", "As planned"];
  return ["undecided", `Not decided yet: ${counted(state).words}`];
}

/** What to do first after a mend. @param {any} state */
function afterWords({ plan, mended }) {
  const why = whyAnew(mended.mend, plan);
  if (why) return `All ${plan.coils.length} coils must be read again, because ${why}: what was read before no longer counts. It stays stored under Records.`;
  const turned = turnedBy(mended.mend, plan);
  const rest = plan.coils.length - turned.length;
  return `Read first what was mended: ${turned.length > 8 ? `${turned.length} coils` : list(turned)}.${rest > 0 ? " What was read over the other coils still counts; then read each of them once more." : ""}`;
}

function caution() {
  return el("p", {}, el("strong", {}, "Before you switch the supply on: "), "low current only, never leave a driven pad alone, and keep it away from pacemakers and other implants. ", el("a", { href: "#cautions" }, "All cautions"));
}

/** Ohmmeter readings that count and are not as planned. @param {any} state */
function ohmsAgainst(state) {
  return (state.sign_off?.ohms || []).filter((o) => o.counts && !o.agrees);
}

/** Whether the pad can be signed off as it is. @param {any} state */
function mayBeSigned({ sign_off: s }) {
  return Boolean(s && !s.signed && !s.except && !s.refused);
}

/** Of a pad whose coils all face right: what is left before it is taped. @param {any} state */
function plannedWords(state) {
  const n = state.plan.coils.filter((c) => byNeedle(state, c.id)).length;
  const needle = n === 0 ? "" : ` ${n < state.plan.coils.length ? `${n} of them were read by needle` : "Read by needle"}: which way a coil faces, not how strong it is.`;
  return facingWords(state) + needle;
}

/** What neither claims nor ohms that agree tell. @param {any} s */
function unseenWords(s) {
  return s.unseen ? ` Up to ${s.unseen} % of one coil's turns may be shorted all the same: ohms of each string show more.` : "";
}

/** @param {any} state */
function facingWords({ check, sign_off: s }) {
  if (s?.signed || check.rehearsal) return "Every coil faces as planned.";
  if (ohmsAgainst({ sign_off: s }).length > 0) return "Every coil faces as planned. Do not tape yet: measure string by string, then coil by coil.";
  return mayBeSigned({ sign_off: s }) ? `Every coil faces as planned, and the ohms agree. Sign off, then tape.${unseenWords(s)}` : "Every coil faces as planned. The pad may be taped, once the ohms agree as well.";
}

/** What is asked for next: as long as coils are not read, the one that the phone
 * and the drawing ask for too. @param {any} state */
function asksFor(state) {
  const n = state.verdict.next;
  const p = state.prompt?.do === "hold" ? state.prompt : null;
  if (p?.along) return { at: p.along.split(" ")[0], route: "pass", why: "" };
  if (p?.shown) return { at: p.at, why: p.why, beside: true };
  return n && p?.at && p.at !== n.at ? { at: p.at, why: `${p.at} has not been read yet.` } : n;
}

/** What is asked for next, in words. @param {any} n */
function nextWords(n) {
  const how = [];
  if (n.across) return `Next: ohms of ${n.across === "pad" ? "the pad" : n.across.replace(":", " ")}. `;
  if (n.route === "ohms") how.push("measure its ohms");
  if (n.beside) how.push("beside it");
  if (n.route === "pass") how.push("draw the phone along its row");
  if (typeof n.top_deg === "number") how.push(turnWords(n.top_deg));
  if (n.shift_mm?.some((d) => Math.abs(d) >= 1)) how.push(n.why.includes("with its mark") ? "moved" : shiftWords(n.shift_mm));
  return `Next: ${n.at}${how.length ? `, ${how.join(", ")}` : ""}. `;
}

/** Where the top edge points. @param {number} deg counter-clockwise from away */
function turnWords(deg) {
  const d = ((((Math.round(deg) % 360) + 540) % 360) - 180);
  if (Math.abs(d) > 170) return "top edge toward you";
  if (Math.abs(d) < 10) return "top edge away from you";
  return `top edge turned ${Math.abs(d)}° to the ${d > 0 ? "left" : "right"}`;
}

function shiftWords([x, y]) {
  const part = (v, one, other) => (Math.abs(v) >= 1 ? `${Math.abs(v).toFixed(0)} mm ${v > 0 ? one : other}` : "");
  return `its mark ${[part(x, "to the right", "to the left"), part(y, "away from you", "toward you")].filter(Boolean).join(" and ")} of the centre`;
}

/** How far a check is; after a mend it is what was read since that counts. @param {any} state */
function counted(state) {
  const all = state.plan.coils.length;
  const n = state.mended ? state.mended.since.length : state.verdict.coils.filter((c) => c.state !== "undecided").length;
  return { n, words: `${n} of ${all} ${state.mended ? "read since the mend" : "coils decided"}` };
}

function progress(state, read) {
  const all = state.plan.coils.length;
  const { n, words } = counted(state);
  const rest = state.mended ? (readBefore(state).length > 0 ? "; the others before it only" : "") : read < all ? `, ${all - read} not read yet` : "";
  return el(
    "p",
    { class: "progress-line" },
    el("progress", { max: all, value: n, "aria-label": state.mended ? "coils read since the mend" : "coils decided" }),
    el("span", {}, `${words}${rest}`),
  );
}

/** Whether it is too early to mend: a reading comes first. @param {any} state */
export function mendAwaits(state) {
  return mendWaits(state, Boolean(asksFor(state)));
}

/**
 * The likeliest cause whole, with its mend, folded as long as that waits; others that
 * are not out of the question.
 * @param {any} state @param {{onagain: () => void}} o @param {boolean} waits
 */
function causes(state, o, waits) {
  const all = state.verdict.causes || [];
  if (all.length === 0) return [el("p", {}, "What causes it is not settled. Read the coils asked for, and measure the ohms.")];
  const [first, ...rest] = all;
  const read = new Set(readCoils(state).map((c) => c.id));
  const likely = `${first.p >= 0.5 ? "Likeliest cause" : "Most likely so far"}, ${percent(first.p)}`;
  const cause = el(
    "div",
    { class: "cause" },
    el("p", { class: waits ? null : "cause-say" }, first.say),
    waits ? null : el("p", { class: "p" }, likely),
    mendDrawing(state.plan, first, read),
    (first.mend || []).length > 0 ? el("ol", { class: "mend" }, ...first.mend.map((m) => el("li", {}, `${mendWords(m, state.plan, first.faults)}.`))) : null,
  );
  const parts = waits ? [el("details", { class: "if-that" }, el("summary", {}, `${likely}: if it is that`), cause, ...mended(state, o, false))] : [cause];
  const others = rest.filter((c) => c.p >= (first.p >= 0.95 ? 0.02 : 0.01)).slice(0, 3);
  if (others.length > 0) parts.push(el("details", { class: "others" }, el("summary", {}, "It may also be"), el("ul", {}, ...others.map((c) => el("li", {}, `${c.say} (${percent(c.p)})`)))));
  return parts;
}

/** The way on, once it is mended. @param {any} state @param {{onagain: () => void}} o @param {boolean} due */
function mended(state, o, due) {
  if (state.check.rehearsal) return [];
  const why = whyAnew(state.verdict.causes?.[0]?.mend || [], state.plan);
  const then = why ? "After this mend read every coil again: nothing read before it counts." : "After the mend read again what was touched, then go once over all coils.";
  return [el("p", { class: "note" }, `Switch the supply off before you touch a joint. ${then}`), el("button", { type: "button", id: "mended", class: due ? "main" : null, onclick: o.onagain }, "It is mended: check again")];
}

/** Before anything is decided: what is suspected, if anything stands out. */
function suspicions(v) {
  const c = (v.causes || []).find((k) => k.p >= 0.2);
  return v.outcome === "undecided" && c ? [el("p", { class: "suspicion" }, `Suspected so far (${percent(c.p)}): ${c.say}`)] : [];
}
