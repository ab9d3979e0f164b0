// Signing in with the hospital's own provider: the good way, and every way in which it must not work.
import assert from 'node:assert/strict';
import {execFileSync, spawnSync} from 'node:child_process';
import {readFileSync, writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, beforeEach, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, PASSWORD, signIn} from './lib/clinic.mjs';
import {serverProgram} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {CLIENT_SECRET, Provider, strangeKey} from './lib/provider.mjs';

const PUBLIC_URL = 'https://penstock.tarn-valley.example';

let provider;
let installation;
let clinic;
let settings;
let user;

before(async () => {
  provider = await Provider.start();
  installation = await Installation.create('single_sign_on');
  const secret = path.join(installation.folder, 'secret');
  writeFileSync(secret, `${CLIENT_SECRET}\n`, {mode: 0o600});
  settings = provider.settings({
    PENSTOCK_OIDC_CLIENT_SECRET_FILE: secret,
    PENSTOCK_OIDC_NAME: 'Tarn Valley <Hospital>',
    PENSTOCK_PUBLIC_URL: PUBLIC_URL,
  });
  await installation.start(settings);
  clinic = await Clinic.open(installation, 'Clinic of single sign-on');
  user = await clinic.addUser(['clinician'], {single_sign_on: {issuer: provider.issuer, subject: 'kim-17'}});
});

after(async () => {
  await installation.remove();
  await provider.stop();
});

beforeEach(async () => {
  await installation.execute('delete from penstock.attempt');
  provider.behave({});
  provider.subject = 'kim-17';
});

/** A browser with nothing in it but the cookies of this server. */
class Browser {
  constructor(url = installation.url) {
    this.url = url;
    this.cookies = new Map();
  }

  async get(target) {
    const cookie = [...this.cookies].map(([name, value]) => `${name}=${value}`).join('; ');
    const headers = {accept: 'text/html', ...(cookie === '' ? {} : {cookie})};
    const answer = await fetch(this.url + target, {headers, redirect: 'manual'});
    this.set = answer.headers.getSetCookie?.() ?? [answer.headers.get('set-cookie')].filter(Boolean);
    for (const [pair] of this.set.map((line) => line.split(';'))) {
      const [name, value] = pair.split('=');
      value === '' ? this.cookies.delete(name) : this.cookies.set(name, value);
    }
    return {status: answer.status, headers: answer.headers, text: await answer.text()};
  }

  /** As far as the provider: where it was sent. */
  async leave(next = '') {
    const answer = await this.get(`/sign-in/single${next}`);
    assert.equal(answer.status, 303, answer.text);
    return answer.headers.get('location');
  }

  comeBack(address) {
    return this.get(address.pathname + address.search);
  }

  /** All the way. */
  async signIn(next = '', options = {}) {
    return this.comeBack(provider.authorise(await this.leave(next), options));
  }

  get isSignedIn() {
    return this.cookies.has('penstock_session');
  }
}

function cookieParts(line) {
  return Object.fromEntries(line.split('; ').map((part) => [part.split('=')[0].toLowerCase(), part.split('=')[1] ?? true]));
}

const sessions = async () => (await installation.rows('select count(*)::int as n from penstock.session'))[0].n;

/** An answer for people: a page that leads back, and no session. */
function isRefusal(browser, answer, status) {
  assert.equal(answer.status, status, answer.text);
  assert.match(answer.headers.get('content-type'), /^text\/html/);
  assert.equal(answer.headers.get('cache-control'), 'no-store');
  assert.match(answer.text, /href="\/sign-in"/);
  assert.doesNotMatch(answer.text, /http-equiv/);
  assert.equal(browser.isSignedIn, false);
  assert.equal(answer.headers.get('location'), null);
  assert.equal(answer.headers.has('retry-after'), [429, 503].includes(status));
}

