// Requests with faults in what they say: each is refused, named, and leaves nothing behind.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, PASSWORD, patientDocument, studyDocument} from './lib/clinic.mjs';
import {findOperation, operations, roleFor} from './lib/contract.mjs';
import {Installation} from './lib/installation.mjs';
import {asInt16, uroflowmetry} from './lib/recordings.mjs';
import {filled, recipeOf} from './lib/recipes.mjs';
import {leavesNothing} from './lib/unchanged.mjs';

let installation;
let clinic;
let study;
let recording;
let account;
let token;

before(async () => {
  installation = await Installation.create('faults');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the faults');
  study = await clinic.addVisit();
  recording = (await clinic.addRecording(study.id, uroflowmetry().document)).json.recording;
  account = await clinic.addUser(['room']);
  for (const operation of taking) {
    places.push(await possible(operation, roleFor(operation)));
  }
  token = await clinic.makeToken(['room']);
});

after(() => installation.remove());

/** Somebody who may use an operation: [method, target, client] of a request that would succeed. */
async function possible(operation, role) {
  const {method, path, isPublic} = operation;
  const recipe = await recipeOf(clinic, `${method} ${path}`, role);
  const client = isPublic ? new Client(installation.url) : await clinic.person(role);
  return [method, filled(path, recipe), client];
}

const taking = operations.filter(({operation}) => operation.requestBody);

/** Every place that takes a body. */
const places = [];
const bodies = () => places;

const JSON_HEADERS = {'content-type': 'application/json', 'if-match': '"1"'};

describe('a body that is not JSON', () => {
  leavesNothing(() => installation);

  it('is tried wherever a body is taken', () => {
    const tried = bodies().map(([method, target]) => findOperation(method, target));
    assert.ok(taking.length > 20);
    assert.deepEqual(new Set(tried), new Set(taking));
  });

  const MALFORMED = {
    nothing: '',
    'white space': ' \n',
    'half an object': '{"mrn": "1"',
    'something after the object': '{} {}',
    'a comma too many': '{"a": [1,]}',
    'a bare word': '{mrn: 1}',
    'a single quote': "{'mrn': '1'}",
    NaN: '{"weight_kg": NaN}',
    Infinity: '{"weight_kg": -Infinity}',
    'a number too large for a double': '{"weight_kg": 1e999}',
    'a comment': '{/* */}',
    'a member twice': '{"mrn": "1", "mrn": "2"}',
    'a broken escape': '{"mrn": "\\u12"}',
    'half a surrogate pair': '{"mrn": "\\ud800"}',
    'a NUL character': '{"mrn": "\\u0000"}',
    'bytes that are not UTF-8': Buffer.from([0x7b, 0x22, 0x61, 0x22, 0x3a, 0x22, 0xff, 0xfe, 0x22, 0x7d]),
    'a control character in a string': '{"mrn": "\n"}',
    'a deep nest': `{"a": ${'['.repeat(1000)}${']'.repeat(1000)}}`,
    'a nest that never ends': '['.repeat(100_000),
  };

  for (const [what, body] of Object.entries(MALFORMED)) {
    it(`is 400: ${what}`, async () => {
      for (const [method, target, client] of bodies()) {
        const answer = await client.expect(400, method, target, {body, headers: JSON_HEADERS});
        assert.notEqual(answer.json.detail ?? answer.json.errors, undefined, 'it says what is wrong');
      }
    });
  }

  it('is 422 when it is JSON, but no object', async () => {
    for (const body of ['[]', '3', '"text"', 'null', 'true']) {
      for (const [method, target, client] of bodies()) {
        const answer = await client.expect(422, method, target, {body, headers: JSON_HEADERS});
        assert.ok(pointers(answer).includes(''), `${answer.what} for ${body}: ${answer.text}`);
      }
    }
  });

  it('is 422 for a member that nobody knows, wherever it stands', async () => {
    for (const [method, target, client] of bodies()) {
      const answer = await client.expect(422, method, target, {
        json: {colour: 'red', 'a/b~c': 1},
        headers: JSON_HEADERS,
      });
      assert.ok(pointers(answer).includes('/colour'), `${answer.what}: ${answer.text}`);
      assert.ok(pointers(answer).includes('/a~1b~0c'), 'the pointer is escaped (RFC 6901)');
    }
  });
});

