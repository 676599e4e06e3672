// Finding the sensor: over which coil and how, and its state machine.
import { SensorFlow } from "/app/sensor-flow.js";
import { coilToUse, placings } from "/app/sensor-places.js";
import { placeWords } from "/app/screens/sensor.js";
import { equal, near, normal, ok, random } from "/pure/assert.js";

const COIL = { turned_deg: 0 };
const ROUND = { inner_mm: [90, 90] };
const OFF = [3, 19, -45];
const ON = [30, 60, 380];

export function the_phone_is_turned_by_half_and_slid_to_the_edge() {
  const p = placings(COIL, ROUND);
  equal(p.map((x) => [x.top_deg, x.shift_mm, x.edge]), [[0, [0, 0], ""], [180, [0, 0], ""], [0, [0, -45], "near"], [180, [0, 45], "far"]]);
  // An oblong lying across keeps to its own axes: 120 by 60, turned by a quarter.
  const q = placings({ turned_deg: 90 }, { inner_mm: [120, 60] });
  near(q[2].shift_mm[1], -60, 0.1);
  near(q[2].shift_mm[0], 0, 0.1);
}

export function a_coil_known_to_be_alive_is_used() {
  const plan = {
    windings: [{ id: "w", inner_mm: [90, 90] }, { id: "s", inner_mm: [40, 40] }],
    coils: [["A1", "s", 0], ["A2", "w", 150], ["A3", "w", 300], ["A4", "w", 450]].map(([id, winding, x_mm]) => ({ id, winding, x_mm, y_mm: 0, turned_deg: 0 })),
  };
  equal(coilToUse(plan), "A4", "a wide one at the end");
  equal(coilToUse(plan, { coils: [{ id: "A3", state: "as-planned" }] }), "A3");
  equal(coilToUse(plan, { coils: [{ id: "A4", state: "dead" }] }) !== "A4", true, "not a dead one");
}

class Hand {
  constructor(o = {}) {
    this.flow = new SensorFlow({ at: "A1", placings: placings(COIL, ROUND), supply: { drive: "steady" }, ...o });
    this.t = 0;
    this.rnd = random(5);
  }

  lie(u, stage, seconds = 8) {
    for (let n = 0; n < seconds * 10 && this.flow.stage !== stage; n++) {
      this.t = Math.round(this.t * 1000 + 100) / 1000;
      this.flow.sample(this.t, u.map((v) => v + 0.3 * normal(this.rnd)));
    }
    equal(this.flow.stage, stage);
  }

  place(a, b) {
    this.flow.laid(this.t);
    this.lie(a, "switch");
    this.flow.switched((this.t += 2));
    this.lie(b, this.flow.number === 1 ? "lay" : "asking");
    this.t += 3;
  }
}

export function each_placing_holds_both_with_one_switch() {
  const h = new Hand();
  h.place(OFF, ON);
  equal(h.flow.driven, true, "the supply stays on");
  h.place(ON, OFF);
  const lines = h.flow.capture();
  equal(lines.filter((l) => l.type === "start").length, 1);
  equal(lines.filter((l) => l.type === "drive").map((l) => l.state), ["off", "on", "on", "off"]);
  equal(lines.filter((l) => l.type === "hold").map((l) => [l.at, l.top_deg]), [["A1", 0], ["A1", 180]]);
  equal(lines.filter((l) => l.type === "lift").length, 2);
  ok(lines.slice(1).every((l, i, all) => i === 0 || l.t >= all[i - 1].t), "in the order of their times");
  // No reading from between the tap and the settling of the supply.
  const on = lines.find((l) => l.state === "on").t;
  ok(lines.filter((l) => l.type === "b").every((l) => l.t < on || l.t >= on + 0.3), "none near the switch");
}

export function not_found_goes_on_and_found_stops() {
  const h = new Hand();
  h.place(OFF, ON);
  h.place(ON, OFF);
  h.flow.answered({ found: false, offset_mm: [0, 30], offset_sd_mm: [9, 9], why: "…", holds: 2 });
  equal(h.flow.stage, "lay");
  equal(h.flow.placing.edge, "near");
  h.place(OFF, ON);
  h.flow.answered({ found: true, offset_mm: [0, 30], offset_sd_mm: [5, 5], holds: 3 });
  equal(h.flow.stage, "answer");
  h.flow.more();
  equal([h.flow.stage, h.flow.number, h.flow.driven], ["lay", 4, false], "it was told to be switched off");
  h.flow.undo();
  equal([h.flow.number, h.flow.driven, h.flow.afresh], [3, false, true]);
}

export function a_switch_that_changes_nothing_does_not_count() {
  const h = new Hand();
  h.flow.laid(0);
  h.lie(OFF, "switch");
  h.flow.switched(h.t);
  h.lie(OFF, "lay");
  equal([h.flow.told, h.flow.number, h.flow.driven], ["unchanged", 1, false]);
  equal(h.flow.capture().length, 1, "nothing of it is kept");
}

export function a_shaken_phone_is_waited_for_and_a_gap_ends_the_placing() {
  const h = new Hand();
  h.flow.laid(0);
  for (let n = 0; n < 40; n++) {
    h.flow.motion("moving");
    h.flow.sample((h.t += 0.1), OFF);
  }
  equal(h.flow.stage, "first");
  h.flow.motion("still");
  h.lie(OFF, "switch");
  equal(h.flow.gap(), true);
  equal([h.flow.stage, h.flow.told], ["lay", "gap"]);
}

export function a_place_is_told_as_one_looks_at_the_screen() {
  equal(placeWords([-14.2, 41.3]), "41 mm above and 14 mm left of the phone's middle");
  equal(placeWords([0.3, -0.4]), "in the phone's middle");
  equal(placeWords([9, 0]), "9 mm right of the phone's middle");
}
