// When a refused websocket is tried again, with time and network made up.
import { Outbox } from "/app/outbox.js";
import { Stream } from "/app/stream.js";
import { equal, ok } from "/pure/assert.js";

/** A network that refuses sockets until it is told otherwise, and a clock. */
class Made {
  constructor() {
    this.refuse = true;
    this.sockets = [];
    this.posted = [];
    this.links = [];
    this.now = 0;
    this.timers = [];
    this.holdPost = false;
    const made = this;
    this.WebSocket = class {
      static OPEN = 1;
      constructor() {
        Object.assign(this, { at: made.now, readyState: 0, sent: [] });
        made.sockets.push(this);
        made.setTimeout(() => (made.refuse ? this.close() : this.open()), 10);
      }
      open() {
        this.readyState = 1;
        this.onopen?.();
        if (!made.mute) this.onmessage?.({ data: JSON.stringify({ hello: { check: "c", last_seq: made.stored } }) });
      }
      send(text) {
        this.sent.push(JSON.parse(text).seq);
      }
      close() {
        if (this.readyState === 3) return;
        this.readyState = 3;
        this.onclose?.();
      }
    };
    this.EventSource = class {
      constructor() {
        made.pushes = this;
        made.setTimeout(() => this.onmessage({ data: JSON.stringify({ hello: { check: "c", last_seq: made.stored } }) }), 10);
      }
      close() {
        this.closed = true;
      }
    };
    this.stored = 0;
    this.fetch = (_, o) => {
      if (o?.method !== "POST") return Promise.resolve({ status: 200 });
      const { seq } = JSON.parse(o.body);
      this.posted.push(seq);
      const answer = () => {
        this.stored = Math.max(this.stored, seq);
        return { status: 200, ok: true, text: async () => JSON.stringify({ ack: seq }) };
      };
      return this.holdPost ? new Promise((done) => (this.answerPost = () => done(answer()))) : Promise.resolve(answer());
    };
    this.setTimeout = (f, ms = 0) => {
      const timer = { at: this.now + ms, f };
      this.timers.push(timer);
      return timer;
    };
    this.clearTimeout = (timer) => (this.timers = this.timers.filter((t) => t !== timer));
    this.setInterval = () => 0;
  }

  /** Lets time pass. */
  async pass(ms) {
    const until = this.now + ms;
    for (;;) {
      await settled();
      const next = this.timers.filter((t) => t.at <= until).sort((a, b) => a.at - b.at)[0];
      if (!next) break;
      this.clearTimeout(next);
      this.now = next.at;
      next.f();
    }
    this.now = until;
  }
}

/** Promises that wait for nothing else come true. */
async function settled() {
  for (let i = 0; i < 20; i++) await Promise.resolve();
}

/** Runs a check with the made-up network in place of the browser's. */
async function made(check) {
  const m = new Made();
  const names = ["WebSocket", "EventSource", "fetch", "setTimeout", "clearTimeout", "setInterval"];
  const real = names.map((n) => globalThis[n]);
  for (const n of names) globalThis[n] = m[n];
  try {
    const stream = new Stream({ base: new URL("https://pad.invalid/key/"), outbox: new Outbox(null, "x"), onmessage() {}, onlink: (link) => m.links.push(link) });
    stream.setCheck("c");
    stream.start();
    await m.pass(5000);
    equal(m.links.at(-1), "post");
    await check(m, stream);
  } finally {
    names.forEach((n, i) => (globalThis[n] = real[i]));
  }
}

export async function a_refused_socket_is_tried_again_ever_more_rarely() {
  await made(async (m) => {
    const before = m.sockets.length;
    await m.pass(3600e3);
    const at = m.sockets.slice(before).map((s) => s.at);
    const waits = at.map((t, i) => Math.round((t - (i > 0 ? at[i - 1] : m.sockets[before - 1].at)) / 1000));
    equal(waits, [30, 60, 120, 300, 600, 600, 600, 600, 600]);
    equal(m.links.at(-1), "post", "meanwhile single messages do");
  });
}

export async function a_socket_let_through_takes_over_and_nothing_is_sent_twice() {
  await made(async (m, stream) => {
    m.stored = 0;
    stream.add({ n: 1 });
    stream.flush();
    await m.pass(100);
    equal(m.posted, [1]);
    m.holdPost = true;
    stream.add({ n: 2 });
    stream.flush();
    stream.add({ n: 3 });
    stream.flush();
    await settled();
    equal(m.posted, [1, 2], "one after the other");
    m.refuse = false;
    await m.pass(40e3);
    equal(m.links.at(-1), "up");
    ok(m.pushes.closed, "the pushes come by the socket now");
    const socket = m.sockets.at(-1);
    equal(socket.sent, [], "what is on its way by POST is waited for");
    m.answerPost();
    await settled();
    equal([m.posted, socket.sent], [[1, 2], [3]]);
    stream.add({ n: 4 });
    stream.flush();
    equal(socket.sent, [3, 4]);
    equal(m.posted, [1, 2]);
  });
}