/** [what, change of a sound recording, pointers of the faults]. */
const RECORDING_FAULTS = [
  ['no type', (d) => delete d.type, ['/type']],
  ['an unknown type', (d) => (d.type = 'flowmetry'), ['/type']],
  ['a type of another type', (d) => (d.type = 7), ['/type']],
  ['no start', (d) => delete d.started_at, ['/started_at']],
  ['a start without offset', (d) => (d.started_at = '2026-03-02T09:31:05'), ['/started_at']],
  ['a day that does not exist', (d) => (d.started_at = '2026-02-30T09:31:05Z'), ['/started_at']],
  ['a clock that was never set', (d) => (d.started_at = '1970-01-01T00:00:00Z'), ['/started_at']],
  ['an id that is no UUID', (d) => (d.id = '42'), ['/id']],
  ['an id in upper case', (d) => (d.id = randomUUID().toUpperCase().replace('0', 'A')), ['/id']],
  ['a patient', (d) => (d.patient = {sex: 'male'}), ['/patient']],
  ['an unknown condition', (d) => (d.conditions.mood = 'calm'), ['/conditions/mood']],
  ['conditions that are no object', (d) => (d.conditions = []), ['/conditions']],
  ['a negative residual', (d) => (d.conditions.post_void_residual_ml = -1), ['/conditions/post_void_residual_ml']],
  ['a delay of a minute', (d) => (d.conditions.flow_delay_s = 60), ['/conditions/flow_delay_s']],
  ['a puller that stands still', (d) => (d.conditions.puller_speed_mm_s = 0), ['/conditions/puller_speed_mm_s']],
  ['no channels', (d) => delete d.channels, ['/channels']],
  ['an empty list of channels', (d) => (d.channels = []), ['/channels']],
  ['too many channels', (d) => (d.channels = Array(33).fill(d.channels[0])), ['/channels']],
  ['a channel that is no object', (d) => d.channels.push(7), ['/channels/1']],
  ['a signal twice', (d) => d.channels.push(d.channels[0]), ['/channels/1/signal']],
  ['an unknown signal', (d) => (d.channels[0].signal = 'pbrain'), ['/channels/0/signal']],
  ['no unit', (d) => delete d.channels[0].unit, ['/channels/0/unit']],
  ['an unknown unit', (d) => (d.channels[0].unit = 'psi'), ['/channels/0/unit']],
  ['a unit in another case', (d) => (d.channels[0].unit = 'ml/s'), ['/channels/0/unit']],
  ['a unit of another quantity', (d) => (d.channels[0].unit = 'cm[H2O]'), ['/channels/0/unit']],
  ['no rate', (d) => delete d.channels[0].rate_hz, ['/channels/0/rate_hz']],
  ['a negative rate', (d) => (d.channels[0].rate_hz = -10), ['/channels/0/rate_hz']],
  ['a rate of zero', (d) => (d.channels[0].rate_hz = 0), ['/channels/0/rate_hz']],
  ['a rate beyond every device', (d) => (d.channels[0].rate_hz = 1e6), ['/channels/0/rate_hz']],
  ['a rate as text', (d) => (d.channels[0].rate_hz = '10'), ['/channels/0/rate_hz']],
  ['a negative start of a channel', (d) => (d.channels[0].start_s = -1), ['/channels/0/start_s']],
  ['a recording of a month', (d) => (d.channels[0].rate_hz = 1e-4), ['/channels/0']],
  ['no samples', (d) => delete d.channels[0].samples, ['/channels/0/samples']],
  ['an empty list of samples', (d) => (d.channels[0].samples = []), ['/channels/0/samples']],
  ['samples as text', (d) => (d.channels[0].samples = '1,2,3'), ['/channels/0/samples']],
  ['a sample as text', (d) => (d.channels[0].samples[3] = '1.5'), ['/channels/0/samples/3']],
  ['a sample beyond every device', (d) => (d.channels[0].samples[4] = 1e10), ['/channels/0/samples/4']],
  ['a truth value as a sample', (d) => (d.channels[0].samples[5] = true), ['/channels/0/samples/5']],
  ['an unknown member of a channel', (d) => (d.channels[0].gain = 2), ['/channels/0/gain']],
  ['samples and an encoding', (d) => (d.channels[0].encoding = 'int16'), ['/channels/0/encoding']],
  ['a scale beside samples', (d) => (d.channels[0].scale = 2), ['/channels/0/scale']],
  ['events that are no list', (d) => (d.events = {}), ['/events']],
  ['an event that is no object', (d) => (d.events = ['cough']), ['/events/0']],
  ['an event without time', (d) => delete d.events[0].at_s, ['/events/0/at_s']],
  ['an event without code', (d) => delete d.events[0].code, ['/events/0/code']],
  ['an event before the start', (d) => (d.events[0].at_s = -0.1), ['/events/0/at_s']],
  ['an event after the end', (d) => (d.events[0].at_s = 1000), ['/events/0/at_s']],
  ['an event with a code in words', (d) => (d.events[0].code = 'First Sensation'), ['/events/0/code']],
  ['an event with a value as text', (d) => (d.events[0].value = '40'), ['/events/0/value']],
  ['an event with a novel as note', (d) => (d.events[0].note = 'x'.repeat(4001)), ['/events/0/note']],
  ['an unknown member of an event', (d) => (d.events[0].who = 'me'), ['/events/0/who']],
  ['too many events', (d) => (d.events = Array(10_001).fill(d.events[0])), ['/events']],
];

