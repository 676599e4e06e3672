// How a phone joins, and what each one does now.
import { el, setText } from "../common/dom.js";
import { phoneNumber } from "../common/names.js";

/** @param {HTMLElement} place @param {any} state @param {{held: Record<string, string>}} [o] */
export function showPhones(place, state) {
  if (place.dataset.url !== state.phone_url) {
    place.dataset.url = state.phone_url || "";
    place.replaceChildren(el("h2", { id: "phones-title", class: "kicker" }, "Phones"), pairing(state), el("div", { id: "phone-rows" }));
  }
  showPhoneRows(state.phones);
}

function pairing(state) {
  if (!state.phone_url) return el("p", { class: "note" }, "The phone page's address is not known yet.");
  const qr = el("div", { class: "qr", role: "img", "aria-label": "The phone page's address as a QR code" });
  // The drawing is made by this program from the address alone.
  const drawn = new DOMParser().parseFromString(state.qr_svg || "", "image/svg+xml").documentElement;
  if (drawn.nodeName === "svg") qr.append(document.importNode(drawn, true));
  const copied = el("span", { role: "status", class: "note" });
  return el(
    "div",
    { class: "pairing" },
    qr,
    el(
      "div",
      {},
      el("p", {}, `Scan with the phone's camera, on the same network.${state.own_certificate ? "" : " The phone warns of a certificate it does not know: accept it, it is this program's own."}`),
      el("a", { class: "address", href: state.phone_url }, state.phone_url),
      el(
        "p",
        {},
        el(
          "button",
          {
            type: "button",
            class: "small",
            onclick: () =>
              navigator.clipboard.writeText(state.phone_url).then(
                () => (copied.textContent = "copied"),
                () => (copied.textContent = "not copied: mark the address and copy it by hand"),
              ),
          },
          "Copy the address",
        ),
        " ",
        copied,
      ),
    ),
  );
}

const SILENT_MS = 3000; // in a hold: the phone waits for the person
const TICK_MS = 1000;

/** When each phone read last. @type {Map<string, number>} */
const heard = new Map();
/** The row of each phone as it was last told. @type {Map<string, any>} */
const told = new Map();
let watching = 0;

/** A phone that asks something in a hold sends nothing meanwhile: that is told here too. */
function watch() {
  for (const p of told.values()) {
    const row = document.querySelector(`[data-source="${CSS.escape(p.source)}"] .doing`);
    if (row && p.at && performance.now() - (heard.get(p.source) ?? 0) > SILENT_MS) setText(/** @type {HTMLElement} */ (row), `on ${p.at}, ${p.count} readings. It waits: look what it asks.`);
  }
}

let away = false; // the program does not answer
/** @type {any[]} */
let last = [];

/** Which phones are connected is not known while the program does not answer. @param {boolean} lost */
export function phonesKnown(lost) {
  if (away === lost) return;
  away = lost;
  showPhoneRows(last);
}

/** How a phone is connected, and the class of that. @param {any} p */
const linkOf = (p) => (away ? ["link lost", "not known now"] : p.connected ? ["link up", "connected"] : ["link lost", "not connected now"]);

/** @param {any[]} phones */
export function showPhoneRows(phones) {
  last = phones;
  const rows = document.getElementById("phone-rows");
  if (!rows) return;
  watching ||= setInterval(watch, TICK_MS);
  told.clear();
  for (const p of phones) {
    if (p.connected && !p.feed && p.route === "vector") told.set(p.source, p);
    if (!heard.has(p.source)) heard.set(p.source, performance.now());
  }
  phones = phones.filter((p) => !p.feed); // those have a card of their own
  const alike = (p) => phones.filter((q) => q.device === p.device).length > 1;
  rows.replaceChildren(
    ...(phones.length === 0 ? [el("p", { class: "note" }, "No phone has joined yet.")] : []),
    phones.some(alike) ? el("p", { class: "note" }, "Each phone has its number under Other ways, and help.") : "",
    ...phones.map((p) =>
      el(
        "div",
        { class: "phone-row", "data-source": p.source },
        el("p", {}, el("strong", {}, p.device || "A phone", alike(p) ? `, number ${phoneNumber(p.source)}` : ""), ` ${ROUTES[p.route] || ""}`, el("span", { class: linkOf(p)[0] }, linkOf(p)[1])),
        el("p", { class: "doing" }, doing(p)),
      ),
    ),
  );
  watch();
}

const ROUTES = { vector: "reads the field itself", heading: "reads its compass", hand: "is tapped by hand" };

/** What a phone does now. @param {any} p */
export function doing(p) {
  if (!p.route) return "has opened the page, and not begun yet";
  const field = p.last_uT ? p.last_uT.map((v) => v.toFixed(0).replace("-", "−").padStart(5)).join(" ") + " uT" : p.route === "vector" ? "no reading yet" : "";
  return p.at ? `on ${p.at}, ${p.count} readings   ${field}` : `between coils   ${field}`;
}

/** A single reading, ten times a second: only words change. @param {any} m */
export function showSample(m) {
  const row = document.querySelector(`[data-source="${CSS.escape(m.source)}"] .doing`);
  const p = told.get(m.source);
  if (!p || p.at !== m.at || p.count !== m.count) heard.set(m.source, performance.now()); // others tell how the phone lies
  if (p) Object.assign(p, { at: m.at, count: m.count });
  if (row && performance.now() - (heard.get(m.source) ?? 0) < SILENT_MS) row.textContent = doing({ route: "vector", at: m.at, count: m.count, last_uT: m.uT });
}
