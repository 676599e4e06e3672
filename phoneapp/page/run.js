// What the three routes have in common.
import { byId } from "../common/dom.js";
import { ampsDoubt } from "../common/amps.js";
import { numberIn } from "./ohms.js";

/**
 * @typedef {object} Tools what a route works with
 * @property {import("./told.js").Told} told
 * @property {import("./stream.js").Stream} stream
 * @property {import("./clock.js").Clock} clock
 * @property {string} device
 * @property {{mm: number[], sd_mm: number[], marked: boolean} | null} place of the sensor, if known
 * @property {(at: string, along?: string[]) => void} counted a reading of a coil, or of a row of them, is complete; its claim will follow
 * @property {(at: string) => void} broken a reading did not count
 * @property {() => void} keep so that a page after this one can go on from here
 * @property {(words: string) => void} say aloud, where the voice is on
 * @property {() => void} help what the help offers has changed
 * @property {() => void} again begin a new check after a mend
 * @property {() => void} ohms
 * @property {import("./ohms.js").Noted[]} ohmsNoted by ohmmeter on this phone, the newest first
 * @property {(trouble: import("./troubles.js").Trouble) => void} failed the source has stopped
 */

/**
 * A route under way.
 * @typedef {object} Run
 * @property {(resumed: boolean) => Promise<void>} begin starts the source, and unless resumed the capture; rejects with a Trouble
 * @property {() => void} end
 * @property {() => void} show
 * @property {(v: any) => void} verdict
 * @property {() => string | null} next the coil to read next
 * @property {{on: boolean, take: (on: boolean) => void} | null} [byRow] whether the phone is drawn along rows, where that can be chosen
 * @property {() => void} hidden the page went out of sight
 * @property {() => void} linked the connection came or went
 * @property {() => any} save
 * @property {(kept: any) => void} restore
 */

/**
 * The start line of a capture.
 * @param {Tools} tools @param {"vector"|"heading"} route
 * @param {number} [top_deg] which way the top edge points where a line says nothing else
 */
export function startLine(tools, route, top_deg = 0) {
  /** @type {any} */
  const line = { type: "start", v: 1, route, top_deg, device: tools.device };
  const p = tools.place;
  // With a sticker at the sensor, that is the mark.
  if (p) line.sensor = { offset_mm: p.marked ? [0, 0] : p.mm, offset_sd_mm: p.sd_mm };
  return line;
}

/**
 * Why a hold did not count, in words.
 * @param {string} at @param {import("./flow.js").Broken} why @param {number} [jitter_uT] how far readings jump about
 */
export function brokenWords(at, why, jitter_uT = 0) {
  switch (why) {
    case "moved":
      return `It moved too soon: ${at} is not counted. Lay it on ${at} once more.`;
    case "shaken":
      return `The phone was shaken again: ${at} is not counted. Lay it on ${at} once more, hands off, on a bench that stands still.`;
    case "noise":
      return `${noiseWords(jitter_uT)}: ${at} is not counted. ${noiseHelp} Then lay it on ${at} once more.`;
    case "frozen":
      return `The sensor gave the same reading over and over: ${at} is not counted. Lift the phone, move it about, and lay it on ${at} once more.`;
    default:
      return `Readings stopped: ${at} is not counted. Keep this page in front and lay the phone on ${at} once more.`;
  }
}

/** @param {number} jitter_uT */
const noiseWords = (jitter_uT) => `The readings jump about by some ${Math.round(2 * jitter_uT)} uT, as they do near a lamp, a motor or a charger`;
const noiseHelp = "Switch such things off, or read by compass or by hand (Other ways, and help).";

/** Why it does not begin to count by itself. @param {string} at @param {number} jitter_uT */
export function restlessWords(at, jitter_uT) {
  return `${noiseWords(jitter_uT)}. ${noiseHelp} If it lies still on ${at} all the same, tap.`;
}

/**
 * The same reading was asked for again and again, and told nothing new.
 * @param {string} at @param {boolean} rehearsal nothing there but the phone
 */
export function fruitlessWords(at, rehearsal) {
  return `${at} was asked for again and again, and reading it told nothing new.${rehearsal ? "" : " More current may, or the ohms. If something was turned or mended in between, begin a new check on the bench page."} Leave it at that, or go on reading.`;
}

/**
 * Reads the field for the amps that a supply shows, which may be left empty. What can
 * hardly be is asked about once.
 * @param {Parameters<typeof ampsDoubt>[1]} expected
 * @param {number} [doubted] amps asked about already
 * @returns {{amps?: number, problem?: string, doubted?: number}}
 */
export function typedAmps(expected, doubted) {
  if (byId("amps").value.trim() === "") return {};
  const amps = numberIn("amps");
  if (amps === null || !(amps > 0)) return { problem: "Expected the amps as a number, as in 0.8, or nothing." };
  const doubt = amps === doubted ? "" : ampsDoubt(amps, expected);
  return doubt ? { problem: `${doubt} Put it right, or tap once more if the supply shows that.`, doubted: amps } : { amps };
}

/** The field for the amps stays in sight below what was asked about it. */
export function ampsInSight() {
  document.getElementById("amps")?.scrollIntoView({ block: "nearest" });
}
