// The hold detector on made-up readings with the noise, steps and freezes that
// phones were seen to have: white noise 0.14 to 0.85 uT a sample, steps of 0.01 to
// 0.7 uT, 3 percent of reads frozen for up to 2.5 s.
import { distinct, HoldDetector, noiseOf } from "/app/hold-detector.js";
import { equal, near, normal, ok, random } from "/pure/assert.js";

const HZ = 10;

/** A sensor: noise, then steps, then freezes. */
function sensor({ rnd, noise = 0.3, step = 0.01, frozen = 0 }) {
  let last = null;
  let until = -1;
  return (t, u) => {
    if (last && t < until) return { t, u: last };
    if (last && rnd() < frozen) {
      until = t + 0.2 + 2.3 * rnd();
      return { t, u: last };
    }
    last = u.map((v) => Math.round((v + noise * normal(rnd)) / step) * step);
    return { t, u: last };
  };
}

/** The field over a row of coils 150 mm apart, roughly: a hump over each. x in mm. */
function over(x, z = 0) {
  let b = 0;
  for (let c = 0; c < 3; c++) b += 420 * Math.exp(-(((x - 150 * c) / 38) ** 2));
  const fall = Math.exp(-z / 30);
  return [3 + 0.3 * b * fall * Math.sin(x / 20), 19 + 0.1 * b * fall, -45 + b * fall];
}

export function settles_on_a_lying_phone_whatever_its_noise_and_steps() {
  for (const [noise, step] of [[0.1, 0.01], [0.14, 0.7], [0.45, 0.15], [0.85, 0.3], [0.9, 0.7]])
    for (let seed = 1; seed <= 60; seed++) {
      const rnd = random(seed);
      const read = sensor({ rnd, noise, step });
      const d = new HoldDetector({ noise_uT: noise });
      d.reset({ loose: true });
      let settled = null;
      for (let i = 0; i < 30 && !settled; i++) settled = d.feed(read(i / HZ, over(0)));
      ok(settled?.event === "settled", `noise ${noise}, step ${step}, seed ${seed}: not settled in 3 s`);
    }
}

export function stays_settled_for_half_a_minute() {
  for (const [noise, step] of [[0.1, 0.01], [0.9, 0.7]])
    for (let seed = 1; seed <= 40; seed++) {
      const rnd = random(100 + seed);
      const read = sensor({ rnd, noise, step, frozen: 0.03 });
      const d = new HoldDetector({ noise_uT: noise });
      d.reset({ loose: true });
      let settled = 0;
      for (let i = 0; i < 300; i++) {
        const told = d.feed(read(i / HZ, over(0)));
        if (told?.event === "settled") settled++;
        ok(told?.event !== "moved", `noise ${noise}, seed ${seed}: told to have moved while it lay`);
      }
      equal(settled, 1, "settled once");
    }
}

export function does_not_settle_while_carried_over_the_pad() {
  let settled = 0;
  for (let seed = 1; seed <= 200; seed++) {
    const rnd = random(1000 + seed);
    const read = sensor({ rnd, noise: 0.85, step: 0.3 });
    const d = new HoldDetector({ noise_uT: 0.85 });
    d.reset({ loose: true });
    const speed = 80 + 200 * rnd(); // mm/s
    for (let i = 0; i * (speed / HZ) < 300; i++) if (d.feed(read(i / HZ, over((i * speed) / HZ, 10)))?.event === "settled") settled++;
  }
  ok(settled <= 2, `settled ${settled} times in 200 carries`);
}

export function notices_a_lift_within_a_second_and_asks_for_one_between_holds() {
  for (let seed = 1; seed <= 60; seed++) {
    const rnd = random(seed);
    const read = sensor({ rnd, noise: 0.85, step: 0.3 });
    const d = new HoldDetector({ noise_uT: 0.85 });
    d.reset({ loose: true });
    let i = 0;
    const feed = (u) => d.feed(read(i++ / HZ, u));
    while (feed(over(0))?.event !== "settled") ok(i < 40, "never settled");
    for (let k = 0; k < 20; k++) feed(over(0));
    d.mustMove();
    for (let k = 0; k < 50; k++) equal(feed(over(0)), null, "still there: nothing to tell");
    let moved = -1;
    for (let k = 0; k < 10 && moved < 0; k++) if (feed(over(k * 15, k * 8))?.event === "moved") moved = k;
    ok(moved >= 0, `seed ${seed}: the lift was not noticed`);
    let settled = false;
    for (let k = 0; k < 30 && !settled; k++) settled = feed(over(150))?.event === "settled";
    ok(settled, "settles on the next coil");
  }
}

