// Every request that shows or changes something leaves an entry in the audit, and without one it does nothing.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {promisify} from 'node:util';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, PASSWORD, ROLES, deviceDocument, patientDocument, sessionCookie, signIn, studyDocument, verificationDocument} from './lib/clinic.mjs';
import {fhirFaults} from './lib/fhir.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {cut, open, openingOf, send} from './lib/pieces.mjs';
import {recipeOf} from './lib/recipes.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();

let installation;
let clinic;
let other;
let routes;
let tokens; // role -> id

before(async () => {
  installation = await Installation.create('audit');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the audit');
  other = await Clinic.open(installation, 'Another clinic');
  const {json} = await clinic.administrator.get('/v1/tokens');
  tokens = Object.fromEntries(json.items.map(({id, name}) => [name.replace(/^an? /, ''), id]));
  routes = (await installation.program(['routes'])).split('\n').map((line) => {
    const [method, path, roles = ''] = line.split(' ');
    return {key: `${method} ${path}`, method, path, roles: roles.split(',')};
  });
});

after(() => installation.remove());

const ENTRY = `select *, number::text, extract(epoch from now() - at) as age_s from penstock.audit_entry`;

async function entriesOf(requestId) {
  return installation.rows(`${ENTRY} where request_id = '${requestId}' order by at`);
}

/** Sends a request under an id of its own; the answer, and the one entry that it left. */
async function audited(client, status, method, target, options = {}) {
  const requestId = randomUUID();
  const headers = {...options.headers, 'x-request-id': requestId};
  const answer = await client.expect(status, method, target, {...options, headers});
  const entries = await entriesOf(requestId);
  assert.equal(entries.length, 1, `${answer.what}: ${entries.length} entries`);
  assert.ok(entries[0].age_s < 60);
  return {answer, entry: entries[0]};
}

async function leavesNoEntry(client, status, method, target, options = {}) {
  const requestId = randomUUID();
  const headers = {...options.headers, 'x-request-id': requestId};
  await client.expect(status, method, target, {...options, headers});
  assert.deepEqual(await entriesOf(requestId), [], `${method} ${target}`);
}

// ---- a request for each route, and what its entry says ----

async function visit() {
  const patient = await clinic.addPatient();
  const study = await clinic.addStudy(patient.id);
  return {patient: patient.id, study: study.id};
}

const ofPatient = async (more = {}) => {
  const {patient} = await visit();
  return {id: patient, object: ['patients', patient], patients: [patient], ...more};
};

const ofStudy = async (more = {}) => {
  const {patient, study} = await visit();
  return {id: study, object: ['studies', study], patients: [patient], ...more};
};

const ofRecording = async (more = {}) => {
  const {patient, study} = await visit();
  const {json} = await clinic.addRecording(study, FLOW);
  const id = json.recording.id;
  return {id, object: ['recordings', id], patients: [patient], ...more};
};

const ofOpen = async (more = {}, count = 1) => {
  const {patient, study} = await visit();
  const id = await open(clinic.room, study, FLOW);
  for (const piece of cut(FLOW, 45).slice(0, count)) {
    await send(clinic.room, id, 0, piece);
  }
  return {id, object: ['recordings', id], patients: [patient], ...more};
};

const made = (type, more = {}) => ({status: 201, object: [type], ...more});
const match = {headers: {'if-match': '"1"'}};
const reason = {json: {reason: 'a test of the audit'}};

async function setting(path, json) {
  const {headers} = await clinic.administrator.get(path);
  return {json, headers: {'if-match': headers.get('etag')}};
}

/** A patient's signed study, as a referrer sees it: whom, and by which account. */
async function referred() {
  const {patient, study} = await visit();
  const user = await clinic.addUser(['referrer']);
  await clinic.as('clinician').expect(204, 'POST', `/v1/patients/${patient}/referrals`, {json: {referrer_id: user.id}});
  return {patient, study, user};
}

/** The request of lib/recipes.mjs for a route about a patient, study, ... of that id. */
async function asWritten(key, type, more = {}) {
  const {tokenStatus, ...one} = await recipeOf(clinic, key, 'physician');
  const patients = await installation.rows(`
    select id from penstock.patient where id = '${one.id}'
    union select patient_id from penstock.study where id = '${one.id}'
    union select patient_id from penstock.erasure_request where id = '${one.id}'
    union select s.patient_id from penstock.study_link k join penstock.study s on s.id = k.study_id where k.id = '${one.id}'
    union select s.patient_id from penstock.letter_dispatch d join penstock.study s on s.id = d.study_id where d.id = '${one.id}'
    union select s.patient_id from penstock.letter_batch_item i join penstock.study s on s.id = i.study_id where i.batch_id = '${one.id}'`);
  return {...one, status: tokenStatus, object: [type, one.id], patients: patients.map(({id}) => id), ...more};
}

/** The request of lib/recipes.mjs for a route that is about nobody. */
async function recipe(key) {
  const {tokenStatus, ...one} = await recipeOf(clinic, key, 'administrator');
  return {...one, status: tokenStatus};
}

async function ofTemplate(method) {
  const one = await recipe(`${method} /v1/letter-templates/{name}/{language}`);
  return {...one, detail: `${one.parameters.name}/${one.parameters.language}`};
}

