// The plan editor's parts that need no page: what its actions do to a plan.
import { difference } from "/bench/editor/difference.js";
import * as edits from "/bench/editor/edits.js";
import { Ledger } from "/bench/editor/ledger.js";
import { drafts, drop, keep } from "/bench/editor/drafts.js";
import { foldOverlaps } from "/bench/editor/overlaps.js";
import { equal, ok } from "/pure/assert.js";

/** Two rows of two, strings A and B, in centimetres. */
function sight(groups = []) {
  const coil = (id, x, y, string) => ({ id, x_mm: x, y_mm: y, turned_deg: 0, north: "up", sense: "ccw", winding: "w", string });
  const plan = {
    name: "Pad",
    outline_mm: [400, 300],
    windings: [{ id: "w", shape: "round", inner_mm: [50, 50], corner_mm: 0, build_mm: 5, width_mm: 8, turns: 50 }],
    coils: [coil("A1", 50, 200, "A"), coil("A2", 153, 207, "A"), coil("B1", 50, 100, "B"), coil("B2", 150, 100, "B")],
    strings: [{ id: "A", coils: ["A1", "A2"] }, { id: "B", coils: ["B1", "B2"] }],
    groups,
  };
  const values = { coil: plan.coils.map((c) => ({ id: c.id, winding: "w", at: [c.x_mm / 10, c.y_mm / 10] })), string: plan.strings.map((s) => ({ ...s, lead_ohms: 0.05 })), winding: [{ id: "w" }] };
  return { plan, values, unit_mm: 10 };
}

const places = (list) => list.map((e) => [e.id, ...e.value]);

export function moves_are_in_the_plans_unit() {
  equal(edits.move(sight(), new Map([["A1", { x: 51, y: 200.00001 }]])), [{ op: "set", table: "coil", id: "A1", key: "at", value: [5.1, 20] }]);
}

export function coils_line_up() {
  const both = new Set(["A1", "A2"]);
  equal(places(edits.align(sight(), both, "middle")), [["A1", 5, 20.35], ["A2", 15.3, 20.35]]);
  equal(places(edits.align(sight(), both, "top")), [["A1", 5, 20.7], ["A2", 15.3, 20.7]]);
  equal(places(edits.align(sight(), both, "left")), [["A1", 5, 20], ["A2", 5, 20.7]]);
}

export function coils_are_spaced_evenly_between_the_outermost() {
  const s = sight();
  s.plan.coils[3].x_mm = 350;
  equal(places(edits.spread(s, new Set(["A2", "B1", "B2"]), "x")), [["B1", 5, 10], ["A2", 20, 20.7], ["B2", 35, 10]]);
}

export function rows_stay_together_when_spaced() {
  const s = sight();
  s.plan.coils.push({ ...s.plan.coils[0], id: "C1", x_mm: 52, y_mm: 20 });
  equal(places(edits.spread(s, new Set(["A1", "A2", "B1", "B2", "C1"]), "y")), [["C1", 5.2, 2], ["B1", 5, 11.175], ["B2", 15, 11.175], ["A1", 5, 20.35], ["A2", 15.3, 20.35]]);
}

export function a_turned_oblong_is_as_wide_as_it_lies() {
  const w = { shape: "oblong", inner_mm: [100, 40], corner_mm: 0, build_mm: 5 };
  const at = (deg) => edits.extent({ turned_deg: deg }, w);
  ok(Math.abs(at(0).x - 55) < 1e-9 && Math.abs(at(0).y - 25) < 1e-9);
  ok(Math.abs(at(90).x - 25) < 1e-9 && Math.abs(at(90).y - 55) < 1e-9);
  ok(Math.abs(at(45).x - (25 + 30 / Math.SQRT2)) < 1e-9, "two half circles of 25, their centres 60 apart");
}

export function a_string_across_two_takes_from_both() {
  const { edits: list, id } = edits.wire(sight(), ["A1", "B1"], null);
  equal(id, "C");
  equal(list, [edits.set("string", "A", "coils", ["A2"]), edits.set("string", "B", "coils", ["B2"]), edits.add("string", { id: "C", coils: ["A1", "B1"] })]);
}

