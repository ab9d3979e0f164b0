// Repeated, late and competing requests: Idempotency-Key, chosen ids, ETag and If-Match.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {gzipSync} from 'node:zlib';
import {Clinic, PASSWORD, patientDocument, studyDocument} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {changeState} from './lib/pieces.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('repeats');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the repeats');
});

after(() => installation.remove());

/** What creates: [target, a new sound document, the table whose rows it adds]. */
async function creations() {
  const study = await clinic.addVisit();
  return [
    ['/v1/patients', patientDocument, 'patient'],
    ['/v1/studies', () => studyDocument(study.patient_id), 'study'],
    [`/v1/studies/${study.id}/recordings`, () => ({...FLOW}), 'recording'],
  ];
}

const count = async (table) => (await installation.contents())[table];

describe('a creation with an Idempotency-Key', () => {
  it('gives the first answer again, and makes one row', async () => {
    for (const [target, make, table] of await creations()) {
      const json = make();
      const headers = {'idempotency-key': `key-${randomUUID()}`};
      const before = await count(table);
      const first = await clinic.room.expect(201, 'POST', target, {json, headers});
      assert.equal(first.headers.get('idempotent-replayed'), null);
      for (let i = 0; i < 3; i++) {
        const again = await clinic.room.expect(201, 'POST', target, {json, headers});
        assert.equal(again.text, first.text);
        assert.equal(again.headers.get('idempotent-replayed'), 'true');
        for (const name of ['location', 'etag', 'content-type']) {
          assert.equal(again.headers.get(name), first.headers.get(name));
        }
      }
      assert.equal(await count(table), before + 1);
    }
  });

  it('is refused with another body, or for another resource', async () => {
    for (const [target, make, table] of await creations()) {
      const headers = {'idempotency-key': `key-${randomUUID()}`};
      await clinic.room.expect(201, 'POST', target, {json: make(), headers});
      await installation.unchanged(async () => {
        await clinic.room.expect(422, 'POST', target, {json: {...make(), id: randomUUID()}, headers});
        const elsewhere = table === 'patient' ? '/v1/studies' : '/v1/patients';
        await clinic.room.expect(422, 'POST', elsewhere, {json: make(), headers});
      });
    }
  });

  it('is refused with another query', async () => {
    for (const [target, make] of await creations()) {
      const json = make();
      const headers = {'idempotency-key': randomUUID()};
      await clinic.room.expect(201, 'POST', `${target}?one=1`, {json, headers});
      await installation.unchanged(async () => {
        for (const other of [target, `${target}?one=2`, `${target}?one=1&`, `${target}?one=%31`]) {
          await clinic.room.expect(422, 'POST', other, {json, headers});
        }
        const again = await clinic.room.expect(201, 'POST', `${target}?one=1`, {json, headers});
        assert.equal(again.headers.get('idempotent-replayed'), 'true');
      });
    }
  });

  it('is the same request however the body is compressed', async () => {
    const headers = {'idempotency-key': randomUUID(), 'content-type': 'application/json'};
    const body = JSON.stringify(patientDocument());
    const first = await clinic.room.expect(201, 'POST', '/v1/patients', {body, headers});
    const again = await clinic.room.expect(201, 'POST', '/v1/patients', {
      body: gzipSync(body),
      headers: {...headers, 'content-encoding': 'gzip'},
    });
    assert.equal(again.text, first.text);
  });

  it('can be sent again after a refusal, corrected', async () => {
    const headers = {'idempotency-key': randomUUID()};
    const json = patientDocument();
    await installation.unchanged(() =>
      clinic.room.expect(422, 'POST', '/v1/patients', {json: {...json, sex: 'x'}, headers}),
    );
    await clinic.room.expect(201, 'POST', '/v1/patients', {json, headers});
  });

  it('belongs to one caller', async () => {
    const headers = {'idempotency-key': randomUUID()};
    const other = await Clinic.open(installation, 'Clinic next door');
    const ids = [];
    for (const client of [clinic.room, clinic.as('clinician'), other.room]) {
      ids.push((await client.expect(201, 'POST', '/v1/patients', {json: patientDocument(), headers})).json.id);
    }
    assert.equal(new Set(ids).size, 3);
  });

  it('makes one row of many at a time', async () => {
    for (const [target, make, table] of await creations()) {
      const json = make();
      const headers = {'idempotency-key': randomUUID()};
      const before = await count(table);
      const answers = await Promise.all(
        Array.from({length: 12}, () => clinic.room.request('POST', target, {json, headers})),
      );
      assert.deepEqual([...new Set(answers.map(({status}) => status))], [201]);
      assert.equal(new Set(answers.map(({text}) => text)).size, 1);
      assert.equal(await count(table), before + 1);
    }
  });

  it('has a key of few characters', () =>
    installation.unchanged(async () => {
      for (const key of ['', 'a b', 'x'.repeat(129), 'key;drop', '\u00e9']) {
        await clinic.room.expect(400, 'POST', '/v1/patients', {
          json: patientDocument(),
          headers: {'idempotency-key': key},
        });
      }
    }));
});

