// A sign-in provider (OpenID Connect) that does what it should, or whatever a test asks of it.
import assert from 'node:assert/strict';
import {createHash, createHmac, generateKeyPairSync, randomBytes, sign} from 'node:crypto';
import {once} from 'node:events';
import http from 'node:http';
import https from 'node:https';

export const CLIENT_ID = 'penstock at tarn:valley';
export const CLIENT_SECRET = 'wet/otters+100%&more';

const base64url = (value) => Buffer.from(typeof value === 'string' ? value : JSON.stringify(value)).toString('base64url');

const newKey = (kid) => {
  const {publicKey, privateKey} = generateKeyPairSync('rsa', {modulusLength: 2048});
  return {kid, privateKey, jwk: {...publicKey.export({format: 'jwk'}), kid, use: 'sig', alg: 'RS256'}};
};

/** As a form encodes it: what Basic authentication of RFC 6749, section 2.3.1, joins. */
const formDecoded = (text) => decodeURIComponent(text.replaceAll('+', ' '));

export class Provider {
  /** `secret` null: the client is a public one. `host` stands in its addresses. `tls`: {key, cert}. */
  static async start({secret = CLIENT_SECRET, host = '127.0.0.1', tls = null} = {}) {
    const provider = new Provider();
    Object.assign(provider, {secret, key: newKey('k1'), codes: new Map(), asked: [], subject: 'kim-17'});
    provider.behave({});
    const serve = (request, response) => void provider.serve(request, response);
    provider.server = tls === null ? http.createServer(serve) : https.createServer(tls, serve);
    provider.server.listen(0, '127.0.0.1');
    await once(provider.server, 'listening');
    provider.issuer = `${tls === null ? 'http' : 'https'}://${host}:${provider.server.address().port}/realm`;
    return provider;
  }

  /** What it does otherwise than it should, from now on. `claims` and `header` go over those of the token;
   * `configuration` over what it says of itself; `keys`, `token`: a function that answers in its place. */
  behave(wrong) {
    this.wrong = {claims: {}, header: {}, configuration: {}, ...wrong};
  }

  rotate(kid) {
    this.key = newKey(kid);
  }

  settings(more = {}) {
    return {PENSTOCK_OIDC_ISSUER: this.issuer, PENSTOCK_OIDC_CLIENT_ID: CLIENT_ID, ...more};
  }

  async stop() {
    this.server.closeAllConnections?.();
    this.server.close();
    await once(this.server, 'close');
  }

  /** How often a path below the issuer was asked for. */
  count(path) {
    return this.asked.filter((one) => one === path).length;
  }

  configuration() {
    return {
      issuer: this.issuer,
      authorization_endpoint: `${this.issuer}/authorise?tenant=tarn`,
      token_endpoint: `${this.issuer}/token`,
      jwks_uri: `${this.issuer}/keys`,
      response_types_supported: ['code'],
      code_challenge_methods_supported: ['S256'],
      authorization_response_iss_parameter_supported: true,
      ...this.wrong.configuration,
    };
  }

  async serve(request, response) {
    const path = new URL(request.url, this.issuer).pathname.replace('/realm', '');
    this.asked.push(path);
    const json = (status, value) => {
      response.writeHead(status, {'content-type': 'application/json'});
      response.end(JSON.stringify(value));
    };
    if (path === '/.well-known/openid-configuration') {
      return this.wrong.discovery ? this.wrong.discovery(response) : json(200, this.configuration());
    }
    if (path === '/keys') {
      return this.wrong.keys ? this.wrong.keys(response) : json(200, {keys: [this.key.jwk]});
    }
    if (path === '/token' && request.method === 'POST') {
      return this.wrong.token ? this.wrong.token(response) : this.exchange(request, json);
    }
    if (path === '/authorise') {
      response.writeHead(303, {location: this.authorise(new URL(request.url, this.issuer).href).href});
      return response.end();
    }
    return json(404, {});
  }