const CASES = {
  'DELETE /v1/sessions/current': () => ({status: 409}),
  // Nor has a token others to end, or a password: what people do here is below.
  'DELETE /v1/sessions': () => ({status: 409, query: '?others=true'}),
  'DELETE /v1/sessions/{id}': () => {
    const id = randomUUID();
    return {status: 409, id, object: ['sessions', id]};
  },
  'POST /v1/sessions/current/password': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor/confirmation': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor/recovery-codes': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor/removal': () => ({status: 409, json: {}}),
  'GET /v1/sign-in-rules': () => ({}),
  'PUT /v1/sign-in-rules': () => ({json: {second_factor: {roles: []}}}),
  'GET /v1/users/{id}/sessions': async () => {
    const {id} = await clinic.addUser(['room']);
    return {id, object: ['users', id]};
  },
  'DELETE /v1/users/{id}/sessions': async () => {
    const {id} = await clinic.addUser(['room']);
    return {id, object: ['users', id], status: 403}; // as are accounts: people keep them, see below
  },
  'GET /v1/users': () => ({}),
  'POST /v1/users': () => ({status: 403, json: {}}),
  'GET /v1/users/{id}': async () => {
    const {id} = await clinic.addUser(['room']);
    return {id, object: ['users', id]};
  },
  'PATCH /v1/users/{id}': async () => {
    const {id, etag} = await clinic.addUser(['room']);
    return {id, status: 403, object: ['users', id], json: {display_name: 'Another'}, headers: {'if-match': etag}};
  },
  'GET /v1/tokens': () => ({}),
  'POST /v1/tokens': () => made('tokens', {json: {name: 'a token', roles: ['administrator']}}),
  'DELETE /v1/tokens/{id}': async () => {
    const {json} = await clinic.administrator.post('/v1/tokens', {name: 'to go', roles: ['room']});
    return {id: json.id, object: ['tokens', json.id], status: 204};
  },
  'GET /v1/analysis-choices': () => ({}),
  'PUT /v1/analysis-choices': () => setting('/v1/analysis-choices', {choices: {}}),
  'GET /v1/retention': () => ({}),
  'PUT /v1/retention': () => setting('/v1/retention', {keep_years: 30}),
  'GET /v1/devices': () => ({}),
  'POST /v1/devices': () => made('devices', {json: deviceDocument()}),
  'GET /v1/devices/{id}': () => asWritten('GET /v1/devices/{id}', 'devices'),
  'PATCH /v1/devices/{id}': () => asWritten('PATCH /v1/devices/{id}', 'devices'),
  'GET /v1/devices/{id}/verifications': () => asWritten('GET /v1/devices/{id}/verifications', 'devices'),
  'POST /v1/devices/{id}/verifications': async () => {
    const {id} = await clinic.addDevice();
    const json = verificationDocument({id: randomUUID()});
    return {status: 201, id, object: ['devices', id], json, detail: json.id};
  },
  'GET /v1/patients': async () => {
    const mrn = `L-${randomUUID()}`;
    const {id} = await clinic.addPatient({mrn});
    return {query: `?mrn=${mrn}`, patients: [id]};
  },
  'POST /v1/patients': () => made('patients', {json: patientDocument(), patients: 'object'}),
  'GET /v1/patients/{id}': () => ofPatient(),
  'PUT /v1/patients/{id}': () => ofPatient({json: patientDocument(), ...match}),
  'GET /v1/patients/{id}/trend': () => ofPatient(),
  'GET /v1/patients/{id}/trend/figure': async () => {
    const {patient, study} = await visit();
    await clinic.addRecording(study, FLOW);
    return {id: patient, query: '?value=uroflow.qmax', object: ['patients', patient], patients: [patient]};
  },
  'GET /v1/referrers': () => ({}),
  'GET /v1/patients/{id}/referrals': () => ofPatient(),
  'POST /v1/patients/{id}/referrals': async () => {
    const {id} = await clinic.addUser(['referrer']);
    return ofPatient({json: {referrer_id: id}, status: 204, detail: id});
  },
  'DELETE /v1/patients/{id}/referrals/{referrer_id}': async () => {
    const {patient, user} = await referred();
    return {id: patient, second: user.id, object: ['patients', patient], patients: [patient], status: 204, detail: user.id};
  },
  // Only for people: see below.
  'POST /v1/emergency-access': () => ({status: 403, json: {}}),
  'GET /v1/summaries': () => ({}),
  'GET /v1/studies': async () => {
    const {patient} = await visit();
    return {query: `?patient_id=${patient}`, patients: [patient]};
  },
  'POST /v1/studies': async () => {
    const {id} = await clinic.addPatient();
    return made('studies', {json: studyDocument(id), patients: [id]});
  },
  'GET /v1/studies/{id}': () => ofStudy(),
  'PATCH /v1/studies/{id}': () => ofStudy({json: {room: 'Room 2'}, ...match}),
  'GET /v1/studies/{id}/recordings': () => ofStudy(),
  'POST /v1/studies/{id}/recordings': async () => {
    const {id, patients} = await ofStudy();
    return made('recordings', {id, patients, json: FLOW});
  },
  'GET /v1/studies/{id}/summary': () => ofStudy(),
  'POST /v1/recordings': async () => {
    const {patient, study} = await visit();
    return made('recordings', {json: openingOf(study, FLOW), patients: [patient]});
  },
  'GET /v1/recordings/{id}': () => ofRecording(),
  'PUT /v1/recordings/{id}/chunks/{n}': () => ofOpen({json: cut(FLOW, 45)[0], second: '0'}, 0),
  'POST /v1/recordings/{id}/completion': () => ofOpen({json: {chunks: 1}}),
  'GET /v1/recordings/{id}/live': () => ofOpen(),
  'GET /v1/recordings/{id}/live/analysis': () => ofOpen(),
  'POST /v1/recordings/{id}/withdrawal': () => ofRecording({...reason, ...match, reason: 'a test of the audit'}),
  'POST /v1/recordings/{id}/restoration': async () => {
    const one = await ofRecording({...reason, headers: {'if-match': '"2"'}, reason: 'a test of the audit'});
    await clinic.room.expect(200, 'POST', `/v1/recordings/${one.id}/withdrawal`, {...reason, ...match});
    return one;
  },
  'GET /v1/recordings/{id}/history': () => ofRecording(),
  'GET /v1/recordings/{id}/analysis': () => ofRecording(),
  'GET /v1/recordings/{id}/events': () => ofRecording(),
  'PUT /v1/recordings/{id}/events': () => ofRecording({json: {events: []}, ...match}),
  'GET /v1/recordings/{id}/traces': () => ofRecording(),
  'GET /v1/recordings/{id}/figures': () => ofRecording(),
  'GET /v1/recordings/{id}/figure': () => ofRecording({query: '?kind=traces'}),
  'POST /v1/tokens/{id}/rotation': () => asWritten('POST /v1/tokens/{id}/rotation', 'tokens'),
  'GET /v1/patients/{id}/export': () => asWritten('GET /v1/patients/{id}/export', 'patients'),
  'POST /v1/patients/{id}/erasure': () => asWritten('POST /v1/patients/{id}/erasure', 'patients'),
  'GET /v1/patients/{id}/legal-hold': () => asWritten('GET /v1/patients/{id}/legal-hold', 'patients'),
  'PUT /v1/patients/{id}/legal-hold': () =>
    asWritten('PUT /v1/patients/{id}/legal-hold', 'patients', {...reason, reason: reason.json.reason}),
  'DELETE /v1/patients/{id}/legal-hold': () =>
    asWritten('DELETE /v1/patients/{id}/legal-hold', 'patients', {...reason, reason: reason.json.reason}),
  'GET /v1/erasures': () => ({patients: 'some'}),
  'GET /v1/erasures/{id}': () => asWritten('GET /v1/erasures/{id}', 'erasures'),
  'PATCH /v1/erasures/{id}': () => asWritten('PATCH /v1/erasures/{id}', 'erasures'),
  'DELETE /v1/erasures/{id}': () => asWritten('DELETE /v1/erasures/{id}', 'erasures'),
  'GET /v1/exports/research': () => ({}), // of nobody in particular
  'GET /v1/studies/{id}/interpretation': () => asWritten('GET /v1/studies/{id}/interpretation', 'studies'),
  'PUT /v1/studies/{id}/interpretation': () => asWritten('PUT /v1/studies/{id}/interpretation', 'studies'),
  'GET /v1/studies/{id}/interpretation/history': () => asWritten('GET /v1/studies/{id}/interpretation/history', 'studies'),
  // Only for people: signature.test.mjs has what is left then.
  'POST /v1/studies/{id}/signature': () => asWritten('POST /v1/studies/{id}/signature', 'studies'),
  'POST /v1/studies/{id}/amendments': () => asWritten('POST /v1/studies/{id}/amendments', 'studies'),
  'GET /v1/studies/{id}/signatures': () => asWritten('GET /v1/studies/{id}/signatures', 'studies'),
  'GET /v1/studies/{id}/signatures/{n}/report': () => asWritten('GET /v1/studies/{id}/signatures/{n}/report', 'studies', {second: '1'}),
  'GET /v1/studies/{id}/signatures/{n}/report/signature': () => asWritten('GET /v1/studies/{id}/signatures/{n}/report/signature', 'studies', {second: '1'}),
  'GET /v1/studies/{id}/links': () => asWritten('GET /v1/studies/{id}/links', 'studies'),
  'POST /v1/studies/{id}/links': () => asWritten('POST /v1/studies/{id}/links', 'studies'),
  'DELETE /v1/links/{id}': () => asWritten('DELETE /v1/links/{id}', 'links'),
  'GET /v1/links/{id}/code': () => asWritten('GET /v1/links/{id}/code', 'links'),
  'GET /v1/letter-templates': () => ({}),
  'POST /v1/letter-templates/preview': () => recipe('POST /v1/letter-templates/preview'),
  'GET /v1/letter-templates/{name}/{language}': () => ofTemplate('GET'),
  'PUT /v1/letter-templates/{name}/{language}': () => ofTemplate('PUT'),
  'GET /v1/letterhead': () => ({}),
  'PUT /v1/letterhead': () => setting('/v1/letterhead', {name: 'A clinic', language: 'en'}),
  'GET /v1/letters': () => ({patients: 'some'}),
  'GET /v1/studies/{id}/letter': () => ofStudy(),
  'GET /v1/studies/{id}/letter/settings': () => ofStudy(),
  'PUT /v1/studies/{id}/letter/settings': () => asWritten('PUT /v1/studies/{id}/letter/settings', 'studies'),
  'GET /v1/studies/{id}/letter/dispatches': () => asWritten('GET /v1/studies/{id}/letter/dispatches', 'studies'),
  'POST /v1/studies/{id}/letter/dispatches': () =>
    asWritten('POST /v1/studies/{id}/letter/dispatches', 'studies', {object: ['letter-dispatches']}),
  'GET /v1/letter-dispatches/{id}': () => asWritten('GET /v1/letter-dispatches/{id}', 'letter-dispatches'),
  'POST /v1/letter-batches': async () => made('letter-batches', {...(await recipe('POST /v1/letter-batches')), patients: 'some'}),
  'GET /v1/letter-batches/{id}': () => asWritten('GET /v1/letter-batches/{id}', 'letter-batches'),
  'POST /v1/letter-batches/{id}/next': () => asWritten('POST /v1/letter-batches/{id}/next', 'letter-batches'),
  'GET /v1/letter-batches/{id}/document': () => asWritten('GET /v1/letter-batches/{id}/document', 'letter-batches'),
  'GET /v1/audit': () => ({}),
  'GET /v1/patients/{id}/audit': () => ofPatient(),
};

