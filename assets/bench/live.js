// What the server tells this page, live; after a lost connection it is asked for
// again from the beginning.

const RETRY_MS = [500, 1000, 2000, 4000];

/** @param {{onmessage: (m: any) => void, onlink: (up: boolean) => void}} o */
export function listen(o) {
  let failures = 0;
  const connect = () => {
    const u = new URL("live", location.href);
    u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(u);
    socket.onopen = () => {
      failures = 0;
      o.onlink(true);
    };
    socket.onmessage = (e) => o.onmessage(JSON.parse(e.data));
    socket.onclose = () => {
      o.onlink(false);
      setTimeout(connect, RETRY_MS[Math.min(failures++, RETRY_MS.length - 1)]);
    };
  };
  connect();
}

/**
 * Asks the server for something; fails with words for the person.
 * @param {string} path @param {object} [body]
 */
export async function ask(path, body) {
  let r;
  try {
    r = await fetch(path, body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
  } catch {
    throw new Error("The program does not answer. Is it still running?");
  }
  const answer = await r.json().catch(() => ({}));
  if (!r.ok) throw new Error(`${answer.error?.say || `The program refused (${r.status}).`} ${answer.error?.hint || ""}`.trim());
  return answer;
}
