// Bearer tokens: what their scopes leave of their roles, rotation, certificates, and their form.
import assert from 'node:assert/strict';
import {randomBytes, randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, PASSWORD, patientDocument, scopesOf, studyDocument} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {checksum, forged} from './lib/secrets.mjs';

const DAY_MS = 24 * 3600_000;
const fromNow = (ms) => new Date(Date.now() + ms).toISOString();
const {document: FLOW} = uroflowmetry();

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('tokens');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the tokens');
});

after(() => installation.remove());

const withToken = (token) => Client.withToken(installation.url, token);
const refused = (json, status = 422) => clinic.administrator.expect(status, 'POST', '/v1/tokens', {json});
const rotate = async (id, json = {}) =>
  (await clinic.administrator.expect(200, 'POST', `/v1/tokens/${id}/rotation`, {json})).json;
const listed = async (id) =>
  (await clinic.administrator.get('/v1/tokens?limit=200')).json.items.find((one) => one.id === id);

describe('a token with scopes', () => {
  async function recording() {
    const {json} = await clinic.addRecording((await clinic.addVisit()).id, FLOW);
    return json.recording.id;
  }

  const withdrawal = (version) => ({json: {reason: 'a test'}, headers: {'if-match': `"${version}"`}});

  // For each action: the scope, and a request that it alone allows.
  const ACTIONS = {
    'patients:read': async () => [200, 'GET', `/v1/patients/${(await clinic.addPatient()).id}`],
    'patients:create': async () => [201, 'POST', '/v1/patients', {json: patientDocument()}],
    'patients:change': async () => [
      200,
      'PUT',
      `/v1/patients/${(await clinic.addPatient()).id}`,
      {json: patientDocument(), headers: {'if-match': '"1"'}},
    ],
    'studies:create': async () => [
      201,
      'POST',
      '/v1/studies',
      {json: studyDocument((await clinic.addPatient()).id)},
    ],
    'recordings:remove': async () => [200, 'POST', `/v1/recordings/${await recording()}/withdrawal`, withdrawal(1)],
    'recordings:restore': async () => {
      const id = await recording();
      await clinic.as('clinician').expect(200, 'POST', `/v1/recordings/${id}/withdrawal`, withdrawal(1));
      return [200, 'POST', `/v1/recordings/${id}/restoration`, withdrawal(2)];
    },
    'summaries:read': async () => [200, 'GET', `/v1/studies/${(await clinic.addVisit()).id}/summary`],
    'settings:read': async () => [200, 'GET', '/v1/retention'],
  };

  for (const scope of Object.keys(ACTIONS)) {
    it(`may do ${scope} and nothing else, whatever its roles`, async () => {
      const {token, scopes} = await clinic.makeToken(['clinician', 'administrator'], {scopes: [scope]});
      assert.deepEqual(scopes, [scope]);
      const client = withToken(token);
      await client.expect(...(await ACTIONS[scope]()));
      for (const other of Object.keys(ACTIONS).filter((one) => one !== scope)) {
        const [, method, target, request] = await ACTIONS[other]();
        await client.expect(403, method, target, request);
      }
      await client.expect(403, 'GET', '/v1/tokens');
      await client.expect(403, 'GET', '/v1/sessions/current');
    });
  }

  it('may do as much as they name together, and no more than its roles', async () => {
    const {token} = await clinic.makeToken(['integration'], {scopes: ['patients:read', 'studies:read']});
    await withToken(token).get('/v1/patients');
    await withToken(token).get('/v1/studies');
    await withToken(token).expect(403, 'POST', '/v1/patients', {json: patientDocument()});
  });

  it('needs them with the role integration', async () => {
    assert.deepEqual(pointers(await refused({name: 'x', roles: ['integration']})), ['/scopes']);
    assert.deepEqual(pointers(await refused({name: 'x', roles: ['room', 'integration']})), ['/scopes']);
    const {scopes} = await clinic.makeToken(['integration']);
    assert.deepEqual(scopes, scopesOf('integration'));
    assert.ok(scopes.length > 8);
  });

  it('names none that is unknown, said twice, or beyond its roles', () =>
    installation.unchanged(async () => {
      const scopes = [
        'patients:read',
        'patients',
        'patients:erase',
        'public:read',
        'Patients:read',
        'patients:read studies:read',
        ' patients:read',
        '',
        7,
        null,
        'patients:read',
        'recordings:restore',
        'audit:read',
      ];
      const answer = await refused({name: 'x', roles: ['room'], scopes});
      const wrong = scopes.map((_, index) => `/scopes/${index}`).slice(1);
      assert.deepEqual(pointers(answer), wrong.sort());
      assert.match(answer.json.errors.find(({pointer}) => pointer === '/scopes/10').detail, /twice/);
      assert.match(answer.json.errors.find(({pointer}) => pointer === '/scopes/12').detail, /roles/);
      for (const none of [[], 'patients:read', {}, 1]) {
        assert.deepEqual(pointers(await refused({name: 'x', roles: ['room'], scopes: none})), ['/scopes']);
      }
    }));
});

