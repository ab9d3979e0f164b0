// Recordings that come in pieces: what may be sent when, and that the whole is what the pieces held.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {complete, cut, open, openingOf, random, send, shuffled} from './lib/pieces.mjs';
import {asFloat32, asInt16, pressureFlow, uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();
const PRESSURE_FLOW = pressureFlow({
  grids: {flow: {rate_hz: 20, start_s: 0.5}, vinf: {rate_hz: 2, start_s: 7, duration_s: 310}},
}).document;

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('pieces');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the pieces');
});

after(() => installation.remove());

const opened = async (document = FLOW, fields = {}) =>
  open(clinic.room, (await clinic.addVisit()).id, document, fields);
const target = (id, part = '') => `/v1/recordings/${id}${part}`;
const get = async (id, part = '') => (await clinic.room.get(target(id, part))).json;

/** A channel of the flow without a grid of its own: [first sample, samples], or without samples. */
const flowPiece = (first, samples, events = []) => ({
  channels: [{signal: 'flow', first, ...(samples && {samples})}],
  events,
});

const samplesOf = async (id, signal = 'flow') =>
  (await get(id, '/traces')).traces.find((trace) => trace.signal === signal).samples;

async function sendAll(id, pieces) {
  for (const [number, piece] of pieces.entries()) {
    await send(clinic.room, id, number, piece);
  }
}

/** What is true of a recording, however it came: nothing that names it or tells when it came. */
async function essence(id) {
  const {id: _, study_id, received_at, version, announced, chunks, ...recording} = await get(id);
  const {recording_id, ...traces} = await get(id, '/traces');
  return {recording, traces, events: await get(id, '/events'), analysis: await get(id, '/analysis')};
}

async function uploaded(document) {
  return (await clinic.addRecording((await clinic.addVisit()).id, document)).json.recording.id;
}

describe('a recording that is opened', () => {
  it('is open, without samples, and belongs to its study', async () => {
    const study = await clinic.addVisit();
    const json = openingOf(study.id, PRESSURE_FLOW, {id: randomUUID()});
    const answer = await clinic.room.post('/v1/recordings', json);
    assert.equal(answer.headers.get('location'), target(json.id));
    assert.equal(answer.headers.get('etag'), '"1"');
    const {id, study_id, state, version, revision, duration_s, announced, chunks, channels} = answer.json;
    assert.deepEqual(
      {id, study_id, state, version, revision, duration_s, announced, chunks, channels},
      {
        id: json.id,
        study_id: study.id,
        state: 'open',
        version: 1,
        revision: 0,
        duration_s: 0,
        announced: json.channels,
        chunks: {count: 0, received: []},
        channels: undefined,
      },
    );
    assert.deepEqual((await get(id)).announced, json.channels);
    const now = (await clinic.room.get(`/v1/studies/${study.id}`)).json;
    assert.deepEqual([now.status, now.recording_count, now.version], ['preliminary', 1, 2]);
    const list = (await clinic.room.get(`/v1/studies/${study.id}/recordings`)).json.items;
    assert.deepEqual(
      list.map((item) => [item.id, item.state]),
      [[id, 'open']],
    );
    assert.deepEqual((await clinic.room.get(`/v1/studies/${study.id}/summary`)).json.recordings, []);
    for (const part of ['/traces', '/events', '/analysis']) {
      const refused = await clinic.room.expect(409, 'GET', target(id, part));
      assert.match(refused.json.detail, new RegExp(`still open.*${id}/live`));
    }
  });

  it('is the same one when it is opened again, also by many at a time', async () => {
    const study = await clinic.addVisit();
    const json = openingOf(study.id, FLOW, {id: randomUUID()});
    const answers = await Promise.all(
      Array.from({length: 6}, () => clinic.room.request('POST', '/v1/recordings', {json})),
    );
    assert.deepEqual(answers.map(({status}) => status).sort(), [200, 200, 200, 200, 200, 201]);
    assert.equal(new Set(answers.map(({text}) => text)).size, 1);
    await sendAll(json.id, cut(FLOW, 45));
    const elsewhere = await clinic.addVisit();
    await installation.unchanged(async () => {
      const again = await clinic.room.expect(200, 'POST', '/v1/recordings', {json});
      assert.equal(again.json.chunks.count, 1);
      for (const other of [
        {...json, conditions: {}},
        {...json, study_id: elsewhere.id},
      ]) {
        const refused = await clinic.room.request('POST', '/v1/recordings', {json: other});
        assert.equal(refused.status, 409);
        assert.match(refused.json.detail, /id exists already/);
      }
    });
    await complete(clinic.room, json.id, {chunks: 1});
    const last = await clinic.room.expect(200, 'POST', '/v1/recordings', {json});
    assert.equal(last.json.state, 'complete');
  });

  it('is refused with every fault named', async () => {
    const study = await clinic.addVisit();
    const sound = openingOf(study.id, FLOW);
    const [channel] = sound.channels;
    const cases = [
      [{}, ['/channels', '/started_at', '/study_id', '/type']],
      [{...sound, study_id: 'x', type: 'x', started_at: 'x'}, ['/started_at', '/study_id', '/type']],
      [{...sound, channels: []}, ['/channels']],
      [{...sound, channels: [channel, channel]}, ['/channels/1/signal']],
      [{...sound, channels: [{...channel, samples: [1]}]}, ['/channels/0/samples']],
      [{...sound, channels: [{...channel, unit: 'mm[Hg]', rate_hz: 0}]}, ['/channels/0/rate_hz', '/channels/0/unit']],
      [{...sound, events: [], patient: {}}, ['/events', '/patient']],
    ];
    await installation.unchanged(async () => {
      for (const [json, expected] of cases) {
        assert.deepEqual(pointers(await clinic.room.expect(422, 'POST', '/v1/recordings', {json})), expected);
      }
      await clinic.room.expect(400, 'POST', '/v1/recordings', {
        body: '{',
        headers: {'content-type': 'application/json'},
      });
      const stranger = {...sound, study_id: randomUUID()};
      await clinic.room.expect(404, 'POST', '/v1/recordings', {json: stranger});
    });
  });
});

