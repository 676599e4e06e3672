// Names: several in a row, and names where there is little room: first smaller, then
// without their middle, since those of one pad mostly differ at their ends. Whole names
// stand in the tables and in what a screen reader says. Pure.

const WIDE = 0.62; // a bold letter, of its height
const LEAST = 0.7; // of the height wanted

/** @param {string} name @param {number} most letters */
export function shortName(name, most) {
  const room = Math.max(3, Math.floor(most));
  if (name.length <= room) return name;
  const end = Math.floor((room - 1) / 2);
  return `${name.slice(0, room - 1 - end)}…${name.slice(name.length - end)}`;
}

/**
 * @param {string} name @param {number} letter height wanted @param {number} room width, in the same unit
 * @returns {{text: string, letter: number}}
 */
export function fitName(name, letter, room) {
  const fits = room / (WIDE * letter);
  const scale = Math.min(1, Math.max(LEAST, fits / name.length));
  return { text: shortName(name, fits / scale + 1e-6), letter: letter * scale };
}

/** Names as a person would say them. @param {string[]} names */
export function list(names) {
  return names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
}

/** What tells phones of the same kind apart: shown on the bench page and on the phone. @param {string} source */
export function phoneNumber(source) {
  return source.slice(-3).toUpperCase();
}
