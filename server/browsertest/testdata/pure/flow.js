// The vector route's state machine, driven by made-up events.
import { VectorFlow } from "/app/flow.js";
import { vectorScreen, whyWords } from "/app/screens/vector.js";
import { equal, near, normal, ok, random } from "/pure/assert.js";

const OFF = [3, 19, -45];

/** A person with a phone: keeps the time, feeds readings, gathers effects. */
class Hand {
  constructor(o = {}) {
    this.flow = new VectorFlow({ coils: ["A1", "A2", "A3"], supply: { drive: "steady" }, expected_uT: { A1: 400, A2: 400, A3: 400 }, ...o });
    this.t = 0;
    this.rnd = random(3);
    this.out = [];
  }

  did(effects) {
    this.out.push(...effects);
    return effects;
  }

  lie(u, seconds) {
    for (let n = Math.round(seconds * 10); n > 0; n--) {
      this.t = Math.round(this.t * 1000 + 100) / 1000;
      this.did(this.flow.sample(this.t, u.map((v) => v + 0.3 * normal(this.rnd))));
    }
  }

  carry(u) {
    for (let k = 1; k <= 7; k++) this.lie(u.map((v, a) => v + 60 * (1 + (k % 3)) * (a + 1)), 0.1);
  }

  lieUntil(u, stage, seconds = 12) {
    for (let n = 0; n < seconds * 10 && this.flow.stage !== stage; n++) this.lie(u, 0.1);
    equal(this.flow.stage, stage);
  }

  start(on = [40, 60, 380]) {
    this.did(this.flow.supplyOff(this.t));
    this.lieUntil(OFF, "on");
    this.did(this.flow.supplyOn(this.t));
    this.lieUntil(on, "lift");
  }

  /** What the page shows now. */
  screen() {
    const coils = this.flow.coils.map((id, i) => ({ id, x_mm: 100 * i, y_mm: 0, winding: "w" }));
    const windings = [{ id: "w", shape: "round", inner_mm: [70, 70], build_mm: 5 }];
    return vectorScreen(this.flow, { plan: { outline_mm: [0, 0], windings, coils, strings: [], supply: { drive: "steady" } }, verdict: this.flow.verdict, states: () => ({}), north: { note: "" } }, { note: "", marked: false, unsteady: false, do: /** @type {any} */ ({}) });
  }

  /** Reads all three coils once. */
  readAll() {
    this.start();
    for (const u of [[30, 20, 350], [35, 28, 361]]) {
      this.carry(OFF);
      this.lieUntil(u, "counting");
      while (this.flow.stage === "counting") this.lie(u, 0.1);
    }
  }

  lines(type) {
    return this.out.filter((e) => e.do === "line" && (!type || e.line.type === type)).map((e) => e.line);
  }
}

export function a_phone_that_joins_when_all_is_read_shows_what_is_known() {
  const verdict = (used, next) => ({ outcome: used ? "as-planned" : "undecided", coils: ["A1", "A2", "A3"].map((id) => ({ id, state: "as-planned", used, p: { "as-planned": 1 } })), causes: [], notes: [], next });
  const joined = (v) => {
    const h = new Hand();
    h.flow.verdict = v;
    h.did(h.flow.joins());
    return h;
  };
  const h = joined(verdict(1, null));
  equal(h.screen().title, "As planned");
  h.did(h.flow.goOn());
  equal([h.flow.stage, h.screen().title], ["off", "Supply off, phone on A1"]);
  equal(joined(verdict(1, { at: "A2", route: "ohms", why: "…" })).flow.stage, "result");
  equal(joined(verdict(1, { at: "A2", why: "…" })).screen().title, "Supply off, phone on A2");
  equal(joined(null).screen().title, "Supply off, phone on A1");
  equal(joined(verdict(0, null)).screen().title, "Supply off, phone on A1");
  // Another phone reads them all before this one's rest.
  const other = joined(null);
  other.did(other.flow.setVerdict(verdict(1, null)));
  equal(other.screen().title, "As planned");
}

export function a_whole_check_gives_lines_in_the_contracts_order() {
  const h = new Hand();
  h.readAll();
  equal(h.flow.stage, "waiting");
  equal(h.lines("drive").map((l) => l.state), ["off", "on"]);
  equal(h.lines("hold").map((l) => l.at), ["A1", "A2", "A3"]);
  equal(h.lines("lift").length, 3);
  const [off, on] = h.lines("drive").map((l) => l.t);
  const [hold, lift] = [h.lines("hold")[0].t, h.lines("lift")[0].t];
  ok(off < hold && hold < on && on < lift, "the first hold holds the switching");
  const b = h.lines("b");
  ok(b.filter((l) => l.t > off && l.t < hold).length >= 18, "a rest of two seconds outside any hold");
  ok(b.filter((l) => l.t > hold && l.t < on).length >= 10, "a second of it in the hold");
  ok(b.filter((l) => l.t > on && l.t < lift).length >= 25, "two and a half seconds with the supply on");
  for (let i = 0; i < 3; i++) ok(h.lines("lift")[i].t > h.lines("hold")[i].t, "lifts after their holds");
}

export function a_supply_that_is_on_is_not_said_to_be_off() {
  const h = new Hand({ everyHold: true });
  ok(h.screen().lead.endsWith("The supply is off."), h.screen().lead);
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([40, 60, 380], "off");
  ok(h.screen().lead.startsWith("Switch the supply off."), h.screen().lead);
  ok(!h.screen().lead.includes("The supply is off"), h.screen().lead);
}

