// The questions the page asks before it does something that cannot be undone by
// doing it again.
import { asTyped, byId, el } from "../common/dom.js";
import { ask } from "./live.js";
import { mendWords, whyAnew } from "./mend.js";
import { when } from "./records/words.js";
import { DIFFICULTIES } from "./rehearsal.js";

const dialog = () => /** @type {HTMLDialogElement} */ (byId("dialog"));
const DRAFT = "polewise-plan-draft";
const CHOICES = "polewise-rehearsal-choices";

function show(form, label) {
  dialog().setAttribute("aria-label", label);
  dialog().replaceChildren(form);
  if (!dialog().open) dialog().showModal();
}

/** A form whose outcome is shown in place when it fails; refused: in other words; to: where keys go on, as what was pressed goes. */
function asking({ title, parts, yes, id, act, refused = undefined, to = "" }) {
  const trouble = el("p", { class: "trouble", role: "alert" });
  const button = el("button", { type: "submit", class: "main", id }, yes);
  const form = el(
    "form",
    { method: "dialog" },
    el("h2", {}, title),
    ...parts,
    trouble,
    el("div", { class: "row" }, button, el("button", { type: "button", onclick: () => dialog().close() }, "Not now")),
  );
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    /** @type {any} */ (button).disabled = true;
    trouble.textContent = "";
    try {
      await act();
      dialog().close();
      if (to) byId(to).focus({ preventScroll: true });
    } catch (err) {
      trouble.textContent = refused?.(err.message) ?? err.message;
      trouble.scrollIntoView({ block: "nearest" });
    } finally {
      /** @type {any} */ (button).disabled = false;
    }
  });
  show(form, title);
}

/** @param {Error} e */
export function tellTrouble(e) {
  show(
    el("form", { method: "dialog" }, el("h2", {}, "That did not work"), el("p", { class: "trouble" }, e.message), el("div", { class: "row" }, el("button", { class: "main" }, "Close"))),
    "That did not work",
  );
}

function padChoice(demos, first) {
  return el("select", { name: "plan" }, el("option", { value: "" }, first), ...demos.map((d) => el("option", { value: d.id }, d.name)));
}

// What can be hidden: how it is written, its words, and what it names.
const HIDDEN = [
  ["coil-reversed", "a coil turned over", "coils"],
  ["string-reversed", "a string with its ends swapped", "strings"],
  ["group-reversed", "a group joined the wrong way", "groups"],
  ["pad-reversed", "the whole pad the wrong way", ""],
  ["coil-shorted", "a coil shorted", "coils"],
  ["turns-shorted", "turns of a coil shorted", "coils"],
  ["coil-open", "a coil open", "coils"],
  ["string-open", "a joint of a string open", "strings"],
  ["strings-in-series", "two strings joined in series", "strings", "strings"],
  ["coil-in-wrong-string", "a coil joined into another string", "coils", "strings"],
];

/**
 * @typedef {{name: string, coils: string[], strings: string[], groups: string[]}} Parts what a fault can name
 * @param {{demos: (Parts & {id: string})[], bench: Parts | null, busy: boolean, begin: (choice: any) => Promise<void>}} o
 */