describe('pieces', () => {
  it('make the recording that one request makes, in any order and with repeats', async () => {
    for (const [seed, document] of [FLOW, PRESSURE_FLOW].entries()) {
      const next = random(seed + 1);
      const id = await opened(document);
      const pieces = cut(document, document === FLOW ? 4 : 37);
      const numbers = shuffled([...pieces.keys(), ...pieces.keys()], next);
      const met = new Set();
      for (const number of numbers) {
        const {json} = await send(clinic.room, id, number, pieces[number]);
        assert.deepEqual(json, {number, repeated: met.has(number)});
        met.add(number);
      }
      assert.deepEqual((await get(id)).chunks.received, [[0, pieces.length - 1]]);
      const {json} = await complete(clinic.room, id, {chunks: pieces.length});
      assert.equal(json.recording.state, 'complete');
      assert.equal(json.recording.version, 2);
      assert.deepEqual(await essence(id), await essence(await uploaded(document)));
    }
  });

  it('are told as ranges of numbers', async () => {
    const id = await opened();
    for (const number of [7, 0, 3, 1, 4]) {
      await send(clinic.room, id, number, flowPiece(number * 10, [number]));
    }
    const {chunks} = await get(id);
    assert.equal(chunks.count, 5);
    assert.deepEqual(chunks.received, [
      [0, 1],
      [3, 4],
      [7, 7],
    ]);
    assert.ok(Math.abs(Date.now() - Date.parse(chunks.last_received_at)) < 60_000);
  });

  it('may come many at a time, each more than once', async () => {
    const id = await opened();
    const pieces = cut(FLOW, 3);
    const answers = await Promise.all(
      [...pieces, ...pieces, ...pieces].map((piece, i) => send(clinic.room, id, i % pieces.length, piece)),
    );
    assert.equal(answers.filter(({json}) => !json.repeated).length, pieces.length);
    await complete(clinic.room, id, {chunks: pieces.length});
    assert.deepEqual(await samplesOf(id), FLOW.channels[0].samples);
  });

  it('keep their numbers: another one with the same is 409', async () => {
    const id = await opened();
    const rivals = Array.from({length: 6}, (_, i) => flowPiece(0, [i, i]));
    const answers = await Promise.all(
      rivals.map((json) => clinic.room.request('PUT', target(id, '/chunks/0'), {json})),
    );
    assert.deepEqual(answers.map(({status}) => status).sort(), [200, 409, 409, 409, 409, 409]);
    assert.match(answers.find(({status}) => status === 409).json.detail, /Another piece came with this number/);
    const winner = answers.findIndex(({status}) => status === 200);
    await complete(clinic.room, id, {chunks: 1});
    assert.deepEqual(await samplesOf(id), [winner, winner]);
  });

  it('lie between their neighbours by number', async () => {
    const id = await opened();
    await send(clinic.room, id, 2, flowPiece(20, [1, 1, 1, 1, 1]));
    await send(clinic.room, id, 6, flowPiece(60, [1, 1]));
    await installation.unchanged(async () => {
      for (const [number, piece] of [
        [3, flowPiece(24, [1])],
        [3, flowPiece(58, [1, 1, 1])],
        [1, flowPiece(19, [1, 1])],
        [7, flowPiece(0, [1])],
        [4, flowPiece(61)],
        [4, flowPiece(24)],
      ]) {
        const {json} = await send(clinic.room, id, number, piece, 409);
        assert.match(json.detail, /do not lie between/);
      }
    });
    await send(clinic.room, id, 1, flowPiece(18, [1, 1]));
    await send(clinic.room, id, 3, flowPiece(25, [1]));
    await send(clinic.room, id, 4, flowPiece(60));
  });

  it('may lack samples of a channel, and of one for ever', async () => {
    const document = {...FLOW, channels: [...FLOW.channels, {...FLOW.channels[0], signal: 'pabd', unit: 'cm[H2O]'}]};
    const id = await opened(document);
    const [a, b, c] = [[1, 2], [3], [4, 5]];
    const channels = (first, samples) => [{signal: 'pabd', first: 0}, ...flowPiece(first, samples).channels];
    await sendAll(id, [
      {channels: channels(0)},
      {channels: channels(0, a)},
      {channels: channels(2)},
      {channels: channels(2, b)},
      {channels: channels(3, c)},
    ]);
    const {json} = await complete(clinic.room, id, {chunks: 5});
    assert.deepEqual(
      json.recording.channels.map(({signal}) => signal),
      ['flow'],
    );
    assert.deepEqual(
      json.recording.announced.map(({signal}) => signal),
      ['flow', 'pabd'],
    );
    assert.deepEqual(await samplesOf(id), [1, 2, 3, 4, 5]);
  });

  it('keep the codes of int16 and float32', async () => {
    const samples = Array.from({length: 90}, (_, i) => (i === 50 ? null : (i % 30) / 2));
    for (const make of [(one) => asInt16(one, 0.01, 3), asFloat32]) {
      const id = await opened();
      let expected = [];
      for (const [number, first] of [0, 40, 60].entries()) {
        const part = samples.slice(first, [40, 60, 90][number]);
        const {channel, values} = make({samples: part});
        await send(clinic.room, id, number, {channels: [{signal: 'flow', first, ...channel}]});
        expected = [...expected, ...values];
      }
      const {json} = await complete(clinic.room, id, {chunks: 3});
      const [{encoding, missing, sample_count}] = json.recording.channels;
      assert.deepEqual([encoding, missing, sample_count], [make === asFloat32 ? 'float32' : 'int16', 1, 90]);
      assert.deepEqual(await samplesOf(id), expected);
    }
  });

  it('may differ in encoding, scale and decimals', async () => {
    const id = await opened();
    const parts = [
      asInt16({samples: [1, 2.5, null]}, 0.5),
      asInt16({samples: [1, 2.25]}, 0.25, 1),
      asFloat32({samples: [0.1, null, 7]}),
      {channel: {samples: [1.125, 3, null, 4.0001]}, values: [1.125, 3, null, 4.0001]},
    ];
    let first = 0;
    for (const [number, {channel, values}] of parts.entries()) {
      await send(clinic.room, id, number, {channels: [{signal: 'flow', first, ...channel}]});
      first += values.length;
    }
    await complete(clinic.room, id, {chunks: parts.length});
    assert.deepEqual(
      await samplesOf(id),
      parts.flatMap(({values}) => values),
    );
  });

  it('bring events in any order, also behind the last sample', async () => {
    const id = await opened();
    const event = (at_s, code, fields = {}) => ({at_s, code, ...fields});
    await send(clinic.room, id, 1, flowPiece(20, [2, 2], [event(30, 'comment', {note: 'late'}), event(0.5, 'cough')]));
    await send(
      clinic.room,
      id,
      0,
      flowPiece(0, [1, 1], [event(0.5, 'void_start'), event(0.1, 'balloon', {value: 50})]),
    );
    await complete(clinic.room, id, {chunks: 2});
    const events = [
      event(0.1, 'balloon', {value: 50}),
      event(0.5, 'void_start'),
      event(0.5, 'cough'),
      event(30, 'comment', {note: 'late'}),
    ];
    assert.deepEqual((await get(id, '/events')).events, events);
    const changed = await clinic.room.put(target(id, '/events'), {events: events.slice(1)}, '"1"');
    assert.deepEqual(changed.json.events, events.slice(1), 'an event behind the end does not hinder a correction');
  });

  it('are refused with every fault named', async () => {
    const id = await opened(PRESSURE_FLOW);
    const [sound] = cut(PRESSURE_FLOW, 10);
    const withFirst = (fields) => ({
      ...sound,
      channels: [{...sound.channels[0], ...fields}, ...sound.channels.slice(1)],
    });
    const {samples: _, ...bare} = sound.channels[0];
    const cases = [
      [{}, ['/channels']],
      [{channels: {}}, ['/channels']],
      [{channels: []}, ['/channels', '/channels', '/channels', '/channels']],
      [{channels: sound.channels.slice(0, 2)}, ['/channels', '/channels']],
      [withFirst({signal: 'pura'}), ['/channels', '/channels/0/signal']],
      [withFirst({signal: 'nothing'}), ['/channels', '/channels/0/signal']],
      [withFirst({signal: 'pabd'}), ['/channels', '/channels/1/signal']],
      [{...sound, channels: [...sound.channels, sound.channels[3]]}, ['/channels/4/signal']],
      [withFirst({first: undefined}), ['/channels/0/first']],
      [withFirst({first: -1}), ['/channels/0/first']],
      [withFirst({first: 1.5}), ['/channels/0/first']],
      [withFirst({first: '0'}), ['/channels/0/first']],
      [withFirst({samples: ['1']}), ['/channels/0/samples/0']],
      [withFirst({samples: []}), ['/channels/0/samples']],
      [withFirst({encoding: 'int8', data: 'AAA='}), ['/channels/0/data', '/channels/0/encoding']],
      [
        {...sound, channels: [{...bare, encoding: 'int16'}, ...sound.channels.slice(1)]},
        ['/channels/0/data', '/channels/0/scale'],
      ],
      [withFirst({rate_hz: 10, unit: 'cm[H2O]'}), ['/channels/0/rate_hz', '/channels/0/unit']],
      [{...sound, events: [{at_s: -1, code: 'X'}], note: ''}, ['/events/0/at_s', '/events/0/code', '/note']],
    ];
    await installation.unchanged(async () => {
      for (const [piece, expected] of cases) {
        assert.deepEqual(
          pointers(await send(clinic.room, id, 0, piece, 422)),
          expected,
          JSON.stringify(piece).slice(0, 300),
        );
      }
      for (const body of ['', '{"channels":', '[]x', '{"channels":[],"channels":[]}']) {
        const headers = {'content-type': 'application/json'};
        await clinic.room.expect(400, 'PUT', target(id, '/chunks/0'), {body, headers});
      }
    });
  });

  it('stay within the limits', async () => {
    const id = await opened();
    await installation.unchanged(async () => {
      for (const number of ['-1', '200000', '1000000', 'x', '1.0', '0x1', '%20']) {
        await send(clinic.room, id, number, flowPiece(0, [1]), 404);
      }
      const huge = 16 * 1024 * 1024;
      for (const [piece, expected] of [
        [flowPiece(1e9, [1]), ['/channels/0/first']],
        [flowPiece(1e300), ['/channels/0/first']],
        [flowPiece(huge, [1]), ['/channels/0/first']],
        [flowPiece(48 * 3600 * 20, [1]), ['/channels/0']],
        [flowPiece(0, [1], [{at_s: 48 * 3600 + 2, code: 'cough'}]), ['/events/0/at_s']],
        [flowPiece(0, [1], Array(10_001).fill({at_s: 0, code: 'cough'})), ['/events']],
      ]) {
        assert.deepEqual(pointers(await send(clinic.room, id, 0, piece, 422)), expected);
      }
      const body = JSON.stringify(flowPiece(0, [1])).padEnd(8 * 1024 * 1024 + 1);
      const headers = {'content-type': 'application/json'};
      await clinic.room.expect(413, 'PUT', target(id, '/chunks/0'), {body, headers});
    });
    await send(clinic.room, id, 199_999, flowPiece(48 * 3600 * 20 - 1, [1]));
  });

  it('stay within the limit of samples of all channels together', async () => {
    const channels = ['pves', 'pabd', 'pura'].map((signal) => ({
      signal,
      unit: 'cm[H2O]',
      rate_hz: 1000,
      start_s: 0,
      samples: [1],
    }));
    const id = await opened({...FLOW, type: 'cystometry', channels});
    const piece = (first) => ({channels: channels.map(({signal}) => ({signal, first}))});
    await installation.unchanged(async () => {
      assert.deepEqual(pointers(await send(clinic.room, id, 0, piece(11_184_811), 422)), ['/channels']);
    });
    await send(clinic.room, id, 0, piece(11_184_810));
  });

  it('stay within the limit of events, all pieces together', async () => {
    const id = await opened();
    const events = (count) => Array(count).fill({at_s: 0, code: 'cough'});
    await send(clinic.room, id, 0, flowPiece(0, [1], events(6000)));
    await installation.unchanged(async () => {
      const {json} = await send(clinic.room, id, 1, flowPiece(1, [1], events(4001)), 409);
      assert.match(json.detail, /more events/);
    });
    await send(clinic.room, id, 1, flowPiece(1, [1], events(4000)));
    const {json} = await complete(clinic.room, id, {chunks: 2});
    assert.equal(json.recording.revision, 1);
    assert.equal((await get(id, '/events')).events.length, 10_000);
  });

  it('keep their study from being cancelled while more may come', async () => {
    const study = await clinic.addVisit();
    const id = await open(clinic.room, study.id, FLOW);
    await send(clinic.room, id, 0, flowPiece(0, [1, 2, 3]));
    const cancel = async (status) => {
      const {headers} = await clinic.room.get(`/v1/studies/${study.id}`);
      return clinic.room.expect(status, 'PATCH', `/v1/studies/${study.id}`, {
        json: {status: 'cancelled'},
        headers: {'if-match': headers.get('etag'), 'content-type': 'application/merge-patch+json'},
      });
    };
    assert.match((await cancel(409)).json.detail, /still running/);
    await complete(clinic.room, id, {chunks: 1});
    await cancel(200);
  });

  it('are not taken by what is signed, cancelled, or came in one request', async () => {
    // A room would not even see what is signed.
    const clinician = clinic.as('clinician');
    const whole = await uploaded(FLOW);
    const signed = await opened();
    const cancelled = await opened();
    await sendAll(signed, [flowPiece(0, [1])]);
    const study = (await get(signed)).study_id;
    await clinic.signAnyway(`s.id = '${study}'`);
    const other = (await get(cancelled)).study_id;
    await installation.execute(`update penstock.study set status = 'cancelled' where id = '${other}'`);
    await installation.unchanged(async () => {
      for (const [id, reason] of [
        [whole, /one request/],
        [signed, /signed/],
        [cancelled, /cancelled/],
      ]) {
        assert.match((await send(clinician, id, 1, flowPiece(1, [1]), 409)).json.detail, reason);
        assert.match((await complete(clinician, id, {chunks: 1}, 409)).json.detail, reason);
      }
      for (const studyId of [study, other]) {
        await clinician.expect(409, 'POST', '/v1/recordings', {json: openingOf(studyId, FLOW)});
      }
    });
  });

  it('are not seen or taken by another clinic', async () => {
    const id = await opened();
    await sendAll(id, [flowPiece(0, [1])]);
    const stranger = (await Clinic.open(installation, 'Clinic beyond the hill')).as('clinician');
    await installation.unchanged(async () => {
      for (const part of ['', '/live', '/live/analysis', '/history']) {
        await stranger.expect(404, 'GET', target(id, part));
      }
      await send(stranger, id, 0, flowPiece(0, [1]), 404);
      await send(stranger, id, 1, flowPiece(1, [1]), 404);
      await complete(stranger, id, {chunks: 1}, 404);
      const {study_id: studyId} = await get(id);
      await stranger.expect(404, 'POST', '/v1/recordings', {json: openingOf(studyId, FLOW)});
    });
  });
});

