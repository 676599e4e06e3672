// The screens of the vector route, read off its flow.
import { el } from "../../common/dom.js";
import { list } from "../../common/names.js";
import { padToPick } from "../drawing.js";
import { supplyWords } from "../supply.js";
import { ampsField, isOn } from "./amps.js";
import { cautions } from "./cautions.js";
import { resultScreen } from "./result.js";
import { rowChoice, rowOffer, rowScreen } from "./row.js";

const NAMED = 4; // coils, more are counted
const NOTES = "; the notes say why"; // in a reason, of remarks that name its coil

/**
 * @param {import("../flow.js").VectorFlow} flow
 * @param {any} told what the bench has told, see told.js
 * @param {{note: string, doubted?: boolean, marked: boolean, mark_mm?: number[], lost?: boolean, unsteady: boolean, do: Record<string, (...a: any[]) => void>}} page
 * @returns {import("../page.js").Screen}
 */
export function vectorScreen(flow, told, page) {
  const at = flow.hold?.at || flow.target || "";
  const asked = flow.asked;
  const top_deg = asked.top_deg || 0;
  const mark = page.marked ? "the sticker" : "the middle of the phone";
  const top = top_deg === 0 ? "top edge away from you" : topWords(top_deg);
  const shift = shiftWords(asked.shift_mm);
  const lay = `Lay ${mark} ${shift ? `${shift} from` : "on"} the middle of ${at}, flat, ${top}.`;
  const named = placeWords(at, asked);
  const common = { note: page.note, why: whyWords(asked.why, told.verdict?.notes || [], at), ...pad(flow, told, page, at, asked) };
  const result = { label: "Verdict", id: "result", onclick: page.do.result };
  const restAgain = { label: "Background again", id: "rest-again", onclick: page.do.restAgain };
  const last = flow.done[flow.done.length - 1];
  const undo = last ? [{ label: `Undo ${last.along ? "the row" : last.at}`, id: "undo", onclick: page.do.undo }] : [];
  const offer = rowOffer(flow, page);
  switch (flow.stage) {
    case "off":
      return {
        ...common,
        title: `Supply off, phone on ${at}`,
        lead: `${flow.driven ? `Switch the supply off. ${lay}` : `${lay} The supply is off.`}${flow.strokes.on ? " After this coil it is drawn along each row." : ""}`,
        bodied: `off ${flow.strokes.on}`,
        body: flow.strokes.on ? [] : [everyHold(flow, page)],
        actions: [{ label: `It is off, the phone lies on ${at}`, id: "is-off", main: true, onclick: page.do.supplyOff }, ...rowChoice(flow, page), ...undo, ...(flow.done.length > 0 ? [result] : [])],
      };
    case "resting":
      return {
        ...common,
        title: "Reading the background",
        lead: "Hands off. It reads what is there without the pad.",
        progress: flow.progress,
        actions: [...(page.unsteady && !flow.hold ? [{ label: "Take it as it is", id: "as-it-is", onclick: page.do.asItIs }] : []), { label: "Begin again", id: "rest-again", onclick: page.do.restAgain }],
      };
    case "lit":
      return {
        ...common,
        pick: undefined,
        title: "Is the supply off?",
        lead: `The phone reads ${Math.round(flow.restField)} uT, and the earth's field is 25 to 65 uT. Look at the switch: was the supply on? A magnet in the phone's case does this too.`,
        actions: [
          { label: "Read it again", small: `supply off, phone on ${at}`, id: "is-off", main: true, onclick: page.do.supplyOff },
          { label: "It is off", small: "the phone reads so much by itself", id: "own", onclick: page.do.restIsOwn },
        ],
      };
    case "on":
      return {
        ...common,
        drawing: undefined,
        pick: undefined,
        whole: true,
        title: "Switch the supply on",
        lead: `Leave the phone where it is. Set ${supplyWords(told.plan.supply)}.`,
        bodied: "on",
        body: [cautions(), ampsField(told)],
        actions: [
          { label: isOn(page.doubted), id: "is-on", main: true, onclick: page.do.supplyOn },
          { label: "Background again", id: "rest-again", onclick: page.do.restAgain },
        ],
      };
    case "counting":
      return { ...common, glance: true, title: `Counting ${named}`, lead: "Keep it still.", progress: flow.progress, actions: [{ label: "I have moved it", id: "moved", onclick: page.do.moved }] };
    case "lift":
      return {
        ...common,
        glance: true,
        title: `Lift. Next: ${named}`,
        lead: `${lay}${flow.done.length < 3 ? " The supply stays on." : ""}`,
        // Not before it was lifted: what it reads now is the coil before.
        actions: [{ label: `It lies on ${named}`, id: "lies", main: true, off: "Lift it first, or tap “It is lifted”.", onclick: page.do.lies }, { label: "It is lifted", id: "lifted", onclick: page.do.moved }, ...(offer ? [offer] : undo), result],
      };
    case "place":
      return {
        ...common,
        glance: true,
        title: `Next: ${named}`,
        lead: `${lay}${byItself(flow)}`,
        actions: [{ label: `It lies on ${named}`, id: "lies", main: true, onclick: page.do.lies }, ...undo, offer || restAgain, result],
      };
    case "row":
    case "drawing":
      return rowScreen(flow, told, page, { mark, top: flow.start_deg === 0 ? "top edge away from you" : topWords(flow.start_deg), undo, result });
    case "quiet":
      if (flow.doubtsSupply) return supplyDoubted(flow, page, at, { ...common, why: "" });
      return {
        ...common,
        title: `Is it on ${at}?`,
        lead: `The phone lies still, but there is far less field than planned. A dead coil reads like this, and so does the bare bench.`,
        actions: [{ label: `Yes, it lies on ${at}`, id: "lies", main: true, onclick: page.do.lies }, restAgain, result],
      };
    case "same":
      if (flow.doubtsSupply) return supplyDoubted(flow, page, at, { ...common, why: "" });
      return {
        ...common,
        title: "Has it moved?",
        lead: `It reads just as it did on ${flow.before?.at}. Lay the phone on ${at}, or tap if it lies there.`,
        actions: [{ label: `Yes, it lies on ${at}`, id: "lies", main: true, onclick: page.do.lies }, ...undo, result],
      };
    case "taken": {
      const { at: was = "", read = false } = flow.taken || {};
      return {
        ...common,
        glance: true,
        title: read ? `${was} is read already` : was === at ? `${was}, but otherwise` : `Not ${was} any more`,
        lead: read ? `Another phone read ${was} meanwhile. Leave it: this phone goes on with ${at}.` : `What was read meanwhile changed what is asked for. ${lay}`,
        actions: [{ label: `On to ${at}`, id: "onward", main: true, onclick: page.do.onward }, ...undo, result],
      };
    }
    case "unchanged":
      if (flow.doubtsSupply) return supplyDoubted(flow, page, at, { ...common, why: "" });
      return {
        ...common,
        whole: true, // what the verdict knows so far does not hold this reading
        title: "Nothing changed",
        lead: `The field over ${at} is the same with the supply on as with it off. Does the phone lie on ${at}? Is the supply really on, was it really off, is the pad plugged in?`,
        actions: [
          { label: "Do it again from supply off", id: "rest-again", main: true, onclick: page.do.restAgain },
          { label: `All is right: ${at} gives nothing`, id: "unchanged", onclick: page.do.unchanged },
        ],
      };
    case "waiting":
      return { ...common, ...waitingWords(flow, last?.at, page.lost), actions: [...undo, result] };
    default:
      return resultScreen(told, {
        note: page.note,
        actions: [restAgain, ...undo],
        onpick: page.do.pick,
        again: page.do.again,
        goOn: page.do.goOn,
        ohms: page.do.ohms,
      });
  }
}

