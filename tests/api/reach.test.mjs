// Whose data a role sees within its clinic: open work, patients referred, one patient in an emergency.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, patientDocument, signIn, studyDocument} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {cut} from './lib/pieces.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();

let installation;
let clinic;
let physician;
/** A visit whose study is signed, and one whose study is not, with a recording each. */
let signed;
let open;

async function visit() {
  const {json: patient} = await physician.post('/v1/patients', patientDocument());
  const {json: study} = await physician.post('/v1/studies', studyDocument(patient.id));
  const {json: stored} = await physician.post(`/v1/studies/${study.id}/recordings`, FLOW);
  return {patient, study, recording: stored.recording};
}

before(async () => {
  installation = await Installation.create('reach');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the reach');
  physician = clinic.as('physician');
  [signed, open] = [await visit(), await visit()];
  await clinic.sign(signed.study.id);
});

after(() => installation.remove());

/** Every way to read a visit, and its list. */
const readings = ({patient, study, recording}) => [
  `/v1/patients/${patient.id}`,
  `/v1/patients/${patient.id}/trend`,
  `/v1/studies/${study.id}`,
  `/v1/studies/${study.id}/recordings`,
  `/v1/studies/${study.id}/summary`,
  `/v1/recordings/${recording.id}`,
  `/v1/recordings/${recording.id}/analysis`,
  `/v1/recordings/${recording.id}/events`,
  `/v1/recordings/${recording.id}/history`,
  `/v1/recordings/${recording.id}/traces`,
];

const ids = async (client, list) => (await client.get(`${list}?limit=200`)).json.items.map((item) => item.study_id ?? item.id);

describe('a room', () => {
  it('reads open work and nothing of signed studies', async () => {
    for (const target of readings(open)) {
      await clinic.room.get(target);
    }
    for (const target of readings(signed)) {
      await clinic.room.expect(404, 'GET', target);
    }
    assert.deepEqual(await ids(clinic.room, '/v1/studies'), [open.study.id]);
    assert.deepEqual(await ids(clinic.room, '/v1/patients'), [open.patient.id]);
    assert.deepEqual(await ids(clinic.room, '/v1/summaries'), []);
  });

  it('changes nothing of signed studies', () =>
    installation.unchanged(async () => {
      const match = {headers: {'if-match': '"1"'}};
      const {patient, study, recording} = signed;
      const attempts = [
        ['PUT', `/v1/patients/${patient.id}`, patientDocument()],
        ['PATCH', `/v1/studies/${study.id}`, {room: 'Room 9'}],
        ['POST', `/v1/studies/${study.id}/recordings`, FLOW],
        ['PUT', `/v1/recordings/${recording.id}/events`, {events: []}],
        ['POST', `/v1/recordings/${recording.id}/withdrawal`, {reason: 'a test'}],
        ['PUT', `/v1/recordings/${recording.id}/chunks/0`, cut(FLOW, 45)[0]],
        ['POST', `/v1/recordings/${recording.id}/completion`, {chunks: 1}],
      ];
      for (const [method, target, json] of attempts) {
        await clinic.room.expect(404, method, target, {json, ...match});
      }
    }));

  it('finds whoever stands before it by number and birth date together, and begins a visit', async () => {
    const {json: patient} = await physician.post('/v1/patients', patientDocument());
    const {mrn, birth_date} = patient;
    const search = async (query) => (await clinic.room.get(`/v1/patients?${new URLSearchParams(query)}`)).json.items;
    assert.deepEqual(await search({mrn}), []);
    assert.deepEqual(await search({mrn, birth_date: '1961-05-01'}), []);
    await clinic.room.expect(404, 'GET', `/v1/patients/${patient.id}`);
    assert.deepEqual(
      (await search({mrn, birth_date})).map(({id}) => id),
      [patient.id],
    );
    const {json: study} = await clinic.room.post('/v1/studies', studyDocument(patient.id));
    await clinic.room.get(`/v1/patients/${patient.id}`);
    await clinic.sign(study.id);
    await clinic.room.expect(404, 'GET', `/v1/patients/${patient.id}`);
  });
});