export async function a_post_that_gets_lost_meanwhile_goes_by_the_socket() {
  await made(async (m, stream) => {
    globalThis.fetch = (_, o) => (o?.method === "POST" ? new Promise((_, lost) => (m.losePost = lost)) : Promise.resolve({ status: 200 }));
    stream.add({ n: 1 });
    stream.flush();
    m.refuse = false;
    await m.pass(40e3);
    m.losePost(new Error("timeout"));
    await settled();
    equal(m.sockets.at(-1).sent, [1]);
    equal(m.links.at(-1), "up");
  });
}

export async function a_post_cut_off_on_its_way_is_sent_again() {
  await made(async (m, stream) => {
    const fetched = globalThis.fetch;
    let cut = 0;
    globalThis.fetch = async (_, o) =>
      o?.method === "POST" && cut++ < 2 ? { status: 408, ok: false, text: async () => JSON.stringify({ error: { code: "cut-off", say: "…" } }) } : fetched(_, o);
    stream.add({ n: 1 });
    stream.flush();
    await m.pass(20e3);
    equal([m.posted, stream.outbox.waiting], [[1], []]);
  });
}

export async function a_socket_that_opens_and_says_nothing_does_not_take_over() {
  await made(async (m, stream) => {
    m.refuse = false;
    m.mute = true;
    const before = m.sockets.length;
    await m.pass(36e3);
    equal([m.sockets.length - before, m.sockets.at(-1).readyState], [1, 3], "tried, and given up");
    stream.add({ n: 1 });
    stream.flush();
    await m.pass(100);
    equal([m.posted, m.links.at(-1)], [[1], "post"]);
  });
}

export async function the_network_coming_back_is_a_reason_to_try_at_once() {
  await made(async (m) => {
    m.refuse = false;
    dispatchEvent(new Event("online"));
    await m.pass(50);
    equal(m.links.at(-1), "up");
  });
}

export async function a_socket_that_dies_and_is_refused_again_leads_back_to_single_messages() {
  await made(async (m, stream) => {
    m.refuse = false;
    await m.pass(40e3);
    equal(m.links.at(-1), "up");
    m.refuse = true;
    m.sockets.at(-1).close();
    await m.pass(5000);
    equal(m.links.at(-1), "post");
    stream.add({ n: 1 });
    stream.flush();
    await m.pass(100);
    equal(m.posted, [1]);
    m.refuse = false;
    await m.pass(60e3);
    equal(m.links.at(-1), "up");
  });
}

export async function under_a_new_name_nothing_is_lost_for_a_number_refused_before() {
  await made(async (m, stream) => {
    const old = stream.outbox.source;
    const fetched = globalThis.fetch;
    globalThis.fetch = async (_, o) =>
      stream.outbox.source === old && o?.method === "POST" ? { status: 409, ok: false, text: async () => JSON.stringify({ error: { code: "seq-taken", seq: 1, last_seq: 1 } }) } : fetched(_, o);
    // The page begins its capture anew as soon as it hears of it.
    stream.o.onmessage = (heard) => {
      if (!heard.error) return;
      stream.add({ again: true });
      stream.flush();
    };
    stream.add({ n: 1 });
    stream.flush();
    await m.pass(5000);
    ok(stream.outbox.source !== old, "a new name");
    equal(m.posted, [1], "the new capture's first message");
    equal(stream.outbox.waiting, []);
  });
}

export async function what_is_read_after_a_mend_was_told_belongs_to_no_check() {
  await made(async (m, stream) => {
    m.holdPost = true;
    stream.add({ n: 1 });
    stream.again([{ do: "flip", id: "B2" }]);
    stream.add({ n: 2 });
    stream.flush();
    equal(stream.outbox.waiting.map((w) => [!!w.lines, w.again?.mend[0].id]), [[true, undefined], [false, "B2"]]);
    const told = [];
    stream.o.onmessage = (x) => told.push(x);
    stream.setCheck(""); // another check has begun, and its plan is being fetched
    m.pushes.onmessage({ data: JSON.stringify({ error: { code: "no-start", seq: 1, say: "" } }) });
    equal(told, [], "nobody waits for what was sent for the check before");
    stream.setCheck("d");
    stream.add({ n: 3 });
    stream.flush();
    equal(stream.outbox.waiting.map((w) => w.check), ["d"]);
  });
}