export function nothing_is_sent_while_the_supply_is_being_switched() {
  const h = new Hand();
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  const before = h.lines("b").length;
  h.lie(OFF, 2);
  h.lie([40, 60, 380], 2); // it is on already, and the person has not tapped yet
  equal(h.lines("b").length, before);
}

export function the_rest_leaves_out_what_came_while_the_phone_was_laid_down() {
  const h = new Hand();
  h.did(h.flow.supplyOff(0));
  h.carry(OFF);
  h.lieUntil(OFF, "on");
  for (const l of h.lines("b")) near(l.uT[2], OFF[2], 2, "a reading of the rest");
}

export function a_phone_moved_too_soon_is_told_and_the_hold_taken_back() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  const hold = h.lines("hold")[1];
  h.carry(OFF);
  equal(h.flow.stage, "place");
  equal(h.flow.target, "A2", "asked for again");
  equal(h.out.filter((e) => e.do === "undo"), [{ do: "undo", at: "A2", t: hold.t }]);
  ok(h.out.some((e) => e.do === "broken" && e.at === "A2" && e.why === "moved"));
  ok(!h.out.some((e) => e.do === "counted" && e.at === "A2"));
  equal(h.lines("lift").length, 2, "the broken hold was ended too");
}

export function a_phone_laid_aside_is_not_taken_for_the_next_coil() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil(OFF, "quiet"); // on the bench, no field there
  h.lie(OFF, 5);
  equal(h.lines("hold").length, 1);
  h.carry(OFF);
  equal(h.flow.stage, "place");
  h.lieUntil([30, 20, 350], "counting");
}

export function a_phone_that_was_not_moved_is_asked_about() {
  const h = new Hand();
  h.start([40, 60, 380]);
  h.carry(OFF); // up and down again on the same coil
  h.lieUntil([40, 60, 380], "same");
  equal(h.lines("hold").length, 1);
  h.lie([40, 60, 380], 25);
  const tapped = h.t;
  h.did(h.flow.onIt(h.t));
  equal(h.flow.stage, "counting", "unless the person knows better");
  h.lieUntil([40, 60, 380], "lift");
  const opened = h.lines("hold").at(-1).t;
  ok(opened >= tapped, `the hold goes back to ${opened}, before lines sent up to ${tapped}`);
}

export function after_a_mend_the_verdict_on_a_coil_read_before_it_is_known_though_no_more_readings_count() {
  const coils = (measured) => ["A1", "A2", "A3"].map((id) => ({ id, state: "as-planned", used: 1, measured_uT: measured[id] ?? 380, p: { "as-planned": 1 } }));
  const verdict = (at, measured = {}) => ({ outcome: "undecided", coils: coils(measured), causes: [], notes: [], next: { at, why: "…" } });
  const h = new Hand({ carried: ["A1", "A2", "A3"] });
  h.flow.verdict = verdict("A1");
  h.did(h.flow.joins());
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([40, 60, 380], "waiting");
  equal(h.screen().title, "A1 is read", "and not all are");
  h.did(h.flow.setVerdict(verdict("A1", { A2: 381 })));
  equal(h.flow.stage, "waiting", "that one was made without it");
  h.did(h.flow.setVerdict(verdict("A2", { A1: 379.2 })));
  equal([h.flow.stage, h.flow.target], ["lift", "A2"]);
}

export function a_dead_coil_is_counted_once_the_person_says_that_the_phone_lies_on_it() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil(OFF, "quiet");
  h.did(h.flow.onIt(h.t));
  equal(h.flow.stage, "counting");
  h.lieUntil(OFF, "lift");
  equal(h.flow.done.map((d) => d.at), ["A1", "A2"]);
}

export function after_two_coils_without_a_field_the_supply_is_asked_about_once() {
  const h = new Hand({ coils: ["A1", "A2", "A3", "A4", "A5"], expected_uT: Object.fromEntries(["A1", "A2", "A3", "A4", "A5"].map((id) => [id, 400])) });
  const next = () => {
    h.carry(OFF);
    h.lieUntil(OFF, "quiet");
  };
  const lies = () => {
    h.did(h.flow.onIt(h.t));
    h.lieUntil(OFF, "lift");
  };
  h.start();
  next();
  equal(h.screen().title, "Is it on A2?");
  lies();
  next();
  equal(h.screen().title, "Is it on A3?", "one dead coil says nothing of the supply");
  lies();
  next();
  equal(h.screen().title, "Is the supply on?");
  ok(h.screen().lead.includes("over A2 and A3"), h.screen().lead);
  lies();
  equal(h.flow.done.map((d) => d.at), ["A1", "A2", "A3", "A4"], "it is on: they count");
  next();
  equal(h.screen().title, "Is it on A5?", "asked once");
  // Also of a page after a reload.
  const again = new Hand({ coils: ["A1", "A2", "A3", "A4", "A5"] });
  again.t = h.t;
  again.did(again.flow.restore(JSON.parse(JSON.stringify(h.flow.save())), again.t));
  again.carry(OFF);
  again.lieUntil(OFF, "quiet");
  equal(again.screen().title, "Is it on A5?");
}

