// The phone page: finds out what this phone can give, runs a route, and tells what
// the bench makes of it.
import { byId } from "../common/dom.js";
import { phoneNumber } from "../common/names.js";
import { allowSound, buzz, tryOut } from "./buzz.js";
import { newsOf } from "./claims.js";
import { Clock } from "./clock.js";
import { padDrawing } from "./drawing.js";
import { HandRun } from "./hand-run.js";
import { HeadingRun } from "./heading-run.js";
import { Ohms } from "./ohms.js";
import { Outbox, ownName, tabStorage } from "./outbox.js";
import * as page from "./page.js";
import { probe } from "./probe.js";
import { sensorPlace, tones } from "./remembered.js";
import { helpFor } from "./screens/help.js";
import { outcomeTitle } from "./screens/result.js";
import { againAsked, againScreen, findingOut, noBench, rehearsalElsewhere, signedScreen, startScreen } from "./screens/start.js";
import { dropSession, keptSession, saveSession } from "./session.js";
import { SensorRun } from "./sensor-run.js";
import { ask } from "./sources/deviceorientation.js";
import { Stream } from "./stream.js";
import { deviceName, whereAmI } from "./system.js";
import { Told } from "./told.js";
import { Trouble, wordsFor } from "./troubles.js";
import { VectorRun } from "./vector-run.js";
import { canSpeak, setVoice, speak, voiceOn } from "./voice.js";
import { stayAwake } from "./wakelock.js";

const base = new URL("./", location.href);
base.search = "";
const rehearsal = new URLSearchParams(location.search).get("rehearsal");
const where = whereAmI(navigator);
const storage = tabStorage();
const told = new Told(base, rehearsal);
const stream = new Stream({
  base,
  outbox: new Outbox(storage, `polewise ${rehearsal || "phone"}`),
  onmessage: received,
  onlink: (link, waiting) => {
    page.link(link, waiting);
    run?.linked();
  },
});

/** What this phone was found to give. @type {import("./probe.js").Found | null} */
let found = null;
/** The route under way, and what it works with. @type {import("./run.js").Run | null} */
let run = null;
/** @type {SensorRun | null} */
let finder = null;
/** @type {import("./run.js").Tools | null} */
let tools = null;
/** @type {import("./session.js").Session["route"] | null} */
let route = null;
/** @type {Clock} */
let clock = new Clock();
/** Coils of the verdict that was told last. @type {any[]} */
let toldCoils = [];
/** A coil counted whose claim has not been told. @type {string | null} */
let untold = null;
/** Coils of the row counted last whose claims have not been told. @type {string[]} */
let untoldRow = [];
/** A check was asked for after a mend: its first screen is the route's. */
let onAgain = false;
/** The check was ended on the bench page in the middle of reading. */
let interrupted = false;

/** What asks for the first verdict to be there. */
let verdictHeard = () => {};
const FIRST_VERDICT_MS = 2000; // after a mend it names the coil to begin with

/** @param {number} ms at most */
function verdictWithin(ms) {
  return new Promise((done) => {
    verdictHeard = () => done(undefined);
    setTimeout(done, ms);
  });
}

async function open() {
  page.cover(false);
  page.clearClaim();
  page.show(findingOut());
  try {
    await told.load();
  } catch {
    page.show(noBench(() => void open()));
    return;
  }
  stream.setCheck(told.check);
  stream.pump();
  toldCoils = told.verdict?.coils || [];
  if (told.elsewhere) {
    onAgain = false;
    page.show(rehearsalElsewhere());
    help();
    return;
  }
  performance.mark("finding out");
  found ||= rehearsal ? { best: "vector", raw: null, compass: null } : await probe();
  performance.mark("found out");
  if (onAgain && route && !told.signed) {
    onAgain = false;
    if (told.mended && !told.verdict) await verdictWithin(FIRST_VERDICT_MS);
    await begin(route);
    return;
  }
  start(interrupted ? otherCheck() : "");
  interrupted = false;
}

/** What ended the reading that was under way. */
function otherCheck() {
  if (told.mended) return "The bench has heard that the pad is mended: its check goes on from here.";
  return "Another check is on the bench now. What was read before stays stored. If that was a mistake, go back to it on the bench page before you read on.";
}