export function askRehearsal(o) {
  const plan = padChoice(o.demos, "the plan on the bench");
  const how = el("select", { name: "difficulty" }, ...DIFFICULTIES.map(([id, words]) => el("option", { value: id, selected: id === "usual" }, words)));
  const what = el("select", { name: "fault" });
  const which = el("select", { name: "which" });
  const other = el("select", { name: "other" });
  const hard = el("label", {}, "How hard", how);
  const named = el("label", {}, "Which", which);
  const named2 = el("label", {}, "And", other);
  const fields = { plan, difficulty: how, fault: what, which, other };
  /** Offers what the pad chosen has; keeps what was chosen where it still can be. */
  const fill = (select, options) => {
    const before = select.value;
    select.replaceChildren(...options.map(([value, words]) => el("option", { value }, words)));
    if (options.some(([value]) => value === before)) select.value = before;
  };
  const follow = () => {
    const parts = plan.value ? o.demos.find((d) => d.id === plan.value) : o.bench;
    const has = (list) => !list || !parts || parts[list].length > 0;
    fill(what, [["random", "let the program hide something, or nothing"], ["none", "nothing: a pad as planned"], ...HIDDEN.filter((h) => has(h[2]) && (!h[3] || parts?.strings.length > 1)).map((h) => [h[0], h[1]])]);
    const kind = HIDDEN.find((h) => h[0] === what.value);
    hard.hidden = what.value !== "random";
    named.hidden = !kind?.[2];
    named2.hidden = !kind?.[3];
    if (kind?.[2]) fill(which, parts[kind[2]].map((id) => [id, id]));
    if (kind?.[3]) fill(other, parts[kind[3]].filter((id) => id !== which.value).map((id) => [id, id]));
  };
  follow();
  const last = recalled();
  for (const name of ["plan", "fault", "which", "other", "difficulty"]) {
    if ([...fields[name].options].some((x) => x.value === last[name])) fields[name].value = last[name];
    follow();
  }
  for (const select of Object.values(fields))
    select.addEventListener("change", () => {
      follow();
      sessionStorage.setItem(CHOICES, JSON.stringify(Object.fromEntries(Object.entries(fields).map(([k, f]) => [k, f.value]))));
    });
  const fault = () => {
    const kind = HIDDEN.find((h) => h[0] === what.value);
    if (!kind) return what.value;
    const ids = [kind[2] && which.value, kind[3] && other.value].filter(Boolean);
    return ids.length > 0 ? `${kind[0]}:${ids.join(",")}` : kind[0];
  };
  asking({
    title: "Rehearse without hardware",
    parts: [
      el("p", {}, "The program makes up a pad with something hidden in it, and a phone whose sensor sits nobody knows where. You carry the phone over the coils and find out."),
      o.busy ? el("p", { class: "trouble" }, ENDS) : null,
      el("label", {}, "Pad", plan),
      el("label", {}, "What is hidden", what),
      named,
      named2,
      hard,
    ],
    yes: "Begin",
    id: "begin-rehearsal",
    act: () => o.begin({ demo: plan.value || null, difficulty: how.value, fault: fault() }),
  });
}

function recalled() {
  try {
    return JSON.parse(sessionStorage.getItem(CHOICES) || "{}") || {};
  } catch {
    return {};
  }
}

const ENDS = "The check on the bench ends with that. What was read stays stored.";
const SAME = "same";
const ANOTHER = "another";
const SIGNED = 4; // pads named

/** Pads signed under a plan's name that have a serial number, the one signed last first. @param {string} plan @returns {Promise<{serial: string, signed: string}[]>} */
async function signedPads(plan) {
  const { checks } = await ask(`api/checks?sort=signed&per=100&find=${encodeURIComponent(`signed off ${plan.slice(0, 40)}`)}`);
  const pads = new Map();
  for (const c of checks) if (c.signed && c.serial && c.plan_name === plan && !pads.has(c.serial)) pads.set(c.serial, c);
  return [...pads.values()];
}

/** By its serial number alone a pad is known again. @param {{serial: string, signed: string}[]} pads */
function knownPads(pads) {
  if (pads.length === 0) return [];
  const names = pads.slice(0, SIGNED).flatMap((p) => [asTyped(p.serial), ` (${when(p.signed).slice(0, 10)}), `]);
  names[names.length - 1] = names[names.length - 1].replace(/, $/, pads.length > SIGNED ? ` and ${pads.length - SIGNED} more` : "");
  return ["Signed off before: ", ...names, `. If it is ${pads.length > 1 ? "one of these" : "this pad"}, give its serial number under Sign-off as soon as a coil is read: then it is compared with its own record.`];
}

