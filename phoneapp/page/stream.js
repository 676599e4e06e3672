// Sends what an outbox holds and hears what the server pushes. A websocket where
// it can; where that is refused, the same messages by POST and the same pushes as
// server-sent events, and now and then the websocket is tried again. What was not
// acknowledged is sent again on every new connection: the server stores a number once.

const GATHER_MS = 250; // lines are gathered for so long before they become a message
const MAX_LINES = 400; // of one message
const WINDOW = 64; // messages on their way at once
const RETRY_MS = [500, 1000, 2000, 4000, 8000];
const REFUSALS = 2; // sockets refused by a server that answers otherwise, before falling back
const SOCKET_AGAIN_MS = [30e3, 60e3, 120e3, 300e3, 600e3]; // while single messages do
const OPEN_WITHIN_MS = 4000; // a socket that neither opens nor fails is refused
const ANSWER_WITHIN_MS = 5000; // a line on which nothing is acknowledged for so long is dead
const PUSH_WITHIN_MS = 40000; // the server says something every 5 s

/**
 * up: by websocket. post: by single messages. lost: no connection. shut: the
 * pairing key is no longer right, nothing will help but scanning again.
 * @typedef {"up"|"post"|"lost"|"shut"} Link
 */

export class Stream {
  /**
   * @param {{
   *   base: URL,
   *   outbox: import("./outbox.js").Outbox,
   *   onmessage: (m: any) => void,
   *   onlink: (link: Link, waiting: number) => void,
   * }} o base is the page's address with its key, ending in a slash
   */
  constructor(o) {
    this.o = o;
    this.outbox = o.outbox;
    /** The check that lines are for; main.js sets it from the plan. */
    this.check = "";
    /** @type {object[]} */
    this.gathered = [];
    /** Numbers sent on this connection and not acknowledged. @type {Set<number>} */
    this.inFlight = new Set();
    this.ready = false;
    this.posting = false;
    this.refused = 0;
    this.failures = 0;
    /** A socket tried beside the posting. @type {WebSocket | undefined} */
    this.trial = undefined;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.nextTrial = undefined;
    /** How many such came to nothing. */
    this.inVain = 0;
    /** When the server was last heard, of the page's clock. */
    this.heard_ms = 0;
    /** @type {Link} */
    this.link = "lost";
  }

  start() {
    addEventListener("pagehide", () => this.flush());
    document.addEventListener("visibilitychange", () => document.hidden && this.flush());
    addEventListener("online", () => this.hurry());
    setInterval(() => this.watch(), 1000);
    this.connect();
  }

  /** Another check was asked for and has not begun: what is read meanwhile belongs to none. */
  get ending() {
    return this.outbox.waiting.some((m) => m.again && m.check === this.check);
  }

  /** Adds capture lines. @param {...object} lines */
  add(...lines) {
    if (this.ending) return;
    this.gathered.push(...lines);
    if (this.gathered.length >= MAX_LINES) this.flush();
    else this.gathering ||= setTimeout(() => this.flush(), GATHER_MS);
  }

  /** Makes a message of what was gathered and sends it. */
  flush() {
    clearTimeout(this.gathering);
    this.gathering = undefined;
    if (this.gathered.length === 0) return;
    this.outbox.put({ check: this.check, lines: this.gathered });
    this.gathered = [];
    this.pump();
  }

  /** Takes back the hold on a coil that began at t. @param {string} at @param {number} t */
  undo(at, t) {
    this.flush();
    this.outbox.put({ check: this.check, undo: { at, t } });
    this.pump();
  }

  /** Asks for a new check of the same plan, after a mend. @param {object[]} [mend] as the verdict shown asked for it */
  again(mend) {
    this.flush();
    this.outbox.put({ check: this.check, again: { check: this.check, mend } });
    this.pump();
  }

  /** @param {string} check the one in progress now; messages for others are dropped */
  setCheck(check) {
    if (check !== this.check) this.gathered = [];
    this.check = check;
    return this.outbox.keepOnly(check);
  }

  /** @param {string} path @param {boolean} [socket] */
  address(path, socket) {
    const u = new URL(path, this.o.base);
    if (socket) u.protocol = u.protocol === "https:" ? "wss:" : "ws:";
    u.searchParams.set("source", this.outbox.source);
    return u;
  }