export function a_supply_that_was_off_takes_back_what_was_read_meanwhile() {
  const h = new Hand();
  h.start();
  for (let i = 0; i < 2; i++) {
    h.flow.pick(["A2", "A3"][i]);
    h.carry(OFF);
    h.lieUntil(OFF, "quiet");
    h.did(h.flow.onIt(h.t));
    while (h.flow.stage === "counting") h.lie(OFF, 0.1);
  }
  const holds = h.lines("hold").slice(1);
  h.flow.pick("A1");
  h.carry(OFF);
  h.lieUntil(OFF, "quiet");
  h.did(h.flow.supplyWasOff(h.t));
  equal(h.out.filter((e) => e.do === "undo"), holds.map((l) => ({ do: "undo", at: l.at, t: l.t })));
  equal([h.flow.stage, h.flow.target], ["off", "A2"], "again from supply off, on the first of them");
  equal(h.flow.done.map((d) => d.at), ["A1"]);
  ok(h.screen().lead.startsWith("Switch the supply off."), h.screen().lead);
  h.did(h.flow.supplyOff(h.t));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([30, 20, 350], "lift");
  equal(h.flow.target, "A3");
}

export function the_supply_is_asked_about_too_where_the_phone_is_said_to_lie_before_it_was_seen_to() {
  const h = new Hand({ coils: ["A1", "A2", "A3", "A4"], expected_uT: { A1: 400, A2: 400, A3: 400, A4: 400 } });
  const tapped = (stage) => {
    h.did(h.flow.onIt(h.t));
    h.lieUntil(OFF, stage);
  };
  h.start();
  tapped("lift");
  tapped("lift");
  tapped("unchanged");
  equal(h.screen().title, "Is the supply on?");
  const holds = h.lines("hold");
  h.did(h.flow.supplyWasOff(h.t));
  equal(h.out.filter((e) => e.do === "undo").map((e) => e.t).sort((a, b) => a - b), holds.slice(1).map((l) => l.t));
  equal(h.lines("lift").length, holds.length, "each ended once");
  equal([h.flow.stage, h.flow.target, h.flow.hold], ["off", "A2", null]);
}

export function a_supply_that_changes_nothing_is_asked_about() {
  const h = new Hand();
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil(OFF, "unchanged");
  ok(h.screen().whole, "no claim stands beside the question");
  ok(h.screen().lead.includes("Does the phone lie on A1?"), h.screen().lead);
  equal(h.flow.done.length, 0);
  h.did(h.flow.restAgain(h.t));
  equal(h.flow.stage, "off");
  equal(h.out.filter((e) => e.do === "undo").map((e) => e.at), ["A1"]);
  equal(h.lines("lift").length, 1, "ended once");
}

export function a_rest_larger_than_the_earths_field_asks_whether_the_supply_is_off() {
  for (const everyHold of [false, true]) {
    const LIT = [10, 20, -459];
    const h = new Hand({ everyHold });
    h.did(h.flow.supplyOff(0));
    h.lieUntil(LIT, "lit");
    equal(h.screen().title, "Is the supply off?");
    ok(h.screen().lead.includes("460 uT"), h.screen().lead);
    equal(h.lines("b").length + h.lines("hold").length, 0, "nothing of it is sent");
    h.did(h.flow.supplyOff(h.t)); // read again, as it was
    h.lieUntil(LIT, "lit");
    h.did(h.flow.supplyOff(h.t));
    h.lieUntil(OFF, "on");
    h.did(h.flow.supplyOn(h.t));
    h.lieUntil([40, 60, 380], everyHold ? "off" : "lift");
    equal(h.lines("hold").length, 1);
  }
}

export function a_phone_with_a_magnetism_of_its_own_is_asked_once() {
  const OWN = [90, 60, -150];
  const h = new Hand({ everyHold: true });
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OWN, "lit");
  h.did(h.flow.restIsOwn(h.t));
  equal(h.flow.stage, "resting");
  h.lieUntil(OWN, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([120, 90, 270], "off");
  const again = new Hand({ everyHold: true });
  again.t = h.t;
  again.did(again.flow.restore(JSON.parse(JSON.stringify(h.flow.save())), again.t)); // also after a reload
  again.did(again.flow.supplyOff(again.t));
  again.lieUntil(OWN, "on");
  again.did(again.flow.restAgain(again.t));
  again.did(again.flow.supplyOff(again.t));
  again.lieUntil([120, 90, 270], "lit"); // so does no phone by itself
  again.did(again.flow.gap(again.t));
  equal(again.flow.stage, "off");
}

export function a_pulsed_supply_is_not_asked_about_for_a_large_rest() {
  const h = new Hand({ supply: { drive: "pulsed", hz: 1, duty: 0.5 } });
  h.did(h.flow.supplyOff(0));
  h.lieUntil([10, 20, -459], "on");
}

