// A request that succeeds for each operation. Whatever walks all operations starts from these, so that a
// new operation needs no more than a recipe to be looked at by all of them.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {Client} from './client.mjs';
import {PASSWORD, deviceDocument, patientDocument, sessionCookie, studyDocument, verificationDocument} from './clinic.mjs';
import {cut, open, openingOf, send} from './pieces.mjs';
import {uroflowmetry} from './recordings.mjs';
import {codeOf, enrol} from './second_factor.mjs';
import {ensureRecording, interpret, INTERPRETATION, readRecordings} from './signing.mjs';

const {document: FLOW} = uroflowmetry();

const A_REASON = {reason: 'a test, and why'};

/** By operation a function of the clinic, of the role that will ask, and of the person's client where a person
 * will, that gives the status of its success (`tokenStatus` where a program with the role gets another one
 * than a person), the request (`json` or `body`, `headers`), and what stands in the path: `id`, or
 * `parameters` by name, and the `query`. `client` is the person's, when the one that was given is over. What
 * it makes is new each time. */
const RECIPES = {
  'GET /healthz': () => ({status: 200}),
  'GET /readyz': () => ({status: 200}),
  'GET /v1/sign-in-methods': () => ({status: 200}),
  'GET /openapi.json': () => ({status: 200}),
  'POST /v1/sessions': async (clinic) => {
    const {username, password} = await clinic.addUser(['room']);
    return {status: 201, json: {username, password}};
  },
  'GET /v1/sessions/current': () => ({status: 200}),
  // A token is no session, so there is nothing to end; the role is not what forbids it.
  'DELETE /v1/sessions/current': () => ({status: 204, tokenStatus: 409}),
  'GET /v1/sessions': () => ({status: 200, tokenStatus: 409}),
  'DELETE /v1/sessions': () => ({status: 204, tokenStatus: 409, query: '?others=true'}),
  'DELETE /v1/sessions/{id}': async (clinic, role, person) => ({
    status: 204,
    tokenStatus: 409,
    id: (await person?.get('/v1/sessions'))?.json.items[0].id ?? randomUUID(),
  }),
  'POST /v1/sessions/current/password': () => ({
    status: 204,
    tokenStatus: 409,
    json: {current_password: PASSWORD, new_password: 'nine tall poplars'},
  }),
  'GET /v1/sessions/current/second-factor': () => ({status: 200, tokenStatus: 409}),
  'POST /v1/sessions/current/second-factor': () => ({
    status: 201,
    tokenStatus: 409,
    json: {current_password: PASSWORD},
  }),
  'POST /v1/sessions/current/second-factor/confirmation': async (clinic, role, person) => {
    const made = await person?.post('/v1/sessions/current/second-factor', {current_password: PASSWORD});
    return {status: 200, tokenStatus: 409, json: {code: made ? codeOf(made.json.secret) : '000000'}};
  },
  'POST /v1/sessions/current/second-factor/recovery-codes': async (clinic, role, person) => ({
    status: 200,
    ...(await withFactor(person)),
  }),
  'POST /v1/sessions/current/second-factor/removal': async (clinic, role, person) => ({
    status: 204,
    ...(await withFactor(person)),
  }),
  'GET /v1/sign-in-rules': () => ({status: 200}),
  'PUT /v1/sign-in-rules': () => ({status: 200, json: {second_factor: {roles: []}}}),
  'GET /v1/users/{id}/sessions': async (clinic) => ({status: 200, id: (await clinic.addUser(['room'])).id}),
  'DELETE /v1/users/{id}/sessions': async (clinic) => ({
    status: 204,
    tokenStatus: 403,
    id: (await clinic.addUser(['room'])).id,
  }),
  'GET /v1/users': () => ({status: 200}),
  'POST /v1/users': () => ({
    status: 201,
    tokenStatus: 403,
    json: {username: `user-${randomUUID()}`, display_name: 'A user', password: PASSWORD, roles: ['administrator']},
  }),
  'GET /v1/users/{id}': async (clinic) => ({status: 200, id: (await clinic.addUser(['room'])).id}),
  'PATCH /v1/users/{id}': async (clinic) => {
    const {id, etag} = await clinic.addUser(['administrator']);
    return {status: 200, tokenStatus: 403, id, json: {display_name: 'Another'}, headers: {'if-match': etag}};
  },
  'GET /v1/tokens': () => ({status: 200}),
  'POST /v1/tokens': () => ({status: 201, json: {name: 'a token', roles: ['administrator']}}),
  'POST /v1/tokens/{id}/rotation': async (clinic) => ({
    status: 200,
    id: (await clinic.makeToken(['administrator'])).id,
    json: {overlap_s: 0},
  }),
  'DELETE /v1/tokens/{id}': async (clinic) => {
    const {json} = await clinic.administrator.post('/v1/tokens', {name: 'to go', roles: ['room']});
    return {status: 204, id: json.id};
  },
  'GET /v1/patients': () => ({status: 200}),
  'POST /v1/patients': () => ({status: 201, json: patientDocument()}),
  'GET /v1/patients/{id}': async (clinic) => ({status: 200, id: (await clinic.addVisit()).patient_id}),
  'PUT /v1/patients/{id}': async (clinic) => ({
    status: 200,
    id: (await clinic.addVisit()).patient_id,
    json: patientDocument(),
    headers: {'if-match': '"1"'},
  }),
  'GET /v1/patients/{id}/trend': async (clinic) => ({status: 200, id: (await clinic.addVisit()).patient_id}),
  'GET /v1/patients/{id}/trend/figure': async (clinic) => {
    const study = await clinic.addVisit();
    await clinic.addRecording(study.id, FLOW);
    return {status: 200, id: study.patient_id, query: '?value=uroflow.qmax'};
  },
  'GET /v1/patients/{id}/export': async (clinic) => ({status: 200, id: (await clinic.addPatient()).id}),
  'POST /v1/patients/{id}/erasure': async (clinic) => ({
    status: 201,
    tokenStatus: 403,
    id: (await clinic.addPatient()).id,
    json: A_REASON,
  }),
  'GET /v1/patients/{id}/legal-hold': async (clinic) => ({status: 200, id: (await clinic.addPatient()).id}),
  'PUT /v1/patients/{id}/legal-hold': async (clinic) => ({
    status: 200,
    id: (await clinic.addPatient()).id,
    json: A_REASON,
  }),
  'DELETE /v1/patients/{id}/legal-hold': async (clinic) => {
    const {id} = await clinic.addPatient();
    await clinic.as('physician').expect(200, 'PUT', `/v1/patients/${id}/legal-hold`, {json: A_REASON});
    return {status: 200, id, json: A_REASON};
  },
  'GET /v1/erasures': () => ({status: 200}),
  'GET /v1/erasures/{id}': async (clinic) => ({status: 200, id: (await erasureOf(clinic)).id}),
  'PATCH /v1/erasures/{id}': async (clinic) => ({
    status: 200,
    tokenStatus: 403,
    id: (await erasureOf(clinic)).id,
    json: {state: 'refused', ...A_REASON},
    headers: {'if-match': '"1"'},
  }),
  'DELETE /v1/erasures/{id}': async (clinic) => ({status: 204, id: (await erasureOf(clinic)).id}),
  'GET /v1/exports/research': () => ({status: 200}),
  'GET /v1/referrers': () => ({status: 200}),
  'GET /v1/patients/{id}/referrals': async (clinic) => ({status: 200, id: (await clinic.addPatient()).id}),
  'POST /v1/patients/{id}/referrals': async (clinic) => ({
    status: 204,
    id: (await clinic.addPatient()).id,
    json: {referrer_id: (await clinic.person('referrer')).id},
  }),
  'DELETE /v1/patients/{id}/referrals/{referrer_id}': async (clinic) => {
    const [{id}, {id: referrer_id}] = [await clinic.addPatient(), await clinic.person('referrer')];
    await clinic.refer(id, referrer_id);
    return {status: 204, id, parameters: {referrer_id}};
  },
  'GET /v1/summaries': () => ({status: 200}),
  'POST /v1/emergency-access': async (clinic) => {
    const {mrn, birth_date} = await clinic.addPatient();
    return {status: 201, tokenStatus: 403, json: {mrn, birth_date, reason: 'brought in at night'}};
  },
  'GET /v1/studies': () => ({status: 200}),
  'POST /v1/studies': async (clinic) => ({status: 201, json: studyDocument((await clinic.addPatient()).id)}),
  'GET /v1/studies/{id}': async (clinic) => ({status: 200, id: (await clinic.addVisit()).id}),
  'PATCH /v1/studies/{id}': async (clinic) => ({
    status: 200,
    id: (await clinic.addVisit()).id,
    json: {room: 'Room 2'},
    headers: {'if-match': '"1"'},
  }),
  'GET /v1/studies/{id}/recordings': async (clinic) => ({status: 200, id: (await clinic.addVisit()).id}),
  'POST /v1/studies/{id}/recordings': async (clinic) => ({status: 201, id: (await clinic.addVisit()).id, json: FLOW}),
  'GET /v1/studies/{id}/summary': async (clinic, role) => {
    const study = await clinic.addVisit();
    if (role !== 'referrer') {
      return {status: 200, id: study.id};
    }
    await clinic.refer(study.patient_id, (await clinic.person('referrer')).id);
    await clinic.sign(study.id);
    return {status: 200, tokenStatus: 404, id: study.id}; // patients are referred by people
  },
  'GET /v1/studies/{id}/interpretation': async (clinic) => ({status: 200, id: (await clinic.addVisit()).id}),
  'PUT /v1/studies/{id}/interpretation': async (clinic) => ({
    status: 200,
    id: (await clinic.addVisit()).id,
    json: INTERPRETATION,
    headers: {'if-match': '"0"'},
  }),
  'GET /v1/studies/{id}/interpretation/history': async (clinic) => ({status: 200, id: (await clinic.addVisit()).id}),
  'POST /v1/studies/{id}/signature': async (clinic) => {
    const {id} = await clinic.addVisit();
    const signer = await clinic.signer();
    await ensureRecording(signer, id);
    await interpret(signer, id);
    return {
      status: 201,
      tokenStatus: 403,
      id,
      json: {interpretation_revision: 1, recordings: await readRecordings(signer, id), current_password: PASSWORD},
      headers: {'if-match': (await signer.get(`/v1/studies/${id}`)).headers.get('etag')},
    };
  },
  'POST /v1/studies/{id}/amendments': async (clinic) => {
    const {id} = await signedVisit(clinic);
    return {
      status: 201,
      tokenStatus: 403,
      id,
      json: {reason: 'a test, and why', interpretation: INTERPRETATION, current_password: PASSWORD},
      headers: {'if-match': (await (await clinic.signer()).get(`/v1/studies/${id}`)).headers.get('etag')},
    };
  },
  'GET /v1/studies/{id}/signatures': async (clinic) => ({status: 200, id: (await signedVisit(clinic)).id}),
  'GET /v1/studies/{id}/signatures/{n}/report': async (clinic) => ({
    status: 200,
    id: (await signedVisit(clinic)).id,
    parameters: {n: 1},
  }),
  // Of a server with a key; one without has no such signature.
  'GET /v1/studies/{id}/signatures/{n}/report/signature': async (clinic) => ({
    status: 200,
    id: (await signedWithKey(clinic)).id,
    parameters: {n: 1},
  }),
  'GET /v1/studies/{id}/links': async (clinic) => ({status: 200, id: (await clinic.addVisit()).id}),
  'POST /v1/studies/{id}/links': async (clinic) => ({
    status: 201,
    id: (await signedVisit(clinic)).id,
    json: {purpose: 'summary'},
  }),
  'DELETE /v1/links/{id}': async (clinic) => ({status: 204, id: (await linkOf(clinic)).id}),
  'GET /v1/links/{id}/code': async (clinic) => ({status: 200, id: (await linkOf(clinic)).id}),
  'GET /l/{secret}': async (clinic) => ({status: 200, ...(await secretOf(clinic))}),
  'GET /l/{secret}/report': async (clinic) => ({status: 200, ...(await secretOf(clinic))}),
  'GET /l/{secret}/letter': async (clinic) => {
    const {id} = await shownLetter(clinic);
    return {status: 200, ...(await secretOf(clinic, id))};
  },
  'POST /v1/recordings': async (clinic) => ({status: 201, json: openingOf((await clinic.addVisit()).id, FLOW)}),
  'PUT /v1/recordings/{id}/chunks/{n}': (clinic) => openRecipe(clinic, {json: cut(FLOW, 45)[0]}, 0),
  'POST /v1/recordings/{id}/completion': (clinic) => openRecipe(clinic, {json: {chunks: 1}}),
  'GET /v1/recordings/{id}/live': (clinic) => openRecipe(clinic),
  'GET /v1/recordings/{id}/live/analysis': (clinic) => openRecipe(clinic),
  'POST /v1/recordings/{id}/withdrawal': (clinic) =>
    recordingRecipe(clinic, {json: {reason: 'a test'}, headers: {'if-match': '"1"'}}),
  'POST /v1/recordings/{id}/restoration': async (clinic) => {
    const recipe = await recordingRecipe(clinic, {json: {reason: 'a test'}, headers: {'if-match': '"2"'}});
    const withdrawal = {json: {reason: 'a test'}, headers: {'if-match': '"1"'}};
    await clinic.room.expect(200, 'POST', `/v1/recordings/${recipe.id}/withdrawal`, withdrawal);
    return recipe;
  },
  'GET /v1/recordings/{id}/history': (clinic) => recordingRecipe(clinic),
  'GET /v1/recordings/{id}': (clinic) => recordingRecipe(clinic),
  'GET /v1/recordings/{id}/analysis': (clinic) => recordingRecipe(clinic),
  'GET /v1/recordings/{id}/events': (clinic) => recordingRecipe(clinic),
  'PUT /v1/recordings/{id}/events': (clinic) =>
    recordingRecipe(clinic, {json: {events: []}, headers: {'if-match': '"1"'}}),
  'GET /v1/recordings/{id}/traces': (clinic) => recordingRecipe(clinic),
  'GET /v1/letter-fields': () => ({status: 200}),
  'GET /v1/letter-templates': () => ({status: 200}),
  'POST /v1/letter-templates/preview': () => ({
    status: 200,
    json: {language: 'en', body: '# About {{patient.name}}'},
    headers: {accept: 'text/html'},
  }),
  'GET /v1/letter-templates/{name}/{language}': async (clinic) => {
    const parameters = {name: `t-${randomUUID().slice(0, 8)}`, language: 'en'};
    await clinic.administrator.expect(200, 'PUT', `/v1/letter-templates/${parameters.name}/en`, {
      json: {body: '# {{patient.name}}'},
      headers: {'if-match': '"0"'},
    });
    return {status: 200, parameters};
  },
  'PUT /v1/letter-templates/{name}/{language}': () => ({
    status: 200,
    parameters: {name: `t-${randomUUID().slice(0, 8)}`, language: 'de'},
    json: {body: '# {{patient.name}}'},
    headers: {'if-match': '"0"'},
  }),
  'GET /v1/letterhead': () => ({status: 200}),
  'PUT /v1/letterhead': async (clinic) => {
    const {headers} = await clinic.administrator.get('/v1/letterhead');
    const json = {name: 'A clinic', address: ['1 Road'], telephone: 'none', language: 'en'};
    return {status: 200, json, headers: {'if-match': headers.get('etag')}};
  },
  'GET /v1/letters': () => ({status: 200}),
  'GET /v1/studies/{id}/letter': async (clinic, role) => ({...(await shownLetter(clinic, role)), headers: {accept: 'text/plain'}}),
  // A referrer reads what was sent, and nothing of how it was made.
  'GET /v1/studies/{id}/letter/settings': async (clinic, role) => ({
    status: role === 'referrer' ? 404 : 200,
    id: (await clinic.addVisit()).id,
  }),
  'PUT /v1/studies/{id}/letter/settings': async (clinic) => ({
    status: 200,
    id: (await clinic.addVisit()).id,
    json: letterSettings(),
    headers: {'if-match': '"0"'},
  }),
  'GET /v1/studies/{id}/letter/dispatches': (clinic, role) => shownLetter(clinic, role),
  'POST /v1/studies/{id}/letter/dispatches': async (clinic) => ({
    status: 201,
    id: (await addressedVisit(clinic)).id,
    json: {way: 'printed'},
  }),
  'GET /v1/letter-dispatches/{id}': async (clinic, role) => {
    const {dispatch, ...recipe} = await shownLetter(clinic, role);
    return {...recipe, id: dispatch.id};
  },
  'POST /v1/letter-batches': async (clinic) => ({
    status: 201,
    json: {way: 'printed', study_ids: [(await addressedVisit(clinic)).id]},
  }),
  'GET /v1/letter-batches/{id}': async (clinic, role) => ({
    status: role === 'referrer' ? 404 : 200,
    id: (await batchOf(clinic)).id,
  }),
  'POST /v1/letter-batches/{id}/next': async (clinic) => ({status: 200, id: (await batchOf(clinic)).id, json: {}}),
  'GET /v1/letter-batches/{id}/document': async (clinic, role) => {
    const {id} = await batchOf(clinic);
    await clinic.as('clinician').expect(200, 'POST', `/v1/letter-batches/${id}/next`, {json: {}});
    return {status: role === 'referrer' ? 404 : 200, id};
  },
  'GET /v1/recordings/{id}/figures': (clinic) => recordingRecipe(clinic),
  'GET /v1/recordings/{id}/figure': (clinic) => recordingRecipe(clinic, {query: '?kind=traces'}),
  'GET /v1/audit': () => ({status: 200}),
  'GET /v1/patients/{id}/audit': async (clinic) => ({status: 200, id: (await clinic.addPatient()).id}),
  'POST /v1/analyses': () => ({status: 200, json: FLOW}),
  'GET /v1/analysis-choices': () => ({status: 200}),
  'GET /v1/retention': () => ({status: 200}),
  'PUT /v1/retention': async (clinic) => {
    const {headers} = await clinic.administrator.get('/v1/retention');
    return {status: 200, json: {keep_years: 30}, headers: {'if-match': headers.get('etag')}};
  },
  'GET /v1/devices': () => ({status: 200}),
  'POST /v1/devices': () => ({status: 201, json: deviceDocument()}),
  'GET /v1/devices/{id}': async (clinic) => ({status: 200, id: (await clinic.addDevice()).id}),
  'PATCH /v1/devices/{id}': async (clinic) => ({
    status: 200,
    id: (await clinic.addDevice()).id,
    json: {room: 'Room 2'},
    headers: {'if-match': '"1"'},
  }),
  'GET /v1/devices/{id}/verifications': async (clinic) => ({status: 200, id: (await clinic.addDevice()).id}),
  'POST /v1/devices/{id}/verifications': async (clinic) => ({
    status: 201,
    id: (await clinic.addDevice()).id,
    json: verificationDocument(),
  }),
  'GET /v1/nomograms': () => ({status: 200}),
  'GET /v1/parameters': () => ({status: 200}),
  'PUT /v1/analysis-choices': async (clinic) => {
    const {headers} = await clinic.administrator.get('/v1/analysis-choices');
    return {status: 200, json: {choices: {}}, headers: {'if-match': headers.get('etag')}};
  },
};

