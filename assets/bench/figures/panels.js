// The panels of figures that need no entering: pure drawing of what the server
// worked out.
import { el } from "../../common/dom.js";
import { fieldOver, otherSupply } from "../editor/edits.js";
import { digits, inductance, panel, percent, plainNumber, table } from "./numbers.js";

const OVER_SHOWN = 6; // coils over the edge

/** @param {any} f figures @param {any[]} problems @param {{id: string, mm: number}[]} over coils over the pad's edge */
export function warningsPanel(f, problems, over) {
  const all = [...problems.map((p) => ({ ...p, build: true })), ...overWarning(over), ...f.warnings];
  if (all.length === 0) return el("p", { class: "figures-well", role: "status" }, "Nothing to warn of: it can be wound, driven and read as planned.");
  return el(
    "section",
    { class: "card caution", id: "figure-warnings", "aria-label": "Warnings" },
    el(
      "ul",
      {},
      ...all.map((w) =>
        el("li", {}, el("strong", {}, w.build ? "Cannot be built: " : "Warning: "), w.key && el("code", {}, w.key), w.key && " ", capital(w.say), " ", el("span", { class: "remedy" }, w.remedy)),
      ),
    ),
    problems.length > 0 ? el("p", {}, "The figures below are those of the plan as written. No such pad can be made.") : null,
  );
}

/** @param {{id: string, mm: number}[]} over */
function overWarning(over) {
  if (over.length === 0) return [];
  const far = over.slice(0, OVER_SHOWN).map((k) => `${k.id} by ${plainNumber(Math.ceil(k.mm * 10) / 10)} mm`);
  const more = over.length > OVER_SHOWN ? ` and ${over.length - OVER_SHOWN} more` : "";
  return [{ key: "", say: `copper reaches over the pad's edge: ${far.join(", ")}${more}.`, remedy: "Move it, or make the pad larger." }];
}

/** @param {any} f @param {any} plan as it is drawn */
export function supplyPanel(f, plan) {
  const other = otherSupply(f.check.raw, plan?.supply, f.pad.amps);
  const one = (title, s) =>
    el(
      "div",
      { class: "setting" },
      el("h4", {}, title),
      s.amps > 0 &&
        el(
          "dl",
          {},
          pair(s.hold_amps ? "current limit" : "volts", s.hold_amps ? `${digits(s.limit_amps, 2)} A` : `${digits(s.volts, 2)} V`),
          pair(s.hold_amps ? "volts above" : "limit", s.hold_amps ? `${digits(s.volts, 2)} V` : `${digits(s.limit_amps, 2)} A`),
          pair("shows", `${digits(s.amps, s.hold_amps ? 2 : 3)} A`),
          pair("pull", `${digits(s.least_uT, 2)} to ${digits(s.most_uT, 2)} uT`),
        ),
      el("p", {}, !s.good && s.amps > 0 ? el("strong", {}, "Not all that is asked for can be reached. ") : "", s.say),
    );
  const differs = other && el("p", { class: "note" }, `Your plan says ${other.own}. A check goes by what the plan says: write the advice into it, or set ${other.own}.`);
  return panel("figure-supply", "Set the supply for the check", differs, one("For raw readings", f.check.raw), one("For compass headings", f.check.compass));
}

function pair(term, value) {
  return el("div", {}, el("dt", {}, term), el("dd", {}, value));
}

/** @param {any} f */
export function windingsPanel(f) {
  const w = f.windings;
  const row = (name, of) => [name, ...w.map(of)];
  return panel(
    "figure-windings",
    "Kinds of coil",
    table(
      "Each kind of coil",
      ["each coil", ...w.map((x) => x.id)],
      [
        row("coils", (x) => String(x.coils)),
        row("turns", (x) => String(x.turns)),
        row("layers × turns", (x) => (x.turns_per_layer ? `${x.layers} × ${Math.min(x.turns_per_layer, x.turns)}` : "no room")),
        row("builds, in grooves", (x) => `${digits(x.tight_build_mm, 2)} mm`),
        row("builds, piled", (x) => `${digits(x.build_mm, 2)} mm`),
        row("wire, bare", (x) => `${digits(x.wire_mm)} mm`),
        row("wire, with enamel", (x) => `${digits(x.over_enamel_mm)} mm`),
        row("wire in the turns", (x) => `${digits(x.wire_m)} m`),
        row("to cut, with tails", (x) => `${plainNumber(Math.ceil(10 * x.cut_m - 1e-6) / 10)} m`),
        row("copper", (x) => `${digits(x.copper_grams)} g`),
        row("ohms at 20 °C", (x) => digits(x.ohms_20C) + (x.measured ? ", measured" : "")),
        ...(f.room_celsius === 20 ? [] : [row(`ohms at ${plainNumber(f.room_celsius)} °C`, (x) => digits(x.ohms_room))]),
        row("inductance", (x) => inductance(x.inductance_uH)),
      ],
      "facts",
    ),
  );
}

