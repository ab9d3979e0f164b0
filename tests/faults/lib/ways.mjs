// The ways of sending a recording.
import http from 'node:http';
import {checkAnswer} from '../../api/lib/contract.mjs';
import {cut, durationOf, openingOf, random, shuffled} from '../../api/lib/pieces.mjs';

const PATIENCE_MS = 60_000;
const PIECES = 3;

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

function sendJson(url, token, method, target, body, headers = {}) {
  return request(url, method, target, {
    headers: {
      authorization: `Bearer ${token}`,
      'content-type': 'application/json',
      'content-length': Buffer.byteLength(body),
      ...headers,
    },
    body,
  });
}

/** The whole recording in one request. */
export function whole(url, token, upload) {
  const target = `/v1/studies/${upload.studyId}/recordings`;
  return sendJson(url, token, 'POST', target, upload.body, {'idempotency-key': upload.key});
}

/** What is still to be sent: the pieces in any order, and one of them twice. */
function planOf({studyId, number, body}) {
  const document = JSON.parse(body);
  const pieces = cut(document, durationOf(document) / PIECES);
  const next = random(number);
  const numbers = [...pieces.keys()];
  return {
    opening: JSON.stringify(openingOf(studyId, document, {id: document.id})),
    bodies: pieces.map((piece) => JSON.stringify(piece)),
    numbers: shuffled([...numbers, shuffled(numbers, next)[0]], next),
    completion: JSON.stringify({chunks: pieces.length}),
  };
}

/** The recording is opened, sent in pieces and completed. What was acknowledged is not sent again, but for
 * the piece that comes twice. Without an id of the client's the key alone tells that it is open already. */
async function inPieces(url, token, upload) {
  upload.plan ??= planOf(upload);
  const {plan} = upload;
  if (plan.id === undefined) {
    const key = {'idempotency-key': upload.key};
    const opened = await sendJson(url, token, 'POST', '/v1/recordings', plan.opening, key);
    if (opened.status !== 200 && opened.status !== 201) {
      return opened;
    }
    plan.id = opened.json.id;
  }
  while (plan.numbers.length > 0) {
    const [number] = plan.numbers;
    const target = `/v1/recordings/${plan.id}/chunks/${number}`;
    const taken = await sendJson(url, token, 'PUT', target, plan.bodies[number]);
    if (taken.status !== 200) {
      return taken;
    }
    plan.numbers.shift();
  }
  return sendJson(url, token, 'POST', `/v1/recordings/${plan.id}/completion`, plan.completion);
}

/** Whether a way's answer acknowledges the whole upload. */
export const isAcknowledgement = ({status, json}) =>
  (status === 200 || status === 201) && json.recording !== undefined && json.analysis !== undefined;

/** A further way of sending joins here; every part of these tests then uses it for its share of the uploads.
 *
 * A way is `async (url, token, upload)`. It gives the answer that acknowledges the whole upload, with
 * `json.recording` and `json.analysis`; or the first answer that refuses a part of it; or throws Broken.
 * It repeats nothing by itself: it is called again with the same upload until that is acknowledged,
 * and may keep in the upload what it needs to go on where it was. One that stands here more often gets a
 * larger share; the length of the list is odd, because every second upload has an id, and each way is to
 * have both. */
export const WAYS = [whole, whole, inPieces, whole, whole];
