// The phone page in canned states, for eyes and screenshots: states.html?state=NAME,
// or without a name a list of them. Nothing here is connected to anything.
import { el } from "../common/dom.js";
import { newsOf } from "./claims.js";
import { padDrawing } from "./drawing.js";
import { VectorFlow } from "./flow.js";
import { HeadingFlow } from "./heading-flow.js";
import { northWords } from "../common/north.js";
import { rowsOf } from "./rows.js";
import { spoiltWords } from "./row-stroke.js";
import { Ohms } from "./ohms.js";
import * as page from "./page.js";
import { brokenWords } from "./run.js";
import { conventionScreen, handScreen } from "./screens/hand.js";
import { elsewhereWords, headingScreen, strengthWords } from "./screens/heading.js";
import { helpFor } from "./screens/help.js";
import { findingOut, noBench, rehearsalElsewhere, signedScreen, startScreen, againScreen } from "./screens/start.js";
import { sensorScreen } from "./screens/sensor.js";
import { SensorFlow } from "./sensor-flow.js";
import { placings } from "./sensor-places.js";
import { vectorScreen } from "./screens/vector.js";
import { Trouble, wordsFor } from "./troubles.js";

const nothing = () => {};
const android = /** @type {const} */ ({ system: "android", browser: "chromium" });
const apple = /** @type {const} */ ({ system: "apple", browser: "safari" });

const ids = ["A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2", "C3"];
const plan = {
  name: "Kennel bed, nine coils",
  outline_mm: [480, 480],
  windings: [{ id: "round", shape: "round", inner_mm: [90, 90], corner_mm: 0, build_mm: 6, width_mm: 8, turns: 60 }],
  coils: ids.map((id, i) => ({ id, x_mm: 90 + 150 * (i % 3), y_mm: 390 - 150 * Math.floor(i / 3), turned_deg: 0, north: "up", sense: "ccw", winding: "round", string: id[0] })),
  strings: ["A", "B", "C"].map((id) => ({ id, coils: [1, 2, 3].map((n) => id + n) })),
  groups: [],
  supply: { volts: 2, amps: 0, limit_amps: 2.5, drive: "steady", hz: 0, duty: 0 },
};

/** A pad that is smaller than a phone. */
const smallPlan = {
  ...plan,
  name: "Two small coils",
  outline_mm: [150, 80],
  windings: [{ ...plan.windings[0], inner_mm: [44, 44] }],
  coils: ["A1", "A2"].map((id, i) => ({ ...plan.coils[0], id, x_mm: 40 + 70 * i, y_mm: 40, string: "A" })),
  strings: [{ id: "A", coils: ["A1", "A2"] }],
};

/** A pad whose coils are too small to tap. */
const manyIds = Array.from({ length: 200 }, (_, i) => `${String.fromCharCode(65 + Math.floor(i / 20))}${(i % 20) + 1}`);
const manyPlan = {
  ...plan,
  name: "Two hundred coils",
  outline_mm: [2200, 1150],
  windings: [{ ...plan.windings[0], inner_mm: [70, 70] }],
  coils: manyIds.map((id, i) => ({ ...plan.coils[0], id, x_mm: 60 + 108 * (i % 20), y_mm: 60 + 112 * Math.floor(i / 20), string: id[0] })),
  strings: [..."ABCDEFGHIJ"].map((id) => ({ id, coils: manyIds.filter((c) => c[0] === id) })),
};

/** @param {Record<string, string>} states @param {any} [more] */
function verdict(states, more = {}) {
  return {
    outcome: "undecided",
    coils: ids.map((id) => ({ id, state: states[id] || "undecided", p: { [states[id] === "undecided" || !states[id] ? "as-planned" : states[id]]: states[id] && states[id] !== "undecided" ? 0.9991 : 0.62 }, used: id in states ? 1 : 0 })),
    causes: [],
    next: null,
    notes: [],
    ...more,
  };
}

const all = (state, but = {}) => ({ ...Object.fromEntries(ids.map((id) => [id, state])), ...but });
const reversed = verdict(all("as-planned", { B2: "reversed" }), {
  outcome: "fault",
  causes: [
    { p: 0.986, faults: [{ kind: "coil-reversed", id: "B2" }], mend: [{ do: "flip", id: "B2" }], say: "Coil B2 faces the wrong way. Turn B2 over, or swap its two leads." },
    { p: 0.012, faults: [{ kind: "coil-reversed", id: "B2" }, { kind: "turns-shorted", id: "B1" }], mend: [], say: "Coil B2 faces the wrong way, and B1 has shorted turns." },
  ],
});

