// Where a plan can begin: a row, a grid, a ring, an empty pad, or a demo.
import { byId, el } from "../../common/dom.js";
import { keep, recall } from "../kept.js";
import { ask } from "../live.js";
import { field } from "./fields.js";

const FORMS = [
  ["row", "Row"],
  ["grid", "Grid"],
  ["staggered", "Staggered grid"],
  ["ring", "Ring"],
  ["empty", "Empty pad"],
];
const FIELDS = { row: ["coils"], ring: ["coils", "strings"], grid: ["columns", "rows"], staggered: ["columns", "rows"], empty: [] };
const KEPT = "begin-plan"; // what is typed here, until the page is closed
const COUNTS = { coils: "coils", columns: "coils in a row", rows: "rows", strings: "strings" };

/** Small pictures of the forms: where the coils lie, of 40 by 28. */
const PICTURES = {
  row: [[7, 14], [20, 14], [33, 14]],
  grid: [[9, 7], [20, 7], [31, 7], [9, 21], [20, 21], [31, 21]],
  staggered: [[7, 7], [18, 7], [29, 7], [12.5, 21], [23.5, 21], [34.5, 21]],
  ring: [0, 1, 2, 3, 4, 5].map((k) => [20 + 10 * Math.sin((k * Math.PI) / 3), 14 - 9.5 * Math.cos((k * Math.PI) / 3)]),
  empty: [],
}; // prettier-ignore

/** @param {{demos: {id: string, name: string}[], picture: (circles: number[][]) => Node, begin: (toml: string, name: string) => Promise<any>}} o */
export function askBegin(o) {
  const dialog = /** @type {HTMLDialogElement} */ (byId("dialog"));
  const q = { form: "grid", coils: 6, columns: 3, rows: 3, strings: 2, name: "", pitch_mm: 130, inner_mm: 90, turns: 60, wire_awg: 22, turning: false, ...recall(KEPT) };
  const put = (key, v) => {
    q[key] = v;
    keep(KEPT, q);
  };
  const trouble = el("p", { class: "trouble", role: "alert" });
  const numbers = el("div", { class: "fields" });
  const number = (key, label, unit, steps = [1, 1]) => field({ id: `new-${key}`, label, unit, kind: ["pitch_mm", "inner_mm", "wire_awg"].includes(key) ? "number" : "whole", steps, get: () => q[key], put: (v) => put(key, v), atOnce: true, keepsWrong: true });
  /** @type {ReturnType<typeof field>[]} */
  let fields = [];
  const show = () => {
    for (const b of forms) b.setAttribute("aria-pressed", String(b.dataset.form === q.form));
    const turning = el("input", { type: "checkbox", checked: q.turning, onchange: (e) => put("turning", e.target.checked) });
    fields = [
      ...FIELDS[q.form].map((k) => number(k, COUNTS[k])),
      ...(q.form === "empty" ? [] : [number("pitch_mm", "from centre to centre", "mm", [5, 1])]),
      number("inner_mm", "inner diameter", "mm", [5, 1]),
      number("turns", "turns", "", [5, 1]),
      number("wire_awg", "wire gauge", "AWG"),
    ];
    numbers.replaceChildren(
      field({ id: "new-name", label: "name of the pad", kind: "text", wide: true, optional: true, hint: "may be given later", get: () => q.name, put: (v) => put("name", v || ""), atOnce: true }).node,
      ...fields.map((f) => f.node),
      ...(q.form === "empty" ? [] : [el("label", { class: "check" }, turning, "faces alternate along a row")]),
    );
  };
  const forms = FORMS.map(([id, words]) =>
    el("button", { type: "button", class: "form-choice", "data-form": id, onclick: () => (put("form", id), show()) }, o.picture(PICTURES[id]), words),
  );
  const go = async (body, name) => {
    trouble.textContent = "";
    try {
      const { plan_toml } = await ask("api/plan/new", body);
      await o.begin(plan_toml, name);
      put("name", ""); // the next pad is another one
      dialog.close();
    } catch (e) {
      trouble.textContent = e.message;
      trouble.scrollIntoView({ block: "nearest" });
    }
  };
  const form = el(
    "form",
    { method: "dialog", class: "begin" },
    el("h2", {}, "Begin a plan"),
    el("div", { class: "forms", role: "group", "aria-label": "Form" }, ...forms),
    numbers,
    trouble,
    el("div", { class: "row" }, el("button", { type: "submit", class: "main", id: "begin-plan" }, "Begin"), el("button", { type: "button", onclick: () => dialog.close() }, "Not now")),
    el("h3", {}, "Or from a demo"),
    el("div", { class: "row" }, ...o.demos.map((d) => el("button", { type: "button", class: "small", "data-demo": d.id, onclick: () => void go({ demo: d.id }, d.name) }, d.name))),
    el("p", { class: "note" }, "What is being edited now stays one step back: Undo brings it again."),
  );
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    /** @type {any} */ (document.activeElement)?.blur?.(); // takes what is being typed
    const wrong = fields.find((f) => f.wrong());
    if (wrong) {
      trouble.textContent = "";
      wrong.node.querySelector("input").focus();
      return;
    }
    const asked = ["name", "form", ...FIELDS[q.form], "pitch_mm", "inner_mm", "turns", "wire_awg", "turning"];
    void go(Object.fromEntries(asked.map((k) => [k, q[k]])), FORMS.find(([id]) => id === q.form)[1]);
  });
  show();
  dialog.setAttribute("aria-label", "Begin a plan");
  dialog.replaceChildren(form);
  if (!dialog.open) dialog.showModal();
}
