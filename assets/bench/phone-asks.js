// What the phone page in a rehearsal's frame asks for now: it draws the phone
// where it is to lie. The page is this program's own, and read, not touched.

const DRAWN = /translate\((-?[\d.]+) (-?[\d.]+)\) rotate\((-?[\d.]+)\)/;

/** @typedef {{id: string, x_mm: number, y_mm: number, top_deg: number, drawn?: boolean}} Asked drawn: in a stroke along a row, not lifted */

/** @param {HTMLIFrameElement | null} frame @returns {Asked | null} null: nothing is asked for, or the page is not there yet */
export function phoneAsks(frame) {
  const page = frame?.contentDocument;
  const id = /** @type {SVGElement | null} */ (page?.querySelector(".coil.is-next"))?.dataset.coil;
  const drawn = DRAWN.exec(page?.querySelector(".phone-on")?.getAttribute("transform") || "");
  const stroke = page?.querySelector(".stroke.is-under-way");
  return id && drawn ? { ...(stroke ? { drawn: true } : {}), id, x_mm: Number(drawn[1]), y_mm: -Number(drawn[2]), top_deg: -Number(drawn[3]) } : null;
}
