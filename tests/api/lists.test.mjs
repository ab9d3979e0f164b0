// Lists: pages by cursor, the Link field, order and filters.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Clinic, patientDocument, studyDocument} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const PATIENTS = 23;

let installation;
let clinic;
let patients;
let studies;

/** Names, days and rooms that repeat, so that a cursor cannot lean on any of them alone. */
before(async () => {
  installation = await Installation.create('lists');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the lists');
  patients = [];
  studies = [];
  for (let i = 0; i < PATIENTS; i++) {
    const patient = await clinic.addPatient({
      mrn: `L-${i}`,
      family_name: `${FAMILY_NAME} ${'abc'[i % 3]}`,
      given_name: ['Robin', 'Élodie', 'robin'][i % 3],
      birth_date: `196${i % 4}-01-31`,
    });
    patients.push(patient);
    const started_at = `2026-03-0${1 + (i % 3)}T${i % 2 === 0 ? '09' : '23'}:30:00-01:00`;
    studies.push(await clinic.addStudy(patient.id, {room: `Room ${i % 4}`, started_at}));
  }
  for (const study of studies.slice(0, 5)) {
    await clinic.addRecording(study.id, uroflowmetry().document);
  }
});

after(() => installation.remove());

/** Walks a list to its end by cursor, and by Link beside it; all rows in their order. */
async function walk(client, target) {
  const items = [];
  for (let next = target, pages = 0; next !== null; pages++) {
    assert.ok(pages <= 300, 'the walk does not end');
    const {json, headers} = await client.get(next);
    items.push(...json.items);
    const link = /^<([^>]+)>; rel="next"$/.exec(headers.get('link') ?? '');
    assert.equal(link === null, json.next_cursor === null, 'Link and next_cursor disagree');
    assert.ok(json.next_cursor === null || json.items.length > 0, 'an empty page in the middle');
    next = link === null ? null : link[1];
    if (next !== null) {
      assert.equal(new URL(next, 'http://x').searchParams.get('cursor'), json.next_cursor);
    }
  }
  return items;
}

const ids = (rows) => rows.map(({id}) => id);

describe('a walk through a list', () => {
  for (const limit of [1, 2, 5, 7, PATIENTS, PATIENTS + 1, 200]) {
    it(`sees each row once, in one order, by ${limit}`, async () => {
      for (const [list, expected] of [
        ['patients', patients],
        ['studies', studies],
      ]) {
        const whole = await clinic.room.get(`/v1/${list}?limit=200`);
        assert.equal(whole.json.next_cursor, null);
        const walked = await walk(clinic.room, `/v1/${list}?limit=${limit}`);
        assert.deepEqual(walked, whole.json.items);
        assert.deepEqual([...ids(walked)].sort(), [...ids(expected)].sort());
      }
    });
  }

  it('holds at most 50 rows a page when nothing is said', async () => {
    const {json} = await clinic.room.get('/v1/patients');
    assert.equal(json.items.length, PATIENTS);
  });

  it('misses nothing that was there all along while rows are added and changed', async () => {
    const other = await Clinic.open(installation, 'A busy clinic');
    const first = [];
    for (let i = 0; i < 8; i++) {
      first.push(await other.addVisit());
    }
    const seen = [];
    for (let next = '/v1/studies?limit=2'; next !== null;) {
      const {json, headers} = await other.room.get(next);
      seen.push(...ids(json.items));
      next = /^<([^>]+)>/.exec(headers.get('link') ?? '')?.[1] ?? null;
      await other.addVisit({}, {started_at: '2027-01-01T00:00:00Z'});
      await other.room.patch(`/v1/studies/${seen.at(-1)}`, {operator: 'Changed'}, '"1"');
    }
    for (const {id} of first) {
      assert.equal(seen.filter((one) => one === id).length, 1);
    }
  });

  it('goes through accounts and tokens alike', async () => {
    const made = [];
    for (let i = 0; i < 4; i++) {
      made.push((await clinic.addUser(['room'])).id);
    }
    const users = ids(await walk(clinic.administrator, '/v1/users?limit=2'));
    assert.equal(new Set(users).size, users.length);
    assert.ok(made.every((id) => users.includes(id)));
    const tokens = await walk(clinic.administrator, '/v1/tokens?limit=3');
    assert.equal(new Set(ids(tokens)).size, tokens.length);
    assert.ok(tokens.length >= 7);
    assert.ok(
      tokens.every((token) => !('token' in token)),
      'a list shows no secret',
    );
  });

  it('goes through the recordings of a study', async () => {
    const study = await clinic.addVisit({}, {room: 'Elsewhere'});
    const made = [];
    for (let i = 0; i < 3; i++) {
      const document = {...uroflowmetry().document, id: randomUUID()};
      made.push((await clinic.addRecording(study.id, document)).json.recording);
    }
    const items = await walk(clinic.room, `/v1/studies/${study.id}/recordings`);
    assert.deepEqual([...ids(items)].sort(), [...ids(made)].sort());
    assert.deepEqual(
      items.find(({id}) => id === made[0].id),
      made[0],
    );
    const {json} = await clinic.room.get(`/v1/studies/${study.id}`);
    assert.equal(json.recording_count, 3);
    assert.equal(json.status, 'preliminary');
  });
});