export function coils_that_read_alike_twice_make_the_supply_asked_about() {
  const ON = [60, 80, 120];
  const hand = () => new Hand({ coils: ["A1", "A2", "A3", "A4"], expected_uT: { A1: 200, A2: 200, A3: 200, A4: 200 } });
  // Laid without being seen to be moved.
  const h = hand();
  h.start(ON);
  h.did(h.flow.onIt(h.t));
  h.lieUntil(ON, "lift");
  h.did(h.flow.onIt(h.t));
  h.lieUntil(ON, "unchanged");
  equal(h.screen().title, "Is the supply on?");
  ok(h.screen().lead.includes("On A3 it still reads just as over A1 and A2."), h.screen().lead);
  const holds = h.lines("hold");
  h.did(h.flow.supplyWasOff(h.t));
  equal(h.out.filter((e) => e.do === "undo").map((e) => e.t).sort((a, b) => a - b), holds.map((l) => l.t), "none of them counts");
  equal([h.flow.stage, h.flow.target, h.flow.done.length], ["off", "A1", 0]);
  // Lifted, and seen to lie still again.
  const k = hand();
  k.start(ON);
  for (const title of ["Has it moved?", "Is the supply on?", "Has it moved?"]) {
    k.carry(OFF);
    k.lieUntil(ON, "same");
    equal(k.screen().title, title, "asked about the supply once");
    k.did(k.flow.onIt(k.t));
    while (k.flow.stage === "counting") k.lie(ON, 0.1);
  }
  equal(k.flow.done.map((d) => d.at), ["A1", "A2", "A3", "A4"], "it is on: they count");
}

export function a_sensor_that_meets_little_of_the_field_is_not_asked_about_on_every_coil() {
  // Over the winding: the planned 400 uT come to 50, which is no "nothing changed".
  const h = new Hand();
  h.start([20, 45, -10]);
  equal(h.flow.done.length, 1);
  h.carry(OFF);
  h.lieUntil([25, 50, -15], "counting");
  h.lieUntil([25, 50, -15], "lift");
  // Much less than that is asked about all the same.
  h.carry(OFF);
  h.lieUntil([6, 20, -40], "quiet");
  // And it is still known after a reload.
  const kept = JSON.parse(JSON.stringify(h.flow.save()));
  const again = new Hand();
  again.t = h.t;
  again.did(again.flow.restore(kept, again.t));
  again.carry(OFF);
  again.lieUntil([20, 45, -10], "counting");
}

export function a_sensor_brought_over_the_middle_once_does_not_make_much_field_the_usual() {
  const h = new Hand();
  h.start([20, 45, -10]); // over the winding
  for (let i = 0; i < 2; i++) {
    h.carry(OFF);
    h.lieUntil([25 + 4 * i, 50, -15], "counting");
    while (h.flow.stage === "counting") h.lie([25 + 4 * i, 50, -15], 0.1);
  }
  const verdict = { outcome: "undecided", coils: ["A1", "A2", "A3"].map((id) => ({ id, state: "undecided", used: 1 })) };
  const after = { outcome: "undecided", coils: verdict.coils.map((c) => (c.id === "A1" ? { ...c, used: 2 } : c)) };
  h.did(h.flow.setVerdict({ ...verdict, next: { at: "A1", shift_mm: [0, -45], why: "…" } }));
  h.carry(OFF);
  h.lieUntil([40, 60, 380], "counting");
  h.lieUntil([40, 60, 380], "waiting");
  h.did(h.flow.setVerdict({ ...after, next: { at: "A2", why: "…" } }));
  h.carry(OFF);
  h.lieUntil([25, 50, -15], "counting");
}

export function a_dead_first_coil_does_not_make_little_field_the_usual() {
  const h = new Hand();
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil(OFF, "unchanged");
  h.did(h.flow.unchangedCounts(h.t));
  h.carry(OFF);
  h.lieUntil([25, 50, -15], "quiet");
}

export function a_phone_that_reads_a_little_else_without_a_field_does_not_make_that_the_usual() {
  const h = new Hand();
  h.start([3, 19, -35]); // 10 uT of 400: laid elsewhere, or steel
  h.carry(OFF);
  h.lieUntil([3, 20, -34], "quiet");
  h.did(h.flow.onIt(h.t));
  h.lieUntil([3, 20, -34], "lift");
  h.carry(OFF);
  h.lieUntil([4, 19, -36], "quiet");
  equal(h.screen().title, "Is the supply on?");
}

export function a_gap_breaks_the_hold() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  h.did(h.flow.gap(h.t));
  equal(h.flow.stage, "lift");
  ok(h.out.some((e) => e.do === "broken" && e.why === "gap"));
}

export function frozen_readings_do_not_make_a_hold() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  const u = [30.11, 20.22, 350.33];
  for (let n = 0; n < 100 && h.flow.stage === "counting"; n++) h.did(h.flow.sample((h.t = Math.round(h.t * 1000 + 100) / 1000), u));
  ok(h.flow.stage !== "counting", "it does not wait for ever");
}

export function undo_asks_for_the_same_coil_again_by_its_hold() {
  const h = new Hand();
  h.start();
  const hold = h.lines("hold")[0];
  h.did(h.flow.undo());
  equal(h.out.filter((e) => e.do === "undo"), [{ do: "undo", at: "A1", t: hold.t }]);
  equal(h.flow.target, "A1");
  equal(h.flow.done, []);
  equal([h.flow.stage, h.screen().title], ["off", "Supply off, phone on A1"], "with it went the background under it");
}

export function a_first_hold_in_which_the_phone_was_moved_begins_again_with_the_background() {
  const after = (broken) => {
    const h = new Hand();
    h.did(h.flow.supplyOff(0));
    h.lieUntil(OFF, "on");
    h.did(h.flow.supplyOn(h.t));
    h.lie([40, 60, 380], 1);
    h.did(broken(h));
    return [h.flow.stage, h.flow.target];
  };
  equal(after((h) => h.flow.lifted(h.t)), ["off", "A1"]);
  equal(after((h) => h.flow.gap(h.t)), ["lift", "A1"], "readings that stopped do not put it in doubt");
}