// What shows and changes nothing of anybody's.
const WITHOUT_ENTRY = [
  'GET /openapi.json',
  'GET /v1/sessions/current',
  'GET /v1/sessions',
  'GET /v1/sessions/current/second-factor',
  'GET /v1/parameters',
  'GET /v1/nomograms',
  'GET /v1/letter-fields',
  'POST /v1/analyses',
];

const isForPeople = ({roles, path}) =>
  roles[0] === 'public' ||
  ['/', '/today', '/audit', '/account', '/letters'].includes(path) ||
  /^\/(studies|referred|r|assets)\//.test(path);
const target = (path, {id = randomUUID(), second = randomUUID(), parameters = {}, query = ''} = {}) =>
  path.replace('{id}', id).replace(/\{(name|language)\}/g, (_, name) => parameters[name] ?? name).replace(/\{(referrer_id|n)\}/, second) + query;

const takesBody = (method, path) => ['POST', 'PUT', 'PATCH'].includes(method) || (method === 'DELETE' && path.endsWith('/legal-hold'));

function checkWho(entry, role, key) {
  assert.deepEqual(
    [entry.clinic_id, entry.actor_id, entry.actor_kind, entry.actor_name.replace(/^an? /, ''), entry.address, entry.what],
    [clinic.id, tokens[role], 'token', role, '127.0.0.1', key],
  );
}

