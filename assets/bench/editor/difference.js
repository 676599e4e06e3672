// The lines in which two texts differ.

const MOST_LINES = 600; // beyond that only where the difference begins and ends

/**
 * @param {string} a @param {string} b
 * @returns {{sign: "-" | "+", line: number, text: string}[]} lines of a that are gone, of b that are new
 */
export function difference(a, b) {
  const [x, y] = [a.split("\n"), b.split("\n")];
  let from = 0;
  while (from < x.length && from < y.length && x[from] === y[from]) from++;
  let [i, j] = [x.length, y.length];
  while (i > from && j > from && x[i - 1] === y[j - 1]) [i, j] = [i - 1, j - 1];
  const [old, now] = [x.slice(from, i), y.slice(from, j)];
  const gone = (k) => ({ sign: /** @type {"-"} */ ("-"), line: from + k + 1, text: old[k] });
  const fresh = (k) => ({ sign: /** @type {"+"} */ ("+"), line: from + k + 1, text: now[k] });
  if (old.length > MOST_LINES || now.length > MOST_LINES) return [...old.map((_, k) => gone(k)), ...now.map((_, k) => fresh(k))];
  // Longest common run of lines, from the end.
  const common = Array.from({ length: old.length + 1 }, () => new Uint16Array(now.length + 1));
  for (let p = old.length - 1; p >= 0; p--) for (let q = now.length - 1; q >= 0; q--) common[p][q] = old[p] === now[q] ? common[p + 1][q + 1] + 1 : Math.max(common[p + 1][q], common[p][q + 1]);
  const out = [];
  let [p, q] = [0, 0];
  while (p < old.length || q < now.length) {
    if (p < old.length && q < now.length && old[p] === now[q]) [p, q] = [p + 1, q + 1];
    else if (q >= now.length || (p < old.length && common[p + 1][q] >= common[p][q + 1])) out.push(gone(p++));
    else out.push(fresh(q++));
  }
  return out;
}
