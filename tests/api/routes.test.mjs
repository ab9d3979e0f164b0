// The table of routes against the documented operations, and who may use which.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, patientDocument, PASSWORD, ROLES, signIn, studyDocument} from './lib/clinic.mjs';
import {operations} from './lib/contract.mjs';
import {Installation} from './lib/installation.mjs';
import {cut, open, openingOf, send} from './lib/pieces.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const PAGES = ['/', '/today', '/studies/{id}', '/account'];
const PUBLIC = [
  'GET /healthz',
  'GET /readyz',
  'GET /sign-in',
  'GET /assets/sign-in.js',
  'GET /assets/penstock.css',
  'GET /assets/favicon.svg',
  'GET /assets/licences.txt',
  'POST /v1/sessions',
];

const {document: FLOW} = uroflowmetry();

let installation;
let clinic;
let routes;

before(async () => {
  installation = await Installation.create('routes');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the routes');
  routes = (await installation.program(['routes'])).split('\n').map((line) => {
    const [method, path, roles = ''] = line.split(' ');
    return {key: `${method} ${path}`, method, path, isPublic: roles === 'public', roles: roles.split(',')};
  });
});

after(() => installation.remove());

const isForPeople = (path) => PAGES.includes(path) || path === '/sign-in' || path.startsWith('/assets/');
const filled = (path, id = randomUUID()) => path.replace('{id}', id).replace('{n}', '0').replace('{file}', 'today.js');

/** A body that is at least well-formed, so that nothing but the credential is wrong. */
function bodyFor(method) {
  return ['POST', 'PUT', 'PATCH'].includes(method) ? {json: {}, headers: {'if-match': '"1"'}} : {};
}

describe('the table of routes', () => {
  it('is what openapi.json documents, both ways', () => {
    const served = routes.filter(({path}) => !isForPeople(path)).map(({key}) => key);
    const documented = operations.map(({method, path}) => `${method} ${path}`);
    assert.deepEqual(served.sort(), documented.sort());
  });

  it('is open without a credential only where it must be', () => {
    const open = routes.filter(({isPublic}) => isPublic).map(({key}) => key);
    assert.deepEqual(open.sort(), [...PUBLIC].sort());
    const documented = operations.filter(({isPublic}) => isPublic).map(({method, path}) => `${method} ${path}`);
    assert.deepEqual(documented.sort(), PUBLIC.filter((key) => !isForPeople(key.split(' ')[1])).sort());
  });

  it('allows the documented roles', () => {
    for (const {method, path, roles} of operations.filter(({isPublic}) => !isPublic)) {
      const route = routes.find(({key}) => key === `${method} ${path}`);
      assert.deepEqual([...route.roles].sort(), (roles[0] === 'any' ? [...ROLES] : [...roles]).sort(), route.key);
    }
  });

  it('is served by the server as /openapi.json', async () => {
    const {json} = await clinic.room.get('/openapi.json');
    assert.deepEqual(Object.keys(json.paths).sort(), [...new Set(operations.map(({path}) => path))].sort());
  });
});

describe('a request without a valid credential', () => {
  const closed = () => routes.filter(({isPublic}) => !isPublic);

  async function isRefused(headers, what) {
    const stranger = new Client(installation.url, headers);
    for (const {method, path} of closed()) {
      const {headers: extra = {}, json} = bodyFor(method);
      const answer = await stranger.request(method, filled(path), {json, headers: extra});
      if (PAGES.includes(path)) {
        assert.equal(answer.status, 303, `${answer.what} with ${what}`);
        assert.match(answer.headers.get('location'), /^\/sign-in(\?next=|$)/);
      } else {
        assert.equal(answer.status, 401, `${answer.what} with ${what}`);
        assert.equal(answer.headers.get('www-authenticate'), 'Bearer');
      }
    }
  }

  it('is refused when there is none', () => installation.unchanged(() => isRefused({}, 'nothing')));

  it('is refused when it is forged', async () => {
    const token = clinic.tokens.administrator;
    const changed = token.slice(0, -1) + (token.endsWith('A') ? 'B' : 'A');
    const forgeries = {
      'an invented token': {authorization: `Bearer pst_${'A'.repeat(43)}`},
      'an empty token': {authorization: 'Bearer '},
      'a token without its last character': {authorization: `Bearer ${token.slice(0, -1)}`},
      'a token with another last character': {authorization: `Bearer ${changed}`},
      'a token with one character more': {authorization: `Bearer ${token}A`},
      'another scheme': {authorization: `Basic ${Buffer.from(`${clinic.username}:${PASSWORD}`).toString('base64')}`},
      'an invented session': {cookie: `penstock_session=${'A'.repeat(43)}`, origin: installation.url},
      'a token as a session': {cookie: `penstock_session=${token}`, origin: installation.url},
      'an SQL quote': {authorization: "Bearer pst_' or '1'='1"},
    };
    await installation.unchanged(async () => {
      for (const [what, headers] of Object.entries(forgeries)) {
        await isRefused(headers, what);
      }
    });
  });

  it('is refused when its token is revoked or has expired', async () => {
    const soon = new Date(Date.now() + 3600_000).toISOString();
    for (const end of [
      (id) => clinic.administrator.expect(204, 'DELETE', `/v1/tokens/${id}`),
      (id) =>
        installation.execute(
          `update penstock.api_token set expires_at = now() - interval '1 second' where id = '${id}'`,
        ),
    ]) {
      const {json} = await clinic.administrator.post('/v1/tokens', {name: 'short', roles: ['room'], expires_at: soon});
      const client = Client.withToken(installation.url, json.token);
      await client.get('/v1/patients');
      await end(json.id);
      await client.expect(401, 'GET', '/v1/patients');
    }
  });

  it('gets the public files', async () => {
    const stranger = new Client(installation.url);
    for (const key of PUBLIC.filter((one) => one.startsWith('GET'))) {
      const answer = await stranger.get(key.split(' ')[1]);
      assert.ok(answer.text.length > 0, key);
    }
  });

  it('learns of no other path', async () => {
    const stranger = new Client(installation.url);
    for (const target of [
      '/v2/patients',
      '/metrics',
      '/docs',
      '/assets',
      '/assets/../today.js',
      '/v1',
      '/.git/config',
    ]) {
      const {status} = await stranger.request('GET', target);
      assert.ok([401, 404].includes(status), `${target}: ${status}`);
    }
  });
});

