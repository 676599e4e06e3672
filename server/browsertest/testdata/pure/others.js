// The small pure parts: outbox, claims, words, headings, places, conventions.
import { newsOf } from "/app/claims.js";
import { padToPick } from "/app/drawing.js";
import { HandRun } from "/app/hand-run.js";
import { HeadingFlow } from "/app/heading-flow.js";
import { currentFor, placeBeside, strengthOf } from "/app/heading-places.js";
import { resultScreen } from "/app/screens/result.js";
import { currentWords, strengthWords } from "/app/screens/heading.js";
import { percent } from "/common/states.js";
import { MadeUpPhone } from "/bench/made-up-phone.js";
import { svg } from "/common/dom.js";
import { list } from "/common/names.js";
import { ampsDoubt } from "/common/amps.js";
import { northWords } from "/common/north.js";
import { faceShown } from "/common/pad.js";
import { Outbox } from "/app/outbox.js";
import { headingOfAngles, headingOfQuaternion, Turns, wrap180 } from "/app/sources/headings.js";
import { startMagnetometer } from "/app/sources/magnetometer.js";
import { Told } from "/app/told.js";
import { startLine } from "/app/run.js";
import { Stillness } from "/app/stillness.js";
import { supplyWords } from "/app/supply.js";
import { whereAmI } from "/app/system.js";
import { wordsFor } from "/app/troubles.js";
import { allowSound, buzz, CUES, patternOf } from "/app/buzz.js";
import { tones } from "/app/remembered.js";
import { stayAwake } from "/app/wakelock.js";
import { canSpeak, setVoice, speak } from "/app/voice.js";
import { equal, near, ok } from "/pure/assert.js";

/** Where nothing is drawn. */
const NO_PLAN = { outline_mm: [0, 0], windings: [], coils: [], strings: [] };

export function a_cause_that_others_come_near_is_told_with_its_chance_and_what_to_measure() {
  const lead = (p, next) => {
    const cause = { p, faults: [{ kind: "coil-in-wrong-string", id: "B2", string: "A" }], mend: [], say: "Coil B2 is joined into string A instead of B." };
    const verdict = { outcome: "fault", coils: [{ id: "B2", state: "as-planned", used: 1, p: { "as-planned": 1 } }], causes: [cause], next, notes: [] };
    const nothing = () => {};
    return resultScreen({ plan: NO_PLAN, verdict, rehearsal: "r", states: () => ({}), north: northWords(null) }, { note: "", actions: [], goOn: nothing, ohms: nothing }).lead;
  };
  equal(lead(0.99, { at: "A1", why: "Read the face of A1 once more." }), "Coil B2 is joined into string A instead of B. Read the face of A1 once more.");
  equal(lead(0.99, null), "Coil B2 is joined into string A instead of B.");
  equal(lead(0.56, null), "Likeliest so far, 56 %: Coil B2 is joined into string A instead of B.");
  equal(lead(0.56, { at: "B1", route: "ohms", across: "string:B", why: "Measure string B." }), "Likeliest so far, 56 %: Coil B2 is joined into string A instead of B. Measure string B.");
}

export function after_a_mend_the_ohms_noted_before_it_are_not_said_to_do() {
  const nothing = () => {};
  const verdict = { outcome: "as-planned", coils: [], causes: [], next: null, notes: [] };
  const lead = (mended) => resultScreen({ plan: NO_PLAN, verdict, mended, rehearsal: null, states: () => ({}), north: northWords(null) }, { note: "", actions: [], goOn: nothing, ohms: nothing }).lead || "";
  ok(lead(false).includes("if you have not yet; the bench page"), lead(false));
  ok(lead(true).includes("those noted before it count no more where joints were opened. The bench page"), lead(true));
}

export function a_remark_that_asks_for_a_reading_again_stands_with_the_result() {
  const nothing = () => {};
  const notes = ["The ohmmeter showed 0.96 ohm across string B, where everything else says 2.15 ohm. Measure it again, unplugged and with the supply off.", "The phone lay a little aside."];
  const { why, body } = resultScreen({ plan: NO_PLAN, verdict: { outcome: "undecided", coils: [], causes: [], next: null, notes }, rehearsal: null, states: () => ({}), north: northWords(null) }, { note: "", actions: [], goOn: nothing, ohms: nothing });
  equal(why, notes[0]);
  ok(body?.some((n) => n?.textContent === notes[1]) && !body.some((n) => n?.textContent === notes[0]), "the others below");
}

export function a_result_with_coils_still_open_asks_to_go_on() {
  const nothing = () => {};
  const mains = (outcome, next, rehearsal) => {
    const verdict = { outcome, coils: [], causes: [], next, notes: [] };
    const { actions } = resultScreen({ plan: NO_PLAN, verdict, rehearsal, states: () => ({}), north: northWords(null) }, { note: "", actions: [], goOn: nothing, ohms: nothing, again: nothing });
    return actions.filter((a) => a.main).map((a) => a.label);
  };
  const more = { at: "C2", top_deg: 180, why: "…" };
  const ohms = { at: "C2", route: "ohms", why: "…" };
  equal(mains("fault", more, "r"), ["Go on reading"]);
  equal(mains("fault", more, null), ["Go on reading"]);
  equal(mains("fault", null, null), ["Mended: check again"]);
  equal(mains("fault", ohms, "r"), ["Note the ohms"]);
  equal(mains("undecided", more, "r"), ["Go on reading"]);
  equal(mains("undecided", ohms, null), ["Note the ohms"]);
  equal(mains("as-planned", null, "r"), []);
}

export async function a_bench_that_does_not_answer_is_not_waited_for_as_long_as_the_browser_would() {
  const [fetched, timeout] = [globalThis.fetch, AbortSignal.timeout];
  globalThis.fetch = (_, o) => new Promise((_, lost) => o?.signal?.addEventListener("abort", () => lost(o.signal.reason)));
  AbortSignal.timeout = () => timeout.call(AbortSignal, 10);
  try {
    const load = new Told(new URL("https://pad.invalid/key/"), null).load().then(() => "loaded", (e) => e.name);
    equal(await Promise.race([load, new Promise((done) => setTimeout(() => done("waits"), 500))]), "TimeoutError");
  } finally {
    globalThis.fetch = fetched;
    AbortSignal.timeout = timeout;
  }
}

