// A patient's file, and a patient's erasure: asked for by one person, decided by another, forbidden by a
// legal hold, carried out by penstock-server erase.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {randomUUID} from 'node:crypto';
import {writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, patientDocument, signIn, studyDocument} from './lib/clinic.mjs';
import {serverProgram} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {addressedVisit} from './lib/recipes.mjs';
import {cut, open, send} from './lib/pieces.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {INTERPRETATION} from './lib/signing.mjs';

const {document: FLOW} = uroflowmetry({grid: {rate_hz: 10, duration_s: 45}});
const WHY = {reason: 'the patient asks for it'};
const APPROVAL = {state: 'approved', reason: 'identity checked', despite_retention: true};

let installation;
let clinic;
let physician; // who has signed in
let administrator;

before(async () => {
  installation = await Installation.create('erasure');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic that forgets');
  physician = await person(['physician']);
  ({administrator} = clinic);
});

after(() => installation.remove());

async function person(roles) {
  const user = await clinic.addUser(roles);
  const {cookie} = await signIn(installation.url, user.username, user.password);
  return Client.withSession(installation.url, cookie);
}

const request = (patient, headers = {}) => physician.post(`/v1/patients/${patient.id}/erasure`, WHY, headers);

const decide = (who, {json, headers}, decision = APPROVAL) =>
  who.patch(`/v1/erasures/${json.id}`, decision, headers.get('etag'));

const approved = async (patient) => (await decide(administrator, await request(patient))).json;

const hold = (patient, reason = 'a trial') =>
  physician.expect(200, 'PUT', `/v1/patients/${patient.id}/legal-hold`, {json: {reason}});

const lift = (patient) =>
  physician.expect(200, 'DELETE', `/v1/patients/${patient.id}/legal-hold`, {json: {reason: 'it is over'}});

/** As if approval were a day old, and the patient's data older than that. */
const wait = (erasure) =>
  installation.execute(
    `set session_replication_role = replica;
     update penstock.erasure_request set decided_at = decided_at - interval '24 hours' where id = '${erasure.id}';
     update penstock.study set created_at = created_at - interval '2 days' where patient_id = '${erasure.patient_id}';
     update penstock.recording set received_at = received_at - interval '2 days' where study_id in
       (select id from penstock.study where patient_id = '${erasure.patient_id}')`,
  );

/** As if the visits and their patients were two days old. */
const age = (visits) =>
  installation.execute(
    `set session_replication_role = replica;
     ${visits
       .map(
         ({id, patient_id}) => `
     update penstock.study set created_at = created_at - interval '2 days' where id = '${id}';
     update penstock.patient set created_at = created_at - interval '2 days' where id = '${patient_id}';`,
       )
       .join('')}`,
  );

/** Runs the command; its exit code and what it printed. */
function erase(options = [], environment = {}) {
  return new Promise((resolve) => {
    execFile(
      serverProgram(),
      ['erase', ...options],
      {env: installation.environment(environment)},
      (error, stdout, stderr) => resolve({code: error === null ? 0 : error.code, stdout, stderr}),
    );
  });
}

/** What the command counted for the clinic. */
function counts(stdout) {
  const line = stdout.split('\n').find((text) => text.startsWith(`clinic ${clinic.id}: `));
  const [erased, held, cooling, changed, failed] = line.slice(line.indexOf(': ')).match(/\d+/g).map(Number);
  return {erased, held, cooling, changed, failed};
}

