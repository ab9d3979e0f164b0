// The server over TLS, and behind a proxy that speaks TLS for it: certificates that change under it,
// cookies, origins, and who may say what about a client.
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {createHash, X509Certificate} from 'node:crypto';
import {chmodSync, copyFileSync, mkdirSync, readFileSync, writeFileSync} from 'node:fs';
import https from 'node:https';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, PASSWORD, signIn} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';

const PATIENCE_MS = 20_000;

let installation;
let clinic;
let files;

before(async () => {
  installation = await Installation.create('tls');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the certificates');
  files = path.join(installation.folder, 'tls');
  mkdirSync(files);
  for (const name of ['first', 'second']) {
    makePair(name);
  }
  use('first');
});

after(() => installation.remove());

const file = (name) => path.join(files, name);

/** A certificate that is its own authority, for the address of the tests. */
function makePair(name) {
  execFileSync('openssl', [
    ...['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes', '-days', '30'],
    ...['-subj', `/CN=${name}`, '-addext', 'subjectAltName=IP:127.0.0.1'],
    ...['-keyout', file(`${name}.key`), '-out', file(`${name}.pem`)],
  ], {stdio: 'pipe'});
  chmodSync(file(`${name}.key`), 0o600);
}

/** A certificate for a client, signed by an authority of that name, which is made with it. */
function makeClientPair(name, authority) {
  const key = ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes'];
  const openssl = (...options) => execFileSync('openssl', options, {stdio: 'pipe'});
  const [authorityKey, authorityPem] = [file(`${authority}.key`), file(`${authority}.pem`)];
  openssl('req', '-x509', ...key, '-days', '30', '-subj', `/CN=${authority}`, '-keyout', authorityKey, '-out', authorityPem);
  openssl('req', ...key, '-subj', `/CN=${name}`, '-keyout', file(`${name}.key`), '-out', file(`${name}.csr`));
  writeFileSync(file('client.ext'), 'extendedKeyUsage=clientAuth\n');
  openssl(
    ...['x509', '-req', '-in', file(`${name}.csr`), '-CA', authorityPem, '-CAkey', authorityKey, '-CAcreateserial'],
    ...['-days', '30', '-extfile', file('client.ext'), '-out', file(`${name}.pem`)],
  );
}

const shownBy = (name) => ({cert: readFileSync(file(`${name}.pem`)), key: readFileSync(file(`${name}.key`))});

const sha256Of = (name) => createHash('sha256').update(new X509Certificate(readFileSync(file(`${name}.pem`))).raw).digest('hex');

/** Puts a pair where the server looks. */
function use(certificate, key = certificate) {
  copyFileSync(file(`${certificate}.pem`), file('server.pem'));
  copyFileSync(file(`${key}.key`), file('server.key'));
  chmodSync(file('server.key'), 0o600);
}

const settings = () => ({PENSTOCK_TLS_CERTIFICATE: file('server.pem'), PENSTOCK_TLS_KEY: file('server.key')});

/** One request over TLS; both certificates are trusted, and the answer says which was shown. */
function ask(method, target, {headers = {}, json, agent = false, shown = {}} = {}) {
  return new Promise((resolve, reject) => {
    const request = https.request(
      installation.url + target,
      {
        method,
        agent,
        ca: ['first', 'second'].map((name) => readFileSync(file(`${name}.pem`))),
        headers: json === undefined ? headers : {'content-type': 'application/json', ...headers},
        timeout: PATIENCE_MS,
        ...shown,
      },
      (response) => {
        const parts = [];
        const certificate = response.socket.getPeerCertificate()?.subject?.CN;
        response.on('data', (part) => parts.push(part));
        response.on('end', () =>
          resolve({
            status: response.statusCode,
            headers: response.headers,
            text: Buffer.concat(parts).toString(),
            certificate,
            port: response.socket?.localPort ?? request.socket.localPort,
          }),
        );
      },
    );
    request.on('error', reject);
    request.on('timeout', () => request.destroy(new Error('no answer in time')));
    request.end(json === undefined ? undefined : JSON.stringify(json));
  });
}

