// A client of the API that checks every answer against the documented contract.
import assert from 'node:assert/strict';
import {checkAnswer} from './contract.mjs';

function parsed(text, mediaType) {
  return /[/+]json/.test(mediaType ?? '') && text !== '' ? JSON.parse(text) : undefined;
}

export class Client {
  /** Sends a request and may send it again: (send) => answer. Once, unless somebody sets another one. */
  static persist = (send) => send();

  /** `headers` go with every request: the credential. */
  constructor(url, headers = {}) {
    this.url = url;
    this.headers = headers;
  }

  static withToken(url, token) {
    return new Client(url, {authorization: `Bearer ${token}`});
  }

  /** The session of a page of this server. */
  static withSession(url, cookie) {
    return new Client(url, {cookie, origin: url});
  }

  /** Sends a request as it is said; the answer, checked.
   *
   * options: `json` (a value to send), or `body` (text or bytes), `headers`. */
  async request(method, target, {json, body, headers = {}} = {}) {
    const sent = {...this.headers, ...headers};
    let content = body;
    if (json !== undefined) {
      content = JSON.stringify(json);
      sent['content-type'] ??= 'application/json';
    }
    const answer = await Client.persist(() => this.send(method, target, sent, content));
    checkAnswer(answer);
    return answer;
  }

  async send(method, target, headers, body) {
    const began = performance.now();
    const response = await fetch(this.url + target, {method, headers, body, redirect: 'manual'});
    const text = await response.text();
    return {
      ms: performance.now() - began,
      method,
      path: new URL(this.url + target).pathname,
      what: `${method} ${target}: ${response.status}`,
      status: response.status,
      headers: response.headers,
      text,
      json: parsed(text, response.headers.get('content-type')),
    };
  }

  /** The same, and the status must be `status`. */
  async expect(status, method, target, options = {}) {
    const answer = await this.request(method, target, options);
    assert.equal(answer.status, status, `${answer.what}, expected ${status}: ${answer.text.slice(0, 1000)}`);
    return answer;
  }

  async get(target, headers = {}) {
    return this.expect(200, 'GET', target, {headers});
  }

  async post(target, json, headers = {}) {
    return this.expect(201, 'POST', target, {json, headers});
  }

  async put(target, json, etag) {
    return this.expect(200, 'PUT', target, {json, headers: {'if-match': etag}});
  }

  async patch(target, json, etag) {
    return this.expect(200, 'PATCH', target, {
      json,
      headers: {'if-match': etag, 'content-type': 'application/merge-patch+json'},
    });
  }
}

/** The pointers of a problem, sorted. */
export const pointers = (answer) => (answer.json.errors ?? []).map((error) => error.pointer).sort();