describe('single sign-on', () => {
  it('is explained by the program: the secret, or a file that holds it', () => {
    const {stdout} = spawnSync(serverProgram(), ['--help'], {encoding: 'utf8'});
    const line = stdout.split('\n').find((one) => one.includes('PENSTOCK_OIDC_CLIENT_SECRET '));
    assert.match(line, /PENSTOCK_OIDC_CLIENT_SECRET +secret .*PENSTOCK_OIDC_CLIENT_SECRET_FILE/);
  });

  it('is offered with its name', async () => {
    const {json} = await new Client(installation.url).get('/v1/sign-in-methods');
    assert.deepEqual(json, {
      password: true,
      single_sign_on: {name: 'Tarn Valley <Hospital>', href: '/sign-in/single'},
    });
  });

  it('has people asked anew where they want to be, and believes the provider alone that they were', async () => {
    const now = Math.floor(Date.now() / 1000);
    const told = async (next, claims) => {
      const browser = new Browser();
      const address = await browser.leave(next);
      const asked = new URL(address).searchParams;
      provider.behave({claims});
      assert.equal((await browser.comeBack(provider.authorise(address))).status, 200);
      provider.behave({});
      const [row] = await installation.rows(
        `select extract(epoch from authenticated_at)::int as at from penstock.session order by created_at desc limit 1`,
      );
      return [asked.get('prompt'), asked.get('max_age'), row.at];
    };
    assert.deepEqual(await told('?fresh=true', {auth_time: now - 3}), ['login', '0', now - 3]);
    assert.deepEqual(await told('?fresh=true', {}), ['login', '0', null]);
    assert.deepEqual(await told('?fresh=true', {auth_time: now - 9000}), ['login', '0', now - 9000]);
    assert.deepEqual(await told('', {auth_time: now - 9000}), [null, null, now - 9000]);
    assert.deepEqual(await told('?fresh=1', {}), [null, null, null]);
  });

  it('leads to the provider and back into a session', async () => {
    const browser = new Browser();
    const address = await browser.leave('?next=/today?date=2026-03-02');
    const attempt = cookieParts(browser.set[0]);
    assert.equal(attempt.path, '/sign-in');
    assert.equal(attempt.httponly, true);
    assert.equal(attempt.samesite, 'Lax');
    assert.equal(attempt.secure, true);
    assert.equal(attempt['max-age'], '600');
    assert.equal(new URL(address).searchParams.get('redirect_uri'), `${PUBLIC_URL}/sign-in/return`);

    const answer = await browser.comeBack(provider.authorise(address));
    assert.equal(answer.status, 200, answer.text);
    assert.match(answer.text, /<meta http-equiv="refresh" content="0; url=\/today\?date=2026-03-02">/);
    assert.match(answer.text, /href="\/today\?date=2026-03-02"/);
    assert.doesNotMatch(answer.text, /<script|style=/);
    assert.match(answer.headers.get('content-security-policy'), /default-src 'none'/);
    const session = cookieParts(browser.set.find((line) => line.startsWith('penstock_session=')));
    assert.equal(session.httponly, true);
    assert.equal(session.samesite, 'Strict');
    assert.equal(session.path, '/');
    assert.equal(browser.cookies.has('penstock_sign_in'), false, 'the attempt is over');

    const client = Client.withSession(installation.url, `penstock_session=${browser.cookies.get('penstock_session')}`);
    const {json} = await client.get('/v1/sessions/current');
    assert.equal(json.user.id, user.id);
    assert.deepEqual(json.user.roles, ['clinician']);
    await client.get('/v1/patients');
    await client.expect(204, 'DELETE', '/v1/sessions/current');
  });

  it('leaves an entry in the audit, of whose account it was', async () => {
    const browser = new Browser();
    const {headers} = await browser.signIn();
    const [entry] = await installation.rows(
      `select actor_id, actor_kind, resource, action, outcome from penstock.audit_entry
       where request_id = '${headers.get('x-request-id')}'`,
    );
    assert.deepEqual(entry, {
      actor_id: user.id,
      actor_kind: 'person',
      resource: 'session',
      action: 'create',
      outcome: 'done',
    });
  });

  it('begins another session each time', async () => {
    const browser = new Browser();
    browser.cookies.set('penstock_session', 'A'.repeat(43)); // what somebody else has planted
    await browser.signIn();
    const first = browser.cookies.get('penstock_session');
    await browser.signIn();
    const second = browser.cookies.get('penstock_session');
    assert.equal(new Set(['A'.repeat(43), first, second]).size, 3);
  });

  it('keeps no secret of an attempt where it could be read, and none after it', async () => {
    const browser = new Browser();
    const address = await browser.leave();
    const state = new URL(address).searchParams.get('state');
    const kept = JSON.stringify(await installation.rows('select * from penstock.sign_in_attempt'));
    assert.ok(!kept.includes(state) && !kept.includes(browser.cookies.get('penstock_sign_in')));
    await browser.comeBack(provider.authorise(address));
    await installation.execute("update penstock.sign_in_attempt set expires_at = now() - interval '1 second'");
    await new Browser().leave();
    const [{n}] = await installation.rows('select count(*)::int as n from penstock.sign_in_attempt');
    assert.equal(n, 1, 'those that are over are forgotten');
  });

  it('asks the provider what it is and for its keys no more than it has to', async () => {
    const before = ['/.well-known/openid-configuration', '/keys'].map((one) => provider.count(one));
    await new Browser().signIn();
    await new Browser().signIn();
    const now = ['/.well-known/openid-configuration', '/keys'].map((one) => provider.count(one));
    assert.deepEqual(now, before);
  });

  it('is done by two servers of one installation together', async () => {
    const second = Object.assign(new Installation(), {
      database: installation.database,
      folder: installation.folder,
      log: installation.log,
      starts: 100,
    });
    await second.start(settings);
    try {
      const browser = new Browser();
      const address = provider.authorise(await browser.leave());
      browser.url = second.url;
      const answer = await browser.comeBack(address);
      assert.equal(answer.status, 200, answer.text);
      assert.equal(browser.isSignedIn, true);
    } finally {
      await second.stop();
    }
  });
});

