// The second factor: enrolment, signing in with codes, recovery, and what an administrator may do.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, PASSWORD, sessionCookie, signIn} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {codeOf, enrol, oathtoolCode, startOfStep} from './lib/second_factor.mjs';

const MINE = '/v1/sessions/current/second-factor';

let installation;
let clinic;
let keyFile;

before(async () => {
  installation = await Installation.create('second_factor');
  keyFile = installation.makeKey();
  await installation.start({PENSTOCK_KEY_FILE: keyFile});
  clinic = await Clinic.open(installation, 'Clinic of the second factor');
});

after(() => installation.remove());

async function session(account, proof = {}) {
  const {cookie} = await signIn(installation.url, account.username, account.password, proof);
  return Client.withSession(installation.url, cookie);
}

/** An account with a confirmed factor, whose code of the step before now is used up. */
async function enrolled(roles = ['clinician']) {
  const user = await clinic.addUser(roles);
  const client = await session(user);
  await startOfStep();
  const factor = await enrol(client, user.password);
  return {user, client, factor, renewed: Client.withSession(installation.url, sessionCookie(factor.answer))};
}

const proofOf = ({username, password}) => ({username, password});

const attempt = (user, proof, status, headers = {}) =>
  new Client(installation.url, headers).expect(status, 'POST', '/v1/sessions', {
    json: {...proofOf(user), ...proof},
  });

/** Makes the steps that were used count as never used, in place of waiting for new ones. */
const forgetSteps = (user) =>
  installation.execute(`update penstock.second_factor set last_step = 0 where account_id = '${user.id}'`);

describe('setting up a second factor', () => {
  it('gives what an authenticator takes, and asks for codes once one was right', async () => {
    const user = await clinic.addUser(['clinician']);
    const client = await session(user);
    assert.deepEqual((await client.get(MINE)).json, {
      available: true,
      enabled: false,
      confirmed_at: null,
      recovery_codes_left: 0,
    });
    const first = await client.post(MINE, {current_password: PASSWORD});
    const {json: made} = await client.post(MINE, {current_password: PASSWORD});
    assert.notEqual(made.secret, first.json.secret, 'a secret that nobody confirmed is made anew');
    const uri = new URL(made.uri);
    assert.equal(uri.protocol, 'otpauth:');
    assert.equal(decodeURIComponent(uri.pathname).split(':').at(-1), user.username);
    assert.equal(uri.searchParams.get('secret'), made.secret);
    assert.equal(uri.searchParams.get('issuer'), clinic.name);
    await session(user); // not confirmed: no code is asked for
    await startOfStep();
    const wrong = await client.expect(422, 'POST', `${MINE}/confirmation`, {json: {code: codeOf(first.json.secret)}});
    assert.equal(wrong.json.errors[0].pointer, '/code');
    const code = oathtoolCode(made.secret);
    assert.equal(code, codeOf(made.secret), 'two outside parties agree');
    const answer = await client.expect(200, 'POST', `${MINE}/confirmation`, {json: {code}});
    assert.equal(new Set(answer.json.recovery_codes).size, 10);
    await client.expect(401, 'GET', '/v1/sessions/current');
    const renewed = Client.withSession(installation.url, sessionCookie(answer));
    const {json: state} = await renewed.get(MINE);
    assert.equal(state.enabled, true);
    assert.equal(state.recovery_codes_left, 10);
    await renewed.expect(409, 'POST', MINE, {json: {current_password: PASSWORD}});
    await renewed.expect(409, 'POST', `${MINE}/confirmation`, {json: {code}});
  });

  it('has to be confirmed within 15 minutes', async () => {
    const user = await clinic.addUser(['clinician']);
    const client = await session(user);
    const waited = (minutes) =>
      installation.execute(
        `update penstock.second_factor set created_at = now() - interval '${minutes} minutes' where account_id = '${user.id}'`,
      );
    const {json: lapsed} = await client.post(MINE, {current_password: PASSWORD});
    await waited(15);
    await startOfStep();
    await client.expect(409, 'POST', `${MINE}/confirmation`, {json: {code: codeOf(lapsed.secret)}});
    const {json: made} = await client.post(MINE, {current_password: PASSWORD});
    await waited(14);
    await client.expect(200, 'POST', `${MINE}/confirmation`, {json: {code: codeOf(made.secret)}});
  });

  it('lets its codes be guessed ten times only', async () => {
    const user = await clinic.addUser(['clinician']);
    const client = await session(user);
    const {json: made} = await client.post(MINE, {current_password: PASSWORD});
    await startOfStep();
    const code = codeOf(made.secret);
    const wrong = String((Number(code) + 1) % 1_000_000).padStart(6, '0');
    for (let i = 0; i < 10; i++) {
      await client.expect(422, 'POST', `${MINE}/confirmation`, {json: {code: wrong}});
    }
    const refused = await client.expect(429, 'POST', `${MINE}/confirmation`, {json: {code}});
    assert.match(refused.headers.get('retry-after'), /^\d+$/);
    assert.equal((await client.get(MINE)).json.enabled, false);
  });

  it('needs the password', async () => {
    const client = await session(await clinic.addUser(['clinician']));
    const {json} = await client.expect(422, 'POST', MINE, {json: {current_password: 'eight dry badgers'}});
    assert.equal(json.errors[0].pointer, '/current_password');
    await client.expect(409, 'POST', `${MINE}/confirmation`, {json: {code: '000000'}});
  });

  it('leaves neither secret nor codes readable in the database', async () => {
    const {factor} = await enrolled();
    const rows = await installation.rows(
      'select f::text, c::text from penstock.second_factor f natural join penstock.recovery_code c',
    );
    const stored = JSON.stringify(rows);
    const hex = Buffer.from(factor.secret).toString('hex');
    for (const secret of [factor.secret, hex, ...factor.recoveryCodes]) {
      assert.ok(!stored.includes(secret));
    }
    assert.ok(!stored.includes(rawHex(factor.secret)));
  });
});