export async function an_axis_that_gives_nothing_is_no_reading() {
  const was = globalThis.Magnetometer;
  let made;
  globalThis.Magnetometer = class {
    constructor() {
      made = this;
    }
    start() {}
    stop() {}
  };
  try {
    const read = [];
    const started = startMagnetometer((u) => read.push(u));
    for (const [x, y, z] of [[1, null, 3], [1, 2, 3], [NaN, 2, 3], [4, 5, 6]]) {
      Object.assign(made, { x, y, z });
      made.onreading();
    }
    (await started).stop();
    equal(read, [[1, 2, 3], [4, 5, 6]]);
  } finally {
    globalThis.Magnetometer = was;
  }
}

export function what_falls_short_of_a_claim_does_not_read_like_one() {
  equal([0.62, 0.9849, 0.98999, 0.99, 0.99995].map(percent), ["62 %", "98.4 %", "98.9 %", "99.00 %", "over 99.99 %"]);
  const verdict = { outcome: "undecided", coils: [{ id: "B2", state: "undecided", used: 1, p: { "as-planned": 0.012, reversed: 0.988 } }, { id: "B3", state: "undecided", used: 0, p: { "as-planned": 0.9 } }, { id: "B4", state: "weak", used: 1, p: { weak: 0.995 } }], causes: [], next: null, notes: [] };
  const nothing = () => {};
  const body = resultScreen({ plan: NO_PLAN, verdict, rehearsal: "r", states: () => ({}), north: northWords(null) }, { note: "", actions: [], goOn: nothing, ohms: nothing }).body;
  const chances = body.flatMap((n) => (n ? [...n.querySelectorAll(".chance")] : [])).map((n) => n.textContent);
  equal(chances, ["reversed 98.8 %", "not read", "99.50 %"]);
}

export function a_captures_first_line_says_how_the_phone_lies() {
  const tools = { device: "a phone", place: null };
  equal(startLine(tools, "vector", 180), { type: "start", v: 1, route: "vector", top_deg: 180, device: "a phone" });
  equal(startLine(tools, "heading").top_deg, 0);
}

export function the_outbox_survives_a_reload_and_keeps_numbers() {
  const storage = new Map();
  const a = new Outbox(storage, "x");
  a.put({ check: "c1", lines: [1] });
  a.put({ check: "c1", lines: [2] });
  a.put({ check: "c1", undo: { at: "A1", t: 5 } });
  a.acknowledge(2);
  const b = new Outbox(storage, "x");
  equal(b.source, a.source);
  equal(b.waiting.map((m) => m.seq), [1, 3]);
  equal(b.waiting[1].undo, { at: "A1", t: 5 });
  equal(b.put({ check: "c1", lines: [4] }).seq, 4);
}

export function the_outbox_drops_what_belongs_to_another_check() {
  const storage = new Map();
  const a = new Outbox(storage, "x");
  a.put({ check: "old", lines: [1] });
  a.put({ check: "new", lines: [2] });
  equal(a.keepOnly("new"), 1);
  equal(a.waiting.map((m) => m.seq), [2]);
  equal([...storage.keys()].filter((k) => / m\d/.test(k)).length, 1, "messages left in storage");
}

export function the_outbox_works_where_storage_is_full_or_missing() {
  const full = { getItem: () => null, setItem: () => { throw new Error("quota"); }, removeItem: () => {} };
  for (const storage of [null, full]) {
    const a = new Outbox(storage, "x");
    a.put({ check: "c", lines: [1] });
    equal(a.waiting.length, 1);
    ok(a.memoryOnly);
    a.acknowledge(1);
    equal(a.waiting, []);
  }
}

export function news_tells_the_coil_just_read_and_what_changed() {
  const before = [{ id: "A1", state: "undecided", used: 1 }, { id: "A2", state: "undecided", used: 0 }];
  const now = [{ id: "A1", state: "reversed", used: 1 }, { id: "A2", state: "undecided", used: 1 }];
  const n = newsOf(before, now, "A2");
  equal(n.read, { id: "A2", state: "undecided" });
  equal(n.changed, [{ id: "A1", state: "reversed" }]);
  equal(n.say, "A2 counted, undecided so far. A1 reversed.");
  equal(n.cue, "reversed", "the gravest is felt");
  const back = newsOf(now, before, null);
  equal(back.say, "A1 is undecided again.");
  equal(newsOf(now, now, null), { read: null, changed: [], say: "", cue: null });
  // A verdict that does not know of the reading yet says nothing of it.
  equal(newsOf(before, before, "A2").read, null);
  equal(newsOf([], ["A1", "A2", "A3"].map((id) => ({ id, state: "as-planned", used: 1 })), "A1").say, "A1 as planned. A2 and A3 as planned.");
  // What is likely is told before it is claimed, so that nobody takes it for a slip.
  const likely = newsOf([], [{ id: "B2", state: "undecided", used: 1, p: { "as-planned": 0.987, reversed: 0.013 } }], "B2");
  equal([likely.read?.so_far, likely.say], ["likely as planned, 98.7 %", "B2 counted, likely as planned so far."]);
  equal(newsOf([], [{ id: "B2", state: "undecided", used: 1, p: { "as-planned": 0.6, reversed: 0.4 } }], "B2").say, "B2 counted, undecided so far.");
  // What is shown of many begins with the gravest.
  const many = Object.entries({ A1: "as-planned", A2: "weak", A3: "undecided", B1: "reversed" }).map(([id, state]) => ({ id, state, used: 1 }));
  equal(newsOf([{ id: "A3", state: "as-planned", used: 1 }], many, null).changed.map((c) => c.id), ["B1", "A2", "A3", "A1"]);
  equal(list(["A", "B", "C"]), "A, B and C");
}

const CLAIMED = ["as-planned", "reversed", "weak", "dead", "undecided"];

