// A recording is the same in every form in which it may be sent and had: random channels, rates, gaps,
// units and encodings go in one way, come out every way, and go in again.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {encoded} from './lib/recordings.mjs';

let installation;
let clinic;
let study;

before(async () => {
  installation = await Installation.create('forms');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the forms');
  study = await clinic.addVisit();
});

after(() => installation.remove());

/** A generator of the same numbers at every run (mulberry32). */
function randomly(seed) {
  let state = seed;
  const next = () => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
  next.pick = (list) => list[Math.floor(next() * list.length)];
  next.whole = (least, most) => least + Math.floor(next() * (most - least + 1));
  return next;
}

const UNITS = {
  pves: ['cm[H2O]', 'kPa', 'mm[Hg]'],
  pabd: ['cm[H2O]', 'mm[Hg]'],
  flow: ['mL/s', 'mL/min'],
  vvoid: ['mL', 'L'],
  emg: ['uV', 'mV'],
  panal1: ['mm[Hg]', 'kPa'],
  puller: ['mm', 'cm'],
};

let recordings = 0;

/** A start of its own for each, or two might be the same recording. */
const startedAt = () => new Date(Date.UTC(2026, 2, 2, 8) + 60_000 * recordings++).toISOString().replace('.000', '');

/** Runs of missing samples. */
function withGaps(random, values) {
  let missing = false;
  return values.map((value) => {
    missing = random() < (missing ? 0.2 : 0.02) ? !missing : missing;
    return missing ? null : value;
  });
}

/** {channel: as it is sent, values: what must come back}. */
function makeChannel(random, signal, grid) {
  const base = {signal, unit: random.pick(UNITS[signal]), rate_hz: grid.rate_hz, start_s: grid.start_s};
  const count = Math.round(grid.length_s * grid.rate_hz);
  const codes = withGaps(
    random,
    Array.from({length: count}, (_, i) => Math.round(300 * Math.sin(i / 40) + random.whole(-20, 20))),
  );
  const kind = random.pick(grid.kinds);
  if (kind === 'int16') {
    const scale = random.pick([0.1, 0.05, 0.25, -0.5]);
    const offset = random.pick([0, 2, -12.5]);
    const sent = Int16Array.from(codes, (code) => code ?? -32768);
    return {
      channel: encoded({...base, samples: []}, 'int16', sent, {scale, offset}),
      values: codes.map((code) => (code === null ? null : code * scale + offset)),
    };
  }
  if (kind === 'float32') {
    const sent = Float32Array.from(codes, (code) => (code === null ? NaN : code / 7));
    return {
      channel: encoded({...base, samples: []}, 'float32', sent),
      values: Array.from(sent, (value) => (Number.isNaN(value) ? null : value)),
    };
  }
  const decimals = random.pick([0, 1, 2, 3]);
  const values = codes.map((code) => (code === null ? null : Number((code / 10 ** decimals).toFixed(decimals)) + 0));
  return {channel: {...base, samples: values}, values};
}

/** `grids` says whether the channels share rate and start. */
function makeRecording(random, {kinds, oneGrid}) {
  const shared = {rate_hz: random.pick([4, 10, 20, 50]), start_s: 0, length_s: random.whole(20, 60), kinds};
  const signals = Object.keys(UNITS).filter(() => random() < 0.5);
  const made = (signals.length > 0 ? signals : ['pves']).map((signal) =>
    makeChannel(
      random,
      signal,
      oneGrid
        ? shared
        : {...shared, rate_hz: random.pick([2, 10, 25, 100]), start_s: random.pick([0, 0.5, 1]), length_s: random.whole(5, 40)},
    ),
  );
  const events = Array.from({length: random.whole(0, 4)}, () => ({
    at_s: random.whole(0, 500) / 100,
    code: random.pick(['cough', 'leak', 'first_desire', 'comment', 'clinic_own']),
    ...(random() < 0.5 ? {note: 'a note: with [brackets] and "quotes"'} : {}),
    ...(random() < 0.3 ? {value: random.whole(1, 90)} : {}),
  })).sort((one, other) => one.at_s - other.at_s);
  return {
    document: {type: 'cystometry', started_at: startedAt(), channels: made.map(({channel}) => channel), events},
    truth: made.map(({channel, values}) => ({
      signal: channel.signal,
      unit: channel.unit,
      rate_hz: channel.rate_hz,
      start_s: channel.start_s,
      values,
    })),
    events,
  };
}

