// The check on the page: takes the state the server tells and shows it in the
// drawing and the panels.
import { byId, el, setText } from "../common/dom.js";
import { needleOver } from "../common/north.js";
import { stateBadge, wordOf } from "../common/states.js";
import { Asked } from "./asked.js";
import { Claims } from "./claims.js";
import { microtesla } from "./coil-mark.js";
import { CoilCard } from "./coil-card.js";
import { coilTable, howRead } from "./coil-table.js";
import { readBefore } from "./mend.js";
import { showReadings } from "./readings-panel.js";
import { Judging } from "./judging.js";
import { keep, recall } from "./kept.js";
import { MapLayer } from "./map-layer.js";
import { PadDrawing } from "./pad-drawing.js";
import { showPhoneRows, showPhones, showSample } from "./phone-panel.js";
import { mendAwaits, readCoils, showVerdict, verdictLine } from "./verdict-panel.js";

const COUNTED = 25; // readings of a usual hold
const MOST_FRESH = 12; // more at once is a page just opened
const FRESH_MS = 2500;
const FAR = { all: "", some: " (zoom in for all)", none: " (zoom in)" }; // which coils have room for figures

/** @typedef {{at: string, along: string}} Row at: the coil that the phone is to lie on now, or to be drawn to; along: "B1 to B3" */

export class Bench {
  /** @param {{onrehearse: () => void, onagain: () => void, onsign: () => void, ontrouble: (e: Error) => void}} o */
  constructor(o) {
    this.o = o;
    this.state = null;
    /** In a rehearsal: the row that its phone is to be drawn along. @type {Row | null} */
    this.row = null;
    this.selected = null;
    this.claims = new Claims();
    /** The coil each phone counts on now. @type {Map<string, {at: string, count: number}>} */
    this.counting = new Map();
    this.fooled = new Set();
    /** Coils claimed just now. */
    this.fresh = new Set();
    this.drawing = new PadDrawing(byId("drawing"), { buttons: byId("view-buttons"), onpick: (id) => this.pick(this.selected === id ? null : id), onnear: (near) => setText(byId("values-far"), FAR[near]) });
    this.map = new MapLayer({ drawing: this.drawing, box: byId("show-map"), legend: byId("map-legend") });
    this.asked = new Asked(this.drawing);
    this.judging = new Judging(byId("judging"), { ontrouble: o.ontrouble });
    this.card = new CoilCard(byId("coil"), { onclose: () => this.pick(null), onreading: (id) => this.look(id) });
    this.keepBoxes();
  }

  /** What is switched on stays so when the page is loaded again. */
  keepBoxes() {
    const values = byId("show-values");
    const how = /** @type {HTMLDetailsElement} */ (byId("how-drawn"));
    const before = recall("layers");
    if (before) {
      values.checked = before.values;
      byId("show-map").checked = before.map;
    }
    // On a narrow page it would stand between the drawing and the verdict.
    how.open = before?.how ?? matchMedia("(min-width: 901px)").matches;
    const shown = () => {
      this.drawing.svg.classList.toggle("no-values", !values.checked);
      keep("layers", { values: values.checked, map: byId("show-map").checked, how: how.open });
    };
    values.addEventListener("change", shown);
    byId("show-map").addEventListener("change", shown);
    how.addEventListener("toggle", shown);
    shown();
  }

