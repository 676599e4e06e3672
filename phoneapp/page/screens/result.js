// What is known of the pad: the outcome, the cause and its mend, every coil.
import { el } from "../../common/dom.js";
import { list } from "../../common/names.js";
import { percent, stateBadge, wordOf } from "../../common/states.js";
import { padToPick } from "../drawing.js";

const KNOWN = 0.95; // a cause likelier than this is told without its chance

/** A remark that asks for a reading again is not to be missed. */
const AGAIN = /\b(again|once more)\b/;

/**
 * @param {any} told
 * @param {{note: string, actions: import("../page.js").Action[], onpick?: (id: string) => void, again?: () => void, goOn: () => void, ohms: () => void, placed?: boolean}} o placed: the page itself says where the phone is to lie, otherwise than the verdict
 * @returns {import("../page.js").Screen}
 */
export function resultScreen(told, o) {
  const v = told.verdict;
  const states = told.states();
  const asked = v?.next?.route === "ohms"; // and no other reading
  const open = !!v?.next && !asked; // a fault may be known while coils are still open
  const again = v?.outcome === "fault" && o.again && !told.rehearsal ? [{ label: "Mended: check again", id: "again", main: !open, onclick: o.again }] : [];
  const measure = asked || (v?.outcome === "as-planned" && !told.rehearsal);
  const undecided = !v || v.outcome === "undecided";
  const asks = v ? v.notes.filter((n) => AGAIN.test(n)) : [];
  const steps = [
    { label: undecided || open ? "Go on reading" : "Read again", id: "go-on", main: open || (undecided && !asked), onclick: o.goOn },
    { label: measure ? "Note the ohms" : "Ohms", id: "ohms", main: measure, onclick: o.ohms },
  ];
  return {
    whole: true,
    title: outcomeTitle(v),
    lead: [outcomeLead(o.placed ? unplaced(v) : v), ...(told.rehearsal ? [] : [thenWords(v?.outcome, told.mended)])].filter(Boolean).join(" "),
    why: asks.join(" "),
    note: o.note,
    ...padToPick(told, { states, label: "The pad, with what is known of each coil" }, o.onpick),
    bodied: `result ${JSON.stringify(v)} ${told.north.note}`,
    body: v ? [otherCauses(v), ...v.notes.filter((n) => !asks.includes(n)).map((n) => el("p", { class: "remark" }, n)), coilList(v), el("p", { class: "remark" }, told.north.note)] : [],
    actions: [...again, ...steps, ...o.actions],
  };
}

/** A verdict that does not say where the phone is to lie. @param {any} v */
function unplaced(v) {
  return v?.next && v.next.route !== "ohms" ? { ...v, next: { ...v.next, why: v.next.why.replace(/ ?Lay the phone with its mark .*$/, "") } } : v;
}

/** What a real pad then asks of the hands. @param {string | undefined} outcome @param {boolean} [mended] */
function thenWords(outcome, mended) {
  if (outcome === "fault") return "Supply off before you touch a joint. Once it is mended tap Mended, before you read on.";
  if (outcome !== "as-planned") return "";
  const since = mended ? "Measure the ohms if you have not since the mend: those noted before it count no more where joints were opened. The" : "Measure the ohms if you have not yet; the";
  return `Supply off. ${since} bench page says whether they agree, and there you sign off.`;
}

/** @param {any} v */
export function outcomeTitle(v) {
  switch (v?.outcome) {
    case "as-planned":
      return "As planned";
    case "fault": {
      const wrong = v.coils.filter((c) => c.state === "reversed").map((c) => c.id);
      return wrong.length > 0 && wrong.length <= 4 ? `${list(wrong)} reversed` : "Something is wrong";
    }
    default:
      return "Not decided yet";
  }
}

function outcomeLead(v) {
  if (!v) return "No verdict yet: nothing has been read, or the bench is still at it.";
  if (v.outcome === "as-planned") return "Every coil faces as planned.";
  if (v.outcome === "fault") return [causeWords(v.causes[0]), v.next?.why].filter(Boolean).join(" ");
  if (v.next?.across) return v.next.why;
  // As long as coils are not read, the one that the page asks for.
  const unread = v.coils.find((c) => c.used === 0 && c.state === "undecided");
  if (v.next && unread && unread.id !== v.next.at) return `Next: ${unread.id}. ${unread.id} has not been read yet.`;
  if (v.next) return `Next: ${v.next.at}. ${v.next.why}`;
  return "What was read does not tell. Read every coil once.";
}

/** A cause that others come near is not told as if it were known. @param {any} cause */
function causeWords(cause) {
  if (!cause) return "At least one coil is not as planned, and the readings do not tell why.";
  return cause.p >= KNOWN ? cause.say : `Likeliest so far, ${percent(cause.p)}: ${cause.say}`;
}

/** Causes that are possible too, so that nobody unpicks the wrong thing. */
function otherCauses(v) {
  const others = v.causes.slice(v.outcome === "fault" ? 1 : 0).filter((c) => c.p >= 0.01 && c.faults.length > 0);
  if (others.length === 0) return null;
  return el(
    "details",
    {},
    el("summary", {}, v.outcome === "fault" ? "What else it may be" : "What it may be"),
    el("ul", { class: "causes" }, ...others.map((c) => el("li", {}, `${percent(c.p)}: ${c.say}`))),
  );
}

function coilList(v) {
  return el(
    "ul",
    { class: "coils", "aria-label": "Coils" },
    ...v.coils.map((c) => el("li", {}, el("span", { class: "coil-id" }, c.id), stateBadge(c.state), el("span", { class: "chance" }, chanceWords(c)))),
  );
}

/** How sure a claim is; of a coil without one, what is likeliest. @param {any} c */
function chanceWords(c) {
  if (c.used === 0 && c.state === "undecided") return "not read";
  const [state, p] = Object.entries(c.p).reduce((most, one) => (one[1] > most[1] ? one : most));
  return c.state === "undecided" ? `${wordOf(state)} ${percent(p)}` : percent(p);
}
