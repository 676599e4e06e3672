// Drawing the phone along rows: which rows a pad has, and strokes among the holds.
import { newsOf } from "/app/claims.js";
import { VectorFlow } from "/app/flow.js";
import { rowName, rowsOf } from "/app/rows.js";
import { vectorScreen } from "/app/screens/vector.js";
import { equal, normal, ok, random } from "/pure/assert.js";

const OFF = [3, 19, -45];
const ON = [40, 60, 380];

const ROUND = { id: "w", shape: "round", inner_mm: [90, 90], build_mm: 6 };
const OBLONG = { id: "o", shape: "oblong", inner_mm: [80, 200], build_mm: 6 };

/** @param {[string, number, number, string?, number?][]} at */
function plan(...at) {
  return {
    outline_mm: [0, 0],
    windings: [ROUND, OBLONG],
    strings: [],
    supply: { drive: "steady" },
    coils: at.map(([id, x_mm, y_mm, winding = "w", turned_deg = 0]) => ({ id, x_mm, y_mm, winding, turned_deg })),
  };
}

/** @param {...string} rows of names, the farthest first */
function grid(...rows) {
  return plan(...rows.flatMap((names, r) => names.split(" ").map((id, c) => /** @type {any} */ ([id, 80 + 150 * c, 80 + 150 * (rows.length - 1 - r)]))));
}

const PAD = grid("A1 A2 A3", "B1 B2 B3");
const along = (p) => rowsOf(p).map((r) => r.coils.join(" "));

export function rows_are_drawn_from_left_to_right_the_farthest_first() {
  equal(along(PAD), ["A1 A2 A3", "B1 B2 B3"]);
  const [a] = rowsOf(PAD);
  equal([a.from, a.to, a.length_mm, rowName(a)], [[80, 230], [380, 230], 300, "A1 to A3"]);
  // Whatever order the plan names them in.
  equal(along({ ...PAD, coils: [...PAD.coils].reverse() }), ["A1 A2 A3", "B1 B2 B3"]);
}

export function a_pad_of_columns_is_drawn_from_near_to_far() {
  equal(along(grid("A3 B3", "A2 B2", "A1 B1")), ["A1 A2 A3", "B1 B2 B3"]);
}

export function coils_a_little_beside_the_line_are_in_it_and_others_are_not() {
  equal(along(plan(["A1", 0, 0], ["A2", 150, 20], ["A3", 300, -4])), ["A1 A2 A3"]);
  equal(along(plan(["A1", 0, 0], ["A2", 150, 40], ["A3", 300, 0])), ["A1 A3"]);
  equal(along(plan(["A1", 0, 0], ["A2", 110, 60], ["A3", 230, 130])), []);
}

export function a_narrow_coil_leaves_less_room_beside_the_line() {
  equal(along(plan(["A1", 0, 0, "o"], ["A2", 150, 45, "o"])), ["A1 A2"]);
  equal(along(plan(["A1", 0, 0, "o", 90], ["A2", 250, 45, "o", 90])), []);
}

export function a_coil_in_another_is_no_part_of_the_way() {
  equal(along(plan(["A1", 0, 0], ["A2", 150, 0], ["N", 150, 2])), ["A1 A2"]);
}

export function staggered_rows_are_rows() {
  equal(along(plan(["A1", 0, 130], ["A2", 150, 130], ["B1", 75, 0], ["B2", 225, 0])), ["A1 A2", "B1 B2"]);
}

/** A person who draws. */
class Hand {
  constructor(o = {}) {
    this.flow = new VectorFlow({ coils: PAD.coils.map((c) => c.id), supply: { drive: "steady" }, rows: rowsOf(PAD), ...o });
    this.t = 0;
    this.rnd = random(5);
    this.out = [];
  }

  did(effects) {
    this.out.push(...effects);
  }