export function the_background_can_be_begun_again_while_no_readings_come() {
  const h = new Hand();
  h.did(h.flow.supplyOff(0));
  ok((h.screen().actions || []).some((a) => a.id === "rest-again"));
  h.did(h.flow.restAgain(0));
  equal([h.flow.stage, h.flow.target], ["off", "A1"]);
}

export function after_the_last_coil_the_verdict_leads() {
  const h = new Hand({ coils: ["A1"] });
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([40, 60, 380], "waiting");
  const coil = { id: "A1", state: "undecided", used: 1 };
  h.flow.setVerdict({ outcome: "undecided", coils: [coil], next: { at: "A1", top_deg: 180, why: "…" } });
  equal(h.flow.stage, "lift");
  equal(h.flow.target, "A1");
  equal(h.flow.asked.top_deg, 180);
  h.carry(OFF);
  h.lieUntil([-40, -60, 380], "counting");
  equal(h.lines("hold")[1].top_deg, 180, "the turned hold says so");
  while (h.flow.stage === "counting") h.lie([-40, -60, 380], 0.1);
  equal(h.flow.stage, "waiting", "the old verdict's wish has been met");
  h.flow.setVerdict({ outcome: "as-planned", coils: [{ ...coil, state: "as-planned", used: 2 }], next: null });
  equal(h.flow.stage, "result");
}

export function a_reading_that_settles_nothing_is_not_asked_for_without_end() {
  const h = new Hand();
  h.readAll();
  const coils = ["A1", "A2", "A3"].map((id) => ({ id, state: "as-planned", used: 1 }));
  const asks = (at, more) => h.did(h.flow.setVerdict({ outcome: "undecided", coils, next: { at, why: "…" }, ...more }));
  const again = (z) => {
    const { target } = h.flow;
    h.carry(OFF);
    h.lieUntil([40, 60, z], "counting");
    h.lieUntil([40, 60, z], "waiting");
    const k = coils.findIndex((c) => c.id === target);
    coils[k] = { ...coils[k], used: coils[k].used + 1 };
  };
  asks("A1");
  again(380);
  asks("A2"); // another in between does not make it new
  again(350);
  asks("A1");
  again(390);
  equal(h.out.filter((e) => e.do === "fruitless").length, 0);
  asks("A1");
  equal(h.flow.stage, "result", "asked for the third time, and no claim has changed");
  equal(h.out.filter((e) => e.do === "fruitless"), [{ do: "fruitless", at: "A1" }]);
  asks("A1"); // the same verdict told again, to all pages
  equal(h.flow.stage, "result");
  h.did(h.flow.goOn());
  equal([h.flow.stage, h.flow.target], ["lift", "A1"], "whoever wants to goes on");
  again(370);
  asks("A1");
  equal(h.flow.stage, "lift", "and is not told so after every reading");
  again(400);
  coils[1] = { ...coils[1], state: "undecided" };
  asks("A1");
  equal([h.flow.stage, h.flow.target], ["lift", "A1"], "a claim has changed: that reading was not for nothing");
}

export function a_reading_that_goes_on_telling_something_is_asked_for_again() {
  const h = new Hand();
  h.readAll();
  for (const [k, weak] of [0.023, 0.046, 0.076, 0.114, 0.159, 0.25].entries()) {
    const coils = ["A1", "A2", "A3"].map((id) => ({ id, state: "undecided", used: 1 + k, p: { "as-planned": 1 - weak, weak } }));
    h.did(h.flow.setVerdict({ outcome: "undecided", coils, next: { at: "A1", why: "…" } }));
    equal([h.flow.stage, h.flow.target], ["lift", "A1"], `${weak}`);
    h.carry(OFF);
    h.lieUntil([40, 60, 380 + 100 * weak], "counting");
    h.lieUntil([40, 60, 380 + 100 * weak], "waiting");
  }
}

/** Every coil has been read, and A1 is asked for with the phone turned by half. */
const TURNED = { outcome: "undecided", coils: ["A1", "A2", "A3"].map((id) => ({ id, state: "undecided", used: 1 })), next: { at: "A1", top_deg: 180, why: "…" } };
const OFF_TURNED = [12, -14, -45];

