// The plan editor: the drawing as a place to work, exact numbers beside it, and
// the file it comes from. The text of the plan is what is edited; the program
// reads it and changes it (api/plan), this page shows what follows.
import { byId, el, setText, svg } from "../../common/dom.js";
import { tellTrouble } from "../dialogs.js";
import { showFigures as showPlanning } from "../figures/figures.js";
import { ask } from "../live.js";
import { MapLayer } from "../map-layer.js";
import { when } from "../records/words.js";
import { currentView } from "../views.js";
import { askBegin } from "./begin.js";
import { Board } from "./board.js";
import { difference } from "./difference.js";
import { drafts, drop, keep } from "./drafts.js";
import * as edits from "./edits.js";
import { Ledger } from "./ledger.js";
import { Panel } from "./panel.js";

const DIFFERENCES_SHOWN = 40;
const CHAIN_SHOWN = 5; // coils of a string being drawn

export class Editor {
  /** @param {{use: (toml: string) => Promise<void>, say: (text: string) => void, busy: () => boolean}} o busy: readings of the check on the bench would end */
  constructor(o) {
    this.o = o;
    this.id = `${Date.now()}-${Math.random().toString(36).slice(2, 8)}`;
    /** The plan file the program was started with. @type {{name: string, path: string, hash: string, text: string} | null} */
    this.disk = null;
    this.base = null; // the text this editing began from
    this.redrawing = null;
    this.shown = null; // the sight that is shown: of the text, or of what is being dragged
    this.fresh = true;
    /** What stands typed in a field and is not in the text yet. @type {import("./drafts.js").Typed | null} */
    this.typed = null;
    this.ledger = new Ledger({
      onsight: (sight, preview) => this.saw(sight, preview),
      ontext: (text) => {
        this.keepTyped(text);
        this.banner.querySelector(".not-done")?.remove(); // something was done since
      },
      ontrouble: (e) => this.trouble(e.message),
    });
    this.build();
    document.addEventListener("keydown", (e) => this.key(e));
  }

  build() {
    const press = (id, words, run, name = "") => el("button", { type: "button", id, class: name, onclick: run }, words);
    this.undoButton = press("ed-undo", "Undo", () => void this.back(), "small");
    this.redoButton = press("ed-redo", "Redo", () => void this.forth(), "small");
    this.saveButton = press("ed-save", "Save", () => void this.save());
    this.toPicked = press("ed-to-picked", "", () => this.panel.showsPicked(), "main"); // where the fields are far below the drawing
    this.toPicked.hidden = true;
    this.file = el("input", { type: "file", id: "ed-file", accept: ".toml,text/plain", class: "out-of-sight", "aria-label": "Open a plan file", tabindex: "-1" });
    this.file.addEventListener("change", () => void this.open());
    this.status = el("span", { class: "ed-status", role: "status" });
    this.wrong = press("ed-wrong", "", () => this.panel.showsWrong(), "small");
    this.banner = el("div", { class: "banners" });
    this.tools = el("div", { class: "ed-tools" });
    const mapBox = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox", id: "ed-map" }));
    const mapLegend = el("p", { class: "legend", hidden: true });
    this.figures = el("dl", { class: "ed-figures", "aria-label": "What follows" });
    const buttons = el("span", { class: "view-buttons" });
    const drawing = el("div", { class: "drawing", id: "ed-drawing" });
    const side = el("div", { class: "side", id: "ed-side" });
    this.title = el("h2", { class: "on-paper", dir: "auto" }); // the page's own names the pad on the bench
    this.edited = el("p", { class: "edited", id: "edited-name", dir: "auto" });
    byId("plan-name").parentElement.before(this.edited);
    byId("editor").replaceChildren(
      this.title,
      el(
        "div",
        { class: "ed-bar" },
        press("ed-begin", "Begin a plan…", () => void this.askBegin()),
        press("ed-open", "Open a file…", () => this.file.click()),
        this.file,
        this.saveButton,
        press("ed-download", "Download", () => this.download()),
        press("ed-use", "Use this plan", () => void this.use(), "main"),
        this.status,
        this.wrong,
      ),
      this.banner,
      el("div", { class: "ed-main" }, el("section", { class: "ed-desk", "aria-label": "The plan, drawn" }, el("div", { class: "layers" }, this.tools, el("span", { class: "row" }, this.undoButton, this.redoButton, buttons)), drawing, mapLegend, this.figures, el("label", { class: "boxes" }, mapBox, "predicted field over the pad"), el("details", { class: "legend" }, el("summary", {}, "How to work here"), el("p", {}, LEGEND)), this.toPicked), side),
    );
    this.board = new Board(drawing, buttons, {
      onpick: () => this.panel?.sight && this.showSide(),
      ondrag: (places) => this.ledger.wonder(places && edits.move(this.ledger.sight, places)),
      onback: () => this.saw(this.ledger.sight, true),
      onmove: (places, key) => void this.moved(places, key),
      ondelete: () => this.remove(),
      onduplicate: () => this.duplicate(),
      onorder: () => this.ordered(),
      say: this.o.say,
    });
    this.board.looks = (id) => this.look(id);
    this.map = new MapLayer({ drawing: this.board.drawing, box: mapBox, legend: mapLegend, plan: () => ({ plan_toml: this.ledger.text }) });
    this.panel = new Panel(side, this);
    side.addEventListener("input", (e) => this.typing(/** @type {HTMLInputElement} */ (e.target)));
    this.showTools();
  }