/** [what, change of a channel sent as int16, pointer]. */
const ENCODING_FAULTS = [
  ['no data', (c) => delete c.data, '/channels/0/data'],
  ['data that is no text', (c) => (c.data = [1, 2]), '/channels/0/data'],
  ['data with a foreign character', (c) => (c.data = `!${c.data.slice(1)}`), '/channels/0/data'],
  ['data without padding', (c) => (c.data = 'AAA'), '/channels/0/data'],
  ['half a sample', (c) => (c.data = 'AAAA'), '/channels/0/data'],
  ['no sample', (c) => (c.data = ''), '/channels/0/data'],
  ['no scale', (c) => delete c.scale, '/channels/0/scale'],
  ['a scale of zero', (c) => (c.scale = 0), '/channels/0/scale'],
  ['a scale beyond every device', (c) => (c.scale = 1e9), '/channels/0/scale'],
  ['an offset as text', (c) => (c.offset = '0'), '/channels/0/offset'],
  ['an unknown encoding', (c) => (c.encoding = 'int24'), '/channels/0/encoding'],
  [
    'float32 with a scale',
    (c) => {
      delete c.offset;
      Object.assign(c, {encoding: 'float32', data: 'AAAAAA=='});
    },
    '/channels/0/scale',
  ],
  [
    'an infinite float32',
    (c) => {
      delete c.scale;
      delete c.offset;
      Object.assign(c, {
        encoding: 'float32',
        data: Buffer.from(Float32Array.of(1, Infinity).buffer).toString('base64'),
      });
    },
    '/channels/0/data',
  ],
];

