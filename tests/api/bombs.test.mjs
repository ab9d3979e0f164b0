// Requests that are made to cost more than they should: each is refused clearly, the memory of the server
// stays within a small multiple of what its largest sound upload takes, and it still answers afterwards.
import assert from 'node:assert/strict';
import {readFileSync, writeFileSync} from 'node:fs';
import {after, before, describe, it} from 'node:test';
import zlib from 'node:zlib';
import {pointers} from './lib/client.mjs';
import {Clinic, patientDocument, ROLES, studyDocument} from './lib/clinic.mjs';
import {operations, roleFor} from './lib/contract.mjs';
import {
  edf,
  edfPointer,
  emptyFrames,
  filled,
  gzipOfZeros,
  zstdFrame,
  zstdOfZeros,
  zstdRaw,
} from './lib/hostile.mjs';
import {Installation} from './lib/installation.mjs';
import {openingOf} from './lib/pieces.mjs';
import {exchange, head} from './lib/raw.mjs';
import {STARTED_AT, uroflowmetry} from './lib/recordings.mjs';
import {leavesNothing} from './lib/unchanged.mjs';

const KIB = 1024;
const MIB = 1024 * KIB;
const RECORDING_LIMIT = 64 * MIB;
const PIECE_LIMIT = 8 * MIB;
const DOCUMENT_LIMIT = 256 * KIB;

/** How much more than the largest sound upload a refused request may take. */
const TIMES_SOUND = 2;

/** So that a sanitiser does not keep what is given back, which would be measured too. */
const SANITISER = 'quarantine_size_mb=1:thread_local_quarantine_size_kb=64';

let installation;
let clinic;
let study;
let erasureId;
let openId;
let recordingId;
let soundGrowth;
let restBefore;

before(async () => {
  installation = await Installation.create('bombs');
  await installation.start({ASAN_OPTIONS: `${process.env.ASAN_OPTIONS ?? ''}:${SANITISER}`});
  clinic = await Clinic.open(installation, 'Clinic of the bombs');
  for (const role of ROLES) {
    await clinic.person(role);
  }
  const {id} = await clinic.addPatient();
  erasureId = (await clinic.people.physician.post(`/v1/patients/${id}/erasure`, {reason: 'a test, and why'})).json.id;
  study = await clinic.addVisit();
  recordingId = (await clinic.addRecording(study.id, uroflowmetry().document)).json.recording.id;
  openId = (await clinic.room.post('/v1/recordings', openingOf(study.id, uroflowmetry().document))).json.id;
  const body = filled(JSON.stringify(uroflowmetry().document), ' ', '', RECORDING_LIMIT);
  soundGrowth = await growth(async () => {
    await clinic.room.expect(200, 'POST', '/v1/analyses', {body, headers: {'content-type': 'application/json'}});
  });
  assert.ok(soundGrowth > RECORDING_LIMIT / 2, `${soundGrowth} bytes for the largest sound upload: is it measured?`);
  restBefore = memory('VmRSS');
});

after(async () => {
  const left = memory('VmRSS') - restBefore;
  assert.ok(left < TIMES_SOUND * soundGrowth, `${left / MIB} MiB are held that were not held before`);
  await installation.remove();
});

/** Bytes of the server's memory: VmRSS now, or VmHWM at most since it was last reset. */
function memory(name) {
  const status = readFileSync(`/proc/${installation.process.pid}/status`, 'utf8');
  return KIB * Number(new RegExp(`^${name}:\\s+(\\d+) kB$`, 'm').exec(status)[1]);
}

/** By how many bytes the server's memory grew at most while `act` ran (proc(5): 5 resets the peak). */
async function growth(act) {
  writeFileSync(`/proc/${installation.process.pid}/clear_refs`, '5');
  const resident = memory('VmRSS');
  await act();
  return memory('VmHWM') - resident;
}

/** Runs `act`, which must not take much more memory than the largest sound upload; afterwards the server still
 * answers. */
async function bounded(act) {
  const grown = await growth(act);
  const most = TIMES_SOUND * soundGrowth;
  assert.ok(grown < most, `${(grown / MIB).toFixed()} MiB, with ${(soundGrowth / MIB).toFixed()} for a sound upload`);
  await clinic.room.get('/v1/patients?limit=1');
}

