// What has come of a running recording: samples by their place in the channel, so that a piece that comes
// twice or out of order changes nothing else, and events by their piece.
import {inOrder} from './signals.js';

const CAPACITY_FIRST = 1024;

/** One channel. What has not come is NaN, as is a missing sample. Grows by doubling. */
export class LiveChannel {
  constructor({signal, unit, rate_hz: rateHz, start_s: startS}, derived = false) {
    Object.assign(this, {signal, unit, rateHz, startS, derived});
    this.samples = new Float64Array(CAPACITY_FIRST).fill(NaN);
    this.length = 0;
    this.low = Infinity;
    this.high = -Infinity;
  }

  put(first, values) {
    const end = first + values.length;
    if (values.length === 0) return;
    if (end > this.samples.length) this.grow(end);
    for (let index = 0; index < values.length; index++) {
      const value = values[index] ?? NaN;
      this.samples[first + index] = value;
      if (value < this.low) this.low = value;
      if (value > this.high) this.high = value;
    }
    this.length = Math.max(this.length, end);
  }

  grow(least) {
    let capacity = this.samples.length;
    while (capacity < least) capacity *= 2;
    const samples = new Float64Array(capacity).fill(NaN);
    samples.set(this.samples.subarray(0, this.length));
    this.samples = samples;
  }

  get endS() {
    return this.length ? this.startS + this.length / this.rateHz : 0;
  }

  /** The last sample, null when it is missing, undefined before the first. */
  get newest() {
    if (this.length === 0) return undefined;
    const value = this.samples[this.length - 1];
    return Number.isNaN(value) ? null : value;
  }

  /** The samples of a span as a trace of the API would hold them: each, or the least and greatest of bins
   *  when there are more than `points`. Bins begin at multiples of their length, so that they stay the same
   *  while the span moves on. */
  trace(fromS, toS, points) {
    const first = Math.min(this.length, Math.max(0, Math.floor((fromS - this.startS) * this.rateHz)));
    const end = Math.min(this.length, Math.max(first, Math.ceil((toS - this.startS) * this.rateHz) + 1));
    const {signal, unit, derived} = this;
    const named = {signal, unit, derived, rate_hz: this.rateHz};
    let width = 1;
    while ((end - first) / width > points) width *= 2;
    if (width === 1) {
      const samples = Array.from(this.samples.subarray(first, end), (value) => (Number.isNaN(value) ? null : value));
      return {...named, start_s: this.startS + first / this.rateHz, samples};
    }
    return {...named, ...this.bins(first - (first % width), end, width)};
  }

  bins(first, end, width) {
    const count = Math.ceil((end - first) / width);
    const min = new Array(count).fill(null);
    const max = new Array(count).fill(null);
    for (let bin = 0, at = first; bin < count; bin++) {
      let low = Infinity;
      let high = -Infinity;
      for (const stop = Math.min(this.length, at + width); at < stop; at++) {
        const value = this.samples[at];
        if (value < low) low = value;
        if (value > high) high = value;
      }
      if (low <= high) {
        min[bin] = low;
        max[bin] = high;
      }
    }
    return {start_s: this.startS + first / this.rateHz, bin_s: width / this.rateHz, min, max};
  }
}

/** pdet = pves - pabd where it is not recorded, as the server derives it of a complete recording. */
function derivation(channels) {
  const [pdet, pves, pabd] = ['pdet', 'pves', 'pabd'].map((signal) => channels.find((one) => one.signal === signal));
  const alike = pves && pabd && pves.unit === pabd.unit && pves.rateHz === pabd.rateHz && pves.startS === pabd.startS;
  if (pdet || !alike) return null;
  const {unit, rateHz, startS} = pves;
  return {pves, pabd, pdet: new LiveChannel({signal: 'pdet', unit, rate_hz: rateHz, start_s: startS}, true)};
}

export class LiveData {
  /** `announced`: the channels that the recording was opened with. */
  constructor(announced) {
    const channels = announced.map((channel) => new LiveChannel(channel));
    this.derived = derivation(channels);
    this.channels = inOrder(this.derived ? [...channels, this.derived.pdet] : channels);
    this.bySignal = new Map(this.channels.map((channel) => [channel.signal, channel]));
    this.eventsOfPiece = new Map();
  }

  /** Takes a piece of the live answer in. Returns whether it brought events. */
  take({number, channels, events}) {
    for (const {signal, first, samples} of channels) {
      this.bySignal.get(signal)?.put(first, samples);
      if (this.derived && (signal === 'pves' || signal === 'pabd')) this.derive(first, samples.length);
    }
    const fresh = events.length > 0 && !this.eventsOfPiece.has(number);
    if (fresh) this.eventsOfPiece.set(number, events);
    return fresh;
  }

  derive(first, count) {
    const {pves, pabd, pdet} = this.derived;
    const end = Math.min(first + count, pves.length, pabd.length);
    if (end <= first) return;
    const values = new Float64Array(end - first);
    for (let index = first; index < end; index++) values[index - first] = pves.samples[index] - pabd.samples[index];
    pdet.put(first, values);
  }

  get events() {
    return [...this.eventsOfPiece.values()].flat();
  }

  get endS() {
    return Math.max(0, ...this.channels.map((channel) => channel.endS));
  }
}
