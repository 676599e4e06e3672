// The made-up phone of a rehearsal: its readings come from the server.

/**
 * @param {URL} base
 * @param {string} id
 * @param {(u: number[]) => void} onreading
 * @param {(g: number[]) => void} ongravity
 * @returns {Promise<{stop(): void, drive(state: string): void}>}
 */
export function startRehearsal(base, id, onreading, ongravity) {
  const u = new URL(`rehearsals/${encodeURIComponent(id)}/sensor`, base);
  u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
  return new Promise((resolve, reject) => {
    const socket = new WebSocket(u);
    let n = 0;
    socket.onmessage = (e) => {
      const m = JSON.parse(e.data);
      if (n === 0) resolve({ stop: () => socket.close(), drive: (state) => socket.send(JSON.stringify({ drive: state })) });
      if (n++ % 5 === 0) ongravity(m.ms2);
      onreading(m.uT);
    };
    socket.onclose = () => reject({ code: "ended", say: "This rehearsal has ended.", remedy: "Begin another on the bench page." });
  });
}
