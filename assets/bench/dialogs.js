// The questions the page asks before it does something that cannot be undone by
// doing it again.
import { byId, el } from "../common/dom.js";
import { DIFFICULTIES } from "./rehearsal.js";

const dialog = () => /** @type {HTMLDialogElement} */ (byId("dialog"));
const DRAFT = "polewise-plan-draft";

function show(form, label) {
  dialog().setAttribute("aria-label", label);
  dialog().replaceChildren(form);
  if (!dialog().open) dialog().showModal();
}

/** A form whose outcome is shown in place when it fails. */
function asking({ title, parts, yes, id, act }) {
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
    } catch (err) {
      trouble.textContent = err.message;
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

/** @param {{demos: {id: string, name: string}[], busy: boolean, begin: (choice: any) => Promise<void>}} o */
export function askRehearsal(o) {
  const plan = padChoice(o.demos, "the plan on the bench");
  const how = el("select", { name: "difficulty" }, ...DIFFICULTIES.map(([id, words]) => el("option", { value: id, selected: id === "usual" }, words)));
  asking({
    title: "Rehearse without hardware",
    parts: [
      el("p", {}, "The program makes up a pad with something hidden in it, and a phone. You carry the phone over the coils and find out."),
      o.busy ? el("p", { class: "trouble" }, "The check on the bench ends with that. What was read stays stored.") : null,
      el("label", {}, "Pad", plan),
      el("label", {}, "How hard", how),
    ],
    yes: "Begin",
    id: "begin-rehearsal",
    act: () => o.begin({ demo: plan.value || null, difficulty: how.value, fault: "random" }),
  });
}

/** @param {{demos: {id: string, name: string}[], toml: string, begin: (choice: any) => Promise<void>}} o */
export function askNewCheck(o) {
  const text = /** @type {HTMLTextAreaElement} */ (el("textarea", { name: "toml", spellcheck: "false" }));
  text.value = sessionStorage.getItem(DRAFT) || o.toml;
  text.addEventListener("input", () => sessionStorage.setItem(DRAFT, text.value));
  const pick = padChoice(o.demos, "the plan below");
  const own = el("label", {}, "Plan", text);
  pick.addEventListener("change", () => (own.hidden = pick.value !== ""));
  const file = el("input", { type: "file", accept: ".toml,text/plain" });
  file.addEventListener("change", async () => {
    const f = file.files[0];
    if (!f) return;
    text.value = await f.text();
    sessionStorage.setItem(DRAFT, text.value);
    pick.value = "";
    own.hidden = false;
  });
  asking({
    title: "Begin a new check",
    parts: [el("p", {}, "What was read so far stays stored; the phones begin anew."), el("label", {}, "Pad", pick), el("label", {}, "Open a plan file", file), own],
    yes: "Begin",
    id: "begin-check",
    act: async () => {
      await o.begin(pick.value ? { demo: pick.value } : { plan_toml: text.value });
      sessionStorage.removeItem(DRAFT);
    },
  });
}