/** A request that succeeds for each operation, and the status of its success. */
const RECIPES = {
  'GET /openapi.json': () => ({status: 200}),
  'GET /v1/sessions/current': () => ({status: 200}),
  // A token is no session, so there is nothing to end; the role is not what forbids it.
  'DELETE /v1/sessions/current': () => ({status: 409}),
  'GET /v1/sessions': () => ({status: 409}),
  'DELETE /v1/sessions': () => ({status: 409}),
  'DELETE /v1/sessions/{id}': () => ({status: 409}),
  'POST /v1/sessions/current/password': () => ({status: 409, json: {}}),
  'GET /v1/sessions/current/second-factor': () => ({status: 409}),
  'POST /v1/sessions/current/second-factor': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor/confirmation': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor/recovery-codes': () => ({status: 409, json: {}}),
  'POST /v1/sessions/current/second-factor/removal': () => ({status: 409, json: {}}),
  'GET /v1/sign-in-rules': () => ({status: 200}),
  'PUT /v1/sign-in-rules': () => ({status: 200, json: {second_factor: {roles: []}}}),
  'GET /v1/users': () => ({status: 200}),
  'GET /v1/users/{id}/sessions': async () => ({status: 200, id: (await clinic.addUser(['room'])).id}),
  'DELETE /v1/users/{id}/sessions': async () => ({status: 204, id: (await clinic.addUser(['room'])).id}),
  'POST /v1/users': () => ({
    status: 201,
    json: {username: `user-${randomUUID()}`, display_name: 'A user', password: PASSWORD, roles: ['room']},
  }),
  'GET /v1/users/{id}': async () => ({status: 200, id: (await clinic.addUser(['room'])).id}),
  'PATCH /v1/users/{id}': async () => {
    const {id, etag} = await clinic.addUser(['room']);
    return {status: 200, id, json: {display_name: 'Another'}, headers: {'if-match': etag}};
  },
  'GET /v1/tokens': () => ({status: 200}),
  'POST /v1/tokens': () => ({status: 201, json: {name: 'a token', roles: ['room']}}),
  'DELETE /v1/tokens/{id}': async () => {
    const {json} = await clinic.administrator.post('/v1/tokens', {name: 'to go', roles: ['room']});
    return {status: 204, id: json.id};
  },
  'GET /v1/patients': () => ({status: 200}),
  'POST /v1/patients': () => ({status: 201, json: patientDocument()}),
  'GET /v1/patients/{id}': async () => ({status: 200, id: (await clinic.addPatient()).id}),
  'PUT /v1/patients/{id}': async () => ({
    status: 200,
    id: (await clinic.addPatient()).id,
    json: patientDocument(),
    headers: {'if-match': '"1"'},
  }),
  'GET /v1/patients/{id}/trend': async () => ({status: 200, id: (await clinic.addPatient()).id}),
  'GET /v1/studies': () => ({status: 200}),
  'POST /v1/studies': async () => ({status: 201, json: studyDocument((await clinic.addPatient()).id)}),
  'GET /v1/studies/{id}': async () => ({status: 200, id: (await clinic.addVisit()).id}),
  'PATCH /v1/studies/{id}': async () => ({
    status: 200,
    id: (await clinic.addVisit()).id,
    json: {room: 'Room 2'},
    headers: {'if-match': '"1"'},
  }),
  'GET /v1/studies/{id}/recordings': async () => ({status: 200, id: (await clinic.addVisit()).id}),
  'POST /v1/studies/{id}/recordings': async () => ({status: 201, id: (await clinic.addVisit()).id, json: FLOW}),
  'GET /v1/studies/{id}/summary': async () => ({status: 200, id: (await clinic.addVisit()).id}),
  'POST /v1/recordings': async () => ({status: 201, json: openingOf((await clinic.addVisit()).id, FLOW)}),
  'PUT /v1/recordings/{id}/chunks/{n}': () => openRecipe({json: cut(FLOW, 45)[0]}, 0),
  'POST /v1/recordings/{id}/completion': () => openRecipe({json: {chunks: 1}}),
  'GET /v1/recordings/{id}/live': () => openRecipe(),
  'GET /v1/recordings/{id}/live/analysis': () => openRecipe(),
  'POST /v1/recordings/{id}/withdrawal': () =>
    recordingRecipe({json: {reason: 'a test'}, headers: {'if-match': '"1"'}}),
  'POST /v1/recordings/{id}/restoration': async () => {
    const recipe = await recordingRecipe({json: {reason: 'a test'}, headers: {'if-match': '"2"'}});
    const withdrawal = {json: {reason: 'a test'}, headers: {'if-match': '"1"'}};
    await clinic.room.expect(200, 'POST', `/v1/recordings/${recipe.id}/withdrawal`, withdrawal);
    return recipe;
  },
  'GET /v1/recordings/{id}/history': () => recordingRecipe(),
  'GET /v1/recordings/{id}': () => recordingRecipe(),
  'GET /v1/recordings/{id}/analysis': () => recordingRecipe(),
  'GET /v1/recordings/{id}/events': () => recordingRecipe(),
  'PUT /v1/recordings/{id}/events': () => recordingRecipe({json: {events: []}, headers: {'if-match': '"1"'}}),
  'GET /v1/recordings/{id}/traces': () => recordingRecipe(),
  'POST /v1/analyses': () => ({status: 200, json: FLOW}),
  'GET /v1/analysis-choices': () => ({status: 200}),
  'GET /v1/retention': () => ({status: 200}),
  'PUT /v1/retention': async () => {
    const {headers} = await clinic.administrator.get('/v1/retention');
    return {status: 200, json: {keep_years: 30}, headers: {'if-match': headers.get('etag')}};
  },
  'GET /v1/nomograms': () => ({status: 200}),
  'GET /v1/parameters': () => ({status: 200}),
  'PUT /v1/analysis-choices': async () => {
    const {headers} = await clinic.administrator.get('/v1/analysis-choices');
    return {status: 200, json: {choices: {}}, headers: {'if-match': headers.get('etag')}};
  },
};

