// The made-up phone of a rehearsal: its readings come from the server.
import { Trouble } from "../troubles.js";

const GRAVITY_EVERY = 5; // readings

/**
 * Resolves when the first reading is there.
 * @param {URL} base
 * @param {string} id
 * @param {(u: number[]) => void} onreading
 * @param {(ms2: number[]) => void} ongravity thinned
 * @param {(m: {g: number[]}) => void} onmotion as it comes
 * @param {(trouble: Trouble) => void} onfail the rehearsal ended later on
 * @returns {Promise<{stop(): void, drive(state: string): void}>} rejects with a Trouble
 */
export function startRehearsal(base, id, onreading, ongravity, onmotion, onfail) {
  const u = new URL(`rehearsals/${encodeURIComponent(id)}/sensor`, base);
  u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
  return new Promise((resolve, reject) => {
    const socket = new WebSocket(u);
    let n = 0;
    socket.onmessage = (e) => {
      const m = JSON.parse(e.data);
      if (n === 0) {
        resolve({
          stop() {
            socket.onclose = null;
            socket.close();
          },
          drive: (state) => socket.send(JSON.stringify({ drive: state })),
        });
      }
      if (n++ % GRAVITY_EVERY === 0) ongravity(m.ms2);
      onmotion({ g: m.ms2 });
      onreading(m.uT);
    };
    socket.onclose = () => {
      const t = new Trouble("ended");
      if (n === 0) reject(t);
      else onfail(t);
    };
  });
}