  /** @param {any} next */
  show(next) {
    // What is pushed between does not repeat the phone page's address.
    if (this.state && next.phone_url === undefined) next = { ...next, phone_url: this.state.phone_url, qr_svg: this.state.qr_svg, own_certificate: this.state.own_certificate };
    if (this.state && next.check.id !== this.state.check.id) {
      this.counting.clear();
      this.fooled = new Set();
      this.selected = null;
    }
    if (!this.state) {
      const was = recall("selected");
      if (was?.check === next.check.id) this.selected = was.id;
    }
    this.told = next;
    if (this.row) next = { ...next, prompt: { do: "hold", ...this.row, say: `Draw the phone along ${this.row.along}.` } };
    this.state = next;
    if (!next.plan.coils.some((c) => c.id === this.selected)) this.selected = null;
    for (const p of next.phones || []) this.follow({ source: p.source, at: p.at, count: p.count });
    byId("plan-name").textContent = next.plan.name;
    const made = !!next.check.rehearsal; // the pad is made up
    byId("rehearsing").hidden = !made;
    document.title = `${made ? "Rehearsal: " : ""}${next.plan.name} · polewise`;
    this.judging.show(next.judging);
    this.storing(next.storing || "");
    const asks = next.prompt && (next.prompt.do === "hold" || next.prompt.do === "ohms") && (readCoils(next).length > 0 || next.phones.some((p) => p.connected));
    byId("prompt").textContent = asks ? next.prompt.say : "";
    this.asked.show(asks ? next : null);
    this.drawing.setPlan(next.plan);
    this.map.planChanged(next.check.id);
    this.draw();
    byId("verdict-line").replaceChildren(stateBadge(...verdictLine(next)));
    const fresh = this.claims.take(next);
    showVerdict(byId("verdict"), next, { ...this.o, claims: this.claims.panel(), onlook: (id) => this.look(id), onneedle: () => this.byNeedle() });
    this.showCoils();
    showPhones(byId("phones"), next);
    this.showHolds();
    if (fresh.length > 0 && fresh.length <= MOST_FRESH) this.freshen(fresh.map((c) => c.id));
    if (fresh.length > 0) this.say(fresh.map((c) => `${c.id} ${wordOf(c.state)}`).join(", "));
  }

  /** By what was read so far the program would have the phone laid on a coil. @param {Row | null} row */
  drawsAlong(row) {
    if (row?.at === this.row?.at && row?.along === this.row?.along) return;
    this.row = row;
    if (this.told) this.show(this.told);
  }

  /** Shows what was read of a coil. @param {string} id */
  look(id) {
    this.selected = null;
    this.pick(id);
    byId("holds").scrollIntoView({ block: "nearest" });
    byId("holds").querySelector("summary")?.focus({ preventScroll: true });
  }

  /** Where a face is tapped in without a phone: below its coil in the table. */
  byNeedle() {
    const first = this.state.plan.coils[0].id;
    this.selected = null;
    this.pick(first);
    const tap = /** @type {HTMLElement} */ (byId("coils").querySelector(".taps button"));
    tap.closest("tr").scrollIntoView({ block: "center" });
    tap.focus({ preventScroll: true });
    this.say(`Supply on. ${needleOver(first)} Then tap what it shows.`);
  }

  /** The table, of which only rows that changed are made anew, and the coil that is selected. */
  showCoils() {
    coilTable(byId("coils"), this.state, { selected: this.selected, onpick: (id) => this.pick(this.selected === id ? null : id) });
    this.card.show(this.state, this.selected);
    this.showPicked();
  }

  /** The coil that is selected in a line, for where its card is out of sight. */
  showPicked() {
    const look = this.selected && looksOf(this.state, this.selected).get(this.selected);
    const key = JSON.stringify([this.selected, look]);
    const place = byId("picked");
    if (place.dataset.key === key) return;
    place.dataset.key = key;
    place.hidden = !look;
    if (!look) return;
    const figures = look.how || (look.measured_uT !== null ? `${microtesla(look.measured_uT)} of ${microtesla(look.planned_uT)} uT` : look.planned_uT !== null ? `${microtesla(look.planned_uT)} uT planned` : "");
    const more = () => {
      const card = byId("coil");
      card.scrollIntoView({ block: "start" });
      card.focus({ preventScroll: true });
    };
    place.replaceChildren(
      el("span", {}, el("strong", {}, this.selected), look.state ? stateBadge(look.state) : el("span", {}, "not read yet"), figures && el("span", {}, figures)),
      el("button", { type: "button", class: "small", "aria-label": `More of coil ${this.selected}`, onclick: more }, "More"),
    );
  }

  showHolds() {
    showReadings(byId("holds"), this.state, { selected: this.selected, onpick: (id) => this.pick(id), ontrouble: this.o.ontrouble, say: (text) => this.say(text) });
  }