describe('a token that makes tokens', () => {
  it('gives no role that it has not itself', async () => {
    const administrator = clinic.as('administrator');
    const answer = await administrator.expect(422, 'POST', '/v1/tokens', {json: {name: 'x', roles: ['physician']}});
    assert.deepEqual(pointers(answer), ['/roles']);
    await administrator.post('/v1/tokens', {name: 'x', roles: ['administrator']});
    const {id} = await clinic.makeToken(['physician']);
    await administrator.expect(403, 'POST', `/v1/tokens/${id}/rotation`, {json: {}});
    await clinic.administrator.post('/v1/tokens', {name: 'x', roles: ['physician', 'auditor']});
  });

  it('gives no scope that it has not itself', async () => {
    const scopes = ['tokens:create', 'tokens:change', 'tokens:read'];
    const {token, id} = await clinic.makeToken(['administrator'], {scopes});
    const maker = withToken(token);
    const roles = ['administrator'];
    for (const more of [undefined, ['accounts:create'], ['tokens:read', 'tokens:remove']]) {
      const json = {name: 'x', roles, scopes: more};
      assert.deepEqual(pointers(await maker.expect(422, 'POST', '/v1/tokens', {json})), ['/scopes']);
    }
    await maker.post('/v1/tokens', {name: 'x', roles, scopes: ['tokens:read']});
    const wider = await clinic.makeToken(roles);
    await maker.expect(403, 'POST', `/v1/tokens/${wider.id}/rotation`, {json: {}});
    await maker.expect(200, 'POST', `/v1/tokens/${id}/rotation`, {json: {}});
  });
});

describe('a token and accounts', () => {
  it('shows them, and makes and changes none, whatever its roles and scopes', async () => {
    const scopes = ['accounts:read', 'accounts:create', 'accounts:change', 'accounts:remove'].filter((one) =>
      scopesOf('administrator').includes(one),
    );
    const user = await clinic.addUser(['room']);
    const account = {username: `user-${randomUUID()}`, display_name: 'A user', password: PASSWORD, roles: ['room']};
    for (const fields of [{}, {scopes}]) {
      const keeper = withToken((await clinic.makeToken(['administrator', 'room'], fields)).token);
      await keeper.get(`/v1/users/${user.id}`);
      for (const [method, path, request] of [
        ['POST', '/v1/users', {json: account}],
        ['POST', '/v1/users', {json: {}}],
        ['PATCH', `/v1/users/${user.id}`, {json: {display_name: 'Another'}, headers: {'if-match': user.etag}}],
        ['PATCH', `/v1/users/${randomUUID()}`, {json: {active: false}, headers: {'if-match': user.etag}}],
      ]) {
        await installation.unchanged(async () => {
          const {json} = await keeper.expect(403, method, path, request);
          assert.equal(json.detail, 'Only a person who has signed in may do this.');
        });
      }
    }
    const keeper = withToken((await clinic.makeToken(['administrator'])).token);
    await keeper.expect(403, 'DELETE', `/v1/users/${user.id}/sessions`);
  });
});

describe('the life of a token', () => {
  it('is a year unless said otherwise, and 400 days at most', async () => {
    const {expires_at: usual, expires_soon: soon} = await clinic.makeToken(['room']);
    assert.ok(Math.abs(Date.parse(usual) - Date.now() - 365 * DAY_MS) < 60_000);
    assert.equal(soon, false);
    for (const at of [fromNow(-1000), fromNow(400 * DAY_MS + 60_000), '2090-01-01T00:00:00Z']) {
      assert.deepEqual(pointers(await refused({name: 'x', roles: ['room'], expires_at: at})), ['/expires_at']);
    }
    await clinic.makeToken(['room'], {expires_at: fromNow(400 * DAY_MS - 60_000)});
    const short = await clinic.makeToken(['room'], {expires_at: fromNow(13 * DAY_MS)});
    assert.equal(short.expires_soon, true);
  });

  it('can be watched: when it was last used, and from where', async () => {
    const {token, id} = await clinic.makeToken(['room'], {scopes: ['patients:read']});
    const before = await listed(id);
    assert.ok(!('last_used_at' in before) && !('last_used_from' in before) && !('token' in before));
    await withToken(token).get('/v1/patients');
    const used = await listed(id);
    assert.ok(Math.abs(Date.parse(used.last_used_at) - Date.now()) < 60_000);
    assert.equal(used.last_used_from, '127.0.0.1');
    assert.deepEqual(used.scopes, ['patients:read']);
    assert.equal(used.prefix, token.slice(0, used.prefix.length));
  });
});

