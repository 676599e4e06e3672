// What a phone gave in one hold, or a pass laid along its row, drawn: fetched when
// that reading is looked at, since the state the server tells has only what is
// known of each. Says that it is loading, and what went wrong with a way to try
// again. A trace that changed with the verdict stays until the new one is there.
import { el } from "../common/dom.js";
import { holdPlot } from "./hold-plot.js";
import { ask } from "./live.js";
import { passPlot } from "./pass-plot.js";

const KEPT = 60; // readings of which what was fetched is kept in the page
const PATIENCE_MS = 15_000;

/**
 * @typedef {{version?: string, answer?: any, coming?: {version: string, answer: Promise<any>}}} Entry
 * @typedef {{name: string, version: string, path: string, have: any, draw: (answer: any) => Element | null, what: string, none: string}} Fetched
 *   name: of the reading; version: of what there is of it; have: that, where it need not be fetched
 */

/** By reading, those asked for last at the end. @type {Map<string, Entry>} */
const known = new Map();

/** @param {Fetched} o @returns {Entry} */
function entryOf(o) {
  const entry = known.get(o.name) || {};
  if (o.have) Object.assign(entry, { version: o.version, answer: o.have });
  known.delete(o.name);
  known.set(o.name, entry);
  if (known.size > KEPT) known.delete(known.keys().next().value);
  return entry;
}

/** @param {Fetched} o @returns {Promise<any>} */
function load(o) {
  const entry = entryOf(o);
  if (entry.coming?.version !== o.version) {
    const answer = ask(o.path, undefined, AbortSignal.timeout(PATIENCE_MS))
      .then((a) => {
        if (entry.coming?.answer === answer) Object.assign(entry, { version: o.version, answer: a });
        return a;
      })
      .finally(() => {
        if (entry.coming?.answer === answer) entry.coming = undefined;
      });
    entry.coming = { version: o.version, answer };
  }
  return entry.coming.answer;
}

/** @param {string} check @param {any} h a hold of the state */
export function holdSamples(check, h) {
  return plotOf({
    name: nameOf(check, h),
    version: String(h.count),
    path: pathOf(check, "holds", h),
    have: h.samples ? { samples: h.samples } : h.count > 0 ? null : { samples: [] },
    draw: (answer) => holdPlot(h, answer.samples),
    what: "what the phone read here",
    none: "This reading has no samples to plot.",
  });
}

/** @param {string} check @param {any} p a pass of the state */
export function passTrace(check, p) {
  if (!p.account) {
    const why = p.thrown_out ? "A pass that does not count is not laid along its row." : "Being laid along its row.";
    return el("p", { class: "note" }, why);
  }
  return plotOf({
    name: nameOf(check, p),
    version: p.account.traced,
    path: pathOf(check, "passes", p),
    have: p.trace || null,
    draw: passPlot,
    what: "this pass, laid along its row",
    none: "This pass has too few readings to lay along its row.",
  });
}

const firstOf = (r) => r.at ?? r.along[0];
const nameOf = (check, r) => JSON.stringify([check, r.source, firstOf(r), r.t]);
const pathOf = (check, kind, r) => `api/checks/${encodeURIComponent(check)}/${kind}/${encodeURIComponent(r.source)}/${r.t}?at=${encodeURIComponent(firstOf(r))}`;

/** The plot of a reading, or what stands in its place. @param {Fetched} o */
function plotOf(o) {
  const place = el("div", { class: "reading-plot", tabindex: "-1" });
  const say = (...words) => place.replaceChildren(el("p", { class: "note", role: "status" }, ...words));
  const draw = (answer) => {
    place.classList.remove("is-loading");
    const plot = o.draw(answer);
    if (plot) place.replaceChildren(plot);
    else say(o.none);
  };
  const begin = () => {
    if (!place.querySelector(".plot")) {
      place.classList.add("is-loading");
      say(`Loading ${o.what}…`);
    }
    load(o).then(draw, (err) => {
      place.classList.remove("is-loading");
      say(`${o.what[0].toUpperCase()}${o.what.slice(1)} did not come. ${err.message} `, el("button", { type: "button", class: "small load-again", onclick: again }, "Try again"));
    });
  };
  const again = () => {
    place.focus(); // the button goes
    begin();
  };
  const entry = entryOf(o);
  if (entry.answer) draw(entry.answer);
  if (!entry.answer || entry.version !== o.version) begin();
  return place;
}
