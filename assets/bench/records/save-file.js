// A file out of the program, with how far it is. A link alone would do; but of a
// link that fails the page hears nothing.
import { refusal } from "../live.js";
import { size } from "./task.js";

/**
 * Fetches a file whole and hands it to the browser to keep.
 * @param {string} path
 * @param {{signal: AbortSignal, tell: (words: string, part?: number) => void}} way
 * @returns {Promise<string>} its name and size
 */
export async function saveFile(path, way) {
  const stopped = (e, words) => (way.signal.aborted ? e : new Error(words));
  let r;
  try {
    r = await fetch(path, { signal: way.signal });
  } catch (e) {
    throw stopped(e, "The program does not answer; nothing was saved. Is it still running? Start it again in its terminal, then try again.");
  }
  if (!r.ok) throw refusal(r.status, await r.json().catch(() => ({})));
  const whole = Number(r.headers.get("Content-Length")) || 0;
  const name = /filename="([^"]+)"/.exec(r.headers.get("Content-Disposition") || "")?.[1] || "polewise";
  /** @type {Uint8Array[]} */
  const parts = [];
  let got = 0;
  const reader = /** @type {ReadableStream<Uint8Array>} */ (r.body).getReader();
  try {
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      parts.push(value);
      got += value.length;
      // What comes compressed is longer here than the header says.
      if (whole >= got) way.tell(`${size(got)} of ${size(whole)}`, got / whole);
      else way.tell(`${size(got)} so far`);
    }
  } catch (e) {
    throw stopped(e, "The file broke off in the middle; nothing was saved. Is the program still running? Try again. If it stays, export fewer checks at once.");
  }
  const url = URL.createObjectURL(new Blob(parts, { type: r.headers.get("Content-Type") || "" }));
  const a = document.createElement("a");
  a.href = url;
  a.download = name;
  a.click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000); // the browser has begun by then
  return `${name}, ${size(got)}`;
}