describe('completion', () => {
  const details = ({json}) => json.errors.map(({pointer, detail}) => `${pointer}: ${detail}`);

  it('names the pieces that are missing, and those that there should not be', async () => {
    const id = await opened();
    const empty = await opened();
    for (const number of [1, 2, 5, 9]) {
      await send(clinic.room, id, number, flowPiece(number, [number]));
    }
    await installation.unchanged(async () => {
      assert.deepEqual(details(await complete(clinic.room, id, {chunks: 12}, 409)), [
        '/chunks: Piece 0 has not arrived.',
        '/chunks: Pieces 3 to 4 have not arrived.',
        '/chunks: Pieces 6 to 8 have not arrived.',
        '/chunks: Pieces 10 to 11 have not arrived.',
      ]);
      const tooFew = details(await complete(clinic.room, id, {chunks: 5}, 409));
      assert.deepEqual(tooFew, [
        '/chunks: Piece 0 has not arrived.',
        '/chunks: Pieces 3 to 4 have not arrived.',
        '/chunks: Piece 9 has arrived: there are at least 10.',
      ]);
      await complete(clinic.room, id, {chunks: 9, accept_gaps: true}, 409);
      assert.deepEqual(details(await complete(clinic.room, empty, {chunks: 2}, 409)), [
        '/chunks: Pieces 0 to 1 have not arrived.',
      ]);
    });
    assert.equal((await get(id)).state, 'open');
  });

  it('changes the study, so that whoever knows it hears that nothing runs any more', async () => {
    const study = await clinic.addVisit();
    const id = await open(clinic.room, study.id, FLOW);
    const url = `/v1/studies/${study.id}`;
    const before = await clinic.room.get(url);
    assert.equal(before.json.open_recording_count, 1);
    await send(clinic.room, id, 0, flowPiece(0, [1, 2, 3]));
    await complete(clinic.room, id, {chunks: 1});
    const after = await clinic.room.get(url, {'if-none-match': before.headers.get('etag')});
    assert.equal(after.status, 200);
    assert.equal(after.json.open_recording_count, 0);
    await complete(clinic.room, id, {chunks: 1});
    assert.equal((await clinic.room.get(url)).headers.get('etag'), after.headers.get('etag'));
  });

  it('takes gaps when they are accepted: missing samples, never zero', async () => {
    const id = await opened();
    await send(clinic.room, id, 1, flowPiece(2, [1, null, 3]));
    await send(clinic.room, id, 3, flowPiece(8, [4]));
    const {json} = await complete(clinic.room, id, {chunks: 6, accept_gaps: true});
    assert.deepEqual(await samplesOf(id), [null, null, 1, null, 3, null, null, null, 4]);
    const [{sample_count, missing}] = json.recording.channels;
    assert.deepEqual([sample_count, missing], [9, 6]);
  });

  it('takes gaps between the samples of neighbours, in codes too', async () => {
    for (const {channel, values} of [
      asInt16({samples: [1, 2]}, 0.5),
      asFloat32({samples: [1, 2]}),
      {channel: {samples: [1, 2]}, values: [1, 2]},
    ]) {
      const id = await opened();
      await send(clinic.room, id, 0, {channels: [{signal: 'flow', first: 1, ...channel}]});
      await send(clinic.room, id, 1, {channels: [{signal: 'flow', first: 5, ...channel}]});
      await complete(clinic.room, id, {chunks: 2});
      assert.deepEqual(await samplesOf(id), [null, ...values, null, null, ...values]);
    }
  });

  it('gives the same again, however often and however many say it', async () => {
    const id = await opened();
    const pieces = cut(FLOW, 10);
    await sendAll(id, pieces);
    const json = {chunks: pieces.length};
    const answers = await Promise.all(
      ['room', 'clinician', 'physician', 'room', 'room'].map((role) => complete(clinic.as(role), id, json)),
    );
    assert.equal(new Set(answers.map(({text}) => text)).size, 1);
    await installation.unchanged(async () => {
      const again = await complete(clinic.room, id, {...json, conditions: {position: 'sitting'}});
      assert.equal(again.text, answers[0].text);
      assert.equal(again.headers.get('etag'), '"2"');
      await complete(clinic.room, id, {chunks: pieces.length + 1}, 409);
    });
    assert.equal((await get(id, '/history')).changes.length, 2);
  });

  it('ends the sending, but a piece that came may be repeated', async () => {
    const id = await opened();
    const pieces = cut(FLOW, 20);
    await sendAll(id, pieces);
    await complete(clinic.room, id, {chunks: pieces.length});
    await installation.unchanged(async () => {
      for (const [number, piece] of pieces.entries()) {
        assert.deepEqual((await send(clinic.room, id, number, piece)).json, {number, repeated: true});
      }
      for (const [number, piece] of [
        [0, flowPiece(0, [9])],
        [pieces.length, flowPiece(5000, [9])],
      ]) {
        assert.match((await send(clinic.room, id, number, piece, 409)).json.detail, /state forbids/);
      }
    });
  });

  it('takes every piece that was acknowledged before it', async () => {
    const id = await opened();
    const pieces = cut(FLOW, 2);
    const sending = pieces.map((json, n) => clinic.room.request('PUT', target(id, `/chunks/${n}`), {json}));
    const early = await clinic.room.request('POST', target(id, '/completion'), {
      json: {chunks: pieces.length, accept_gaps: true},
    });
    const answers = await Promise.all(sending);
    assert.ok([200, 409].includes(early.status), early.what);
    if (early.status === 409) {
      await complete(clinic.room, id, {chunks: pieces.length, accept_gaps: true});
    }
    const stored = await samplesOf(id);
    for (const [number, {status}] of answers.entries()) {
      const [{first, samples}] = pieces[number].channels;
      assert.ok([200, 409].includes(status));
      if (status === 200) {
        assert.deepEqual(stored.slice(first, first + samples.length), samples, `piece ${number}`);
      }
    }
  });

  it('may state the conditions that are known at the end only', async () => {
    const id = await opened(FLOW);
    await sendAll(id, cut(FLOW, 45));
    const conditions = {position: 'sitting', post_void_residual_ml: 77};
    const {json} = await complete(clinic.room, id, {chunks: 1, conditions});
    assert.deepEqual(json.recording.conditions, conditions);
    assert.equal(json.analysis.sections.uroflow.post_void_residual.value, 77);
    const kept = await opened(FLOW);
    await sendAll(kept, cut(FLOW, 45));
    assert.deepEqual((await complete(clinic.room, kept, {chunks: 1})).json.recording.conditions, FLOW.conditions);
  });

  it('is refused with every fault named', async () => {
    const id = await opened();
    await sendAll(id, [flowPiece(0, [1])]);
    await installation.unchanged(async () => {
      for (const [json, expected] of [
        [{}, ['/chunks']],
        [{chunks: 0}, ['/chunks']],
        [{chunks: 200_001}, ['/chunks']],
        [{chunks: 1.5}, ['/chunks']],
        [{chunks: '1', accept_gaps: 'yes', more: 1}, ['/accept_gaps', '/chunks', '/more']],
        [{chunks: 1, conditions: {flow_delay_s: 9, x: 1}}, ['/conditions/flow_delay_s', '/conditions/x']],
      ]) {
        assert.deepEqual(pointers(await complete(clinic.room, id, json, 422)), expected);
      }
    });
  });

  it('makes nothing of no samples', async () => {
    const id = await opened();
    await sendAll(id, [flowPiece(0), flowPiece(20)]);
    await installation.unchanged(async () => {
      assert.match(details(await complete(clinic.room, id, {chunks: 2}, 409))[0], /no samples/);
    });
    await send(clinic.room, id, 2, flowPiece(20, [1]));
    assert.equal((await complete(clinic.room, id, {chunks: 3})).json.recording.duration_s, 1.05);
  });
});
