// The list of all pads and checks: found by words, sorted, in pages; exported,
// taken in, backed up.
import { asTyped, el } from "../../common/dom.js";
import { follow } from "../follow.js";
import { ask } from "../live.js";
import { currentView } from "../views.js";
import { PastCheck } from "./past-check.js";
import { saveFile } from "./save-file.js";
import { Task } from "./task.js";
import { checkBadge, STATES, when } from "./words.js";

const WAIT_MS = 250; // after the last letter typed

const SEARCH = "polewise-records-search"; // in this tab, so that a reload keeps it

const COLUMNS = [
  ["began", "Date"],
  ["plan", "Pad"],
  ["serial", "Serial"],
  ["state", "State"],
];

const FORMS = [
  ["json", "all there is, as JSON"],
  ["csv", "coils and claims, as CSV"],
  ["captures", "captures, as JSON Lines"],
];

export class Records {
  /** @param {{place: HTMLElement, ontrouble: (e: Error) => void}} o */
  constructor(o) {
    this.o = o;
    this.asked = { find: "", state: "", sort: "began", up: "", page: 1, ...keptSearch() };
    /** @type {Set<string>} checks chosen for export */
    this.chosen = new Set();
    this.past = new PastCheck({ ontrouble: o.ontrouble });
    this.built = false;
    this.turn = 0;
  }

  /** @param {string} view the one shown now */
  shown(view) {
    if (view !== "records") {
      this.opened = "";
      this.past.leave();
      return;
    }
    if (!this.built) this.build();
    const id = location.hash.split("/")[1];
    this.whole.hidden = Boolean(id);
    this.past.place.hidden = !id;
    // The focus goes along: to the check that is opened, and back to its line.
    const came = this.opened;
    this.opened = id || "";
    if (id) void this.past.open(decodeURIComponent(id), came !== undefined);
    else this.past.leave();
    if (!id) void this.load().then(() => came && this.rows.querySelector(`[data-check="${CSS.escape(came)}"] a`)?.focus());
  }

  /** The program answers again. */
  again() {
    if (currentView() !== "records") return;
    if (!this.opened) void this.load();
    else if (!this.past.state) void this.past.open(decodeURIComponent(this.opened), false);
  }

