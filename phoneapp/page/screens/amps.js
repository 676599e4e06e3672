// The amps that a supply shows, which may be left empty.
import { el } from "../../common/dom.js";
import { round } from "../supply.js";

/** @param {any} told */
export function ampsField(told) {
  const amps = told.predicted?.pad?.amps;
  const input = el("input", { type: "text", inputmode: "decimal", id: "amps", size: 6, autocomplete: "off" });
  return el("p", { class: "choice" }, el("label", { for: "amps" }, `Amps it shows, if it does${amps > 0 ? ` (about ${round(amps)} planned)` : ""}`), input);
}

/** The button below it. @param {boolean} [doubted] the amps typed were asked about */
export function isOn(doubted) {
  return doubted ? "Yes, it shows that" : "It is on";
}