const bySignal = (one, other) => (one.signal < other.signal ? -1 : 1);

/** What the server has of a recording, in the shape of `truth`. */
async function stored(id) {
  const signals = (await clinic.room.get(`/v1/recordings/${id}`)).json.channels.map(({signal}) => signal);
  const {json} = await clinic.room.get(`/v1/recordings/${id}/traces?signals=${signals}`);
  return json.traces
    .map(({signal, unit, rate_hz, start_s, samples}) => ({signal, unit, rate_hz, start_s, values: samples}))
    .sort(bySignal);
}

const storedEvents = async (id) => (await clinic.room.get(`/v1/recordings/${id}/events`)).json.events;

const target = () => `/v1/studies/${study.id}/recordings`;

async function send(document) {
  return (await clinic.room.expect(201, 'POST', target(), {json: document})).json.recording;
}

async function sendFile(mediaType, body, query) {
  return (
    await clinic.room.expect(201, 'POST', `${target()}?type=cystometry&${query}`, {
      body,
      headers: {'content-type': mediaType},
    })
  ).json;
}

/** The bytes of the traces in another form. */
async function had(id, mediaType, query = '') {
  const answer = await fetch(`${clinic.room.url}/v1/recordings/${id}/traces${query}`, {
    headers: {...clinic.room.headers, accept: mediaType},
  });
  assert.equal(answer.status, 200, mediaType);
  assert.equal(answer.headers.get('content-type').split(';')[0], mediaType);
  return {bytes: new Uint8Array(await answer.arrayBuffer()), headers: answer.headers};
}

function assertSame(got, truth, what) {
  assert.deepEqual(got, [...truth].sort(bySignal), what);
}

const ALL = ['decimal', 'int16', 'float32'];