function checkEntry(entry, one, status) {
  const [type, id = entry.object_id] = one.object ?? [];
  assert.deepEqual([entry.object_type, entry.object_id], [type ?? null, id ?? null]);
  const patients = one.patients === 'object' ? [entry.object_id] : (one.patients ?? []);
  if (patients !== 'some') assert.deepEqual([...entry.patient_ids].sort(), [...patients].sort());
  assert.deepEqual([entry.status, entry.outcome, entry.reason, entry.emergency],
    [status, status < 400 ? 'done' : 'refused', one.reason ?? '', /emergency/.test(entry.what)]);
  assert.equal(entry.detail, one.detail ?? one.second ?? '');
  if (one.object?.length === 1) assert.ok(entry.object_id, 'what was made is named');
}

describe('every route', () => {
  it('has a request here', () => {
    const audited = routes.filter((route) => !isForPeople(route) && !WITHOUT_ENTRY.includes(route.key));
    assert.deepEqual(audited.map(({key}) => key).filter((key) => !(key in CASES)), []);
    assert.deepEqual(Object.keys(CASES).filter((key) => !routes.some((route) => route.key === key)), []);
  });

  for (const key of Object.keys(CASES)) {
    it(`leaves an entry: ${key}`, async () => {
      const {method, path, roles} = routes.find((route) => route.key === key);
      const role = ['clinician', ...roles].find((name) => roles.includes(name));
      const one = {status: 200, ...(await CASES[key]())};
      const {entry} = await audited(clinic.as(role), one.status, method, target(path, one), one);
      checkWho(entry, role, key);
      checkEntry(entry, one, one.status);
    });

    it(`leaves an entry when it is refused: ${key}`, async () => {
      const {method, path, roles} = routes.find((route) => route.key === key);
      const role = ROLES.find((name) => !roles.includes(name));
      if (role !== undefined) {
        const {entry} = await audited(clinic.as(role), 403, method, target(path), {json: takesBody(method, path) ? {} : undefined, ...match});
        checkWho(entry, role, key);
        assert.deepEqual([entry.outcome, entry.status, entry.patient_ids], ['refused', 403, []]);
      }
      if (path.includes('{id}')) {
        const stranger = ['clinician', ...roles].find((name) => roles.includes(name));
        const one = await CASES[key]();
        const id = randomUUID();
        // Programs have no session, whatever the id; some things only people may do.
        const status = [403, 409].includes(one.status) ? one.status : 404;
        const {entry} = await audited(clinic.as(stranger), status, method, target(path, {...one, id}), one);
        assert.deepEqual([entry.outcome, entry.status, entry.object_id, entry.patient_ids], ['refused', status, id, []]);
      }
    });
  }

  it('leaves none when it shows nothing of anybody', async () => {
    for (const key of WITHOUT_ENTRY) {
      const [method, path] = key.split(' ');
      const client = path.startsWith('/v1/sessions') ? await clinic.person('room') : clinic.room;
      await leavesNoEntry(client, 200, method, path, method === 'POST' ? {json: FLOW} : {});
    }
  });
});