  /** The state of the bench; the first one tells what to begin from. @param {any} state */
  async follow(state) {
    const toml = state.plan.toml;
    this.onBench = state.check.rehearsal ? null : state.plan;
    this.showChanged();
    if (this.benchName !== state.plan.name) {
      this.benchName = state.plan.name;
      if (this.ledger.sight) this.showBar();
    }
    if (this.base === null) {
      this.base = toml;
      const file = await ask("api/plan/file").catch(() => null);
      if (file?.path) this.disk = { name: file.name, path: file.path, hash: file.hash, text: file.plan_toml };
      if (this.disk?.hash) this.base = this.disk.text;
      await this.ledger.begin(this.base);
      if (file?.say) this.trouble(file.say);
      this.offer();
      this.showBar();
    } else if (!this.disk && this.ledger.text === this.base && toml !== this.base && this.ledger.sight) {
      this.base = toml;
      this.fresh = true;
      await this.ledger.begin(toml);
    }
  }

  saw(sight, preview) {
    this.shown = sight;
    if (sight.plan && this.board.drag?.on) this.board.draw();
    else if (preview) this.board.plan && this.board.draw();
    else if (sight.plan && this.ledger.waiting.length === 0) {
      this.board.setPlan(drawable(sight.plan), this.fresh ? "fit" : "keep");
      this.fresh = false;
    }
    byId("ed-drawing").classList.toggle("stale", !sight.plan);
    this.showFigures();
    if (preview) return;
    this.map.planChanged(sight.usable ? sight.plan_toml : null);
    this.showSide();
    this.showBar();
    if (sight.plan_toml) showPlanning(byId("figures"), { planTOML: sight.plan_toml, plan: sight.plan });
  }

  showSide() {
    this.panel.show();
    const [first, ...more] = this.board.picked;
    this.toPicked.hidden = !first;
    this.toPicked.textContent = more.length ? `${more.length + 1} coils: their numbers` : `Coil ${first}: its numbers`;
    this.showTools();
  }

  /** What is shown of one coil. */
  look(id) {
    const { shown } = this;
    if (this.index?.of !== shown) {
      const troubles = new Map();
      const tell = (coil, p) => !troubles.has(coil) && troubles.set(coil, `${p.say} ${p.remedy || ""}`.trim());
      for (const p of shown.problems) {
        if (p.table === "coil") for (const c of [p.id, p.with]) tell(c, p);
        if (p.table === "winding") for (const c of shown.plan?.coils || []) if (c.winding === p.id) tell(c.id, p);
      }
      this.index = { of: shown, troubles, bz: new Map((shown.predicted?.coils || []).map((c) => [c.id, c.bz_uT])) };
    }
    return { trouble: this.index.troubles.get(id), bz_uT: this.index.bz.get(id) };
  }