  lie(u, seconds) {
    for (let n = Math.round(seconds * 10); n > 0; n--) {
      this.t = Math.round(this.t * 1000 + 100) / 1000;
      this.did(this.flow.sample(this.t, u.map((v) => v + 0.3 * normal(this.rnd))));
    }
  }

  lieUntil(u, stage) {
    for (let n = 0; n < 120 && this.flow.stage !== stage; n++) this.lie(u, 0.1);
    equal(this.flow.stage, stage);
  }

  /** Reads the first coil, with the choice made. */
  start() {
    this.did(this.flow.byRow(true));
    this.did(this.flow.supplyOff(this.t));
    this.lieUntil(OFF, "on");
    this.did(this.flow.supplyOn(this.t));
    this.lieUntil(ON, "row");
  }

  /** Draws along the row asked for. */
  draw(seconds = 5) {
    this.did(this.flow.drawn(this.t));
    equal(this.flow.stage, "drawing");
    for (let k = 0; k < seconds * 10; k++) this.lie([40 * Math.sin(k), 60, 380 * Math.cos(k / 8)], 0.1);
    this.did(this.flow.drawn(this.t));
  }

  screen() {
    return vectorScreen(this.flow, { plan: PAD, verdict: this.flow.verdict, states: () => ({}), north: { note: "" } }, { note: "", marked: false, unsteady: false, do: /** @type {any} */ ({}) });
  }

  lines(type) {
    return this.out.filter((e) => e.do === "line" && e.line.type === type).map((e) => e.line);
  }

  done(what) {
    return this.out.filter((e) => e.do === what);
  }
}

/** What the bench says: of so many coils. */
function verdict(read, more = {}) {
  return { outcome: "undecided", coils: PAD.coils.map((c) => ({ id: c.id, state: read.includes(c.id) ? "as-planned" : "undecided", used: read.includes(c.id) ? 1 : 0, p: { "as-planned": 1 } })), causes: [], notes: [], next: null, ...more };
}

export function after_the_first_coil_each_row_is_drawn_and_sent_as_a_pass() {
  const h = new Hand();
  h.start();
  equal([h.screen().title, h.flow.done.length], ["Next: A1 to A3", 1]);
  ok(h.screen().lead.includes("draw it to A3 in about 6 s"), h.screen().lead);
  h.draw();
  equal([h.flow.stage, h.screen().title], ["row", "Next: B1 to B3"]);
  h.draw();
  equal(h.lines("pass").map((l) => l.along.join(" ")), ["A1 A2 A3", "B1 B2 B3"]);
  for (let i = 0; i < 2; i++) {
    const [from, to] = [h.lines("pass")[i].t, h.lines("pass-end")[i].t];
    const n = h.lines("b").filter((b) => b.t > from && b.t < to).length;
    ok(n >= 49, `${n} readings in a stroke`);
  }
  equal(h.done("counted").map((e) => e.along?.length ?? 1), [1, 3, 3]);
  equal(h.flow.stage, "waiting");
  h.did(h.flow.setVerdict(verdict(PAD.coils.map((c) => c.id), { outcome: "as-planned" })));
  equal(h.flow.stage, "result");
}

export function after_a_mend_the_verdict_on_a_row_is_known_by_what_was_read_of_its_first_coil() {
  const all = PAD.coils.map((c) => c.id);
  const h = new Hand({ afterMend: true, carried: all });
  const said = verdict(all, { next: { at: "A1", why: "" } });
  said.coils.find((c) => c.id === "B1").p = { "as-planned": 0.9993 };
  h.did(h.flow.setVerdict(said));
  h.start();
  h.draw();
  h.draw();
  h.did(h.flow.setVerdict(said)); // of before the row
  ok(h.flow.awaiting, "a verdict without the row was taken for one on it");
  const of = verdict(all, { outcome: "as-planned" });
  of.coils.find((c) => c.id === "B1").p = { "as-planned": 0.9996 };
  h.did(h.flow.setVerdict(of));
  equal([h.flow.awaiting, h.flow.stage], [false, "result"]);
}