describe('a creation with a chosen id', () => {
  it('uses it, and is 409 the second time, but for the same recording', async () => {
    for (const [target, make, table] of await creations()) {
      const json = {...make(), id: randomUUID()};
      const created = await clinic.room.post(target, json);
      assert.equal((created.json.recording ?? created.json).id, json.id);
      assert.ok(created.headers.get('location').endsWith(json.id));
      await installation.unchanged(async () => {
        await clinic.room.expect(table === 'recording' ? 200 : 409, 'POST', target, {json});
        const another = table === 'patient' ? {...json, mrn: 'another'} : {...json, started_at: '2026-04-01T10:00:00Z'};
        await clinic.room.expect(409, 'POST', target, {json: another});
      });
    }
  });

  it('makes one row of many at a time', async () => {
    for (const [target, make, table] of await creations()) {
      const json = {...make(), id: randomUUID()};
      const before = await count(table);
      const answers = await Promise.all(Array.from({length: 12}, () => clinic.room.request('POST', target, {json})));
      const others = Array(11).fill(table === 'recording' ? 200 : 409);
      assert.deepEqual(answers.map(({status}) => status).sort(), [201, ...others].sort());
      assert.equal(await count(table), before + 1);
    }
  });

  it('says nothing of the ids of other clinics', async () => {
    const other = await Clinic.open(installation, 'Clinic far away');
    const id = randomUUID();
    await other.addPatient({id, mrn: 'SAME'});
    const {json} = await clinic.room.post('/v1/patients', patientDocument({id, mrn: 'SAME'}));
    assert.equal(json.id, id);
  });
});

