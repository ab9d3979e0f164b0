// What the pages make of samples, without a browser: traces of the API, and pieces of a running recording.
import assert from 'node:assert/strict';
import {test} from 'node:test';
import {LiveChannel, LiveData} from '../../server/web/src/live-data.js';
import {isKnownBy} from '../../server/web/src/live-numbers.js';
import {missingPieces} from '../../server/web/src/recording-state.js';
import {readTraces} from '../../server/web/src/trace-binary.js';
import {columns, extremes, valueAt} from '../../server/web/src/trace-data.js';

test('bins stand where their own trace says, also when the first begins before the span', () => {
  const fast = {signal: 'emg', start_s: 9.6, bin_s: 0.32, min: [1, null, 3], max: [2, null, 5]};
  const slow = {signal: 'flow', start_s: 7, bin_s: 3.2, min: [0, 4], max: [1, 6]};
  assert.deepEqual(columns(fast)[0].map((at) => at.toFixed(2)), ['9.76', '10.08', '10.40']);
  assert.deepEqual(columns(slow)[0].map((at) => at.toFixed(2)), ['8.60', '11.80']);
  assert.deepEqual(valueAt(fast, 10.3), {low: 3, high: 5});
  assert.equal(valueAt(fast, 10), null, 'missing');
  assert.equal(valueAt(fast, 11), undefined, 'outside');
  assert.deepEqual(valueAt(slow, 10.3), {low: 4, high: 6});
  assert.deepEqual(extremes(fast), {low: 1, high: 5});
});

test('float32 of the API becomes numbers and gaps, and is read out as it was recorded', () => {
  const traces = [
    {signal: 'pves', start_s: 1, rate_hz: 10, count: 3, samples_at: 0},
    {signal: 'emg', start_s: 1, rate_hz: 1000, bin_s: 0.5, count: 2, min_at: 12, max_at: 20},
  ];
  const heading = JSON.stringify({recording_id: 'x', from_s: 1, to_s: 2, traces});
  const padded = heading.padEnd(Math.ceil(heading.length / 4) * 4);
  const numbers = Float32Array.of(12.35, Number.NaN, -0.05, 1, Number.NaN, 1234.567, Number.NaN);
  const buffer = new ArrayBuffer(4 + padded.length + numbers.byteLength);
  new DataView(buffer).setUint32(0, padded.length, true);
  new Uint8Array(buffer, 4).set(new TextEncoder().encode(padded));
  new Uint8Array(buffer, 4 + padded.length).set(new Uint8Array(numbers.buffer));
  const answer = readTraces(buffer);
  const [pves, emg] = answer.traces;
  assert.deepEqual(pves.samples, [Math.fround(12.35), null, Math.fround(-0.05)]);
  assert.deepEqual([emg.min, emg.max], [[1, null], [Math.fround(1234.567), null]]);
  assert.deepEqual(valueAt(pves, 1), {low: 12.35, high: 12.35});
  assert.deepEqual(valueAt(emg, 1.2), {low: 1, high: 1234.567});
  assert.equal(valueAt(emg, 1.7), null);
  assert.equal(answer.to_s, 2);
});

const CHANNEL = {signal: 'pves', unit: 'cm[H2O]', rate_hz: 10, start_s: 2};

test('pieces in any order, twice or never leave each sample in its place and gaps between', () => {
  const channel = new LiveChannel(CHANNEL);
  channel.put(4, [4, 5]);
  channel.put(0, [0, null]);
  channel.put(4, [4, 5]);
  const {samples, start_s: startS} = channel.trace(0, 100, 50);
  assert.deepEqual(samples, [0, null, null, null, 4, 5]);
  assert.equal(startS, 2);
  assert.equal(channel.endS, 2.6);
  assert.deepEqual([channel.low, channel.high, channel.newest], [0, 5, 5]);
});

test('three hours are kept whole, and drawn as no more points than asked for, each extreme among them', () => {
  const channel = new LiveChannel(CHANNEL);
  const count = 3 * 3600 * 10;
  const valueOf = (index) => Math.sin(index / 50) + (index === 77777 ? 9 : 0);
  for (let first = 0; first < count; first += 10) {
    channel.put(first, Array.from({length: 10}, (_, index) => valueOf(first + index)));
  }
  assert.ok(channel.samples.length < 2 * count, 'grown by doubling');
  assert.equal(channel.samples[54321], valueOf(54321));
  const whole = channel.trace(-Infinity, Infinity, 1500);
  assert.ok(whole.min.length <= 1500);
  assert.equal(Math.max(...whole.max), valueOf(77777));
  const span = channel.trace(1002, 6002, 1000);
  assert.equal(Math.round(((span.start_s - 2) * 10) % (span.bin_s * 10)), 0, 'bins stay where they are while the span moves');
  span.min.slice(0, -1).forEach((low, bin) => {
    const first = Math.round((span.start_s - 2 + bin * span.bin_s) * 10);
    const values = Array.from({length: Math.round(span.bin_s * 10)}, (_, index) => valueOf(first + index));
    assert.deepEqual([low, span.max[bin]], [Math.min(...values), Math.max(...values)]);
  });
});

test('pdet comes of pves and pabd where both have come; an event counts once however often its piece comes', () => {
  const data = new LiveData([CHANNEL, {...CHANNEL, signal: 'pabd'}]);
  const event = {at_s: 2.1, code: 'cough'};
  const piece = {
    number: 3,
    channels: [{signal: 'pves', first: 0, samples: [30, 31, null]}, {signal: 'pabd', first: 0, samples: [10, 12, 13]}],
    events: [event],
  };
  assert.equal(data.take(piece), true);
  assert.equal(data.take(piece), false);
  assert.deepEqual(data.bySignal.get('pdet').trace(0, 9, 50).samples, [20, 19, null]);
  assert.deepEqual(data.events, [event]);
  assert.deepEqual(data.channels.map(({signal}) => signal), ['pabd', 'pves', 'pdet']);
});

test('what lies between the pieces that came is missing', () => {
  assert.deepEqual(missingPieces([[0, 4]]), []);
  assert.deepEqual(missingPieces([[2, 4], [6, 6], [9, 11]]), [[0, 1], [5, 5], [7, 8]]);
});

test('no capacity stands at the top before the filling has ended, no voiding before it may begin, and no index of half a voiding', () => {
  const keys = ['filling.cystometric_capacity', 'voiding.qmax', 'voiding.booi', 'uroflow.qmax', 'uroflow.voiding_efficiency', 'training.rest_tone'];
  const shown = (...codes) => {
    const isKnown = isKnownBy(codes.map((code, index) => ({at_s: index, code})));
    return keys.filter((key) => isKnown(...key.split('.')));
  };
  assert.deepEqual(shown(), ['uroflow.qmax', 'training.rest_tone']);
  assert.deepEqual(shown('filling_start', 'leak', 'filling_stop'), ['uroflow.qmax', 'training.rest_tone']);
  const afterwards = ['filling.cystometric_capacity', 'voiding.qmax', 'uroflow.qmax', 'training.rest_tone'];
  assert.deepEqual(shown('filling_start', 'permission_to_void'), afterwards);
  assert.deepEqual(shown('void_start'), afterwards);
});