function rawHex(secret) {
  const alphabet = 'ABCDEFGHIJKLMNOPQRSTUVWXYZ234567';
  const bits = [...secret].map((one) => alphabet.indexOf(one).toString(2).padStart(5, '0')).join('');
  return bits
    .match(/.{8}/g)
    .map((byte) => parseInt(byte, 2).toString(16).padStart(2, '0'))
    .join('');
}

describe('signing in with a second factor', () => {
  it('asks for the code after the password is right, and not before', async () => {
    const {user} = await enrolled();
    const asked = await attempt(user, {}, 401);
    assert.equal(asked.json.type, '/problems/second-factor-required');
    assert.equal(asked.headers.get('set-cookie'), null);
    const wrong = await attempt({...user, password: 'eight dry badgers'}, {}, 401);
    const nobody = await attempt({username: 'nobody-at-all', password: PASSWORD}, {}, 401);
    assert.equal(wrong.json.type, 'about:blank');
    assert.deepEqual({...wrong.json}, {...nobody.json});
    const withCode = await attempt({...user, password: 'eight dry badgers'}, {code: '000000'}, 401);
    assert.deepEqual({...withCode.json}, {...nobody.json});
  });

  it('takes each code once, however many send it at once, and none that is older', async () => {
    const {user, factor} = await enrolled();
    const code = codeOf(factor.secret);
    const answers = await Promise.all(
      [1, 2].map(() => new Client(installation.url).request('POST', '/v1/sessions', {json: {...proofOf(user), code}})),
    );
    assert.deepEqual(answers.map(({status}) => status).sort(), [201, 401]);
    const again = await attempt(user, {code}, 401);
    assert.equal(again.json.type, '/problems/second-factor-wrong');
    await attempt(user, {code: codeOf(factor.secret, -1)}, 401);
    await attempt(user, {code: codeOf(factor.secret, 1)}, 201);
  });

  it('takes a code of one step before or after now, and no other', async () => {
    const {user, factor} = await enrolled();
    for (const steps of [-2, 2]) {
      await forgetSteps(user);
      await attempt(user, {code: codeOf(factor.secret, steps)}, 401);
    }
    for (const steps of [-1, 0, 1]) {
      await forgetSteps(user);
      await attempt(user, {code: codeOf(factor.secret, steps)}, 201);
    }
  });

  it('takes a recovery code once', async () => {
    const {user, factor, renewed} = await enrolled();
    const code = factor.recoveryCodes[3];
    await attempt(user, {code: code.toUpperCase().replaceAll('-', ' ')}, 201);
    await attempt(user, {code}, 401);
    assert.equal((await renewed.get(MINE)).json.recovery_codes_left, 9);
  });

  it('lets codes be guessed five times only', async () => {
    const {user, factor} = await enrolled();
    const wrong = String((Number(codeOf(factor.secret)) + 1) % 1_000_000).padStart(6, '0');
    for (let i = 0; i < 5; i++) {
      await attempt(user, {code: wrong}, 401);
    }
    const refused = await attempt(user, {code: codeOf(factor.secret)}, 429);
    assert.match(refused.headers.get('retry-after'), /^\d+$/);
    await attempt(user, {}, 401); // the password alone still gets the question
  });
});

