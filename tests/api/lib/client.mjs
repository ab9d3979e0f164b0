// A client of the API that checks every answer against the documented contract.
import assert from 'node:assert/strict';
import {checkAnswer} from './contract.mjs';

function parsed(text, mediaType) {
  return /[/+]json/.test(mediaType ?? '') && text !== '' ? JSON.parse(text) : undefined;
}

export class Client {
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
    const response = await fetch(this.url + target, {method, headers: sent, body: content, redirect: 'manual'});
    const text = await response.text();
    const answer = {
      method,
      path: new URL(this.url + target).pathname,
      what: `${method} ${target}: ${response.status}`,
      status: response.status,
      headers: response.headers,
      text,
      json: parsed(text, response.headers.get('content-type')),
    };
    checkAnswer(answer);
    return answer;
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