export function a_coil_in_no_row_is_held_after_the_rows() {
  const pad = { ...PAD, coils: [...PAD.coils, { id: "C1", x_mm: 455, y_mm: 10, winding: "w" }] };
  const h = new Hand({ coils: pad.coils.map((c) => c.id), rows: rowsOf(pad) });
  h.start();
  h.draw();
  h.draw();
  equal([h.flow.stage, h.flow.target], ["lift", "C1"]);
}

export function a_stroke_far_too_fast_is_taken_back_and_drawn_again() {
  const h = new Hand();
  h.start();
  h.draw(1);
  const pass = h.lines("pass")[0];
  equal(h.done("undo").map((e) => [e.at, e.t]), [["A1", pass.t]]);
  equal(h.done("spoilt").map((e) => e.why), ["fast"]);
  equal([h.flow.stage, h.screen().title, h.flow.done.length], ["row", "Next: A1 to A3", 1]);
  ok(h.lines("pass-end")[0].t > pass.t, "it is ended");
}

export function a_frozen_sensor_gives_too_few_readings() {
  const h = new Hand();
  h.start();
  h.did(h.flow.drawn(h.t));
  for (let k = 0; k < 50; k++) h.did(h.flow.sample((h.t += 0.1), ON));
  h.did(h.flow.drawn(h.t));
  equal(h.done("spoilt").map((e) => e.why), ["few"]);
}

export function a_second_tap_at_once_does_not_end_the_stroke() {
  const h = new Hand();
  h.start();
  h.did(h.flow.drawn(h.t));
  h.did(h.flow.drawn(h.t + 0.3));
  equal([h.flow.stage, h.done("spoilt").length], ["drawing", 0]);
}

export function a_gap_a_lift_or_an_end_that_never_comes_take_the_stroke_back() {
  const cases = { gap: (h) => h.flow.gap(h.t), lifted: (h) => h.flow.notDrawn(h.t), long: (h) => (h.lie(ON, 90), []) };
  for (const [why, end] of Object.entries(cases)) {
    const h = new Hand();
    h.start();
    h.did(h.flow.drawn(h.t));
    h.lie(ON, 2);
    h.did(end(h));
    equal([h.done("spoilt").map((e) => e.why), h.done("undo").length, h.lines("pass-end").length, h.flow.stage], [[why], 1, 1, "row"], why);
  }
}

export function the_last_row_can_be_undone_and_is_drawn_again() {
  const h = new Hand();
  h.start();
  h.draw();
  equal(h.screen().actions.find((a) => a.id === "undo").label, "Undo the row");
  h.did(h.flow.undo());
  equal(h.done("undo").map((e) => [e.at, e.t]), [["A1", h.lines("pass")[0].t]]);
  equal(h.screen().title, "Next: A1 to A3");
}

export function a_row_without_a_field_is_told() {
  const h = new Hand();
  h.start();
  h.did(h.flow.drawn(h.t));
  h.lie(OFF, 5);
  h.did(h.flow.drawn(h.t));
  equal([h.done("quiet-row").length, h.flow.done.length], [1, 2]);
}

export function one_may_change_over_either_way_in_the_middle() {
  const h = new Hand();
  h.start();
  h.draw();
  h.did(h.flow.byRow(false));
  equal([h.flow.stage, h.flow.target], ["lift", "B1"]);
  h.did(h.flow.byRow(true));
  equal([h.flow.stage, h.screen().title], ["row", "Next: B1 to B3"]);
  h.did(h.flow.pick("B2")); // this one by itself
  equal([h.flow.stage, h.flow.target], ["lift", "B2"]);
}

