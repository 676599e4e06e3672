// What a flow hands out: events go into it, effects come out, for its run to
// carry out in order.

/** @template {{do: string}} E */
export class Effects {
  constructor() {
    /** @type {E[]} */
    this.effects = [];
  }

  /** A line of the capture. @param {object} line */
  line(line) {
    this.emit(/** @type {any} */ ({ do: "line", line }));
  }

  /** @param {E} e */
  emit(e) {
    this.effects.push(e);
  }

  take() {
    const e = this.effects;
    this.effects = [];
    return e;
  }
}