export function a_rest_of_a_turned_phone_belongs_to_its_hold() {
  const h = new Hand();
  h.start();
  h.did(h.flow.setVerdict(TURNED));
  h.did(h.flow.restAgain(h.t));
  const from = h.t;
  h.did(h.flow.supplyOff(h.t));
  h.lieUntil(OFF_TURNED, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([-40, -60, 380], "waiting");
  const hold = h.lines("hold")[1];
  equal([hold.at, hold.top_deg], ["A1", 180]);
  const [off, on] = h.lines("drive").slice(2).map((l) => l.t);
  const lift = h.lines("lift")[1].t;
  ok(off < hold.t && hold.t < on && on < lift, "the supply is switched in the hold");
  const b = h.lines("b").filter((l) => l.t > from);
  equal(b.filter((l) => l.t < hold.t || l.t > lift).length, 0, "no reading outside it");
  ok(b.filter((l) => l.t < on).length >= 18, "two seconds of it with the supply off");
}

export function the_first_rest_may_be_of_a_turned_phone() {
  const h = new Hand();
  h.flow.setVerdict(TURNED);
  h.flow.start_deg = h.flow.top_deg; // as the capture's first line says
  h.did(h.flow.supplyOff(h.t));
  h.lieUntil(OFF_TURNED, "on");
  const hold = h.lines("hold")[0];
  ok(h.lines("b").filter((l) => l.t < hold.t).length >= 18, "outside the hold it counts as lying so");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([-40, -60, 380], "waiting");
  h.flow.pick("A2"); // the usual way
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  equal(h.lines("hold")[1].top_deg, 0, "which is not the first line's");
}

export function a_background_is_held_only_against_readings_of_a_phone_that_lies_alike() {
  const h = new Hand();
  h.start();
  h.flow.setVerdict({ ...TURNED, coils: TURNED.coils.map((c) => ({ ...c, state: "dead" })) });
  h.flow.onward(); // others read the rest
  h.carry(OFF);
  h.lieUntil(OFF, "counting"); // turned: that this is no field at all is not known
  while (h.flow.stage === "counting") h.lie(OFF, 0.1);
  h.flow.pick("A2");
  h.carry(OFF_TURNED);
  h.lieUntil(OFF, "quiet");
}

export function a_turned_hold_that_was_broken_off_is_asked_for_turned_again() {
  const h = new Hand();
  h.start();
  h.flow.setVerdict(TURNED);
  h.flow.onward(); // others read the rest
  h.carry(OFF);
  h.lieUntil([-40, -60, 380], "counting");
  h.carry(OFF);
  equal([h.flow.target, h.flow.asked.top_deg], ["A1", 180]);
  h.lieUntil([-40, -60, 380], "counting");
  equal(h.lines("hold").map((l) => l.top_deg ?? 0), [0, 180, 180]);
}

export function a_coil_to_be_read_beside_its_middle_does_not_look_like_the_coil_before() {
  const h = new Hand();
  h.readAll();
  const coils = ["A1", "A2", "A3"].map((id) => ({ id, state: id === "A3" ? "undecided" : "as-planned", used: 1 }));
  h.did(h.flow.setVerdict({ outcome: "undecided", coils, causes: [], notes: [], next: { at: "A3", shift_mm: [-17, -47], why: "A3 may be as planned or weak. Lay the phone with its mark 17 mm to the left of and 47 mm on your side of the middle of A3: its sensor is over the middle then." } }));
  const { title, lead, why } = h.screen();
  equal([title, why], ["Lift. Next: A3, moved", "A3 may be as planned or weak. The phone's sensor is over the middle then."]);
  ok(lead.startsWith("Lay the middle of the phone 17 mm to the left and 47 mm toward you from the middle of A3, flat"), lead);
}

export function remarks_that_a_reason_points_to_stand_with_it() {
  const why = "Nothing that was read over A1 counts; the notes say why. Read it once more.";
  equal(whyWords(why, ["A11 is far off.", "Over A1 the sensor has stopped.", "Steel is near."], "A1"), "Nothing that was read over A1 counts. Read it once more. Over A1 the sensor has stopped.");
  equal(whyWords(why, [], "A1"), why);
}

export function a_coil_picked_is_read_by_phone_though_ohms_would_tell_more() {
  const h = new Hand();
  h.start();
  h.flow.setVerdict({ ...TURNED, next: { at: "A1", route: "ohms", why: "…" } });
  equal(h.flow.stage, "result");
  h.flow.pick("A1");
  equal([h.flow.stage, h.flow.target, h.flow.asked], ["lift", "A1", {}]);
}

export function news_does_not_move_a_phone_that_lies_where_it_was_asked_to() {
  const h = new Hand();
  h.flow.setVerdict(TURNED);
  h.flow.start_deg = h.flow.top_deg;
  h.did(h.flow.supplyOff(h.t));
  h.lie(OFF_TURNED, 1);
  h.did(h.flow.setVerdict({ ...TURNED, next: { at: "A3", why: "…" } })); // from another phone's reading
  h.lieUntil(OFF_TURNED, "on");
  equal([h.lines("hold")[0].at, h.flow.asked.top_deg], ["A1", 180]);
  h.did(h.flow.supplyOn(h.t));
  while (h.flow.stage === "counting") h.lie([-40, -60, 380], 0.1);
  h.did(h.flow.setVerdict({ ...TURNED, coils: TURNED.coils.map((c) => ({ ...c, used: 2 })), next: { at: "A3", why: "…" } }));
  equal(h.flow.target, "A3", "the next time it is heard");
}

export function a_verdict_that_does_not_come_is_not_waited_for_for_ever() {
  const h = new Hand({ coils: ["A1"] });
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([40, 60, 380], "waiting");
  h.lieUntil([40, 60, 380], "result", 17);
}

export function a_verdict_on_the_readings_before_does_not_ask_for_the_last_one_again() {
  const h = new Hand();
  h.readAll();
  equal(h.flow.stage, "waiting");
  const verdict = (used, next) => ({ outcome: "undecided", coils: ["A1", "A2", "A3"].map((id) => ({ id, state: "undecided", used: id === "A3" ? used : 1 })), next });
  // A slow bench: this one was made before A3 was read.
  h.did(h.flow.setVerdict(verdict(0, { at: "A3", why: "A3 has not been read yet." })));
  h.lie([35, 28, 361], 6);
  equal([h.flow.stage, h.flow.target], ["waiting", null]);
  h.did(h.flow.setVerdict(verdict(1, { at: "A2", why: "…" })));
  equal([h.flow.stage, h.flow.target], ["lift", "A2"]);
}

export function coils_read_by_another_phone_are_not_asked_for() {
  const h = new Hand();
  h.flow.setVerdict({ outcome: "undecided", coils: [{ id: "A2", state: "as-planned", used: 1 }], next: null });
  equal(h.flow.unread, ["A1", "A3"]);
}

/** What the bench knows when the given coils were read once, by anybody. */
function readOnce(...ids) {
  return { outcome: "undecided", coils: ["A1", "A2", "A3", "A4"].map((id) => ({ id, state: "undecided", used: ids.includes(id) ? 1 : 0, p: {} })), causes: [], notes: [], next: null };
}

const FOUR = { toss: () => true, coils: ["A1", "A2", "A3", "A4"], expected_uT: { A1: 400, A2: 400, A3: 400, A4: 400 } };

export function what_another_phone_reads_does_not_move_a_phone_to_a_coil_it_was_not_sent_to() {
  // Told A2, and in the hand; the other phone is done with A2 first.
  const h = new Hand(FOUR);
  h.start();
  h.carry(OFF);
  equal([h.flow.stage, h.flow.target], ["place", "A2"]);
  h.did(h.flow.setVerdict(readOnce("A1", "A2")));
  equal([h.flow.stage, h.screen().title], ["taken", "A2 is read already"]);
  equal(h.out.filter((e) => e.do === "taken"), [{ do: "taken", at: "A2", read: true }]);
  ok(h.screen().lead.includes("A4"), h.screen().lead);
  h.lie([30, 20, 350], 6); // it lies on A2 all the same
  equal([h.flow.stage, h.lines("hold").map((l) => l.at)], ["taken", ["A1"]], "nothing is counted for another coil");
  h.did(h.flow.onward());
  equal([h.flow.stage, h.screen().title], ["lift", "Lift. Next: A4"], "from the other end, so that they do not meet on every coil");
  h.lie([30, 20, 350], 6);
  equal(h.lines("hold").length, 1, "not before it was lifted");
  h.carry(OFF);
  h.lieUntil([33, 24, 340], "counting");
  h.lieUntil([33, 24, 340], "lift");
  equal([h.lines("hold").map((l) => l.at), h.flow.target], [["A1", "A4"], "A3"]);
}

export function a_phone_laid_on_the_coil_that_was_read_already_is_lifted_before_it_counts_elsewhere() {
  const h = new Hand(FOUR);
  h.start();
  h.carry(OFF);
  h.did(h.flow.setVerdict(readOnce("A1", "A2")));
  h.lie([30, 20, 350], 0.3); // just laid down, and tapped at once
  h.did(h.flow.onward());
  h.lie([30, 20, 350], 6);
  equal([h.flow.stage, h.lines("hold").length], ["lift", 1]);
  h.carry(OFF);
  h.lieUntil([33, 24, 340], "counting");
  equal(h.lines("hold").map((l) => l.at), ["A1", "A4"]);
}

export function a_hold_begun_before_another_phone_was_done_with_the_coil_counts_for_that_coil() {
  const h = new Hand(FOUR);
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  h.did(h.flow.setVerdict(readOnce("A1", "A2")));
  equal([h.flow.stage, h.flow.target], ["counting", "A2"]);
  h.lieUntil([30, 20, 350], "lift");
  equal([h.lines("hold").map((l) => l.at), h.flow.target], [["A1", "A2"], "A3"]);
  const both = readOnce("A1", "A2");
  both.coils[1].used = 2;
  h.did(h.flow.setVerdict(both));
  equal(h.flow.target, "A3", "named already");
  h.carry(OFF);
  h.lieUntil([33, 24, 340], "counting");
  h.lieUntil([33, 24, 340], "lift");
  equal([h.flow.target, h.flow.fromEnd], ["A4", true]);
}

export function an_open_hold_that_the_bench_counts_already_is_not_another_phones() {
  const h = new Hand(FOUR);
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  h.did(h.flow.setVerdict(readOnce("A1", "A2")));
  h.lieUntil([30, 20, 350], "lift");
  h.did(h.flow.setVerdict(readOnce("A1", "A2")));
  h.carry(OFF);
  h.lieUntil([33, 24, 340], "counting");
  h.lieUntil([33, 24, 340], "lift");
  equal(h.flow.fromEnd, false);
}

export function a_coil_that_the_person_picked_is_read_though_another_phone_has_read_it() {
  const h = new Hand(FOUR);
  h.start();
  h.flow.pick("A3");
  h.did(h.flow.setVerdict(readOnce("A1", "A3")));
  equal([h.flow.stage, h.flow.target], ["lift", "A3"]);
}

export function news_of_another_phone_does_not_rename_the_coil_on_which_the_supply_is_told_to_be_off() {
  const h = new Hand(FOUR);
  h.did(h.flow.joins());
  h.did(h.flow.setVerdict(readOnce("A1")));
  equal(h.screen().title, "Supply off, phone on A1");
}

export function noise_is_not_called_a_movement() {
  const h = new Hand();
  const noisy = (u, seconds) => {
    for (let n = 0; n < seconds * 10; n++) {
      const [x, y, z] = [0, 0, 0].map(() => 4.5 * normal(h.rnd));
      h.lie([u[0] + x, u[1] + y, u[2] + z], 0.1);
    }
  };
  h.start();
  h.carry(OFF);
  noisy([30, 20, 350], 7);
  const told = h.out.filter((e) => e.do === "restless");
  equal([told.length, told[0]?.at], [1, "A2"], "said once");
  near(told[0].jitter_uT, 4.5, 1.5);
  equal(h.lines("hold").length, 1);
  h.did(h.flow.onIt(h.t));
  // A jump in the noise is not the phone's.
  noisy([30, 20, 350], 1);
  h.did(h.flow.lifted(h.t));
  equal(h.out.filter((e) => e.do === "broken").map((e) => e.why), ["noise"]);
}

export function a_phone_that_is_shaken_where_it_lies_is_told_so_the_second_time() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  for (let n = 0; n < 2; n++) {
    h.lieUntil([30, 20, 350], "counting");
    h.did(h.flow.motion(h.t, "moving"));
    h.did(h.flow.motion(h.t + 1.1, "moving"));
    h.did(h.flow.motion(h.t + 1.2, "still"));
    h.t += 1.2;
  }
  equal(h.out.filter((e) => e.do === "broken").map((e) => e.why), ["moved", "shaken"]);
}

