// Messages that are not acknowledged yet. They are kept in the tab's storage one
// by one, so that a reload loses nothing, and in memory in case that is full.

/**
 * A message for the server: numbered lines, or a request in their place. The
 * check is the one it was made for; it is never sent to another.
 * @typedef {{seq: number, check: string, lines?: object[], undo?: {at: string, t?: number}, again?: {check: string, mend?: object[]}}} Message
 */

export class Outbox {
  /**
   * @param {Storage | Map<string, string> | null} storage sessionStorage, or null where there is none
   * @param {string} name keeps two pages of one address apart
   */
  constructor(storage, name) {
    this.storage = storage;
    this.name = name;
    /** Storage failed: the messages are in memory only. */
    this.memoryOnly = !storage;
    /** @type {Message[]} in the order of their numbers */
    this.waiting = [];
    this.source = this.read("source") || newSource();
    this.next = Number(this.read("next")) || 1;
    this.write("source", this.source);
    for (const seq of (this.read("waiting") || "").split(" ").filter(Boolean)) {
      try {
        this.waiting.push(JSON.parse(this.read(`m${seq}`)));
      } catch {
        // Never written whole; nothing of it was acknowledged either.
      }
    }
  }

  /**
   * Numbers what is to be sent.
   * @param {Omit<Message, "seq">} content
   * @returns {Message}
   */
  put(content) {
    const m = { seq: this.next++, ...content };
    this.waiting.push(m);
    this.write(`m${m.seq}`, JSON.stringify(m));
    this.writeList();
    return m;
  }

  /** @param {number} seq */
  acknowledge(seq) {
    this.waiting = this.waiting.filter((m) => m.seq !== seq);
    this.erase(`m${seq}`);
    this.writeList();
  }

  /** Numbers used so far by this source, according to the server. @param {number} last */
  goOnFrom(last) {
    if (last < this.next) return;
    this.next = last + 1;
    this.writeList();
  }

  /**
   * Throws away what was made for another check.
   * @param {string} check
   * @returns {number} how many messages those were
   */
  keepOnly(check) {
    const others = this.waiting.filter((m) => m.check !== check);
    for (const m of others) this.acknowledge(m.seq);
    return others.length;
  }

  /** Takes a new source name, for a tab that is a copy of another. */
  renew() {
    for (const m of this.waiting) this.erase(`m${m.seq}`);
    this.waiting = [];
    this.source = newSource();
    this.next = 1;
    this.write("source", this.source);
    this.writeList();
  }

  writeList() {
    this.write("next", String(this.next));
    this.write("waiting", this.waiting.map((m) => m.seq).join(" "));
  }

  /** @param {string} key @returns {string} */
  read(key) {
    try {
      const text = this.storage instanceof Map ? this.storage.get(`${this.name} ${key}`) : this.storage?.getItem(`${this.name} ${key}`);
      return text || "";
    } catch {
      return "";
    }
  }

  write(key, text) {
    if (!this.storage) return;
    try {
      if (this.storage instanceof Map) this.storage.set(`${this.name} ${key}`, text);
      else this.storage.setItem(`${this.name} ${key}`, text);
    } catch {
      this.memoryOnly = true;
    }
  }

  erase(key) {
    if (this.storage instanceof Map) this.storage.delete(`${this.name} ${key}`);
    else this.storage?.removeItem(`${this.name} ${key}`);
  }
}

/** A name for this tab among the sources of a check. */
function newSource() {
  return Array.from(crypto.getRandomValues(new Uint8Array(6)), (b) => b.toString(16).padStart(2, "0")).join("");
}

const NAME_TRIES = 10;
const NAME_WAIT_MS = 150;

/**
 * A tab that was made as a copy of another has its storage too, and so its name.
 * Whoever holds the name's lock keeps it; the copy takes another.
 * @param {Outbox} outbox
 */
export async function ownName(outbox) {
  if (!navigator.locks) return;
  // A page that is being reloaded gives its lock back a moment late.
  for (let i = 0; i < NAME_TRIES; i++) {
    if (await lockFor(`polewise ${outbox.source}`)) return;
    await new Promise((done) => setTimeout(done, NAME_WAIT_MS));
  }
  outbox.renew();
  await lockFor(`polewise ${outbox.source}`);
}

/** Takes a lock until the page is closed. @param {string} name @returns {Promise<boolean>} whether it was free */
function lockFor(name) {
  return new Promise((told) => {
    void navigator.locks.request(name, { ifAvailable: true }, (lock) => {
      told(lock !== null);
      return lock ? new Promise(() => {}) : undefined;
    });
  });
}

/** The tab's own storage, or null where the browser forbids it. */
export function tabStorage() {
  try {
    return sessionStorage;
  } catch {
    return null;
  }
}