describe('what is sent as JSON', () => {
  it('is the same as CSV, sent again', async () => {
    const random = randomly(11);
    for (let round = 0; round < 12; round++) {
      const made = makeRecording(random, {kinds: ALL, oneGrid: round % 2 === 0});
      const recording = await send(made.document);
      assertSame(await stored(recording.id), made.truth, `round ${round}, as sent`);
      const {bytes} = await had(recording.id, 'text/csv');
      const again = await sendFile('text/csv', bytes, `started_at=${encodeURIComponent(startedAt())}`);
      assertSame(await stored(again.recording.id), made.truth, `round ${round}, as CSV\n${Buffer.from(bytes).subarray(0, 600)}`);
      assert.deepEqual(await storedEvents(again.recording.id), await storedEvents(recording.id));
    }
  });

  it('is the same as EDF, sent again, where 16 bits hold it', async () => {
    const random = randomly(12);
    for (let round = 0; round < 12; round++) {
      const made = makeRecording(random, {kinds: ['decimal', 'int16'], oneGrid: true});
      const recording = await send(made.document);
      const {bytes, headers} = await had(recording.id, 'application/edf');
      assert.equal(headers.get('penstock-rounded'), null, `round ${round}`);
      const again = await sendFile('application/edf', bytes, `started_at=${encodeURIComponent(startedAt())}`);
      const got = await stored(again.recording.id);
      for (const [i, truth] of [...made.truth].sort(bySignal).entries()) {
        assert.equal(got[i].signal, truth.signal);
        assert.equal(got[i].rate_hz, truth.rate_hz);
        assert.equal(got[i].unit, truth.unit);
        // A record is filled up with missing samples; the scale of the header is a decimal.
        const values = got[i].values.slice(0, truth.values.length);
        assert.ok(got[i].values.slice(truth.values.length).every((value) => value === null));
        values.forEach((value, at) => {
          if (truth.values[at] === null || value === null) {
            assert.equal(value, truth.values[at], `round ${round}, ${truth.signal}, sample ${at}`);
          } else {
            assert.ok(Math.abs(value - truth.values[at]) <= 1e-12 * Math.max(1, Math.abs(value)), `round ${round}`);
          }
        });
      }
      assert.deepEqual(await storedEvents(again.recording.id), await storedEvents(recording.id));
      const mapped = again.mapping.signals.map(({signal}) => signal).sort();
      assert.deepEqual(mapped, made.truth.map(({signal}) => signal).sort());
    }
  });

  it('is the same as float32', async () => {
    const random = randomly(13);
    for (let round = 0; round < 6; round++) {
      const made = makeRecording(random, {kinds: ['float32'], oneGrid: round % 2 === 0});
      const recording = await send(made.document);
      const signals = made.truth.map(({signal}) => signal);
      const {bytes} = await had(recording.id, 'application/octet-stream', `?signals=${signals}`);
      const view = new DataView(bytes.buffer);
      const length = view.getUint32(0, true);
      const heading = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length)));
      for (const [i, trace] of heading.traces.entries()) {
        const samples = new Float32Array(bytes.buffer, 4 + length + trace.samples_at, trace.count);
        const values = Array.from(samples, (value) => (Number.isNaN(value) ? null : value));
        assert.deepEqual(values, made.truth[i].values, trace.signal);
      }
    }
  });

  it('is the same in pieces', async () => {
    const random = randomly(14);
    for (let round = 0; round < 6; round++) {
      const made = makeRecording(random, {kinds: ['decimal'], oneGrid: round % 2 === 0});
      const {channels, events, ...rest} = made.document;
      const opened = await clinic.room.post('/v1/recordings', {
        ...rest,
        study_id: study.id,
        channels: channels.map(({signal, unit, rate_hz, start_s}) => ({signal, unit, rate_hz, start_s})),
      });
      const count = random.whole(1, 7);
      const numbers = Array.from({length: count}, (_, n) => n).sort(() => random() - 0.5);
      for (const n of numbers) {
        const part = ({signal, samples}) => {
          const first = Math.floor((n * samples.length) / count);
          const end = Math.floor(((n + 1) * samples.length) / count);
          return {signal, first, ...(end > first ? {samples: samples.slice(first, end)} : {})};
        };
        await clinic.room.expect(200, 'PUT', `/v1/recordings/${opened.json.id}/chunks/${n}`, {
          json: {channels: channels.map(part), events: n === 0 ? events : []},
        });
      }
      await clinic.room.expect(200, 'POST', `/v1/recordings/${opened.json.id}/completion`, {json: {chunks: count}});
      assertSame(await stored(opened.json.id), made.truth, `round ${round}`);
      assert.deepEqual(await storedEvents(opened.json.id), events);
    }
  });
});