/** A refusal that says why: its status, and a detail for each fault. */
function isClear(answer, statuses, what) {
  assert.ok([statuses].flat().includes(answer.status), `${what}: ${answer.what}: ${answer.text.slice(0, 500)}`);
  const details = answer.json.errors?.map(({detail}) => detail) ?? [answer.json.detail];
  assert.ok(details.length > 0 && details.every((detail) => detail.length > 5), `${what}: ${answer.text.slice(0, 500)}`);
}

const fileQuery = (type) => `?type=${type}&started_at=${encodeURIComponent(STARTED_AT)}`;
const uploads = (query = '') => `/v1/studies/${study.id}/recordings${query}`;

function idFor(path) {
  if (path.includes('/studies/') || path.includes('/erasures/')) {
    return path.includes('/studies/') ? study.id : erasureId;
  }
  return path.includes('/patients/') ? study.patient_id : /events|analysis$|traces/.test(path) ? recordingId : openId;
}

/** Every place that takes a body, with every media type: {method, target, client, mediaType, limit}. */
function places() {
  const limits = {
    '/v1/studies/{id}/recordings': RECORDING_LIMIT,
    '/v1/recordings/{id}/events': RECORDING_LIMIT,
    '/v1/analyses': RECORDING_LIMIT,
    '/v1/recordings/{id}/chunks/{n}': PIECE_LIMIT,
  };
  return operations
    .filter(({operation}) => operation.requestBody)
    .flatMap(({method, path, operation, roles}) =>
      Object.keys(operation.requestBody.content).map((mediaType) => ({
        method,
        target: path.replace('{id}', idFor(path)).replace('{n}', '0'),
        client: clinic.people[roleFor({roles})],
        mediaType,
        limit: limits[path] ?? DOCUMENT_LIMIT,
      })),
    );
}

const placeOf = (target, mediaType = 'application/json') =>
  places().find((one) => one.target === target && one.mediaType === mediaType);

/** One place for each limit: what decodes is the same for all. */
const placesByLimit = () => [...new Map(places().map((place) => [place.limit, place])).values()];

const send = ({method, target, client, mediaType}, body, coding) =>
  client.request(method, target, {
    body,
    headers: {
      'content-type': mediaType,
      'if-match': '"1"',
      ...(coding && {'content-encoding': coding}),
    },
  });

/** The largest bomb of each kind that fits a route's limit before it goes off. */
const largest = (limit, kinds) => kinds.filter((bytes) => bytes.length <= limit).at(-1);