/** @param {any} [v] @param {"north"|"south"|null} [outFace] */
function told(v = null, outFace = null) {
  const coil = (id) => v?.coils.find((c) => c.id === id);
  return {
    plan,
    check: "canned",
    verdict: v,
    rehearsal: null,
    predicted: { pad: { amps: 0.74 } },
    north: northWords(outFace),
    coil,
    states: () => Object.fromEntries((v?.coils || []).filter((c) => c.used > 0).map((c) => [c.id, c.state])),
  };
}

const tap = new Proxy({}, { get: () => nothing });

/** The vector route in a stage. @param {Partial<VectorFlow>} set @param {any} [v] @param {any} [more] */
function vector(set, v = null, more = {}) {
  const pad = more.plan || plan;
  const flow = new VectorFlow({ coils: pad.coils.map((c) => c.id), supply: pad.supply, rows: rowsOf(pad), afterMend: more.afterMend });
  Object.assign(flow, { verdict: v }, set);
  const { row, stroke } = more;
  if (row !== undefined) Object.assign(flow.strokes, { on: true, row: flow.strokes.rows[row], stroke });
  page.show(vectorScreen(flow, { ...told(v), plan: pad }, { note: "", marked: false, unsteady: false, do: tap, ...more }));
  page.field([41, 63, 385]);
}

const samples = (seconds, from = 0) => Array.from({ length: seconds * 10 + 1 }, (_, i) => ({ t: from + i / 10, u: [41, 63, 385] }));
const hold = { at: "B1", t: 10, from: 10, off: [], on: samples(1.6, 10) };
const done = (n) => ids.slice(0, n).map((at, i) => ({ at, t: i }));
const some = verdict({ A1: "as-planned", A2: "as-planned", A3: "undecided" });

/** @param {any} set @param {any} [v] @param {string} [note] */
function heading(set, v = null, note = "") {
  const flow = new HeadingFlow({ plan, amps: 0.74 });
  Object.assign(flow, { rest_deg: 12, verdict: v }, set);
  page.show(headingScreen(flow, told(v), { note, marked: false, do: tap }));
  page.reading("57°");
}

/** @param {any} set @param {any} [t] */
function hand(set, t = told()) {
  page.show(handScreen(/** @type {any} */ ({ stage: "faces", target: "A3", faces: { A1: 1, A2: -1 }, toUndo: { at: "A2" }, note: "", do: tap, ...set }), t));
}

/** Finding the sensor. @param {Partial<SensorFlow>} set */
function sensor(set) {
  const flow = new SensorFlow({ at: "A1", placings: placings(plan.coils[0], plan.windings[0]), supply: plan.supply });
  Object.assign(flow, set);
  page.show(sensorScreen(flow, told(), { note: "", do: tap }));
  if (flow.stage !== "answer") page.field([41, 63, 385]);
}

/** @param {any} found @param {any} where @param {string} [note] @param {(() => void) | null} [resume] */
function start(found, where, note = "", resume = null) {
  page.show(startScreen(told(), found, { note, where, drawing: () => padDrawing(plan, { label: "The pad" }), begin: nothing, resume, findSensor: found.raw === null ? nothing : null }));
  help(found, where);
}

function help(found, where, open = false) {
  document.getElementById("help")?.replaceChildren(...helpFor({ found, where, base: new URL("../", location.href), rehearsal: false, ownCertificate: false, take: nothing, tryAgain: nothing, ohms: nothing, findSensor: nothing, changed: nothing, callOutFace: nothing }));
  /** @type {any} */ (document.getElementById("others")).open = open;
}

/** Every failing case at its own phone. */
const failing = Object.fromEntries(
  /** @type {[import("./troubles.js").Code, any, any][]} */ ([
    ["insecure", android, "insecure"],
    ["missing", android, null],
    ["missing", apple, "ask"],
    ["not-readable", android, null],
    ["denied", android, "denied"],
    ["policy", android, "policy"],
    ["hidden", android, "hidden"],
    ["silent", android, "no-compass"],
    ["motion-denied", apple, "motion-denied"],
    ["no-compass", { system: "other", browser: "chromium" }, "no-compass"],
  ]).map(([code, where, compass]) => [
    `trouble-${code}-${where.system}`,
    () => {
      const raw = new Trouble(code === "motion-denied" || code === "no-compass" ? "missing" : code);
      const found = { best: compass === null || compass === "ask" ? "heading" : "hand", raw, compass: compass === null || compass === "ask" ? compass : new Trouble(compass) };
      start(found, where, code === "motion-denied" ? `${wordsFor(code, where).say} ${wordsFor(code, where).steps[0]}` : "");
      help(found, where, true);
    },
  ]),
);

