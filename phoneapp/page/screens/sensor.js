// The screens of finding the sensor, read off its flow.
import { el } from "../../common/dom.js";
import { drawnKey, padDrawing, phoneDrawing } from "../drawing.js";
import { supplyWords } from "../supply.js";
import { ampsField, isOn } from "./amps.js";
import { cautions } from "./cautions.js";

const RING = 2.45; // spreads within which it lies 19 times in 20

const EDGES = { near: "the edge nearest you", far: "the far edge", left: "the left edge", right: "the right edge" };

/**
 * @param {import("../sensor-flow.js").SensorFlow} flow
 * @param {any} told
 * @param {{note: string, doubted?: boolean, do: Record<string, () => void>}} page
 * @returns {import("../page.js").Screen}
 */
export function sensorScreen(flow, told, page) {
  const { at, placing } = flow;
  const state = flow.driven ? "on" : "off";
  const undo = { label: "Do the last again", id: "undo", onclick: page.do.undo };
  const stop = { label: "Leave it", id: "stop", onclick: page.do.stop };
  const again = { label: "This placing again", id: "undo", onclick: page.do.undo };
  const note = page.note || toldWords(flow);
  const common = { note, ...pad(flow, told) };
  switch (flow.stage) {
    case "lay":
      return {
        ...common,
        title: `${flow.number}. ${layTitle(placing, at)}`,
        lead: layWords(placing, at, flow.afresh ? `The supply is ${state}.` : `The supply stays ${state}.`),
        bodied: `sensor ${flow.number} ${JSON.stringify(flow.answer)}`,
        body: [
          flow.number === 1 ? el("p", { class: "remark" }, "Each phone has its magnetometer elsewhere. Four placings on one coil find it, in about two minutes, once for this phone. Use the phone as you will check with it, in its case or without.") : null,
          flow.number === 1 ? cautions() : null,
          flow.answer ? phoneWith(flow.answer) : null,
        ],
        actions: [...(flow.done.length > 0 ? [undo] : []), stop, { label: `It lies there, supply ${state}`, id: "laid", main: true, onclick: page.do.laid }],
      };
    case "first":
    case "second":
      return {
        ...common,
        title: "Hands off",
        lead: "It reads. Let the phone lie.",
        progress: flow.progress || 0.001,
        actions: [...(flow.told === "unsteady" ? [{ label: "Take it as it is", id: "as-it-is", onclick: page.do.asItIs }] : []), again],
      };
    case "switch":
      return {
        note,
        title: flow.driven ? "Switch the supply off" : "Switch the supply on",
        lead: flow.driven ? "Leave the phone where it is." : `Leave the phone where it is. Set ${supplyWords(told.plan.supply)}.`,
        bodied: `switch ${state}`,
        body: flow.driven ? [] : [cautions(), ampsField(told)],
        actions: [again, { label: flow.driven ? "It is off" : isOn(page.doubted), id: "switched", main: true, onclick: page.do.switched }],
      };
    case "asking":
      return { ...common, title: "One moment", lead: "Working out where the sensor sits.", actions: page.note ? [undo, stop, { label: "Ask again", id: "ask-again", main: true, onclick: page.do.ask }] : [undo, stop] };
    default:
      return foundScreen(flow, page, undo);
  }
}

/** @param {import("../sensor-flow.js").SensorFlow} flow */
function foundScreen(flow, page, undo) {
  const a = /** @type {import("../sensor-flow.js").Answer} */ (flow.answer);
  return {
    title: "Sensor found",
    lead: `${flow.driven ? "Switch the supply off. The sensor" : "It"} sits ${placeWords(a.offset_mm)}, to about ${spread(a)} mm.`,
    note: page.note,
    drawing: () => phoneDrawing({ mm: a.offset_mm, sd_mm: a.offset_sd_mm }, drawingLabel(a)),
    drawn: drawnKey({ sensor: a }),
    bodied: `found ${JSON.stringify(a)}`,
    body: [el("p", { class: "remark" }, "Ring: it lies within, 19 times in 20. The outline is a usual phone's: measure from the middle of yours. Put a small sticker there and lay that on the coils from now on.")],
    actions: [undo, { label: "One placing more", id: "more", onclick: page.do.more }, { label: "Keep it, no sticker", id: "keep", onclick: page.do.keep }, { label: "The sticker is on", id: "sticker", main: true, onclick: page.do.sticker }],
  };
}

/** The place as known so far, where it is not known well enough. */
function phoneWith(a) {
  return el(
    "figure",
    { class: "so-far" },
    phoneDrawing({ mm: a.offset_mm, sd_mm: a.offset_sd_mm }, drawingLabel(a)),
    el("figcaption", { class: "remark" }, `So far: ${placeWords(a.offset_mm)}, to about ${spread(a)} mm.`),
  );
}

const drawingLabel = (a) => `The phone from the front. Its sensor sits ${placeWords(a.offset_mm)}; a ring of ${Math.round(RING * spread(a))} mm around it`;

const spread = (a) => Math.ceil(Math.max(...a.offset_sd_mm));

/** @param {import("../sensor-flow.js").SensorFlow} flow */
function toldWords(flow) {
  switch (flow.told) {
    case "unchanged":
      return `Nothing changed over ${flow.at}: was the supply switched, is the pad plugged in, is ${flow.at} alive? This placing once more, from the supply off.`;
    case "unsteady":
      return "The readings do not come to rest. Is the phone lying still, and nothing else driven nearby?";
    case "gap":
      return "Readings stopped: this placing does not count. Keep this page in front, and do it once more from the supply off.";
    default:
      return flow.stage === "lay" && flow.answer && !flow.answer.found ? `Not found well enough yet: ${flow.answer.why}.` : "";
  }
}

/** @param {import("../sensor-places.js").Placing} p @param {string} at */
function layTitle(p, at) {
  const turned = p.top_deg === 180 ? ", turned by half" : "";
  return p.edge ? `On the edge of ${at}${turned}` : `Phone on ${at}${turned}`;
}

/** @param {import("../sensor-places.js").Placing} p @param {string} at @param {string} supply */
function layWords(p, at, supply) {
  const where = p.edge ? `Slide the phone until its middle lies on the inner edge of ${at}'s winding: ${EDGES[p.edge]}.` : `Lay the middle of the phone, not a sticker, on the middle of ${at}.`;
  const top = p.top_deg === 180 ? "top edge toward you" : "top edge away from you";
  return `${where} Flat, ${top}. ${supply}`;
}

/** Where something sits as one looks at the screen. @param {number[]} mm right, up */
export function placeWords([x, y]) {
  const part = (v, plus, minus) => (Math.abs(v) < 1 ? [] : [`${Math.round(Math.abs(v))} mm ${v > 0 ? plus : minus}`]);
  const parts = [...part(y, "above", "below"), ...part(x, "right of", "left of")];
  return parts.length > 0 ? `${parts.join(" and ")} the phone's middle` : "in the phone's middle";
}

function pad(flow, told) {
  const { at, placing } = flow;
  const c = told.plan.coils.find((k) => k.id === at);
  const phone = { x_mm: c.x_mm + placing.shift_mm[0], y_mm: c.y_mm + placing.shift_mm[1], top_deg: placing.top_deg, shifted: placing.edge !== "" };
  const options = { next: at, phone, label: `The pad. ${layWords(placing, at, "")}` };
  return { drawing: () => padDrawing(told.plan, options), drawn: drawnKey({ ...options, plan: told.check, sensor: true }) };
}