export function a_hand_tells_every_claim_from_every_other() {
  // Short pulses and long ones are all that a hand tells apart, and one that lasts.
  const rhythm = (cue) => CUES[cue].pulses.map((ms) => (ms <= 100 ? "short" : ms <= 400 ? "long" : "lasting")).join(" ");
  equal(CLAIMED.map(rhythm), ["short", "long long long", "short long", "lasting", "short short"]);
  for (const cue of Object.keys(CUES)) {
    ok(CUES[cue].pulses.every((ms) => ms >= 30), `${cue}: a motor needs its time`);
    ok(patternOf(cue).reduce((sum, ms) => sum + ms, 0) <= 1000, `${cue} is over within a second`);
  }
  equal(patternOf("weak"), [70, 110, 350]);
}

export function an_ear_tells_every_claim_from_every_other() {
  const way = (cue) => CUES[cue].notes.map((hz, i, all) => (i === 0 ? "." : hz < all[i - 1] ? "down" : hz > all[i - 1] ? "up" : "same")).join(" ");
  equal(CLAIMED.map(way), [".", ". down down", ". down", ".", ". same"]);
  const [high, low] = [CUES["as-planned"], CUES.dead].map((c) => c.notes[0]);
  ok(high >= 2 * low, "of the single notes one is high and one low");
  for (const cue of Object.keys(CUES)) {
    equal(CUES[cue].notes.length, CUES[cue].pulses.length, `${cue} has one rhythm`);
    ok(CUES[cue].notes.every((hz) => hz >= 300), `${cue} can be heard from a phone`);
  }
}

export function each_claim_gives_its_own_cue() {
  for (const state of ["as-planned", "reversed", "dead", "weak", "undecided"]) equal(newsOf([], [{ id: "A1", state, used: 1 }], "A1").cue, state);
  // Another coil found reversed is not drowned by the one just read being right.
  equal(newsOf([], [{ id: "A1", state: "as-planned", used: 1 }, { id: "A2", state: "reversed", used: 1 }], "A1").cue, "reversed");
  equal(newsOf([{ id: "A2", state: "as-planned", used: 1 }], [{ id: "A2", state: "undecided", used: 1 }], null).cue, "undecided");
}

/** What a claim sounds like: the notes that reach the loudspeaker. */
export async function tones_are_played_for_the_claim_and_can_be_switched_off() {
  const notes = [];
  const pulses = [];
  class Audio {
    constructor() {
      this.state = "running";
      this.currentTime = 0;
      this.destination = {};
    }
    resume() {}
    createOscillator() {
      const tone = { frequency: { value: 0 }, connect: (next) => next, stop() {}, start: (at) => notes.push([tone.frequency.value, Math.round(at * 100) / 100]) };
      return tone;
    }
    createGain() {
      return { gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} }, connect: (next) => next };
    }
  }
  const was = globalThis.AudioContext;
  const vibrate = Object.getOwnPropertyDescriptor(Navigator.prototype, "vibrate");
  Object.defineProperty(navigator, "vibrate", { configurable: true, value: (p) => pulses.push(p) });
  globalThis.AudioContext = Audio;
  try {
    tones.set(true);
    await allowSound();
    buzz("reversed");
    equal(notes.map((n) => n[0]), CUES.reversed.notes);
    ok(notes[1][1] > notes[0][1] && notes[2][1] > notes[1][1], "one after the other");
    tones.set(false);
    buzz("as-planned");
    equal(notes.length, 3, "switched off");
    equal(pulses, [patternOf("reversed"), patternOf("as-planned")], "what is felt stays");
  } finally {
    globalThis.AudioContext = was;
    delete (/** @type {any} */ (navigator).vibrate);
    if (vibrate) Object.defineProperty(Navigator.prototype, "vibrate", vibrate);
    localStorage.clear();
  }
}

export async function the_screen_is_kept_on_and_again_after_the_page_was_hidden() {
  const asked = [];
  let works = true;
  const lock = { request: (kind) => (asked.push(kind), works ? Promise.resolve({}) : Promise.reject(new Error("battery low"))) };
  const was = Object.getOwnPropertyDescriptor(Navigator.prototype, "wakeLock");
  Object.defineProperty(navigator, "wakeLock", { configurable: true, value: lock });
  const told = [];
  const settled = () => new Promise((done) => setTimeout(done));
  try {
    stayAwake((awake) => told.push(awake));
    await settled();
    equal([asked, told], [["screen"], [true]]);
    // Hidden, the browser takes the lock away; back in front it is taken again.
    works = false;
    document.dispatchEvent(new Event("visibilitychange"));
    await settled();
    equal([asked, told], [["screen", "screen"], [true, false]], "refused, and told so");
  } finally {
    delete (/** @type {any} */ (navigator).wakeLock);
    if (was) Object.defineProperty(Navigator.prototype, "wakeLock", was);
  }
}

export function the_voice_is_switched_on_and_says_the_newest() {
  const said = [];
  const real = globalThis.speechSynthesis;
  Object.defineProperty(globalThis, "speechSynthesis", { configurable: true, value: { speak: (u) => said.push(u.text), cancel: () => said.push("(stops)") } });
  try {
    ok(canSpeak, "this browser can speak");
    speak("A1 as planned.");
    equal(said, [], "off until it is switched on");
    setVoice(true);
    speak("A3 reversed. Next: B1.");
    equal(said, ["(stops)", "A3 reversed. Next: B1."]);
    setVoice(false);
    speak("B1 as planned.");
    equal(said.slice(2), ["(stops)"]);
  } finally {
    Object.defineProperty(globalThis, "speechSynthesis", { configurable: true, value: real });
    localStorage.clear();
  }
}

const UA = {
  android: "Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Mobile Safari/537.36",
  androidFirefox: "Mozilla/5.0 (Android 14; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0",
  iphone: "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1",
  ipad: "Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Safari/605.1.15",
  desktop: "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36",
};

export function systems_are_told_apart() {
  equal(whereAmI({ userAgent: UA.android }), { system: "android", browser: "chromium" });
  equal(whereAmI({ userAgent: UA.androidFirefox }), { system: "android", browser: "firefox" });
  equal(whereAmI({ userAgent: UA.iphone }), { system: "apple", browser: "safari" });
  equal(whereAmI({ userAgent: UA.ipad, maxTouchPoints: 5 }), { system: "apple", browser: "safari" });
  equal(whereAmI({ userAgent: UA.ipad, maxTouchPoints: 0 }), { system: "other", browser: "safari" });
  equal(whereAmI({ userAgent: UA.desktop }), { system: "other", browser: "chromium" });
}