describe('a rotation', () => {
  it('gives another secret, and the former one works for a while', async () => {
    const made = await clinic.makeToken(['room'], {expires_at: fromNow(30 * DAY_MS), scopes: ['patients:read']});
    const rotated = await rotate(made.id);
    assert.equal(rotated.id, made.id);
    assert.notEqual(rotated.token, made.token);
    assert.deepEqual(rotated.scopes, made.scopes);
    assert.ok(Math.abs(Date.parse(rotated.expires_at) - Date.parse(made.expires_at)) < 60_000);
    const overlapMs = Date.parse(rotated.former_secret_until) - Date.parse(rotated.rotated_at);
    assert.equal(overlapMs, DAY_MS);
    for (const {token} of [made, rotated]) {
      await withToken(token).get('/v1/patients');
    }
    await installation.execute('update penstock.former_secret set expires_at = now()');
    await withToken(made.token).expect(401, 'GET', '/v1/patients');
    await withToken(rotated.token).get('/v1/patients');
    assert.ok(!('former_secret_until' in (await listed(made.id))));
  });

  it('without overlap ends every former secret at once', async () => {
    const made = await clinic.makeToken(['room']);
    const second = await rotate(made.id, {overlap_s: 604800});
    const third = await rotate(made.id, {overlap_s: 0});
    for (const {token} of [made, second]) {
      await withToken(token).expect(401, 'GET', '/v1/patients');
    }
    await withToken(third.token).get('/v1/patients');
  });

  it('at the same time as others loses no secret', async () => {
    const made = await clinic.makeToken(['room']);
    const rotations = await Promise.all(Array.from({length: 8}, () => rotate(made.id, {overlap_s: 60})));
    assert.equal(new Set(rotations.map(({token}) => token)).size, 8);
    for (const {token} of [made, ...rotations]) {
      await withToken(token).get('/v1/patients');
    }
    await clinic.administrator.expect(204, 'DELETE', `/v1/tokens/${made.id}`);
    for (const {token} of [made, ...rotations]) {
      await withToken(token).expect(401, 'GET', '/v1/patients');
    }
  });

  it('is refused with faults, of what is not there, and of what is another clinic’s', async () => {
    const {id} = await clinic.makeToken(['room']);
    const gone = await clinic.makeToken(['room']);
    await clinic.administrator.expect(204, 'DELETE', `/v1/tokens/${gone.id}`);
    const other = await Clinic.open(installation, 'Another clinic of the tokens');
    await installation.unchanged(async () => {
      for (const overlap of [-1, 604801, 1.5, '60', true]) {
        const answer = await clinic.administrator.expect(422, 'POST', `/v1/tokens/${id}/rotation`, {
          json: {overlap_s: overlap},
        });
        assert.deepEqual(pointers(answer), ['/overlap_s']);
      }
      await clinic.administrator.expect(404, 'POST', `/v1/tokens/${gone.id}/rotation`, {json: {}});
      await other.administrator.expect(404, 'POST', `/v1/tokens/${id}/rotation`, {json: {}});
      await clinic.administrator.expect(404, 'POST', '/v1/tokens/nothing/rotation', {json: {}});
      await clinic.room.expect(403, 'POST', `/v1/tokens/${id}/rotation`, {json: {}});
    });
  });
});

describe('a token bound to a certificate', () => {
  it('is worth nothing on a connection without it', async () => {
    const certificate = randomBytes(32).toString('hex');
    const bound = await clinic.makeToken(['room'], {certificate_sha256: certificate});
    assert.equal(bound.certificate_sha256, certificate);
    await withToken(bound.token).expect(401, 'GET', '/v1/patients');
    const claimed = {'x-client-certificate': certificate, 'client-cert': `:${certificate}:`};
    await withToken(bound.token).expect(401, 'GET', '/v1/patients', {headers: claimed});
    assert.equal((await listed(bound.id)).certificate_sha256, certificate);
    const rotated = await rotate(bound.id);
    assert.equal(rotated.certificate_sha256, certificate);
    await withToken(rotated.token).expect(401, 'GET', '/v1/patients');
  });

  it('names it as 64 hexadecimal digits', () =>
    installation.unchanged(async () => {
      const good = 'a'.repeat(64);
      for (const bad of ['', good.slice(1), `${good}a`, good.toUpperCase(), `${good.slice(1)}g`, 7]) {
        const answer = await refused({name: 'x', roles: ['room'], certificate_sha256: bad});
        assert.deepEqual(pointers(answer), ['/certificate_sha256']);
      }
    }));
});

describe('the secret of a token', () => {
  const FORM = /^pst_[A-Za-z0-9_-]{43}[0-9a-f]{8}$/;

  it('has a form and a checksum by which scanners know it', async () => {
    for (let i = 0; i < 5; i++) {
      const {token} = await clinic.makeToken(['room']);
      assert.match(token, FORM);
      assert.equal(token.slice(-8), checksum(token.slice(0, -8)));
    }
  });

  it('is refused when it is another, with a right checksum or a wrong one', async () => {
    const {token} = await clinic.makeToken(['room']);
    for (const one of [
      forged('pst_'),
      `pst_${'A'.repeat(43)}00000000`,
      token.slice(0, -8),
      token.toUpperCase(),
      token.replace('pst_', 'psl_'),
      `${token.slice(0, -8)}${checksum(token.slice(0, -9))}`,
    ]) {
      await withToken(one).expect(401, 'GET', '/v1/patients');
    }
    await withToken(token).get('/v1/patients');
  });
});