describe('a recording with one fault', () => {
  leavesNothing(() => installation);

  async function isNamed(document, expected) {
    const answer = await clinic.room.expect(422, 'POST', `/v1/studies/${study.id}/recordings`, {json: document});
    assert.deepEqual(pointers(answer), expected, answer.text.slice(0, 1000));
    for (const {detail} of answer.json.errors) {
      assert.ok(detail.length > 5);
    }
  }

  for (const [what, change, expected] of RECORDING_FAULTS) {
    it(`is refused by name: ${what}`, async () => {
      const document = structuredClone(uroflowmetry().document);
      change(document);
      await isNamed(document, expected);
    });
  }

  for (const [what, change, pointer] of ENCODING_FAULTS) {
    it(`is refused by name: ${what}`, async () => {
      const {document} = uroflowmetry();
      const {channel} = asInt16(document.channels[0], 0.01);
      change(channel);
      await isNamed({...document, channels: [channel]}, [pointer]);
    });
  }

  it('is refused by POST /v1/analyses too, which takes a patient and no id', async () => {
    const {document} = uroflowmetry();
    const refused = async (more, expected) => {
      const answer = await clinic.room.expect(422, 'POST', '/v1/analyses', {json: {...document, ...more}});
      assert.deepEqual(pointers(answer), expected);
    };
    await refused({id: randomUUID()}, ['/id']);
    await refused({patient: {sex: 'm'}}, ['/patient/sex']);
    await refused({patient: {age_years: -1, weight_kg: 0, name: 'x'}}, [
      '/patient/age_years',
      '/patient/name',
      '/patient/weight_kg',
    ]);
    await refused({type: 'x', events: [{at_s: 1, code: 'X'}]}, ['/events/0/code', '/type']);
  });
});

describe('a document with many faults', () => {
  leavesNothing(() => installation);

  it('has all ten named at once', async () => {
    const json = {
      type: 'flow',
      started_at: 'this morning',
      colour: 'red',
      conditions: {flow_delay_s: 'long', filling_rate_ml_min: -5},
      channels: [
        {signal: 'pves', unit: 'psi', rate_hz: -10, samples: [1, 'two', 3]},
        {signal: 'flow', unit: 'mL/s', rate_hz: 10, samples: [0, 1], gain: 3},
      ],
      events: [{at_s: -3, code: 'cough'}],
    };
    const answer = await clinic.room.expect(422, 'POST', `/v1/studies/${study.id}/recordings`, {json});
    assert.deepEqual(pointers(answer), [
      '/channels/0/rate_hz',
      '/channels/0/samples/1',
      '/channels/0/unit',
      '/channels/1/gain',
      '/colour',
      '/conditions/filling_rate_ml_min',
      '/conditions/flow_delay_s',
      '/events/0/at_s',
      '/started_at',
      '/type',
    ]);
  });

  it('has at most a hundred named', async () => {
    const {document} = uroflowmetry();
    const json = {...document, channels: [{...document.channels[0], samples: Array(5000).fill('x')}]};
    const answer = await clinic.room.expect(422, 'POST', `/v1/studies/${study.id}/recordings`, {json});
    assert.equal(answer.json.errors.length, 100);
  });
});