export function a_string_in_another_order_keeps_its_name() {
  equal(edits.wire(sight(), ["A2", "A1"], null), { edits: [edits.set("string", "A", "coils", ["A2", "A1"])], id: "A", left: [] });
}

export function a_string_that_swallows_another_takes_its_place_in_the_group() {
  const s = sight([{ id: "G", join: "series", of: ["A", "B"] }]);
  const { edits: list, id } = edits.wire(s, ["A1", "A2", "B1"], null);
  equal(list, [
    edits.set("string", "B", "coils", ["B2"]),
    edits.add("string", { id, coils: ["A1", "A2", "B1"] }),
    edits.set("group", "G", "of", [id, "B"]),
    { op: "remove", table: "string", id: "A" },
  ]);
}

export function a_string_drawn_again_tells_what_it_leaves_out() {
  const { edits: list, left } = edits.wire(sight(), ["B2", "A1"], "A");
  equal(list, [edits.set("string", "A", "coils", ["B2", "A1"]), edits.set("string", "B", "coils", ["B1"])]);
  equal(left, ["A2"]);
}

export function copies_find_room_and_join_their_strings() {
  const one = edits.duplicate(sight(), new Set(["A2"]));
  equal(one.ids, ["A3"]);
  equal(one.edits[1], edits.set("string", "A", "coils", ["A1", "A2", "A3"]));
  const at = one.edits[0].pairs.find((p) => p.key === "at").value.map((v) => v * 10);
  ok(sight().plan.coils.every((c) => Math.hypot(c.x_mm - at[0], c.y_mm - at[1]) >= 60), `no room at ${at}`);
  const row = edits.duplicate(sight(), new Set(["A1", "A2"]));
  equal(row.ids, ["C1", "C2"]);
  const made = row.edits.find((e) => e.table === "string");
  equal(made, edits.add("string", { id: "C", coils: ["C1", "C2"], lead_ohms: 0.05 }));
}

export function coils_added_to_an_empty_pad_lie_on_it_in_rows() {
  const s = sight();
  Object.assign(s.plan, { outline_mm: [400, 400], coils: [], strings: [], windings: [{ ...s.plan.windings[0], inner_mm: [90, 90], build_mm: 6 }] });
  s.values.coil = [];
  let last = null;
  for (let n = 0; n < 9; n++) {
    const { edits: list, id } = edits.addCoil(s, last);
    const { at } = Object.fromEntries(/** @type {any} */ (list[0].pairs).map((p) => [p.key, p.value]));
    s.plan.coils.push({ ...sight().plan.coils[0], id, x_mm: at[0] * 10, y_mm: at[1] * 10, string: "A" });
    s.values.coil.push({ id, winding: "w", at });
    last = id;
  }
  equal(edits.offPad(s.plan), []);
  equal([...new Set(s.plan.coils.map((c) => c.x_mm))].sort(), [305, 200, 95].sort());
  equal([...new Set(s.plan.coils.map((c) => c.y_mm))].sort(), [305, 200, 95].sort());
}

export function a_pad_grows_for_a_coil_that_has_no_room_on_it() {
  const s = sight();
  Object.assign(s.plan, { outline_mm: [120, 120], strings: [], windings: [{ ...s.plan.windings[0], inner_mm: [90, 90], build_mm: 6 }] });
  s.plan.coils = [{ ...s.plan.coils[0], x_mm: 60, y_mm: 60 }];
  s.values.coil = [{ id: "A1", winding: "w", at: [6, 6] }];
  s.values.outline = { size: [12, 12] };
  const { edits: list } = edits.addCoil(s, "A1");
  const { at } = Object.fromEntries(/** @type {any} */ (list[0].pairs).map((p) => [p.key, p.value]));
  equal(at, [16.5, 6]);
  equal(list[1], edits.set("outline", undefined, "size", [22.6, 12]));
}

export function copper_over_the_edge_is_told() {
  const s = sight();
  equal(edits.offPad(s.plan), []);
  s.plan.coils[0].x_mm = 20; // 30 mm of copper each way
  s.plan.coils[1].y_mm = 290;
  equal(edits.offPad(s.plan), [{ id: "A1", mm: 10 }, { id: "A2", mm: 20 }]);
}