describe('a list', () => {
  it('names every patient on it, and nobody else', async () => {
    const ids = [];
    const room = `Room ${randomUUID()}`;
    for (let i = 0; i < 3; i++) {
      const {id} = await clinic.addPatient();
      await clinic.addStudy(id, {room});
      await clinic.addStudy(id, {room});
      ids.push(id);
    }
    const list = `/v1/studies?room=${encodeURIComponent(room)}`;
    const {entry} = await audited(clinic.room, 200, 'GET', list);
    assert.deepEqual(entry.patient_ids, [...ids].sort());
    const {answer, entry: first} = await audited(clinic.room, 200, 'GET', `${list}&limit=1`);
    assert.deepEqual(first.patient_ids, [answer.json.items[0].patient_id]);
  });
});

describe('an answer from the cache', () => {
  it('is a reading too', async () => {
    const {id} = await clinic.addPatient();
    const {answer} = await audited(clinic.room, 200, 'GET', `/v1/patients/${id}`);
    const headers = {'if-none-match': answer.headers.get('etag')};
    const {entry} = await audited(clinic.room, 304, 'GET', `/v1/patients/${id}`, {headers});
    assert.deepEqual([entry.outcome, entry.patient_ids], ['done', [id]]);
  });
});

describe('an account that a person makes and changes', () => {
  it('is named in the entry', async () => {
    const json = {username: `user-${randomUUID()}`, display_name: 'A user', password: PASSWORD, roles: ['room']};
    const {answer, entry} = await audited(clinic.administrator, 201, 'POST', '/v1/users', {json});
    const {id} = answer.json;
    assert.deepEqual([entry.object_type, entry.object_id, entry.outcome, entry.actor_kind], ['users', id, 'done', 'person']);
    const change = {json: {display_name: 'Another'}, headers: {'if-match': answer.headers.get('etag')}};
    for (const [status, method, path, request] of [
      [200, 'PATCH', `/v1/users/${id}`, change],
      [204, 'DELETE', `/v1/users/${id}/sessions`, {}],
    ]) {
      const {entry: one} = await audited(clinic.administrator, status, method, path, request);
      assert.deepEqual([one.object_type, one.object_id, one.outcome], ['users', id, 'done']);
    }
  });
});

describe('a repeated creation', () => {
  it('names what was made before', async () => {
    const headers = {'idempotency-key': randomUUID()};
    const json = patientDocument();
    const {answer} = await audited(clinic.room, 201, 'POST', '/v1/patients', {json, headers});
    const {entry} = await audited(clinic.room, 201, 'POST', '/v1/patients', {json, headers});
    assert.deepEqual([entry.object_id, entry.patient_ids], [answer.json.id, [answer.json.id]]);
  });
});

describe('a waiting request', () => {
  it('leaves one entry, when it is answered', async () => {
    const {id} = await ofOpen({}, 1);
    const {entry} = await audited(clinic.room, 200, 'GET', `/v1/recordings/${id}/live?after=1&wait_s=1`);
    assert.equal(entry.outcome, 'done');
  });
});

describe('signing in', () => {
  it('leaves an entry of the account, good or not, and so does signing out', async () => {
    const user = await clinic.addUser(['auditor']);
    const stranger = new Client(installation.url);
    const attempt = (status, username, password) =>
      audited(stranger, status, 'POST', '/v1/sessions', {json: {username, password}});

    const {answer, entry} = await attempt(201, user.username, PASSWORD);
    assert.deepEqual(
      [entry.clinic_id, entry.actor_id, entry.actor_name, entry.actor_kind, entry.resource, entry.action, entry.outcome],
      [clinic.id, user.id, user.username, 'person', 'session', 'create', 'done'],
    );
    const wrong = (await attempt(401, user.username.toUpperCase(), 'not the password')).entry;
    assert.deepEqual(
      [wrong.clinic_id, wrong.actor_id, wrong.resource, wrong.action, wrong.outcome],
      [clinic.id, user.id, 'session', 'create', 'refused'],
    );
    assert.ok(!JSON.stringify(wrong).includes('not the password'));

    const session = Client.withSession(installation.url, sessionCookie(answer));
    const out = (await audited(session, 204, 'DELETE', '/v1/sessions/current')).entry;
    assert.deepEqual([out.actor_id, out.resource, out.action, out.outcome], [user.id, 'session', 'remove', 'done']);
  });

  it('leaves an entry when somebody changes their password or ends sessions, or may not', async () => {
    const user = await clinic.addUser(['room']);
    const {cookie} = await signIn(installation.url, user.username, PASSWORD);
    const change = (status, current_password) =>
      audited(Client.withSession(installation.url, cookie), status, 'POST', '/v1/sessions/current/password', {
        json: {current_password, new_password: 'nine tall poplars'},
      });
    const {entry: wrong} = await change(422, 'seven dry otters');
    assert.deepEqual([wrong.actor_id, wrong.resource, wrong.action, wrong.outcome], [user.id, 'session', 'change', 'refused']);
    const {answer, entry} = await change(204, PASSWORD);
    assert.deepEqual([entry.actor_id, entry.resource, entry.action, entry.outcome], [user.id, 'session', 'change', 'done']);
    const client = Client.withSession(installation.url, sessionCookie(answer));
    const {entry: ended} = await audited(client, 204, 'DELETE', '/v1/sessions?others=true');
    assert.deepEqual([ended.actor_id, ended.resource, ended.action], [user.id, 'session', 'remove']);
  });

  it('leaves an entry of the account when there were too many failed attempts', async () => {
    const user = await clinic.addUser(['room']);
    const attempt = (status) =>
      audited(new Client(installation.url), status, 'POST', '/v1/sessions', {
        json: {username: user.username, password: 'not the password'},
      });
    for (let i = 0; i < 10; i++) {
      await attempt(401);
    }
    await new Promise((resolve) => setTimeout(resolve, 1500)); // of those that must wait, one a second is noted
    const {entry} = await attempt(429);
    assert.deepEqual([entry.clinic_id, entry.actor_id, entry.status, entry.outcome], [clinic.id, user.id, 429, 'refused']);
  });

  it('of nobody known is kept apart, without the name that was tried', async () => {
    await new Promise((resolve) => setTimeout(resolve, 1100)); // one a second from an address
    const {entry} = await audited(new Client(installation.url), 401, 'POST', '/v1/sessions', {
      json: {username: 'perhaps a password', password: PASSWORD},
    });
    assert.match(entry.clinic_id, /^0{8}-/);
    assert.deepEqual([entry.actor_id, entry.actor_name, entry.actor_kind], [null, '', 'nobody']);
  });
});