export function every_failing_case_has_its_own_words() {
  const codes = ["insecure", "missing", "not-readable", "denied", "policy", "hidden", "silent", "motion-denied", "no-compass", "ended"];
  for (const ua of Object.values(UA)) {
    const where = whereAmI({ userAgent: ua, maxTouchPoints: 5 });
    const says = codes.map((c) => wordsFor(/** @type {any} */ (c), where).say);
    equal(new Set(says).size, codes.length, `words for ${ua}`);
  }
  const android = whereAmI({ userAgent: UA.android });
  for (const c of ["missing", "not-readable"]) ok(wordsFor(/** @type {any} */ (c), android).steps.join().includes("GenericSensorExtraClasses"), `the feature is named for ${c}`);
}

/** Quaternions and headings computed from the rotation matrix of W3C Device Orientation and Motion, A.2 (editor's draft of 12 February 2025), with its intrinsic Z-X'-Y'' order; alpha, beta, gamma, quaternion w x y z, heading of the top edge. */
const ORIENTATIONS = [
  [0, 0, 0, [1, 0, 0, 0], 0],
  [90, 0, 0, [0.707106781187, 0, 0, 0.707106781187], 270],
  [230, 0, 90, [-0.29883623873, -0.640856382056, -0.29883623873, 0.640856382056], 130],
  [30, 20, -10, [0.951548524644, 0.189307857412, -0.038134576475, 0.239298337745], 330],
  [275.5, -35, 25, [-0.64546378197, 0.078520274612, -0.350189417633, 0.674224327964], 84.5],
  [123, 60, -45, [0.549930599387, 0.511670526412, 0.247823681484, 0.611843959809], 237],
  [15, 179, 5, [0.002950388356, 0.99041382601, 0.130774384552, 0.044382528111], 165],
];

export function headings_agree_with_the_standards_rotation() {
  for (const [alpha, beta, gamma, [w, x, y, z], heading] of ORIENTATIONS) {
    near(wrap180(headingOfQuaternion([x, y, z, w]) - heading), 0, 1e-6, `quaternion of ${alpha} ${beta} ${gamma}`);
    near(wrap180(headingOfAngles(alpha, beta) - heading), 0, 1e-6, `angles ${alpha} ${beta} ${gamma}`);
  }
}

export function turns_add_up_over_north() {
  const t = new Turns();
  equal([350, 355, 2, 10, 350].map((d) => t.feed(d)), [0, 5, 12, 20, 0]);
}

export function the_phone_is_laid_on_the_side_across_the_needle() {
  const coil = { x_mm: 0, y_mm: 0, turned_deg: 0 };
  const winding = { inner_mm: [90, 90] };
  // The pad's +y points north: across is right and left.
  equal(placeBeside(coil, winding, 0, 1), { shift_mm: [45, 0], across_uT: null, words: "right" });
  equal(placeBeside(coil, winding, 0, -1), { shift_mm: [-45, 0], across_uT: null, words: "left" });
  // The pad's +y points east: north is to the left, across is far and near.
  equal(placeBeside(coil, winding, 90, 1), { shift_mm: [0, 45], across_uT: null, words: "far" });
  // An oblong turned by a quarter keeps to its own axes.
  const long = { inner_mm: [120, 60] };
  const p = placeBeside({ ...coil, turned_deg: 90 }, long, 0, 1);
  near(Math.abs(p.shift_mm[0]), 30, 0.1);
  near(p.shift_mm[1], 0, 0.1);
}

export function the_predicted_field_says_which_side_turns_the_compass_most() {
  const coil = { x_mm: 0, y_mm: 0, turned_deg: 0 };
  const winding = { inner_mm: [90, 90] };
  // A neighbour on the right takes from the field there: the left turns it more.
  const beside = [
    { shift_mm: [45, 0], b_uT: [150, 0, 0] },
    { shift_mm: [-45, 0], b_uT: [-260, 10, 0] },
    { shift_mm: [0, 45], b_uT: [5, 400, 0] },
    { shift_mm: [0, -45], b_uT: [0, -400, 0] },
  ];
  equal(placeBeside(coil, winding, 0, 1, beside), { shift_mm: [-45, 0], across_uT: -260, words: "left" });
  equal(placeBeside(coil, winding, 0, -1, beside).words, "right", "the other side is the opposite one");
  // With the pad's +y to the east the needle lies along x: far and near are across it.
  const far = placeBeside(coil, winding, 90, 1, beside);
  equal(far.words, "far");
  near(far.across_uT, 400, 1e-9);
}

export function the_current_for_a_compass_is_told_before_anything_was_read() {
  equal(currentFor(30, 2, 2.5), { tells: "well" });
  equal(currentFor(null, 2, 2.5), { tells: "well" });
  const strong = currentFor(-400, 2, 2.5);
  equal(strong.tells, "strong");
  near(strong.amps, 0.1, 1e-9, "one to one with the earth's 20 uT");
  const weak = currentFor(2, 0.5, 1.5);
  equal([weak.tells, weak.amps], ["weak", 1.5], "not above the supply's limit");
}

export function a_supply_set_otherwise_is_told_as_it_is() {
  const told = (across_uT) => {
    const beside = { A1: [{ shift_mm: [45, 0], b_uT: [across_uT, 0, 0] }, { shift_mm: [-45, 0], b_uT: [-across_uT, 0, 0] }] };
    const flow = new HeadingFlow({ plan: { ...PLAN, supply: { limit_amps: 2.5 } }, amps: 2, beside });
    const out = [];
    flow.heading(0, { deg: 0 });
    out.push(...flow.placed(0));
    const t = settle(flow, 0, 0, out);
    out.push(...flow.supplyOn(t, 0.11));
    return { flow, on: out.find((e) => e.do === "line" && e.line.state === "on").line };
  };
  const strong = told(400);
  near(strong.flow.advice.amps, 0.1, 1e-9);
  equal(strong.on.amps, 0.11);
  near(strong.flow.amps, 0.11, 1e-9, "the next advice goes by it");
  equal(told(20).on.amps, 0.11);
}

