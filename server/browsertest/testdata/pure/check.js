// Parts of the check's page that need no program behind them.
import { CoilCard } from "/bench/coil-card.js";
import { ticks } from "/bench/hold-plot.js";
import { MadeUpPhone } from "/bench/made-up-phone.js";
import { mendWaits } from "/bench/mend.js";
import { mendDrawing } from "/bench/mend-drawing.js";
import { PadDrawing } from "/bench/pad-drawing.js";
import { phoneAsks } from "/bench/phone-asks.js";
import { coilTable } from "/bench/coil-table.js";
import { looksOf } from "/bench/bench.js";
import { changes } from "/bench/records/words.js";
import { showVerdict } from "/bench/verdict-panel.js";
import { whyPanel } from "/bench/why-panel.js";
import { equal, near, ok } from "./assert.js";

/** A pad of so many coils in a row of one string. */
function pad(n = 3) {
  const ids = Array.from({ length: n }, (_, i) => `A${i + 1}`);
  return {
    name: "a row",
    outline_mm: [120 * n, 140],
    above_mm: 6,
    windings: [{ id: "w", shape: "round", inner_mm: [90, 90], corner_mm: 0, build_mm: 6, width_mm: 8, turns: 48 }],
    coils: ids.map((id, i) => ({ id, x_mm: 60 + 120 * i, y_mm: 70, turned_deg: 0, north: "up", sense: "ccw", winding: "w", string: "A" })),
    strings: [{ id: "A", coils: ids }],
  };
}

function place() {
  const p = document.createElement("div");
  p.style.width = "600px";
  document.body.append(p);
  return p;
}

/** A page in a frame that draws a phone as the phone page does. */
function frame(markup) {
  const f = document.createElement("iframe");
  document.body.append(f);
  f.contentDocument.body.innerHTML = markup;
  return f;
}

export function thePhoneIsAskedForExactly() {
  const drawn = (transform) => frame(`<svg><g class="coil is-next" data-coil="B2"></g><g class="phone-on" transform="${transform}"></g></svg>`);
  equal(phoneAsks(drawn("translate(120.5 -80) rotate(-180)")), { id: "B2", x_mm: 120.5, y_mm: 80, top_deg: 180 });
  equal(phoneAsks(drawn("translate(-3 12) rotate(90)")), { id: "B2", x_mm: -3, y_mm: -12, top_deg: -90 });
  const along = (name) => phoneAsks(frame(`<svg><g class="coil is-next" data-coil="B3"></g><g class="phone-on" transform="translate(9 -8) rotate(0)"></g><g class="${name}" data-along="B1 to B3"></g></svg>`));
  equal(along("stroke"), { id: "B3", x_mm: 9, y_mm: 8, top_deg: 0, along: "B1 to B3" });
  equal(along("stroke is-under-way"), { id: "B3", x_mm: 9, y_mm: 8, top_deg: 0, along: "B1 to B3", drawn: true });
  equal(phoneAsks(frame("<svg></svg>")), null, "nothing asked for");
  equal(phoneAsks(null), null, "no page yet");
}

export async function thePhoneIsCarriedWhereItIsAskedFor() {
  const drawing = new PadDrawing(place(), { buttons: document.createElement("div"), onpick: () => {} });
  drawing.setPlan(pad());
  const to = { id: "A2", x_mm: 163, y_mm: 41, top_deg: 180 };
  let pose = null;
  const phone = new MadeUpPhone({ drawing, pose: { x_mm: 60, y_mm: 70, top_deg: 0, tilt_deg: [0, 0], down: true }, onmove: (p) => (pose = p), say: () => {}, asked: () => to });
  phone.goTo(to);
  equal(pose.down, false, "lifted first");
  await new Promise((done) => setTimeout(done, 1100));
  equal([pose.x_mm, pose.y_mm, pose.top_deg, pose.down], [163, 41, 180, true]);
  phone.goTo(to);
  equal(pose.down, true, "a phone that lies right is not lifted: its hold would break");
  // Pressed again and again by somebody impatient, it arrives all the same.
  Object.assign(to, { x_mm: 60, y_mm: 70 });
  for (let n = 0; n < 12; n++) {
    phone.goTo(to);
    await new Promise((done) => setTimeout(done, 120));
  }
  equal([pose.x_mm, pose.y_mm, pose.down], [60, 70, true]);
  // In a stroke it is drawn on, slowly and not lifted.
  Object.assign(to, { id: "A1", x_mm: 90, y_mm: 70, top_deg: 180, drawn: true });
  const way = [];
  phone.o.onmove = (p) => way.push(p);
  phone.goTo(to);
  await new Promise((done) => setTimeout(done, 1000));
  ok(way.length >= 8 && way.every((p) => p.down) && way.at(-1).x_mm === 90, JSON.stringify(way.map((p) => [p.x_mm, p.down])));
  ok(way.every((p, i) => i === 0 || p.x_mm - way[i - 1].x_mm < 5), "in small steps");
  phone.remove();
}