describe('naming patients', () => {
  it('ends for a while after twenty who are nobody, and for nobody else', async () => {
    const {json: token} = await clinic.administrator.post('/v1/tokens', {name: 'lost', roles: ['room']});
    const lost = Client.withToken(installation.url, token.token);
    const {json: patient} = await physician.post('/v1/patients', patientDocument());
    const name = (status, birth_date) =>
      lost.expect(status, 'GET', `/v1/patients?${new URLSearchParams({mrn: patient.mrn, birth_date})}`);
    for (let i = 0; i < 20; i++) {
      assert.deepEqual((await name(200, `19${30 + i}-01-01`)).json.items, []);
      if (i < 3) {
        assert.equal((await name(200, patient.birth_date)).json.items.length, 1, 'whoever is found does not count');
      }
    }
    for (const birth_date of ['1951-01-01', patient.birth_date]) {
      const {headers} = await name(429, birth_date);
      assert.ok(Number(headers.get('retry-after')) > 60);
    }
    await lost.get('/v1/patients');
    const found = await clinic.room.get(
      `/v1/patients?${new URLSearchParams({mrn: patient.mrn, birth_date: patient.birth_date})}`,
    );
    assert.equal(found.json.items.length, 1);
  });

  it('ends for emergencies too', async () => {
    const nurse = await session(await clinic.addUser(['room']));
    const attempt = (status, birth_date) =>
      nurse.expect(status, 'POST', '/v1/emergency-access', {
        json: {mrn: signed.patient.mrn, birth_date, reason: 'trying birth dates one by one'},
      });
    for (let i = 0; i < 20; i++) {
      await attempt(404, `19${30 + i}-01-01`);
    }
    await attempt(429, signed.patient.birth_date);
  });
});

async function session(user) {
  const {cookie} = await signIn(installation.url, user.username, user.password);
  return Client.withSession(installation.url, cookie);
}

describe('a referrer', () => {
  it('reads signed summaries of referred patients, and only those', async () => {
    const referrer = await clinic.person('referrer');
    const summary = ({study}) => `/v1/studies/${study.id}/summary`;
    await referrer.expect(404, 'GET', summary(signed));
    await clinic.refer(signed.patient.id, referrer.id);
    await clinic.refer(open.patient.id, referrer.id);
    await referrer.get(summary(signed));
    await referrer.get(summary(signed), {accept: 'text/html'});
    await referrer.expect(404, 'GET', summary(open));
    assert.deepEqual(await ids(referrer, '/v1/summaries'), [signed.study.id]);
    for (const target of [...readings(signed), ...readings(open)].filter((one) => !one.endsWith('/summary'))) {
      await referrer.expect(403, 'GET', target);
    }
    await physician.expect(204, 'DELETE', `/v1/patients/${signed.patient.id}/referrals/${referrer.id}`);
    await referrer.expect(404, 'GET', summary(signed));
    assert.deepEqual(await ids(referrer, '/v1/summaries'), []);
  });

  it('is named by an account that is one', async () => {
    const somebody = await clinic.person('clinician');
    const refer = (status, patientId, referrer_id) =>
      physician.expect(status, 'POST', `/v1/patients/${patientId}/referrals`, {json: {referrer_id}});
    for (const id of [somebody.id, open.patient.id, 'nobody']) {
      const {json} = await refer(422, open.patient.id, id);
      assert.deepEqual(json.errors.map(({pointer}) => pointer), ['/referrer_id']);
    }
    await refer(404, somebody.id, (await clinic.person('referrer')).id);
    const {json} = await physician.get('/v1/referrers');
    assert.deepEqual(
      json.items.map(({id}) => id),
      [(await clinic.person('referrer')).id],
    );
  });
});