/** [target, sound document, [[change, pointers]]]. */
const OTHER_FAULTS = {
  '/v1/patients': [
    () => patientDocument(),
    [
      [{mrn: ''}, ['/mrn']],
      [{mrn: undefined}, ['/mrn']],
      [{mrn: null}, ['/mrn']],
      [{mrn: 5}, ['/mrn']],
      [{mrn: 'x'.repeat(65)}, ['/mrn']],
      [{family_name: 'x'.repeat(201)}, ['/family_name']],
      [{given_name: 'a\u0007b'}, ['/given_name']],
      [{birth_date: '2026-02-29'}, ['/birth_date']],
      [{birth_date: '29.02.2024'}, ['/birth_date']],
      [{birth_date: '1961-04-30T00:00:00Z'}, ['/birth_date']],
      [{sex: 'm'}, ['/sex']],
      [{weight_kg: -3}, ['/weight_kg']],
      [{weight_kg: '82'}, ['/weight_kg']],
      [{id: 'me'}, ['/id']],
      [{age: 3, sex: 'x', weight_kg: 1000}, ['/age', '/sex', '/weight_kg']],
    ],
  ],
  '/v1/studies': [
    () => studyDocument(study.patient_id),
    [
      [{patient_id: undefined}, ['/patient_id']],
      [{patient_id: 'nobody'}, ['/patient_id']],
      [{patient_id: randomUUID()}, ['/patient_id']],
      [{room: ''}, ['/room']],
      [{room: 4}, ['/room']],
      [{started_at: '2026-03-02'}, ['/started_at']],
      [{operator: 'x'.repeat(201)}, ['/operator']],
      [{history: 'none'}, ['/history']],
      [{history: {handedness: 'left'}}, ['/history/handedness']],
      [{history: {diary: 3}}, ['/history/diary']],
      [{status: 'final'}, ['/status']],
      [{id: 7}, ['/id']],
    ],
  ],
};

const ADMINISTRATOR_FAULTS = {
  '/v1/users': [
    () => ({username: 'someone.new', display_name: 'Someone', password: PASSWORD, roles: ['room']}),
    [
      [{username: 'x'}, ['/username']],
      [{username: 'Some One'}, ['/username']],
      [{password: 'short'}, ['/password']],
      [{password: 'fourteen chars'}, ['/password']],
      [{password: 'a 7z'.repeat(129)}, ['/password']],
      [{password: 'Password-1234-2026'}, ['/password']],
      [{password: 'someone.new-2026'}, ['/password']],
      [{password_is_temporary: 'yes'}, ['/password_is_temporary']],
      [{roles: []}, ['/roles']],
      [{roles: 'room'}, ['/roles']],
      [{roles: ['owner']}, ['/roles/0']],
      [{roles: undefined, display_name: undefined}, ['/display_name', '/roles']],
      [{active: true}, ['/active']],
    ],
  ],
  '/v1/tokens': [
    () => ({name: 'a token', roles: ['room']}),
    [
      [{name: ''}, ['/name']],
      [{roles: undefined}, ['/roles']],
      [{roles: ['room', 'king']}, ['/roles/1']],
      [{expires_at: 'tomorrow'}, ['/expires_at']],
      [{expires_at: '2020-01-01T00:00:00Z'}, ['/expires_at']],
    ],
  ],
};

describe('another document with a fault', () => {
  leavesNothing(() => installation);

  const cases = [
    ...Object.entries(OTHER_FAULTS).map((entry) => [...entry, () => clinic.room]),
    ...Object.entries(ADMINISTRATOR_FAULTS).map((entry) => [...entry, () => clinic.administrator]),
  ];
  for (const [target, [sound, faults], client] of cases) {
    it(`is refused by name: POST ${target}`, async () => {
      for (const [change, expected] of faults) {
        const answer = await client().expect(422, 'POST', target, {json: {...sound(), ...change}});
        assert.deepEqual(pointers(answer), expected, `${JSON.stringify(change)}: ${answer.text}`);
      }
    });
  }

  it('is refused by name: changes', async () => {
    const headers = {'if-match': '"1"'};
    const refused = async (client, method, target, json, expected) => {
      const answer = await client.expect(422, method, target, {json, headers});
      assert.deepEqual(pointers(answer), expected);
    };
    await refused(clinic.room, 'PUT', `/v1/patients/${study.patient_id}`, {mrn: 'x'}, [
      '/birth_date',
      '/family_name',
      '/given_name',
      '/sex',
    ]);
    await refused(clinic.room, 'PATCH', `/v1/studies/${study.id}`, {status: 'final'}, ['/status']);
    await refused(clinic.room, 'PATCH', `/v1/studies/${study.id}`, {patient_id: study.patient_id}, ['/patient_id']);
    await refused(clinic.administrator, 'PATCH', `/v1/users/${account.id}`, {active: 'no'}, ['/active']);
    await refused(clinic.administrator, 'PATCH', `/v1/users/${account.id}`, {username: 'other'}, ['/username']);
    await refused(clinic.room, 'PUT', `/v1/recordings/${recording.id}/events`, {}, ['/events']);
    await refused(clinic.room, 'PUT', `/v1/recordings/${recording.id}/events`, {events: [{at_s: 1e6, code: 'Y'}]}, [
      '/events/0/at_s',
      '/events/0/code',
    ]);
  });
});

