// Canned states of the check, for looking at the page without a pad: each is made
// from the real state of the program, with a verdict put in. Opened as
// ?canned=NAME; states.html lists them.

/** @type {Record<string, (state: any) => any>} */
const MAKERS = {
  fresh: (s) => ({ state: s }),
  halfway: (s) => {
    judge(s, (i, n) => (i < n / 2 ? sure("as-planned") : unread()));
    s.verdict.outcome = "undecided";
    s.phones = [phone(s, 4)];
    const at = s.plan.coils[Math.ceil(s.plan.coils.length / 2)].id;
    s.prompt = { do: "hold", at, say: `Lay the phone on ${at}.` };
    return { state: s, messages: [{ type: "sample", source: "main", at, count: 14, uT: [11.2, -3.4, 402.1], t: 30 }] };
  },
  reversed: (s) => {
    judge(s, (i, n) => (i === (n >> 1) ? sure("reversed") : sure("as-planned")));
    const id = s.plan.coils[s.plan.coils.length >> 1].id;
    fault(s, [{ kind: "coil-reversed", id }], [{ do: "flip", id }], `Coil ${id} faces the wrong way. Turn ${id} over, or swap its two leads.`);
    return { state: s };
  },
  string: (s) => {
    const row = s.plan.strings.at(-1);
    judge(s, (i) => (row.coils.includes(s.plan.coils[i].id) ? sure("reversed") : sure("as-planned")));
    fault(s, [{ kind: "string-reversed", id: row.id }], [{ do: "swap-string", id: row.id }], `The whole string ${row.id} runs the wrong way. Swap the two ends of string ${row.id}.`);
    return { state: s };
  },
  pad: (s) => {
    judge(s, () => sure("reversed"));
    fault(s, [{ kind: "pad-reversed" }], [{ do: "swap-pad" }], "The whole pad runs the wrong way. Swap its two leads at the plug.");
    return { state: s };
  },
  dead: (s) => {
    judge(s, (i) => sure(i === 1 ? "dead" : i === 3 ? "weak" : "as-planned"));
    const [, a, , b] = s.plan.coils;
    fault(
      s,
      [
        { kind: "coil-shorted", id: a.id },
        { kind: "turns-shorted", id: b.id },
      ],
      [
        { do: "remake-joint", id: a.id },
        { do: "replace", id: b.id },
      ],
      `Coil ${a.id} is shorted and turns of ${b.id} are shorted. Make the joint of ${a.id} anew and replace ${b.id}.`,
    );
    return { state: s };
  },
  joins: (s) => {
    const [one, two] = s.plan.strings;
    judge(s, () => sure("as-planned"));
    const id = two.coils.at(-1);
    fault(s, [{ kind: "strings-in-series", ids: [one.id, two.id] }], [{ do: "rejoin", id: two.id }], `Strings ${one.id} and ${two.id} are joined one after the other.`);
    s.verdict.causes.push({ p: 0.01, faults: [{ kind: "coil-in-wrong-string", id, string: one.id }], mend: [{ do: "rejoin", id }], say: `Coil ${id} is joined into string ${one.id}.` });
    return { state: s };
  },
  wrongstring: (s) => {
    const [one, two] = s.plan.strings;
    judge(s, () => sure("as-planned"));
    const id = two.coils.at(-1);
    fault(s, [{ kind: "coil-in-wrong-string", id, string: one.id }], [{ do: "rejoin", id }], `Coil ${id} is joined into string ${one.id} instead of ${two.id}.`);
    return { state: s };
  },
  doubt: (s) => {
    judge(s, (i) => (i % 3 === 0 ? sure("as-planned") : doubt(0.3 + 0.07 * i)));
    s.verdict.outcome = "undecided";
    const at = s.plan.coils[1].id;
    s.verdict.next = { at, top_deg: 180, why: `The phone may have lain off the centre. Read ${at} once more with the phone turned by half: its sensor then lies elsewhere.` };
    s.verdict.notes = ["There was no rest with the supply off: the background had to be guessed, and that costs certainty."];
    s.prompt = { do: "hold", at, say: `Lay the phone on ${at} again.` };
    return { state: s };
  },
  planned: (s) => {
    judge(s, () => sure("as-planned"));
    s.verdict.outcome = "as-planned";
    s.prompt = { do: "done", say: "Every coil faces as planned." };
    return { state: s };
  },
  mended: (s) => {
    judge(s, () => sure("as-planned"));
    s.verdict.outcome = "undecided";
    const [first, second] = s.plan.coils.map((c) => c.id);
    s.mended = { mend: [{ do: "flip", id: second }], since: [second] };
    s.verdict.next = { at: first, why: `${first} was read before the mend only. Draw the phone along every row once, or lay it on every coil, so that nothing else turned goes unseen.` };
    s.prompt = { do: "hold", at: first, say: `Lay the phone on ${first} again.` };
    s.sign_off.except = { coils: [], ohms: [], ohms_unread: false, wiring: "Not read since the mend." };
    return { state: s };
  },
  ohms: (s) => {
    judge(s, () => sure("as-planned"));
    s.verdict.outcome = "as-planned";
    Object.assign(s.sign_off.ohms[0], { ohms: 0.4, agrees: false });
    s.sign_off.except = { coils: [], ohms: ["pad"], ohms_unread: false, wiring: "" };
    s.prompt = { do: "done", say: "Every coil faces as planned." };
    return { state: s };
  },
  signed: (s) => {
    judge(s, () => sure("as-planned"));
    s.verdict.outcome = "as-planned";
    s.prompt = { do: "done", say: "This pad is signed off." };
    const sha256 = "5d730fc67fe8bbb2dc476701a8bbd4b558ad65c6e0ad3f94f1928a8dcf29a8fc";
    s.sign_off.signed = { signed: "2024-05-01T12:00:00Z", serial: "17", maker: "AB", note: "", exception: null, sha256 };
    return { state: s };
  },
  pass: (s) => {
    judge(s, (i) => (i < 3 ? sure("as-planned") : unread()));
    s.holds = [];
    s.passes = [pass(s)];
    s.verdict.outcome = "undecided";
    return { state: s };
  },
  "not-stored": (s) => {
    return { state: { ...s, storing: "What is read now cannot be stored, and does not count. The disk is full: make room on it. Phones keep it and send it again by themselves." } };
  },
  lost: (s) => {
    judge(s, () => sure("as-planned"));
    s.verdict.outcome = "as-planned";
    return { state: s, link: "lost" };
  },
  many: (s) => {
    grid(s, 20, 10);
    judge(s, (i) => (i === 77 ? sure("reversed") : i % 9 === 4 ? doubt(0.8) : i < 150 ? sure("as-planned") : unread()));
    s.verdict.outcome = "undecided";
    const at = s.plan.coils[150].id;
    s.verdict.next = { at, why: `${at} has not been read yet.` };
    s.prompt = { do: "hold", at, say: `Lay the phone on ${at}.`, why: s.verdict.next.why };
    return { state: s };
  },
};