/** What the two cuts of a winding show: dot or cross, from the left. */
function cuts(node) {
  return [...node.querySelectorAll(".cut .face")].map((f) => (f.querySelector(".dot") ? "dot" : f.querySelector("path") ? "cross" : "none")).join(" ");
}

export function aCoilIsCutOpen() {
  const node = document.createElement("section");
  const card = new CoilCard(node, { onclose: () => {}, onreading: () => {} });
  const state = (is, p) => ({
    check: { id: "c" },
    plan: pad(),
    predicted: { coils: [{ id: "A2", bz_uT: 400, amps: 0.5 }] },
    verdict: { coils: [{ id: "A2", state: is, p, used: 1, expected_uT: 380, measured_uT: -371 }] },
  });
  // Seen from the front, a field that goes up needs the current toward the reader
  // on the left and away on the right.
  card.show(state("as-planned", { "as-planned": 0.9995, reversed: 0.0005, weak: 0, dead: 0 }), "A2");
  equal(cuts(node), "dot cross");
  card.show(state("reversed", { "as-planned": 0.00001, reversed: 0.99999, weak: 0, dead: 0 }), "A2");
  equal(cuts(node), "cross dot");
  ok(node.textContent.includes("under 0.01 %") && !node.textContent.includes(" 0 %"), "no chance is called nothing");
  card.show(state("dead", { "as-planned": 0, reversed: 0, weak: 0, dead: 1 }), "A2");
  equal(cuts(node), "none none");
  ok(!/null|undefined|NaN/.test(node.textContent + node.innerHTML), "nothing is missing");
  card.show(state("dead", {}), null);
  ok(node.hidden, "nothing selected, nothing shown");
}

export function stepsAreNumberedWhereTheyTouch() {
  const p = place();
  const drawing = new PadDrawing(p, { buttons: document.createElement("div"), onpick: () => {} });
  drawing.setPlan(pad());
  drawing.touch(new Map([["A", 2]]));
  equal([...p.querySelectorAll(".string-end .step text")].map((t) => t.textContent), ["2", "2"]);
  drawing.touch(new Map([["pad", 1]]));
  equal([...p.querySelectorAll(".string-end .step text")].map((t) => t.textContent), ["1", "1"]);
  drawing.touch(new Map());
  equal(p.querySelectorAll(".step, .is-touched").length, 0);
}

export function theFocusStaysInSight() {
  const drawing = new PadDrawing(place(), { buttons: document.createElement("div"), onpick: () => {} });
  drawing.setPlan(pad(12));
  drawing.view.zoom(6, { x: 60, y: -70 });
  const seen = () => drawing.view.box;
  const before = { ...seen() };
  ok(before.x + before.w < 60 + 120 * 11, "the last coil is out of sight at first");
  drawing.focus("A12");
  const at = 60 + 120 * 11;
  ok(seen().x <= at - 45 && seen().x + seen().w >= at + 45, `the coil at ${at} is in ${seen().x} to ${seen().x + seen().w}`);
  near(seen().w, before.w, 1e-6, "as near as before");
}

export function a_plot_has_two_to_five_figures_on_an_axis() {
  equal(ticks(-45, 49), [-40, -20, 0, 20, 40]); // steps of 50 would leave 0 alone
  equal(ticks(-5, 610), [0, 500]);
  for (let i = 0; i < 500; i++) {
    const low = 7 * i - 1000;
    const high = low + 6 * 1.013 ** i;
    const found = ticks(low, high);
    ok(found.length >= 2 && found.length <= 5 && found.every((u) => u >= low && u <= high), `${low} to ${high}: ${found}`);
  }
}