export function a_current_for_the_compass_stays_the_same_from_coil_to_coil_as_long_as_it_does() {
  const beside = Object.fromEntries([["A1", 400], ["A2", 700], ["A3", 30], ["A4", 8000]].map(([id, b]) => [id, [{ shift_mm: [45, 0], b_uT: [b, 0, 0] }, { shift_mm: [-45, 0], b_uT: [-b, 0, 0] }]]));
  const coils = Object.keys(beside).map((id) => ({ ...PLAN.coils[0], id }));
  const flow = new HeadingFlow({ plan: { ...PLAN, coils, supply: { limit_amps: 2.5 } }, amps: 2, beside: /** @type {any} */ (beside) });
  const set = (id) => {
    flow.pick(id);
    flow.hold = { ...flow.place };
    flow.stage = "on";
    const { advice } = flow;
    flow.supplyOn(0);
    flow.hold = null;
    return advice?.amps ?? null;
  };
  equal(set("A3"), null, "the plan's");
  near(set("A1"), 0.1, 1e-9);
  near(set("A2"), 0.1, 1e-9, "and not 0.057");
  near(set("A4"), 0.005, 0.006);
  equal(currentWords(0.07, { volts: 1.8 }, 1.3), "Limit the current to about 0.07 A in all, with the voltage at 1 V, so that the limit holds.");
  equal(currentWords(0.9, { volts: 1.8 }, 1.3), "Set 1.2 V: about 0.9 A in all.");
  equal(currentWords(0.9, { amps: 2, drive: "pulsed" }, 1.3), "Limit the current to about 0.9 A in all, steady, with the voltage high enough, so that the limit holds.");
}

export function coils_too_small_to_tap_are_picked_from_a_list() {
  const of = (across, rows) => {
    const coils = Array.from({ length: across * rows }, (_, i) => ({ id: `A${i}`, x_mm: 60 + 108 * (i % across), y_mm: 60 + 112 * Math.floor(i / across), turned_deg: 0, north: "up", winding: "w", string: "A" }));
    const plan = { name: "", outline_mm: [0, 0], windings: [{ id: "w", shape: "round", inner_mm: [70, 70], corner_mm: 0, build_mm: 5 }], coils, strings: [{ id: "A", coils: coils.map((c) => c.id) }] };
    const picked = [];
    equal(padToPick({ plan, check: "" }, { label: "" }, undefined).pick, undefined, "not while a coil is being read");
    const { pick, drawing } = padToPick({ plan, check: "" }, { label: "" }, (id) => picked.push(id));
    const coil = /** @type {SVGElement} */ (/** @type {Element} */ (drawing()).querySelector('[data-coil="A1"]'));
    coil.dispatchEvent(new Event("click"));
    pick?.onpick("A2");
    return [!!pick, coil.getAttribute("role"), picked];
  };
  equal(of(3, 3), [false, "button", ["A1"]]);
  equal(of(20, 3), [true, null, ["A2"]]);
  equal(of(3, 20), [true, null, ["A2"]], "of a pad that is long the other way too");
  }

/** What the hand route says after each coil that a needle was held over. @param {string} strings "AAB": a coil of A, another, one of B @param {string} faces n, s or - for each */
function notesByNeedle(strings, faces) {
  const nothing = () => {};
  const coils = [...strings].map((s, i) => ({ id: `${s}${i + 1}`, string: s }));
  const plan = { coils, strings: [...new Set(strings)].map((s) => ({ id: s, coils: coils.filter((c) => c.string === s).map((c) => c.id) })) };
  const tools = { told: { plan, coil: nothing, verdict: null }, clock: { at: () => 0 }, stream: { add: nothing, flush: nothing, undo: nothing }, counted: nothing, say: nothing };
  const run = new HandRun(/** @type {any} */ (tools));
  run.show = nothing;
  return [...faces].map((f) => {
    run.readFace(/** @type {any} */ ({ n: "north", s: "south", "-": "none" }[f]));
    return run.note;
  });
}

export function three_coils_that_give_nothing_by_needle_ask_for_the_supply_once() {
  const asks = (strings, faces) => notesByNeedle(strings, faces).map((n) => (n.includes("Is the supply on") ? "?" : ".")).join("");
  equal(asks("AAAAAAA", "--n----"), ".....?.", "a pad of one string");
  equal(asks("AABBBBC", "--n----"), "......?", "a dead string does not, but with a coil of another it does");
  equal(asks("AABBB", "sn---"), ".....", "a dead string");
  equal(asks("AABBBCC", "nn---n-"), ".......", "a dead string and a dead coil");
  equal(asks("AAABB", "-----"), "..?..", "nothing gave a field yet");
  const told = notesByNeedle("AAAAAA", "nnn---").at(-1);
  ok(told?.startsWith("Nothing over A4, A5 and A6."), told);
}

export function what_another_reads_does_not_move_a_needle_or_a_compass_to_another_coil() {
  const nothing = () => {};
  const used = (...ids) => ({ coils: ["A1", "A2"].map((id) => ({ id, state: "undecided", used: ids.includes(id) ? 1 : 0 })), next: null });
  const told = { plan: { ...PLAN, strings: [] }, verdict: null, coil: (id) => told.verdict?.coils.find((c) => c.id === id) };
  const read = [];
  const run = new HandRun(/** @type {any} */ ({ told, clock: { at: () => 0 }, stream: { add: (l) => read.push(l.at), flush: nothing }, counted: nothing, say: nothing }));
  run.stage = "faces";
  run.show = () => run.name();
  run.show();
  told.verdict = used("A1");
  run.verdict();
  run.readFace("north");
  equal(read, ["A1"], "as it said when the needle was held there");
  equal(run.target, "A2");

  const flow = new HeadingFlow({ plan: PLAN, amps: 1 });
  flow.joins();
  flow.heading(0, { deg: 0 });
  flow.setVerdict(used("A1"));
  const out = flow.placed(1);
  equal(out.filter((e) => e.line?.type === "hold").map((e) => e.line.at), ["A1"]);
}