export const NAMES = Object.keys(MAKERS);

/** @param {any} state the real one @param {string} name */
export function cannedState(state, name) {
  const maker = MAKERS[name];
  if (!maker) throw new Error(`no canned state ${name}; there are ${NAMES.join(", ")}`);
  return maker(structuredClone(state));
}

const sure = (state) => ({ state, p: { "as-planned": 0.002, reversed: 0.002, dead: 0.001, weak: 0.001, [state]: 0.996 }, used: 1 });
const doubt = (p) => ({ state: "undecided", p: { "as-planned": p, reversed: (1 - p) * 0.7, weak: (1 - p) * 0.2, dead: (1 - p) * 0.1 }, used: 1 });
const unread = () => ({ state: "undecided", p: { "as-planned": 0.9, reversed: 0.07, dead: 0.02, weak: 0.01 }, used: 0 });

const SHARE = { "as-planned": 0.97, reversed: -0.98, dead: 0.05, weak: 0.7, undecided: 0.4 };

function judge(s, claim) {
  const n = s.plan.coils.length;
  const coils = s.plan.coils.map((c, i) => {
    const k = claim(i, n);
    const expected = s.predicted.coils[i].bz_uT;
    return { id: c.id, ...k, expected_uT: expected, measured_uT: k.used ? expected * SHARE[k.state] : null };
  });
  s.verdict = { outcome: "fault", coils, causes: [], notes: [] };
  const open = coils.filter((c) => c.state !== "as-planned").map((c) => c.id);
  const pad = { across: "pad", ohms: 0.98, celsius: 20, planned: 0.97, low: 0.9, high: 1.05, agrees: true, counts: true };
  s.sign_off = { ...s.sign_off, signed: null, refused: "", ohms: [pad], except: open.length > 0 ? { coils: open, ohms: [], ohms_unread: false, wiring: "" } : null };
  s.prompt = null;
  s.mended = null;
  s.passes = [];
  const odd = coils.find((c) => c.state === "reversed")?.id;
  const one = s.plan.coils[0].id;
  const said = [odd ? `Coil ${odd} faces the wrong way.` : "Everything is as planned.", odd ? "Everything is as planned." : `Coil ${one} faces the wrong way.`];
  s.why = { best: said[0], rival: said[1], worse_by: 4.2e7, carried: [{ reading: `hold on ${odd || one} at 28 s`, times: 5e7 }, { reading: `hold on ${coils[1].id} at 13 s`, times: 1.4 }, { reading: `hold on ${coils[2].id} at 18 s`, times: 0.6 }] };
  s.holds = coils.filter((c) => c.used).map((c, i) => hold(c, i));
}

