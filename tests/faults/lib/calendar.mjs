// A calendar that a test moves under a running program; see clock_shift.c.
import {closeSync, openSync, writeSync} from 'node:fs';

export const MINUTE_S = 60;
export const HOUR_S = 60 * MINUTE_S;

export class Calendar {
  constructor(file) {
    this.file = file;
    this.moves = 0;
    this.descriptor = openSync(file, 'w');
    this.set(0);
  }

  /** Seconds from the true time, from now on. */
  set(shift_s) {
    const bytes = Buffer.alloc(8);
    bytes.writeBigInt64LE(BigInt(shift_s));
    writeSync(this.descriptor, bytes, 0, bytes.length, 0);
    this.shift_s = shift_s;
    this.moves++;
  }

  close() {
    closeSync(this.descriptor);
  }

  /** What a program needs in its environment to go by this calendar. The sanitiser's runtime, which
   * wants to be loaded first, is told not to mind. */
  get environment() {
    return {
      LD_PRELOAD: process.env.PENSTOCK_FAULTS_CLOCK,
      PENSTOCK_CLOCK_SHIFT: this.file,
      ASAN_OPTIONS: `${process.env.ASAN_OPTIONS ?? ''}:verify_asan_link_order=0`,
    };
  }
}
