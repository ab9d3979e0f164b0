// The ways of sending a recording.
import http from 'node:http';
import {checkAnswer} from '../../api/lib/contract.mjs';

const PATIENCE_MS = 60_000;

/** The connection ended before the whole answer was there. */
export class Broken extends Error {}

/** One request on a connection of its own; the answer, checked against the contract. */
export function request(url, method, target, {headers = {}, body} = {}) {
  return new Promise((resolve, reject) => {
    const fail = (error) => reject(new Broken(error.message));
    const sent = http.request(url + target, {method, headers, agent: false, timeout: PATIENCE_MS});
    sent.on('error', fail);
    sent.on('timeout', () => sent.destroy(new Error(`no answer for ${PATIENCE_MS / 1000} s`)));
    sent.on('response', (response) => {
      const chunks = [];
      response.on('error', fail);
      response.on('aborted', () => fail(new Error('cut off in the answer')));
      response.on('data', (chunk) => chunks.push(chunk));
      response.on('end', () => {
        if (!response.complete) {
          return;
        }
        try {
          resolve(answerOf(response, method, target, Buffer.concat(chunks).toString()));
        } catch (error) {
          reject(error);
        }
      });
    });
    sent.end(body);
  });
}

function answerOf(response, method, target, text) {
  const answer = {
    method,
    path: target.split('?')[0],
    what: `${method} ${target}: ${response.statusCode}`,
    status: response.statusCode,
    headers: new Headers(Object.entries(response.headers).map(([name, value]) => [name, String(value)])),
    text,
    json: /json/.test(response.headers['content-type'] ?? '') && text !== '' ? JSON.parse(text) : undefined,
  };
  checkAnswer(answer);
  return answer;
}

/** The whole recording in one request. */
function whole(url, token, upload) {
  return request(url, 'POST', `/v1/studies/${upload.studyId}/recordings`, {
    headers: {
      authorization: `Bearer ${token}`,
      'content-type': 'application/json',
      'content-length': Buffer.byteLength(upload.body),
      'idempotency-key': upload.key,
    },
    body: upload.body,
  });
}

/** A further way of sending joins here; every part of these tests then uses it for its share of the uploads.
 *
 * A way is `async (url, token, upload)`. It gives the answer of 201 that acknowledges the whole upload,
 * with `json.recording` and `json.analysis`; or the first answer of another status; or throws Broken.
 * It repeats nothing by itself: it is called again with the same upload until that is acknowledged,
 * and may keep in the upload what it needs to go on where it was. */
export const WAYS = [whole];
