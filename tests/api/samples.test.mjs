// Samples come back exactly as they were sent, and a reduced trace hides none of them.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {asFloat32, asInt16, encoded, pressureFlow, STARTED_AT} from './lib/recordings.mjs';

let installation;
let clinic;
let study;

before(async () => {
  installation = await Installation.create('samples');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the samples');
  study = await clinic.addVisit();
});

after(() => installation.remove());

const SIGNALS = ['pves', 'pabd', 'pura', 'emg', 'prect', 'panal1', 'panal12', 'pvag'];

/** A generator of the same numbers at every run (mulberry32). */
function randomly(seed) {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

const array = (count, valueAt) => Array.from({length: count}, (_, i) => valueAt(i));

function plain(signal, samples, more = {}) {
  return {signal, unit: 'cm[H2O]', rate_hz: 10, samples, ...more};
}

async function upload(channels) {
  const document = {type: 'cystometry', started_at: STARTED_AT, channels};
  return (await clinic.addRecording(study.id, document)).json.recording;
}

const traces = async (id, query = '') => (await clinic.room.get(`/v1/recordings/${id}/traces${query}`)).json;

/** Uploads each list of samples as a recording of one channel; what comes back must be the same. */
async function comesBack(cases) {
  for (const [what, samples, encoding, channel = plain('pves', samples)] of cases) {
    const recording = await upload([channel]);
    assert.equal(recording.channels[0].encoding, encoding, what);
    assert.equal(recording.channels[0].sample_count, samples.length, what);
    assert.equal(recording.channels[0].missing, samples.filter((value) => value === null).length, what);
    const {
      traces: [trace],
    } = await traces(recording.id);
    assert.deepEqual(trace.samples, samples, what);
    assert.equal(trace.sample_count, samples.length, what);
  }
}

describe('samples sent as numbers', () => {
  it('come back: with up to six decimals', () => {
    const random = randomly(1);
    return comesBack([
      ['whole', array(500, (i) => ((i * 7) % 300) - 40), 'decimal'],
      ...array(6, (d) => [
        `${d + 1} decimals`,
        array(500, () => Number((random() * 400 - 50).toFixed(d + 1))),
        'decimal',
      ]),
      ['one', [12.5], 'decimal'],
      ['a constant', array(5000, () => 3.7), 'decimal'],
      ['extremes', [0, 999_999_999, -999_999_999, 1, -1], 'decimal'],
    ]);
  });

  it('come back: with all the digits that a double has', () => {
    const random = randomly(2);
    return comesBack([
      ['many digits', array(500, () => random() * 300 - 50), 'float64'],
      ['thirds', [1 / 3, 2 / 3, 100 / 3, 1e-7, 5e-324, 1e9, -1e9, Math.PI], 'float64'],
      ['with holes', array(9000, (i) => (i % 11 === 0 ? null : random())), 'float64'],
    ]);
  });

  it('come back: with holes', () =>
    comesBack([
      ['some', [1.5, null, 2.5, null, null, 3], 'decimal'],
      ['the first and the last', [null, 1, 2, null], 'decimal'],
      ['zeros between', [0, null, 0, null, 0], 'decimal'],
      ['a whole block', array(3 * 4096, (i) => (i >= 4096 && i < 2 * 4096 ? null : i % 50)), 'decimal'],
    ]));

  it('come back: however many blocks they make', () => {
    const random = randomly(3);
    const counts = [1, 2, 4095, 4096, 4097, 8192, 20_001];
    return comesBack(
      counts.map((count) => [`${count}`, array(count, () => Number((random() * 100).toFixed(2))), 'decimal']),
    );
  });
});

describe('samples sent as base64', () => {
  it('come back: int16, every code', () => {
    const codes = Int16Array.from(array(65536, (i) => i - 32768));
    const value = (code, scale, offset) => (code === -32768 ? null : code * scale + offset);
    const scalings = [
      [1, 0],
      [0.01, 0],
      [0.1, -12.5],
      [-0.003, 7],
      [1 / 3, 1e-3],
    ];
    return comesBack(
      scalings.map(([scale, offset]) => [
        `scale ${scale}, offset ${offset}`,
        Array.from(codes, (code) => value(code, scale, offset)),
        'int16',
        encoded(plain('pves', []), 'int16', codes, {scale, offset}),
      ]),
    );
  });

  it('come back: int16 without an offset', () => {
    const codes = Int16Array.of(1, 2, 3);
    return comesBack([['no offset', [0.5, 1, 1.5], 'int16', encoded(plain('pves', []), 'int16', codes, {scale: 0.5})]]);
  });

  it('come back: float32', () => {
    const random = randomly(4);
    const samples = array(9000, (i) => (i % 13 === 5 ? null : random() * 500 - 100));
    const {channel, values} = asFloat32(plain('pves', samples));
    const edge = asFloat32(plain('pves', [0, -0, 1e-45, 1.17549435e-38, 16777217, 999_999_936, -1e9, null]));
    return comesBack([
      ['random', values, 'float32', channel],
      ['edges', edge.values, 'float32', edge.channel],
    ]);
  });

  it('come back beside each other, each at its rate, start and unit', async () => {
    const random = randomly(5);
    const channels = [
      plain(
        'pves',
        array(1000, () => Number((random() * 50).toFixed(1))),
      ),
      plain(
        'pabd',
        array(300, () => Number((random() * 5).toFixed(3))),
        {unit: 'kPa', rate_hz: 2.5, start_s: 3.25},
      ),
      asInt16(
        plain(
          'emg',
          array(6000, () => random() * 100),
          {unit: 'uV', rate_hz: 1000, start_s: 0.001},
        ),
        0.05,
      ).channel,
      asFloat32(
        plain(
          'flow',
          array(100, () => random() * 3),
          {unit: 'L/min'},
        ),
      ).channel,
    ];
    const recording = await upload(channels);
    assert.equal(recording.duration_s, 3.25 + 300 / 2.5);
    const {traces: found} = await traces(recording.id);
    assert.deepEqual(
      found.map(({signal}) => signal),
      ['pabd', 'pves', 'flow', 'emg'],
    );
    for (const channel of channels) {
      const trace = found.find(({signal}) => signal === channel.signal);
      assert.equal(trace.unit, channel.unit);
      assert.equal(trace.rate_hz, channel.rate_hz);
      assert.equal(trace.start_s, channel.start_s ?? 0);
      if (channel.samples) {
        assert.deepEqual(trace.samples, channel.samples);
      }
    }
  });

  it('come back for every signal that there is', async () => {
    const recording = await upload(
      SIGNALS.map((signal, i) => plain(signal, [i, i + 0.5], signal === 'emg' ? {unit: 'mV'} : {})),
    );
    const {traces: found} = await traces(recording.id);
    for (const [i, signal] of SIGNALS.entries()) {
      assert.deepEqual(found.find((one) => one.signal === signal).samples, [i, i + 0.5]);
    }
  });
});

describe('a span of a trace', () => {
  const samples = array(10_000, (i) => i);
  let recording;

  before(async () => {
    recording = await upload([plain('pves', samples), plain('pabd', samples.slice(0, 500), {start_s: 100})]);
  });

  it('holds the samples within it', async () => {
    for (const [from, to, first, end] of [
      [0, 1, 0, 10],
      [0.1, 0.3, 1, 3],
      [0.05, 0.25, 1, 3],
      [409.5, 409.7, 4095, 4097],
      [999.9, 1000, 9999, 10_000],
      [123.4, 567.8, 1234, 5678],
      [-5, 0.2, 0, 2],
      [999, 5000, 9990, 10_000],
    ]) {
      const {
        traces: [trace],
        from_s,
      } = await traces(recording.id, `?signals=pves&from_s=${from}&to_s=${to}`);
      assert.deepEqual(trace.samples, samples.slice(first, end), `${from} to ${to}`);
      assert.ok(Math.abs(trace.start_s - first / 10) < 1e-9);
      assert.equal(from_s, Math.max(from, 0));
    }
  });

  it('before a channel starts holds none of its samples', async () => {
    const {
      traces: [trace],
    } = await traces(recording.id, '?signals=pabd&from_s=10&to_s=50');
    assert.deepEqual(trace.samples, []);
    assert.equal(trace.sample_count, 0);
  });

  it('has the signals that were asked for, in that order', async () => {
    const {traces: found} = await traces(recording.id, '?signals=pves,pabd&to_s=1');
    assert.deepEqual(
      found.map(({signal}) => signal),
      ['pves', 'pabd'],
    );
  });
});

describe('a reduced trace', () => {
  const random = randomly(6);
  const samples = array(30_000, (i) =>
    i % 97 === 0 || (i > 12_000 && i < 14_000) ? null : Number((random() * 100 - 20).toFixed(2)),
  );
  samples[17_777] = 987.65;
  samples[23_456] = -345.6;
  let recording;

  before(async () => {
    recording = await upload([plain('pves', samples, {start_s: 1.3})]);
  });

  for (const [from, to, points] of [
    [0, 3001.3, 1],
    [0, 3001.3, 7],
    [0, 3001.3, 800],
    [0, 3001.3, 10_000],
    [1000, 2000, 999],
    [1777.7, 2500.05, 333],
    [1300, 1400, 50],
  ]) {
    it(`holds every sample between least and greatest: ${from} s to ${to} s by ${points}`, async () => {
      const {
        traces: [trace],
      } = await traces(recording.id, `?signals=pves&from_s=${from}&to_s=${to}&points=${points}`);
      const indexOf = (at_s) => Math.max(Math.ceil((at_s - 1.3) * 10 - 1e-6), 0);
      const [begin, end] = [indexOf(from), Math.min(indexOf(to), samples.length)];
      const first = Math.round((trace.start_s - 1.3) * 10);
      const width = Math.round(trace.bin_s * 10);
      assert.equal(trace.samples, undefined);
      assert.equal(trace.sample_count, end - begin);
      assert.equal(trace.max.length, trace.min.length);
      assert.ok(trace.min.length <= points && trace.min.length > (points * 3) / 4 - 1, `${trace.min.length} bins`);
      assert.ok(first <= begin && begin - first <= width / 4, `from ${first} to ${begin}`);
      assert.ok(first + width * trace.min.length >= end);
      for (const [bin, least] of trace.min.entries()) {
        // The last may hold samples behind the span, as the first may before it.
        const held = (stop) =>
          samples.slice(first + bin * width, Math.min(first + (bin + 1) * width, stop)).filter((value) => value !== null);
        const [inside, whole] = [held(bin === trace.min.length - 1 ? end : samples.length), held(samples.length)];
        const extreme = (values, choose) => (values.length > 0 ? choose(...values) : null);
        assert.ok([extreme(inside, Math.min), extreme(whole, Math.min)].includes(least), `least of bin ${bin}`);
        assert.ok(
          [extreme(inside, Math.max), extreme(whole, Math.max)].includes(trace.max[bin]),
          `greatest of bin ${bin}`,
        );
      }
    });
  }

  it('is not reduced where the samples are fewer than the points', async () => {
    const {
      traces: [trace],
    } = await traces(recording.id, '?from_s=10&to_s=20&points=100');
    assert.deepEqual(trace.samples, samples.slice(87, 187));
    assert.equal(trace.min, undefined);
    const {
      traces: [reduced],
    } = await traces(recording.id, '?from_s=10&to_s=20&points=99');
    assert.equal(reduced.samples, undefined);
  });
});

describe('the detrusor pressure', () => {
  it('is served where it was not recorded: pves less pabd', async () => {
    const {document} = pressureFlow();
    const {json} = await clinic.addRecording(study.id, document);
    const {traces: found} = await traces(json.recording.id);
    assert.deepEqual(
      found.map(({signal}) => signal),
      ['pabd', 'pves', 'pdet', 'flow', 'vinf'],
    );
    const [pves, pabd] = ['pves', 'pabd'].map((name) => document.channels.find(({signal}) => signal === name).samples);
    const pdet = found.find(({signal}) => signal === 'pdet');
    assert.equal(pdet.derived, true);
    assert.ok(found.filter(({signal}) => signal !== 'pdet').every((trace) => !('derived' in trace)));
    assert.deepEqual(
      pdet.samples,
      pves.map((value, i) => Number((value - pabd[i]).toFixed(4))),
    );
    const {
      traces: [alone],
    } = await traces(json.recording.id, '?signals=pdet&from_s=100&to_s=200&points=20');
    assert.equal(alone.derived, true);
    assert.ok(alone.max.every((value, i) => value >= alone.min[i]));
  });

  it('is missing where either is', async () => {
    const recording = await upload([plain('pves', [10, null, 30, null]), plain('pabd', [1, 2, null, null])]);
    const {traces: found} = await traces(recording.id);
    assert.deepEqual(found.find(({signal}) => signal === 'pdet').samples, [9, null, null, null]);
  });

  it('is not derived on two time grids, nor where it was recorded', async () => {
    const other = await upload([plain('pves', [10, 20]), plain('pabd', [1, 2], {rate_hz: 5})]);
    assert.deepEqual(
      (await traces(other.id)).traces.map(({signal}) => signal),
      ['pabd', 'pves'],
    );
    await clinic.room.expect(422, 'GET', `/v1/recordings/${other.id}/traces?signals=pdet`);
    const recorded = await upload([plain('pves', [10, 20]), plain('pabd', [1, 2]), plain('pdet', [8, 17])]);
    const pdet = (await traces(recorded.id)).traces.find(({signal}) => signal === 'pdet');
    assert.deepEqual(pdet.samples, [8, 17]);
    assert.equal(pdet.derived, undefined);
  });
});

describe('a recording of every signal at once', () => {
  const UNITS = {flow: 'mL/s', vvoid: 'mL', vinf: 'mL', emg: 'uV', puller: 'mm', balloon: 'mL'};
  const anal = array(12, (i) => `panal${i + 1}`);
  const signals = ['pves', 'pabd', 'pura', 'flow', 'vvoid', 'vinf', 'emg', 'puller', 'prect', ...anal, 'balloon', 'pvag'];
  const random = randomly(9);
  const channels = ['pdet', ...signals].map((signal, i) => ({
    signal,
    unit: UNITS[signal] ?? (/^p(rect|anal)/.test(signal) ? 'mm[Hg]' : 'cm[H2O]'),
    rate_hz: signal === 'emg' ? 200 : 10 + i,
    start_s: i / 100,
    samples: array(signal === 'emg' ? 12_000 : 600, () => Number((random() * 60).toFixed(2))),
  }));

  it('comes back, and is computed, whatever its type', async () => {
    assert.equal(channels.length, 24);
    for (const type of [
      'uroflowmetry',
      'cystometry',
      'pressure_flow',
      'urethral_pressure_profile',
      'anorectal_manometry',
      'pelvic_floor_training',
    ]) {
      const {json} = await clinic.addRecording(study.id, {type, started_at: STARTED_AT, channels});
      assert.equal(json.analysis.type, type);
      const {traces: all} = await traces(json.recording.id);
      assert.equal(all.length, 24);
      for (const {signal, samples} of channels) {
        assert.deepEqual(all.find((trace) => trace.signal === signal).samples, samples, signal);
      }
    }
  });
});
