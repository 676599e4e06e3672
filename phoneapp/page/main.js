// The phone page: finds out what this phone can give, then runs the route.
import { byId, el } from "../common/dom.js";
import { percent, stateBadge, wordOf } from "../common/states.js";
import { allowSound, buzz } from "./buzz.js";
import { startClock } from "./clock.js";
import { CompassRun } from "./compass.js";
import { HandRun } from "./hand.js";
import { helpFor } from "./help.js";
import { startHeadings } from "./sources/heading.js";
import { startGravity, startMagnetometer } from "./sources/magnetometer.js";
import { startRehearsal } from "./sources/rehearsal.js";
import { keepInSession, Stream } from "./stream.js";
import * as ui from "./ui.js";
import { VectorRun } from "./vector.js";
import { canSpeak, speak, toggleVoice, voiceOn } from "./voice.js";
import { stayAwake, watchHidden } from "./wakelock.js";

const rehearsal = new URLSearchParams(location.search).get("rehearsal");
const base = new URL("./", location.href);
base.search = "";

const app = {
  plan: null,
  verdict: null,
  prompt: null,
  chosen: null,
  run: null,
  /** Coils counted in this run, in order. @type {string[]} */
  done: [],
  /** A coil counted whose claim has not been told yet. */
  untold: null,

  stream: new Stream({
    base,
    keep: keepInSession(`polewise-${base.pathname}-${rehearsal || "phone"}`),
    onmessage: (m) => received(m),
    onlink: (state, waiting) => ui.link(state, waiting),
  }),

  /** The coil to read next: one picked by hand, one not read yet, one asked for. */
  target() {
    if (this.chosen) return this.chosen;
    const fresh = this.plan.coils.find((c) => !this.done.includes(c.id) && !this.coil(c.id)?.used);
    if (fresh) return fresh.id;
    return this.verdict?.next?.at || null;
  },

  coil(id) {
    return this.verdict?.coils?.find((c) => c.id === id);
  },

  timesRead(id) {
    return this.done.filter((d) => d === id).length;
  },

  whyOf(id) {
    return this.verdict?.next?.at === id ? this.verdict.next.why : "";
  },

  states() {
    const out = {};
    for (const c of this.verdict?.coils || []) if (c.used > 0) out[c.id] = c.state;
    return out;
  },

  counted(at) {
    this.done.push(at);
    this.chosen = null;
    this.untold = at;
    buzz("counted");
  },

  undo(at) {
    this.done = this.done.filter((d) => d !== at);
    this.stream.undo(at);
    ui.clearClaim();
  },

  outcomeTitle() {
    switch (this.verdict?.outcome) {
      case "as-planned":
        return "As planned";
      case "fault":
        return "Something is wrong";
      default:
        return "Not decided yet";
    }
  },

  outcomeLead() {
    const v = this.verdict;
    if (!v) return "No verdict yet.";
    if (v.outcome === "as-planned") return "Every coil faces as planned.";
    const cause = v.causes?.[0];
    if (v.outcome === "fault" && cause) return cause.say;
    if (v.next) return `Next: ${v.next.at}. ${v.next.why}`;
    return "The readings do not tell yet.";
  },

  coilList() {
    return el(
      "ul",
      { class: "list" },
      ...(this.verdict?.coils || []).map((c) => el("li", {}, el("span", {}, c.id), el("span", {}, stateBadge(c.state), ` ${percent(Math.max(...Object.values(c.p)))}`))),
    );
  },

  notes() {
    return (this.verdict?.notes || []).map((n) => el("p", { class: "why" }, n));
  },

  /** What "north" means to this person: asked once, shown wherever it is written. */
  northWords() {
    const other = localStorage.getItem("polewise-north") === "drawn-to";
    return other
      ? { north: "you call this face south", south: "you call this face north", explain: "North up here: the field leaves upward; a needle's south end is drawn to it. You name faces the other way round." }
      : { north: "a needle's south end is drawn to it", south: "a needle's north end is drawn to it", explain: "North up: the field leaves the coil upward, as out of the north end of a bar magnet." };
  },
};

function received(m) {
  if (m.verdict) {
    app.verdict = m.verdict;
    tell();
    app.run?.verdictChanged();
  }
  if (m.prompt) app.prompt = m.prompt;
  if (m.check && app.run) {
    // The bench began another check: this capture is over.
    app.run.end();
    app.run = null;
    app.verdict = null;
    app.done = [];
    void begin();
  }
  if (m.error && m.error.code !== "seq-taken") ui.lead(`${m.error.say} ${m.error.hint || ""}`);
}

