// The page's fixed places, filled by whichever screen is shown.
import { byId, el } from "../common/dom.js";
import { drawPad } from "../common/pad.js";
import { stateBadge } from "../common/states.js";

/**
 * @typedef {{label: string, main?: boolean, id?: string, onclick: () => void}} Action
 * @param {{title: string, lead?: string, body?: Node[], actions?: Action[], focus?: boolean}} screen
 */
export function show(screen) {
  const title = byId("title");
  const changed = title.textContent !== screen.title;
  title.textContent = screen.title;
  byId("lead").textContent = screen.lead || "";
  byId("body").replaceChildren(...(screen.body || []));
  byId("actions").replaceChildren(
    ...(screen.actions || []).map((a) => el("button", { type: "button", class: a.main ? "main" : "", id: a.id, onclick: a.onclick }, a.label)),
  );
  if (changed && screen.focus !== false) title.focus({ preventScroll: true });
}

/** @param {string} text */
export function lead(text) {
  byId("lead").textContent = text;
}

/** @param {any} plan @param {any} options */
export function drawing(plan, options) {
  const place = byId("drawing");
  if (!plan) return place.replaceChildren();
  const had = document.activeElement?.closest?.("[data-coil]")?.getAttribute("data-coil");
  place.replaceChildren(drawPad(plan, { small: true, ...options }));
  if (had) place.querySelector(`[data-coil="${CSS.escape(had)}"]`)?.focus({ preventScroll: true });
}

/** @param {number | null} share of the hold counted, null hides @param {string} [reading] */
export function meter(share, reading) {
  byId("meter").hidden = share === null;
  if (share === null) return;
  byId("count").value = share;
  byId("reading").textContent = reading || "";
}

/** @param {string} coil @param {string} state @param {string} [word] */
export function claim(coil, state, word) {
  byId("claim").replaceChildren(coil ? `${coil}: ` : "", state ? stateBadge(state, word) : word || "");
}

export function clearClaim() {
  byId("claim").replaceChildren();
}

/** @param {"up"|"lost"|"post"} state @param {number} waiting */
export function link(state, waiting) {
  const place = byId("link");
  place.classList.toggle("lost", state === "lost");
  place.textContent =
    state === "lost"
      ? `connection lost; ${waiting} ${waiting === 1 ? "message is" : "messages are"} kept and sent again`
      : state === "post"
        ? "connected (by single messages)"
        : "connected";
}

export function cautions() {
  return el(
    "div",
    { class: "caution", role: "note" },
    el("strong", {}, "Before the supply goes on"),
    el(
      "ul",
      {},
      el("li", {}, "Low current only, and never leave a driven pad alone."),
      el("li", {}, "Keep it away from pacemakers, insulin pumps and other implants, from magnetic cards and mechanical watches."),
      el("li", {}, "Use an isolated supply. Local electrical rules and licensed people come first."),
    ),
  );
}