export function wordsAtCoilsSideBySideDoNotLieOverEachOther() {
  const plan = { coils: ["A1", "A2", "A3"].map((id) => ({ id, north: "up", string: "A" })), strings: [{ id: "A", coils: ["A1", "A2", "A3"] }], groups: [] };
  const of = (kind, act) => ({ faults: plan.coils.map(({ id }) => ({ kind, id })), mend: plan.coils.map(({ id }) => ({ do: act, id })) });
  for (const cause of [of("coil-reversed", "flip"), of("coil-shorted", "replace")]) {
    const drawn = /** @type {HTMLElement} */ (mendDrawing(plan, cause));
    drawn.style.font = "700 16px system-ui, sans-serif"; // as the page has it
    document.body.append(drawn);
    const boxes = [.../** @type {Element} */ (drawn.querySelector("svg")).querySelectorAll(".act")].map((n) => n.getBoundingClientRect());
    drawn.remove();
    equal(boxes.length, 3);
    for (const [i, a] of boxes.entries()) for (const b of boxes.slice(i + 1)) ok(a.right <= b.left || b.right <= a.left || a.bottom <= b.top + 2 || b.bottom <= a.top + 2, `${cause.mend[0].do}: ${JSON.stringify([a, b])}`);
  }
}

export function whatIsToBeMendedIsNamedWithItsKind() {
  const plan = { ...pad(), groups: [{ id: "left", join: "parallel", of: ["A"] }] };
  const shown = (id, kind, what = "remake-joint") => {
    const p = place();
    const verdict = { outcome: "fault", coils: plan.coils.map((c) => ({ id: c.id, state: "dead", used: 1, p: { dead: 1 } })), causes: [{ p: 0.96, say: "", faults: [{ kind, id, ids: ["A", "A"], string: "A" }], mend: [{ do: what, id }] }], notes: [], next: null };
    showVerdict(p, { plan, verdict, check: { rehearsal: "" }, holds: [], passes: [], why: null }, { onrehearse() {}, onagain() {}, onlook() {}, claims: null });
    return p.querySelector(".mend")?.textContent;
  };
  equal(shown("A", "string-open"), "Find the open place in string A: measure A1, A2 and A3 and the leads between; solder it again.");
  equal(shown("A2", "coil-shorted"), "Part the touching leads at coil A2, or replace the coil.");
  equal(shown("A2", "coil-open"), "Solder the joints of coil A2 again; if it stays open, replace the coil.");
  equal(shown("A", "strings-in-series", "rejoin"), "Undo the joints of string A and join it as the plan has it.");
  equal(shown("A2", "coil-in-wrong-string", "rejoin"), "Undo the joints of coil A2 and join it as the plan has it.");
  equal(shown("left", "group-reversed", "rejoin"), "Swap the two ends of group left.");
  equal(shown("A2", "turns-shorted", "replace"), "Wind coil A2 anew and replace it.");
}

/** The verdict panel over a row of which some coils were read. */
function verdictOf(plan, read, cause, next = null) {
  const p = place();
  const coils = plan.coils.map(({ id }) => ({ id, state: read[id] || "undecided", used: read[id] ? 1 : 0, p: { [read[id] || "as-planned"]: 1 } }));
  showVerdict(p, { plan, verdict: { outcome: "fault", coils, causes: [cause], notes: [], next }, check: { rehearsal: "" }, holds: [], passes: [], why: null, prompt: next && { do: "hold", at: next.at } }, { onrehearse() {}, onagain() {}, onlook() {}, claims: null });
  return p;
}