describe('a compressed bomb', () => {
  leavesNothing(() => installation);

  it('is 413 on every route, at 10 GB or as many as fit', async () => {
    // 64 MiB each for gzip: 0.2, 6 and 10 GB; 128 KiB each for zstd: 7.5 and 10.5 GB.
    const kinds = {gzip: [3, 100, 160].map(gzipOfZeros), zstd: [60_000, 80_000].map(zstdOfZeros)};
    for (const place of places()) {
      for (const [coding, bombs] of Object.entries(kinds)) {
        await bounded(async () =>
          isClear(await send(place, largest(place.limit, bombs), coding), 413, `${coding} as ${place.mediaType}`),
        );
      }
    }
  });

  it('is 413 in many members or frames', async () => {
    const kinds = {
      gzip: zlib.gzipSync(Buffer.alloc(MIB), {level: 9}),
      zstd: zstdOfZeros(8),
    };
    for (const place of placesByLimit()) {
      for (const [coding, one] of Object.entries(kinds)) {
        const body = filled('', one, '', Math.min(place.limit, 128 * KIB));
        await bounded(async () => isClear(await send(place, body, coding), 413, coding));
      }
    }
  });

  it('is 400 in frames with nothing in them', async () => {
    for (const place of placesByLimit()) {
      for (const [coding, frames] of Object.entries(emptyFrames)) {
        const body = frames(Math.min(place.limit, 2 * MIB));
        await bounded(async () => isClear(await send(place, body, coding), 400, coding));
      }
    }
  });

  it('is 400 with a window beyond the limit, cut off, or with something behind it', async () => {
    const content = Buffer.from('{"x": 1}');
    const gzip = zlib.gzipSync(content);
    const zstd = zstdRaw(content);
    const cases = [
      ['zstd', zstdRaw(content, 24)],
      ['zstd', zstdRaw(content, 41)],
      ['zstd', zstdFrame(41, [])],
      ['zstd', zstd.subarray(0, -1)],
      ['zstd', zstd.subarray(0, 5)],
      ['zstd', Buffer.concat([zstd, Buffer.from('{}')])],
      ['zstd', Buffer.concat([zstd, zstd.subarray(0, 7)])],
      ['gzip', gzip.subarray(0, -1)],
      ['gzip', gzip.subarray(0, 11)],
      ['gzip', Buffer.concat([gzip, Buffer.from('{}')])],
      ['gzip', Buffer.concat([gzip, gzip.subarray(0, 15)])],
      ['gzip', zstd],
      ['zstd', gzip],
    ];
    for (const place of places()) {
      await bounded(async () => {
        for (const [index, [coding, body]] of cases.entries()) {
          isClear(await send(place, body, coding), 400, `case ${index}`);
        }
      });
    }
  });

  it('is 413 with 40 million numbers in it', () =>
    bounded(async () => {
      const start = '{"type":"cystometry","channels":[{"signal":"pves","samples":[';
      const body = zlib.gzipSync(filled(start, '1,', '1]}]}', 80 * MIB), {level: 1});
      isClear(await send(placeOf('/v1/analyses'), body, 'gzip'), 413, 'gzip');
    }));
});

/** A sound beginning, up to the samples. */
const FLOW = `{"type":"uroflowmetry","started_at":"${STARTED_AT}",
  "channels":[{"signal":"flow","unit":"mL/s","rate_hz":10,`;

const strings = (size) => filled('{"type":[', '"",', '""]}', size);

function members(count) {
  return `{${Array.from({length: count}, (_, i) => `"${i.toString(36)}":1`).join(',')}}`;
}

