// The screens of the heading route, read off its flow.
import { el } from "../../common/dom.js";
import { drawnKey, padDrawing } from "../drawing.js";
import { supplyWords } from "../supply.js";
import { cautions } from "./cautions.js";
import { resultScreen } from "./result.js";

const SIDES = { right: "the right side", left: "the left side", far: "the side away from you", near: "the side toward you" };

/**
 * @param {import("../heading-flow.js").HeadingFlow} flow
 * @param {any} told
 * @param {{note: string, marked: boolean, do: Record<string, (...a: any[]) => void>}} page
 * @returns {import("../page.js").Screen}
 */
export function headingScreen(flow, told, page) {
  const last = flow.done[flow.done.length - 1];
  const undo = last ? [{ label: `Undo ${last.at}`, id: "undo", onclick: page.do.undo }] : [];
  const result = { label: "Result", id: "result", onclick: page.do.result };
  const place = flow.hold ? null : flow.place;
  const at = flow.hold?.at || place?.at;
  const mark = page.marked ? "the sticker" : "the middle of the phone";
  switch (flow.stage) {
    case "place": {
      const coil = told.plan.coils.find((c) => c.id === at);
      const options = { next: at, states: told.states(), phone: { x_mm: coil.x_mm + place.shift_mm[0], y_mm: coil.y_mm + place.shift_mm[1], top_deg: 0, shifted: true }, label: `The pad. The phone goes on the copper of ${at}, ${SIDES[place.words]}` };
      return {
        title: `Supply off, phone beside ${at}`,
        lead: `Lay ${mark} over the copper of ${at} on ${SIDES[place.words]}, flat, top edge away from you. Then leave it.`,
        note: page.note,
        drawing: () => padDrawing(told.plan, { ...options, onpick: page.do.pick }),
        drawn: drawnKey({ ...options, plan: told.check }),
        actions: [{ label: "It lies there, supply off", id: "is-off", main: true, onclick: page.do.placed }, ...undo, ...(last ? [result] : [])],
      };
    }
    case "off":
      return { title: "The compass settles", lead: "Hands off.", note: page.note, progress: flow.progress, actions: [{ label: "Begin this place again", id: "undo", onclick: page.do.undo }] };
    case "on":
      return {
        title: "Now the supply on",
        lead: `Leave the phone where it is. Set ${supplyWords({ ...told.plan.supply, drive: "steady" })}, or what was advised before.`,
        note: page.note,
        bodied: "on",
        body: [cautions(), el("p", { class: "choice" }, el("label", { for: "amps" }, "Amps it shows, if it does"), el("input", { type: "text", inputmode: "decimal", id: "amps", size: 6, autocomplete: "off" }))],
        actions: [
          { label: "It is on", id: "is-on", main: true, onclick: page.do.supplyOn },
          { label: "Begin this place again", id: "undo", onclick: page.do.undo },
        ],
      };
    case "counting":
      return { title: "The compass turns", lead: "Hands off.", note: page.note, progress: flow.progress, actions: [{ label: "Begin this place again", id: "undo", onclick: page.do.undo }] };
    case "waiting":
      return { title: "All read", lead: "Switch the supply off. Working out what the compass said.", note: page.note, actions: [...undo, result] };
    default:
      return resultScreen(told, {
        note: page.note,
        actions: [{ label: "Go on reading", id: "go-on", main: told.verdict?.outcome === "undecided", onclick: page.do.goOn }, ...undo],
        onpick: page.do.pick,
        again: page.do.again,
      });
  }
}

/** @param {{tells: "weak"|"strong", turn_deg: number, amps: number}} s @param {number} limit_amps 0 if none */
export function strengthWords(s, limit_amps) {
  const turned = `The compass turned by ${Math.round(Math.abs(s.turn_deg))} degrees`;
  const amps = s.amps.toFixed(s.amps < 1 ? 2 : 1);
  if (s.tells === "strong") return `${turned}: the field is too strong for it. Set about ${amps} A in all for the coils to come.`;
  const most = limit_amps > 0 ? Math.min(s.amps, limit_amps).toFixed(limit_amps < 1 ? 2 : 1) : amps;
  return `${turned} only. If it is so on the next coil too, the field is too weak: set about ${most} A in all, as long as no wire gets warm.`;
}