describe('a credential that is not valid', () => {
  const get = (headers, requestId) =>
    new Client(installation.url, headers).expect(401, 'GET', '/v1/patients', {headers: {'x-request-id': requestId}});

  it('leaves an entry of whose it was', async () => {
    const {json} = await clinic.administrator.post('/v1/tokens', {name: 'short', roles: ['room']});
    await clinic.administrator.expect(204, 'DELETE', `/v1/tokens/${json.id}`);
    const {entry} = await audited(Client.withToken(installation.url, json.token), 401, 'GET', '/v1/patients');
    assert.deepEqual([entry.clinic_id, entry.actor_id, entry.status], [clinic.id, json.id, 401]);

    const user = await clinic.addUser(['clinician']);
    const {cookie} = await signIn(installation.url, user.username, PASSWORD);
    await installation.execute(
      `update penstock.session set expires_at = now() - interval '1 s' where account_id = '${user.id}'`,
    );
    const ended = await audited(Client.withSession(installation.url, cookie), 401, 'GET', '/v1/patients');
    assert.deepEqual([ended.entry.clinic_id, ended.entry.actor_id], [clinic.id, user.id]);
  });

  it('leaves one a second when it is forged, however many come', async () => {
    await new Promise((resolve) => setTimeout(resolve, 1100));
    const before = Number((await installation.rows(`select count(*) from penstock.audit_entry where clinic_id::text like '00000000-%'`))[0].count);
    const begun = Date.now();
    for (let i = 0; i < 40; i++) {
      await get({authorization: `Bearer pst_${i}${'A'.repeat(40)}`}, randomUUID());
    }
    const seconds = Math.ceil((Date.now() - begun) / 1000);
    const rows = await installation.rows(`select detail from penstock.audit_entry where clinic_id::text like '00000000-%'`);
    assert.ok(rows.length - before >= 1 && rows.length - before <= seconds + 1, `${rows.length - before} in ${seconds} s`);
    await new Promise((resolve) => setTimeout(resolve, 1100));
    const {entry} = await audited(Client.withToken(installation.url, `pst_${'B'.repeat(43)}`), 401, 'GET', '/v1/patients');
    assert.match(entry.detail, /^\d+ like it left out before$/);
  });

  it('leaves none when there is none', () => leavesNoEntry(new Client(installation.url), 401, 'GET', '/v1/patients'));
});

describe('a command', () => {
  it('leaves entries of its own', async () => {
    const {id, username} = await clinic.addUser(['administrator']);
    await installation.program(['administrator', 'recover', clinic.id, username], 'nine tall poplars\n');
    const [first] = await installation.rows(`${ENTRY} where clinic_id = '${clinic.id}' and detail = '${clinic.username}'`);
    const [recovered] = await installation.rows(`${ENTRY} where object_id = '${id}' and actor_kind = 'program'`);
    for (const [entry, command, action] of [[first, 'first', 'create'], [recovered, 'recover', 'change']]) {
      assert.deepEqual(
        [entry.clinic_id, entry.actor_kind, entry.what, entry.action, entry.resource, entry.address],
        [clinic.id, 'program', `penstock-server administrator ${command}`, action, 'accounts', ''],
      );
    }
    const {json} = await clinic.as('auditor').get('/v1/audit?resource=accounts&limit=1');
    assert.deepEqual([json.items[0].actor.kind, json.items[0].object.id, json.items[0].status], ['program', id, 0]);
  });
});

describe('emergency access', () => {
  it('is marked, with its reason, and so is what is read through it', async () => {
    const {patient, user} = await referred();
    const doctor = await clinic.addUser(['referrer']);
    const {json: known} = await clinic.as('clinician').get(`/v1/patients/${patient}`);
    const {cookie} = await signIn(installation.url, doctor.username, PASSWORD);
    const person = Client.withSession(installation.url, cookie);
    const json = {mrn: known.mrn, birth_date: known.birth_date, reason: 'unconscious on the ward'};
    const {entry} = await audited(person, 201, 'POST', '/v1/emergency-access', {json});
    assert.deepEqual(
      [entry.actor_id, entry.reason, entry.emergency, entry.patient_ids, entry.object_type],
      [doctor.id, json.reason, true, [patient], 'emergency-access'],
    );
    const {json: list} = await clinic.as('auditor').get('/v1/audit?emergency=true');
    assert.deepEqual([list.items[0].actor.id, list.items[0].patient_ids], [doctor.id, [patient]]);
    assert.ok(list.items.every(({emergency}) => emergency));
    assert.notEqual(user.id, doctor.id);
  });
});

// ---- reading it ----