describe('a return that is not this browser\'s own, fresh one', () => {
  const isRefused = async (browser, target) => isRefusal(browser, await browser.get(target), 403);

  it('is refused with another browser\'s state', async () => {
    const attacker = new Browser();
    const stolen = provider.authorise(await attacker.leave());
    const victim = new Browser();
    await isRefused(victim, stolen.pathname + stolen.search); // has never begun
    await victim.leave();
    await isRefused(victim, stolen.pathname + stolen.search); // has begun one of its own
    assert.equal((await attacker.comeBack(stolen)).status, 200, 'nobody else has used it up');
  });

  it('is refused the second time', async () => {
    const browser = new Browser();
    const back = provider.authorise(await browser.leave());
    const cookie = browser.cookies.get('penstock_sign_in');
    assert.equal((await browser.comeBack(back)).status, 200);
    const again = new Browser();
    again.cookies.set('penstock_sign_in', cookie);
    await isRefused(again, back.pathname + back.search);
  });

  it('is refused after ten minutes', async () => {
    const browser = new Browser();
    const back = provider.authorise(await browser.leave());
    const [{s}] = await installation.rows(
      'select extract(epoch from max(expires_at) - now())::int as s from penstock.sign_in_attempt',
    );
    assert.ok(s > 500 && s <= 600, `${s} s`);
    await installation.execute("update penstock.sign_in_attempt set expires_at = now() - interval '1 second'");
    await isRefused(browser, back.pathname + back.search);
  });

  it('is refused without or with a made-up state or code', async () => {
    const browser = new Browser();
    await browser.leave();
    for (const query of ['', '?code=x', '?state=', `?code=x&state=${'A'.repeat(43)}`, "?code=x&state=' or 1=1"]) {
      await isRefused(browser, `/sign-in/return${query}`);
    }
    for (const answer of [{code: null}, {code: ''}, {code: 'c'.repeat(4097)}, {code: 'made-up'}]) {
      const another = new Browser();
      isRefusal(another, await another.signIn('', {answer}), 403);
    }
  });

  it('is refused where the person said no', async () => {
    const browser = new Browser();
    const answer = {code: null, error: 'access_denied', error_description: '<b>no</b>'};
    const page = await browser.signIn('', {answer});
    isRefusal(browser, page, 403);
    assert.doesNotMatch(page.text, /<b>|access_denied/);
  });

  it('is refused with the code of another sign-in (PKCE)', async () => {
    const one = new Browser();
    const other = new Browser();
    const code = provider.authorise(await one.leave()).searchParams.get('code');
    isRefusal(other, await other.signIn('', {answer: {code}}), 403);
  });

  it('is refused when another issuer, or none, comes with it (RFC 9207)', async () => {
    for (const iss of ['https://sso.elsewhere.example', `${provider.issuer}/`, '', null]) {
      const browser = new Browser();
      isRefusal(browser, await browser.signIn('', {answer: {iss}}), 502);
    }
  });
});

