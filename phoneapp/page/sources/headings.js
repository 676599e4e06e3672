// Geometry of compass headings. Pure.

/**
 * Heading of the phone's top edge, degrees clockwise from north, from the
 * quaternion (x, y, z, w) that turns the phone's axes into the earth's (x east,
 * y north, z up): where it takes the phone's y axis.
 * @param {number[]} q
 */
export function headingOfQuaternion([x, y, z, w]) {
  const east = 2 * (x * y - w * z);
  const north = 1 - 2 * (x * x + z * z);
  return wrap360((Math.atan2(east, north) * 180) / Math.PI);
}

/**
 * The same from the W3C's alpha and beta: the top edge points alpha counter-clockwise
 * from north, or the other way where the phone is tipped over its top.
 * @param {number} alpha
 * @param {number} [beta]
 */
export function headingOfAngles(alpha, beta = 0) {
  return wrap360((Math.abs(wrap180(beta)) > 90 ? 180 : 0) - alpha);
}

/** @param {number} deg @returns {number} 0 up to 360 */
function wrap360(deg) {
  return ((deg % 360) + 360) % 360;
}

/** @param {number} deg @returns {number} -180 up to 180 */
export function wrap180(deg) {
  return wrap360(deg + 180) - 180;
}

/** Adds up turns so that they do not jump at a full circle. */
export class Turns {
  constructor() {
    this.total = 0;
  }

  /** @param {number} deg a direction @returns {number} degrees since the first one */
  feed(deg) {
    if (this.last !== undefined) this.total += wrap180(deg - this.last);
    this.last = deg;
    return this.total;
  }
}