/** Sends SIGHUP and waits for what the log then says. */
async function reload(event) {
  const count = () => readFileSync(installation.log, 'utf8').split(`"event":"${event}"`).length;
  const before = count();
  installation.process.kill('SIGHUP');
  const deadline = Date.now() + PATIENCE_MS;
  while (count() === before) {
    assert.ok(Date.now() < deadline, `no ${event} in the log`);
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
}

async function restart(more) {
  await installation.stop();
  await installation.start(more);
}

describe('a server with a certificate', () => {
  before(() => restart(settings()));

  it('speaks TLS and says so', async () => {
    assert.match(installation.url, /^https:/);
    const answer = await ask('GET', '/healthz');
    assert.equal(answer.status, 200);
    assert.equal(answer.certificate, 'first');
    assert.match(answer.headers['strict-transport-security'], /^max-age=\d{8}/);
    await assert.rejects(new Client(installation.url.replace('https', 'http')).get('/healthz'));
  });

  it('gives Secure cookies, also on a loopback address, and takes them from its own pages alone', async () => {
    const signed = await ask('POST', '/v1/sessions', {json: {username: clinic.username, password: PASSWORD}});
    assert.equal(signed.status, 201, signed.text);
    const [cookie] = signed.headers['set-cookie'];
    assert.match(cookie, /; Secure(;|$)/);
    const post = async (origin) => {
      const headers = {cookie: cookie.split(';')[0], origin};
      return (await ask('POST', '/v1/tokens', {headers, json: {name: 'one', roles: ['room']}})).status;
    };
    assert.equal(await post(installation.url), 201);
    assert.equal(await post(installation.url.replace('https', 'http')), 403);
    assert.equal(await post('https://elsewhere.example'), 403);
  });

  it('takes a new certificate at SIGHUP and keeps connections; a broken one changes nothing', async () => {
    const agent = new https.Agent({keepAlive: true, maxSockets: 1});
    const {port} = await ask('GET', '/healthz', {agent});
    use('second');
    await reload('reloaded');
    assert.equal((await ask('GET', '/healthz')).certificate, 'second');
    assert.equal((await ask('GET', '/healthz', {agent})).port, port, 'the connection is the same');
    const broken = {
      'another key': () => use('first', 'second'),
      'no certificate': () => writeFileSync(file('server.pem'), 'nonsense'),
      'a key that all may read': () => chmodSync(file('server.key'), 0o644),
    };
    for (const breakIt of Object.values(broken)) {
      use('first');
      breakIt();
      await reload('reload_failed');
      assert.equal((await ask('GET', '/healthz')).certificate, 'second');
    }
    assert.equal((await ask('GET', '/healthz', {agent})).port, port);
    use('first');
    await reload('reloaded');
    assert.equal((await ask('GET', '/healthz')).certificate, 'first');
    agent.destroy();
  });
});

describe('a server without', () => {
  it('minds no SIGHUP, and says nothing of TLS to browsers', async () => {
    await restart();
    await reload('reloaded');
    const {headers} = await new Client(installation.url).get('/healthz');
    assert.equal(headers.get('strict-transport-security'), null);
  });
});

describe('a proxy', () => {
  const outside = {'x-forwarded-proto': 'https', 'x-forwarded-host': 'clinic.example', 'x-forwarded-for': '192.0.2.1'};

  /** Whether the cookie is Secure, and whether a change from the page at clinic.example is taken. */
  async function findings() {
    const answer = await new Client(installation.url).expect(201, 'POST', '/v1/sessions', {
      json: {username: clinic.username, password: PASSWORD},
      headers: outside,
    });
    const cookie = answer.headers.get('set-cookie');
    const changed = await new Client(installation.url).request('POST', '/v1/tokens', {
      json: {name: 'two', roles: ['room']},
      headers: {...outside, cookie: cookie.split(';')[0], origin: 'https://clinic.example'},
    });
    return {
      secure: /; Secure(;|$)/.test(cookie),
      hsts: answer.headers.get('strict-transport-security') !== null,
      status: changed.status,
    };
  }

  it('is believed when it is one of those that are trusted', async () => {
    await restart({PENSTOCK_TRUSTED_PROXIES: '10.0.0.0/8, 127.0.0.1'});
    assert.deepEqual(await findings(), {secure: true, hsts: true, status: 201});
    const plain = await signIn(installation.url, clinic.username, PASSWORD);
    assert.doesNotMatch(plain.answer.headers.get('set-cookie'), /Secure/);
  });

  it('is not believed otherwise', async () => {
    for (const proxies of ['', '10.0.0.0/8', '127.0.0.2']) {
      await restart({PENSTOCK_TRUSTED_PROXIES: proxies});
      assert.deepEqual(await findings(), {secure: false, hsts: false, status: 403});
    }
  });

  it('does not make cookies Secure where the setting says no', async () => {
    await restart({PENSTOCK_TRUSTED_PROXIES: '127.0.0.1', PENSTOCK_SECURE_COOKIES: 'no'});
    assert.deepEqual(await findings(), {secure: false, hsts: true, status: 201});
  });
});

describe('a token that is bound to a certificate', () => {
  before(async () => {
    use('first');
    makeClientPair('room', 'authority');
    makeClientPair('stranger', 'another authority');
    await restart({...settings(), PENSTOCK_TLS_CLIENT_CA: file('authority.pem')});
  });

  it('works where that certificate is shown, and nowhere else', async () => {
    const signed = await ask('POST', '/v1/sessions', {json: {username: clinic.username, password: PASSWORD}});
    const headers = {cookie: signed.headers['set-cookie'][0].split(';')[0], origin: installation.url};
    const make = async (name) => {
      const json = {name, roles: ['room'], certificate_sha256: sha256Of(name)};
      return JSON.parse((await ask('POST', '/v1/tokens', {headers, json})).text).token;
    };
    const get = async (token, shown) =>
      (await ask('GET', '/v1/patients', {headers: {authorization: `Bearer ${token}`}, shown})).status;
    const [bound, never] = [await make('room'), await make('stranger')];
    assert.equal(await get(bound, shownBy('room')), 200);
    assert.equal(await get(bound, {}), 401);
    assert.equal(await get(bound, shownBy('stranger')), 401);
    assert.equal(await get(never, shownBy('stranger')), 401, 'its authority is not ours');
    assert.equal(await get(never, shownBy('room')), 401);
  });
});
