// Chance that can be repeated: the same seed gives the same draws.

/** A linear congruential generator modulo 2^48, of which the upper 32 bits are used: the multiplier and
 * the increment are those of the POSIX function drand48(). */
export class Random {
  constructor(seed) {
    this.state = (BigInt(seed) << 16n) + 0x330en;
  }

  /** From 0 to below 1. */
  next() {
    this.state = (this.state * 0x5deece66dn + 0xbn) & 0xffffffffffffn;
    return Number(this.state >> 16n) / 2 ** 32;
  }

  between(least, most) {
    return least + (most - least) * this.next();
  }

  /** One of `items`. */
  pick(items) {
    return items[Math.floor(this.next() * items.length)];
  }
}
