// The screens of the heading route, read off its flow.
import { padToPick } from "../drawing.js";
import { STILL_DEG } from "../heading-places.js";
import { supplyWords } from "../supply.js";
import { ampsField, isOn } from "./amps.js";
import { cautions } from "./cautions.js";
import { resultScreen } from "./result.js";
import { waitingWords } from "./vector.js";

const LEAST_VOLTS = 0.5;

const SIDES = { right: "the right side", left: "the left side", far: "the side away from you", near: "the side toward you" };

/**
 * @param {import("../heading-flow.js").HeadingFlow} flow
 * @param {any} told
 * @param {{note: string, doubted?: boolean, marked: boolean, mark_mm?: number[], lost?: boolean, do: Record<string, (...a: any[]) => void>}} page
 * @returns {import("../page.js").Screen}
 */
export function headingScreen(flow, told, page) {
  const last = flow.done[flow.done.length - 1];
  const undo = last ? [{ label: `Undo ${last.at}`, id: "undo", onclick: page.do.undo }] : [];
  const result = { label: "Verdict", id: "result", onclick: page.do.result };
  const place = flow.hold ? null : flow.place;
  const at = flow.hold?.at || place?.at;
  const mark = page.marked ? "the sticker" : "the middle of the phone";
  switch (flow.stage) {
    case "place": {
      const coil = told.plan.coils.find((c) => c.id === at);
      const options = { next: at, states: told.states(), phone: { x_mm: coil.x_mm + place.shift_mm[0], y_mm: coil.y_mm + place.shift_mm[1], top_deg: 0, shifted: true, mark_mm: page.mark_mm }, label: `The pad. The phone goes on the copper of ${at}, ${SIDES[place.words]}` };
      return {
        title: `Supply off, phone beside ${at}`,
        lead: `Lay ${mark} over the copper of ${at} on ${SIDES[place.words]}, flat, top edge away from you. Then leave it.`,
        note: page.note,
        ...padToPick(told, options, page.do.pick),
        actions: [{ label: "It lies there, supply off", id: "is-off", main: true, onclick: page.do.placed }, ...undo, ...(last ? [result] : [])],
      };
    }
    case "off":
      return { title: "The compass settles", lead: "Hands off.", note: page.note, progress: flow.progress, actions: [{ label: "Begin this place again", id: "undo", onclick: page.do.undo }] };
    case "on":
      return {
        whole: true,
        title: "Switch the supply on",
        lead: `Leave the phone where it is. ${flow.advice ? currentWords(flow.advice.amps, told.plan.supply, flow.planned_amps) : `Set ${supplyWords({ ...told.plan.supply, drive: "steady" })}.`}`,
        why: flow.advice && flow.advice === flow.set ? "" : adviceWords(flow.advice), // said when it was set
        note: page.note,
        bodied: `on ${!!flow.advice}`,
        body: flow.advice ? [ampsField({}), cautions()] : [cautions(), ampsField(told)], // so low a current is seldom hit
        actions: [
          { label: isOn(page.doubted), id: "is-on", main: true, onclick: page.do.supplyOn },
          { label: "Begin this place again", id: "undo", onclick: page.do.undo },
        ],
      };
    case "counting":
      return { title: "The compass turns", lead: "Hands off.", note: page.note, progress: flow.progress, actions: [{ label: "Begin this place again", id: "undo", onclick: page.do.undo }] };
    case "waiting": {
      const { title, lead } = waitingWords(flow, last?.at, page.lost);
      return { title, lead: `Switch the supply off. ${lead}`, note: page.note, actions: [...undo, result] };
    }
    default:
      return resultScreen(told, {
        note: page.note,
        actions: undo,
        onpick: page.do.pick,
        again: page.do.again,
        goOn: page.do.goOn,
        ohms: page.do.ohms,
        placed: true,
      });
  }
}

/**
 * A current to set in place of the plan's. Where it takes less voltage than a supply can be
 * set to with some care its current limit holds it, as the bench's plan says too.
 */
export function currentWords(amps, supply, planned_amps) {
  const volts = planned_amps > 0 ? ((supply.volts || 0) * amps) / planned_amps : 0;
  const steady = supply.drive === "pulsed" ? ", steady" : "";
  if (volts >= LEAST_VOLTS) return `Set ${two(volts)} V${steady}: about ${two(amps)} A in all.`;
  return `Limit the current to about ${two(amps)} A in all${steady}, with the voltage ${volts > 0 ? `at ${two(Math.max(1, 2 * volts))} V` : "high enough"}, so that the limit holds.`;
}

/** Why not the plan's current. */
function adviceWords(advice) {
  switch (advice?.tells) {
    case "strong":
      return "With the plan's setting the field is too strong for a compass. If the supply does not go so low, set the least it gives.";
    case "weak":
      return "With the plan's setting the field is too weak to turn a compass. Watch that no wire gets warm.";
    case "turned":
      return "By how far the compass turned before.";
    default:
      return "";
  }
}

const two = (x) => String(Number(x.toPrecision(2)));

/** Why the phone has to go to another side. @param {string} at */
export function elsewhereWords(at) {
  return `Now it knows where north is: another side of ${at} turns the compass more.`;
}

/**
 * @param {{at: string, tells: "weak"|"strong", turn_deg: number, amps: number | null, others: boolean}} s at:
 *   the coil read; amps: to be set, if any; others: it did turn beside coils of other strings
 * @param {any} plan
 */
export function strengthWords(s, plan) {
  const turned = `Beside ${s.at} the compass turned by ${Math.round(Math.abs(s.turn_deg))} degrees`; // the page names the next coil already
  if (s.tells === "strong") return `${turned}: the field is too strong for it. For the coils to come set about ${two(s.amps || 0)} A in all, or the least the supply gives.`;
  if (s.others) return `Beside ${s.at} the compass did not turn either. Beside coils of another string it did: leave the current as it is.`;
  const still = Math.abs(s.turn_deg) < STILL_DEG ? `Beside ${s.at} the compass did not turn. Is the supply on, and the pad plugged in?` : "";
  if (s.amps === null) return still ? `${still} A dead coil does not turn it either.` : `${turned} only. If it is so on the next coil too, the field is too weak.`;
  const limit_amps = plan.supply?.limit_amps || 0;
  const set = `about ${two(limit_amps > 0 ? Math.min(s.amps, limit_amps) : s.amps)} A in all, as long as no wire gets warm.`;
  return still ? `${still} If so, set ${set}` : `${turned} only: the field is too weak. Set ${set}`;
}