describe('the page after it', () => {
  it('is one of this server, whatever was asked for', async () => {
    for (const next of [
      'https://elsewhere.example/',
      '//elsewhere.example',
      '/\\elsewhere.example',
      '\\\\elsewhere.example',
      '/.//elsewhere.example/x',
      '/%2e%2e//elsewhere.example',
      'javascript:alert(1)',
      'elsewhere',
      '',
      '/sign-in',
      '/sign-in/single',
      `/${'x'.repeat(1001)}`,
    ]) {
      const {text} = await new Browser().signIn(`?next=${encodeURIComponent(next)}`);
      assert.match(text, /content="0; url=\/today"/, next);
      assert.doesNotMatch(text, /elsewhere/);
    }
    for (const next of ['/\t/elsewhere.example', '/\n/elsewhere.example', '\0//elsewhere.example']) {
      assert.equal((await new Browser().get(`/sign-in/single?next=${encodeURIComponent(next)}`)).status, 400);
    }
    const {text} = await new Browser().signIn(`?next=${encodeURIComponent('/today?a="><script>&b=\'')}`);
    assert.match(text, /url=\/today\?a=&quot;&gt;&lt;script&gt;&amp;b=&#39;"/);
  });

  it('cannot be chosen by who sends back', async () => {
    const browser = new Browser();
    const answer = {next: 'https://elsewhere.example/', redirect_uri: 'https://elsewhere.example/'};
    const {text} = await browser.signIn('', {answer});
    assert.match(text, /content="0; url=\/today"/);
    assert.doesNotMatch(text, /elsewhere/);
  });
});

/** The last failure that the log names. */
const lastFailure = () =>
  readFileSync(installation.log, 'utf8')
    .split('\n')
    .filter((line) => line.includes('single_sign_on_failed'))
    .map((line) => JSON.parse(line).detail)
    .at(-1);

const now = () => Math.floor(Date.now() / 1000);

/** What the provider does wrong once its own way is known, the status that people get, and what the log says. */
const MISBEHAVIOUR = {
  'a token with another nonce': [{claims: {nonce: 'A'.repeat(43)}}, 502, 'nonce is not'],
  'a token without a nonce': [{claims: {nonce: undefined}}, 502, 'nonce is not'],
  'a token for another client': [{claims: {aud: 'another'}}, 502, 'aud is not'],
  'a token for another client too': [{claims: {aud: ['penstock at tarn:valley', 'another']}}, 502, 'aud is not'],
  'a token of another issuer': [{claims: {iss: 'https://sso.elsewhere.example'}}, 502, 'iss is another'],
  'a token that has expired': [{claims: {exp: now() - 3600}}, 502, 'exp is'],
  'a token of tomorrow': [{claims: {iat: now() + 86400}}, 502, 'iat is'],
  'a token without a subject': [{claims: {sub: undefined}}, 502, 'sub is'],
  'a token that nobody signed': [{header: {alg: 'none'}}, 502, 'malformed'],
  'a token signed with its public key as the secret': [{header: {alg: 'HS256'}}, 502, 'alg is none of'],
  'a token signed with another key': [{key: strangeKey('k1')}, 502, 'signature is wrong'],
  'a token that is none': [{token: (response) => response.end('{"id_token":"e30.e30.e30"}')}, 502, 'alg is none of'],
  'no token': [{token: (response) => response.end('{"access_token":"x"}')}, 502, 'holds no ID token'],
  'no JSON': [{token: (response) => response.end('<html>')}, 502, 'holds no ID token'],
  'a redirect': [
    {token: (response) => response.writeHead(302, {location: 'http://127.0.0.1:1/'}).end('{"id_token":"e30.e30.e30"}')},
    502, 'answered 302',
  ],
  'status 500': [{token: (response) => response.writeHead(500).end('{}')}, 503, 'answered 500'],
  'an endless answer': [{token: (response) => response.end(`{"id_token":"${'A'.repeat(300 * 1024)}"}`)}, 503, 'longer than'],
  'a broken connection': [{token: (response) => response.destroy()}, 503, 'no answer'],
};

describe('a provider that answers with', () => {
  for (const [what, [wrong, status, reason]] of Object.entries(MISBEHAVIOUR)) {
    it(`${what} signs nobody in`, async () => {
      provider.behave(wrong);
      const browser = new Browser();
      const count = await sessions();
      const began = Date.now();
      isRefusal(browser, await browser.signIn(), status);
      assert.ok(lastFailure().includes(reason), lastFailure());
      assert.ok(Date.now() - began < 9000, 'it takes no longer than the limit');
      assert.equal(await sessions(), count);
      provider.behave({});
      await browser.signIn();
      assert.equal(browser.isSignedIn, true, 'and the next time it works');
    });
  }

  it('a new key is believed once its set has it', async () => {
    await new Browser().signIn();
    const before = provider.count('/keys');
    provider.rotate('k2');
    const browser = new Browser();
    await browser.signIn();
    assert.equal(browser.isSignedIn, true);
    assert.equal(provider.count('/keys'), before + 1);
    provider.behave({header: {kid: 'k3'}});
    for (const another of [new Browser(), new Browser()]) {
      isRefusal(another, await another.signIn(), 502);
    }
    assert.equal(provider.count('/keys'), before + 1, 'no more than once a minute');
  });
});

/** Restarts the server, so that it knows nothing of its provider. */
async function restart(more = {}) {
  await installation.stop();
  await installation.start({...settings, PENSTOCK_PORT: new URL(clinic.administrator.url).port, ...more});
}

describe('a provider that does not answer', () => {
  for (const endpoint of ['token', 'keys']) {
    it(`when it is asked for ${endpoint}, holds up the first, and is not asked again for 5 s`, async () => {
      await restart();
      provider.behave({[endpoint]: () => {}});
      const [first, second, third] = [new Browser(), new Browser(), new Browser()];
      const count = await sessions();
      let began = Date.now();
      isRefusal(first, await first.signIn(), 503);
      assert.ok(lastFailure().includes('no answer: Timeout'), lastFailure());
      assert.ok(Date.now() - began < 9000, 'it takes no longer than the limit');
      const asked = provider.count('/token');
      provider.behave({});
      began = Date.now();
      isRefusal(second, await second.signIn(), 503);
      assert.ok(Date.now() - began < 1000, 'the second need not wait');
      assert.equal(provider.count('/token'), asked);
      assert.equal(await sessions(), count);
      await new Promise((resolve) => setTimeout(resolve, 5000));
      await third.signIn();
      assert.equal(third.isSignedIn, true, 'and later it works');
    });
  }
});

describe('sign-ins that are begun without end', () => {
  const begun = async (browser) => (await browser.get('/sign-in/single')).status;

  it('make the network wait that begins them; those that end well do not count', async () => {
    for (let i = 0; i < 3; i++) {
      await new Browser().signIn();
    }
    for (let i = 0; i < 60; i++) {
      assert.equal(await begun(new Browser()), 303);
    }
    const browser = new Browser();
    const answer = await browser.get('/sign-in/single');
    isRefusal(browser, answer, 429);
    const wait = Number(answer.headers.get('retry-after'));
    assert.ok(wait > 0 && wait <= 600);
    await signIn(installation.url, user.username, user.password);
    await installation.execute('delete from penstock.attempt');
    assert.equal(await begun(browser), 303);
  });
});

describe('a provider that cannot be used', () => {
  for (const [what, [wrong, status]] of Object.entries({
    'because it says that it is another': [{configuration: {issuer: 'https://sso.elsewhere.example'}}, 502],
    'because it names no issuer': [{configuration: {issuer: undefined}}, 502],
    'without https': [{configuration: {token_endpoint: 'http://sso.elsewhere.example/token'}}, 502],
    'with keys in a file': [{configuration: {jwks_uri: 'file:///etc/passwd'}}, 502],
    'without the code flow': [{configuration: {response_types_supported: ['id_token']}}, 502],
    'without PKCE': [{configuration: {code_challenge_methods_supported: ['plain']}}, 502],
    'because its description is no JSON': [{discovery: (response) => response.end('<html>')}, 502],
    'because it answers 404': [{discovery: (response) => response.writeHead(404).end('{}')}, 503],
    'because it redirects': [
      {discovery: (response) => response.writeHead(301, {location: `${'http://127.0.0.1:1'}/x`}).end()},
      503,
    ],
    'because it says too much': [{discovery: (response) => response.end(`{"x":"${'y'.repeat(300 * 1024)}"}`)}, 503],
  })) {
    it(what, async () => {
      await restart();
      provider.behave(wrong);
      const browser = new Browser();
      isRefusal(browser, await browser.get('/sign-in/single'), status);
      const count = provider.count('/.well-known/openid-configuration');
      isRefusal(browser, await browser.get('/sign-in/single'), 503);
      assert.equal(provider.count('/.well-known/openid-configuration'), count, 'it is not asked again at once');
      await signIn(installation.url, user.username, user.password); // people get in without it
    });
  }

  it('because its keys are none', async () => {
    await restart();
    provider.behave({keys: (response) => response.end('{"keys":{}}')});
    const browser = new Browser();
    isRefusal(browser, await browser.signIn(), 502);
    provider.behave({});
    await browser.signIn();
    assert.equal(browser.isSignedIn, true, 'what was no key set is not kept');
  });

  it('leaves the others in peace while it is slow', async () => {
    await restart();
    provider.behave({discovery: () => {}});
    const slow = Array.from({length: 12}, () => new Browser().get('/sign-in/single'));
    await new Promise((resolve) => setTimeout(resolve, 200));
    const began = Date.now();
    await new Client(installation.url).get('/readyz');
    await clinic.room.get('/v1/patients');
    assert.ok(Date.now() - began < 2000, `others waited ${Date.now() - began} ms`);
    for (const answer of await Promise.all(slow)) {
      assert.equal(answer.status, 503);
    }
  });
});

describe('other ways to be a client', () => {
  it('the secret in the form, where the provider wants it there', async () => {
    provider.behave({configuration: {token_endpoint_auth_methods_supported: ['client_secret_post']}});
    await restart();
    const browser = new Browser();
    await browser.signIn();
    assert.equal(browser.isSignedIn, true);
  });

  it('no secret', async () => {
    provider.secret = null;
    await restart({PENSTOCK_OIDC_CLIENT_SECRET_FILE: ''});
    const browser = new Browser();
    await browser.signIn();
    provider.secret = CLIENT_SECRET;
    assert.equal(browser.isSignedIn, true);
    const another = new Browser();
    isRefusal(another, await another.signIn(), 502);
    await restart();
  });

  it('none at all, when there is no issuer', async () => {
    await restart({PENSTOCK_OIDC_ISSUER: ''});
    const stranger = new Client(installation.url);
    const {json} = await stranger.get('/v1/sign-in-methods');
    assert.deepEqual(json, {password: true, single_sign_on: null});
    await stranger.expect(404, 'GET', '/sign-in/single', {headers: {accept: 'text/html'}});
    await stranger.expect(404, 'GET', '/sign-in/return?code=x&state=y', {headers: {accept: 'text/html'}});
    await restart();
  });
});

/** A certificate that nobody has signed but itself; the names of its files. */
function makeCertificate(host) {
  const [key, cert] = ['key', 'cert'].map((kind) => path.join(installation.folder, `${host}-${kind}.pem`));
  const options = ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes', '-days', '2'];
  const names = ['-subj', `/CN=${host}`, '-addext', `subjectAltName=DNS:${host}`];
  execFileSync('openssl', ['req', '-x509', ...options, ...names, '-keyout', key, '-out', cert], {stdio: 'pipe'});
  return {key, cert};
}

describe('a provider with TLS', () => {
  for (const [what, host, trusted, status] of [
    ['is believed when its certificate is trusted', 'localhost', true, 200],
    ['is not believed when it is not', 'localhost', false, 503],
    ['is not believed when its certificate is another host\'s', 'elsewhere.example', true, 503],
  ]) {
    it(what, async () => {
      const files = makeCertificate(host);
      const tls = {key: readFileSync(files.key), cert: readFileSync(files.cert)};
      const other = await Provider.start({host: 'localhost', secret: null, tls});
      try {
        await restart({
          ...other.settings(),
          PENSTOCK_OIDC_CLIENT_SECRET_FILE: '',
          PENSTOCK_OIDC_CA: trusted ? files.cert : '',
        });
        const browser = new Browser();
        const answer = await browser.get('/sign-in/single');
        if (status !== 200) {
          isRefusal(browser, answer, status);
          assert.match(lastFailure(), /certificate|SSL/);
          return;
        }
        // It knows nobody here; but the way there and back is gone.
        const back = await browser.comeBack(other.authorise(answer.headers.get('location')));
        isRefusal(browser, back, 403);
        assert.match(lastFailure(), /no active account/);
      } finally {
        await other.stop();
        await restart();
      }
    });
  }
});

describe('a subject', () => {
  it('without an account is told so, and gets none', async () => {
    const browser = new Browser();
    provider.subject = 'nobody-here';
    await installation.unchanged(async () => isRefusal(browser, await browser.signIn(), 403));
  });

  it('of another issuer is another', async () => {
    await clinic.addUser(['room'], {single_sign_on: {issuer: 'https://sso.elsewhere.example', subject: 'lee-3'}});
    const browser = new Browser();
    provider.subject = 'lee-3';
    isRefusal(browser, await browser.signIn(), 403);
  });

  it('does not sign in with an account that is not active', async () => {
    const identity = {issuer: provider.issuer, subject: 'sam-9'};
    const {id, etag} = await clinic.addUser(['room'], {single_sign_on: identity});
    provider.subject = 'sam-9';
    const browser = new Browser();
    await browser.signIn();
    assert.equal(browser.isSignedIn, true);
    await clinic.administrator.patch(`/v1/users/${id}`, {active: false}, etag);
    const later = new Browser();
    isRefusal(later, await later.signIn(), 403);
    const cookie = `penstock_session=${browser.cookies.get('penstock_session')}`;
    await Client.withSession(installation.url, cookie).expect(401, 'GET', '/v1/sessions/current');
  });

  it('belongs to one account of the installation', async () => {
    const other = await Clinic.open(installation, 'Another clinic');
    const {id, etag} = await other.addUser(['room']);
    const identity = {issuer: provider.issuer, subject: 'kim-17'};
    await other.administrator.expect(409, 'PATCH', `/v1/users/${id}`, {
      json: {single_sign_on: identity},
      headers: {'if-match': etag},
    });
    await other.administrator.expect(409, 'POST', '/v1/users', {
      json: {username: 'second-kim', display_name: 'Kim', roles: ['room'], single_sign_on: identity},
    });
    await new Client(installation.url).expect(401, 'POST', '/v1/sessions', {
      json: {username: 'second-kim', password: PASSWORD},
    });
  });
});

describe('an account', () => {
  const identity = (subject) => ({issuer: provider.issuer, subject});

  it('says who it is at the provider', async () => {
    const {json} = await clinic.administrator.get(`/v1/users/${user.id}`);
    assert.deepEqual(json.single_sign_on, identity('kim-17'));
    const plain = await clinic.addUser(['room']);
    assert.equal((await clinic.administrator.get(`/v1/users/${plain.id}`)).json.single_sign_on, null);
  });

  it('needs no password then, and no password opens it', async () => {
    const {password: _, ...fields} = {
      username: 'without-password',
      display_name: 'No password',
      roles: ['clinician'],
      single_sign_on: identity('pat-4'),
    };
    const {json} = await clinic.administrator.post('/v1/users', fields);
    provider.subject = 'pat-4';
    const browser = new Browser();
    await browser.signIn();
    assert.equal(browser.isSignedIn, true);
    for (const password of ['', ' ', PASSWORD]) {
      const {status} = await new Client(installation.url).request('POST', '/v1/sessions', {
        json: {username: json.username, password},
      });
      assert.ok([401, 422].includes(status), `${status}`);
    }
    await clinic.administrator.expect(422, 'POST', '/v1/users', {
      json: {username: 'nothing', display_name: 'Nothing', roles: ['room']},
    });
  });

  it('gets and loses its identity by a patch, which ends its sessions', async () => {
    const account = await clinic.addUser(['room']);
    const target = `/v1/users/${account.id}`;
    let {headers} = await clinic.administrator.patch(target, {single_sign_on: identity('jo-5')}, account.etag);
    provider.subject = 'jo-5';
    const browser = new Browser();
    await browser.signIn();
    const client = Client.withSession(installation.url, `penstock_session=${browser.cookies.get('penstock_session')}`);
    await client.get('/v1/sessions/current');
    // Nothing new, nothing ends.
    ({headers} = await clinic.administrator.patch(target, {single_sign_on: identity('jo-5')}, headers.get('etag')));
    ({headers} = await clinic.administrator.patch(target, {display_name: 'Jo'}, headers.get('etag')));
    await client.get('/v1/sessions/current');
    await clinic.administrator.patch(target, {single_sign_on: null}, headers.get('etag'));
    await client.expect(401, 'GET', '/v1/sessions/current');
    const later = new Browser();
    isRefusal(later, await later.signIn(), 403);
    await signIn(installation.url, account.username, account.password);
  });

  it('is refused an identity that cannot be one, every fault named', async () => {
    for (const [value, places] of [
      [{}, ['/single_sign_on/issuer', '/single_sign_on/subject']],
      [{issuer: 'http://sso.elsewhere.example', subject: 'x'}, ['/single_sign_on/issuer']],
      [{issuer: 'sso', subject: 'ä'}, ['/single_sign_on/issuer', '/single_sign_on/subject']],
      [{issuer: provider.issuer, subject: 's'.repeat(256)}, ['/single_sign_on/subject']],
      [{issuer: provider.issuer, subject: 'x', more: 1}, ['/single_sign_on/more']],
      ['x', ['/single_sign_on']],
    ]) {
      const answer = await clinic.administrator.expect(422, 'PATCH', `/v1/users/${user.id}`, {
        json: {single_sign_on: value},
        headers: {'if-match': user.etag},
      });
      assert.deepEqual(pointers(answer), places);
    }
  });
});

describe('settings of single sign-on', () => {
  it('that make no sense are refused by name', async () => {
    for (const [name, value] of [
      ['PENSTOCK_OIDC_ISSUER', 'http://sso.elsewhere.example'],
      ['PENSTOCK_OIDC_ISSUER', 'https://user@sso.elsewhere.example'],
      ['PENSTOCK_OIDC_ISSUER', 'https://sso.elsewhere.example/?x'],
      ['PENSTOCK_OIDC_ISSUER', 'ftp://127.0.0.1'],
      ['PENSTOCK_OIDC_ISSUER', 'http://127.0.0.1.elsewhere.example'],
      ['PENSTOCK_OIDC_CLIENT_ID', ''],
      ['PENSTOCK_OIDC_CLIENT_SECRET_FILE', '/nowhere'],
      ['PENSTOCK_PUBLIC_URL', ''],
      ['PENSTOCK_PUBLIC_URL', 'http://penstock.example'],
      ['PENSTOCK_PUBLIC_URL', 'https://penstock.example/below'],
    ]) {
      const second = Object.assign(new Installation(), {
        database: installation.database,
        folder: installation.folder,
        log: path.join(installation.folder, 'refused.log'),
        starts: 200,
      });
      await assert.rejects(second.start({...settings, [name]: value}), (error) => error.message.includes(name), value);
    }
  });
});