  /** What happens in the browser at the provider: the person says yes. Where it is sent back to. */
  authorise(address, {answer = {}} = {}) {
    const asked = new URL(address).searchParams;
    assert.ok(address.startsWith(`${this.issuer}/authorise?tenant=tarn&`), address);
    assert.equal(asked.get('response_type'), 'code');
    assert.equal(asked.get('client_id'), CLIENT_ID);
    assert.ok(asked.get('scope').split(' ').includes('openid'));
    assert.equal(asked.get('code_challenge_method'), 'S256');
    for (const name of ['state', 'nonce']) {
      assert.match(asked.get(name), /^[A-Za-z0-9_-]{43,100}$/, name); // 256 bits at least
    }
    assert.match(asked.get('code_challenge'), /^[A-Za-z0-9_-]{43}$/);
    const code = randomBytes(16).toString('base64') + '&=';
    this.codes.set(code, {
      nonce: asked.get('nonce'),
      challenge: asked.get('code_challenge'),
      redirectUri: asked.get('redirect_uri'),
    });
    const back = new URL(asked.get('redirect_uri'));
    for (const [name, value] of Object.entries({code, state: asked.get('state'), iss: this.issuer, ...answer})) {
      if (value !== null) {
        back.searchParams.set(name, value);
      }
    }
    return back;
  }

  clientIsRight(request, form) {
    if (this.secret === null) {
      return request.headers.authorization === undefined && form.get('client_id') === CLIENT_ID;
    }
    if (this.wrong.configuration.token_endpoint_auth_methods_supported?.includes('client_secret_post')) {
      return form.get('client_id') === CLIENT_ID && form.get('client_secret') === this.secret;
    }
    const [scheme, credentials] = (request.headers.authorization ?? '').split(' ');
    const [id, secret] = Buffer.from(credentials ?? '', 'base64').toString().split(':').map(formDecoded);
    return scheme === 'Basic' && id === CLIENT_ID && secret === this.secret && !form.has('client_secret');
  }

  async exchange(request, json) {
    let body = '';
    for await (const part of request) {
      body += part;
    }
    const form = new URLSearchParams(body);
    const kept = this.codes.get(form.get('code'));
    this.codes.delete(form.get('code'));
    if (!this.clientIsRight(request, form)) {
      return json(401, {error: 'invalid_client'});
    }
    const challenge = createHash('sha256').update(form.get('code_verifier') ?? '').digest('base64url');
    if (
      form.get('grant_type') !== 'authorization_code' ||
      kept === undefined ||
      kept.challenge !== challenge ||
      kept.redirectUri !== form.get('redirect_uri')
    ) {
      return json(400, {error: 'invalid_grant'});
    }
    return json(200, {access_token: 'unused', token_type: 'Bearer', expires_in: 300, id_token: this.idToken(kept.nonce)});
  }

  idToken(nonce) {
    const now = Math.floor(Date.now() / 1000);
    const header = {alg: 'RS256', typ: 'JWT', kid: this.key.kid, ...this.wrong.header};
    const claims = {
      iss: this.issuer,
      sub: this.subject,
      aud: CLIENT_ID,
      exp: now + 300,
      iat: now,
      nonce,
      ...this.wrong.claims,
    };
    const text = `${base64url(header)}.${base64url(claims)}`;
    return `${text}.${this.signature(header, text)}`;
  }

  signature(header, text) {
    switch (header.alg) {
      case 'none':
        return '';
      case 'HS256':
        return createHmac('sha256', JSON.stringify(this.key.jwk)).update(text).digest('base64url');
      default:
        return sign('sha256', Buffer.from(text), (this.wrong.key ?? this.key).privateKey).toString('base64url');
    }
  }
}

/** A key that the provider does not publish, with the name of the one that it does. */
export const strangeKey = (kid) => newKey(kid);