function fault(s, faults, mend, say) {
  s.verdict.causes = [
    { p: 0.995, faults, mend, say },
    { p: 0.004, faults: [{ kind: "coil-reversed", id: s.plan.coils[0].id }], mend: [{ do: "flip", id: s.plan.coils[0].id }], say: `Coil ${s.plan.coils[0].id} faces the wrong way.` },
  ];
  if (!s.sign_off.except) s.sign_off.except = { coils: [], ohms: [], ohms_unread: false, wiring: say };
  s.prompt = { do: "mend", say };
}

function hold(c, i) {
  const t = 8 + 5 * i;
  const wave = (k) => 0.5 * Math.sin(12.9 * k) + 0.3 * Math.sin(78.2 * k);
  const mean = [6, -14 + i, c.measured_uT - 42];
  const rest = [4, -18, -42];
  const wrong = c.state === "reversed";
  const expected = (way) => ({ uT: [5, -16, -42 + way * c.expected_uT], sd_uT: [11, 12, 14] });
  return {
    source: "main",
    at: c.id,
    t,
    to: t + 2.5,
    count: 25,
    bearings: 0,
    open: false,
    thrown_out: false,
    mean_uT: mean,
    samples: Array.from({ length: 25 }, (_, k) => [t + k / 10, mean[0] + wave(k), mean[1] + wave(k + 40), mean[2] + wave(k + 90)]),
    account: { t, at: c.id, rest_uT: rest, read_uT: mean, own: false, best: expected(wrong ? -1 : 1), rival: i === 0 || wrong ? expected(wrong ? 1 : -1) : expected(1), times: i === 0 || wrong ? 5e7 : 1.02, stray: false },
  };
}

function pass(s) {
  const row = s.plan.strings[0].coils.map((id) => s.plan.coils.find((c) => c.id === id));
  const at = row.map((c) => Math.hypot(c.x_mm - row[0].x_mm, c.y_mm - row[0].y_mm));
  const curve = (turned) => Array.from({ length: 90 }, (_, k) => {
    const mm = -60 + (k * (at.at(-1) + 120)) / 89;
    return [mm, at.reduce((sum, x, i) => sum + (i === turned ? -1 : 1) * (620 * Math.exp(-(((mm - x) / 34) ** 4)) - 140 * Math.exp(-(((mm - x) / 80) ** 2))), 0)];
  });
  const best = curve(-1);
  return { source: "main", along: row.map((c) => c.id), t: 70, to: 76, count: 62, open: false, thrown_out: false, account: { times: 4e4, stray: false, traced: "made up" }, trace: { coils: row.map((c) => c.id), at_mm: at, best, rival: curve(1), read: best.slice(6, -6).map(([x, u], k) => [x, u * 1.03 + 9 * Math.sin(7.7 * k)]) } };
}

function phone(s, i) {
  return { source: "main", device: "a made-up phone", route: "vector", connected: true, at: s.plan.coils[i]?.id || "", count: 14, last_uT: [11.2, -3.4, 402.1] };
}

function grid(s, across, down) {
  const w = s.plan.windings[0];
  const pitch = Math.max(...w.inner_mm) + 2 * w.build_mm + 8;
  s.plan.name = `${across * down} coils`;
  s.plan.outline_mm = [across * pitch + 20, down * pitch + 20];
  s.plan.coils = [];
  s.plan.strings = [];
  for (let r = 0; r < down; r++) {
    const string = { id: `S${r}`, coils: [] };
    for (let k = 0; k < across; k++) {
      const id = `S${r}-${k}`;
      string.coils.push(id);
      s.plan.coils.push({ id, x_mm: 10 + (k + 0.5) * pitch, y_mm: 10 + (r + 0.5) * pitch, turned_deg: 0, north: "up", sense: "ccw", winding: w.id, string: string.id });
    }
    s.plan.strings.push(string);
  }
  const one = s.predicted.coils[0];
  s.predicted.coils = s.plan.coils.map((c) => ({ ...one, id: c.id }));
}