describe('an auditor', () => {
  it('finds what was done with a patient, by record number too', async () => {
    const {id, mrn} = await clinic.addPatient();
    await clinic.as('clinician').get(`/v1/patients/${id}`);
    await clinic.as('physician').get(`/v1/patients/${id}`);
    const auditor = clinic.as('auditor');
    for (const query of [`patient_id=${id}`, `mrn=${mrn}`]) {
      const {json} = await auditor.get(`/v1/audit?${query}&resource=patients`);
      assert.equal(json.patient_id, id);
      assert.deepEqual(
        json.items.map((item) => [item.actor.id, item.action, item.outcome, item.object.id]),
        [
          [tokens.physician, 'read', 'done', id],
          [tokens.clinician, 'read', 'done', id],
          [tokens.room, 'create', 'done', id],
        ],
      );
      assert.ok(!JSON.stringify(json).includes(FAMILY_NAME));
    }
    const {json} = await auditor.get(`/v1/audit?patient_id=${id}&actor_id=${tokens.clinician}&action=read&outcome=done`);
    assert.equal(json.items.length, 1);
    const none = await auditor.get(`/v1/audit?patient_id=${id}&to=2020-01-01T00:00:00Z`);
    assert.deepEqual(none.json.items, []);
  });

  it('sees who has looked, by day and person', async () => {
    const {id} = await clinic.addPatient();
    await clinic.as('clinician').get(`/v1/patients/${id}`);
    await clinic.as('clinician').get(`/v1/patients/${id}/trend`);
    await clinic.as('referrer').expect(403, 'GET', `/v1/patients/${id}`);
    await clinic.as('auditor').get(`/v1/audit?patient_id=${id}`);
    const auditor = clinic.as('auditor');
    const {json} = await auditor.get(`/v1/patients/${id}/audit`);
    const of = (role) => json.items.find(({actor}) => actor.id === tokens[role]);
    assert.deepEqual([of('clinician').done, of('clinician').refused, of('clinician').kinds], [2, 0, ['read patients', 'read studies']]);
    assert.deepEqual([of('referrer').done, of('referrer').refused, of('referrer').kinds], [0, 1, []]);
    assert.deepEqual(of('room').kinds, ['create patients']);
    const again = await auditor.get(`/v1/patients/${id}/audit?limit=1`);
    assert.equal(again.json.items.length, 1);
    const rest = await auditor.get(`/v1/patients/${id}/audit?limit=3&cursor=${again.json.next_cursor}`);
    assert.equal(rest.json.items.length, 3);
    assert.ok([...again.json.items, ...rest.json.items].some(({actor}) => actor.id === tokens.auditor), 'looking is seen');
  });

  it('reads page by page, each entry once', async () => {
    const seen = [];
    let query = '/v1/audit?limit=7&resource=tokens';
    while (query) {
      const {json, headers} = await clinic.as('auditor').get(query);
      seen.push(...json.items);
      query = /<([^>]*)>/.exec(headers.get('link') ?? '')?.[1];
    }
    assert.ok(seen.length > 7);
    assert.equal(new Set(seen.map(({id}) => id)).size, seen.length);
    const times = seen.map(({recorded_at}) => Date.parse(recorded_at));
    assert.deepEqual(times, [...times].sort((one, two) => two - one));
  });

  it('sees its own clinic only', async () => {
    const {id, mrn} = await clinic.addPatient();
    const auditor = other.as('auditor');
    const {json} = await auditor.get(`/v1/audit?patient_id=${id}`);
    assert.deepEqual(json.items, []);
    await auditor.expect(422, 'GET', `/v1/audit?mrn=${mrn}`);
    await auditor.expect(404, 'GET', `/v1/patients/${id}/audit`);
    const {json: days} = await clinic.as('auditor').get(`/v1/patients/${id}/audit`);
    assert.deepEqual(days.items.map(({actor}) => actor.id), [tokens.room]);
  });

  it('is told every fault of a question', async () => {
    const wrong = '/v1/audit?patient_id=1&mrn=2&actor_id=x&resource=y&action=z&outcome=good&from=now&to=later&emergency=1&limit=0&what=1';
    const answer = await clinic.as('auditor').expect(422, 'GET', wrong);
    assert.deepEqual(pointers(answer), ['?action', '?actor_id', '?emergency', '?from', '?limit', '?outcome', '?patient_id', '?resource', '?to', '?what'].sort());
    await clinic.as('auditor').expect(422, 'GET', '/v1/audit?cursor=x');
  });

  it('gets FHIR AuditEvents that are valid', async () => {
    const fhir = {headers: {accept: 'application/fhir+json'}};
    const auditor = clinic.as('auditor');
    await auditor.get('/v1/audit');
    let query = '/v1/audit?limit=200';
    let count = 0;
    const codes = new Set();
    while (query) {
      const {json, headers} = await auditor.expect(200, 'GET', query, fhir);
      assert.match(headers.get('content-type'), /^application\/fhir\+json/);
      assert.deepEqual(fhirFaults(json), []);
      for (const {resource} of json.entry) {
        assert.deepEqual(fhirFaults(resource), [], JSON.stringify(resource));
        codes.add(`${resource.type.code} ${resource.subtype[0].code} ${resource.action} ${resource.outcome}`);
        count++;
      }
      query = json.link.find(({relation}) => relation === 'next')?.url;
    }
    assert.ok(count > 200);
    for (const one of ['rest read R 0', 'rest read R 4', 'rest create C 0', 'rest update U 0', 'rest delete D 0', '110114 110122 E 0',
      '110114 110122 E 4', '110114 110123 E 0', '110113 110127 C 0', '110113 110137 C 0', '110101 read R 0']) {
      assert.ok(codes.has(one), `${one}: ${[...codes]}`);
    }
  });

  it('would be told of an AuditEvent that is not valid', async () => {
    const {json} = await clinic.as('auditor').expect(200, 'GET', '/v1/audit?resource=patients&limit=1', {headers: {accept: 'application/fhir+json'}});
    const [{resource}] = json.entry;
    assert.deepEqual(fhirFaults(resource), []);
    const broken = {
      'a time that is none': {recorded: 'yesterday'},
      'an outcome of no code set': {outcome: '5'},
      'an action of no code set': {action: 'X'},
      'an unknown element': {colour: 'red'},
      'no agent': {agent: undefined},
      'an agent without requestor': {agent: [{name: 'x'}]},
      'a source without observer': {source: {site: 'x'}},
      'no type': {type: undefined},
      'an empty list': {entity: []},
    };
    for (const [what, change] of Object.entries(broken)) {
      assert.notDeepEqual(fhirFaults(JSON.parse(JSON.stringify({...resource, ...change}))), [], what);
    }
  });
});