describe('what does not exist', () => {
  const withId = operations.filter(({path}) => path.includes('{id}'));
  async function isNotFound(idFor) {
    for (const operation of withId) {
      const {method, path} = operation;
      const client = await clinic.person(roleFor(operation));
      const {json, headers} = await recipeOf(clinic, `${method} ${path}`, roleFor(operation));
      const id = idFor(path);
      await installation.unchanged(() => client.expect(404, method, filled(path, {id}), {json, headers}));
    }
  }

  it('is 404 wherever an id is unknown', () => isNotFound(() => randomUUID()));

  it('is 404 wherever an id is none', async () => {
    for (const id of ['1', 'null', '%00', "'%20or%201=1--", `${randomUUID()}0`, '..', 'x'.repeat(2000)]) {
      for (const operation of withId.filter(({method}) => method === 'GET')) {
        const {method, path} = operation;
        const client = await clinic.person(roleFor(operation));
        const {status} = await client.request(method, path.replace('{id}', id).replace('{n}', '0'));
        // What the client makes of ".." is another path, of another route perhaps.
        const expected = id === '..' ? [200, 400, 404, 405] : [400, 404, 414];
        assert.ok(expected.includes(status), `${path} with ${id}: ${status}`);
      }
    }
  });

  async function theirErasure(other) {
    const {id} = await other.addPatient();
    const physician = await other.person('physician');
    return (await physician.post(`/v1/patients/${id}/erasure`, {reason: 'a test, and why'})).json.id;
  }

  async function theirSession(other) {
    const {json} = await (await other.person('clinician')).get('/v1/sessions');
    return json.items[0].id;
  }

  it('includes all that belongs to another clinic', async () => {
    const other = await Clinic.open(installation, 'Clinic next door');
    const theirs = await other.addVisit();
    const {json} = await other.addRecording(theirs.id, uroflowmetry().document);
    const user = await other.addUser(['room']);
    const theirToken = await other.makeToken(['room']);
    const signed = await other.addVisit();
    await other.sign(signed.id);
    const link = (await other.as('clinician').post(`/v1/studies/${signed.id}/links`, {purpose: 'summary'})).json;
    const ids = {
      patients: theirs.patient_id,
      studies: theirs.id,
      recordings: json.recording.id,
      users: user.id,
      tokens: theirToken.id,
      links: link.id,
      erasures: await theirErasure(other),
      sessions: await theirSession(other),
    };
    await isNotFound((path) => ids[path.split('/')[2]]);
    await installation.unchanged(async () => {
      const study422 = await clinic.room.expect(422, 'POST', '/v1/studies', {json: studyDocument(theirs.patient_id)});
      assert.deepEqual(pointers(study422), ['/patient_id']);
    });
    for (const list of ['patients', 'studies', `studies?patient_id=${theirs.patient_id}`]) {
      const {json: page} = await clinic.room.get(`/v1/${list}`);
      assert.ok(
        page.items.every(({id}) => !Object.values(ids).includes(id)),
        list,
      );
    }
    for (const list of ['users', 'tokens']) {
      const {json: page} = await clinic.administrator.get(`/v1/${list}`);
      assert.ok(page.items.length > 0 && page.items.every(({id}) => !Object.values(ids).includes(id)), list);
    }
    await Promise.all(['room', 'clinician'].map((role) => other.as(role).get(`/v1/recordings/${json.recording.id}`)));
  });
});