/** @param {string} note */
function start(note) {
  if (!found) return;
  const drawing = () => padDrawing(told.plan, { states: told.states(), label: `The pad ${told.plan.name}` });
  if (told.signed) {
    page.show(signedScreen(drawing, `signed ${told.check}`));
    help();
    return;
  }
  const kept = keptSession(storage, told.check, stream.outbox.source);
  page.show(
    startScreen(told, found, {
      note,
      where,
      drawing,
      begin: (r) => void begin(r),
      resume: kept ? () => void begin(kept.route, kept) : null,
      findSensor: sensorPlace.get() ? null : canFind(),
    }),
  );
  help();
}

/**
 * Begins a route, from a tap.
 * @param {import("./session.js").Session["route"]} chosen
 * @param {import("./session.js").Session} [kept] to go on with
 */
async function begin(chosen, kept) {
  void allowSound();
  page.closeHelp();
  stayAwake((awake) => (byId("awake").hidden = awake));
  const asked = chosen === "heading" ? ask() : Promise.resolve(); // at once: only a tap may ask
  end();
  clock = new Clock(kept?.began_ms);
  const next = newRun(chosen);
  try {
    await asked;
    if (kept) next.restore(kept.kept);
    await next.begin(!!kept);
  } catch (e) {
    next.end();
    failed(e instanceof Trouble ? e : new Trouble("silent"), chosen);
    return;
  }
  run = next;
  route = chosen;
  page.clearClaim();
  run.show();
  help();
  keep();
}

/** @param {import("./session.js").Session["route"]} chosen @returns {import("./run.js").Run} */
function newRun(chosen) {
  tools = {
    told,
    stream,
    clock,
    device: rehearsal ? "rehearsal" : deviceName(where),
    place: rehearsal ? null : sensorPlace.get(),
    counted,
    broken: () => buzz("broken"),
    keep,
    say: speak,
    help,
    again: confirmAgain,
    ohms,
    ohmsNoted: [],
    failed: (trouble) => failed(trouble, chosen),
  };
  switch (chosen) {
    case "vector":
      return new VectorRun(tools);
    case "heading":
      return new HeadingRun(tools);
    default:
      return new HandRun(tools);
  }
}

/** How to find this phone's sensor, where it gives raw readings. */
function canFind() {
  return !rehearsal && found?.raw === null ? () => void find() : null;
}

/** Finds the sensor, in place of any route. */
async function find() {
  void allowSound();
  page.closeHelp();
  stayAwake((awake) => (byId("awake").hidden = awake));
  end();
  finder = new SensorRun({
    told,
    device: deviceName(where),
    close: (note) => {
      end();
      start(note);
    },
    failed: (trouble) => failed(trouble, "vector"),
  });
  try {
    await finder.begin();
  } catch (e) {
    failed(e instanceof Trouble ? e : new Trouble("silent"), "vector");
    return;
  }
  page.clearClaim();
  finder?.show();
}

function end() {
  run?.end();
  finder?.end();
  finder = null;
  run = null;
  untold = null;
  untoldRow = [];
  page.cover(false);
  page.reading("");
}

/** A source did not start, or stopped. @param {Trouble} trouble @param {string} chosen */
function failed(trouble, chosen) {
  end();
  if (found) {
    if (chosen === "vector") found.raw = trouble;
    if (chosen === "heading") found.compass = trouble;
    const compassWorks = found.compass === null || found.compass === "ask";
    found.best = found.raw === null ? "vector" : compassWorks ? "heading" : "hand";
  }
  const { say, steps } = wordsFor(trouble.code, where);
  start(steps.length === 0 ? say : `${say} ${trouble.code === "motion-denied" ? steps[0] : "What to do about it stands below."}`);
}

/** A reading of a coil, or of a row of them, is complete. @param {string} at @param {string[]} [along] */
function counted(at, along = []) {
  untold = along.length > 0 ? null : at;
  untoldRow = along;
  buzz("counted");
  page.counted(along.length > 0 ? `${at} to ${along.at(-1)}` : at);
  keep();
}

function keep() {
  if (!run || !route) return;
  stream.flush(); // what is kept must not run ahead of what is sent
  saveSession(storage, { check: told.check, source: stream.outbox.source, route, began_ms: clock.began_ms, kept: run.save() });
}

// Troubles of the bench that are over once it takes a message again.
const PASSING = ["not-stored", "trouble", "too-fast"];
let passing = false;

