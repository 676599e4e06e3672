// What the phone page in a rehearsal's frame asks for now: it draws the phone
// where it is to lie. The page is this program's own, and read, not touched.

const DRAWN = /translate\((-?[\d.]+) (-?[\d.]+)\) rotate\((-?[\d.]+)\)/;

/** @typedef {{id: string, x_mm: number, y_mm: number, top_deg: number, along?: string, drawn?: boolean}} Asked along: the row, "B1 to B3", where it is to be drawn; drawn: in a stroke under way, not lifted */

/** @param {HTMLIFrameElement | null} frame @returns {Asked | null} null: nothing is asked for, or the page is not there yet */
export function phoneAsks(frame) {
  const page = frame?.contentDocument;
  const id = /** @type {SVGElement | null} */ (page?.querySelector(".coil.is-next"))?.dataset.coil;
  const drawn = DRAWN.exec(page?.querySelector(".phone-on")?.getAttribute("transform") || "");
  const stroke = /** @type {SVGElement | null} */ (page?.querySelector(".stroke"));
  const along = stroke && { along: stroke.dataset.along, ...(stroke.classList.contains("is-under-way") ? { drawn: true } : {}) };
  return id && drawn ? { id, x_mm: Number(drawn[1]), y_mm: -Number(drawn[2]), top_deg: -Number(drawn[3]), ...along } : null;
}