export function frozen_readings_are_one_reading() {
  const d = new HoldDetector();
  d.reset({ loose: true });
  const u = [1, 2, 3];
  const w = [];
  for (let i = 0; i < 20; i++) w.push({ t: i / HZ, u });
  equal(distinct(w), 1);
  // They do not fool the noise estimate either.
  near(noiseOf(w), 0.9, 1e-9, "noise of nothing but repeats is not known");
}

export function estimates_noise() {
  for (const noise of [0.14, 0.3, 0.85]) {
    const rnd = random(7);
    const read = sensor({ rnd, noise, frozen: 0.03 });
    const w = [];
    for (let i = 0; i < 200; i++) w.push(read(i / HZ, i < 100 ? [0, 0, 0] : [20, 5, 9])); // with a re-zero in the middle
    near(noiseOf(w) / noise, 1, 0.35, `noise ${noise}`);
  }
}

/** Readings of a pulsed drive; a real sensor averages over a part of its period. */
function pulsed(t, hz, duty, phase, off, on, window = 0.02) {
  let s = 0;
  for (let k = 0; k < 4; k++) {
    const p = (((t - (k * window) / 4) * hz + phase) % 1 + 1) % 1;
    s += p < duty ? 0.25 : 0;
  }
  return off.map((v, a) => v + s * (on[a] - v));
}

export function settles_and_stays_settled_while_the_drive_pulses() {
  let trials = 0;
  let late = 0;
  for (const hz of [0.5, 1, 2.3, 5, 7, 9.7, 12])
    for (const duty of [0.1, 0.25, 0.5, 0.75, 0.9])
      for (let seed = 1; seed <= 6; seed++) {
        trials++;
        const rnd = random(seed * 31 + hz * 7);
        const read = sensor({ rnd, noise: 0.4, step: 0.15 });
        const phase = rnd();
        const d = new HoldDetector({ hz, duty, noise_uT: 0.4 });
        d.reset({ loose: true });
        let settled = -1;
        for (let i = 0; i < 250; i++) {
          const t = i / HZ;
          const told = d.feed(read(t, pulsed(t, hz, duty, phase, over(1000), over(0))));
          if (told?.event === "settled" && settled < 0) settled = t;
          ok(told?.event !== "moved", `${hz} Hz, duty ${duty}, seed ${seed}: told to have moved at ${t} s while it lay`);
        }
        if (settled < 0 || settled > 8) late++;
      }
  // Whoever waits longer taps; it may not be the rule.
  ok(late <= trials * 0.1, `${late} of ${trials} not settled within 8 s`);
}

export function notices_a_lift_while_the_drive_pulses() {
  for (const hz of [0.5, 1, 5, 9.7]) {
    const rnd = random(5);
    const read = sensor({ rnd, noise: 0.4 });
    const d = new HoldDetector({ hz, noise_uT: 0.4 });
    d.reset({ loose: true });
    let i = 0;
    const feed = (x, z) => d.feed(read(i / HZ, pulsed(i++ / HZ, hz, 0.5, 0.1, over(1000), over(x, z))));
    while (feed(0, 0)?.event !== "settled") ok(i < 100, `${hz} Hz: never settled`);
    d.mustMove();
    let moved = false;
    for (let k = 0; k < 40 && !moved; k++) moved = feed(k * 12, 15)?.event === "moved";
    ok(moved, `${hz} Hz: the lift was not noticed within 4 s of carrying`);
  }
}

export function a_tap_on_the_screen_is_no_lift_but_carrying_is() {
  const d = new HoldDetector();
  d.reset({ loose: true });
  for (let i = 0; i < 12; i++) d.feed({ t: i / HZ, u: [1, 2, 3 + 0.1 * (i % 2)] });
  equal(d.state, "held");
  for (let t = 1.2; t < 1.9; t += 0.02) equal(d.motion(t, "moving"), null, "a tap shakes it for a moment");
  d.motion(1.9, "still");
  let moved = null;
  for (let t = 2; t < 3.2 && !moved; t += 0.02) moved = d.motion(t, "moving");
  equal(moved?.event, "moved", "shaken for a second");
}

export function what_was_read_before_it_was_last_shaken_does_not_settle() {
  const settles = (shaken) => {
    const d = new HoldDetector();
    d.reset({ loose: true });
    for (let i = 0; i < 40; i++) {
      const t = i / HZ;
      d.motion(t, shaken(t) ? "moving" : "still");
      if (d.feed({ t, u: [1, 2, 3 + 0.1 * (i % 2)] })) return t;
    }
    return Infinity;
  };
  const still = settles(() => false);
  ok(still < 0.8, `a phone that lies settles after ${still} s`);
  // In the hand, and so still for a moment that its readings would do.
  let last = 0;
  const shaken = settles((t) => {
    const moving = t < 2 && t % 0.6 > 0.15;
    if (moving) last = t;
    return moving;
  });
  near(shaken, last - 0.4 + still, 0.15, "it settles as long after it was last shaken, which is told for 0.4 s");
}