export function a_compass_that_joins_when_all_is_read_shows_what_is_known() {
  const flow = new HeadingFlow({ plan: PLAN, amps: 1 });
  flow.verdict = { outcome: "as-planned", coils: ["A1", "A2"].map((id) => ({ id, state: "as-planned", used: 1 })), next: null };
  flow.joins();
  equal(flow.stage, "result");
  flow.goOn();
  equal([flow.stage, flow.place?.at], ["place", "A1"]);
  const before = new HeadingFlow({ plan: PLAN, amps: 1 });
  before.joins();
  equal(before.stage, "place");
  before.setVerdict(flow.verdict);
  equal(before.stage, "result", "another phone read them all");
}

export function a_compass_that_does_not_turn_first_asks_for_the_supply() {
  const plan = { supply: { limit_amps: 2.5 } };
  const first = strengthWords({ at: "A1", tells: "weak", turn_deg: -0.8, amps: null, others: false }, plan);
  ok(first.includes("Is the supply on") && !first.includes("degrees"), first);
  const again = strengthWords({ at: "A1", tells: "weak", turn_deg: -0.8, amps: 2.8, others: false }, plan);
  ok(again.includes("Is the supply on") && again.includes("about 2.5 A in all"), again);
  const little = strengthWords({ at: "A1", tells: "weak", turn_deg: 4, amps: 2.8, others: false }, plan);
  ok(little.includes("4 degrees only") && !little.includes("Is the supply on"), little);
  const string = strengthWords({ at: "A1", tells: "weak", turn_deg: 0.3, amps: null, others: true }, plan);
  ok(string.includes("did not turn") && !string.includes("Is the supply on") && !/\d A/.test(string), string);
}

export function a_dead_string_does_not_raise_the_current_for_the_compass() {
  /** What is to be set after each coil, which turns the compass by so much. */
  const set = (strings, turns) => {
    const coils = [...strings].map((s, i) => ({ ...PLAN.coils[0], id: `${s}${i + 1}`, string: s }));
    const plan = { ...PLAN, coils, supply: {}, strings: [...new Set(strings)].map((s) => ({ id: s, coils: coils.filter((c) => c.string === s).map((c) => c.id) })) };
    const flow = new HeadingFlow({ plan, amps: 1 });
    let t = 0;
    const out = [];
    flow.heading(0, { deg: 0 });
    return turns.map((turn) => {
      flow.placed(t);
      t = settle(flow, t, 0, out);
      flow.supplyOn(t, 1);
      t = settle(flow, t, turn, out);
      return flow.set_amps;
    });
  };
  equal(set("AABB", [40, 40, 0.5, 0.5]), [null, null, null, null]);
  equal(set("ABBC", [40, 0.5, 0.5, 0.5]), [null, null, null, 4], "coils of two strings do");
  equal(set("AAB", [0.5, 0.5, 0.5]), [null, 4, 4], "nothing turned it yet");
  equal(set("AAAA", [40, 40, 0.5, 0.5]), [null, null, null, 4], "the string is the whole pad");
  ok((set("AABB", [40, 40, 4, 4])[3] || 0) > 1, "what turns it by a little would turn it by more");
}

export function too_weak_and_too_strong_come_with_a_current() {
  equal(strengthOf(45, 1), { tells: "well" });
  const weak = strengthOf(4, 1);
  equal(weak.tells, "weak");
  near(weak.amps, 4, 1e-9, "not more than four times");
  const strong = strengthOf(-80, 1);
  equal(strong.tells, "strong");
  near(strong.amps, 0.2, 1e-9, "tan 80 is 5.7; not less than a fifth");
  near(strengthOf(9, 0.5).amps, 2, 1e-9);
}

export function by_compass_the_result_gives_no_place_that_the_page_then_does_not_show() {
  const next = { at: "A1", why: "A1 may be reversed or as planned. Lay the phone with its mark 43 mm to the right of the middle of A1, and switch the supply off and on." };
  const lead = (placed) => resultScreen({ plan: NO_PLAN, verdict: { outcome: "undecided", coils: [], causes: [], next, notes: [] }, rehearsal: null, states: () => ({}), north: northWords(null) }, { note: "", actions: [], goOn: () => {}, ohms: () => {}, placed }).lead;
  equal(lead(true), "Next: A1. A1 may be reversed or as planned.");
  ok(lead(false)?.includes("43 mm"), lead(false));
}

export function a_compass_is_not_sent_beside_a_coil_where_only_ohms_are_asked_for() {
  const verdict = (next) => ({ outcome: "undecided", coils: ["A1", "A2"].map((id) => ({ id, state: "as-planned", used: 1, p: { "as-planned": 1 } })), next });
  const flow = new HeadingFlow({ plan: PLAN, amps: 1 });
  flow.verdict = verdict({ at: "A1", route: "ohms", across: "pad", why: "…" });
  flow.joins();
  equal([flow.stage, flow.target], ["result", null]);
  flow.pick("A2");
  equal(flow.place?.at, "A2", "a coil picked is read all the same");
}

export function a_compass_asked_beside_the_same_coil_time_and_again_in_vain_is_let_be() {
  const verdict = (used) => ({ outcome: "undecided", coils: ["A1", "A2"].map((id) => ({ id, state: "undecided", used: id === "A1" ? used : 2, p: { "as-planned": 0.5, dead: 0.5 } })), next: { at: "A1", why: "…" } });
  const flow = new HeadingFlow({ plan: PLAN, amps: 1 });
  let t = 0;
  let used = 2;
  const out = [];
  flow.verdict = verdict(used);
  flow.joins();
  flow.heading(0, { deg: 0 });
  const read = () => {
    equal([flow.stage, flow.place?.at], ["place", "A1"]);
    flow.placed(t);
    t = settle(flow, t, 0, out);
    flow.supplyOn(t, 1);
    t = settle(flow, t, 40, out);
    out.push(...flow.setVerdict(verdict(++used)));
  };
  for (let k = 0; k < 5; k++) read();
  equal(flow.stage, "result", "twice more beside each side");
  equal(out.filter((e) => e.do === "fruitless").map((e) => e.at), ["A1"]);
  flow.goOn();
  read();
  equal(flow.stage, "place", "on with it, as the person says");
}