  showFigures() {
    const { predicted, check } = this.shown;
    const put = (...pairs) => this.figures.replaceChildren(...pairs.map(([term, words, more]) => el("div", { title: more || "" }, el("dt", {}, term), el("dd", {}, words))));
    if (!predicted) {
      put(["Figures", this.shown.plan ? "follow once the plan is whole" : "follow once the text can be read"]);
      return;
    }
    const { ohms, amps, volts } = predicted.pad;
    const raw = check?.raw;
    const other = edits.otherSupply(raw, this.shown.plan?.supply, amps);
    const over = edits.offPad(this.shown.plan);
    const joined = edits.joined(this.shown.plan);
    const unit = this.shown.values.length_unit || "mm";
    const far = over.slice(0, 3).map((k) => `${k.id} by ${Math.round((k.mm / this.shown.unit_mm) * 10) / 10} ${unit}`);
    put(
      ["The pad", `${(ohms ?? 0).toFixed(2)} ohm, ${amps.toFixed(2)} A at ${volts.toFixed(2)} V`],
      ["Field over the coils", edits.fieldOver(predicted.coils)],
      ["For the check", other ? `plan: ${other.own}; advice: ${other.advice}` : raw?.volts ? (raw.hold_amps ? `${raw.limit_amps} A held by the limit, up to ${raw.volts} V` : `${raw.amps.toFixed(2)} A: set ${raw.volts} V, limit ${raw.limit_amps} A`) : "no current flows", raw?.say],
      ...(joined ? [["Strings joined", joined]] : []),
      ...(over.length ? [["Over the pad's edge", `${far.join(", ")}${over.length > 3 ? ` and ${over.length - 3} more` : ""}`]] : []),
    );
  }

  showTools() {
    const press = (id, words, run, more = {}) => el("button", { type: "button", class: "small", id, onclick: run, ...more }, words);
    const { order, several } = this.board;
    const focus = this.tools.contains(document.activeElement) ? document.activeElement.id : "";
    if (order) {
      // One line, so that the drawing does not move between two taps.
      const last = order.slice(-CHAIN_SHOWN).join(" → ");
      const chain = order.length ? `${order.length > CHAIN_SHOWN ? "… → " : "+ "}${last}` : "tap its coils, plus end first";
      this.tools.replaceChildren(
        el("strong", { role: "status", class: "chain-line" }, `${this.redrawing ? `String ${this.redrawing}` : "New string"}: ${chain}`),
        press("ed-string-done", "Done", () => void this.finishString(), { class: "small main", disabled: order.length === 0 }),
        press("ed-string-back", "One back", () => (order.pop(), this.board.draw(), this.showTools()), { disabled: order.length === 0 }),
        press("ed-string-not", "Not now", () => this.board.drawString(null)),
      );
    } else {
      const whole = this.ledger.sight?.plan?.windings.length;
      this.tools.replaceChildren(
        press("ed-add", "Add a coil", () => this.addCoil(), { disabled: !whole }),
        press("ed-draw-string", "Draw a string", () => this.drawString(null), { disabled: !whole }),
        press("ed-several", "Pick several", () => ((this.board.several = !several), this.showTools()), { "aria-pressed": String(several) }),
      );
    }
    if (focus) (document.getElementById(focus) || document.getElementById("ed-draw-string"))?.focus();
  }

  /** The string being drawn has other coils now. */
  ordered() {
    this.showTools();
    const { order } = this.board;
    if (order) this.o.say(order.length ? `The string so far: ${order.join(", ")}.` : "No coil is in the string yet.");
  }