/** One coil after the other had hardly any field, or all read just alike. @param {import("../flow.js").VectorFlow} flow */
function supplyDoubted(flow, page, at, common) {
  const before = [...new Set(flow.doubtedHolds.map((d) => d.at))];
  const named = before.length > NAMED ? `the last ${before.length} coils` : list(before);
  const alike = flow.stage === "same" || !flow.oftenQuiet;
  return {
    ...common,
    whole: true, // what is claimed of those coils is what is asked about
    title: "Is the supply on?",
    lead: alike
      ? `On ${at} it still reads just as over ${named}. Look at the supply and at the pad's plug, and whether the phone was moved.`
      : `There was hardly any field over ${named}, and there is none on ${at} either. Look at the supply and at the pad's plug. If both are right, the ohms of the pad tell why.`,
    actions: [
      { label: "It was off", small: `read ${before.length > NAMED ? "them" : named} again`, id: "was-off", main: true, onclick: page.do.wasOff },
      { label: "It is on", small: `and the phone lies on ${at}`, id: "lies", main: true, onclick: flow.stage === "unchanged" ? page.do.unchanged : page.do.lies },
      { label: "Ohms", id: "ohms", onclick: page.do.ohms },
      ...(flow.stage !== "unchanged" ? [{ label: "Verdict", id: "result", onclick: page.do.result }] : []),
    ],
  };
}