  /** @param {string | null} id */
  pick(id) {
    this.selected = id;
    keep("selected", { check: this.state.check.id, id });
    this.draw();
    this.showCoils();
    this.showHolds();
  }

  draw() {
    const looks = looksOf(this.state, this.selected);
    for (const c of this.counting.values()) if (looks.has(c.at)) looks.get(c.at).counting = Math.min(1, c.count / COUNTED);
    for (const id of this.fooled) if (looks.has(id)) looks.get(id).fooled = true;
    this.mark(looks);
    this.drawing.show(looks);
  }

  /** What the mend touches, and what was claimed just now. @param {Map<string, any>} looks */
  mark(looks) {
    const touch = new Map();
    const cause = this.state.verdict?.outcome === "fault" && !mendAwaits(this.state) ? this.state.verdict.causes?.[0] : null;
    (cause?.mend || []).forEach((m, i) => {
      // Somewhere in a string: none of its places is the one.
      const somewhere = m.do === "remake-joint" ? this.state.plan.strings.find((s) => s.id === m.id) : null;
      for (const id of somewhere?.coils || [m.do === "swap-pad" ? "pad" : m.id]) touch.set(id, i + 1);
    });
    for (const [id, n] of touch) if (looks.has(id)) looks.get(id).step = n;
    for (const id of this.fresh) if (looks.has(id)) looks.get(id).fresh = true;
    this.drawing.touch(touch);
  }

  /** Shows for a moment what was claimed just now. @param {string[]} ids */
  freshen(ids) {
    this.fresh = new Set(ids);
    clearTimeout(this.freshFor);
    this.freshFor = setTimeout(() => {
      this.fresh.clear();
      this.draw();
    }, FRESH_MS);
    this.draw();
  }

  /** @param {{source: string, at?: string, count?: number}} m */
  follow(m) {
    if (m.at) this.counting.set(m.source, { at: m.at, count: m.count || 0 });
    else this.counting.delete(m.source);
  }

  /** Why nothing read is stored now. @param {string} trouble */
  storing(trouble) {
    const bar = byId("storing");
    if (bar.textContent !== trouble) bar.textContent = trouble;
    bar.hidden = trouble === "";
  }

  /** @param {string} text */
  say(text) {
    byId("said").textContent = text;
  }

  /** A message of the live stream other than a whole state. @param {any} m */
  received(m) {
    if (!this.state) return;
    switch (m.type) {
      case "phones":
        this.state.phones = m.phones;
        showPhoneRows(m.phones);
        break;
      case "judging":
        this.judging.show(m.judging);
        break;
      case "storing":
        this.state.storing = m.trouble;
        this.storing(m.trouble);
        break;
      case "sample":
        this.follow(m);
        showSample(m);
        this.draw();
        break;
      case "hold":
        if (!m.open) this.follow({ source: m.source });
        this.draw();
        break;
      default:
        break; // told for others
    }
  }
}

/**
 * What each coil shows of a state of the check.
 * @param {any} state @param {string | null} selected
 * @returns {Map<string, import("./coil-mark.js").Look>}
 */
export function looksOf(state, selected) {
  const judged = new Map((state.verdict?.coils || []).map((c) => [c.id, c]));
  const planned = new Map((state.predicted?.coils || []).map((c) => [c.id, c.bz_uT]));
  const before = new Set(readBefore(state));
  const look = (c) => {
    const v = judged.get(c.id);
    const read = v && v.used > 0;
    return {
      state: read ? v.state : null,
      p: read ? v.p : null,
      planned_uT: read ? v.expected_uT : (planned.get(c.id) ?? null),
      measured_uT: read ? (v.measured_uT ?? null) : null,
      how: read && v.measured_uT == null ? howRead(state, c.id) : "",
      before: before.has(c.id),
      next: state.prompt?.at === c.id,
      selected: selected === c.id,
      counting: null,
      fooled: false,
    };
  };
  return new Map(state.plan.coils.map((c) => [c.id, look(c)]));
}