  showBar() {
    const { ledger } = this;
    const undo = ledger.before.at(-1);
    const redo = ledger.after.at(-1);
    this.undoButton.disabled = !undo;
    this.redoButton.disabled = !redo;
    this.undoButton.title = undo ? `Take back: ${undo.label} (Ctrl+Z)` : "Nothing to take back";
    this.redoButton.title = redo ? `Do again: ${redo.label} (Ctrl+Shift+Z)` : "Nothing to do again";
    const whole = ledger.sight?.usable && ledger.sight.problems.length === 0;
    byId("ed-use").disabled = !whole;
    byId("ed-use").title = whole ? "Begins a new check with this plan" : "Put right what is wrong with the plan first";
    this.title.textContent = `${ledger.sight?.values?.name || "A plan without a name"}${whole ? "" : ", not a whole plan yet"}`;
    const name = ledger.sight?.values?.name;
    this.edited.textContent = !name || name === this.benchName ? "" : name;
    this.showChanged();
    const { wrong } = this.panel; // on a phone's screen the list of them is far below
    if (wrong > (this.toldWrong ?? 0)) this.o.say(this.panel.problems.querySelector("li")?.textContent || "");
    this.toldWrong = wrong;
    this.wrong.hidden = wrong === 0;
    this.wrong.textContent = wrong === 1 ? "! 1 thing to put right" : `! ${wrong} things to put right`;
    byId("ed-download").hidden = !this.disk;
    this.saveButton.textContent = this.disk ? `Save to ${this.disk.name}` : "Save";
    this.saveButton.title = this.disk ? this.disk.path : "Downloads the plan: the program was started without a plan file";
    const saved = this.disk ? ledger.text === this.disk.text && this.disk.hash : ledger.text === this.base;
    this.saveButton.disabled = Boolean(this.disk && saved);
    setText(this.status, saved ? (this.disk ? "saved" : "as on the bench") : this.noDraft ? "Not saved, and this browser keeps no draft: save soon." : "not saved; a draft is kept in this browser");
  }

  /** On the check's page: a check goes by its plan as it was, whatever is changed here since. */
  showChanged() {
    const { sight, text } = this.ledger;
    const place = byId("plan-changed");
    const changed = Boolean(this.onBench && sight && sight.values?.name === this.onBench.name && text !== this.onBench.toml);
    if (place.hidden !== changed) return;
    place.hidden = !changed;
    place.replaceChildren(...(changed ? ["The plan of this pad was changed ", el("a", { href: "#plan" }, "under Plan"), ". This check goes by it as it was. To check by the changed one, use it there: a new check begins."] : []));
  }

  /** @param {any[]} change @param {string} label @param {string} [mergeKey] */
  change(change, label, mergeKey) {
    return this.ledger.change(change, label, mergeKey);
  }

  moved(places, key) {
    const ids = [...places.keys()];
    const words = ids.length === 1 ? ids[0] : `${ids.length} coils`;
    const [id, p] = [...places][0];
    this.o.say(`${id} at ${edits.inUnit(this.ledger.sight, p.x)}, ${edits.inUnit(this.ledger.sight, p.y)}`);
    return this.change(edits.move(this.ledger.sight, places), `move of ${words}`, key ? `nudge ${ids}` : "");
  }

  async back() {
    const step = this.ledger.before.at(-1);
    if (step && (await this.ledger.undo())) this.o.say(`Taken back: ${step.label}.`);
  }

  async forth() {
    const step = this.ledger.after.at(-1);
    if (step && (await this.ledger.redo())) this.o.say(`Done again: ${step.label}.`);
  }

  async remove() {
    const ids = [...this.board.picked];
    const byKeys = document.activeElement !== document.body;
    if (!(await this.change(ids.map((id) => ({ op: "remove", table: "coil", id })), `${ids.join(", ")} deleted`))) return; // prettier-ignore
    this.o.say(`${ids.join(", ")} deleted`);
    if (byKeys && document.activeElement === document.body) this.board.drawing.enter(); // what had the focus is gone
  }

  async duplicate() {
    const { edits: change, ids } = edits.duplicate(this.ledger.sight, this.board.picked);
    if (await this.change(change, `${ids.join(", ")} added`)) this.added(ids);
  }

  /** @param {string[]} ids */
  added(ids) {
    this.board.pick(ids);
    const at = this.ledger.sight.values.coil?.find((c) => c.id === ids[0])?.at || [];
    this.o.say(`${ids.join(", ")} added${ids.length === 1 ? `, at ${at.join(", ")}` : ""}`);
  }

  async addCoil() {
    const [like] = this.board.picked;
    const { edits: change, id } = edits.addCoil(this.ledger.sight, like || null);
    if (await this.change(change, `${id} added`)) this.added([id]);
  }

  align(how) {
    return this.change(edits.align(this.ledger.sight, this.board.picked, how), "coils lined up");
  }

  spread(axis) {
    return this.change(edits.spread(this.ledger.sight, this.board.picked, axis), "coils spaced evenly");
  }