export function aMendWaitsForTheCoilsThatItsCauseTurns() {
  const string = { p: 0.67, say: "The whole string A runs the wrong way. Swap its ends.", faults: [{ kind: "string-reversed", id: "A" }], mend: [{ do: "swap-string", id: "A" }] };
  const next = { at: "A2", why: "A2 has not been read yet." };
  for (const p of [0.67, 0.995]) {
    const node = verdictOf(pad(), { A1: "reversed" }, { ...string, p }, next);
    equal(node.querySelector(".cause-say").textContent, "A1 is reversed.");
    ok(node.querySelector(".next").textContent.includes("whether the whole string A is wrong or A1 alone"), node.querySelector(".next").textContent);
    const fold = /** @type {HTMLDetailsElement} */ (node.querySelector("details.if-that"));
    ok(fold && !fold.open, "the mend is folded away");
    for (const what of [".mend", ".before-after", "#mended"]) ok([...node.querySelectorAll(what)].every((n) => fold.contains(n)), `${what} stands in the fold`);
    equal([fold.querySelector(".now").querySelectorAll(".wrong").length, fold.querySelector(".now").querySelectorAll(".unread").length], [1, 2], "what nobody read is drawn as that");
  }
  const all = verdictOf(pad(), { A1: "reversed", A2: "reversed", A3: "reversed" }, { ...string, p: 0.995 }, null);
  ok(!all.querySelector(".if-that") && all.querySelector(".mend"), "known, it is told whole");
  const unsure = verdictOf(pad(), { A1: "reversed", A2: "reversed", A3: "reversed" }, string, null);
  ok(!unsure.querySelector(".if-that") && unsure.querySelector(".mend"), "with nothing left to read, too");
}

export function anOpenStringIsMarkedAsAWhole() {
  const drawn = verdictOf(pad(), { A1: "dead", A2: "dead", A3: "dead" }, { p: 0.995, say: "", faults: [{ kind: "string-open", id: "A" }], mend: [{ do: "remake-joint", id: "A" }] });
  equal(drawn.querySelectorAll(".now .gap").length, 0, "no place of it is drawn as the one");
  equal([...drawn.querySelectorAll(".now .act")].map((n) => n.textContent), ["open somewhere here"]);
  equal(drawn.querySelectorAll(".then .act, .then .touch").length, 0);
}

export function afterAMendNothingIsOrdered() {
  const drawn = verdictOf(pad(), { A1: "as-planned", A2: "dead", A3: "reversed" }, { p: 0.995, say: "", faults: [{ kind: "coil-shorted", id: "A2" }, { kind: "coil-reversed", id: "A3" }], mend: [{ do: "remake-joint", id: "A2" }, { do: "flip", id: "A3" }] });
  const acts = (name) => [...drawn.querySelectorAll(`.${name} .act`)].map((n) => n.textContent);
  equal(acts("now"), ["shorted", "turn over"]);
  equal(acts("then"), ["mended", "turned"]);
}

/** A check of a row after a mend, and the coils read since. */
function afterAMend(mend, since) {
  const plan = pad();
  const coils = plan.coils.map(({ id }) => ({ id, state: "as-planned", used: mend[0].do === "flip" || since.includes(id) ? 1 : 0, p: { "as-planned": 0.999 }, expected_uT: 480, measured_uT: 470 }));
  return { plan, check: { id: "c", rehearsal: "" }, mended: { mend, since }, verdict: { outcome: "undecided", coils, causes: [], notes: [], next: null }, holds: [], passes: [], why: null, prompt: null, predicted: { coils: [] } };
}

export function whatWasReadBeforeAMendIsToldApart() {
  const flip = [{ do: "flip", id: "A2" }];
  const state = afterAMend(flip, ["A2"]);
  const node = place();
  const o = { onrehearse() {}, onagain() {}, onlook() {}, claims: null };
  showVerdict(node, state, o);
  ok(node.textContent.includes("1 of 3 read since the mend; the others before it only"), node.textContent);
  equal([...looksOf(state, null).values()].map((l) => l.before), [true, false, true]);
  const table = place();
  coilTable(table, state, { selected: null, onpick() {} });
  equal([...table.querySelectorAll("tbody tr")].map((r) => r.textContent.includes("before the mend")), [true, false, true]);
  // Nothing read since, and a mend that leaves nothing of what was read before.
  showVerdict(node, { ...afterAMend([{ do: "remake-joint", id: "A2" }], []) }, o);
  ok(/After the mend.*All 3 coils must be read again, because a joint/s.test(node.textContent) && !node.querySelector("button"), node.textContent);
  showVerdict(node, { ...afterAMend(flip, []), verdict: null }, o);
  ok(node.textContent.includes("Read first what was mended: A2."), "before its verdict is there");
}