describe('a document of JSON', () => {
  leavesNothing(() => installation);

  /** By what it is: [body of so many bytes, status]. */
  const HOSTILE = {
    'nested arrays': [(size) => filled('', '[', '', size), 400],
    'nested objects': [(size) => filled('', '{"a":', '', size), 400],
    'digits': [(size) => filled('{"type":', '1', '}', size), 400],
    'a fraction': [(size) => filled('{"type":0.', '1', '}', size), 422],
    'an exponent': [(size) => filled('{"type":1e', '9', '}', size), 400],
    'one string': [(size) => filled('{"type":"', 'a', '"}', size), 422],
    'a string of escapes': [(size) => filled('{"type":"', '\\u00e9', '"}', size), 422],
    'a string without end': [(size) => filled('{"type":"', 'a', '', size), 400],
    'one key': [(size) => filled('{"', 'a', '":1}', size), 422],
    'white space': [(size) => filled('', ' ', '', size), 400],
    'empty objects': [(size) => filled('{"x":[', '{},', '{}]}', size), 400],
    'bytes that are no UTF-8': [(size) => filled('{"type":"', '\xff', '"}', size), 400],
    'commas': [(size) => filled(`${FLOW}"samples":[`, ',', ']}]}', size), 400],
  };

  for (const [what, [make, statuses]] of Object.entries(HOSTILE)) {
    it(`is refused: ${what}`, () =>
      bounded(async () => {
        const body = make(2 * MIB);
        for (const target of ['/v1/analyses', `/v1/recordings/${openId}/chunks/0`, `/v1/recordings/${recordingId}/events`]) {
          isClear(await send(placeOf(target), body), statuses, what);
        }
      }));
  }

  it('is refused at 64 MiB of arrays, and 32 of one string', async () => {
    for (const [what, size] of [
      ['nested arrays', RECORDING_LIMIT],
      ['one string', RECORDING_LIMIT / 2],
    ]) {
      const [make, statuses] = HOSTILE[what];
      await bounded(async () => isClear(await send(placeOf('/v1/analyses'), make(size)), statuses, what));
    }
  });

  it('is refused with millions of values, members or events', async () => {
    const analyses = placeOf('/v1/analyses');
    const cases = [
      [strings(PIECE_LIMIT / 2), 422],
      [filled('{"type":[', '1,', '1]}', PIECE_LIMIT / 2), 422],
      [filled('{"type":[', '1,', '1]}', PIECE_LIMIT), 400],
      [members(1_000_000), 400],
      [members(249_000), 422],
      [filled(`${FLOW}"samples":[1,2]}],"events":[`, '{"at_s":0,"code":"cough"},', '{}]}', 26 * MIB), 400],
      [filled(`${FLOW}"samples":[`, '"x",', '1]}]}', 2 * MIB), 422],
    ];
    for (const [index, [body, status]] of cases.entries()) {
      await bounded(async () => isClear(await send(analyses, body), status, `case ${index}`));
    }
  });

  it('is refused with more samples than a channel may have', () =>
    bounded(async () => {
      const answer = await send(placeOf('/v1/analyses'), filled(`${FLOW}"samples":[`, '1,', '1]}]}', 32 * MIB + KIB));
      assert.deepEqual(pointers(answer), ['/channels/0/samples']);
      assert.match(answer.json.errors[0].detail, /At most 16777216 samples/);
    }));

  it('is refused with samples in faulty digits or base64', () =>
    bounded(async () => {
      const data = `${FLOW}"encoding":"float32","data":"`;
      for (const [body, statuses] of [
        [filled(`${FLOW}"samples":[`, '1', ']}]}', 2 * MIB), 400],
        [filled(`${FLOW}"samples":[1e`, '9', ']}]}', 2 * MIB), 400],
        [filled(`${FLOW}"samples":[1e-`, '9', ',"x"]}]}', 2 * MIB), 422],
        [filled(data, '!', '"}]}', 2 * MIB), 422],
        [filled(data, '=', '"}]}', 2 * MIB), 422],
        [filled(data, '\\/', '"}]}', 2 * MIB), 422],
        [filled(data, 'AAAA', 'A"}]}', 2 * MIB), 422],
        [filled(data, '/', '"}]}', 2 * MIB), 422],
      ]) {
        isClear(await send(placeOf('/v1/analyses'), body), statuses, body.toString('latin1', 0, 200));
      }
    }));

  it('is refused with absurd rates and places', async () => {
    const opening = openingOf(study.id, uroflowmetry().document);
    for (const rate_hz of [0, -1, 1e308, -1e308, 20_001]) {
      const channels = [{...opening.channels[0], rate_hz}];
      const answer = await clinic.room.request('POST', '/v1/recordings', {json: {...opening, channels}});
      isClear(answer, 422, `${rate_hz} Hz`);
    }
    for (const rate of ['NaN', 'Infinity', '1e309', '-1e309', '0x10', '.5', '1.']) {
      const body = JSON.stringify(opening).replace('"rate_hz":20', `"rate_hz":${rate}`);
      assert.ok(body.includes(rate));
      isClear(await send(placeOf('/v1/recordings'), body), 400, rate);
    }
    for (const first of [16 * MIB, 2 ** 31, 2 ** 53, 1e308, -1e308, 0.5]) {
      const json = {channels: [{signal: 'flow', first, samples: [1]}]};
      isClear(await clinic.room.request('PUT', `/v1/recordings/${openId}/chunks/0`, {json}), 422, `first ${first}`);
    }
  });

  it('is refused with overlong texts, wherever one stands', async () => {
    const long = 'x'.repeat(200_000);
    const {document} = uroflowmetry();
    const [channel] = document.channels;
    const cases = [
      ['/v1/patients', clinic.room, patientDocument(), ['mrn', 'family_name', 'given_name', 'birth_date', 'sex', 'id']],
      [
        '/v1/studies',
        clinic.room,
        studyDocument(study.patient_id),
        ['patient_id', 'room', 'started_at', 'operator', 'position', 'id'],
      ],
      ['/v1/users', clinic.administrator, {}, ['username', 'display_name', 'password']],
      ['/v1/tokens', clinic.administrator, {roles: ['room']}, ['name', 'expires_at']],
      ['/v1/recordings', clinic.room, openingOf(study.id, document), ['id', 'study_id', 'type', 'started_at']],
      [uploads(), clinic.room, document, ['id', 'type', 'started_at']],
    ];
    for (const [target, client, sound, names] of cases) {
      const json = {...sound, ...Object.fromEntries(names.map((name) => [name, long.slice(0, 200_000 / names.length)]))};
      const answer = await client.expect(422, 'POST', target, {json});
      for (const name of names) {
        assert.ok(pointers(answer).includes(`/${name}`), `${name} of ${target}: ${answer.text.slice(0, 800)}`);
      }
      assert.ok(answer.text.length < 8000, 'it does not come back');
    }
    const json = {
      ...document,
      conditions: {position: long, reference_level: long, [long]: 1},
      channels: [{...channel, signal: long, unit: long, encoding: long, samples: undefined}, {...channel, unit: long}],
      events: [{at_s: 1, code: long}, {at_s: 1, code: 'cough', note: long}],
    };
    const answer = await clinic.room.expect(422, 'POST', uploads(), {json});
    for (const pointer of [
      '/conditions',
      '/conditions/position',
      '/channels/0/signal',
      '/channels/0/unit',
      '/channels/0/encoding',
      '/channels/1/unit',
      '/events/0/code',
      '/events/1/note',
    ]) {
      assert.ok(pointers(answer).includes(pointer), `${pointer}: ${answer.text.slice(0, 1500)}`);
    }
    assert.ok(answer.text.length < 20_000, 'it does not come back');
  });
});