/** @param {any} f @param {any} plan as it is drawn */
export function stringsPanel(f, plan) {
  const warm = f.room_celsius !== 20; // at 20 C the ohms are told once
  const line = (name, s, share) => [
    name,
    digits(s.ohms_20C),
    ...(warm ? [digits(s.ohms_room)] : []),
    digits(s.amps),
    digits(s.watts),
    share,
    inductance(s.inductance_uH),
    `${digits(s.time_constant_ms)} ms`,
    s.peak_share < 0.9995 ? `${digits(s.peak_amps)} A, ${percent(s.peak_share)}` : "all of it",
  ];
  return panel(
    "figure-strings",
    "Strings and pad",
    table(
      "What each string and the pad take",
      ["string", "ohm at 20 °C", ...(warm ? [`at ${plainNumber(f.room_celsius)} °C`] : []), "A", "W", "of the current", "inductance", "time constant", "reached in a pulse"],
      [...f.strings.map((s) => line(s.id, s, percent(s.share))), line("pad", f.pad, "")],
      "totals",
    ),
    el(
      "p",
      { class: "note" },
      `The pad takes ${digits(f.pad.volts)} V; the supply gives ${digits(f.pad.supply_watts)} W.${f.pad.limited ? " The supply's current limit holds it down." : ""} Currents are those at 20 °C${plan?.supply?.drive === "pulsed" ? " while a pulse lasts, watts on average" : ""}. A string's inductance is what a meter shows of it unplugged. Time constants are those after a voltage is switched on, with the pull of all coils on each other and the supply's own resistance.`,
    ),
  );
}

/** @param {any} f */
export function fieldPanel(f) {
  const o = f.over;
  const most = Math.max(...o.coils.map((c) => Math.abs(c.b_uT[2])), 1e-9);
  const rows = o.coils.map((c) => [c.id, digits(c.b_uT[2]), digits(Math.hypot(...c.b_uT)), shareBar(Math.abs(c.b_uT[2]) / most), digits(c.most_uT), `${digits(c.aside_uT[0], 2)} to ${digits(c.aside_uT[1], 2)}`]);
  return panel(
    "figure-field",
    "Field where the sensor lies, uT",
    table("Field over each coil, microtesla", ["coil", "vertical", "strength", "of the strongest", "strongest spot", "sideways, inner edge"], rows),
    el(
      "p",
      { class: "note" },
      `Vertical field: ${fieldOver(o.coils.map((c) => ({ id: c.id, bz_uT: c.b_uT[2] })))}; evenness ${percent(o.evenness)}. Over the whole pad at this height the strength is ${digits(o.mean_uT)} uT on average, from ${digits(o.least_uT, 2)} to ${digits(o.most_uT)}; it spreads by ${percent(o.spread)}.`,
    ),
  );
}

function shareBar(share) {
  const fill = el("span", { class: "share-fill" });
  fill.style.inlineSize = `${Math.max(1, 100 * share)}%`;
  return el("span", { class: "share-bar" }, fill, el("span", { class: "share-word" }, percent(share)));
}

/** @param {any} f */
export function keepPanel(f) {
  return panel(
    "figure-keep",
    "Keep away",
    f.keep.distance_mm > 0 ? el("p", { class: "big" }, `${f.keep.distance_mm} mm`, el("small", {}, ` until it is below ${f.keep.limit_mT} mT`)) : null,
    el("p", {}, f.keep.say),
    el("p", { class: "note" }, f.keep.source),
  );
}

/** @param {any} f */
export function cutPanel(f) {
  return panel(
    "figure-cut",
    "Wire to buy, leads to cut",
    table(
      "Wire to wind with",
      ["wire", "metres", "kg", "spools"],
      f.cut.spools.map((s) => [s.wire, digits(s.metres), digits(s.kg), s.whole ? String(s.spools) : `${s.spools}, but a coil takes more than one`]),
    ),
    table(
      "Leads to cut",
      ["lead from", "to", "mm"],
      [...f.cut.leads.map((l) => [l.from, l.to, String(l.length_mm)]), ["all", "", digits(1000 * f.cut.lead_m, 4)]],
      "totals leads",
    ),
    el("p", { class: "note" }, `Leads run along the rows and are cut ${percent(f.cut.slack_share)} longer; the plug is at the lower left corner.`),
  );
}

const capital = (s) => (s ? s[0].toUpperCase() + s.slice(1) : "");