export function ids_are_free() {
  equal(edits.nextID("A1", new Set(["A2", "A3"])), "A4");
  equal(edits.nextID("coil", new Set()), "coil1");
  equal(edits.stringID(new Set(["A", "B"])), "C");
  equal(edits.stringID(new Set([..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"])), "S1");
}

export function only_lines_that_differ_are_told() {
  equal(difference("a\nb\nc\nd", "a\nc\nx\nd"), [{ sign: "-", line: 2, text: "b" }, { sign: "+", line: 3, text: "x" }]);
  equal(difference("same", "same"), []);
  equal(difference("", "x\ny").length, 3);
}

export function drafts_are_few_and_survive_rubbish() {
  localStorage.setItem("polewise-plan-drafts", "{rubbish");
  equal(drafts(), []);
  for (let k = 0; k < 7; k++) ok(keep({ id: `d${k}`, base: "a", text: `b${k}`, at: k, name: "Pad" }));
  equal(drafts().map((d) => d.id), ["d6", "d5", "d4", "d3"]);
  keep({ id: "d5", base: "a", text: "a", at: 9, name: "Pad" }); // nothing differs any more
  drop("d6");
  equal(drafts().map((d) => d.id), ["d4", "d3"]);
}

/** A program that writes every edit on a line of its own; it answers after some time. */
async function withProgram(run) {
  const asked = [];
  const real = window.fetch;
  window.fetch = async (_, { body }) => {
    const q = JSON.parse(body);
    asked.push(q);
    await new Promise((r) => setTimeout(r, 1));
    const refuse = q.edits.includes("bad");
    return { ok: !refuse, json: async () => (refuse ? { error: { say: "No." } } : { plan_toml: q.plan_toml + q.edits.map((e) => `${e}\n`).join("") }) };
  };
  const seen = [];
  const troubles = [];
  const ledger = new Ledger({ onsight: (s, preview) => seen.push([s.plan_toml, preview]), ontext: () => {}, ontrouble: (e) => troubles.push(e.message) });
  try {
    await ledger.begin("");
    await run({ ledger, asked, seen, troubles });
  } finally {
    window.fetch = real;
  }
}

export const changes_come_one_after_the_other_and_go_back_and_forth = () =>
  withProgram(async ({ ledger, troubles }) => {
    await Promise.all([ledger.change(["a"], "a"), ledger.change(["b"], "b"), ledger.change(["c"], "c")]);
    equal(ledger.text, "a\nb\nc\n");
    await ledger.undo();
    await ledger.undo();
    equal(ledger.text, "a\n");
    await ledger.redo();
    equal(ledger.text, "a\nb\n");
    equal(ledger.after.map((s) => s.label), ["c"]);
    equal(await ledger.change(["bad"], "bad"), false);
    equal([ledger.text, troubles[0], ledger.after.length], ["a\nb\n", "No.", 1], "a refused change leaves all as it was");
    await ledger.change(["d"], "d");
    equal([ledger.text, ledger.after.length], ["a\nb\nd\n", 0]);
    equal(await ledger.redo(), false);
  });

export const nudges_of_one_thing_are_one_step = () =>
  withProgram(async ({ ledger }) => {
    for (let k = 0; k < 5; k++) await ledger.change([`n${k}`], "nudge", "nudge A1");
    await ledger.change(["x"], "nudge", "nudge A2");
    equal(ledger.before.length, 2);
    await ledger.undo();
    await ledger.undo();
    equal(ledger.text, "");
  });

export const undo_is_bounded = () =>
  withProgram(async ({ ledger }) => {
    for (let k = 0; k < 230; k++) await ledger.change([`${k}`], `${k}`);
    equal(ledger.before.length, 200);
    equal(ledger.before[0].label, "30");
    await ledger.put({ text: "y".repeat(3e6), label: "large" });
    await ledger.put({ text: "z".repeat(3e6), label: "large" });
    await ledger.put({ text: "-", label: "small" });
    ok(ledger.before.reduce((n, s) => n + s.text.length, 0) <= 4e6, "texts kept grow without bound");
  });

export const while_dragging_one_question_at_a_time_the_latest_wins = () =>
  withProgram(async ({ ledger, asked, seen }) => {
    const before = asked.length;
    for (let k = 0; k < 50; k++) ledger.wonder([`at ${k}`]);
    await ledger.change([], "").then(() => new Promise((r) => setTimeout(r, 40)));
    const previews = asked.slice(before);
    ok(previews.length <= 3, `${previews.length} questions for 50 moves at once`);
    equal(previews.at(-1).edits, ["at 49"]);
    equal(seen.at(-1), ["at 49\n", true]);
    equal(ledger.text, "", "a question changes nothing");
  });

export function one_wrong_distance_is_told_once() {
  const { plan } = sight();
  for (const [i, c] of plan.coils.entries()) Object.assign(c, { x_mm: 50 * (i % 2), y_mm: 50 * (i >> 1) });
  const overlap = (id, other) => ({ table: "coil", id, with: other, key: `coil ${id}.at`, line: 7, say: "overlap", remedy: "move" });
  const wire = { table: "winding", id: "w", key: "winding w.turns", say: "turns" };
  const pairs = [overlap("B1", "A2"), overlap("A2", "A1"), overlap("B2", "A1")];
  const [told, ...rest] = foldOverlaps([pairs[0], wire, ...pairs.slice(1)], plan);
  equal(told.say, "Coils A1 and A2 overlap: their centres are 50 mm apart and need 60; 2 more pairs are too near.");
  equal(told.coils, ["A2", "B1", "A1", "B2"]);
  equal(rest, [wire]);
  equal(foldOverlaps([pairs[0]], plan), [{ ...pairs[0], key: "", line: 0 }]);
}

export function another_setting_of_the_supply_is_told_and_taken_over() {
  const raw = { volts: 3.8, amps: 2.47, limit_amps: 2.5, hold_amps: false };
  equal(edits.otherSupply(raw, { volts: 3.9, amps: 0 }, 2.5), null);
  const six = edits.otherSupply(raw, { volts: 6, amps: 0 }, 2.5);
  equal([six.own, six.advice], ["6 V", "3.8 V, limit 2.5 A"]);
  equal(six.edits, [edits.set("supply", undefined, "volts", 3.8), edits.set("supply", undefined, "limit_amps", 2.5)]);
  const held = { volts: 1, amps: 0.2, limit_amps: 0.2, hold_amps: true };
  equal(edits.otherSupply(held, { volts: 0, amps: 0.2 }, 0.2), null);
  equal(edits.otherSupply(held, { volts: 2, amps: 0 }, 2).edits, [{ op: "unset", table: "supply", key: "volts" }, edits.set("supply", undefined, "amps", 0.2)]);
}

export function coils_alike_are_told_together() {
  const coil = (id, bz_uT) => ({ id, bz_uT });
  equal(edits.fieldOver([coil("A1", 250.2), coil("A2", -249.8)]), "250 uT over every coil");
  equal(edits.fieldOver([coil("A1", 250)]), "250 uT (A1)");
  equal(edits.fieldOver([coil("A1", 476), coil("A2", 465), coil("A3", 476.1), coil("B2", 451)]), "451 uT (B2) to 476 uT (A1, A3)");
  equal(edits.fieldOver([..."1234"].map((n) => coil(`A${n}`, 476)).concat(coil("B2", 451))), "451 uT (B2) to 476 uT (4 coils)");
}

export function how_strings_are_joined_is_told_from_plug_to_plug() {
  const plan = (strings, groups) => ({ strings: [...strings].map((id) => ({ id })), groups });
  const group = (id, join, of) => ({ id, join, of: of.split(" ") });
  equal(edits.joined(plan("PQRS", [group("one", "parallel", "P Q"), group("two", "parallel", "R S"), group("all", "series", "one two")])), "+ (P parallel Q) → (R parallel S) −");
  equal(edits.joined(plan("AB", [])), "+ (A parallel B) −");
  equal(edits.joined(plan("A", [])), "");
  equal(edits.joined(plan("AB", [group("g", "series", "A g"), group("h", "series", "B")])), "+ B −", "a group in itself is not gone round for ever");
}