/** @param {{demos: {id: string, name: string}[], name: string, serial: string, toml: string, busy: boolean, begin: (choice: any) => Promise<void>}} o */
export function askNewCheck(o) {
  const draft = sessionStorage.getItem(DRAFT);
  const text = /** @type {HTMLTextAreaElement} */ (el("textarea", { name: "toml", spellcheck: "false" }));
  text.value = draft || o.toml;
  text.addEventListener("input", () => sessionStorage.setItem(DRAFT, text.value));
  const pick = el("select", { name: "plan" }, el("option", { value: SAME }, `the same pad${o.serial ? `, ${o.serial}` : ""}: ${o.name}`), el("option", { value: ANOTHER }, "another pad of the same plan"), ...o.demos.map((d) => el("option", { value: d.id }, d.name)), el("option", { value: "" }, "the plan written below"));
  const own = el("label", {}, "Plan", text);
  const before = el("p", { class: "note", id: "signed-before", role: "status" });
  const follow = async () => {
    const { value } = pick;
    own.hidden = value !== "";
    const plan = value === ANOTHER || (value === SAME && !o.serial) ? o.name : o.demos.find((d) => d.id === value)?.name;
    const pads = plan ? await signedPads(plan).catch(() => []) : [];
    if (pick.value === value) before.replaceChildren(...knownPads(pads));
  };
  pick.addEventListener("change", follow);
  if (draft) pick.value = "";
  void follow();
  const file = el("input", { type: "file", accept: ".toml,text/plain" });
  file.addEventListener("change", async () => {
    const f = file.files[0];
    if (!f) return;
    text.value = await f.text();
    sessionStorage.setItem(DRAFT, text.value);
    pick.value = "";
    void follow();
  });
  asking({
    title: "Begin a new check",
    parts: [o.busy ? el("p", { class: "trouble" }, ENDS) : el("p", {}, "What was read so far stays stored; the phones begin anew."), el("label", {}, "Pad", pick), before, el("label", {}, "Open a plan file", file), own],
    yes: "Begin",
    id: "begin-check",
    act: async () => {
      await o.begin(pick.value === SAME ? {} : pick.value === ANOTHER ? { plan_toml: o.toml } : pick.value ? { demo: pick.value } : { plan_toml: text.value });
      sessionStorage.removeItem(DRAFT);
    },
    refused: (say) => (own.hidden ? say : lineShown(text, say)),
  });
}

/** Selects the line that a plan was refused for, since lines have no numbers there, and quotes it. @param {HTMLTextAreaElement} text @param {string} say */
function lineShown(text, say) {
  const n = Number(/^plan:(\d+):/.exec(say)?.[1]);
  const lines = text.value.split("\n");
  if (!(n >= 1 && n <= lines.length)) return say;
  const from = lines.slice(0, n - 1).join("\n").length + (n > 1 ? 1 : 0);
  const head = /** @type {HTMLTextAreaElement} */ (text.cloneNode()); // as high as what stands above it
  text.after(head);
  head.value = text.value.slice(0, from);
  const above = head.scrollHeight;
  head.remove();
  text.focus({ preventScroll: true });
  text.setSelectionRange(from, from + lines[n - 1].length);
  text.scrollTop = above - text.clientHeight / 2;
  return `${say} Line ${n}, selected above: ${lines[n - 1].trim().slice(0, 80)}`;
}

/** What a new check after a mend does to what was read. @param {{state: any, begin: (asked: {check: string, mend: any[]}) => Promise<void>}} o */
export function askMended({ state, begin }) {
  const cause = state.verdict?.causes?.[0];
  const mend = cause?.mend || [];
  const why = whyAnew(mend, state.plan);
  asking({
    title: "Is it mended?",
    parts: [
      mend.length > 0 ? el("ol", { class: "mend" }, ...mend.map((m) => el("li", {}, `${mendWords(m, state.plan, cause.faults)}.`))) : null,
      el("p", {}, why ? `Then a new check begins, and every coil is read again, because ${why}.` : "Then a new check begins. What was read over the coils that this leaves alone goes on to count."),
      el("p", {}, "It cannot be undone. If it is not mended yet, press Not now."),
    ],
    yes: "It is mended: check again",
    id: "begin-mended",
    act: () => begin({ check: state.check.id, mend }),
    to: "verdict",
  });
}