export function whatAnUndecidedCoilMostLikelyIsStandsInTheTable() {
  const plan = pad();
  const coils = plan.coils.map(({ id }, i) => ({ id, state: i ? "as-planned" : "undecided", used: 1, p: i ? { "as-planned": 0.999 } : { reversed: 0.96, dead: 0.04 }, expected_uT: 480, measured_uT: null }));
  const table = place();
  coilTable(table, { plan, check: { id: "u" }, verdict: { outcome: "undecided", coils, causes: [], notes: [] }, holds: [], passes: [], faces: [], predicted: { coils: [] } }, { selected: null, onpick() {} });
  equal([...table.querySelectorAll(".sure")].map((n) => n.textContent), ["reversed 96 %", "99.90 %", "99.90 %"]);
}

export function aCoilReadByPassSaysSo() {
  const plan = pad();
  const coils = plan.coils.map(({ id }) => ({ id, state: "as-planned", used: 1, p: { "as-planned": 0.999 }, expected_uT: 480, measured_uT: null }));
  const state = { plan, check: { id: "p" }, verdict: { outcome: "as-planned", coils, causes: [], notes: [] }, holds: [{ at: "A3", bearings: 20 }], passes: [{ along: ["A1", "A2"] }], predicted: { coils: [] } };
  equal([...looksOf(state, null).values()].map((l) => l.how), ["by pass", "by pass", "by compass"]);
}

export function whyACoilIsWrongComesFirst() {
  const plan = pad();
  const coils = [{ id: "A1", state: "as-planned", used: 1, p: { "as-planned": 0.999 } }, { id: "A2", state: "reversed", used: 1, p: { reversed: 0.999, "as-planned": 0.0001 }, expected_uT: 486, measured_uT: -606 }];
  const panel = whyPanel({ plan, verdict: { coils }, why: { best: "Coil A2 faces the wrong way.", rival: "" } }, { onlook() {} });
  equal(panel.querySelector("li").textContent, "A2 read −606 uT where 486 was expected: reversed rather than as planned, 9\u202f990 to 1.");
}

export function a_coil_that_was_to_be_turned_and_is_still_wrong_has_the_others_read_first() {
  const p = pad();
  const state = (since) => ({
    plan: p,
    check: { rehearsal: false },
    mended: { mend: [{ do: "flip", id: "A2" }], since },
    verdict: {
      outcome: "fault",
      coils: p.coils.map((c) => ({ id: c.id, state: c.id === "A2" ? "reversed" : "as-planned", used: 1 })),
      causes: [{ p: 0.999, faults: [{ kind: "coil-reversed", id: "A2" }], mend: [{ do: "flip", id: "A2" }], say: "Coil A2 faces the wrong way." }],
    },
  });
  ok(mendWaits(state(["A2"]), true), "A1 and A3 were read before the mend only: one of them may have been turned");
  ok(!mendWaits(state(["A1", "A2", "A3"]), true), "all were read since");
  const turned = state(["A2"]);
  turned.verdict.coils[1].state = "as-planned";
  turned.verdict.coils[2].state = "reversed";
  turned.verdict.causes[0].faults = [{ kind: "coil-reversed", id: "A3" }];
  ok(!mendWaits(turned, true), "A2 was turned, and A3 is another matter");
}

export function aCheckLeftOpenIsNamedWhereNothingIsRead() {
  const node = place();
  const state = { plan: pad(), verdict: null, check: { rehearsal: "" }, holds: [], passes: [], left: { id: "1f2e", began: "2026-01-02T10:00:00Z" } };
  const o = { onrehearse() {}, onagain() {}, onlook() {}, claims: null };
  showVerdict(node, state, o);
  equal(node.querySelector("#left-open a").getAttribute("href"), "#records/1f2e");
  showVerdict(node, { ...state, left: null }, o);
  equal(node.querySelector("#left-open"), null);
}

export function aRecordOfAnotherPlanIsComparedWithCare() {
  const compared = { check: "1f2e", signed: "2026-01-02T10:00:00Z", serial: "K-17", by: "serial", coils: 3, sizes: 3, changes: [], plan_changed: true };
  ok(changes(compared).querySelector("#plan-since")?.textContent.startsWith("The plan was changed since."));
  equal(changes({ ...compared, plan_changed: false }).querySelector("#plan-since"), null);
}
