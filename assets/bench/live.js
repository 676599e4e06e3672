// What the server tells this page, live; after a lost connection it is asked for
// again from the beginning. Where no websocket comes about, the state is fetched
// every second instead.

const RETRY_MS = [500, 1000, 2000, 4000];
const POLL_MS = 1000;
const POLL_AFTER = 2; // failures in a row

/** @param {{onmessage: (m: any) => void, onlink: (how: "live" | "polled" | "lost") => void}} o */
export function listen(o) {
  let failures = 0;
  let polling = 0;
  const poll = async () => {
    try {
      const state = await ask("api/state");
      if (!polling) return; // a websocket came about meanwhile and tells newer things
      o.onmessage({ type: "state", state });
      o.onlink("polled");
    } catch {
      if (polling) o.onlink("lost");
    }
  };
  const connect = () => {
    const u = new URL("live", location.href);
    u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(u);
    socket.onopen = () => {
      failures = 0;
      clearInterval(polling);
      polling = 0;
      o.onlink("live");
    };
    socket.onmessage = (e) => o.onmessage(JSON.parse(e.data));
    socket.onclose = () => {
      if (!polling) o.onlink("lost");
      if (++failures >= POLL_AFTER && !polling) polling = setInterval(poll, POLL_MS);
      setTimeout(connect, RETRY_MS[Math.min(failures - 1, RETRY_MS.length - 1)]);
    };
  };
  connect();
}

/**
 * Asks the server for something; fails with words for the person, or with an
 * AbortError where the signal said to stop.
 * @param {string} path @param {object} [body] @param {AbortSignal} [signal]
 */
export async function ask(path, body, signal) {
  let r;
  let answer = {};
  try {
    r = await fetch(path, { signal, ...(body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }) });
    answer = await r.json();
  } catch (e) {
    if (e.name === "AbortError") throw e;
    if (e.name !== "SyntaxError") throw new Error("The program does not answer. Is it still running? Start it again in its terminal, then try again.");
  }
  if (!r.ok) throw refusal(r.status, answer);
  return answer;
}

/**
 * A refusal in words, with what to do next.
 * @param {number} status @param {any} answer
 */
export function refusal(status, answer) {
  const { say, hint = "", code } = answer.error || { say: `The program refused (${status}).`, hint: "Load this page again and look whether it is done; if not, try once more." };
  return Object.assign(new Error(`${say} ${hint}`.trim()), { code });
}