export function nothing_is_told_of_a_coil_while_it_is_asked_whether_the_supply_is_on() {
  const h = new Hand();
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil(OFF, "unchanged");
  const sent = h.lines().length;
  h.lie(OFF, 2);
  equal([h.lines("lift").length, h.lines().length], [0, sent], "the hold is not over for the bench, nor goes on");
  h.did(h.flow.unchangedCounts(h.t));
  equal(h.lines("lift").map((l) => l.t), [h.t], "lines stay in the order of their times");
}

export function with_the_supply_switched_in_every_hold_each_has_its_own_rest() {
  const h = new Hand({ everyHold: true });
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([40, 60, 380], "off");
  equal(h.flow.target, "A2");
  h.did(h.flow.supplyOff(h.t));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lieUntil([30, 20, 350], "off");
  equal(h.lines("drive").map((l) => l.state), ["off", "on", "off", "on"]);
}

export function pulses_are_told_from_the_plan_and_counted_for_three_periods() {
  const h = new Hand({ supply: { drive: "pulsed", hz: 0.5, duty: 0.25 } });
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t, 0.8));
  equal(h.lines("drive")[1], { type: "drive", t: h.t, state: "pulse", hz: 0.5, duty: 0.25, amps: 0.8 });
  const began = h.t;
  for (let n = 0; n < 200 && h.flow.stage === "counting"; n++) h.lie((h.t * 0.5) % 1 < 0.25 ? [40, 60, 380] : OFF, 0.1);
  equal(h.flow.stage, "lift");
  ok(h.t - began >= 6, `three periods of two seconds, counted for ${h.t - began} s`);
}

