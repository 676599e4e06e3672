// Tables that fold where there is no room: each row stands as a block under its
// name, every value with its column's head beside it. The roles are written out
// because a browser may take a table that is laid out otherwise for none.

/**
 * @template {HTMLElement} T
 * @param {T} table with a head, the first cell of each row its heading
 * @returns {T}
 */
export function stacks(table) {
  const role = (selector, name) => table.querySelectorAll(selector).forEach((e) => e.setAttribute("role", name));
  table.classList.add("stacks");
  table.setAttribute("role", "table");
  role("thead, tbody", "rowgroup");
  role("tr", "row");
  role("thead th", "columnheader");
  role("tbody th", "rowheader");
  role("td", "cell");
  const heads = [...table.querySelectorAll("thead th")].map((h) => h.textContent || "");
  for (const row of table.querySelectorAll("tbody tr")) [...row.children].forEach((cell, i) => i > 0 && cell.setAttribute("data-head", heads[i]));
  return table;
}