export function a_page_loaded_again_takes_an_open_stroke_back_and_goes_on() {
  const h = new Hand();
  h.start();
  h.draw();
  h.did(h.flow.drawn(h.t));
  h.lie(ON, 1);
  const kept = JSON.parse(JSON.stringify(h.flow.save()));
  const again = new Hand();
  again.did(again.flow.restore(kept, h.t + 3));
  equal([again.done("undo").map((e) => e.at), again.lines("pass-end").length, again.done("spoilt").map((e) => e.why)], [["B1"], 1, ["gap"]]);
  equal([again.flow.stage, again.screen().title, again.flow.done.length], ["row", "Next: B1 to B3", 2]);
}

export function after_a_mend_every_row_is_drawn_though_all_was_read_before() {
  const all = PAD.coils.map((c) => c.id);
  const next = { at: "A1", why: "A1 was read before the mend only." };
  const h = new Hand({ afterMend: true });
  h.flow.verdict = verdict(all, { next });
  h.did(h.flow.joins());
  h.start();
  equal(h.screen().title, "Next: A1 to A3");
  h.draw();
  h.did(h.flow.setVerdict(verdict(all, { next: { ...next, at: "B1" } })));
  h.draw();
  equal(h.lines("pass").length, 2);
}

export function after_a_mend_rows_are_offered_beside_the_coil_that_is_next() {
  const all = PAD.coils.map((c) => c.id);
  const h = new Hand({ afterMend: true });
  h.flow.verdict = verdict(all, { next: { at: "A2", why: "…" } });
  Object.assign(h.flow, { driven: true, stage: "place" });
  ok(h.screen().actions.some((a) => a.id === "by-row"), "offered");
  h.flow.afterMend = h.flow.strokes.afterMend = false;
  ok(!h.screen().actions.some((a) => a.id === "by-row"), "not offered");
}

export function a_pass_that_the_verdict_asks_for_is_drawn_unless_declined() {
  const all = PAD.coils.map((c) => c.id);
  const asks = verdict(all, { next: { at: "B2", route: "pass", why: "…" } });
  const h = new Hand();
  Object.assign(h.flow, { driven: true, verdict: asks, stage: "waiting" });
  h.did(h.flow.setVerdict(asks));
  equal(h.screen().title, "Next: B1 to B3");
  h.did(h.flow.byRow(false));
  equal([h.flow.stage, h.flow.target], ["lift", "B2"]);
}

export function a_pass_asked_for_again_and_again_in_vain_ends_at_the_result() {
  const asks = verdict(PAD.coils.map((c) => c.id), { next: { at: "B2", route: "pass", why: "…" } });
  const h = new Hand();
  Object.assign(h.flow, { driven: true, verdict: asks, stage: "waiting" });
  h.did(h.flow.setVerdict(asks));
  for (let n = 0; n < 9 && h.flow.stage === "row"; n++) {
    h.draw();
    const told = JSON.parse(JSON.stringify(asks));
    for (const c of told.coils) c.used = n + 2;
    h.did(h.flow.setVerdict(told));
  }
  equal([h.flow.stage, h.done("fruitless").map((e) => e.at)], ["result", ["B2"]]);
}

export function without_rows_nothing_is_offered() {
  const h = new Hand({ rows: [] });
  ok(!h.screen().actions.some((a) => a.id === "by-row"), "offered");
  h.did(h.flow.byRow(true));
  ok(!h.flow.strokes.on, "chosen all the same");
}

export function news_of_a_row_tells_what_is_new_and_what_stays_open() {
  const coil = (id, state, used) => ({ id, state, used, p: { "as-planned": 0.6 } });
  const before = ["A1", "A2", "A3", "B1"].map((id) => coil(id, id === "A1" ? "as-planned" : "undecided", id === "A1" ? 1 : 0));
  const now = [coil("A1", "as-planned", 2), coil("A2", "undecided", 1), coil("A3", "reversed", 1), coil("B1", "undecided", 0)];
  const n = newsOf(before, now, null, ["A1", "A2", "A3"]);
  equal(n.changed, [{ id: "A3", state: "reversed" }, { id: "A2", state: "undecided", first: true }]);
  equal(n.say, "A3 reversed. A2 undecided so far.");
  equal(n.cue, "reversed");
}