describe('a recording that its study holds already', () => {
  const upload = (study, json, headers) =>
    clinic.room.request('POST', `/v1/studies/${study.id}/recordings`, {json, headers});
  const withFlow = (change) => ({
    ...FLOW,
    channels: FLOW.channels.map((one) => ({...one, samples: change([...one.samples])})),
  });

  it('is the first one, with and without its id', async () => {
    for (const json of [FLOW, {...FLOW, id: randomUUID()}]) {
      const study = await clinic.addVisit();
      const first = await upload(study, json);
      assert.equal(first.status, 201);
      await installation.unchanged(async () => {
        for (const again of [await upload(study, json), await upload(study, FLOW)]) {
          assert.equal(again.status, 200);
          assert.equal(again.text, first.text);
          assert.equal(again.headers.get('etag'), first.headers.get('etag'));
          assert.equal(again.headers.get('location'), null);
        }
      });
    }
  });

  it('is one although four clients send it at a time', async () => {
    for (const json of [FLOW, {...FLOW, id: randomUUID()}]) {
      const study = await clinic.addVisit();
      const answers = await Promise.all(Array.from({length: 4}, () => upload(study, json)));
      assert.deepEqual(answers.map(({status}) => status).sort(), [200, 200, 200, 201]);
      assert.equal(new Set(answers.map((answer) => answer.json.recording.id)).size, 1);
      const list = await clinic.room.get(`/v1/studies/${study.id}/recordings`);
      assert.equal(list.json.items.length, 1);
    }
  });

  it('is another one when anything differs', async () => {
    const study = await clinic.addVisit();
    const ids = new Set([(await upload(study, FLOW)).json.recording.id]);
    for (const json of [
      withFlow((samples) => Object.assign(samples, {450: 0.5})),
      withFlow((samples) => Object.assign(samples, {450: null})),
      {...FLOW, id: randomUUID()},
      {...FLOW, started_at: '2026-03-02T09:31:06+01:00'},
      {...FLOW, conditions: {...FLOW.conditions, post_void_residual_ml: 41}},
      {...FLOW, events: [...FLOW.events, {at_s: 20, code: 'comment', note: 'moved'}]},
    ]) {
      const answer = await upload(study, json);
      assert.equal(answer.status, 201);
      ids.add(answer.json.recording.id);
    }
    assert.equal(ids.size, 7);
    assert.equal((await upload(await clinic.addVisit(), FLOW)).status, 201, 'in another study');
  });

  it('is still the first one when its events have been corrected', async () => {
    const study = await clinic.addVisit();
    const first = await upload(study, FLOW);
    await clinic.room.put(`/v1/recordings/${first.json.recording.id}/events`, {events: []}, '"1"');
    const again = await upload(study, FLOW);
    assert.equal(again.status, 200);
    assert.equal(again.json.recording.id, first.json.recording.id);
    assert.equal(again.json.recording.revision, 2);
  });

  it('has the answer of an Idempotency-Key of its own', async () => {
    const study = await clinic.addVisit();
    const first = await upload(study, FLOW);
    const headers = {'idempotency-key': randomUUID()};
    for (const replayed of [null, 'true']) {
      const again = await upload(study, FLOW, headers);
      assert.equal(again.status, 200);
      assert.equal(again.text, first.text);
      assert.equal(again.headers.get('idempotent-replayed'), replayed);
    }
  });

  it('is stored anew when the first one was withdrawn', async () => {
    const study = await clinic.addVisit();
    const first = await upload(study, FLOW);
    await changeState(clinic.room, first.json.recording.id, 'withdrawal');
    const second = await upload(study, FLOW);
    assert.equal(second.status, 201);
    assert.notEqual(second.json.recording.id, first.json.recording.id);
  });
});

describe('what must be there once only', () => {
  it('is 409: a record number', async () => {
    const patient = await clinic.addPatient();
    const second = await clinic.room.post('/v1/patients', patientDocument());
    await installation.unchanged(async () => {
      const answer = await clinic.room.expect(409, 'POST', '/v1/patients', {json: patientDocument({mrn: patient.mrn})});
      assert.match(answer.json.detail, /record number/);
      assert.ok(!answer.text.includes(FAMILY_NAME), 'the answer does not say whose it is');
      await clinic.room.expect(409, 'PUT', `/v1/patients/${second.json.id}`, {
        json: patientDocument({mrn: patient.mrn}),
        headers: {'if-match': second.headers.get('etag')},
      });
    });
  });

  it('is 409: a username', async () => {
    const user = await clinic.addUser(['room']);
    await installation.unchanged(() =>
      clinic.administrator.expect(409, 'POST', '/v1/users', {
        json: {username: user.username, display_name: 'Again', password: PASSWORD, roles: ['room']},
      }),
    );
  });
});