/** @type {Record<string, () => void>} */
const STATES = {
  "finding-out": () => page.show(findingOut()),
  "no-bench": () => page.show(noBench(nothing)),
  "rehearsal-elsewhere": () => page.show(rehearsalElsewhere()),
  signed: () => page.show(signedScreen(() => padDrawing(plan, { states: all("as-planned"), label: "The pad" }), "signed")),
  "start-raw": () => start({ best: "vector", raw: null, compass: null }, android),
  "start-again": () => start({ best: "vector", raw: null, compass: null }, android, "", nothing),
  "start-compass": () => start({ best: "heading", raw: new Trouble("missing"), compass: "ask" }, apple),
  "start-hand": () => start({ best: "hand", raw: new Trouble("missing"), compass: new Trouble("no-compass") }, { system: "other", browser: "firefox" }),
  ...failing,
  "supply-off": () => vector({ stage: "off" }),
  resting: () => vector({ stage: "resting", rest: samples(1.2) }),
  unsteady: () => vector({ stage: "resting", rest: samples(1.9) }, null, { unsteady: true, note: "The readings do not come to rest. Is the phone lying still, the supply really off, and nothing else driven nearby?" }),
  lit: () => vector({ stage: "lit", rest: samples(2) }),
  "supply-off-rows": () => vector({ stage: "off" }, null, { row: 0 }),
  "supply-on": () => vector({ stage: "on", hold: { ...hold, at: "A1" } }),
  "supply-on-doubted": () => vector({ stage: "on", hold: { ...hold, at: "A1" } }, null, { doubted: true, note: "200 A? The plan gives 2.05 A, 2.5 A at most. Put it right, or tap once more if the supply shows that." }),
  "supply-on-news": () => {
    vector({ stage: "on", hold: { ...hold, at: "A1" } });
    page.claim(newsOf([], manyIds.slice(0, 40).map((id) => ({ id, state: id === "B2" ? "reversed" : "as-planned", used: 1 })), null));
  },
  "much-news": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.claim(newsOf([], manyIds.slice(0, 40).map((id) => ({ id, state: id === "B2" ? "reversed" : "as-planned", used: 1 })), "A3"));
  },
  counting: () => vector({ stage: "counting", hold, done: done(3) }, some),
  lift: () => {
    vector({ stage: "lift", done: done(3), lay: { at: "A3", asked: {} } }, some);
    page.claim(newsOf(verdict({}).coils, verdict({ A1: "undecided", A2: "undecided", A3: "as-planned" }).coils, "A3"));
  },
  place: () => vector({ stage: "place", done: done(3) }, some),
  "claim-reversed": () => {
    const v = verdict({ A1: "as-planned", A2: "as-planned", A3: "as-planned", B1: "as-planned", B2: "reversed" });
    vector({ stage: "place", done: done(5) }, v);
    page.claim(newsOf(some.coils, v.coils, "B2"));
  },
  "claim-undecided": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.claim(newsOf([], some.coils, "A3"));
  },
  "claim-likely": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.claim(newsOf([], [{ ...some.coils[2], p: { "as-planned": 0.987, reversed: 0.013 } }], "A3"));
  },
  broken: () => vector({ stage: "place", done: done(3), chosen: "B1" }, some, { note: brokenWords("B1", "moved") }),
  quiet: () => vector({ stage: "quiet", done: done(3) }, some),
  "quiet-again": () => vector({ stage: "quiet", done: [...done(3), { at: "B1", t: 3, quiet: true }, { at: "B2", t: 4, quiet: true }] }, verdict({ A1: "as-planned", A2: "as-planned", A3: "as-planned", B1: "undecided", B2: "undecided" })),
  same: () => vector({ stage: "same", done: done(3), before: { at: "A3", on: [] } }, some),
  "same-again": () => vector({ stage: "same", done: [...done(3), { at: "B1", t: 3, same: true }], before: { at: "B1", on: [] } }, some),
  taken: () => vector({ stage: "taken", done: done(3), taken: { at: "B1", read: true }, fromEnd: true }, verdict({ A1: "as-planned", A2: "as-planned", A3: "as-planned", B1: "undecided" })),
  unchanged: () => vector({ stage: "unchanged", hold: { ...hold, at: "A1" } }),
  turned: () => vector({ stage: "place", done: done(9) }, verdict(all("as-planned", { B2: "undecided" }), { next: { at: "B2", top_deg: 180, why: "B2 may face either way. Read it once more, with the phone turned by half." } })),
  moved: () => vector({ stage: "lift", done: done(9), lay: { at: "B2", asked: {} } }, verdict(all("as-planned", { B2: "undecided" }), { next: { at: "B2", shift_mm: [-17, -47], why: "B2 may be as planned or weak. Lay the phone with its mark 17 mm to the left of and 47 mm on your side of the middle of B2: its sensor is over the middle then." } })),
  "not-counted": () => vector({ stage: "lift", done: done(9), lay: { at: "C3", asked: {} } }, verdict(all("undecided"), { next: { at: "A1", why: "Nothing that was read over A1 counts; the notes say why. Read it once more." }, notes: ["Over A1 far more than the earth's field was read with the supply told to be off, and no more than that with it told to be on: on and off may have been told the wrong way round. That is not counted. Make sure which way the switch stands, and read it again."] })),
  sticker: () => vector({ stage: "place", done: done(3) }, some, { marked: true, mark_mm: [-7, 33] }),
  "sticker-turned": () => vector({ stage: "place", done: done(9) }, verdict(all("as-planned", { B2: "undecided" }), { next: { at: "B2", top_deg: 180, shift_mm: [20, 0], why: "B2 may face either way." } }), { marked: true, mark_mm: [-7, 33] }),
  "small-pad": () => vector({ stage: "place", done: done(1) }, verdict({ A1: "as-planned" }), { plan: smallPlan }),
  "small-pad-across": () => vector({ stage: "place", done: [] }, { ...verdict({}), coils: [{ id: "A1", state: "undecided", used: 1 }, { id: "A2", state: "undecided", used: 1 }], next: { at: "A1", top_deg: 90, shift_mm: [-30, 0], why: "A1 may be as planned or reversed. Lay the phone with its mark 30 mm to the left of the middle of A1." } }, { plan: smallPlan }),
  "many-coils": () => vector({ stage: "place", done: [{ at: "A1", t: 1 }] }, { ...verdict({}), coils: manyIds.map((id) => ({ id, state: id === "A1" ? "as-planned" : "undecided", used: id === "A1" ? 1 : 0 })) }, { plan: manyPlan }),
  row: () => {
    vector({ stage: "row", done: [{ at: "A1", t: 0 }, { at: "A1", t: 1, along: ["A1", "A2", "A3"] }] }, some, { row: 1 });
    page.claim(newsOf([], some.coils, null, ["A1", "A2", "A3"]));
  },
  "row-many": () => vector({ stage: "row", done: [{ at: "A1", t: 0 }] }, null, { plan: manyPlan, row: 3 }),
  "row-drawn": () => vector({ stage: "drawing", done: [{ at: "A1", t: 0 }] }, some, { row: 0, stroke: { t: 0, samples: samples(2.2) } }),
  "row-spoilt": () => vector({ stage: "row", done: [{ at: "A1", t: 0 }] }, some, { row: 0, note: spoiltWords("A1 to A3", "A1", "fast") }),
  "row-offered": () => vector({ stage: "place", done: [{ at: "B2", t: 0 }] }, { ...verdict(all("as-planned")), next: { at: "A1", why: "A1 was read before the mend only. Draw the phone along every row once, or lay it on every coil, so that nothing else turned goes unseen." } }, { afterMend: true }),
  waiting: () => vector({ stage: "waiting", done: done(9) }, some),
  "waiting-lost": () => {
    vector({ stage: "waiting", done: done(9) }, some, { lost: true });
    page.link("lost", 14);
  },
  "waiting-mended": () => vector({ stage: "waiting", done: done(2), carried: ids }, some),
  "link-lost": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.link("lost", 14);
  },
  "link-post": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.link("post", 0);
  },
  "key-changed": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.link("shut", 0);
  },
  "not-stored": () => {
    vector({ stage: "place", done: done(3) }, some);
    page.trouble("The readings could not be stored. Is the disk full? They are sent again by themselves.");
  },
  "much-said": () => {
    const v = verdict({ A1: "as-planned", A2: "as-planned", A3: "reversed", B1: "undecided" });
    vector({ stage: "place", done: done(3), chosen: "B1" }, v, { note: brokenWords("B1", "moved"), marked: true });
    page.claim(newsOf(some.coils, v.coils, "A3"));
    page.link("lost", 14);
    page.trouble("The readings could not be stored. Is the disk full? They are sent again by themselves.");
  },
  "result-reversed": () => vector({ stage: "result", done: done(9) }, reversed),
  "result-as-planned": () => vector({ stage: "result", done: done(9) }, verdict(all("as-planned"), { outcome: "as-planned" })),
  "result-undecided": () => vector({ stage: "result", done: done(9) }, verdict(all("as-planned", { C1: "weak", C3: "dead", B2: "undecided" }), { next: { at: "B2", why: "What was read over B2 leaves doubt. Read it once more." }, notes: ["The hold on B2 did not lie still."] })),
  "result-doubted": () => vector({ stage: "result", done: done(9) }, { ...reversed, notes: ["The readings over A3 would not stand still: the phone was moved, or something beside it. Lay it down again and read A3 again.", "B1 and B2 lie side by side."] }),
  again: () => page.show(againScreen(told(reversed), nothing, nothing)),
  "heading-place": () => heading({ stage: "place", done: [] }),
  "heading-elsewhere": () => heading({ stage: "place", done: [], rest_deg: 85 }, null, elsewhereWords("A1")),
  "heading-weak": () => heading({ stage: "place", done: [{ at: "A1", side: 1, t: 1 }] }, null, strengthWords({ at: "A1", tells: "weak", turn_deg: 4, amps: 2.8, others: false }, plan)),
  "heading-still": () => heading({ stage: "place", done: [{ at: "A1", side: 1, t: 1 }, { at: "A2", side: 1, t: 2 }] }, null, strengthWords({ at: "A2", tells: "weak", turn_deg: 0.3, amps: 2.8, others: false }, plan)),
  "heading-settles": () => heading({ stage: "off", hold: { at: "A1" }, run: samples(1.4) }),
  "heading-on": () => heading({ stage: "on", hold: { at: "A1" } }),
  "heading-on-strong": () => heading({ stage: "on", hold: { at: "A1", across_uT: -310 } }),
  convention: () => page.show(conventionScreen(nothing)),
  "hand-on": () => hand({ stage: "on" }),
  "hand-faces": () => hand({}),
  "hand-other-convention": () => hand({}, told(null, "south")),
  "sensor-lay": () => sensor({}),
  "sensor-edge": () => sensor({ done: [[], []], afresh: false, answer: { found: false, offset_mm: [-14, 41], offset_sd_mm: [5.1, 11.3], why: "it may still be off by 12 mm, and 6 mm is wanted", holds: 2 } }),
  "sensor-unchanged": () => sensor({ done: [[]], told: "unchanged" }),
  "sensor-reads": () => sensor({ stage: "first", run: samples(1) }),
  "sensor-found": () => sensor({ stage: "answer", driven: true, done: [[], [], [], []], answer: { found: true, offset_mm: [-14.2, 41.3], offset_sd_mm: [5.1, 4.4], holds: 4 } }),
  ohms: () => {
    const o = new Ohms(/** @type {any} */ ({ told: told(some), ohmsNoted: [{ across: "coil:B2", t: 2, say: "coil B2: open, planned 0.96" }, { across: "coil:B1", t: 1, say: "coil B1: 0.98 ohm, planned 0.96" }] }), nothing);
    Object.assign(o, { note: "Expected a number of ohms, as in 0.97." }).show();
  },
  help: () => {
    vector({ stage: "place", done: done(3) }, some);
    help({ best: "heading", raw: new Trouble("not-readable"), compass: null }, android, true);
  },
};

const index = new DOMParser().parseFromString(await (await fetch("../")).text(), "text/html");
for (const part of index.querySelectorAll("header, main, footer")) document.body.append(document.adoptNode(part));
page.link("up", 0);
/** @type {any} */ (document.getElementById("voice")).hidden = false;
const name = new URLSearchParams(location.search).get("state");
if (name && STATES[name]) {
  help({ best: "vector", raw: null, compass: null }, android);
  STATES[name]();
} else {
  page.show({ title: "States of the phone page", body: [el("ul", { id: "states" }, ...Object.keys(STATES).map((s) => el("li", {}, el("a", { href: `?state=${s}` }, s))))] });
}
document.body.dataset.shown = name || "list";
