// The bench page: joins the server's live state with what the page shows.
import { byId } from "../common/dom.js";
import { Bench } from "./bench.js";
import { askConvention, conventionAnswered } from "./convention.js";
import { askMended, askNewCheck, askRehearsal, tellTrouble } from "./dialogs.js";
import { Feeds } from "./feeds/feeds.js";
import { figuresAgain, figuresOfBench } from "./figures/figures.js";
import { Editor } from "./editor/editor.js";
import { ask, listen } from "./live.js";
import { phonesKnown } from "./phone-panel.js";
import { Records } from "./records/records.js";
import { SignOff } from "./records/sign-off.js";
import { Rehearsal } from "./rehearsal.js";
import { readCoils } from "./verdict-panel.js";
import { currentView, followViews } from "./views.js";

/** @type {Rehearsal | null} */
let rehearsal = null;
let away = false; // the program did not answer a moment ago

const bench = new Bench({
  onrehearse: () => void chooseRehearsal(),
  onagain: () => askMended({ state: bench.state, begin: (asked) => newCheck({ after_mend: asked }).then(toVerdict) }),
  onsign: () => signOff.goTo(),
  ontrouble: tellTrouble,
});

const feeds = new Feeds(byId("feeds"));
const editor = new Editor({ use: (toml) => newCheck({ plan_toml: toml }), say: (text) => bench.say(text), busy: () => Boolean(bench.state && readCoils(bench.state).length > 0) });
const records = new Records({ place: byId("pads"), ontrouble: tellTrouble });
const signOff = new SignOff({ place: byId("sign-off"), onagain: () => void newCheck({}).then(toVerdict, tellTrouble) });

/** @param {any} state */
function showState(state) {
  if (rehearsal && rehearsal.o.id !== state.check.rehearsal) {
    rehearsal.end();
    rehearsal = null;
  }
  bench.show(state);
  void editor.follow(state);
  signOff.show(bench.state);
  // Loud only where it is what one may well want; it ends the check.
  byId("rehearse").classList.toggle("main", !busy() && !bench.state.mended && !state.check.rehearsal);
  if (!rehearsal && state.check.rehearsal) attach(state.check.rehearsal, bench.state.phone_url);
  rehearsal?.follow(bench.state);
  feeds.follow(bench.state);
  showPlan();
}

/** Whether something was read of a real pad in the check on the bench. */
function busy() {
  return Boolean(bench.state && !bench.state.check.rehearsal && readCoils(bench.state).length > 0);
}

/** What the plan comes to, worked out only where it is looked at. */
function showPlan() {
  if (bench.state && currentView() === "plan") figuresOfBench(byId("figures"), bench.state);
}

/** Takes a rehearsal up, also after this page was loaded again. */
function attach(id, phoneURL) {
  const key = new URL(phoneURL).pathname; // "/KEY/"
  rehearsal = new Rehearsal({
    id,
    page: `phone${key}?rehearsal=${encodeURIComponent(id)}`,
    drawing: bench.drawing,
    say: (text) => bench.say(text),
    ontrouble: tellTrouble,
    onend: () => void newCheck({}).catch(tellTrouble),
    onanother: () => void chooseRehearsal(),
    onrow: (row) => bench.drawsAlong(row),
    onreveal: () => {
      bench.fooled = new Set(rehearsal.truth.plain_sign_check);
      bench.draw();
    },
    state: () => bench.state,
  });
  byId("drawing").scrollIntoView({ block: "nearest" });
}

async function chooseRehearsal() {
  const demos = await ask("api/demos").catch(() => []);
  const p = bench.state?.plan;
  const ids = (list) => list.map((k) => k.id);
  askRehearsal({
    demos,
    bench: p ? { name: p.name, coils: ids(p.coils), strings: ids(p.strings), groups: ids(p.groups) } : null,
    busy: busy(),
    begin: async (choice) => {
      await ask("api/rehearsals", choice);
      showState(await ask("api/state"));
    },
  });
}

/** It says what is to be read now; what was pressed to begin may be gone. */
function toVerdict() {
  byId("verdict").scrollIntoView({ block: "nearest" });
  byId("verdict").focus({ preventScroll: true });
}

/** @param {any} choice a plan, or {} for the one on the bench */
async function newCheck(choice) {
  showState(await ask("api/check", choice));
}

async function chooseCheck() {
  const demos = await ask("api/demos").catch(() => []);
  askNewCheck({ demos, name: bench.state?.plan.name || "", serial: bench.state?.sign_off?.label?.serial || "", toml: bench.state?.plan.toml || "", busy: busy() && !bench.state.sign_off?.signed, begin: newCheck });
}

const LINKS = { live: "", polled: "connected the slow way: once a second", lost: "The program does not answer. Is it still running? Start it again in its terminal; this page goes on by itself." };

byId("new-check").addEventListener("click", () => void chooseCheck());
byId("rehearse").addEventListener("click", () => void chooseRehearsal());
byId("print").addEventListener("click", () => print());
followViews(showPlan);
followViews((view) => records.shown(view));

const canned = new URLSearchParams(location.search).get("canned");
if (canned) {
  const { cannedState } = await import("./states.js");
  const c = cannedState(await ask("api/state"), canned);
  bench.show(c.state);
  signOff.show(bench.state);
  for (const m of c.messages || []) bench.received(m);
  linked(c.link || "live");
} else {
  void feeds.load().catch(() => {}); // what it would say is said by the link
  void askConvention();
  listen({ onmessage: received, onlink: linked });
}

/** @param {any} m */
function received(m) {
  if (m.type === "state") showState(m.state);
  else if (m.type === "feeds") feeds.take(m);
  else if (m.type === "convention") conventionAnswered(m.out_face);
  else if (m.type === "plan-file") void editor.diskChanged();
  else bench.received(m);
}

/** @param {"live" | "polled" | "lost"} how */
function linked(how) {
  byId("link").textContent = LINKS[how];
  byId("link").classList.toggle("lost", how === "lost");
  document.body.dataset.link = how;
  phonesKnown(how === "lost");
  if (how !== "lost") void editor.diskChanged(); // what was missed meanwhile
  if (how !== "lost" && away) {
    figuresAgain(byId("figures"));
    records.again();
  }
  away = how === "lost";
}