/** What proves a person who has set up a second factor; that ends the session with which it was done. */
async function withFactor(person) {
  if (person === undefined) {
    return {tokenStatus: 409, json: {current_password: PASSWORD, code: '000000'}};
  }
  const {recoveryCodes, answer} = await enrol(person, PASSWORD);
  return {
    client: Client.withSession(person.url, sessionCookie(answer)),
    json: {current_password: PASSWORD, code: recoveryCodes[0]},
  };
}

/** A request to erase a patient: only a person may make it. */
async function erasureOf(clinic) {
  const {id} = await clinic.addPatient();
  return (await (await clinic.person('physician')).post(`/v1/patients/${id}/erasure`, A_REASON)).json;
}

async function signedVisit(clinic) {
  const study = await clinic.addVisit();
  await clinic.sign(study.id);
  return study;
}

/** A signed visit whose report has a detached signature, of whatever bytes: the server has no key. */
async function signedWithKey(clinic) {
  const study = await signedVisit(clinic);
  await clinic.installation.execute(
    `set session_replication_role = replica;
     update penstock.signed_document set detached_signature = '\\x30' where study_id = '${study.id}'`,
  );
  return study;
}

/** What a letter is written with: its addressee may have an account. */
export const letterSettings = (referrer_id, more = {}) => ({
  language: 'en',
  addressee: {name: 'Dr Addressee', salutation: 'Dear Dr Addressee,', address: ['2 Street'], ...(referrer_id && {referrer_id})},
  ...more,
});

