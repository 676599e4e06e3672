// The page's fixed places, filled by whichever screen is shown. A screen is a
// plain description; showing the same one again touches nothing, so that a button
// under a finger stays the same button.
import { byId, el, svg } from "../common/dom.js";
import { faceSign } from "../common/pad.js";
import { stateBadge } from "../common/states.js";

/**
 * @typedef {{label: string, small?: string, sign?: number, id: string, main?: boolean, off?: string, onclick: () => void}} Action off: not to be tapped yet, and what is said to who does; small: a second line; sign: a face drawn beside the words, as faceSign takes it
 * @typedef {object} Screen
 * @property {string} title
 * @property {string} [lead] what to do, in a sentence
 * @property {string} [why]
 * @property {string} [note] what went wrong a moment ago
 * @property {() => Node} [drawing]
 * @property {string} [drawn] tells whether the drawing is still the same
 * @property {{strings: {id: string, coils: string[]}[], onpick: (id: string) => void}} [pick] coils that the drawing is too small to pick on
 * @property {(Node|null)[]} [body]
 * @property {string} [bodied] tells whether the body is still the same; without it the body is always replaced
 * @property {Action[]} [actions] shown at the lower edge
 * @property {number} [progress] 0 to 1
 * @property {boolean} [whole] no claims on it: that of the coil read last would mislead, or all of them push down what must be seen
 * @property {boolean} [glance] it is read at arm's length, with both hands busy
 */

const MOST_CHANGED = 3; // claims beside that of the coil just read

const shown = { picks: "", drawn: "", bodied: "", actions: "", said: "" };
/** @type {Action[]} */
let actions = [];

let covered = false;

/** Looks how much room there is. @type {(() => void) | null} */
let measure = null;

/**
 * The drawing and what is to be tapped stay in view whatever there is to say: tells
 * the style sheet how high the rest of the page is, and whoever uses keys gets to
 * what has to be scrolled.
 */
function watchRoom() {
  const words = byId("words");
  const around = [...document.querySelectorAll("body > :is(header, footer)")];
  measure = () => {
    const taken = around.reduce((sum, n) => sum + /** @type {HTMLElement} */ (n).offsetHeight, 0);
    document.documentElement.style.setProperty("--taken", `${taken}px`);
    if (words.scrollHeight > words.clientHeight + 1) words.tabIndex = 0;
    else words.removeAttribute("tabindex");
  };
  const seen = new ResizeObserver(measure);
  for (const n of [...around, words]) seen.observe(n);
}

/** While covered, only screens that lie over the route's are shown. @param {boolean} on */
export function cover(on) {
  covered = on;
}

/** @param {Screen} s @param {boolean} [over] it lies over the route's screens */
export function show(s, over = false) {
  if (covered && !over) return;
  const title = byId("title");
  const changed = title.textContent !== s.title;
  setText(title, s.title);
  document.body.classList.toggle("glance", !!s.glance);
  byId("claim").hidden = !!s.whole;
  setText(byId("lead"), s.lead || "");
  setText(byId("why"), s.why || "");
  setText(byId("note"), s.note || "");
  draw(s);
  offer(s.pick);
  if (!s.bodied || s.bodied !== shown.bodied) byId("body").replaceChildren(...(s.body || []).filter((n) => n !== null));
  shown.bodied = s.bodied || "";
  act(s.actions || []);
  progress(s.progress);
  if (!measure) watchRoom();
  uncover();
  // Keys and screen readers follow to a new screen, unless they are at work in it.
  // Another screen begins at its top, unless somebody reads the help below it.
  if (changed && !/** @type {any} */ (byId("others")).open) scrollTo(0, 0);
  const at = document.activeElement;
  const lost = !at || at === document.body || (at instanceof HTMLElement && !at.isConnected);
  // The page in a rehearsal's frame takes no focus from the bench page around it.
  if (!changed || !document.hasFocus()) return;
  if (lost) title.focus({ preventScroll: true });
  else if (at === title) setText(byId("said"), s.title); // told again where the focus stays
}

/** @param {Screen} s */
function draw(s) {
  const place = byId("drawing");
  const drawn = s.drawing ? s.drawn || "?" : "";
  if (drawn && drawn === shown.drawn) return;
  shown.drawn = drawn;
  const coil = document.activeElement?.closest?.("[data-coil]")?.getAttribute("data-coil");
  place.replaceChildren(...(s.drawing ? [s.drawing()] : []));
  if (coil) /** @type {any} */ (place.querySelector(`[data-coil="${CSS.escape(coil)}"]`))?.focus({ preventScroll: true });
}

/** @type {Screen["pick"]} */
let picks;

/** A list to pick from stays the same list, also while it is open under a finger. @param {Screen["pick"]} given */
function offer(given) {
  picks = given;
  byId("pick").hidden = !given;
  const strings = given?.strings || [];
  const key = JSON.stringify(strings);
  if (!given || key === shown.picks) return;
  shown.picks = key;
  const select = /** @type {HTMLSelectElement} */ (byId("pick-coil"));
  select.replaceChildren(...strings.map((s) => el("optgroup", { label: `String ${s.id}` }, ...s.coils.map((id) => el("option", { value: id }, id)))));
  // Not at once when it changes: whoever uses arrow keys passes other coils.
  byId("pick-it").onclick = () => picks?.onpick(select.value);
}