async function recordingRecipe(more = {}) {
  const {json} = await clinic.addRecording((await clinic.addVisit()).id, FLOW);
  return {status: 200, id: json.recording.id, ...more};
}

/** A recording that is open, with `count` of its pieces. */
async function openRecipe(more = {}, count = 1) {
  const id = await open(clinic.room, (await clinic.addVisit()).id, FLOW);
  for (const piece of cut(FLOW, 45).slice(0, count)) {
    await send(clinic.room, id, 0, piece);
  }
  return {status: 200, id, ...more};
}

describe('a role', () => {
  for (const {method, path, roles} of operations.filter(({isPublic}) => !isPublic)) {
    const key = `${method} ${path}`;
    const allowed = roles[0] === 'any' ? ROLES : roles;

    it(`may use ${key}: ${roles.join(', ')}, and no other`, async () => {
      const recipe = RECIPES[key];
      assert.ok(recipe, `no request for ${key} is written here yet`);
      for (const role of allowed) {
        const {status, id, ...request} = await recipe();
        await clinic.as(role).expect(status, method, filled(path, id), request);
      }
      const {status: _, id, ...request} = await recipe();
      await installation.unchanged(async () => {
        for (const role of ROLES.filter((one) => !allowed.includes(one))) {
          await clinic.as(role).expect(403, method, filled(path, id), request);
        }
      });
    });
  }

  it('may see the pages, whichever it is', async () => {
    const user = await clinic.addUser(['auditor']);
    const {cookie} = await signIn(installation.url, user.username, user.password);
    const study = await clinic.addVisit();
    for (const page of ['/', '/today', `/studies/${study.id}`, '/assets/today.js']) {
      const answer = await Client.withSession(installation.url, cookie).get(page);
      assert.match(answer.headers.get('content-type'), /^text\/(html|javascript)/);
    }
  });

  it('adds to another role of the same person', async () => {
    const {json} = await clinic.administrator.post('/v1/tokens', {name: 'both', roles: ['auditor', 'clinician']});
    const both = Client.withToken(installation.url, json.token);
    await both.get('/v1/patients');
    await both.expect(403, 'GET', '/v1/users');
  });
});