describe('emergency access', () => {
  const request = (visited, reason = 'cannot pass water, brought in at night') => ({
    json: {mrn: visited.patient.mrn, birth_date: visited.patient.birth_date, reason},
  });

  it('opens one patient to one person, reading only', async () => {
    const [nurse, other] = [await clinic.person('room'), await clinic.addUser(['room'])];
    const another = await visit();
    await clinic.sign(another.study.id);
    await nurse.expect(404, 'GET', `/v1/studies/${signed.study.id}`);
    const {json} = await nurse.expect(201, 'POST', '/v1/emergency-access', request(signed));
    assert.equal(json.patient_id, signed.patient.id);
    const minutes = (Date.parse(json.expires_at) - Date.now()) / 60_000;
    assert.ok(minutes > 58 && minutes <= 60.1, `${minutes} min`);
    for (const target of readings(signed)) {
      await nurse.get(target);
    }
    await nurse.expect(404, 'GET', `/v1/studies/${another.study.id}`);
    await clinic.room.expect(404, 'GET', `/v1/studies/${signed.study.id}`);
    await nurse.expect(404, 'PUT', `/v1/patients/${signed.patient.id}`, {
      json: patientDocument({mrn: signed.patient.mrn, birth_date: '1960-01-01'}),
      headers: {'if-match': '"1"'},
    });
    await nurse.expect(404, 'PUT', `/v1/recordings/${signed.recording.id}/events`, {
      json: {events: []},
      headers: {'if-match': '"1"'},
    });
    assert.ok(other.id);
    const logged = installation.logLines().filter(({event}) => event === 'emergency_access');
    assert.deepEqual(
      logged.map((line) => [line.level, line.account_id, line.emergency_access_id]),
      [['warning', nurse.id, json.id]],
    );
  });

  it('wants a reason, a person, and somebody who is there', async () => {
    const nurse = await clinic.person('room');
    const faults = await nurse.expect(422, 'POST', '/v1/emergency-access', {
      json: {mrn: signed.patient.mrn, birth_date: 'yesterday', reason: 'too short'},
    });
    assert.deepEqual(faults.json.errors.map(({pointer}) => pointer).sort(), ['/birth_date', '/reason']);
    await nurse.expect(422, 'POST', '/v1/emergency-access', request(signed, '          '));
    await clinic.room.expect(403, 'POST', '/v1/emergency-access', request(signed));
    await nurse.expect(404, 'POST', '/v1/emergency-access', {
      json: {mrn: signed.patient.mrn, birth_date: '1930-01-01', reason: 'not this birth date'},
    });
  });

  it('shows a referrer the signed summaries of somebody else’s patient', async () => {
    const referrer = await clinic.person('referrer');
    await referrer.expect(404, 'GET', `/v1/studies/${signed.study.id}/summary`);
    await referrer.expect(201, 'POST', '/v1/emergency-access', request(signed));
    await referrer.get(`/v1/studies/${signed.study.id}/summary`);
    await referrer.expect(201, 'POST', '/v1/emergency-access', request(open));
    await referrer.expect(404, 'GET', `/v1/studies/${open.study.id}/summary`);
  });

  it('ends after an hour', async () => {
    const nurse = await clinic.person('room');
    await installation.execute(
      `alter table penstock.emergency_access disable trigger no_update;
       update penstock.emergency_access set created_at = created_at - interval '1 hour',
           expires_at = expires_at - interval '1 hour';
       alter table penstock.emergency_access enable trigger no_update`,
    );
    await nurse.expect(404, 'GET', `/v1/studies/${signed.study.id}`);
  });
});

describe('the page about access', () => {
  it('is what the program makes', async () => {
    const {readFileSync} = await import('node:fs');
    const page = readFileSync(new URL('../../api-docs/access.md', import.meta.url), 'utf8');
    assert.equal(page.trim(), await installation.program(['access']));
  });
});