/**
 * What is said until the verdict on the last reading is in. After a mend only it knows
 * what is still to be read.
 * @param {{unreadSince: boolean}} flow @param {string | undefined} at @param {boolean} [lost] no connection
 */
export function waitingWords(flow, at, lost) {
  const lead = flow.unreadSince ? "Finding out what comes next." : "Working out what the readings say.";
  return { title: flow.unreadSince ? `${at} is read` : "All read", lead: lost ? "No connection. All is kept here: the bench answers when it is back." : lead };
}

/** How counting begins, until it has been seen. @param {import("../flow.js").VectorFlow} flow */
function byItself(flow) {
  if (flow.hz > 0) return " Tap if it does not begin to count by itself.";
  return flow.done.length < 3 ? " It begins to count by itself." : "";
}

/** The pad with the phone on the coil that is next. */
function pad(flow, told, page, at, asked) {
  const lies = (id, how) => {
    const c = told.plan.coils.find((k) => k.id === id);
    const shift = how.shift_mm || [0, 0];
    return c ? { x_mm: c.x_mm + shift[0], y_mm: c.y_mm + shift[1], top_deg: how.top_deg || 0, shift_mm: how.shift_mm, mark_mm: page.mark_mm } : null;
  };
  const phone = lies(at, asked);
  const from = flow.stage === "lift" && flow.lay ? lies(flow.lay.at, flow.lay.asked) : null;
  const busy = flow.stage === "counting" || flow.stage === "resting";
  const options = { next: at, states: told.states(), phone, from, label: `The pad. The phone goes on ${at}` };
  return padToPick(told, options, busy ? undefined : page.do.pick);
}

/** @param {number} top_deg counter-clockwise from away */
function topWords(top_deg) {
  const d = ((top_deg % 360) + 360) % 360;
  if (d === 180) return "turned by half: top edge toward you";
  if (d === 90) return "turned: top edge to the left";
  if (d === 270) return "turned: top edge to the right";
  return `turned by ${Math.round(d)} degrees to the left, as drawn`;
}

/**
 * Why a coil is asked for. Where the phone goes is said above it; remarks that are
 * pointed to stand with it, since there is no other place for them while coils are read.
 * @param {string | undefined} why @param {string[]} notes @param {string} at
 */
export function whyWords(why = "", notes, at) {
  const said = why.replace(/Lay the phone with its mark [^:]*: its sensor/, "The phone's sensor");
  if (!said.includes(NOTES)) return said;
  const named = new RegExp(`(^|[^A-Za-z0-9_-])${at}($|[^A-Za-z0-9_-])`);
  const of = notes.filter((n) => named.test(n));
  return of.length > 0 ? `${said.replace(NOTES, "")} ${of.join(" ")}` : said;
}

/** A coil by name, and whether the phone lies on it otherwise than usual: else it would look like the coil before. @param {string} at @param {import("../flow.js").Asked} asked */
export function placeWords(at, { shift_mm, top_deg = 0 }) {
  return shiftWords(shift_mm) ? `${at}, moved` : top_deg === 0 ? at : `${at}, turned`;
}

/** Where the mark goes, seen from a coil's middle. @param {number[] | undefined} mm */
export function shiftWords(mm) {
  if (!mm || (mm[0] === 0 && mm[1] === 0)) return "";
  const part = (v, plus, minus) => (Math.abs(v) < 0.5 ? [] : [`${Math.round(Math.abs(v))} mm ${v > 0 ? plus : minus}`]);
  return [...part(mm[0], "to the right", "to the left"), ...part(mm[1], "away from you", "toward you")].join(" and ");
}

function everyHold(flow, page) {
  const box = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox", id: "every-hold", checked: flow.everyHold }));
  box.addEventListener("change", () => page.do.everyHold(box.checked));
  return el("p", { class: "choice" }, box, el("label", { for: "every-hold" }, "Switch the supply off and on at every coil: slower, surest."));
}