  connect() {
    clearTimeout(this.retry);
    this.retry = undefined;
    let socket;
    try {
      socket = new WebSocket(this.address("stream", true));
    } catch {
      void this.refusedOrAway();
      return;
    }
    let opened = false;
    const hangs = setTimeout(() => {
      this.refused = REFUSALS; // waited for long enough
      socket.close();
    }, OPEN_WITHIN_MS);
    socket.onopen = () => {
      clearTimeout(hangs);
      opened = true;
      this.refused = 0;
    };
    this.use(socket, hangs, () => (opened ? this.later() : void this.refusedOrAway()));
  }

  /**
   * @param {WebSocket} socket
   * @param {ReturnType<typeof setTimeout>} hangs closes it if it does not open
   * @param {() => void} gone what to do when it has closed
   */
  use(socket, hangs, gone) {
    this.socket = socket;
    socket.onmessage = (e) => this.receive(e.data);
    socket.onclose = () => {
      clearTimeout(hangs);
      if (this.socket !== socket) return;
      this.disconnected();
      gone();
    };
  }

  /** Out of a network's range nobody tells that the line is dead: no answer does. */
  watch() {
    const silent_ms = performance.now() - this.heard_ms;
    const owed = this.posting ? silent_ms > (this.ready ? PUSH_WITHIN_MS : ANSWER_WITHIN_MS) : this.inFlight.size > 0 && silent_ms > ANSWER_WITHIN_MS;
    if (owed && this.link !== "shut") this.reconnect();
  }

  disconnected() {
    this.ready = false;
    this.inFlight.clear();
    this.tell("lost");
  }

  /** A socket did not open: is the server away, or are sockets refused here? */
  async refusedOrAway() {
    let status = 0;
    try {
      status = (await fetch(new URL("plan.json", this.o.base), { cache: "no-store", signal: AbortSignal.timeout(ANSWER_WITHIN_MS) })).status;
    } catch {
      // Away: no answer at all.
    }
    if (status === 403) {
      this.tell("shut");
      return;
    }
    if (status === 200) this.refused++;
    if (this.refused >= REFUSALS) this.fallBack();
    else this.later();
  }

  later() {
    this.failures++;
    this.retry = setTimeout(() => this.connect(), RETRY_MS[Math.min(this.failures, RETRY_MS.length) - 1]);
  }

  /** Tries again at once, when the network has come back. */
  hurry() {
    if (this.retry !== undefined) this.connect();
    else this.trySocket();
  }

  fallBack() {
    this.socket = undefined;
    this.posting = true;
    this.pushes?.close();
    this.heard_ms = performance.now(); // the greeting is due from now
    this.pushes = new EventSource(this.address("events"));
    this.pushes.onmessage = (e) => this.receive(e.data);
    // The browser connects again by itself; where it has given up, watch does.
    this.pushes.onerror = () => this.disconnected();
    this.trySocketLater();
  }

  trySocketLater() {
    this.nextTrial ??= setTimeout(() => this.trySocket(), SOCKET_AGAIN_MS[Math.min(this.inVain, SOCKET_AGAIN_MS.length - 1)]);
  }

  /** Whether a socket is let through by now. Messages go on by POST until it has greeted. */
  trySocket() {
    clearTimeout(this.nextTrial);
    this.nextTrial = undefined;
    if (!this.posting || this.trial || this.link === "shut") return;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    let hangs;
    const inVain = () => {
      clearTimeout(hangs);
      this.trial = undefined;
      this.inVain++;
      this.trySocketLater();
    };
    let socket;
    try {
      socket = new WebSocket(this.address("stream", true));
    } catch {
      inVain();
      return;
    }
    this.trial = socket;
    hangs = setTimeout(() => socket.close(), OPEN_WITHIN_MS);
    socket.onclose = inVain;
    socket.onmessage = (e) => {
      clearTimeout(hangs);
      if (!greets(e.data)) {
        socket.close();
        return;
      }
      this.trial = undefined;
      this.inVain = 0;
      this.refused = 0;
      this.posting = false;
      this.pushes?.close();
      this.use(socket, hangs, () => this.later());
      this.receive(e.data);
    };
  }