  ownWinding() {
    const { edits: change, id } = edits.ownWinding(this.ledger.sight, this.board.picked);
    return this.change(change, `winding ${id}`);
  }

  /** Why nothing of this kind can be called so; empty: it can. */
  taken(table, to) {
    const { values, plan } = this.ledger.sight;
    const others = table === "winding" ? { "kind of winding": values.winding } : { coil: plan.coils, string: plan.strings, group: plan.groups };
    const kind = Object.keys(others).find((k) => others[k].some((x) => x.id === to));
    return kind ? `Another ${kind} is called ${to}. Take a name that is free.` : "";
  }

  async rename(table, id, to) {
    if (table === "coil" && this.board.picked.delete(id)) this.board.picked.add(to);
    if (table === "string" && this.panel.detailed === id) this.panel.detailed = to;
    await this.change([{ op: "rename", table, id, value: to }], `${id} renamed`);
  }

  /** @param {string | null} id the string to draw again */
  drawString(id) {
    this.redrawing = id;
    this.board.drawString([]);
    this.board.drawing.enter(); // keys go on there
    this.o.say("Pick the string's coils, the plus end first. With keys: arrows to a coil, Enter takes it.");
    byId("ed-drawing").scrollIntoView({ block: "nearest" });
    const desk = this.tools.closest(".ed-desk");
    if (desk && desk.getBoundingClientRect().top < 0) desk.scrollIntoView({ block: "start" }); // what is to be done stands above the drawing
  }

  async finishString() {
    const { edits: change, id, left } = edits.wire(this.ledger.sight, this.board.order, this.redrawing);
    this.board.drawString(null);
    if (!(await this.change(change, `string ${id}`))) return;
    this.o.say(`String ${id} drawn.${left.length ? ` ${left.join(", ")} are in no string now.` : ""}`);
  }

  /** The text as typed by hand. @param {string} text */
  rewrite(text) {
    return this.ledger.put({ text, label: "text", mergeKey: "text" });
  }

  /** @param {string} text */
  keepTyped(text) {
    this.noDraft = !keep({ id: this.id, base: this.base, text, typed: this.typed, at: Date.now(), name: this.ledger.sight?.values?.name || "plan" });
  }

  /** Keeps what is being typed in a field, before the plan has it; null: it has it. @param {HTMLInputElement | null} input */
  typing(input) {
    if (input && (input.tagName !== "INPUT" || !input.id)) return;
    this.typed = input && { field: input.id, text: input.value, picked: [...this.board.picked], detailed: this.panel.detailed ?? null };
    this.keepTyped(this.ledger.text);
  }

