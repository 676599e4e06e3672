// The card of other sensors: a sensor app, a board on a serial port. Each source
// that sends is shown with its numbers, taught once, and then read like a phone.
import { el } from "../../common/dom.js";
import { ask } from "../live.js";
import { SourceView } from "./source-view.js";

export class Feeds {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    /** @type {Map<string, SourceView>} */
    this.views = new Map();
    this.kept = [];
    /** The check, as the page has it. @type {any} */
    this.check = null;
    this.address = el("code", { class: "address" });
    this.list = el("div", {});
    this.none = el("p", { class: "note" }, "None sends anything now.");
    place.replaceChildren(
      el("h2", { class: "kicker" }, "Other sensors"),
      el(
        "details",
        { id: "feed-how" },
        el("summary", {}, "How to send readings from something else"),
        el("p", {}, "A sensor app on a phone: have it POST, or send by websocket, its readings as JSON or CSV to"),
        el("p", {}, this.address),
        el("p", {}, "A board on this computer's serial port, or any program:"),
        el("p", {}, el("code", {}, "polewise feed --source NAME < /dev/ttyUSB0")),
        el("p", { class: "note" }, "Its format does not matter. Every number that comes appears here, and you show once which of them are the field."),
      ),
      this.none,
      this.list,
    );
    place.hidden = false;
  }

  /** @param {any} check the page's state */
  follow(check) {
    this.check = check;
    if (check.phone_url) this.address.textContent = `${check.phone_url}feed?source=NAME`;
    for (const v of this.views.values()) v.checkChanged();
  }

  async load() {
    this.take(await ask("api/feeds"));
  }

  /** @param {{feeds: any[], dialects?: any[]}} m */
  take(m) {
    if (m.dialects) this.kept = m.dialects;
    const here = new Set(m.feeds.map((f) => f.source));
    for (const [name, view] of this.views) {
      if (here.has(name)) continue;
      view.node.remove();
      this.views.delete(name);
    }
    for (const f of m.feeds) {
      let view = this.views.get(f.source);
      if (!view) {
        view = new SourceView(f.source, { check: () => this.check, act: (what, body) => this.act(what, body) });
        this.views.set(f.source, view);
        this.list.append(view.node);
      }
      view.show(f);
    }
    this.none.hidden = m.feeds.length > 0;
  }

  /** Asks the program for something, and shows what came of it. @param {string} what @param {any} body */
  async act(what, body) {
    this.take(await ask(`api/feeds/${what}`, body));
  }
}
