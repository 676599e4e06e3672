// Arithmetic with readings: lists of three numbers. Pure.

/** @param {number[]} a @param {number[]} b */
export const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];

/** @param {number[]} a @param {number[]} b */
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** @param {number[]} a */
export const norm = (a) => Math.hypot(a[0], a[1], a[2]);

/** @param {number[]} a @param {number[]} b */
export const distance = (a, b) => norm(minus(a, b));

/** @param {number[][]} list */
export const mean = (list) => [0, 1, 2].map((k) => list.reduce((sum, u) => sum + u[k], 0) / list.length);