export function a_supply_is_not_asked_for_less_than_it_can_give() {
  near(strengthOf(117, 0.034).amps, 0.01, 1e-9);
  near(strengthOf(117, 0.006).amps, 0.006, 1e-9, "nor for more");
  const words = strengthWords({ at: "B2", tells: "strong", turn_deg: 117, amps: 0.01, others: false }, {});
  ok(words.startsWith("Beside B2 ") && words.includes("or the least the supply gives"), words);
}

export function both_conventions_can_be_read() {
  equal(northWords(null).north, "north");
  equal(northWords("south").north, "north (your south)");
  equal([null, "south"].map((w) => northWords(/** @type {any} */ (w)).own.north), ["north", "south"]);
  equal([null, "north", "south"].map((w) => northWords(/** @type {any} */ (w)).way("down")), ["north down", "north down", "north down (your south down)"]);
  ok(northWords("south").note !== northWords("north").note);
}

export function the_supply_is_told_as_planned() {
  equal(supplyWords({ volts: 2, amps: 0, limit_amps: 2.5, drive: "steady" }), "2 V, limited to 2.5 A");
  equal(supplyWords({ volts: 0, amps: 0.75, limit_amps: 0, drive: "pulsed", hz: 1, duty: 0.25 }), "0.75 A, pulsed once a second, on for 25 % of the time");
  equal(supplyWords({ volts: 3, amps: 0, limit_amps: 0, drive: "pulsed", hz: 2.5, duty: 0.5 }), "3 V, pulsed 2.5 times a second, on for 50 % of the time");
}

export function stillness_knows_a_hand_from_a_bench() {
  const s = new Stillness();
  equal(s.at(0), "unknown");
  for (let t = 0; t < 2; t += 0.02) s.feed({ t, rate_dps: 0.3, g: [0.01, 0.02, 9.81] });
  equal(s.at(2), "still");
  for (let t = 2; t < 2.5; t += 0.02) s.feed({ t, rate_dps: 20, g: [0.5, 0.2, 9.7] });
  equal(s.at(2.5), "moving");
  for (let t = 2.5; t < 4; t += 0.02) s.feed({ t, rate_dps: 0.2, g: [0.01, 0.02, 9.81] });
  equal(s.at(4), "still");
  // By gravity alone, ten a second: tipped by three degrees.
  const g = new Stillness();
  for (let i = 0; i < 10; i++) g.feed({ t: i / 10, g: [0, 0, 9.81] });
  equal(g.at(0.9), "still");
  for (let i = 10; i < 14; i++) g.feed({ t: i / 10, g: [0.5, 0, 9.79] });
  equal(g.at(1.3), "moving");
}

const PLAN = {
  coils: ["A1", "A2"].map((id, i) => ({ id, x_mm: 150 * i, y_mm: 0, turned_deg: 0, winding: "w" })),
  windings: [{ id: "w", inner_mm: [90, 90] }],
  strings: [{ id: "A", coils: ["A1", "A2"] }],
};

/** Feeds headings that lag by a second towards a direction. */
function settle(flow, t, to, out) {
  const began = flow.stage;
  let deg = out.filter((e) => e.line?.type === "heading").at(-1)?.line.deg ?? to;
  for (let n = 0; n < 100 && flow.stage === began; n++) {
    t = Math.round(t * 1000 + 100) / 1000;
    deg += 0.1 * wrap180(to - deg);
    out.push(...flow.heading(t, { deg: ((deg % 360) + 360) % 360, turned_deg: 0 }));
  }
  return t;
}

export function the_heading_route_reads_off_and_on_at_each_coil_and_the_other_side_of_the_doubtful() {
  const flow = new HeadingFlow({ plan: PLAN, amps: 1 });
  const out = [];
  let t = 0;
  flow.heading(0, { deg: 5 });
  for (const at of ["A1", "A2"]) {
    equal(flow.place.at, at);
    out.push(...flow.placed(t));
    t = settle(flow, t, 5, out);
    equal(flow.stage, "on");
    out.push(...flow.supplyOn(t));
    t = settle(flow, t, at === "A1" ? 50 : 8, out);
  }
  const lines = out.filter((e) => e.do === "line").map((e) => e.line);
  equal(lines.filter((l) => l.type === "hold").map((l) => [l.at, l.shift_mm]), [["A1", [45, 0]], ["A2", [45, 0]]]);
  equal(lines.filter((l) => l.type === "drive").map((l) => l.state), ["off", "on", "off", "on"]);
  ok(lines.filter((l) => l.type === "heading").length > 100);
  equal(out.filter((e) => e.do === "strength").map((e) => e.tells), ["weak"], "the second hardly turned");
  equal(flow.stage, "waiting");
  flow.setVerdict({ coils: [{ id: "A1", state: "as-planned", used: 1 }, { id: "A2", state: "undecided", used: 0 }], next: { at: "A2", why: "A2 has not been read yet." } });
  equal(flow.stage, "waiting", "a verdict made before A2 was read");
  flow.setVerdict({ coils: [{ id: "A1", state: "as-planned", used: 1 }, { id: "A2", state: "undecided", used: 1 }], next: null });
  equal(flow.place.at, "A2");
  equal(flow.place.shift_mm, [-45, 0], "the other side");
}

/** Reads A1 from the first tap to where the page asks for something; held: how the phone is held before. */
function firstOfAll(held_deg, lies_deg) {
  const flow = new HeadingFlow({ plan: PLAN, amps: 1 });
  const out = flow.heading(0, { deg: held_deg });
  const shown = flow.place;
  flow.heading(0.1, { deg: held_deg + 60 }); // turned about in the hand
  equal(flow.place, shown, "what is shown holds until the first rest");
  out.push(...flow.placed(0.2));
  const t = settle(flow, 0.2, lies_deg, out);
  return { flow, out, shown, t, lines: out.filter((e) => e.do === "line").map((e) => e.line) };
}