/** @param {Action[]} given */
function act(given) {
  // The main one last: at the very edge, under the thumb.
  const list = [...given.filter((a) => !a.main), ...given.filter((a) => a.main)];
  actions = list;
  const same = JSON.stringify(list.map((a) => [a.id, a.label, a.small, a.sign, !!a.main, !!a.off]));
  if (same === shown.actions) return;
  shown.actions = same;
  const had = document.activeElement?.id;
  const main = list.filter((a) => a.main);
  const lesser = list.filter((a) => !a.main);
  const button = (a) =>
    el(
      "button",
      { type: "button", id: a.id, class: a.main ? (main.length > 1 ? "main half" : "main") : "", "aria-disabled": a.off ? "true" : undefined, onclick: () => tap(a.id) },
      a.sign !== undefined && svg("svg", { viewBox: "-11 -11 22 22", class: "face-sign", "aria-hidden": "true" }, faceSign(a.sign, 9)),
      a.label,
      a.small && el("small", {}, a.small),
    );
  byId("actions").replaceChildren(...(lesser.length > 0 ? [el("div", { class: "lesser" }, ...lesser.map(button))] : []), ...main.map(button));
  if (had && list.some((a) => a.id === had)) byId(had).focus({ preventScroll: true });
}

/** @param {string} id of an action */
function tap(id) {
  const a = actions.find((now) => now.id === id);
  if (!a) return;
  closeHelp();
  if (!a.off) {
    a.onclick();
    return;
  }
  setText(byId("note"), a.off);
  uncover();
}

/** Whoever goes on is done with the help: the screen that comes is not to appear above it, out of sight. */
export function closeHelp() {
  const others = /** @type {HTMLDetailsElement} */ (byId("others"));
  if (!others.open) return;
  const { activeElement } = document;
  if (others.contains(activeElement)) /** @type {HTMLElement} */ (activeElement).blur();
  others.open = false;
  scrollTo(0, 0);
}

/** Brings what went wrong a moment ago into view among the words. */
function uncover() {
  measure?.();
  const words = byId("words");
  const last = [byId("trouble"), byId("note")].find((n) => !n.hidden);
  const said = last?.textContent || "";
  if (said === shown.said) return;
  shown.said = said;
  if (getComputedStyle(document.querySelector("footer") || words).position === "static") last?.scrollIntoView({ block: "nearest" });
  words.scrollTop = last ? last.offsetTop - words.offsetTop - byId("title").offsetHeight : 0; // which stays on top
}

/** How much of a hold or rest has been counted; undefined hides it. @param {number | undefined} share 0 to 1 */
export function progress(share) {
  const bar = byId("count");
  bar.hidden = !share || covered;
  if (share) bar.value = share;
}

/** The last reading, in small. @param {string} text */
export function reading(text) {
  setText(byId("reading"), text);
}

/** Writes only what is new: a screen reader reads what is written. A number stays with its unit. */
function setText(node, given) {
  const text = given.replace(/(\d) (?=(V|A|mm|s|%)(?!\w))/g, "$1\u00a0");
  if (node.textContent !== text) node.textContent = text;
  if (["note", "why", "reading"].includes(node.id)) node.hidden = text === "";
}

/** What a magnetometer says, in small. @param {number[]} u microtesla */
export function field(u) {
  reading(`${u.map((v) => String(Math.round(v)).replace("-", "\u2212")).join("  ")} uT`);
}

/**
 * The claim for the coil just read, large, and others that changed, small.
 * @param {import("./claims.js").News} news
 */
export function claim(news) {
  const place = byId("claim");
  place.replaceChildren();
  if (news.read)
    place.append(
      el("p", { class: "claim-read" }, `${news.read.id} `, stateBadge(news.read.state, news.read.state === "undecided" ? news.read.so_far || "undecided so far" : undefined)),
    );
  const more = news.changed.length - MOST_CHANGED;
  if (news.changed.length > 0)
    place.append(el("ul", { class: "claim-changed" }, ...news.changed.slice(0, MOST_CHANGED).map((c) => el("li", {}, `${c.id} `, stateBadge(c.state, c.state === "undecided" ? (c.first ? "undecided so far" : "undecided again") : undefined))), more > 0 && el("li", {}, `and ${more} more`)));
}

/** A coil or a row is read, and what is claimed of it is on the way. @param {string} id */
export function counted(id) {
  byId("claim").replaceChildren(el("p", { class: "claim-read" }, `${id} counted`));
}

export function clearClaim() {
  byId("claim").replaceChildren();
}

/** Something the bench could not do with what was sent. @param {string} text */
export function trouble(text) {
  const place = byId("trouble");
  setText(place, text);
  place.hidden = text === "";
  uncover();
}

/** @param {import("./stream.js").Link} link @param {number} waiting */
export function link(link, waiting) {
  const place = byId("link");
  place.dataset.link = link;
  const kept = `${waiting} ${waiting === 1 ? "message" : "messages"} kept, sent when it is back`;
  setText(
    place,
    {
      up: "connected",
      post: "connected, by single messages",
      lost: waiting > 0 ? `no connection: ${kept}` : "no connection",
      shut: "no connection",
    }[link],
  );
  if (link === "shut") trouble("The pairing key has changed: what is read here reaches the bench no more. Scan the QR code on the bench page again.");
}