/** A signed study whose letter has an addressee. */
export async function addressedVisit(clinic, referrer_id, more = {}) {
  const study = await signedVisit(clinic);
  if (referrer_id !== undefined) {
    await clinic.refer(study.patient_id, referrer_id);
  }
  await clinic.as('clinician').expect(200, 'PUT', `/v1/studies/${study.id}/letter/settings`, {
    json: letterSettings(referrer_id, more),
    headers: {'if-match': '"0"'},
  });
  return study;
}

/** A letter that was sent, to a referrer so that it can be read here. */
async function shownLetter(clinic, role) {
  const isShown = role === 'referrer';
  const study = await addressedVisit(clinic, isShown ? (await clinic.person('referrer')).id : undefined);
  const {json} = await clinic.as('clinician').expect(201, 'POST', `/v1/studies/${study.id}/letter/dispatches`, {
    json: {way: isShown ? 'portal' : 'printed'},
  });
  return {status: 200, tokenStatus: isShown ? 404 : 200, id: study.id, dispatch: json}; // patients are referred by people
}

async function batchOf(clinic) {
  const study_ids = [(await addressedVisit(clinic)).id];
  return (await clinic.as('clinician').post('/v1/letter-batches', {way: 'printed', study_ids})).json;
}

async function linkOf(clinic, studyId) {
  const id = studyId ?? (await signedVisit(clinic)).id;
  return (await clinic.as('clinician').post(`/v1/studies/${id}/links`, {purpose: 'summary'})).json;
}