export function the_first_place_is_chosen_anew_once_north_is_known() {
  // Held with its top to the east it is asked over the far side; as it lies north is
  // away, and the far side turns nothing.
  const { flow, out, shown, lines, t } = firstOfAll(90, 0);
  equal(shown.words, "far");
  equal(lines.find((l) => l.type === "hold").shift_mm, [0, 45], "the place that was shown");
  equal([flow.stage, flow.place.words], ["place", "right"]);
  equal(out.filter((e) => e.do !== "line" && e.do !== "drive"), [
    { do: "undo", at: "A1", t: lines.find((l) => l.type === "hold").t },
    { do: "elsewhere", at: "A1" },
  ]);
  const again = flow.placed(t + 2);
  settle(flow, t + 2, 40, again);
  equal(flow.stage, "on", "once only, whatever it reads there");
}

export function a_first_place_that_is_good_enough_is_kept() {
  const { flow, out, shown } = firstOfAll(0, 25);
  equal([shown.words, flow.stage], ["right", "on"]);
  ok(!out.some((e) => e.do === "elsewhere"));
}

export async function a_made_up_phone_is_carried_where_it_is_asked_for_though_that_is_beside_the_drawing() {
  const drawing = { view: { home: { x: -30, y: -300, w: 400, h: 340 } }, overlay: svg("g", {}) };
  const to = { id: "D2", x_mm: 182, y_mm: -95, top_deg: 0 };
  const phone = new MadeUpPhone({ drawing, pose: null, onmove: () => {}, say: () => {}, asked: () => to });
  phone.goTo(to);
  for (let k = 0; k < 30 && !phone.pose.down; k++) await new Promise((done) => setTimeout(done, 50));
  for (let k = 0; k < 30 && !phone.liesAt(to); k++) await new Promise((done) => setTimeout(done, 50));
  ok(phone.liesAt(to), `it lies at ${phone.pose.x_mm}, ${phone.pose.y_mm}`);
  phone.carry(0, -25);
  equal(phone.pose.y_mm, -40, "by hand it is not lost beside it");
}

export function amps_that_can_hardly_be_are_asked_about() {
  const plan = { amps: 2.05, supply: { limit_amps: 2.5, drive: "steady" } };
  equal([1.1, 2, 2.05, 2.5, 2.6].map((a) => ampsDoubt(a, plan)), ["", "", "", "", ""]);
  equal(ampsDoubt(200, plan), "200 A? The plan gives 2.05 A, 2.5 A at most.");
  equal(ampsDoubt(2.7, plan), "2.7 A? The plan gives 2.05 A, 2.5 A at most.");
  equal(ampsDoubt(0.2, plan), "0.2 A? The plan gives 2.05 A.");
  equal(ampsDoubt(4.2, { ...plan, supply: {} }), "4.2 A? The plan gives 2.05 A.");
  // What is missing may be a string's.
  const two = { amps: 0.828, strings: [{ id: "A", amps: 0.414 }, { id: "B", amps: 0.414 }], supply: { drive: "steady" } };
  equal(ampsDoubt(0.41, two), "0.41 A? The plan gives 0.828 A. So much is missing where one of the strings A and B is open.");
  equal(ampsDoubt(0.41, { ...two, strings: [{ id: "A", amps: 0.42 }, { id: "B", amps: 0.2 }, { id: "C", amps: 0.208 }] }), "0.41 A? The plan gives 0.828 A. So much is missing where string A is open.");
  equal(ampsDoubt(0.2, two), "0.2 A? The plan gives 0.828 A.");
  equal(ampsDoubt(0.41, { ...two, strings: [{ id: "A", amps: 0.828 }, { id: "B", amps: 0.828 }] }), "0.41 A? The plan gives 0.828 A.", "one after the other");
  // A compass wants less, and a display of pulses may show the mean.
  equal([0.05, 0.2].map((a) => ampsDoubt(a, { ...plan, asked: 0.048 })), ["", "0.2 A? About 0.048 A was asked for."]);
  const pulsed = { amps: 2, supply: { drive: "pulsed", duty: 0.25 } };
  equal([0.3, 0.2].map((a) => ampsDoubt(a, pulsed) !== ""), [false, true]);
  // Where nothing is known of the pad only its limit counts.
  equal([0.01, 90].map((a) => ampsDoubt(a, { supply: { limit_amps: 3 } })), ["", "90 A? The plan allows 3 A."]);
  equal(ampsDoubt(90, {}), "");
}

export function a_coil_is_drawn_with_the_face_that_was_found() {
  equal(["as-planned", "weak", "reversed", "dead", "undecided", undefined].map((s) => faceShown(1, s)), [1, 1, -1, 0, 1, 1]);
  equal(["reversed", "undecided", undefined].map((s) => faceShown(-1, s, 1)), [1, 1, 1], "read by hand");
  equal(faceShown(1, "as-planned", -1), 1, "a slip of the needle");
}

export function a_tap_of_some_coils_ago_is_taken_back_by_picking_its_coil() {
  const nothing = () => {};
  const undone = [];
  const told = { plan: { coils: ["A1", "A2", "A3"].map((id) => ({ id, string: "A" })), strings: [] }, coil: nothing, verdict: null };
  let t = 0;
  const run = new HandRun(/** @type {any} */ ({ told, clock: { at: () => ++t }, stream: { add: nothing, flush: nothing, undo: (at, began) => undone.push(`${at} ${began}`) }, counted: nothing, say: nothing }));
  run.show = nothing;
  run.readFace("south");
  run.readFace("north");
  run.do.pick("A1");
  equal([run.toUndo.at, run.note.includes("Undo A1")], ["A1", true]);
  run.readFace("north"); // all the same: both count
  run.do.pick("A1");
  run.undo();
  equal([undone, run.faces.A1, run.target], [["A1 3"], -1, "A1"], "the first of the two counts again");
  run.undo();
  equal([undone.at(-1), run.faces.A1, run.target, run.note], ["A1 1", undefined, "A1", ""]);
  run.readFace("north");
  equal([run.toUndo.at, run.target, run.read.map((r) => r.at)], ["A1", "A3", ["A2", "A1"]]);
}
