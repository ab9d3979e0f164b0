// Browser sessions: signing in and out, the cookie, and requests that other sites cause.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, PASSWORD, patientDocument, signIn} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';

let installation;
let clinic;
let user;

before(async () => {
  installation = await Installation.create('sessions');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the sessions');
  user = await clinic.addUser(['clinician']);
});

after(() => installation.remove());

const stranger = () => new Client(installation.url);

async function session(account = user) {
  const {cookie} = await signIn(installation.url, account.username, account.password);
  return Client.withSession(installation.url, cookie);
}

/** The parts of a Set-Cookie field, by name in lower case. */
function cookieParts(field) {
  return Object.fromEntries(
    field.split('; ').map((part) => {
      const [name, ...value] = part.split('=');
      return [name.toLowerCase(), value.join('=')];
    }),
  );
}

describe('signing in', () => {
  it('gives a cookie that scripts and other sites cannot use', async () => {
    const {answer} = await signIn(installation.url, user.username, user.password);
    const parts = cookieParts(answer.headers.getSetCookie()[0]);
    assert.match(parts.penstock_session, /^[A-Za-z0-9_-]{40,}$/);
    assert.equal(parts.httponly, '');
    assert.equal(parts.samesite, 'Strict');
    assert.equal(parts.path, '/');
    assert.ok(!('secure' in parts), 'plain HTTP on a loopback address cannot carry a Secure cookie');
    assert.ok(!('domain' in parts));
    assert.equal(answer.headers.get('cache-control'), 'no-store');
    assert.equal(answer.headers.get('location'), '/v1/sessions/current');
  });

  it('says who is signed in, and until when', async () => {
    const {answer} = await signIn(installation.url, user.username, user.password);
    assert.deepEqual(answer.json.user, {
      id: user.id,
      username: user.username,
      display_name: user.display_name,
      roles: ['clinician'],
    });
    assert.deepEqual(answer.json.clinic, {id: clinic.id, name: clinic.name});
    const hours = (Date.parse(answer.json.expires_at) - Date.now()) / 3600_000;
    assert.ok(hours > 0 && hours <= 24, `expires in ${hours} h`);
    const current = await (await session()).get('/v1/sessions/current');
    assert.deepEqual(current.json.user, answer.json.user);
    assert.deepEqual(current.json.clinic, answer.json.clinic);
  });

  it('gives another secret each time, and stores none of them', async () => {
    const cookies = [];
    for (let i = 0; i < 3; i++) {
      cookies.push((await signIn(installation.url, user.username, user.password)).cookie);
    }
    assert.equal(new Set(cookies).size, 3);
    const stored = JSON.stringify(
      await installation.rows('select s::text, t::text from penstock.session s, penstock.api_token t'),
    );
    for (const secret of [...cookies.map((cookie) => cookie.split('=')[1]), clinic.tokens.room]) {
      assert.ok(!stored.includes(secret));
      assert.ok(!stored.includes(Buffer.from(secret).toString('hex')));
    }
  });

  it('fails in the same words for a wrong password and an unknown name', async () => {
    const wrong = await stranger().expect(401, 'POST', '/v1/sessions', {
      json: {username: user.username, password: 'not the password'},
    });
    const unknown = await stranger().expect(401, 'POST', '/v1/sessions', {
      json: {username: 'nobody-of-that-name', password: 'not the password'},
    });
    const sayings = [wrong, unknown].map(({json}) => ({...json, instance: ''}));
    assert.deepEqual(sayings[0], sayings[1]);
    for (const answer of [wrong, unknown]) {
      assert.equal(answer.headers.get('set-cookie'), null);
    }
  });

  it('takes the name in any case, the password in its own', async () => {
    await signIn(installation.url, user.username.toUpperCase(), user.password);
    await stranger().expect(401, 'POST', '/v1/sessions', {
      json: {username: user.username, password: user.password.toUpperCase()},
    });
  });

  it('from a page of another site is refused, also by a browser that tells no more than Origin', async () => {
    const json = {username: user.username, password: user.password};
    const {url} = installation;
    for (const headers of [
      {'sec-fetch-site': 'cross-site'},
      {'sec-fetch-site': 'same-site'},
      {'sec-fetch-site': 'cross-site', origin: url},
      {origin: 'http://elsewhere.example'},
      {origin: 'null'},
    ]) {
      await stranger().expect(403, 'POST', '/v1/sessions', {json, headers});
    }
    for (const headers of [{'sec-fetch-site': 'same-origin'}, {'sec-fetch-site': 'none'}, {origin: url}]) {
      await stranger().expect(201, 'POST', '/v1/sessions', {json, headers});
    }
  });

  it('is not possible with a form of another media type', async () => {
    await stranger().expect(415, 'POST', '/v1/sessions', {
      body: `username=${user.username}&password=${encodeURIComponent(PASSWORD)}`,
      headers: {'content-type': 'application/x-www-form-urlencoded'},
    });
    await stranger().expect(415, 'POST', '/v1/sessions', {
      body: JSON.stringify({username: user.username, password: PASSWORD}),
      headers: {'content-type': 'text/plain'},
    });
  });
});

