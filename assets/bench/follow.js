// Asks the server for something that takes a while and follows how far it is, told
// line by line.
import { refusal } from "./live.js";

/**
 * @param {string} path @param {RequestInit} request with the signal that stops it
 * @param {(m: any) => void} told each line before the last
 * @param {string} broken what to say when the program goes away meanwhile
 * @returns {Promise<any>} what came of it
 */
export async function follow(path, request, told, broken) {
  let rest = "";
  try {
    const r = await fetch(path, request);
    if (!r.ok) throw refusal(r.status, await r.json().catch(() => ({})));
    const reader = r.body.pipeThrough(new TextDecoderStream()).getReader();
    for (;;) {
      const { value, done } = await reader.read();
      if (done) break;
      const lines = (rest + value).split("\n");
      rest = lines.pop() || "";
      for (const line of lines) {
        const m = JSON.parse(line);
        if (m.error) throw refusal(r.status, m);
        if (m.done) return m.done;
        told(m);
      }
    }
  } catch (e) {
    throw e instanceof TypeError ? new Error(broken) : e;
  }
  throw new Error(broken);
}