describe('the file of a patient', () => {
  let patient;
  let recordingId;
  let file;

  before(async () => {
    patient = await clinic.addPatient({weight_kg: 71});
    const study = await clinic.addStudy(patient.id, {operator: 'Robin Reed', catheters: 'two', history: {diary: 'x'}});
    recordingId = (await clinic.addRecording(study.id, FLOW)).json.recording.id;
    const events = [...FLOW.events, {at_s: 9, code: 'pain', note: 'said so'}];
    await clinic.as('clinician').put(`/v1/recordings/${recordingId}/events`, {events}, '"1"');
    const withdrawal = {json: {reason: 'the wrong room'}, headers: {'if-match': '"2"'}};
    await clinic.as('clinician').expect(200, 'POST', `/v1/recordings/${recordingId}/withdrawal`, withdrawal);
    const open_id = await open(clinic.room, study.id, FLOW);
    await send(clinic.room, open_id, 0, cut(FLOW, 45)[0]);
    await hold(patient);
    await lift(patient);
    await decide(administrator, await request(patient), {state: 'refused', reason: 'not yet'});
    file = await physician.get(`/v1/patients/${patient.id}/export`);
  });

  it('holds all that is kept, and who did it', () => {
    const {json} = file;
    assert.deepEqual(json.clinic, {id: clinic.id, name: clinic.name});
    assert.equal(json.patient.mrn, patient.mrn);
    assert.equal(json.patient.weight_kg, 71);
    assert.equal(json.patient.created_by.name, 'a room');
    const [study] = json.studies;
    assert.equal(study.operator, 'Robin Reed');
    assert.deepEqual(study.history, {diary: 'x'});
    assert.deepEqual(study.links, []);
    assert.equal(study.recordings.length, 2);
    const recording = study.recordings.find(({id}) => id === recordingId);
    assert.equal(recording.state, 'withdrawn');
    assert.equal(recording.conditions.post_void_residual_ml, 40);
    assert.equal(recording.channels[0].sample_count, FLOW.channels[0].samples.length);
    assert.deepEqual(
      recording.revisions.map(({revision, events, created_by}) => [revision, events.length, created_by.name]),
      [
        [1, 1, 'a room'],
        [2, 2, 'a clinician'],
      ],
    );
    assert.equal(recording.revisions[1].events[1].note, 'said so');
    assert.ok(recording.revisions[1].analysis.sections.uroflow.qmax.value > 0);
    assert.equal(recording.changes[0].reason, 'the wrong room');
    assert.equal(recording.samples.traces, `/v1/recordings/${recordingId}/traces`);
    assert.ok(recording.samples.media_types.includes('application/edf'));
    const [other] = study.recordings.filter(({id}) => id !== recordingId);
    assert.equal(other.state, 'open');
    assert.equal(other.pieces.length, 1);
    assert.equal(json.legal_holds[0].lift_reason, 'it is over');
    assert.equal(json.erasure_requests[0].decision_reason, 'not yet');
    assert.ok(Array.isArray(json.referrals) && Array.isArray(json.emergency_accesses));
  });

  it('holds what was made of a study and who signed it', async () => {
    const {id} = await clinic.addStudy(patient.id);
    const signature = await clinic.sign(id);
    await clinic.amend(id);
    const {json} = await physician.get(`/v1/patients/${patient.id}/export`);
    const study = json.studies.find((one) => one.id === id);
    assert.deepEqual(study.interpretations.map(({revision, created_by}) => [revision, created_by.name]), [
      [1, 'Dr Signer'],
      [2, 'Dr Signer'],
    ]);
    assert.equal(study.interpretations[0].interpretation.conclusion, INTERPRETATION.conclusion);
    assert.deepEqual(study.signatures.map(({meaning, signer_name}) => [meaning, signer_name]), [
      ['final', 'Dr Signer'],
      ['amended', 'Dr Signer'],
    ]);
    assert.equal(study.signatures[0].report_sha256, signature.report.sha256);
    await physician.expect(200, 'HEAD', study.signatures[1].report);
  });

  it('holds the letters about a study, and what was sent', async () => {
    const study = await addressedVisit(clinic);
    const sent = {json: {way: 'post'}};
    const {json: dispatch} = await clinic.as('clinician').expect(201, 'POST', `/v1/studies/${study.id}/letter/dispatches`, sent);
    const {json} = await physician.get(`/v1/patients/${study.patient_id}/export`);
    const [{letters, letter_dispatches: dispatches}] = json.studies;
    assert.deepEqual([letters.length, letters[0].addressee, letters[0].created_by.name], [1, 'Dr Addressee', 'a clinician']);
    assert.deepEqual(
      dispatches.map(({id, way, recipient, sha256, sent_by}) => [id, way, recipient, sha256, sent_by.name]),
      [[dispatch.id, 'post', 'Dr Addressee', dispatch.sha256, 'a clinician']],
    );
    assert.match(dispatches[0].text, /Dear Dr Addressee/);
    await physician.expect(200, 'GET', dispatches[0].file);
  });

  it('names no patient in the name of the file', () => {
    assert.match(
      file.headers.get('content-disposition'),
      /^attachment; filename="patient-file-\d{4}-\d\d-\d\d[.]json"$/,
    );
    assert.equal(file.headers.get('cache-control'), 'no-store');
  });

  it('holds the samples too when asked', async () => {
    const {json} = await physician.get(`/v1/patients/${patient.id}/export?samples=true`);
    const recording = json.studies[0].recordings.find(({id}) => id === recordingId);
    assert.deepEqual(recording.sample_values, [{signal: 'flow', values: FLOW.channels[0].samples}]);
  });

  it('says how else when the samples are too many', async () => {
    const big = await clinic.addPatient();
    const study = await clinic.addStudy(big.id);
    const {json} = await clinic.addRecording(study.id, FLOW);
    await installation.execute(
      `set session_replication_role = replica;
       update penstock.recording_channel set sample_count = 3000000 where recording_id = '${json.recording.id}'`,
    );
    const answer = await physician.expect(409, 'GET', `/v1/patients/${big.id}/export?samples=true`);
    assert.match(answer.json.detail, /samples=true/);
    await physician.get(`/v1/patients/${big.id}/export`);
  });

  it('is one of the own clinic only', async () => {
    const other = await Clinic.open(installation, 'Another clinic');
    await other.as('physician').expect(404, 'GET', `/v1/patients/${patient.id}/export`);
    await physician.expect(404, 'GET', `/v1/patients/${randomUUID()}/export`);
    await physician.expect(404, 'GET', '/v1/patients/x/export');
    const answer = await physician.expect(422, 'GET', `/v1/patients/${patient.id}/export?samples=1&x=2`);
    assert.deepEqual(pointers(answer), ['?samples', '?x']);
  });
});