describe('a change made with the cookie', () => {
  const CHANGE = ['POST', '/v1/patients'];
  let cookie;

  before(async () => {
    cookie = (await signIn(installation.url, user.username, user.password)).cookie;
  });

  const change = (status, headers) =>
    stranger().expect(status, ...CHANGE, {json: patientDocument(), headers: {cookie, ...headers}});

  it('must come from a page of this server', async () => {
    const {host} = new URL(installation.url);
    await installation.unchanged(async () => {
      await change(403, {});
      await change(403, {origin: 'http://elsewhere.example'});
      await change(403, {origin: 'null'});
      await change(403, {origin: `http://${host}.elsewhere.example`});
      await change(403, {origin: `http://elsewhere.example/${host}`});
      await change(403, {origin: `http://x@${host}`});
      await change(403, {'sec-fetch-site': 'cross-site'});
      await change(403, {'sec-fetch-site': 'same-site', origin: installation.url});
      await change(403, {'sec-fetch-site': 'none', origin: installation.url});
      await change(403, {referer: `${installation.url}/today`});
    });
    await change(201, {origin: installation.url});
    await change(201, {'sec-fetch-site': 'same-origin'});
  });

  it('is refused for every unsafe method', async () => {
    await installation.unchanged(async () => {
      const foreign = {cookie, origin: 'http://elsewhere.example', 'if-match': '"1"'};
      const {id} = user;
      for (const [method, target] of [
        ['DELETE', '/v1/sessions/current'],
        ['PUT', `/v1/patients/${id}`],
        ['PATCH', `/v1/studies/${id}`],
        ['POST', '/v1/analyses'],
      ]) {
        const json = method === 'DELETE' ? undefined : {};
        await stranger().expect(403, method, target, {json, headers: foreign});
      }
    });
  });

  it('needs no such proof for reading', async () => {
    await stranger().expect(200, 'GET', '/v1/patients', {headers: {cookie, origin: 'http://elsewhere.example'}});
    const answer = await stranger().expect(200, 'GET', '/v1/patients', {headers: {cookie}});
    assert.equal(answer.headers.get('access-control-allow-origin'), null);
  });

  it('is judged by the token alone when both are sent', async () => {
    const authorization = `Bearer ${clinic.tokens.auditor}`;
    await change(403, {authorization, origin: installation.url});
    await change(401, {authorization: 'Bearer pst_nothing', origin: installation.url});
  });
});

describe('a session ends', () => {
  const isOver = (client) => client.expect(401, 'GET', '/v1/sessions/current');

  it('with signing out, and takes its cookie along', async () => {
    const client = await session();
    const other = await session();
    const answer = await client.expect(204, 'DELETE', '/v1/sessions/current');
    const parts = cookieParts(answer.headers.getSetCookie()[0]);
    assert.equal(parts.penstock_session, '');
    assert.equal(parts['max-age'], '0');
    await isOver(client);
    await isOver(client);
    await other.get('/v1/sessions/current');
    const page = await client.request('GET', '/today?date=2026-03-02&x=a%26b');
    assert.equal(page.status, 303);
    const wanted = new URL(page.headers.get('location'), 'http://here').searchParams.get('next');
    assert.equal(wanted, '/today?date=2026-03-02&x=a%26b');
  });

  it('when its account is deactivated, and no new one begins', async () => {
    const account = await clinic.addUser(['clinician']);
    const client = await session(account);
    await clinic.administrator.patch(`/v1/users/${account.id}`, {active: false}, account.etag);
    await isOver(client);
    const refused = await stranger().expect(401, 'POST', '/v1/sessions', {
      json: {username: account.username, password: account.password},
    });
    const unknown = await stranger().expect(401, 'POST', '/v1/sessions', {
      json: {username: 'nobody', password: PASSWORD},
    });
    assert.equal(refused.json.detail, unknown.json.detail);
  });

  it('when the password is changed', async () => {
    const account = await clinic.addUser(['clinician']);
    const client = await session(account);
    const password = 'eight dry badgers';
    await clinic.administrator.patch(`/v1/users/${account.id}`, {password}, account.etag);
    await isOver(client);
    await stranger().expect(401, 'POST', '/v1/sessions', {
      json: {username: account.username, password: account.password},
    });
    await session({...account, password});
  });

  it('after its time, and after half an hour without use', async () => {
    for (const column of ["expires_at = now() - interval '1 second'", "last_used_at = now() - interval '31 minutes'"]) {
      const account = await clinic.addUser(['clinician']);
      const client = await session(account);
      await client.get('/v1/sessions/current');
      await installation.execute(`update penstock.session set ${column} where account_id = '${account.id}'`);
      await isOver(client);
    }
  });

  it('has other rights as soon as the roles change', async () => {
    const account = await clinic.addUser(['clinician']);
    const client = await session(account);
    await client.get('/v1/patients');
    const {headers} = await clinic.administrator.patch(`/v1/users/${account.id}`, {roles: ['auditor']}, account.etag);
    const {status} = await client.request('GET', '/v1/patients');
    assert.ok([401, 403].includes(status), `${status}`);
    assert.notEqual(headers.get('etag'), account.etag);
  });
});
