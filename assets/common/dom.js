// Small helpers for building elements. Text is always set as text.

const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} tag
 * @param {Record<string, unknown>} [attributes] a key beginning with "on" is a listener
 * @param {...(Node|string|null|undefined|false)} children
 * @returns {HTMLElement}
 */
export function el(tag, attributes = {}, ...children) {
  return /** @type {HTMLElement} */ (fill(document.createElement(tag), attributes, children));
}

/**
 * @param {string} tag
 * @param {Record<string, unknown>} [attributes]
 * @param {...(Node|string|null|undefined|false)} children
 * @returns {SVGElement}
 */
export function svg(tag, attributes = {}, ...children) {
  return /** @type {SVGElement} */ (fill(document.createElementNS(SVG, tag), attributes, children));
}

function fill(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value === true) node.setAttribute(key, "");
    else node.setAttribute(key, String(value));
  }
  for (const child of children) if (child) node.append(child);
  return node;
}

/** What a person typed, in whatever direction it is written: what stands beside it keeps its own. @param {string} text */
export function asTyped(text) {
  return el("bdi", {}, text);
}

/** Sets text only where it changes, so that nothing is read out again. @param {HTMLElement} node @param {string} text */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** @param {string} id @returns {any} */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element ${id}`);
  return found;
}
