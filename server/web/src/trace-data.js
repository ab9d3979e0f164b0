// One trace of the API's answer as columns to plot, and questions about it.

/**
 * Columns for the chart: [times, values] or, for bins, [times, lows, highs]. Bins stand at their middle.
 * Missing samples are null and stay null.
 */
export function columns(trace) {
  if (trace.samples) {
    const times = trace.samples.map((_, index) => trace.start_s + index / trace.rate_hz);
    return [times, trace.samples];
  }
  const times = trace.min.map((_, index) => trace.start_s + (index + 0.5) * trace.bin_s);
  return [times, trace.min, trace.max];
}

export const isBinned = (trace) => !trace.samples;

/** Lowest and highest value between two times, or null when there is none. */
export function extremes(trace, fromS = -Infinity, toS = Infinity) {
  const [times, lows, highs = lows] = columns(trace);
  let low = Infinity;
  let high = -Infinity;
  for (let index = 0; index < times.length; index++) {
    if (times[index] < fromS || times[index] > toS || lows[index] === null) continue;
    low = Math.min(low, lows[index]);
    high = Math.max(high, highs[index]);
  }
  return low <= high ? {low, high} : null;
}

/** A number as it was recorded, from the float32 nearest to it, which has about seven digits. */
const asRecorded = (value) => Number(value.toPrecision(7));

/** {low, high} at a time; null for a missing sample, undefined outside the trace. */
export function valueAt(trace, atS) {
  const lows = trace.samples ?? trace.min;
  const highs = trace.samples ?? trace.max;
  const index = trace.samples
    ? Math.round((atS - trace.start_s) * trace.rate_hz)
    : Math.floor((atS - trace.start_s) / trace.bin_s);
  if (index < 0 || index >= lows.length) return undefined;
  return lows[index] === null ? null : {low: asRecorded(lows[index]), high: asRecorded(highs[index])};
}