describe('a filter', () => {
  const utcDay = ({started_at}) => new Date(started_at).toISOString().slice(0, 10);

  async function finds(list, query, expected) {
    for (const limit of [1, 4, 200]) {
      const parameters = new URLSearchParams({...query, limit});
      const found = await walk(clinic.room, `/v1/${list}?${parameters}`);
      assert.deepEqual(
        [...ids(found)].sort(),
        [...ids(expected)].sort(),
        `${list} ${JSON.stringify(query)} by ${limit}`,
      );
    }
  }

  /** Only what before() made: other tests of this file add visits in a room of their own names. */
  const ours = (test) => studies.filter(test);

  it('finds patients by record number, whole', async () => {
    await finds('patients', {mrn: 'L-3'}, [patients[3]]);
    await finds('patients', {mrn: 'L-'}, []);
    await finds('patients', {mrn: "L-3' or '1'='1"}, []);
    await finds('patients', {mrn: '%'}, []);
  });

  it('finds patients by the beginning of a name, in any case', async () => {
    const byFamily = patients.filter(({family_name}) => family_name.endsWith(' b'));
    await finds('patients', {name: `${FAMILY_NAME} B`}, byFamily);
    await finds(
      'patients',
      {name: 'élod'},
      patients.filter(({given_name}) => given_name === 'Élodie'),
    );
    await finds('patients', {name: '%'}, []);
    await finds('patients', {name: '_'}, []);
  });

  it('finds patients by birth date, alone and with a name', async () => {
    await finds(
      'patients',
      {birth_date: '1962-01-31'},
      patients.filter(({birth_date}) => birth_date === '1962-01-31'),
    );
    await finds(
      'patients',
      {birth_date: '1962-01-31', name: FAMILY_NAME},
      patients.filter(({birth_date}) => birth_date === '1962-01-31'),
    );
  });

  it('finds studies by UTC day', async () => {
    for (const date of ['2026-03-02', '2026-03-03', '2026-03-04', '2026-03-05']) {
      await finds(
        'studies',
        {date, room: 'Room 2'},
        ours((study) => utcDay(study) === date && study.room === 'Room 2'),
      );
    }
  });

  it('finds studies from a moment on, and before another', async () => {
    const from = '2026-03-02T10:30:00Z';
    const to = '2026-03-03T12:30:00+02:00';
    const isWithin = ({started_at}) =>
      Date.parse(started_at) >= Date.parse(from) && Date.parse(started_at) < Date.parse(to);
    await finds(
      'studies',
      {from, to, room: 'Room 0'},
      ours((study) => study.room === 'Room 0' && isWithin(study)),
    );
  });

  it('finds studies by room, patient and status', async () => {
    await finds(
      'studies',
      {room: 'Room 3'},
      ours(({room}) => room === 'Room 3'),
    );
    await finds('studies', {room: 'room 3'}, []);
    await finds('studies', {patient_id: patients[7].id}, [studies[7]]);
    await finds('studies', {status: 'preliminary', room: 'Room 1'}, [studies[1]]);
    await finds('studies', {status: 'final'}, []);
  });

  it('shows whose study it is', async () => {
    const {json} = await clinic.room.get(`/v1/studies?patient_id=${patients[7].id}`);
    const [item] = json.items;
    assert.equal(item.patient_mrn, 'L-7');
    assert.ok(
      item.patient_name.includes(patients[7].family_name) && item.patient_name.includes(patients[7].given_name),
    );
  });
});

describe('an empty list', () => {
  it('has no rows and no next page', async () => {
    const other = await Clinic.open(installation, 'An empty clinic');
    for (const list of ['patients', 'studies']) {
      const {json, headers} = await other.room.get(`/v1/${list}`);
      assert.deepEqual(json, {items: [], next_cursor: null});
      assert.equal(headers.get('link'), null);
    }
    const study = await other.addStudy((await other.room.post('/v1/patients', patientDocument())).json.id);
    assert.deepEqual((await other.room.get(`/v1/studies/${study.id}/recordings`)).json.items, []);
    await other.room.post('/v1/studies', studyDocument(study.patient_id));
  });
});