describe('a second factor', () => {
  it('is removed by its owner with password and code', async () => {
    const {user, factor, renewed} = await enrolled();
    for (const [json, pointer] of [
      [{current_password: 'eight dry badgers', code: codeOf(factor.secret)}, '/current_password'],
      [{current_password: PASSWORD, code: '12345x'}, '/code'],
      [{current_password: PASSWORD}, '/code'],
    ]) {
      const answer = await renewed.expect(422, 'POST', `${MINE}/removal`, {json});
      assert.deepEqual(
        answer.json.errors.map((error) => error.pointer),
        [pointer],
      );
    }
    const proof = {current_password: PASSWORD, code: codeOf(factor.secret)};
    await renewed.expect(204, 'POST', `${MINE}/removal`, {json: proof});
    await renewed.expect(409, 'POST', `${MINE}/removal`, {json: proof});
    await attempt(user, {}, 201);
  });

  it('gets new recovery codes, and the old ones stop', async () => {
    const {user, factor, renewed} = await enrolled();
    const {json} = await renewed.expect(200, 'POST', `${MINE}/recovery-codes`, {
      json: {current_password: PASSWORD, code: codeOf(factor.secret)},
    });
    await attempt(user, {code: factor.recoveryCodes[0]}, 401);
    await attempt(user, {code: json.recovery_codes[0]}, 201);
  });

  it('is reset by an administrator, which ends the sessions', async () => {
    const {user, renewed} = await enrolled();
    const {json, headers} = await clinic.administrator.get(`/v1/users/${user.id}`);
    assert.equal(json.second_factor, true);
    const refused = await clinic.administrator.expect(422, 'PATCH', `/v1/users/${user.id}`, {
      json: {second_factor: {secret: 'x'}},
      headers: {'if-match': headers.get('etag')},
    });
    assert.equal(refused.json.errors[0].pointer, '/second_factor');
    const {json: changed} = await clinic.administrator.patch(
      `/v1/users/${user.id}`,
      {second_factor: null},
      headers.get('etag'),
    );
    assert.equal(changed.second_factor, false);
    await renewed.expect(401, 'GET', '/v1/sessions/current');
    await attempt(user, {}, 201);
  });

  it('goes when a locked-out administrator is let in again', async () => {
    const {user} = await enrolled(['administrator']);
    await installation.program(['administrator', 'recover', clinic.id, user.username], 'nine tall poplars\n');
    await attempt({...user, password: 'nine tall poplars'}, {}, 201);
  });

  it('may be asked of a role, which can then do nothing before it has one', async () => {
    const user = await clinic.addUser(['physician']);
    const client = await session(user);
    await client.get('/v1/patients');
    const rules = (roles) => clinic.administrator.expect(200, 'PUT', '/v1/sign-in-rules', {json: {second_factor: {roles}}});
    await rules(['physician', 'auditor']);
    assert.deepEqual((await clinic.administrator.get('/v1/sign-in-rules')).json, {
      second_factor: {roles: ['physician', 'auditor']},
    });
    const {json} = await client.expect(403, 'GET', '/v1/patients');
    assert.equal(json.type, '/problems/second-factor-setup-required');
    assert.deepEqual((await client.get('/v1/sessions/current')).json.owes, ['second_factor']);
    await startOfStep();
    const {answer} = await enrol(client, user.password);
    await Client.withSession(installation.url, sessionCookie(answer)).get('/v1/patients');
    await clinic.as('physician').get('/v1/patients'); // a program is not asked
    await rules([]);
  });
});

describe('a server without a key', () => {
  it('says how to give it one, and keeps nobody out who has no second factor', async () => {
    const {user: enrolledUser} = await enrolled();
    await installation.stop();
    await installation.start();
    const {cookie} = await signIn(installation.url, clinic.username, PASSWORD);
    clinic.administrator = Client.withSession(installation.url, cookie); // the port is another
    const user = await clinic.addUser(['clinician']);
    const client = await session(user);
    assert.equal((await client.get(MINE)).json.available, false);
    const {json} = await client.expect(409, 'POST', MINE, {json: {current_password: PASSWORD}});
    assert.equal(json.type, '/problems/second-factor-unavailable');
    assert.match(json.detail, /PENSTOCK_KEY_FILE/);
    await attempt(enrolledUser, {}, 401);
  });
});