export function goes_on_after_a_reload() {
  const h = new Hand();
  h.start();
  const kept = JSON.parse(JSON.stringify(h.flow.save()));
  const after = new Hand();
  after.flow.restore(kept);
  after.t = h.t + 10;
  equal(after.flow.target, "A2");
  equal(after.flow.stage, "lift");
  after.lie(OFF, 1);
  after.carry(OFF);
  after.lieUntil([30, 20, 350], "counting");
  equal(after.lines("start"), []);
}

export function a_coil_to_be_read_again_is_so_after_a_reload() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  h.flow.gap(h.t); // the page goes away
  const after = new Hand();
  after.flow.restore(JSON.parse(JSON.stringify(h.flow.save())), h.t + 10);
  // A verdict that was on its way knows the hold still.
  after.flow.setVerdict({ coils: [{ id: "A1", used: 1 }, { id: "A2", used: 1 }] });
  equal(after.flow.target, "A2");
}

export function a_hold_that_a_dead_page_left_open_is_taken_back() {
  const h = new Hand();
  h.start();
  h.carry(OFF);
  h.lieUntil([30, 20, 350], "counting");
  const kept = JSON.parse(JSON.stringify(h.flow.save()));
  const after = new Hand();
  const effects = after.flow.restore(kept, h.t + 10);
  equal(effects.map((e) => e.do), ["line", "undo", "broken"]);
  equal([effects[0].line.type, effects[1].at, effects[1].t], ["lift", "A2", kept.hold.t]);
  equal(after.flow.target, "A2");
  after.t = h.t + 10;
  after.carry(OFF); // at once: the page has not seen the phone lie still
  after.lieUntil([30, 20, 350], "counting");
}

export function a_coil_that_another_phone_read_is_not_asked_for_again_after_a_reload() {
  for (const gone of [(h) => h.flow.gap(h.t), () => {}]) { // the page told its end, or died
    const h = new Hand();
    h.start();
    h.carry(OFF);
    h.lieUntil([30, 20, 350], "counting");
    gone(h);
    const after = new Hand();
    after.flow.verdict = { coils: [{ id: "A1", used: 1 }, { id: "A2", used: 1 }] };
    const effects = after.flow.restore(JSON.parse(JSON.stringify(h.flow.save())), h.t + 10);
    equal([after.flow.target, effects.some((e) => e.do === "broken")], ["A3", false]);
  }
}

export function switched_at_every_coil_a_hold_that_did_not_count_begins_again_with_the_supply_off() {
  const h = new Hand({ everyHold: true });
  h.did(h.flow.supplyOff(0));
  h.lieUntil(OFF, "on");
  h.did(h.flow.supplyOn(h.t));
  h.lie([40, 60, 380], 1);
  h.did(h.flow.gap(h.t));
  equal([h.flow.stage, h.screen().title], ["off", "Supply off, phone on A1"]);
  ok(h.screen().lead.startsWith("Switch the supply off."), h.screen().lead);
}
