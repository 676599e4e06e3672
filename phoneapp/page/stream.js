// Numbered messages to the server, kept until they are acknowledged. Lines are
// gathered for a moment, then sent; after a lost connection or a reload what was
// not acknowledged is sent again. Where the websocket is refused the same
// messages go by POST, and answers come as server-sent events.

const GATHER_MS = 250;
const RETRY_MS = [500, 1000, 2000, 4000, 8000];
const SOCKET_TRIES = 3; // failed openings before the fallback is tried
const MAX_LINES = 400;

/**
 * @typedef {{seq: number, lines: object[]}} Message
 * @typedef {{load(): {source: string, next: number, waiting: Message[]} | null, save(state: object): void}} Keep
 */

/** Keeps the unacknowledged messages through a reload. @returns {Keep} */
export function keepInSession(name) {
  return {
    load() {
      try {
        return JSON.parse(sessionStorage.getItem(name) || "null");
      } catch {
        return null;
      }
    },
    save(state) {
      try {
        sessionStorage.setItem(name, JSON.stringify(state));
      } catch {
        // Full or forbidden: the messages are still in memory.
      }
    },
  };
}

export class Stream {
  /**
   * @param {{base: URL, keep: Keep, onmessage: (m: any) => void, onlink: (state: "up"|"lost"|"post", waiting: number) => void}} o
   */
  constructor(o) {
    this.o = o;
    const kept = o.keep.load();
    this.source = kept?.source || Array.from(crypto.getRandomValues(new Uint8Array(6)), (b) => b.toString(16).padStart(2, "0")).join("");
    this.next = kept?.next || 1;
    /** @type {Message[]} */
    this.waiting = kept?.waiting || [];
    /** @type {object[]} */
    this.lines = [];
    this.failures = 0;
    this.opened = false;
    this.closed = false;
    this.posting = false;
  }

  start() {
    this.connect();
  }

  stop() {
    this.closed = true;
    clearTimeout(this.retry);
    clearTimeout(this.gather);
    this.socket?.close();
    this.pushes?.close();
  }

  /** Adds lines to what is to be sent. @param {...object} lines */
  add(...lines) {
    this.lines.push(...lines);
    if (this.lines.length >= MAX_LINES) this.flush();
    else if (!this.gather) this.gather = setTimeout(() => this.flush(), GATHER_MS);
  }

  /** Sends what was gathered now. */
  flush() {
    clearTimeout(this.gather);
    this.gather = undefined;
    if (this.lines.length === 0) return;
    const m = { seq: this.next++, lines: this.lines };
    this.lines = [];
    this.waiting.push(m);
    this.save();
    this.send(m);
  }

  /** Asks for the last hold on a coil to be taken back. @param {string} at */
  undo(at) {
    this.flush();
    const m = JSON.stringify({ undo: { at } });
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(m);
    else void this.fetchPost(m).catch(() => {});
  }

  save() {
    this.o.keep.save({ source: this.source, next: this.next, waiting: this.waiting });
  }

  address(path, scheme) {
    const u = new URL(path, this.o.base);
    if (scheme) u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
    u.searchParams.set("source", this.source);
    u.searchParams.delete("rehearsal");
    return u;
  }

  connect() {
    if (this.closed) return;
    if (!this.opened && this.failures >= SOCKET_TRIES) {
      this.fallBack();
      return;
    }
    let socket;
    try {
      socket = new WebSocket(this.address("stream", true));
    } catch {
      this.lost();
      return;
    }
    this.socket = socket;
    socket.onopen = () => {
      this.opened = true;
      this.failures = 0;
    };
    socket.onmessage = (e) => this.receive(e.data);
    socket.onclose = () => {
      if (this.socket === socket) this.lost();
    };
  }

  lost() {
    this.failures++;
    this.ready = false;
    this.o.onlink("lost", this.waiting.length);
    clearTimeout(this.retry);
    this.retry = setTimeout(() => this.connect(), RETRY_MS[Math.min(this.failures - 1, RETRY_MS.length - 1)]);
  }

  fallBack() {
    this.socket = undefined;
    this.posting = true;
    this.pushes?.close();
    this.pushes = new EventSource(this.address("events"));
    this.pushes.onmessage = (e) => this.receive(e.data);
    this.pushes.onerror = () => this.o.onlink("lost", this.waiting.length);
  }

  /** @param {string} text */
  receive(text) {
    let m;
    try {
      m = JSON.parse(text);
    } catch {
      return;
    }
    if (m.hello) {
      this.ready = true;
      // What is waiting is sent again even where the server has it: it is
      // acknowledged again and not stored twice.
      this.next = Math.max(this.next, m.hello.last_seq + 1);
      this.save();
      this.o.onlink(this.posting ? "post" : "up", this.waiting.length);
      for (const w of this.waiting) this.send(w);
    }
    if (typeof m.ack === "number") this.acknowledged(m.ack);
    if (m.error?.code === "seq-taken") this.renumber(m.error.seq, m.error.last_seq);
    if (m.error?.code === "bad-line" || m.error?.code === "no-start") this.acknowledged(m.error.seq); // it will never be taken
    this.o.onmessage(m);
  }

  acknowledged(seq) {
    this.waiting = this.waiting.filter((w) => w.seq !== seq);
    this.save();
    this.o.onlink(this.posting ? "post" : "up", this.waiting.length);
  }

  renumber(seq, last) {
    const m = this.waiting.find((w) => w.seq === seq);
    if (!m) return;
    this.next = Math.max(this.next, last + 1);
    m.seq = this.next++;
    this.save();
    this.send(m);
  }

  /** @param {Message} m */
  send(m) {
    if (this.posting) {
      void this.postAll();
      return;
    }
    if (this.ready && this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(m));
  }

  // One POST after the other, in order.
  async postAll() {
    if (this.sending) return;
    this.sending = true;
    try {
      while (this.waiting.length > 0 && !this.closed) {
        const m = this.waiting[0];
        try {
          this.receive(JSON.stringify(await this.fetchPost(JSON.stringify(m))));
          this.failures = 0;
        } catch {
          this.failures++;
          this.o.onlink("lost", this.waiting.length);
          await new Promise((r) => setTimeout(r, RETRY_MS[Math.min(this.failures, RETRY_MS.length) - 1]));
        }
      }
    } finally {
      this.sending = false;
    }
  }

  /** @param {string} body */
  async fetchPost(body) {
    const r = await fetch(this.address("post"), { method: "POST", body, headers: { "Content-Type": "application/json" } });
    return r.json();
  }
}
