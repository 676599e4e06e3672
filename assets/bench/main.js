// The bench page: the pad, what the phones read, the verdict, live.
import { byId, el } from "../common/dom.js";
import { drawPad } from "../common/pad.js";
import { wordOf } from "../common/states.js";
import { showHolds } from "./holds-panel.js";
import { ask, listen } from "./live.js";
import { doing, phoneRows, showPhones } from "./phone-panel.js";
import { askRehearsal, Rehearsal } from "./rehearsal.js";
import { showVerdict } from "./verdict-panel.js";

let state = null;
let rehearsal = null;
let toldStates = {};
const dialog = /** @type {HTMLDialogElement} */ (byId("dialog"));

function say(text) {
  byId("said").textContent = text;
}

/** @param {Error} e */
function trouble(e) {
  dialog.replaceChildren(
    el("h2", {}, "That did not work"),
    el("p", { class: "trouble" }, e.message),
    el("form", { method: "dialog" }, el("button", { class: "main" }, "Close")),
  );
  if (!dialog.open) dialog.showModal();
}

function states() {
  const out = {};
  for (const c of state.verdict?.coils || []) if (c.used > 0) out[c.id] = c.state;
  return out;
}

function draw() {
  const values = {};
  const faces = {};
  const planned = new Map((state.predicted?.coils || []).map((c) => [c.id, c.bz_uT]));
  for (const c of state.plan.coils) {
    const v = state.verdict?.coils?.find((k) => k.id === c.id);
    const want = v?.used > 0 ? v.expected_uT : planned.get(c.id);
    if (want !== undefined) values[c.id] = v?.measured_uT != null ? `${v.measured_uT.toFixed(0)} of ${want.toFixed(0)} uT` : `${want.toFixed(0)} uT`;
    const up = c.north === "up" ? 1 : -1;
    if (v?.state === "reversed") faces[c.id] = -up;
    if (v?.state === "dead") faces[c.id] = 0;
  }
  const hadPhone = document.activeElement?.hasAttribute?.("data-phone");
  const drawing = drawPad(state.plan, { next: state.prompt?.at, states: states(), faces, values: byId("show-values").checked ? values : {} });
  byId("drawing").replaceChildren(drawing);
  if (rehearsal) {
    rehearsal.place(drawing, state);
    if (hadPhone) rehearsal.node.focus({ preventScroll: true });
  }
}

function showState(next) {
  state = next;
  byId("plan-name").textContent = state.plan.name;
  byId("prompt").textContent = state.prompt && state.verdict?.coils.some((c) => c.used > 0) ? state.prompt.say : "";
  byId("legend").textContent =
    "A ring with a dot: field toward you; with a cross: away. Lines join the coils of a string, each string with its own pattern. Seen from above.";
  draw();
  showVerdict(byId("verdict"), state);
  showPhones(byId("phones"), state);
  showHolds(byId("holds"), state, trouble);
  const now = states();
  const fresh = Object.entries(now).filter(([id, s]) => toldStates[id] !== s);
  if (fresh.length > 0) say(fresh.map(([id, s]) => `${id} ${wordOf(s)}`).join(", "));
  toldStates = now;
  if (rehearsal && state.check.rehearsal !== rehearsal.o.id) endRehearsal();
}

function received(m) {
  switch (m.type) {
    case "state":
      showState(m.state);
      break;
    case "phones":
      if (!state) break;
      state.phones = m.phones;
      byId("phone-rows").replaceChildren(...phoneRows(m.phones));
      break;
    case "sample": {
      const row = document.querySelector(`[data-source="${CSS.escape(m.source)}"] .doing`);
      if (row) row.textContent = doing({ at: m.at, count: m.count, last_uT: m.uT });
      break;
    }
    default:
      break; // told for others
  }
}

async function beginRehearsal(choice) {
  const r = await ask("api/rehearsals", choice);
  rehearsal?.end();
  toldStates = {};
  rehearsal = new Rehearsal({ id: r.id, page: r.phone_page, say, ontrouble: trouble, onend: () => void newCheck(null) });
  if (state) {
    state = await ask("api/state");
    showState(state);
  }
}

function endRehearsal() {
  rehearsal?.end();
  rehearsal = null;
  if (state) draw();
}

/** @param {any} choice a plan, or null for the one on the bench */
async function newCheck(choice) {
  try {
    const next = await ask("api/check", choice || {});
    endRehearsal();
    toldStates = {};
    showState(next);
  } catch (e) {
    trouble(e);
  }
}

async function askNewCheck() {
  const demos = await ask("api/demos").catch(() => []);
  const words = el("p", { class: "trouble", role: "alert" });
  const text = el("textarea", { spellcheck: "false", "aria-label": "The plan, TOML" });
  text.value = sessionStorage.getItem("polewise-plan-draft") || state.plan.toml;
  text.addEventListener("input", () => sessionStorage.setItem("polewise-plan-draft", text.value));
  const pick = el("select", {}, el("option", { value: "" }, "the plan below"), ...demos.map((d) => el("option", { value: d.id }, d.name)));
  const form = el(
    "form",
    { method: "dialog" },
    el("h2", {}, "Begin a new check"),
    el("p", {}, "What was read so far stays stored; the phones begin anew."),
    el("label", {}, "Pad", pick),
    el("label", {}, "Plan", text),
    words,
    el("div", { class: "row" }, el("button", { type: "submit", class: "main" }, "Begin"), el("button", { type: "button", onclick: () => dialog.close() }, "Not now")),
  );
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    try {
      const next = await ask("api/check", pick.value ? { demo: pick.value } : { plan_toml: text.value });
      sessionStorage.removeItem("polewise-plan-draft");
      endRehearsal();
      toldStates = {};
      showState(next);
      dialog.close();
    } catch (err) {
      words.textContent = err.message;
    }
  });
  dialog.replaceChildren(form);
  dialog.showModal();
}

byId("show-values").addEventListener("change", () => state && draw());
byId("new-check").addEventListener("click", () => void askNewCheck());
byId("rehearse").addEventListener("click", async () => {
  const demos = await ask("api/demos").catch(() => []);
  askRehearsal(dialog, demos, beginRehearsal);
});
listen({
  onmessage: received,
  onlink: (up) => {
    byId("link").textContent = up ? "connected" : "the program does not answer; trying again";
    byId("link").classList.toggle("lost", !up);
  },
});
