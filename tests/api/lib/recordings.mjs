// Recordings made from formulas, with what is true of them.
export const STARTED_AT = '2026-03-02T09:31:05+01:00';

/** Samples of a function of time, with the decimals that a device would send (and no -0, which JSON has
 * not). */
export function sample(valueAt, {rate_hz, duration_s, start_s = 0, decimals = 4}) {
  const count = Math.round((duration_s - start_s) * rate_hz);
  return Array.from({length: count}, (_, i) => Number(valueAt(start_s + i / rate_hz).toFixed(decimals)) + 0);
}

export function channel(signal, unit, grid, valueAt) {
  return {signal, unit, rate_hz: grid.rate_hz, start_s: grid.start_s ?? 0, samples: sample(valueAt, grid)};
}

const clamp = (x) => Math.min(Math.max(x, 0), 1);

/** A flow that rises fast and falls slowly: Q(t) = peak * 27/4 * x * (1 - x)^2, x from 0 to 1. Its
 * greatest value is at x = 1/3, its volume peak * length * 9/16. */
export class Flow {
  constructor(peak_ml_s, start_s, length_s) {
    Object.assign(this, {peak_ml_s, start_s, length_s});
  }

  at(t) {
    const x = clamp((t - this.start_s) / this.length_s);
    return this.peak_ml_s * 6.75 * x * (1 - x) ** 2;
  }

  /** Volume up to a moment: the integral of at(). */
  volumeAt(t) {
    const x = clamp((t - this.start_s) / this.length_s);
    return this.peak_ml_s * this.length_s * 6.75 * (x ** 2 / 2 - (2 * x ** 3) / 3 + x ** 4 / 4);
  }

  get volume() {
    return this.volumeAt(this.start_s + this.length_s);
  }

  /** The greatest mean over 2 s, exactly, and the middle of those 2 s. */
  get qmax() {
    let best = {value: 0, at_s: 0};
    for (let t = this.start_s; t < this.start_s + this.length_s; t += 0.001) {
      const value = (this.volumeAt(t + 1) - this.volumeAt(t - 1)) / 2;
      best = value > best.value ? {value, at_s: t} : best;
    }
    return best;
  }

  /** First and last moment at which the flow is at least `threshold`. */
  span(threshold = 0.5) {
    const peak_s = this.start_s + this.length_s / 3;
    return {
      from_s: bisect((t) => this.at(t) - threshold, this.start_s, peak_s),
      to_s: bisect((t) => this.at(t) - threshold, this.start_s + this.length_s, peak_s),
    };
  }
}

/** The moment between `below` and `above` at which a function that is negative at the one and positive
 * at the other is 0. */
function bisect(valueAt, below, above) {
  for (let i = 0; i < 60; i++) {
    const middle = (below + above) / 2;
    [below, above] = valueAt(middle) < 0 ? [middle, above] : [below, middle];
  }
  return above;
}

/** A free flow on one grid. */
export function uroflowmetry({
  flow = new Flow(24, 5, 32),
  grid = {rate_hz: 20, duration_s: 45},
  permission_s = 2,
} = {}) {
  const {from_s, to_s} = flow.span();
  return {
    document: {
      type: 'uroflowmetry',
      started_at: STARTED_AT,
      conditions: {position: 'standing', post_void_residual_ml: 40},
      channels: [channel('flow', 'mL/s', grid, (t) => flow.at(t))],
      events: permission_s === null ? [] : [{at_s: permission_s, code: 'permission_to_void'}],
    },
    truth: {
      qmax: flow.qmax,
      voided_volume: flow.volume,
      flow_time: to_s - from_s,
      voiding_time: to_s - from_s,
      time_to_qmax: flow.qmax.at_s - from_s,
      delay_time: from_s - permission_s,
      qave: flow.volume / (to_s - from_s),
      initial_volume: flow.volume + 40,
      voiding_efficiency: (100 * flow.volume) / (flow.volume + 40),
    },
  };
}

const FILL = {from_s: 5, to_s: 305, volume_ml: 300, residual_ml: 20, pdet_start: 3, pdet_rise: 10};
const VOID = {permission_s: 315, contraction_s: 318, contraction_length_s: 60, pdet_rise: 42, flow_delay_s: 0.6};

const infused = (t) => FILL.volume_ml * clamp((t - FILL.from_s) / (FILL.to_s - FILL.from_s));
const pabd = (t) => 28 + 1.2 * Math.sin((2 * Math.PI * t) / 37);

function pdet(t) {
  const filled = FILL.pdet_start + (FILL.pdet_rise * infused(t)) / FILL.volume_ml;
  const phase = clamp((t - VOID.contraction_s) / VOID.contraction_length_s);
  return filled + VOID.pdet_rise * Math.sin(Math.PI * phase) ** 2;
}