  build() {
    this.built = true;
    const find = /** @type {any} */ (el("input", { type: "search", id: "rec-find", maxlength: 200, autocomplete: "off", dir: "auto" }));
    find.addEventListener("input", () => {
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.ask({ find: find.value, page: 1 }), WAIT_MS);
    });
    const state = el(
      "select",
      { id: "rec-state", onchange: (e) => this.ask({ state: e.target.value, page: 1 }) },
      el("option", { value: "" }, "all with readings"),
      ...Object.entries(STATES).map(([id, [, words]]) => el("option", { value: id }, words)),
      el("option", { value: "rehearsal" }, "rehearsals"),
    );
    find.value = this.asked.find;
    /** @type {any} */ (state).value = this.asked.state;
    this.form = /** @type {any} */ (el("select", { id: "rec-form", onchange: () => this.link() }, ...FORMS.map(([id, words]) => el("option", { value: id }, words))));
    this.exportLink = /** @type {HTMLAnchorElement} */ (el("a", { class: "rec-button", download: "", id: "rec-export" }, "Export"));
    const exporting = saving(this.exportLink, "Stop the export");
    const backup = /** @type {HTMLAnchorElement} */ (el("a", { class: "rec-button", href: "api/backup", download: "", id: "rec-backup" }, "Save a backup now"));
    const file = /** @type {any} */ (el("input", { type: "file", id: "rec-import", accept: ".json,application/json" }));
    file.addEventListener("change", () => void this.takeIn(file));
    this.taken = el("div", { role: "status", id: "rec-taken" });
    this.importing = el("div", { class: "row rec-importing" });
    this.count = el("p", { class: "note", role: "status", id: "rec-count" });
    this.rows = el("tbody", {});
    this.heads = COLUMNS.map(([id, words]) => el("th", { scope: "col" }, el("button", { type: "button", class: "rec-sort", "data-sort": id, onclick: () => this.sort(id) }, words)));
    const head = el("tr", {}, el("th", { class: "rec-choose", scope: "col" }, el("span", { class: "out-of-sight" }, "Chosen")), ...this.heads, el("th", { scope: "col" }, "Note"));
    const turn = (words, by) => el("button", { type: "button", class: "small", onclick: () => this.ask({ page: this.asked.page + by }) }, words);
    this.back = /** @type {any} */ (turn("Page before", -1));
    this.on = /** @type {any} */ (turn("Next page", 1));
    this.file = el("code", { id: "rec-file" });
    this.whole = el(
      "div",
      { class: "rec-whole" },
      el("h2", {}, "Pads and checks"),
      el("div", { class: "rec-search" }, el("label", {}, "Find: pad, serial number, note, maker, date", find), el("label", {}, "State", state)),
      this.count,
      el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Checks" }, el("table", { class: "rec-list" }, el("thead", {}, head), this.rows)),
      el("div", { class: "row rec-pages" }, this.back, this.on),
      el(
        "div",
        { class: "rec-tools" },
        el(
          "section",
          { class: "card", "aria-labelledby": "rec-export-title" },
          el("h3", { id: "rec-export-title" }, "Export"),
          el("p", { class: "note" }, "The checks chosen above; with none chosen, all that the search finds."),
          el("div", { class: "row" }, el("label", {}, "As ", this.form), this.exportLink),
          exporting,
        ),
        el(
          "section",
          { class: "card", "aria-labelledby": "rec-import-title" },
          el("h3", { id: "rec-import-title" }, "Take checks in"),
          el("p", { class: "note" }, "A file exported as JSON. Nothing here is ever overwritten."),
          el("label", {}, "File ", file),
          this.importing,
          this.taken,
        ),
        el(
          "section",
          { class: "card", "aria-labelledby": "rec-backup-title" },
          el("h3", { id: "rec-backup-title" }, "Backup"),
          el("p", {}, "Every check and record is kept in this one file: ", this.file),
          el("p", { class: "note" }, "While the program runs, press the button below: that backup is whole, also while phones send. Copy the file itself only after the program has ended, since the newest readings may stand in files beside it until then. To put a backup back, end the program, move the file away (and any polewise.db-wal and polewise.db-shm beside it), and put the backup there as polewise.db."),
          el("p", {}, backup),
          saving(backup, "Stop the backup"),
          el("p", { class: "note" }, "Nothing is deleted here: there is no way to delete a check or a record on this page. To begin with an empty list, start the program with another --data folder."),
        ),
      ),
    );
    this.o.place.replaceChildren(this.whole, this.past.place);
  }

  sort(id) {
    const same = this.asked.sort === id;
    this.ask({ sort: id, up: same ? (this.asked.up ? "" : "1") : id === "began" ? "" : "1", page: 1 });
  }

  ask(change) {
    Object.assign(this.asked, change);
    sessionStorage.setItem(SEARCH, JSON.stringify(this.asked));
    void this.load();
  }

  query() {
    return new URLSearchParams(Object.entries(this.asked).map(([k, v]) => [k, String(v)]));
  }

  async load() {
    const turn = ++this.turn;
    let answer;
    try {
      answer = await ask(`api/checks?${this.query()}`);
    } catch (e) {
      if (turn !== this.turn) return;
      this.count.replaceChildren(el("span", { class: "trouble" }, e.message), " ", el("button", { type: "button", class: "small", onclick: () => void this.load() }, "Try again"));
      return;
    }
    if (turn !== this.turn) return; // asked again meanwhile
    const { checks, total, per, file, current } = answer;
    const pages = Math.max(1, Math.ceil(total / per));
    if (this.asked.page > pages) return this.ask({ page: pages });
    this.count.textContent = total === 0 ? (this.asked.find || this.asked.state ? "No check is found. Try fewer words, or all states." : "Nothing has been read here yet. Read a pad under Check, or take checks in from a file below.") : `${total} ${total === 1 ? "check" : "checks"}${pages > 1 ? `, page ${this.asked.page} of ${pages}` : ""}`;
    this.file.textContent = file;
    this.back.disabled = this.asked.page <= 1;
    this.on.disabled = this.asked.page >= pages;
    this.back.parentElement.hidden = pages <= 1;
    for (const th of this.heads) {
      const on = th.firstElementChild.dataset.sort === this.asked.sort;
      if (on) th.setAttribute("aria-sort", this.asked.up ? "ascending" : "descending");
      else th.removeAttribute("aria-sort");
    }
    this.rows.replaceChildren(...checks.map((c) => this.row(c, current)));
    this.link();
  }

  row(c, current) {
    const box = /** @type {any} */ (el("input", { type: "checkbox", "aria-label": `Choose ${c.plan_name} of ${when(c.began)}` }));
    box.checked = this.chosen.has(c.id);
    box.addEventListener("change", () => {
      if (box.checked) this.chosen.add(c.id);
      else this.chosen.delete(c.id);
      this.link();
    });
    const marks = [c.id === current && "on the bench now", c.rehearsal && "rehearsal", c.imported && "taken in"].filter(Boolean);
    return el(
      "tr",
      { "data-check": c.id },
      el("td", { class: "rec-choose" }, el("label", {}, box)),
      el("td", { class: "rec-date" }, when(c.began)),
      el("th", { scope: "row" }, el("a", { href: `#records/${c.id}` }, asTyped(c.plan_name)), marks.length > 0 ? el("span", { class: "rec-marks" }, marks.join(", ")) : null),
      el("td", { class: "rec-serial" }, c.serial && asTyped(c.serial)),
      el("td", { class: "rec-state" }, checkBadge(c.state), c.state !== "unread" && !c.signed && c.read < c.coils ? el("span", { class: "rec-marks" }, `${c.read} of ${c.coils} coils read`) : null, c.mended ? el("span", { class: "rec-marks" }, "mended, see ", el("a", { href: `#records/${c.mended}` }, when(c.mended_began))) : null, c.maker ? el("span", { class: "rec-marks" }, "by ", asTyped(c.maker), `, ${when(c.signed)}`) : null),
      el("td", { class: "rec-note" }, c.note && el("span", { dir: "auto" }, c.note)),
    );
  }

  /** Where the export leads. */
  link() {
    const q = this.chosen.size > 0 ? new URLSearchParams({ ids: [...this.chosen].join(",") }) : this.query();
    q.delete("page");
    q.set("as", this.form.value);
    this.exportLink.href = `api/checks/export?${q}`;
    this.exportLink.textContent = this.chosen.size > 0 ? `Export the ${this.chosen.size} chosen` : "Export all found";
  }

  async takeIn(file) {
    const f = file.files[0];
    if (!f) return;
    const stop = new AbortController();
    const bar = /** @type {HTMLProgressElement} */ (el("progress", { "aria-label": "How far the file is taken in", max: 1 }));
    const words = el("p", {}, "Reading the file…");
    file.disabled = true;
    this.importing.replaceChildren(bar, el("button", { type: "button", class: "small", id: "rec-stop", onclick: () => stop.abort() }, "Stop"));
    this.taken.replaceChildren(words);
    try {
      const done = await followImport(f, stop.signal, ({ step, checks, bytes }, size) => {
        bar.value = ((step === "looking" ? 0 : 0.5) + (0.5 * bytes) / size);
        words.textContent = step === "looking" ? "Looking the file through…" : `Taking in check ${checks}…`;
      });
      this.taken.replaceChildren(
        el("p", {}, `${done.taken.length} taken in, ${done.skipped.length} skipped because they are here already, the same.`),
        ...done.refused.map((r) => el("p", { class: "trouble" }, r.say)),
      );
    } catch (e) {
      this.taken.replaceChildren(
        stop.signal.aborted
          ? el("p", {}, "Stopped. Checks that were taken in before that stay, each whole. Take the same file in again for the others.")
          : el("p", { class: "trouble" }, e.message),
      );
    }
    this.importing.replaceChildren();
    file.value = "";
    file.disabled = false;
    file.focus();
    await this.load();
  }
}