/** Says the claim for the coil just read, once it is there. */
function tell() {
  const c = app.untold && app.coil(app.untold);
  if (!c || c.used === 0) return;
  const next = app.target();
  ui.claim(c.id, c.state);
  buzz(c.state);
  speak(`${c.id} ${wordOf(c.state)}. ${next ? `Next: ${next}` : app.outcomeTitle()}`);
  app.untold = null;
}

async function loadPlan() {
  const r = await fetch(new URL("plan.json", base));
  if (!r.ok) throw new Error(`the plan did not load (${r.status})`);
  const state = await r.json();
  app.plan = state.plan;
  app.verdict = state.verdict;
}

async function begin() {
  ui.meter(null);
  ui.clearClaim();
  try {
    await loadPlan();
  } catch {
    ui.show({
      title: "The bench does not answer",
      lead: "Is the program running, and is this phone on the same network?",
      actions: [{ label: "Try again", main: true, onclick: () => void begin() }],
    });
    return;
  }
  ui.drawing(app.plan, { label: `The pad ${app.plan.name}` });
  ui.show({
    title: app.plan.name,
    lead: rehearsal
      ? "A rehearsal: the phone and the pad are made up, and something may be wrong with it. Find out."
      : "This phone reads the field over each coil and says which way it faces.",
    actions: [{ label: "Begin", main: true, id: "begin", onclick: () => void probe() }],
  });
  others(null);
}

/** Finds out by trying, from a tap, what this phone can give. */
async function probe() {
  allowSound();
  void stayAwake();
  ui.show({ title: "One moment", lead: "Finding out what this phone can give.", actions: [] });
  try {
    await run(vectorRun());
  } catch (trouble) {
    offer(trouble);
  }
}

function vectorRun() {
  const clock = startClock();
  const startSource = rehearsal
    ? (u, g) => startRehearsal(base, rehearsal, u, g)
    : async (u, g) => {
        const m = await startMagnetometer(u);
        const gravity = startGravity(g);
        return { stop: () => (m.stop(), gravity.stop()) };
      };
  return new VectorRun({ app, clock, startSource, start: { ...sensorPlace(), top_deg: 0, device: rehearsal ? "rehearsal" : device() } });
}

/** Where the sensor sits in this phone, if the person has found that out. */
function sensorPlace() {
  if (rehearsal) return {};
  try {
    const p = JSON.parse(localStorage.getItem("polewise-sensor") || "null");
    if (p) return { sensor: { offset_mm: p.offset_mm, offset_sd_mm: p.sd_mm } };
  } catch {
    // Nothing usable was kept.
  }
  return {};
}

function device() {
  const ua = navigator.userAgent;
  const system = /Android|iPhone|iPad|Windows|Mac OS X|Linux/.exec(ua)?.[0] || "unknown system";
  return `browser on ${system}`;
}

async function run(r) {
  await r.begin();
  app.run?.end();
  app.run = r;
  others(null);
}

/** Raw readings do not come: say why, and offer what does. */
function offer(trouble) {
  ui.drawing(null);
  ui.show({
    title: "No raw readings from this phone",
    lead: `${trouble.say || String(trouble)} ${trouble.remedy || ""}`,
    actions: [
      { label: "Use the compass", main: true, id: "use-compass", onclick: () => void compass() },
      { label: "Tap by hand", id: "use-hand", onclick: () => void hand() },
      { label: "Try again", onclick: () => void probe() },
    ],
  });
  others(trouble);
}

async function compass() {
  const clock = startClock();
  try {
    await run(new CompassRun({ app, clock, startSource: startHeadings, start: { ...sensorPlace(), top_deg: 0, device: device() } }));
  } catch (trouble) {
    offer(trouble);
  }
}

async function hand() {
  await run(new HandRun({ app, clock: startClock() }));
}

/** What else can be done, under "Other ways, and help". */
function others(trouble) {
  byId("help").replaceChildren(
    el(
      "p",
      {},
      el("button", { type: "button", class: "small", id: "other-hand", onclick: () => void hand() }, "Tap by hand"),
      " ",
      el("button", { type: "button", class: "small", id: "other-compass", onclick: () => void compass() }, "Use the compass"),
    ),
    ...helpFor(trouble, base),
  );
  if (trouble) byId("others").open = true;
}

const voice = byId("voice");
function showVoice() {
  voice.hidden = !canSpeak;
  voice.textContent = voiceOn() ? "Voice on" : "Voice off";
  voice.setAttribute("aria-pressed", String(voiceOn()));
}
voice.addEventListener("click", () => {
  toggleVoice();
  showVoice();
  speak("Voice on.");
});
showVoice();
watchHidden(() => app.run?.back());
app.stream.start();
void begin();
