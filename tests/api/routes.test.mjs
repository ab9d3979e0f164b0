// The table of routes against the documented operations, and who may use which.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, PASSWORD, ROLES, signIn} from './lib/clinic.mjs';
import {operations} from './lib/contract.mjs';
import {readSource} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {filled} from './lib/recipes.mjs';
import {forged} from './lib/secrets.mjs';

const PAGES = [
  '/',
  '/today',
  '/studies/{id}',
  '/referred/{id}',
  '/referred/{id}/report',
  '/referred/{id}/letter',
  '/r/{id}',
  '/audit',
  '/account',
  '/letters',
];
const PUBLIC = [
  'GET /healthz',
  'GET /readyz',
  'GET /sign-in',
  'GET /sign-in/single',
  'GET /sign-in/return',
  'GET /v1/sign-in-methods',
  'GET /assets/sign-in.js',
  'GET /assets/penstock.css',
  'GET /assets/favicon.svg',
  'GET /assets/licences.txt',
  'POST /v1/sessions',
  'GET /l/{secret}',
  'GET /l/{secret}/report',
  'GET /l/{secret}/letter',
];

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

const isForPeople = (path) => PAGES.includes(path) || path.startsWith('/sign-in') || path.startsWith('/assets/');

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
      'an invented token with a right checksum': {authorization: `Bearer ${forged('pst_')}`},
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
    for (const key of PUBLIC.filter((one) => one.startsWith('GET') && !/[{]|sign-in[/]/.test(one))) {
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

describe('a role', () => {
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

describe('a route that carries a secret', () => {
  const entries = readSource('server/api/routes.c').split(/^ {4}\{(?=HTTP_)/m);

  for (const [method, path] of [
    ['POST', '/v1/sessions'],
    ['POST', '/v1/sessions/current/password'],
    ['POST', '/v1/sessions/current/second-factor'],
    ['POST', '/v1/sessions/current/second-factor/confirmation'],
    ['POST', '/v1/sessions/current/second-factor/recovery-codes'],
    ['POST', '/v1/sessions/current/second-factor/removal'],
    ['POST', '/v1/users'],
    ['PATCH', '/v1/users/{id}'],
    ['POST', '/v1/tokens'],
    ['POST', '/v1/tokens/{id}/rotation'],
    ['POST', '/v1/studies/{id}/links'],
    ['GET', '/l/{secret}'],
    ['GET', '/l/{secret}/report'],
    ['GET', '/l/{secret}/letter'],
    ['GET', '/sign-in/single'],
    ['GET', '/sign-in/return'],
  ]) {
    it(`has its memory overwritten: ${method} ${path}`, () => {
      const found = entries.filter((entry) => entry.startsWith(`HTTP_${method},`) && entry.includes(`"${path}",`));
      assert.equal(found.length, 1);
      assert.match(found[0], /\bHTTP_ROUTE_SECRET\b/);
    });
  }
});