describe('an erasure', () => {
  it('is asked for, decided and listed', async () => {
    const patient = await clinic.addPatient();
    const {json, headers} = await request(patient);
    assert.equal(headers.get('location'), `/v1/erasures/${json.id}`);
    assert.equal(json.state, 'requested');
    assert.equal(json.reason, WHY.reason);
    const decided = (await decide(administrator, {json, headers})).json;
    assert.equal(decided.state, 'approved');
    assert.equal(Date.parse(decided.due_at) - Date.parse(decided.decided_at), 24 * 3600_000);
    assert.equal(decided.obstacle, 'cooling off');
    assert.notEqual(decided.decided_by.id, decided.requested_by.id);
    const list = (await administrator.get('/v1/erasures?status=approved')).json.items;
    assert.deepEqual(
      list.find(({id}) => id === json.id),
      decided,
    );
    assert.deepEqual((await physician.get(`/v1/erasures/${json.id}`)).json, decided);
    await administrator.expect(204, 'DELETE', `/v1/erasures/${json.id}`);
    assert.equal((await physician.get(`/v1/erasures/${json.id}`)).json.state, 'withdrawn');
    await administrator.expect(409, 'DELETE', `/v1/erasures/${json.id}`);
  });

  it('is listed page by page, newest first', async () => {
    const ids = [];
    for (let i = 0; i < 3; i++) {
      ids.push((await request(await clinic.addPatient())).json.id);
    }
    const first = (await physician.get('/v1/erasures?limit=2')).json;
    assert.deepEqual(
      first.items.map(({id}) => id),
      [ids[2], ids[1]],
    );
    const next = (await physician.get(`/v1/erasures?limit=1&cursor=${first.next_cursor}`)).json;
    assert.equal(next.items[0].id, ids[0]);
    const answer = await physician.expect(422, 'GET', '/v1/erasures?status=gone&cursor=x');
    assert.deepEqual(pointers(answer), ['?status']);
    await physician.expect(422, 'GET', '/v1/erasures?cursor=x');
  });

  it('needs two people', async () => {
    const both = await person(['physician', 'administrator']);
    const patient = await clinic.addPatient();
    const own = await both.post(`/v1/patients/${patient.id}/erasure`, WHY);
    const headers = {'if-match': own.headers.get('etag')};
    const answer = await both.expect(409, 'PATCH', `/v1/erasures/${own.json.id}`, {json: APPROVAL, headers});
    assert.match(answer.json.detail, /another person/);
    // Nor is a program one of them, whoever holds its token.
    await clinic.as('administrator').expect(403, 'PATCH', `/v1/erasures/${own.json.id}`, {json: APPROVAL, headers});
    await clinic.as('physician').expect(403, 'POST', `/v1/patients/${patient.id}/erasure`, {json: WHY});
    assert.equal((await both.get(`/v1/erasures/${own.json.id}`)).json.state, 'requested');
    await decide(administrator, own);
  });

  it('is requested once', async () => {
    const patient = await clinic.addPatient();
    const key = {'idempotency-key': randomUUID()};
    const {json} = await request(patient, key);
    assert.equal((await request(patient, key)).json.id, json.id);
    await physician.expect(409, 'POST', `/v1/patients/${patient.id}/erasure`, {json: WHY});
    await physician.expect(404, 'POST', `/v1/patients/${randomUUID()}/erasure`, {json: WHY});
  });

  it('is decided once, by who saw the newest version', async () => {
    const erasure = await request(await clinic.addPatient());
    const target = `/v1/erasures/${erasure.json.id}`;
    await administrator.expect(412, 'PATCH', target, {json: APPROVAL, headers: {'if-match': '"7"'}});
    await administrator.expect(428, 'PATCH', target, {json: APPROVAL});
    const {headers} = await decide(administrator, erasure, {state: 'refused', reason: 'kept by law'});
    const again = {json: APPROVAL, headers: {'if-match': headers.get('etag')}};
    await administrator.expect(409, 'PATCH', target, again);
    await administrator.expect(409, 'DELETE', target);
  });

  it('names every fault', async () => {
    const patient = await clinic.addPatient();
    const wrong = await physician.expect(422, 'POST', `/v1/patients/${patient.id}/erasure`, {json: {why: 'x'}});
    assert.deepEqual(pointers(wrong), ['/reason', '/why']);
    const {json, headers} = await request(patient);
    const answer = await administrator.expect(422, 'PATCH', `/v1/erasures/${json.id}`, {
      json: {state: 'carried_out', despite_retention: 1},
      headers: {'if-match': headers.get('etag')},
    });
    assert.deepEqual(pointers(answer), ['/despite_retention', '/reason', '/state']);
  });

  it('of what the clinic keeps for longer has to say so', async () => {
    const patient = await clinic.addPatient();
    await clinic.addStudy(patient.id);
    const {json, headers} = await request(patient);
    assert.equal(json.kept_studies, 1);
    const etag = {'if-match': headers.get('etag')};
    const plain = {json: {state: 'approved', reason: 'asked for'}, headers: etag};
    const answer = await administrator.expect(409, 'PATCH', `/v1/erasures/${json.id}`, plain);
    assert.match(answer.json.detail, /despite_retention/);
    const {json: decided} = await decide(administrator, {json, headers});
    assert.equal(decided.despite_retention, true);
  });
});

