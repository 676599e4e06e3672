// What the phone gave in one hold: fetched when that hold is looked at, since the
// state the server tells has only what is known of each. Says that it is loading,
// and what went wrong with a way to try again.
import { el } from "../common/dom.js";
import { holdPlot } from "./hold-plot.js";
import { ask } from "./live.js";

const KEPT = 60; // holds whose samples are kept in the page
const PATIENCE_MS = 15_000;

/** Samples by hold, those asked for last at the end. @type {Map<string, {samples?: number[][], coming?: Promise<number[][]>}>} */
const known = new Map();

/** @param {string} check @param {any} h a hold of the state */
function entryOf(check, h) {
  const key = JSON.stringify([check, h.source, h.t, h.count]);
  const entry = known.get(key) || (h.samples ? { samples: h.samples } : {});
  known.delete(key);
  known.set(key, entry);
  if (known.size > KEPT) known.delete(known.keys().next().value);
  return entry;
}

/** @param {string} check @param {any} h @returns {Promise<number[][]>} */
function load(check, h) {
  const entry = entryOf(check, h);
  entry.coming ??= ask(`api/checks/${encodeURIComponent(check)}/holds/${encodeURIComponent(h.source)}/${h.t}`, undefined, AbortSignal.timeout(PATIENCE_MS))
    .then((answer) => (entry.samples = answer.samples))
    .finally(() => (entry.coming = undefined));
  return entry.coming;
}

/** The plot of a hold, or what stands in its place. @param {string} check @param {any} h */
export function holdSamples(check, h) {
  const place = el("div", { class: "hold-samples", tabindex: "-1" });
  const say = (...words) => place.replaceChildren(el("p", { class: "note", role: "status" }, ...words));
  const draw = (samples) => {
    place.classList.remove("is-loading");
    const plot = holdPlot(h, samples);
    if (plot) place.replaceChildren(plot);
    else say("This reading has no samples to plot.");
  };
  const begin = () => {
    place.classList.add("is-loading");
    say("Loading what the phone read here…");
    load(check, h).then(draw, (err) => {
      place.classList.remove("is-loading");
      say(`What the phone read here did not come. ${err.message} `, el("button", { type: "button", class: "small load-again", onclick: again }, "Try again"));
    });
  };
  const again = () => {
    place.focus(); // the button goes
    begin();
  };
  const { samples } = entryOf(check, h);
  if (samples) draw(samples);
  else if (h.count > 0) begin();
  else draw([]);
  return place;
}