/** Has a link save its file with how far it is, and a way to stop. @param {HTMLAnchorElement} link @param {string} stop */
function saving(link, stop) {
  const task = new Task(link.id, stop);
  link.addEventListener("click", (e) => {
    e.preventDefault();
    void task.run(
      "The program is putting the file together",
      async (way) => [el("p", { class: "note" }, `Saved among the browser's downloads: ${await saveFile(link.href, way)}.`)],
      () => "Stopped. Nothing was saved.",
    );
  });
  return task.place;
}

function keptSearch() {
  try {
    return JSON.parse(sessionStorage.getItem(SEARCH) || "{}");
  } catch {
    return {};
  }
}

/**
 * Sends a file of checks and follows how it is taken in, told line by line.
 * @param {File} file @param {AbortSignal} signal
 * @param {(p: {step: string, checks: number, bytes: number}, size: number) => void} told
 * @returns {Promise<{taken: string[], skipped: string[], refused: {id: string, say: string}[]}>}
 */
function followImport(file, signal, told) {
  return follow(
    "api/checks/import?follow=1",
    { method: "POST", headers: { "Content-Type": "application/json" }, body: file, signal },
    (m) => told(m.progress, m.size),
    "The program does not answer any more. Is it still running? Take the same file in again; what was taken in stays.",
  );
}