/** What stands in the way of each number: pressures are known as functions, so any moment's is exact. */
function pressureFlowTruth(flow) {
  const {value: qmax, at_s} = flow.qmax;
  const {from_s} = flow.span();
  const pdetQmax = pdet(at_s - VOID.flow_delay_s);
  return {
    voiding: {
      qmax: flow.qmax,
      voided_volume: flow.volume,
      delay_time: from_s - VOID.permission_s,
      time_to_qmax: at_s - from_s,
      pdet_qmax: pdetQmax,
      pves_qmax: pdetQmax + pabd(at_s - VOID.flow_delay_s),
      pdet_max: FILL.pdet_start + FILL.pdet_rise + VOID.pdet_rise,
      opening_pressure: pdet(from_s - VOID.flow_delay_s),
      booi: pdetQmax - 2 * qmax,
      bci: pdetQmax + 5 * qmax,
    },
    filling: {
      first_sensation_volume: FILL.residual_ml + infused(125),
      first_desire_volume: FILL.residual_ml + infused(185),
      strong_desire_volume: FILL.residual_ml + infused(275),
      cystometric_capacity: FILL.residual_ml + FILL.volume_ml,
      filling_rate: (60 * FILL.volume_ml) / (FILL.to_s - FILL.from_s),
      pdet_baseline: FILL.pdet_start,
      pdet_end_fill: FILL.pdet_start + FILL.pdet_rise,
      compliance: FILL.volume_ml / FILL.pdet_rise,
    },
  };
}

const CANONICAL = {pves: ['cm[H2O]', 1], pabd: ['cm[H2O]', 1], flow: ['mL/s', 1], vinf: ['mL', 1]};

/** The same quantities in units that a device may use instead: [code, how many of it one is]. */
export const OTHER_UNITS = {
  pves: ['kPa', 0.0980665],
  pabd: ['mm[Hg]', 98.0665 / 133.322387415],
  flow: ['L/min', 0.06],
  vinf: ['L', 0.001],
};

/** A filling and a voiding. `grids` and `units` by signal. */
export function pressureFlow({grids = {}, units = {}, decimals = 4} = {}) {
  const flow = new Flow(12, 323 + VOID.flow_delay_s, 45);
  const valueAt = {pves: (t) => pdet(t) + pabd(t), pabd, flow: (t) => flow.at(t), vinf: infused};
  const channels = Object.entries(valueAt).map(([signal, canonical]) => {
    const [unit, factor] = units[signal] ?? CANONICAL[signal];
    const grid = {rate_hz: 10, duration_s: 400, decimals, ...grids[signal]};
    return channel(signal, unit, grid, (t) => canonical(t) * factor);
  });
  const events = [
    [FILL.from_s, 'filling_start'],
    [125, 'first_sensation'],
    [185, 'first_desire'],
    [275, 'strong_desire'],
    [FILL.to_s, 'filling_stop'],
    [VOID.permission_s, 'permission_to_void'],
  ].map(([at_s, code]) => ({at_s, code}));
  const conditions = {
    position: 'sitting',
    initial_residual_ml: FILL.residual_ml,
    post_void_residual_ml: 16,
    filling_rate_ml_min: 60,
    flow_delay_s: VOID.flow_delay_s,
  };
  return {
    document: {type: 'pressure_flow', started_at: STARTED_AT, conditions, channels, events},
    truth: pressureFlowTruth(flow),
  };
}

/** Replaces a channel's samples by base64; `codes` is a typed array, little-endian on every machine that
 * runs Node here. */
export function encoded(one, encoding, codes, scaling = {}) {
  const {samples: _, ...rest} = one;
  const data = Buffer.from(codes.buffer, codes.byteOffset, codes.byteLength).toString('base64');
  return {...rest, encoding, ...scaling, data};
}

/** Codes and the numbers that they stand for: code * scale + offset, and null for -32768. */
export function asInt16(one, scale, offset = 0) {
  const codes = Int16Array.from(one.samples, (value) =>
    value === null ? -32768 : Math.round((value - offset) / scale),
  );
  const values = Array.from(codes, (code) => (code === -32768 ? null : code * scale + offset));
  return {channel: encoded(one, 'int16', codes, {scale, offset}), values};
}

export function asFloat32(one) {
  const codes = Float32Array.from(one.samples, (value) => value ?? NaN);
  return {
    channel: encoded(one, 'float32', codes),
    values: Array.from(codes, (value) => (Number.isNaN(value) ? null : value)),
  };
}

export const withChannel = (document, signal, change) => ({
  ...document,
  channels: document.channels.map((one) => (one.signal === signal ? change(one) : one)),
});
