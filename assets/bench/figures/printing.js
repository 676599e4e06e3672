// Prints one part of the page alone. What is shown then is up to the style sheet.

/** @param {"cards" | "ohms"} part */
export function printOnly(part) {
  document.body.dataset.printing = part;
  addEventListener("afterprint", () => delete document.body.dataset.printing, { once: true });
  print();
}