describe('a query with a fault', () => {
  const QUERIES = [
    ['/v1/patients?limit=0', ['?limit']],
    ['/v1/patients?limit=201', ['?limit']],
    ['/v1/patients?limit=ten', ['?limit']],
    ['/v1/patients?limit=1.5', ['?limit']],
    ['/v1/patients?limit=', ['?limit']],
    ['/v1/patients?limit=99999999999999999999', ['?limit']],
    ['/v1/patients?birth_date=yesterday', ['?birth_date']],
    ['/v1/patients?birth_date=2026-02-30', ['?birth_date']],
    ['/v1/patients?colour=red', ['?colour']],
    ['/v1/patients?colour=red&limit=x', ['?colour', '?limit']],
    ['/v1/studies?date=2026-13-01', ['?date']],
    ['/v1/studies?date=2026-03-02&from=2026-03-02T00:00:00Z', ['?date']],
    ['/v1/studies?from=2026-03-02', ['?from']],
    ['/v1/studies?to=now', ['?to']],
    ['/v1/studies?patient_id=me', ['?patient_id']],
    ['/v1/studies?status=done', ['?status']],
    ['/v1/recordings/RECORDING/analysis?revision=0', ['?revision']],
    ['/v1/recordings/RECORDING/analysis?revision=first', ['?revision']],
    ['/v1/recordings/RECORDING/analysis?version=1', ['?version']],
    ['/v1/recordings/RECORDING/traces?signals=pbrain', ['?signals']],
    ['/v1/recordings/RECORDING/traces?signals=pves', ['?signals']],
    ['/v1/recordings/RECORDING/traces?signals=', ['?signals']],
    ['/v1/recordings/RECORDING/traces?from_s=early', ['?from_s']],
    ['/v1/recordings/RECORDING/traces?from_s=nan', ['?from_s']],
    ['/v1/recordings/RECORDING/traces?from_s=0x10', ['?from_s']],
    ['/v1/recordings/RECORDING/traces?from_s=20&to_s=10', ['?to_s']],
    ['/v1/recordings/RECORDING/traces?from_s=1000', ['?to_s']],
    ['/v1/recordings/RECORDING/traces?points=0', ['?points']],
    ['/v1/recordings/RECORDING/traces?points=1000000', ['?points']],
    ['/v1/recordings/RECORDING/traces?unit=kPa', ['?unit']],
  ];

  for (const [target, expected] of QUERIES) {
    it(`is refused by name: ${target}`, async () => {
      const answer = await clinic.room.expect(422, 'GET', target.replace('RECORDING', recording.id));
      assert.deepEqual(pointers(answer), expected, answer.text);
    });
  }

  it('is refused when its cursor is not one that the list gave', async () => {
    await clinic.addVisit();
    const {json} = await clinic.room.get('/v1/patients?limit=1');
    const cursor = json.next_cursor;
    assert.ok(cursor, 'the list has a second page');
    const forged = [
      'x',
      '!!!!',
      'AAAA',
      `${cursor}A`,
      cursor.slice(1),
      cursor.slice(0, -3),
      'A'.repeat(600),
      "' or 1=1 --",
    ];
    for (const one of forged) {
      for (const list of ['/v1/patients', '/v1/studies']) {
        const answer = await clinic.room.expect(422, 'GET', `${list}?cursor=${encodeURIComponent(one)}`);
        assert.deepEqual(pointers(answer), ['?cursor'], `${one}: ${answer.text}`);
      }
    }
    const swapped = await clinic.room.expect(422, 'GET', `/v1/studies?cursor=${encodeURIComponent(cursor)}`);
    assert.deepEqual(pointers(swapped), ['?cursor'], "another list's cursor");
  });

  it('asks for a revision that there is not: 404', () =>
    clinic.room.expect(404, 'GET', `/v1/recordings/${recording.id}/analysis?revision=2`));
});