// ---- without an entry nothing happens ----

describe('when the audit takes no entry', () => {
  const APPEND = 'penstock.audit_append(uuid, uuid, text, text, integer, text, text, text, text, text, text, uuid, uuid[], integer, text, text, text, text, boolean)';

  async function nothingIsGiven() {
    const {id} = known;
    const answers = [
      await clinic.room.expect(503, 'GET', `/v1/patients/${id}`),
      await clinic.room.expect(503, 'GET', '/v1/patients'),
      await clinic.room.expect(503, 'POST', '/v1/patients', {json: patientDocument()}),
      await clinic.as('referrer').expect(503, 'GET', '/v1/patients'),
      await new Client(installation.url).expect(503, 'POST', '/v1/sessions', {json: {username: clinic.username, password: PASSWORD}}),
    ];
    for (const answer of answers) {
      assert.ok(!answer.text.includes(FAMILY_NAME) && !answer.text.includes(known.mrn), answer.what);
      assert.equal(answer.headers.get('etag'), null);
      assert.equal(answer.headers.get('set-cookie'), null);
    }
    await clinic.room.get('/v1/parameters'); // what needs no entry goes on
  }

  let known;
  before(async () => {
    known = await clinic.addPatient();
  });

  const patients = async () => (await installation.rows('select count(*) from penstock.patient'))[0].count;

  it('because it may not be called, nothing is shown or stored', async () => {
    const count = await patients();
    await installation.execute(`revoke execute on function ${APPEND} from penstock_app`);
    try {
      await nothingIsGiven();
    } finally {
      await installation.execute(`grant execute on function ${APPEND} to penstock_app`);
    }
    assert.equal(await patients(), count);
    await clinic.room.get(`/v1/patients/${known.id}`);
  });

  it('because its lanes are gone, nothing is shown or stored', async () => {
    const count = await patients();
    await installation.execute('alter table penstock.audit_lane rename to audit_lane_away');
    try {
      await nothingIsGiven();
    } finally {
      await installation.execute('alter table penstock.audit_lane_away rename to audit_lane');
    }
    assert.equal(await patients(), count);
    await clinic.room.get(`/v1/patients/${known.id}`);
  });
});

describe('penstock-server audit verify', () => {
  const run = promisify(execFile);

  it('finds everything that these tests did whole, and gives heads', async () => {
    const heads = await installation.program(['audit', 'verify']);
    assert.match(heads, /^# \d+ entries of 2 clinics; 0 kept heads found; 0 damaged$/m);
    assert.equal(heads.split('\n').length, 3 * 16 + 1);
    const file = `${installation.folder}/heads`;
    const {writeFileSync} = await import('node:fs');
    writeFileSync(file, `${heads}\n`);
    await clinic.room.get('/v1/patients');
    assert.match(await installation.program(['audit', 'verify', '--heads', file]), /; 48 kept heads found; 0 damaged$/m);
    assert.match(await installation.program(['audit', 'verify', '--clinic', clinic.id, '--heads', file]), /; 16 kept heads found; 0 damaged$/m);
  });

  it('says which entry is another than it was, and fails', async () => {
    const change = (name, how) =>
      installation.execute(`set session_replication_role = replica; update penstock.audit_entry set actor_name = ${how} where clinic_id = '${clinic.id}' and lane = 0 and number = 2`);
    await change('actor_name', `actor_name || 'x'`);
    const failed = await run(process.env.PENSTOCK_TEST_SERVER, ['audit', 'verify'], {env: installation.environment()}).catch((error) => error);
    await change('actor_name', `left(actor_name, -1)`);
    assert.equal(failed.code, 1);
    const line = JSON.parse(failed.stderr.trim().split('\n')[0]);
    assert.deepEqual([line.event, line.clinic_id, line.lane, line.number], ['audit_damaged', clinic.id, 0, 2]);
    await installation.program(['audit', 'verify']);
  });

  it('refuses what it cannot do', async () => {
    for (const options of [['--heads', '/nowhere'], ['--clinic', 'x'], ['--clinic', randomUUID()]]) {
      const failed = await run(process.env.PENSTOCK_TEST_SERVER, ['audit', 'verify', ...options], {env: installation.environment()}).catch((error) => error);
      assert.equal(failed.code, 2, failed.stderr);
    }
  });
});