describe('a file', () => {
  it('can be had in parts, and asked for again only when it has changed', async () => {
    const random = randomly(15);
    const recording = await send(makeRecording(random, {kinds: ALL, oneGrid: true}).document);
    for (const mediaType of ['application/edf', 'application/octet-stream']) {
      const whole = await had(recording.id, mediaType);
      const etag = whole.headers.get('etag');
      const url = `${clinic.room.url}/v1/recordings/${recording.id}/traces`;
      const ask = (headers) => fetch(url, {headers: {...clinic.room.headers, accept: mediaType, ...headers}});
      const part = await ask({range: 'bytes=100-299'});
      assert.equal(part.status, 206);
      assert.equal(part.headers.get('content-range'), `bytes 100-299/${whole.bytes.length}`);
      assert.deepEqual(new Uint8Array(await part.arrayBuffer()), whole.bytes.slice(100, 300));
      assert.equal((await ask({range: `bytes=${whole.bytes.length}-`})).status, 416);
      assert.equal((await ask({'if-none-match': etag})).status, 304);
    }
  });

  it('has an ETag of its own in every form, so that no cache takes one for another', async () => {
    const recording = await send(makeRecording(randomly(18), {kinds: ['int16'], oneGrid: true}).document);
    const url = `${clinic.room.url}/v1/recordings/${recording.id}/traces`;
    const forms = ['application/json', 'application/octet-stream', 'text/csv', 'application/edf'];
    const ask = (accept, known) =>
      fetch(url, {headers: {...clinic.room.headers, accept, ...(known && {'if-none-match': known})}});
    const etags = await Promise.all(forms.map(async (form) => (await ask(form)).headers.get('etag')));
    assert.equal(new Set(etags).size, forms.length, etags.join(' '));
    for (const [i, form] of forms.entries()) {
      const others = etags.filter((_, other) => other !== i).join(', ');
      assert.equal((await ask(form, others)).status, 200, form);
      assert.equal((await ask(form, etags[i])).status, 304, form);
    }
  });

  it('says what is wrong with it, all at once', async () => {
    const refuse = async (mediaType, body, query, wanted) => {
      const answer = await clinic.room.expect(422, 'POST', `${target()}?${query}`, {
        body,
        headers: {'content-type': mediaType},
      });
      const pointers = answer.json.errors.map(({pointer}) => pointer);
      for (const pointer of wanted) {
        assert.ok(pointers.includes(pointer), `${pointer} in ${answer.text.slice(0, 600)}`);
      }
    };
    await refuse('text/csv', 'time_s,pves [furlong],what [mL]\n0,1,2\n0.1,x,3\n', '', [
      '?type',
      '?started_at',
      '/columns/1/unit',
      '/columns/2/signal',
    ]);
    const recording = await send(makeRecording(randomly(16), {kinds: ['int16'], oneGrid: true}).document);
    const {bytes} = await had(recording.id, 'application/edf');
    bytes.set(Buffer.from('Mystery 1       '), 256);
    await refuse('application/edf', bytes, 'labels=x&conditions=%7B%22position%22:5%7D', [
      '?type',
      '?labels',
      '?conditions/position',
      '/signals/0/label',
    ]);
    for (const mediaType of ['text/csv', 'application/edf']) {
      await clinic.room.expect(400, 'POST', `${target()}?type=cystometry&started_at=2026-01-01T00:00:00Z`, {
        body: Buffer.from([0xff, 0xfe, 0, 1, 2]),
        headers: {'content-type': mediaType},
      });
    }
  });

  it('is told which label is which, and which are not wanted', async () => {
    const grid = {rate_hz: 10, start_s: 0, length_s: 20, kinds: ['int16']};
    const random = randomly(17);
    const channels = ['pves', 'flow'].map((signal) => ({...makeChannel(random, signal, grid).channel}));
    channels[0].unit = 'cm[H2O]';
    const recording = await send({type: 'cystometry', started_at: startedAt(), channels});
    const {bytes} = await had(recording.id, 'application/edf');
    bytes.set(Buffer.from('Line A: first   '), 256);
    const query = (labels) => `started_at=${encodeURIComponent(startedAt())}&labels=${encodeURIComponent(labels)}`;
    const mapped = await sendFile('application/edf', bytes, query('line a: first:pura'));
    assert.deepEqual(
      mapped.mapping.signals.map(({label, signal}) => [label, signal]),
      [
        ['Line A: first', 'pura'],
        ['Flow', 'flow'],
      ],
    );
    assert.deepEqual(mapped.recording.channels.map(({signal}) => signal), ['pura', 'flow']);
    const without = await sendFile('application/edf', bytes, query('Line A: first:-'));
    assert.equal(without.mapping.signals[0].signal, null);
    assert.deepEqual(without.recording.channels.map(({signal}) => signal), ['flow']);
  });
});
