// The predicted field over the pad as a layer under the coils: dots where it
// comes toward the reader, crosses where it goes away, larger where stronger,
// over a tint that says the same.
import { el, svg } from "../common/dom.js";
import { ask } from "./live.js";

const MARKS = 26; // across the longer side

export class MapLayer {
  /** @param {{drawing: any, box: HTMLInputElement, legend: HTMLElement, ontrouble: (e: Error) => void, load?: () => Promise<any>}} o load: the map; that of the plan on the bench where left out */
  constructor(o) {
    this.o = o;
    this.plan = "";
    this.drawn = "";
    o.box.addEventListener("change", () => void this.draw());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => o.box.checked && void this.draw()); // its colours are painted in
  }

  /** @param {any} state */
  planChanged(state) {
    this.plan = state.check.id;
    if (this.o.box.checked && this.drawn !== this.plan) void this.draw();
  }

  async draw() {
    const { drawing, box, legend } = this.o;
    legend.hidden = !box.checked;
    drawing.svg.classList.toggle("with-map", box.checked);
    if (!box.checked) {
      drawing.map.replaceChildren();
      this.drawn = "";
      return;
    }
    const wanted = this.plan;
    legend.textContent = "Working the field out…";
    let map;
    try {
      map = await (this.o.load ? this.o.load() : ask("api/map"));
    } catch (e) {
      box.checked = false;
      legend.hidden = true;
      drawing.svg.classList.remove("with-map");
      this.o.ontrouble(e);
      return;
    }
    if (wanted !== this.plan || !box.checked) return;
    this.drawn = wanted;
    const most = Math.max(...map.bz_uT.map(Math.abs), 1);
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