  /** Types again what stood in a field of a draft. @param {import("./drafts.js").Typed} typed */
  async typeAgain(typed) {
    await this.settled();
    this.board.pick(typed.picked.filter((id) => this.ledger.sight.plan?.coils.some((c) => c.id === id)));
    if (typed.detailed !== this.panel.detailed) this.panel.stringDetails(typed.detailed);
    const input = /** @type {HTMLInputElement | null} */ (document.getElementById(typed.field));
    if (!input) {
      this.trouble(`"${typed.text}" was typed when the page was left, in a field that is not here any more.`);
      return;
    }
    input.focus();
    input.value = typed.text;
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  async askBegin() {
    const demos = await ask("api/demos").catch(() => []);
    const picture = (circles) =>
      svg("svg", { viewBox: "0 0 40 28", class: "form-picture", "aria-hidden": "true" }, svg("rect", { x: 1, y: 1, width: 38, height: 26, rx: 2 }), ...circles.map(([cx, cy]) => svg("circle", { cx, cy, r: 4 })));
    askBegin({ demos, picture, begin: (toml, name) => this.put(toml, `${name} begun`) });
  }

  put(text, label) {
    const focused = /** @type {HTMLElement | null} */ (document.activeElement);
    if (this.panel.strings.contains(focused)) focused?.blur(); // a field in use would keep what it has of the plan before
    this.fresh = true;
    this.board.picked.clear();
    return this.ledger.put({ text, label });
  }

  async open() {
    const f = this.file.files[0];
    this.file.value = "";
    if (!f) return;
    if (f.size > 1 << 20) {
      this.trouble(`${f.name} has more than 1024 KiB. Is it a plan? Nothing was changed.`);
      return;
    }
    const text = await f.text();
    if (!(await this.isPlan(text))) this.trouble(`${f.name} is not a plan. Nothing was changed.`);
    else await this.put(text, `${f.name} opened`);
  }

  /** Whether a text is a plan, be it one with faults to put right here. @param {string} text */
  async isPlan(text) {
    if (/^\s*format\s*=/m.test(text)) return true;
    const sight = await ask("api/plan/look", { plan_toml: text, edits: [] }).catch(() => null);
    return !sight || Boolean(sight.plan?.coils.length || sight.plan?.windings.length); // where nothing could be asked, what follows tells
  }

  /** Everything that was asked for is done before this goes on. */
  settled() {
    return this.ledger.put({ edits: [], label: "" });
  }

  async save() {
    /** @type {any} */ (document.activeElement)?.matches?.("#editor input, #editor textarea") && /** @type {any} */ (document.activeElement).blur();
    await this.settled();
    if (!this.disk) {
      this.download();
      return;
    }
    const text = this.ledger.text;
    try {
      const file = await ask("api/plan/save", { plan_toml: text, over: this.disk.hash });
      this.onDisk(file);
      this.o.say(`Saved to ${file.name}.`);
      this.banner.querySelector(".conflict")?.remove();
    } catch (e) {
      const now = await ask("api/plan/file").catch(() => null);
      if (now && now.hash !== this.disk.hash) this.conflict(now);
      else tellTrouble(/** @type {Error} */ (e));
    }
    this.showBar();
  }

  onDisk(file) {
    this.disk = { ...this.disk, hash: file.hash, text: file.plan_toml };
    this.base = file.plan_toml;
    this.keepTyped(this.ledger.text);
  }

  download() {
    const url = URL.createObjectURL(new Blob([this.ledger.text], { type: "text/plain" }));
    const stem = (this.ledger.sight?.values?.name || "plan").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "plan"; // prettier-ignore
    const a = el("a", { href: url, download: this.disk?.name || `${stem}.toml` });
    document.body.append(a);
    a.click();
    a.remove();
    setTimeout(() => URL.revokeObjectURL(url), 10_000);
  }

  /** The program says that the plan file may have changed. */
  async diskChanged() {
    if (!this.disk) return;
    const file = await ask("api/plan/file").catch(() => null);
    if (!file || file.hash === this.disk.hash) return;
    if (file.say) {
      this.notice("gone", `${file.say} What is here can be saved there again.`);
      this.disk = { ...this.disk, hash: "", text: "" };
    } else if (file.plan_toml === this.ledger.text) {
      this.onDisk(file);
      this.banner.querySelector(".conflict")?.remove();
    } else if (this.ledger.text === this.disk.text) {
      this.onDisk(file);
      await this.ledger.put({ text: file.plan_toml, label: `${file.name} changed on disk` });
      this.notice("changed", `${file.name} was changed on disk; this is how it is now. Undo shows what was before.`);
    } else this.conflict(file);
    this.showBar();
  }

  /** Both were changed: the person says which to keep. */
  conflict(file) {
    const lines = difference(this.ledger.text, file.plan_toml);
    const choose = (act) => async () => {
      node.remove();
      this.onDisk(file);
      await act();
      this.showBar();
    };
    const node = el(
      "div",
      { class: "banner conflict", role: "alert" },
      el("p", {}, el("strong", {}, `${file.name} was changed beside this page, and so was the plan here. `), "Which is to be kept?"),
      el(
        "div",
        { class: "row" },
        el("button", { type: "button", id: "ed-keep-mine", onclick: choose(() => this.save()) }, "What is here: save it over the file"),
        el("button", { type: "button", id: "ed-keep-file", onclick: choose(() => this.put(file.plan_toml, `${file.name} from disk`)) }, "What is in the file (Undo brings this back)"),
      ),
      el(
        "details",
        {},
        el("summary", {}, `${lines.length} ${lines.length === 1 ? "line differs" : "lines differ"}`),
        el("pre", { class: "difference" }, ...lines.slice(0, DIFFERENCES_SHOWN).map((l) => el("span", { class: l.sign === "+" ? "from-file" : "from-here" }, `${l.sign === "+" ? "file" : "here"} ${String(l.line).padStart(4)}: ${l.text}\n`))),
      ),
    );
    this.banner.querySelector(".conflict")?.remove();
    this.banner.prepend(node);
  }

  /** A draft of before, offered. */
  offer() {
    const found = drafts().find((d) => d.id !== this.id && (d.text !== this.ledger.text || d.typed));
    this.banner.querySelector(".offer")?.remove();
    if (!found) return;
    const done = (act) => async () => {
      await act();
      drop(found.id);
      this.offer();
    };
    const elsewhere = found.base === this.base ? "" : " It began from another text than the one here.";
    this.banner.append(
      el(
        "div",
        { class: "banner offer", role: "status" },
        el("p", {}, el("strong", {}, `A draft of "${found.name}" from ${when(found.at)} was not saved.`), elsewhere),
        el(
          "div",
          { class: "row" },
          el("button", { type: "button", class: "main", id: "ed-take-draft", onclick: done(() => this.goOn(found)) }, "Go on with it"),
          el("button", { type: "button", id: "ed-drop-draft", onclick: done(async () => {}) }, "Throw it away"),
        ),
      ),
    );
  }

  /** @param {import("./drafts.js").Draft} draft */
  async goOn(draft) {
    await this.put(draft.text, "draft taken up");
    if (draft.typed) await this.typeAgain(draft.typed);
  }

  notice(name, words) {
    this.banner.querySelector(`.${name}`)?.remove();
    const node = el("div", { class: `banner ${name}`, role: "status" }, el("p", {}, words), el("button", { type: "button", class: "small", onclick: () => node.remove() }, "Close"));
    this.banner.append(node);
  }

  trouble(words) {
    this.notice("not-done", words);
  }

  async use() {
    await this.settled();
    const go = async () => {
      const text = this.ledger.text;
      await this.o.use(text);
      if (!this.disk) {
        this.base = text; // it is kept there now
        this.keepTyped(text);
        this.showBar();
      }
      addEventListener("hashchange", () => byId("verdict").focus({ preventScroll: true }), { once: true }); // the button is out of sight then
      location.hash = "#check";
    };
    if (!this.o.busy()) {
      await go().catch(tellTrouble);
      return;
    }
    this.banner.querySelector(".using")?.remove();
    const node = el(
      "div",
      { class: "banner using", role: "alert" },
      el("p", {}, "The check on the bench has readings. It ends with this; what was read stays stored."),
      el("div", { class: "row" }, el("button", { type: "button", class: "main", id: "ed-use-yes", onclick: () => (node.remove(), void go().catch(tellTrouble)) }, "Begin a new check"), el("button", { type: "button", onclick: () => node.remove() }, "Not now")),
    );
    this.banner.prepend(node);
    node.querySelector("button").focus();
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    if (currentView() !== "plan" || document.querySelector("dialog[open]")) return;
    if (e.key === "Escape" && this.board.order) this.board.drawString(null);
    // What was picked with a frame has no focus.
    if (e.target === document.body && this.board.plan) this.board.key(e);
    if (!(e.ctrlKey || e.metaKey) || e.altKey || e.defaultPrevented) return;
    const key = e.key.toLowerCase();
    if (key === "s") void this.save();
    else if (/** @type {any} */ (e.target).closest?.("textarea")) return;
    else if (key === "z") void (e.shiftKey ? this.forth() : this.back());
    else if (key === "y") void this.forth();
    else return;
    e.preventDefault();
  }
}

const LEGEND =
  "Drag coils, or nudge picked ones with the arrow keys: 5 mm, with Shift 1 mm. While dragging, a coil is caught by the rows and columns of others; Alt lets it go anywhere. Figures over coils are microtesla where the phone's sensor will lie. A coil with an ! cannot be built as planned.";

/** Of a plan still being made, what can be drawn. @param {any} plan */
function drawable(plan) {
  const known = new Map(plan.windings.map((w) => [w.id, w]));
  const ok = (c) => {
    const w = known.get(c.winding);
    return w && w.inner_mm[0] > 0 && w.inner_mm[1] > 0;
  };
  const coils = plan.coils.filter((c, i) => c.id && ok(c) && plan.coils.findIndex((k) => k.id === c.id) === i);
  return { ...plan, coils };
}
