// Fields for exact values. A field shows what the plan says and hands on what is
// typed, shortly after the last key; it never changes under the fingers.
import { el } from "../../common/dom.js";

const AFTER_MS = 350;
const REFUSED = "The plan does not have this yet. Press Enter here to try again.";

// Arrow keys in a field: five steps, with Shift one; or the two given in steps.

/**
 * @typedef {{label: string, unit?: string, get: () => any, put: (value: any, typed: boolean) => any, trouble?: () => string,
 *   kind?: "number" | "whole" | "text" | "choice", choices?: () => [any, string][], optional?: boolean, step?: number, steps?: number[], hint?: string | (() => string), wide?: boolean, double?: boolean, id?: string, atOnce?: boolean, whole?: boolean, check?: (text: string) => string, settled?: () => void, keepsWrong?: boolean}} Field check: why a text is not handed on; atOnce: putting is no work, so every key is handed on; whole: half of it means something else, so it is handed on when it is done, with Enter or on leaving; settled: nothing stands here any more that the plan does not have; keepsWrong: what is not taken goes on standing here, else what was before comes back, with a word; put may return a promise of whether the value was taken
 */

/** @param {Field} f @returns {{node: HTMLElement, refresh: () => void, wrong: () => boolean}} */
export function field(f) {
  const bad = el("span", { class: "bad", role: "alert" });
  const hint = () => (typeof f.hint === "function" ? f.hint() : f.hint) || "";
  const input = /** @type {any} */ (
    f.kind === "choice"
      ? el("select", { id: f.id })
      : el("input", { type: "text", id: f.id, inputmode: f.kind === "text" ? "text" : "decimal", autocomplete: "off", spellcheck: "false", placeholder: hint() })
  );
  let own = ""; // what stands wrong in the field itself
  let timer = 0;
  let shown = "";
  let waiting = 0; // values handed on that are not answered yet
  let refused = false; // what stands here was not taken
  const refresh = () => {
    const v = f.get();
    if (f.kind === "choice") {
      const list = f.choices().map(([value, words]) => el("option", { value: String(value), selected: value === v }, words));
      if (!f.choices().some(([value]) => value === v)) list.unshift(el("option", { value: "", selected: true, disabled: true }, v === undefined ? "several" : String(v)));
      const key = list.map((o) => o.outerHTML).join("");
      if (key !== shown) {
        input.replaceChildren(...list);
        shown = key;
      }
    } else if (!waiting && !refused && !(f.keepsWrong && own) && (document.activeElement !== input || input.value === shown)) {
      const text = v === null || v === undefined ? "" : String(v);
      if (text !== shown) own = ""; // another value came
      else if (own && input.value !== text) own += text ? ` ${text} stays.` : " Nothing was changed.";
      if (input.value !== text) input.value = text;
      shown = text;
      if (v === undefined) input.placeholder = "several";
      else input.placeholder = hint();
    }
    const words = own || f.trouble?.() || "";
    bad.textContent = words;
    if (words) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  };
  const hand = (value, typed) => {
    shown = input.value;
    refused = false;
    const done = f.put(value, typed);
    if (!(done instanceof Promise)) return;
    waiting++;
    void done.then((taken) => {
      waiting--;
      refused = taken === false && !waiting;
      if (refused) own = REFUSED;
      else if (!waiting && input.value === shown) f.settled?.();
      refresh();
    });
  };
  const take = (typed) => {
    clearTimeout(timer);
    const text = input.value.trim();
    if (text === shown.trim() && !refused) {
      if (!waiting) f.settled?.();
      return refresh(); // why something was not taken is told until something else is typed
    }
    own = "";
    if (f.kind === "text") {
      if (text === "" && !f.optional) own = typed ? "" : f.label.startsWith("name") ? "A name is needed." : "Expected some text.";
      else if (!(own = f.check?.(text) || "")) hand(text === "" ? null : text, typed);
    } else if (text === "" && f.optional) hand(null, typed);
    else if (text === "") own = typed ? "" : "Expected a number.";
    else {
      const n = Number(text.replace(",", ".").replace("\u2212", "-"));
      if (!Number.isFinite(n)) own = `Expected a number, found "${text}".`;
      else if (f.kind === "whole" && !Number.isInteger(n)) own = `Expected a whole number, found ${text}.`;
      else hand(n, typed);
    }
    refresh();
  };
  if (f.kind === "choice") {
    input.addEventListener("change", () => {
      const chosen = f.choices().find(([value]) => String(value) === input.value);
      if (chosen) f.put(chosen[0], false);
    });
  } else {
    input.addEventListener("input", () => {
      clearTimeout(timer);
      own = "";
      if (f.atOnce) take(true);
      else if (!f.whole) timer = setTimeout(() => take(true), AFTER_MS);
    });
    input.addEventListener("change", () => take(false));
    input.addEventListener("blur", () => {
      take(false);
      refresh();
    });
    input.addEventListener("keydown", (e) => {
      const way = { ArrowUp: 1, ArrowDown: -1 }[e.key];
      if (e.key === "Enter") take(false);
      if (!way || f.kind === "text") return;
      const n = Number(input.value.replace(",", "."));
      if (input.value.trim() === "" || !Number.isFinite(n)) return;
      e.preventDefault();
      input.value = String(Math.round((n + way * (f.steps ? f.steps[e.shiftKey ? 1 : 0] : (e.shiftKey ? 1 : 5) * (f.step ?? 1))) * 1e4) / 1e4);
      take(true);
    });
  }
  refresh();
  const node = el("label", { class: ["field", f.wide && "wide", f.double && "double"].filter(Boolean).join(" ") }, el("span", { class: "field-name" }, f.label), el("span", { class: "field-row" }, input, f.unit ? el("span", { class: "unit" }, f.unit) : null), bad);
  return { node, refresh, wrong: () => own !== "" };
}

/** Two or three words of which one holds. @param {{label: string, choices: [any, string][], get: () => any, put: (v: any) => void}} o */
export function either(o) {
  const buttons = o.choices.map(([value, words]) => {
    const b = el("button", { type: "button", class: "small", onclick: () => o.put(value) }, words);
    return { b, value };
  });
  const refresh = () => {
    for (const { b, value } of buttons) b.setAttribute("aria-pressed", String(o.get() === value));
  };
  refresh();
  return { node: el("div", { class: "field either", role: "group", "aria-label": o.label }, el("span", { class: "field-name" }, o.label), el("span", { class: "field-row" }, ...buttons.map((k) => k.b))), refresh };
}
