// What the bench has told this phone: the plan, what the plan predicts, and the
// verdict so far.
import { callOutFace, north } from "../common/north.js";
import { outFace } from "./remembered.js";

const LOADED_WITHIN_MS = 15000;

export class Told {
  /** @param {URL} base @param {string | null} rehearsal id of the rehearsal this page takes part in */
  constructor(base, rehearsal) {
    this.base = base;
    this.rehearsal = rehearsal;
    this.check = "";
    /** The check is a rehearsal in which this phone has no part: its pad is made up. */
    this.elsewhere = false;
    /** The pad is signed off, and its check takes no more readings. */
    this.signed = false;
    /** The check follows a mend, and takes one last look over every coil. */
    this.afterMend = false;
    this.ownCertificate = false;
    /** @type {any} */
    this.plan = null;
    /** @type {any} */
    this.predicted = null;
    /** @type {any} */
    this.verdict = null;
    /** The check comes after a mend. */
    this.mended = false;
    /** Coils that were read before a mend only, when this was loaded. @type {string[]} */
    this.carried = [];
    /** Places beside each coil, with the field there as planned. @type {Record<string, any[]>} */
    this.beside = {};
    this.coil = (/** @type {string} */ id) => this.verdict?.coils?.find((c) => c.id === id);
  }

  /** Fetches it all; rejects where the bench does not answer, and on a dead line before the browser would. */
  async load() {
    const r = await fetch(new URL("plan.json", this.base), { cache: "no-store", signal: AbortSignal.timeout(LOADED_WITHIN_MS) });
    if (!r.ok) throw new Error(`the bench answers ${r.status}`);
    const state = await r.json();
    this.check = state.check.id;
    this.elsewhere = !!state.check.rehearsal && state.check.rehearsal !== this.rehearsal;
    this.signed = !!state.sign_off?.signed;
    this.afterMend = !!state.mended;
    this.ownCertificate = !!state.own_certificate;
    this.plan = state.plan;
    this.predicted = state.predicted;
    this.verdict = state.verdict;
    this.mended = !!state.mended;
    this.carried = state.mended ? this.plan.coils.map((c) => c.id).filter((id) => !state.mended.since.includes(id)) : [];
    this.beside = state.beside || {};
    // What the maker was asked on any page counts on all; what this phone knew
    // before the bench did is passed on.
    if (state.out_face) outFace.set(state.out_face);
    callOutFace(outFace.get());
    if (!state.out_face && outFace.get()) this.callOutFace(/** @type {"north"|"south"} */ (outFace.get()));
  }

  /** States of the coils that have been read, for drawings. */
  states() {
    const out = {};
    for (const c of this.verdict?.coils || []) if (c.used > 0 || c.state !== "undecided") out[c.id] = c.state;
    return out;
  }

  /** Strength of the field over each coil as planned, microtesla. @returns {Record<string, number>} */
  expected_uT() {
    return Object.fromEntries((this.predicted?.coils || []).map((c) => [c.id, Math.hypot(...c.b_uT)]));
  }

  /** The maker says what the face is called that the field comes out of. @param {"north"|"south"} word */
  callOutFace(word) {
    outFace.set(word);
    callOutFace(word);
    fetch(new URL("convention", this.base), { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ out_face: word }) }).catch(() => {}); // passed on at the next load
  }

  get north() {
    return north();
  }
}