describe('a change', () => {
  /** What can be changed: [client, method, target, body, its ETag now]. */
  async function changes() {
    const visit = await clinic.addVisit();
    const user = await clinic.addUser(['room']);
    const recording = (await clinic.addRecording(visit.id, FLOW)).json.recording;
    const study = await clinic.room.get(`/v1/studies/${visit.id}`);
    return [
      [clinic.room, 'PUT', `/v1/patients/${visit.patient_id}`, patientDocument(), '"1"'],
      [clinic.room, 'PATCH', `/v1/studies/${visit.id}`, {room: 'Room 9'}, study.headers.get('etag')],
      [clinic.room, 'PUT', `/v1/recordings/${recording.id}/events`, {events: []}, '"1"'],
      [clinic.administrator, 'PATCH', `/v1/users/${user.id}`, {display_name: 'Other'}, user.etag],
    ];
  }

  it('needs If-Match: 428 without, 412 with a stale one', async () => {
    for (const [client, method, target, json, etag] of await changes()) {
      await installation.unchanged(async () => {
        await client.expect(428, method, target, {json});
        for (const stale of ['"0"', '"99"', `W/${etag}`, '"', 'x', '""']) {
          await client.expect(412, method, target, {json, headers: {'if-match': stale}});
        }
      });
      const changed = await client.expect(200, method, target, {json, headers: {'if-match': etag}});
      assert.notEqual(changed.headers.get('etag'), etag);
      await installation.unchanged(() => client.expect(412, method, target, {json, headers: {'if-match': etag}}));
      const read = await client.get(target);
      assert.equal(read.headers.get('etag'), changed.headers.get('etag'));
      assert.deepEqual(read.json, changed.json);
    }
  });

  it('takes a list of tags, or any', async () => {
    for (const [client, method, target, json, etag] of await changes()) {
      const changed = await client.expect(200, method, target, {json, headers: {'if-match': `"77", ${etag}`}});
      assert.notEqual(changed.headers.get('etag'), etag);
      await client.expect(200, method, target, {json, headers: {'if-match': '*'}});
    }
  });

  it('is won by one of many at a time', async () => {
    for (const [client, method, target, json, etag] of await changes()) {
      const answers = await Promise.all(
        Array.from({length: 8}, () => client.request(method, target, {json, headers: {'if-match': etag}})),
      );
      assert.deepEqual(answers.map(({status}) => status).sort(), [200, ...Array(7).fill(412)], target);
    }
  });

  it('leaves out what it does not name', async () => {
    const study = await clinic.addVisit({}, {operator: 'A. Nurse', history: {diary: 'nine times a day'}});
    const {json} = await clinic.room.patch(`/v1/studies/${study.id}`, {catheters: '7 Fr'}, '"1"');
    assert.deepEqual(json, {...study, catheters: '7 Fr', version: 2});
  });

  it('of a cancelled study adds no recording', async () => {
    const study = await clinic.addVisit();
    await clinic.room.patch(`/v1/studies/${study.id}`, {status: 'cancelled'}, '"1"');
    await installation.unchanged(() =>
      clinic.room.expect(409, 'POST', `/v1/studies/${study.id}/recordings`, {json: FLOW}),
    );
  });

  it('is seen by If-None-Match', async () => {
    const patient = await clinic.addPatient();
    const target = `/v1/patients/${patient.id}`;
    const {headers} = await clinic.room.get(target);
    const answer = await clinic.room.request('GET', target, {headers: {'if-none-match': headers.get('etag')}});
    assert.equal(answer.status, 304);
    assert.equal(answer.text, '');
    await clinic.room.put(target, patientDocument(), headers.get('etag'));
    await clinic.room.get(target, {'if-none-match': headers.get('etag')});
  });
});

describe('every single resource', () => {
  it('has an ETag and is not kept by caches', async () => {
    const visit = await clinic.addVisit();
    const recording = (await clinic.addRecording(visit.id, FLOW)).json.recording;
    const user = await clinic.addUser(['room']);
    for (const [client, target] of [
      [clinic.room, `/v1/patients/${visit.patient_id}`],
      [clinic.room, `/v1/studies/${visit.id}`],
      [clinic.room, `/v1/studies/${visit.id}/summary`],
      [clinic.room, `/v1/recordings/${recording.id}`],
      [clinic.room, `/v1/recordings/${recording.id}/events`],
      [clinic.room, `/v1/recordings/${recording.id}/analysis`],
      [clinic.administrator, `/v1/users/${user.id}`],
    ]) {
      const {headers} = await client.get(target);
      assert.match(headers.get('etag') ?? '', /^"[^"]+"$/, target);
      assert.equal(headers.get('cache-control'), 'no-store', target);
    }
  });
});
