// How a phone joins, and what each one does now.
import { el } from "../common/dom.js";

/** @param {HTMLElement} place @param {any} state */
export function showPhones(place, state) {
  const qr = el("div", {});
  // The drawing is made by this program from the address alone.
  const drawn = new DOMParser().parseFromString(state.qr_svg, "image/svg+xml").documentElement;
  qr.append(document.importNode(drawn, true));
  place.replaceChildren(
    el("h2", { id: "phones-title" }, "Phones"),
    el(
      "div",
      { class: "pairing" },
      qr,
      el(
        "div",
        {},
        el("p", {}, "Scan with the phone's camera. It must be on the same network; accept the certificate's warning."),
        el("a", { class: "address", href: state.phone_url }, state.phone_url),
      ),
    ),
    el("div", { id: "phone-rows" }, ...phoneRows(state.phones)),
  );
}

/** @param {any[]} phones */
export function phoneRows(phones) {
  return phones.map((p) =>
    el(
      "div",
      { class: "phone-row", "data-source": p.source },
      el("strong", {}, p.device || "a phone"),
      ` by ${p.route || "no"} route, ${p.connected ? "connected" : "not connected now"}. `,
      el("span", { class: "doing" }, doing(p)),
    ),
  );
}

/** @param {any} p */
export function doing(p) {
  const field = p.last_uT ? ` ${p.last_uT.map((v) => v.toFixed(0)).join(", ")} uT` : "";
  return p.at ? `On ${p.at}, ${p.count} readings.${field}` : field;
}
