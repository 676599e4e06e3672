// What outlives a reload of this page: kept for its tab, lost with it.

const PREFIX = "polewise-";

/** @param {string} key @param {any} value null forgets it */
export function keep(key, value) {
  try {
    if (value === null) sessionStorage.removeItem(PREFIX + key);
    else sessionStorage.setItem(PREFIX + key, JSON.stringify(value));
  } catch {
    // Forbidden or full: it holds until the page is closed.
  }
}

/** Has a field keep what is typed in it. @param {HTMLInputElement} input @param {string} key */
export function keepTyping(input, key) {
  const was = recall(key);
  if (typeof was === "string") input.value = was;
  input.addEventListener("input", () => keep(key, input.value));
}

/** @param {string} key @returns {any} null where nothing is kept */
export function recall(key) {
  try {
    return JSON.parse(sessionStorage.getItem(PREFIX + key) || "null");
  } catch {
    return null;
  }
}