describe('a table of CSV', () => {
  leavesNothing(() => installation);

  const upload = (body) => send({...placeOf(uploads(), 'text/csv'), target: uploads(fileQuery('uroflowmetry'))}, body);
  const HEAD = 'time_s,flow [mL/s]\n';
  const WITH_EVENTS = 'time_s,flow [mL/s],events\n';

  /** [what, body, status, a pointer]. */
  const cases = [
    ['a million columns', () => filled('time_s', ',flow [mL/s]', '\n0\n', 12 * MIB), 422, '/columns/33'],
    ['millions of unknown columns', () => filled('time_s', ',a', '\n0\n', 4 * MIB), 422, '/columns/1'],
    ['a row of millions of cells', () => filled(`${HEAD}0`, ',1', '\n', 4 * MIB), 422, '/rows/0'],
    ['a heading of 16 MiB', () => filled('time_s,flow [', 'm', ']\n0,1\n', 16 * MIB), 422, '/columns/1/unit'],
    ['a name of 16 MiB', () => filled('time_s,', 'm', ' [mL/s]\n0,1\n', 16 * MIB), 422, '/columns/1/signal'],
    ['a cell of 64 MiB', () => filled(`${HEAD}0,`, '1', '\n', RECORDING_LIMIT), 422, '/rows/0/flow'],
    ['a quotation mark never closed', () => filled(`${HEAD}0,"`, '1\n', '', 16 * MIB), 400, ''],
    ['a heading never closed', () => filled('"', ',', '', 16 * MIB), 400, ''],
    ['doubled quotation marks', () => filled(`${HEAD}0,"`, '""', '"\n', 4 * MIB), 422, '/rows/0/flow'],
    ['brackets', () => filled('time_s,flow ', '[', '\n0,1\n', 4 * MIB), 422, '/columns/1'],
    ['NULs', () => filled(`${HEAD}0,`, '\0', '\n', 16 * MIB), 400, ''],
    ['bytes that are no UTF-8', () => filled(`${HEAD}0,`, '\xff', '\n', 16 * MIB), 400, ''],
    ['empty lines', () => filled(HEAD, '\n', '0,1', 2 * MIB), 422, '/rows/0/time_s'],
    ['times that do not go on', () => filled(HEAD, '1,\n', '2,1', 2 * MIB), 422, '/rows/1/time_s'],
    ['events without end', () => filled(`${WITH_EVENTS}0,1,"`, 'cough;', '"\n0.1,2,\n', 4 * MIB), 422, '/rows/0/events'],
    ['a note of 4 MiB', () => filled(`${WITH_EVENTS}0,1,"cough: `, 'x', '"\n0.1,2,\n', 4 * MIB), 422, '/rows/0/events'],
  ];
  for (const [what, make, status, pointer] of cases) {
    it(`is refused: ${what}`, () =>
      bounded(async () => {
        const answer = await upload(make());
        isClear(answer, status, what);
        assert.ok(pointers(answer).includes(pointer), answer.text.slice(0, 500));
      }));
  }

  it('is refused when its heading announces what no recording has', async () => {
    for (const [heading, pointer] of [
      ['for 2147483648 samples', 'count'],
      ['for 16777216 samples', 'count'],
      ['for 1e308 samples', 'count'],
      ['for -1 samples', 'count'],
      ['for 0.5 samples', 'count'],
      ['for nan samples', undefined],
      ['@ 0 Hz', 'rate_hz'],
      ['@ -1 Hz', 'rate_hz'],
      ['@ 1e308 Hz', 'rate_hz'],
      ['@ 1e999 Hz', 'rate_hz'],
      ['@ nan Hz', undefined],
      ['@ inf Hz', undefined],
      ['from 1e308 s', 'start_s'],
      ['from -1 s', 'start_s'],
      [`from ${'9'.repeat(10_000)} s`, undefined],
    ]) {
      await bounded(async () => {
        const answer = await upload(`time_s,flow [mL/s] ${heading}\n0,1\n0.1,2\n`);
        isClear(answer, 422, heading);
        const expected = pointer === undefined ? '/columns/1' : `/columns/1/${pointer}`;
        assert.ok(pointers(answer).includes(expected), `${heading}: ${answer.text}`);
      });
    }
  });
});

