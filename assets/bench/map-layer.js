// The predicted field over the pad as a layer under the coils: dots where it
// comes toward the reader, crosses where it goes away, larger where stronger,
// over a tint that says the same. The program works it out, which takes a while
// for a large pad: how far it is shows below the drawing, and a way to stop it.
import { el, svg } from "../common/dom.js";
import { follow } from "./follow.js";

const MARKS = 26; // across the longer side
const SHOW_MS = 300; // what is over sooner shows no bar
const BROKEN = "The program does not answer. Is it still running? Start it again in its terminal, then try again.";

export class MapLayer {
  /** @param {{drawing: any, box: HTMLInputElement, legend: HTMLElement, plan?: () => object}} o plan: the one to work with, for the server; that on the bench where left out */
  constructor(o) {
    this.o = o;
    /** Names the plan drawn now; null while it cannot be worked with. @type {string | null} */
    this.plan = null;
    /** The plan asked for last: drawn, being worked out, stopped or failed. @type {string | null} */
    this.asked = null;
    /** @type {{plan: string, map: any} | null} */
    this.known = null;
    /** @type {AbortController | null} */
    this.stopper = null;
    o.box.addEventListener("change", () => void this.draw());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.known && void this.draw()); // its colours are painted in
  }

  /** @param {string | null} plan */
  planChanged(plan) {
    this.plan = plan;
    if (this.asked !== this.wanted()) void this.draw();
  }

  wanted() {
    return this.o.box.checked ? this.plan : null;
  }

  async draw() {
    this.stopper?.abort();
    this.stopper = null;
    const plan = (this.asked = this.wanted());
    this.o.legend.hidden = plan === null;
    if (plan === null) this.clear();
    else if (this.known?.plan === plan) this.paint(this.known.map);
    else await this.work(plan);
  }

  clear() {
    this.o.drawing.map.replaceChildren();
    this.o.drawing.svg.classList.remove("with-map");
  }

  /** @param {string} plan */
  async work(plan) {
    const { legend } = this.o;
    const stopper = (this.stopper = new AbortController());
    const bar = /** @type {HTMLProgressElement} */ (el("progress", { "aria-label": "how far the field is worked out" }));
    const words = el("span", {}, "Working the field out…");
    const stop = el("button", { type: "button", class: "small stop-map", onclick: () => stopper.abort() }, "Stop");
    const row = el("span", { class: "at-work" }, words);
    legend.replaceChildren(row);
    const timer = setTimeout(() => row.replaceChildren(bar, words, stop), SHOW_MS);
    const told = ({ progress: { share } }) => {
      bar.value = share;
      words.textContent = `Working the field out: ${Math.floor(share * 100)} %`;
    };
    const body = this.o.plan && { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(this.o.plan()) };
    try {
      const map = await follow("api/map", { ...body, signal: stopper.signal }, told, BROKEN);
      if (this.stopper !== stopper) return; // another plan came
      this.known = { plan, map };
      this.paint(map);
    } catch (e) {
      if (this.stopper !== stopper) return;
      this.clear();
      if (stopper.signal.aborted) this.offer("Stopped: the field is not shown.", "Work it out");
      else this.offer(`The field did not come. ${e.message}`, "Try again");
    } finally {
      clearTimeout(timer);
    }
  }

  /** Says why there is no field, with a button to have it worked out. @param {string} why @param {string} again */
  offer(why, again) {
    const { legend } = this.o;
    const held = legend.contains(document.activeElement); // the button pressed goes
    const button = el("button", { type: "button", class: "small map-again", onclick: () => void this.draw() }, again);
    legend.replaceChildren(el("span", { class: "at-work" }, el("span", { role: "status" }, why), button));
    if (held) button.focus();
  }

  paint(map) {
    const { drawing, legend } = this.o;
    const most = Math.max(...map.bz_uT.map(Math.abs), 1);
    drawing.svg.classList.add("with-map");
    drawing.map.replaceChildren(tint(map, most), signs(map, most));
    legend.replaceChildren(
      el("span", {}, `Field across the pad as planned, ${map.above_mm.toFixed(0)} mm over the coils: `),
      el("span", { class: "map-key toward" }, "● toward you"),
      el("span", { class: "map-key away" }, "× away"),
      el("span", {}, `; the largest mark is ${most.toPrecision(2) * 1} uT.`),
    );
  }
}

/** Strength on a scale that shows weak fields too. */
function strength(b, most) {
  return Math.sign(b) * Math.sqrt(Math.abs(b) / most);
}

function tint(map, most) {
  const canvas = document.createElement("canvas");
  canvas.width = map.nx;
  canvas.height = map.ny;
  const c = canvas.getContext("2d");
  const image = c.createImageData(map.nx, map.ny);
  const style = getComputedStyle(document.documentElement);
  const [toward, away] = [rgb(style.getPropertyValue("--toward")), rgb(style.getPropertyValue("--away"))];
  for (let j = 0; j < map.ny; j++) {
    for (let i = 0; i < map.nx; i++) {
      const s = strength(map.bz_uT[j * map.nx + i], most);
      const k = 4 * ((map.ny - 1 - j) * map.nx + i); // rows from the top
      const ink = s > 0 ? toward : away;
      image.data[k] = ink[0];
      image.data[k + 1] = ink[1];
      image.data[k + 2] = ink[2];
      image.data[k + 3] = 170 * Math.abs(s);
    }
  }
  c.putImageData(image, 0, 0);
  const s = map.step_mm;
  return svg("image", { href: canvas.toDataURL(), x: map.x0_mm - s / 2, y: -(map.y0_mm + (map.ny - 1) * s) - s / 2, width: map.nx * s, height: map.ny * s, preserveAspectRatio: "none" });
}

function rgb(hex) {
  const n = parseInt(hex.trim().slice(1), 16);
  return [(n >> 16) & 255, (n >> 8) & 255, n & 255];
}

function signs(map, most) {
  const every = Math.max(1, Math.round(Math.max(map.nx, map.ny) / MARKS));
  const full = every * map.step_mm * 0.42;
  let dots = "";
  let crosses = "";
  for (let j = Math.floor(every / 2); j < map.ny; j += every) {
    for (let i = Math.floor(every / 2); i < map.nx; i += every) {
      const s = strength(map.bz_uT[j * map.nx + i], most);
      const r = full * Math.abs(s);
      if (r < 0.12 * full) continue;
      const x = map.x0_mm + i * map.step_mm;
      const y = -(map.y0_mm + j * map.step_mm);
      if (s > 0) dots += `M${x - r * 0.6} ${y}a${r * 0.6} ${r * 0.6} 0 1 0 ${r * 1.2} 0a${r * 0.6} ${r * 0.6} 0 1 0 ${-r * 1.2} 0`;
      else crosses += `M${x - r} ${y - r}L${x + r} ${y + r}M${x + r} ${y - r}L${x - r} ${y + r}`;
    }
  }
  return svg("g", {}, svg("path", { class: "map-dots", d: dots }), svg("path", { class: "map-crosses", d: crosses }));
}