/** @param {any} m */
function received(m) {
  const check = m.check || m.hello?.check;
  if (check && told.check && check !== told.check) {
    newCheck();
    return;
  }
  // A greeting tells the verdict as it stands: news only if one was missed.
  const known = m.hello && JSON.stringify(m.verdict) === JSON.stringify(told.verdict);
  if (m.verdict && !known) verdict(m.verdict);
  if (m.signed || m.error?.code === "signed-off") {
    signedOff();
  } else if (m.error?.code === "seq-taken") {
    // The stream goes by a new name now; the capture under it begins anew.
    end();
    dropSession(storage);
    start("Another page of this phone was sending under the same name. Begin once more here, and close the other page.");
  } else if (m.error) {
    page.trouble(`${m.error.say} ${m.error.hint || ""}`);
    passing = PASSING.includes(m.error.code);
    if (onAgain && !stream.ending) {
      onAgain = false; // the check after a mend was refused
      uncover();
    }
  } else if (passing && typeof m.ack === "number") {
    passing = false;
    page.trouble("");
  }
}

/** The pad was signed off: nothing more is read. */
function signedOff() {
  told.signed = true;
  if (finder) return; // no part of the check; it closes to that screen
  end();
  dropSession(storage);
  page.clearClaim();
  start("");
}

/** The bench has begun another check. */
function newCheck() {
  interrupted = !!run && !onAgain;
  end();
  stream.setCheck(""); // nothing read before goes to it
  passing = false;
  page.trouble(""); // of the check before
  dropSession(storage);
  told.verdict = null;
  void open();
}

/** @param {any} v */
function verdict(v) {
  told.verdict = v;
  verdictHeard();
  const rowRead = untoldRow.every((id) => v.coils.some((c) => c.id === id && c.used > 0));
  const news = newsOf(toldCoils, v.coils, untold, rowRead ? untoldRow : []);
  toldCoils = v.coils;
  if (news.read) untold = null;
  if (rowRead) untoldRow = [];
  if (run && (news.read || news.changed.length > 0)) {
    page.claim(news);
    if (news.cue) buzz(news.cue);
  }
  run?.verdict(v);
  if (run && news.say) speak(`${news.say} ${whatNext(v)}`);
}

/** @param {any} v */
function whatNext(v) {
  const next = run?.next();
  return next ? `Next: ${next}.` : `${outcomeTitle(v)}.`;
}

function confirmAgain() {
  const mend = told.verdict?.causes?.[0]?.mend;
  page.trouble("");
  page.cover(true);
  page.show(
    againScreen(
      told,
      () => {
        onAgain = true;
        stream.again(mend);
        page.show(againAsked(), true);
      },
      () => uncover(),
    ),
    true,
  );
}

function ohms() {
  if (!run || !tools) return;
  page.closeHelp();
  page.cover(true);
  new Ohms(tools, uncover).show();
}

function uncover() {
  page.cover(false);
  run?.show();
}

function help() {
  byId("help").replaceChildren(
    ...helpFor({
      found,
      where,
      base,
      rehearsal: !!rehearsal || told.elsewhere || told.signed,
      number: phoneNumber(stream.outbox.source),
      ownCertificate: told.ownCertificate,
      take: (r) => void begin(r),
      tryAgain: () => {
        found = null;
        end();
        void open();
      },
      ohms: run ? ohms : null,
      byRow: run?.byRow ?? null,
      findSensor: canFind(),
      callOutFace: (word) => told.callOutFace(word),
      changed: () => {
        help();
        run?.show();
      },
    }),
  );
}

/** The two switches at the lower edge: what is told by voice, and by tones. */
function showSwitches() {
  for (const [id, name, on] of /** @type {const} */ ([["voice", "Voice", voiceOn()], ["tones", "Tones", tones.get()]])) {
    byId(id).setAttribute("aria-pressed", String(on));
    byId(id).textContent = `${name} ${on ? "on" : "off"}`;
  }
  byId("voice").hidden = !canSpeak;
}
byId("voice").addEventListener("click", () => {
  setVoice(!voiceOn());
  showSwitches();
  speak("Voice on.");
});
byId("tones").addEventListener("click", () => {
  tones.set(!tones.get());
  showSwitches();
  if (tones.get()) void tryOut("counted");
});
showSwitches();

/** In front again: what was hidden from the sensors before may work now. */
function inFront() {
  if (run || found?.raw?.code !== "hidden" || document.hidden || !document.hasFocus()) return;
  found = null;
  void open();
}
addEventListener("focus", inFront);
document.addEventListener("visibilitychange", () => {
  inFront();
  if (!document.hidden) return;
  finder?.hidden();
  run?.hidden();
  keep();
});
addEventListener("pagehide", () => {
  run?.hidden();
  keep();
  stream.flush();
});
void open();
void ownName(stream.outbox).then(() => stream.start());