describe('a file of EDF', () => {
  leavesNothing(() => installation);

  const upload = (body, query = `?type=uroflowmetry&utc_offset_min=0`) =>
    send({...placeOf(uploads(), 'application/edf'), target: uploads(query)}, body);

  /** Lies by field: what it says, or [what it says, the field that is named instead]. */
  const LIES = {
    version: ['1', 'x', '\xff\xff'],
    startdate: ['99.99.99', '', 'yesterday', '00.00.00'],
    starttime: ['99.99.99', '', '9:31:05'],
    header_bytes: ['0', '-1', '99999999', 'NaN', '1e3', '511', ''],
    reserved: ['EDF+X', 'BDF', '24BIT'],
    record_count: ['0', '-1', '99999999', '2147483', '1e6', 'NaN', '2', '4', ''],
    record_duration: ['0', '-1', '1e308', '-1e308', 'NaN', '999999', '1e-300', '1e-5', ''],
    signal_count: ['0', '-1', '513', '9999', 'NaN', '1e1', ''],
    label: ['Mystery', '', '\xff\xff', ['EDF Annotations', 'reserved']],
    physical_dimension: ['furlong', '', '\xff'],
    physical_minimum: ['NaN', 'inf', '1e308', '-1e308', '1e400', '', ['100', 'physical_maximum']],
    physical_maximum: ['NaN', 'inf', '1e308', '-1e308', '', '0'],
    digital_minimum: ['NaN', '-99999', '1e3', '1.5', '', ['1000', 'digital_maximum']],
    digital_maximum: ['NaN', '99999', '1e4', '', '-1'],
    samples_per_record: ['0', '-1', 'NaN', '99999999', '2147483', '1e2', '', ['11', 'record_count']],
  };

  it('is refused when a field of its header lies, which is named', async () => {
    await bounded(async () => {
      for (const [field, lies] of Object.entries(LIES)) {
        for (const [lie, named = field] of lies.map((one) => [one].flat())) {
          const answer = await upload(edf({[field]: lie}));
          isClear(answer, field === 'version' || field === 'reserved' ? [400, 422] : 422, `${field} says ${lie}`);
          assert.ok(pointers(answer).includes(edfPointer(named)), `${field} says ${lie}: ${answer.text.slice(0, 600)}`);
        }
      }
    });
  });

  it('is refused with every lie named', async () => {
    const others = ['version', 'reserved', 'header_bytes', 'signal_count']; // with these nothing else can be read
    const fields = Object.keys(LIES).filter((field) => !others.includes(field));
    const answer = await upload(edf(Object.fromEntries(fields.map((field) => [field, LIES[field][0]]))));
    isClear(answer, 422, 'all fields');
    const ofSignal = ['physical_dimension', 'physical_minimum', 'physical_maximum', 'digital_minimum', 'digital_maximum'];
    for (const field of fields.filter((one) => !ofSignal.includes(one))) {
      assert.ok(pointers(answer).includes(edfPointer(field)), `${field}: ${answer.text.slice(0, 3000)}`);
    }
    const known = await upload(edf(Object.fromEntries(ofSignal.map((field) => [field, LIES[field][0]]))));
    for (const field of ofSignal) {
      assert.ok(pointers(known).includes(edfPointer(field)), `${field}: ${known.text.slice(0, 3000)}`);
    }
  });

  it('is refused when it announces more than 2^31 samples, or than 2^64 bytes', () =>
    bounded(async () => {
      for (const [lies, signals] of [
        [{record_count: '99999999', record_duration: '.001', samples_per_record: '20'}, 1],
        [{record_count: '17280', record_duration: '10', samples_per_record: '200000'}, 1],
        [{record_count: '99999999', record_duration: '.0000001', samples_per_record: '99999999'}, 512],
      ]) {
        isClear(await upload(edf(lies, signals)), 422, JSON.stringify(lies));
      }
    }));

  it('is refused when it is noise', () =>
    bounded(async () => {
      for (const mediaType of ['application/edf', 'text/csv', 'application/json']) {
        isClear(await send(placeOf(uploads(), mediaType), ''), 400, `nothing as ${mediaType}`);
      }
      for (const byte of ['\0', ' ', '0', '\xff']) {
        isClear(await upload(filled('', byte, '', 4 * MIB)), [400, 422], JSON.stringify(byte));
      }
      isClear(await upload(filled(edf().subarray(0, 512), '\x7f', '', 16 * MIB)), 422, 'bytes behind the last record');
    }));

  it('is refused with more labels than are taken', async () => {
    const labels = 'a:-;'.repeat(256);
    for (const [query, expected] of [
      [labels, /given twice|No signal/],
      [`${labels}b:-`, /at most 256 pairs/],
    ]) {
      const answer = await upload(edf(), `?type=uroflowmetry&utc_offset_min=0&labels=${encodeURIComponent(query)}`);
      isClear(answer, 422, 'labels');
      assert.ok(answer.json.errors.some(({detail}) => expected.test(detail)), answer.text.slice(0, 500));
    }
  });
});

