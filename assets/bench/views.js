// The bench page's views, chosen by the address's fragment so that the browser's
// back button and a bookmark work: plan, check (the first) and records.

const VIEWS = ["plan", "check", "records"];

/**
 * What the link for keys, past what stands above every view, leads to. No element goes by
 * the name of a view: the browser would scroll to it, past the head of the page.
 */
const CONTENT = { plan: ["To the plan", "editor"], check: ["To the verdict", "verdict"], records: ["To the records", "pads"] };

/** @typedef {"plan" | "check" | "records"} View */

/** @returns {View} */
export function currentView() {
  const asked = location.hash.slice(1).split("/")[0];
  return /** @type {View} */ (VIEWS.includes(asked) ? asked : "check");
}

/**
 * Shows the view asked for, now and whenever it changes.
 * @param {(view: View) => void} onview told of every view shown
 */
export function followViews(onview) {
  const skip = /** @type {HTMLAnchorElement} */ (document.querySelector(".skip"));
  const show = () => {
    const view = currentView();
    [skip.textContent, skip.hash] = CONTENT[view];
    for (const main of document.querySelectorAll("main[data-view]")) main.hidden = main.dataset.view !== view;
    for (const a of document.querySelectorAll("nav.views a")) {
      if (a.hash.slice(1) === view) a.setAttribute("aria-current", "page");
      else a.removeAttribute("aria-current");
    }
    document.body.dataset.view = view;
    onview(view);
  };
  skip.onclick = (e) => {
    e.preventDefault(); // the fragment says which view is shown
    focusOn(/** @type {HTMLElement} */ (document.getElementById(CONTENT[currentView()][1])));
  };
  addEventListener("hashchange", show);
  show();
}

/**
 * Focuses what takes no focus by itself, as long as it keeps it. For good it must not take
 * any: a click beside a button would then focus the whole of it.
 * @param {HTMLElement} section
 */
function focusOn(section) {
  if (!section.hasAttribute("tabindex")) {
    section.tabIndex = -1;
    section.addEventListener("blur", () => section.removeAttribute("tabindex"), { once: true });
  }
  section.focus();
}
