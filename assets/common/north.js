// Faces by two conventions. In physics, and everywhere inside the program, north
// is the face that the field comes out of; it pushes the north end of a compass
// needle away. Some makers call it south, because the other face is the one that
// the needle's north end is drawn to. Pure.

/**
 * @param {"north"|"south"|null} outFace what this person calls the face that the field comes out of
 */
export function northWords(outFace) {
  const other = outFace === "south";
  /** How to write the two faces so that both conventions can be read. */
  const faces = { north: other ? "north (your south)" : "north", south: other ? "south (your north)" : "south" };
  return {
    ...faces,
    /** The two faces in this person's own word alone, and what physics calls them where that differs. */
    own: other ? { north: "south", south: "north" } : { north: "north", south: "south" },
    physics: other ? { north: "north in physics: ", south: "south in physics: " } : { north: "", south: "" },
    /** The same of a plan's "up" or "down". @param {string} way */
    way: (way) => (other ? `north ${way} (your south ${way})` : `north ${way}`),
    /** The same of a sentence of the program's, which names a face in physics' word. @param {string} sentence */
    said: (sentence) => sentence.replace(/\b(?:north|south)\b/, (face) => faces[face]),
    /** One sentence for wherever north is written. */
    note: other
      ? "North here: the field comes out of that face. You call it south."
      : "North: the field comes out of that face. The north end of a compass needle is pushed away from it.",
    /** The needle's end that turns to a coil with this face up. */
    needle: { north: "the needle's south end turns to it", south: "the needle's north end turns to it" },
  };
}

/** How a compass is held so that its needle tells a face: over the middle the field runs straight up or down. @param {string} at a coil */
export const needleOver = (at) => `Stand the compass on edge over the middle of ${at}, so that its needle can dip: flat it tells nothing there.`;

/** @type {"north"|"south"|null} */
let called = null;

/** What this maker calls the face, for all drawings of the page. @param {"north"|"south"|null} outFace */
export function callOutFace(outFace) {
  called = outFace;
}

/** The words for this maker. */
export const north = () => northWords(called);