async function secretOf(clinic, studyId) {
  const {url} = await linkOf(clinic, studyId);
  return {parameters: {secret: url.split('/').pop()}};
}

async function recordingRecipe(clinic, more = {}) {
  const {json} = await clinic.addRecording((await clinic.addVisit()).id, FLOW);
  return {status: 200, id: json.recording.id, ...more};
}

/** A recording that is open, with `count` of its pieces. */
async function openRecipe(clinic, more = {}, count = 1) {
  const id = await open(clinic.room, (await clinic.addVisit()).id, FLOW);
  for (const piece of cut(FLOW, 45).slice(0, count)) {
    await send(clinic.room, id, 0, piece);
  }
  return {status: 200, id, ...more};
}

export const hasRecipe = (key) => key in RECIPES;

/** The recipe of "METHOD /path", made in a clinic for whoever has the role; `person` is the client of one. */
export async function recipeOf(clinic, key, role, person) {
  assert.ok(hasRecipe(key), `no request for ${key} is written in tests/api/lib/recipes.mjs yet`);
  const recipe = await RECIPES[key](clinic, role, person);
  return {...recipe, tokenStatus: recipe.tokenStatus ?? recipe.status};
}

/** What stands for a parameter of which a recipe says nothing. */
const STAND_INS = {n: '0', file: 'today.js'};

/** The path of an operation with a recipe's values in it. */
export function filled(path, {id, parameters = {}, query = ''} = {}) {
  const whole = path.replaceAll(/\{([^}]*)\}/g, (_, name) =>
    encodeURIComponent(parameters[name] ?? (name === 'id' ? id : undefined) ?? STAND_INS[name] ?? randomUUID()),
  );
  return whole + query;
}