describe('a number in a query or a header field', () => {
  leavesNothing(() => installation);

  const HUGE = '99999999999999999999';
  const ABSURD = ['NaN', 'Infinity', '-Infinity', '1e999', '0x7fffffff', '', '1,5', '9'.repeat(2000), '%00', '%ff'];
  /** For whole numbers only: what is finite and beyond the recording ends where that does. */
  const TOO_LARGE = ['1e308', '-1e308', '2147483648', '-2147483649', HUGE, `-${HUGE}`, '0.5'];

  it('is refused by name when it is absurd', async () => {
    let asked = 0;
    for (const {method, path, operation, roles} of operations.filter((one) => one.method === 'GET')) {
      const target = path.replace('{id}', idFor(path));
      const client = clinic.people[roleFor({roles})];
      for (const {name, schema} of (operation.parameters ?? []).filter((one) => one.in === 'query')) {
        const values = {number: ABSURD, integer: [...ABSURD, ...TOO_LARGE]}[schema?.type] ?? [];
        for (const value of values) {
          const answer = await client.request(method, `${target}?${name}=${value}`);
          isClear(answer, value.startsWith('%') ? [400, 422] : 422, `${name}=${value}`);
          assert.ok(answer.status === 400 || pointers(answer).includes(`?${name}`), answer.text.slice(0, 500));
          asked++;
        }
      }
    }
    assert.ok(asked > 100, `${asked} numbers`);
  });

  it('is refused in a text that is too long', async () => {
    const long = 'x'.repeat(8000);
    for (const target of [
      `/v1/patients?mrn=${long}`,
      `/v1/patients?name=${long}`,
      `/v1/patients?birth_date=${long}`,
      `/v1/patients?${long}=1`,
      `/v1/studies?room=${long}`,
      `/v1/studies?from=${long}`,
      `/v1/recordings/${recordingId}/traces?signals=${'flow,'.repeat(1600)}`,
      `/v1/recordings/${recordingId}/traces?signals=${long}`,
    ]) {
      await bounded(async () => {
        const answer = await clinic.room.request('GET', target);
        if (answer.status !== 200 || !/mrn|name|room/.test(target)) {
          isClear(answer, [414, 422], target.slice(0, 60));
        } else {
          assert.deepEqual(answer.json.items, [], target.slice(0, 60));
        }
        assert.ok(answer.text.length < 30_000);
      });
    }
  });

  it('in Range is the whole, a part or 416', async () => {
    const target = `/v1/recordings/${recordingId}/traces`;
    const ask = async (range) => {
      const answer = await fetch(clinic.room.url + target, {
        headers: {...clinic.room.headers, accept: 'application/octet-stream', range, 'accept-encoding': 'identity'},
      });
      return {status: answer.status, length: (await answer.arrayBuffer()).byteLength};
    };
    const {length} = await ask('bytes=0-');
    const huge = '9'.repeat(30);
    await bounded(async () => {
      for (const [range, status] of [
        [`bytes=${huge}-`, 416],
        [`bytes=${huge}-${huge}`, 416],
        [`bytes=18446744073709551615-18446744073709551616`, 416],
        ['bytes=-0', 416],
        [`bytes=0-${huge}`, 206],
        [`bytes=-${huge}`, 206],
        ['bytes=5-1', 200],
        ['bytes=-', 200],
        ['bytes=-1-', 200],
        ['bytes=1e3-', 200],
        [`bytes=${'0-,'.repeat(2000)}0-`, 200],
        [`lines=${huge}`, 200],
      ]) {
        const answer = await ask(range);
        assert.equal(answer.status, status, range.slice(0, 60));
        assert.ok(answer.status === 416 || answer.length === length, `${range.slice(0, 60)}: ${answer.length}`);
      }
    });
  });

  it('is refused in a header field that is too long, or not taken', async () => {
    const url = installation.url;
    const long = 'x'.repeat(16_000);
    const body = JSON.stringify(patientDocument());
    const own = [`Authorization: Bearer ${clinic.tokens.room}`, `Content-Length: ${body.length}`];
    const typed = [...own, 'Content-Type: application/json'];
    for (const [fields, statuses] of [
      [[...typed, `Idempotency-Key: ${long}`], [400, 431]],
      [[...own, `Content-Type: ${long}`], [415, 431]],
      [[...typed, `Content-Encoding: ${long}`], [415, 431]],
      [[...typed, `Content-Encoding: ${'gzip,'.repeat(3000)}gzip`], [415, 431]],
      [[...typed, `Accept: application/${long}`], [406, 431]],
      [[...typed, `Expect: ${long}`], [417, 431]],
      [[`Authorization: Bearer ${long}`, ...typed.slice(1)], [401, 431]],
      [[`Cookie: ${long}`, ...typed.slice(1)], [401, 431]],
      [[...own.slice(0, 1), 'Content-Type: application/json', 'Content-Length: 99999999999999999999'], [400, 413]],
      [[...own.slice(0, 1), 'Content-Type: application/json', `Content-Length: ${'9'.repeat(4000)}`], [400, 413]],
    ]) {
      await bounded(async () => {
        const answer = await exchange(url, head(url, 'POST', '/v1/patients', fields) + body);
        const what = fields.map((field) => field.slice(0, 40)).join(', ');
        assert.ok(statuses.includes(answer?.status), `${what}: ${answer?.status} ${answer?.text.slice(0, 300)}`);
        assert.ok(answer.text.length < 2000, what);
      });
    }
  });
});