describe('a legal hold', () => {
  it('forbids approval, and has a history', async () => {
    const patient = await clinic.addPatient();
    const target = `/v1/patients/${patient.id}/legal-hold`;
    assert.deepEqual((await physician.get(target)).json, {items: [], held: false});
    await hold(patient);
    await hold(patient);
    const {json, headers} = await request(patient);
    assert.equal(json.held, true);
    const approval = {json: APPROVAL, headers: {'if-match': headers.get('etag')}};
    assert.match((await administrator.expect(409, 'PATCH', `/v1/erasures/${json.id}`, approval)).json.detail, /hold/);
    await hold(patient, 'another trial');
    const {json: lifted} = await lift(patient);
    assert.equal(lifted.held, false);
    assert.deepEqual(
      lifted.items.map(({reason, lift_reason}) => [reason, lift_reason]),
      [
        ['another trial', 'it is over'],
        ['a trial', 'another reason took its place'],
      ],
    );
    await physician.expect(404, 'DELETE', target, {json: WHY});
    await physician.expect(422, 'PUT', target, {json: {}});
    await decide(administrator, {json, headers});
  });
});

describe('erase', () => {
  it('erases what is due, and nothing else', async () => {
    const key = {'idempotency-key': randomUUID()};
    const id = randomUUID();
    const patient = (await clinic.room.post('/v1/patients', patientDocument({id}), key)).json;
    const study = await clinic.addStudy(patient.id);
    const {json} = await clinic.addRecording(study.id, FLOW);
    const other = await clinic.addVisit();
    const erasure = await approved(patient);
    assert.deepEqual(counts((await erase()).stdout).erased, 0, 'cooling off');
    await wait(erasure);
    const dry = await erase(['--dry-run']);
    assert.equal(counts(dry.stdout).erased, 1);
    await clinic.room.get(`/v1/patients/${patient.id}`);
    const {code, stdout, stderr} = await erase(['--clinic', clinic.id]);
    assert.equal(code, 0, stderr);
    assert.equal(counts(stdout).erased, 1);
    const line = stderr.split('\n').find((text) => text.includes('"erased"'));
    assert.equal(JSON.parse(line).erasure_id, erasure.id);
    assert.ok(!stderr.includes(patient.mrn) && !stderr.includes(patient.family_name));

    const gone = await clinic.room.expect(410, 'GET', `/v1/patients/${patient.id}`);
    assert.ok(!gone.text.includes(patient.mrn));
    for (const target of ['export', 'trend', 'legal-hold']) {
      await physician.expect(410, 'GET', `/v1/patients/${patient.id}/${target}`);
    }
    const change = {json: patientDocument(), headers: {'if-match': '"1"'}};
    await clinic.room.expect(410, 'PUT', `/v1/patients/${patient.id}`, change);
    await physician.expect(410, 'POST', `/v1/patients/${patient.id}/erasure`, {json: WHY});
    await clinic.room.expect(404, 'GET', `/v1/studies/${study.id}`);
    await clinic.room.expect(404, 'GET', `/v1/recordings/${json.recording.id}`);
    await clinic.room.expect(422, 'POST', '/v1/studies', {json: studyDocument(patient.id)});
    // A room that repeats what it once sent brings nobody back.
    await clinic.room.expect(409, 'POST', '/v1/patients', {json: patientDocument({id}), headers: key});
    await clinic.room.get(`/v1/studies/${other.id}`);

    const {json: told} = await administrator.get(`/v1/erasures/${erasure.id}`);
    assert.equal(told.state, 'carried_out');
    assert.equal(told.counts.recording, 1);
    assert.equal(told.counts.patient, 1);
    assert.equal(told.reason, undefined);
    assert.equal(told.decision_reason, undefined);
    assert.equal(counts((await erase()).stdout).erased, 0);
  });

  it('erases a signed study too', async () => {
    const study = await clinic.addVisit();
    await clinic.sign(study.id);
    await wait(await approved({id: study.patient_id}));
    assert.equal(counts((await erase()).stdout).erased, 1);
    await clinic.as('physician').expect(404, 'GET', `/v1/studies/${study.id}`);
  });

  it('skips what is held or has new data, and says so', async () => {
    const held = await clinic.addVisit();
    const changed = await clinic.addVisit();
    const heldErasure = await approved({id: held.patient_id});
    const changedErasure = await approved({id: changed.patient_id});
    await wait(heldErasure);
    await wait(changedErasure);
    await hold({id: held.patient_id});
    await clinic.addStudy(changed.patient_id);
    const {code, stdout, stderr} = await erase();
    assert.equal(code, 0);
    const {erased, held: heldCount, changed: changedCount} = counts(stdout);
    assert.deepEqual([erased, heldCount, changedCount], [0, 1, 1]);
    assert.match(stderr, new RegExp(`erasure_skipped.*${heldErasure.id}.*"held"`));
    assert.match(stderr, new RegExp(`erasure_skipped.*${changedErasure.id}.*"new data"`));
    assert.equal((await administrator.get(`/v1/erasures/${changedErasure.id}`)).json.obstacle, 'new data');
    await lift({id: held.patient_id});
    assert.equal(counts((await erase()).stdout).erased, 1);
  });

  it('erases again what a restored backup brought back', async () => {
    const study = await clinic.addVisit();
    await wait(await approved({id: study.patient_id}));
    assert.equal(counts((await erase()).stdout).erased, 1);
    const {code, stdout} = await erase(['--list']);
    assert.equal(code, 0);
    const lines = stdout.trim().split('\n');
    assert.match(lines.at(-1), /^# \d+ erased patients$/);
    assert.ok(lines.some((line) => line.startsWith(`${clinic.id} ${study.patient_id} `)));
    // The copy knows another patient, who was erased later; it must not take one who lives on.
    const copy = await clinic.addVisit();
    const living = await clinic.addVisit();
    const held = await clinic.addVisit();
    await hold({id: held.patient_id});
    await age([copy, held]);
    const list = path.join(installation.folder, 'erased.txt');
    const when = new Date(Date.now() - 3600_000).toISOString();
    const told = ({id, patient_id}) => `${clinic.id} ${patient_id} ${id} ${when}\n`;
    const write = (...visits) => {
      const text = stdout.slice(0, stdout.indexOf('#')) + visits.map(told).join('');
      writeFileSync(list, `${text}# ${lines.length - 1 + visits.length} erased patients\n`);
    };
    write(copy);
    assert.equal((await erase(['--again', list])).code, 2, 'not said that it is a restored copy');
    await clinic.room.get(`/v1/patients/${copy.patient_id}`);
    const again = await erase(['--again', list, '--restored']);
    assert.equal(again.code, 0, again.stderr);
    assert.equal(again.stdout, `${lines.length} on the list, 1 had come back and were erased again, 0 not erased\n`);
    await clinic.room.expect(410, 'GET', `/v1/patients/${copy.patient_id}`);
    write(copy, living, held);
    const refused = await erase(['--again', list, '--restored']);
    assert.equal(refused.code, 1);
    assert.match(refused.stdout, /, 0 had come back and were erased again, 2 not erased\n$/);
    assert.match(refused.stderr, /"not_erased".*newer than the erasure/);
    assert.match(refused.stderr, /"not_erased".*held/);
    await clinic.room.get(`/v1/patients/${living.patient_id}`);
    await clinic.room.get(`/v1/patients/${held.patient_id}`);
    const none = await installation.program(['erase', '--again', '-', '--restored'], '# 0 erased patients\n');
    assert.match(none, /^0 on the list, 0 /);
    writeFileSync(list, told(copy));
    assert.equal((await erase(['--again', list, '--restored'])).code, 1, 'a list that is not whole');
    writeFileSync(list, `${told(copy).trim()} x\n# 1\n`);
    assert.equal((await erase(['--again', list, '--restored'])).code, 1, 'no such list');
    assert.equal((await erase(['--again', '/nowhere', '--restored'])).code, 1);
  });

  it('refuses what it does not know, and who is not the owner', async () => {
    for (const options of [['--all'], ['--clinic'], ['--list', '--dry-run'], ['--again', 'x', '--restored', '--list'], ['--restored'], ['x']]) {
      assert.equal((await erase(options)).code, 2, options.join(' '));
    }
    assert.equal((await erase(['--clinic', 'x'])).code, 1);
    assert.equal((await erase(['--clinic', randomUUID()])).code, 1);
    const {PENSTOCK_DATABASE} = installation.environment();
    const {code, stderr} = await erase([], {PENSTOCK_OWNER_DATABASE: PENSTOCK_DATABASE});
    assert.equal(code, 1);
    assert.match(stderr, /owner/);
  });
});