  /** @param {string} text */
  receive(text) {
    this.heard_ms = performance.now();
    let m;
    try {
      m = JSON.parse(text);
    } catch {
      return; // not one of ours
    }
    // Of a message that was for the check before: nobody waits for it any more.
    if (m.error?.seq && !this.outbox.waiting.some((w) => w.seq === m.error.seq)) return;
    if (m.hello) this.greeted(m.hello);
    if (typeof m.ack === "number") this.done(m.ack);
    if (m.error) this.refusal(m.error);
    this.o.onmessage(m);
  }

  greeted(hello) {
    this.failures = 0;
    this.ready = true;
    this.inFlight.clear();
    if (hello.check === this.check) this.outbox.goOnFrom(hello.last_seq);
    this.tell(this.posting ? "post" : "up");
    this.pump();
  }

  done(seq) {
    this.inFlight.delete(seq);
    this.outbox.acknowledge(seq);
    this.tell(this.link);
    this.pump();
  }

  refusal(error) {
    switch (error.code) {
      case "seq-taken":
        // Another tab goes by this one's name. A new name, and main.js begins a
        // new capture under it.
        this.outbox.renew();
        this.reconnect();
        break;
      case "too-fast": // what was not acknowledged is sent again after the pause
        break;
      case "not-stored":
      case "trouble":
        this.inFlight.clear();
        setTimeout(() => this.pump(), RETRY_MS[2]);
        break;
      default:
        // It will never be taken, however often it is sent.
        if (error.seq) this.done(error.seq);
    }
  }

  /** Connects again under the outbox's name as it is now. */
  reconnect() {
    this.disconnected();
    this.trial?.close(); // it may go by another name
    if (this.posting) this.fallBack();
    else {
      const old = this.socket;
      this.socket = undefined;
      old?.close();
      this.connect();
    }
  }

  /** Sends what is waiting and not on its way. */
  pump() {
    if (!this.ready || !this.check) {
      if (this.outbox.waiting.length > 0) this.tell(this.link); // how many are kept
      return;
    }
    if (this.posting) {
      void this.postAll();
      return;
    }
    if (this.sending) return; // a last POST is on its way, and calls again
    for (const m of this.outbox.waiting) {
      if (this.inFlight.size >= WINDOW) break;
      if (m.check !== this.check || this.inFlight.has(m.seq)) continue;
      if (this.socket?.readyState !== WebSocket.OPEN) break;
      if (this.inFlight.size === 0) this.heard_ms = performance.now(); // the answer is due from now
      this.inFlight.add(m.seq);
      this.socket.send(body(m));
    }
    this.tell(this.link);
  }

  /** One POST after the other, in the order of their numbers, until a socket takes over. */
  async postAll() {
    if (this.sending) return;
    this.sending = true;
    try {
      while (this.ready && this.posting) {
        const m = this.outbox.waiting.find((w) => w.check === this.check);
        if (!m) break;
        try {
          const r = await fetch(this.address("post"), { method: "POST", body: body(m), headers: { "Content-Type": "application/json" }, signal: AbortSignal.timeout(ANSWER_WITHIN_MS) });
          this.receive(await r.text());
          this.failures = 0;
          if (r.status === 403) {
            this.tell("shut");
            return;
          }
          if (r.status >= 500 || [408, 429].includes(r.status)) await wait(RETRY_MS[2]);
          else if (!r.ok && this.outbox.waiting.includes(m)) this.done(m.seq); // refused for good, and no other took its number
        } catch {
          if (!this.posting) break; // the socket sends it again
          this.failures++;
          this.tell("lost");
          await wait(RETRY_MS[Math.min(this.failures, RETRY_MS.length) - 1]);
          // The line of the pushes may have died with it.
          if (this.ready) this.reconnect();
        }
      }
    } finally {
      this.sending = false;
      if (!this.posting) this.pump();
    }
  }

  /** @param {Link} link */
  tell(link) {
    this.link = link;
    this.o.onlink(link, this.outbox.waiting.length);
  }
}

/** A message as sent: the check it is for stays here. */
function body({ seq, lines, undo, again }) {
  return JSON.stringify({ seq, lines, undo, again });
}

/** Whether these are the words that the bench greets with. @param {string} text */
function greets(text) {
  try {
    return !!JSON.parse(text).hello;
  } catch {
    return false;
  }
}

function wait(ms) {
  return new Promise((done) => setTimeout(done, ms));
}
