// Rooms at work, as seen from outside. Prints lines "name value"; milliseconds unless the name says otherwise.
//
//   rooms.mjs pieces FILE            a recording in pieces: the opening on the first line, then a piece a line
//   rooms.mjs clinic BODY PIECES ROOMS UPLOADS SECONDS
//       A summary again and again by itself (alone-*), while ROOMS rooms upload BODY, UPLOADS times each
//       (busy-*, rooms-*), and while ROOMS rooms send a piece of one second every second for SECONDS and
//       WATCHERS of them are watched (live-*, watch-*).
//
// PENSTOCK_LOAD_URL, _TOKEN, _PATIENT, _STUDY: the server, a token, a patient, a study whose summary is read.
import {randomUUID} from 'node:crypto';
import {readFileSync} from 'node:fs';
import http from 'node:http';

const WATCHERS = 4;
const SUMMARY_PAUSE_MS = 5;
const ALONE_MS = 1500;
const TRIES = 50;
const {PENSTOCK_LOAD_URL: url, PENSTOCK_LOAD_TOKEN: token, PENSTOCK_LOAD_PATIENT: patient,
  PENSTOCK_LOAD_STUDY: readStudy} = process.env;

const now = () => performance.now();
const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
const connection = () => new http.Agent({keepAlive: true, maxSockets: 1});

/** The answer: status, headers, text. */
function send(agent, method, path, body, headers = {}) {
  return new Promise((resolve, reject) => {
    const request = http.request(url + path, {agent, method, headers: {
      authorization: `Bearer ${token}`,
      ...(body === undefined ? {} : {'content-type': 'application/json', 'content-length': Buffer.byteLength(body)}),
      ...headers,
    }}, (response) => {
      const parts = [];
      response.on('data', (part) => parts.push(part));
      response.on('error', reject);
      response.on('end', () => resolve({
        status: response.statusCode, headers: response.headers, text: Buffer.concat(parts).toString()}));
    });
    request.setTimeout(120_000, () => request.destroy(new Error(`${method} ${path}: no answer for 120 s`)));
    request.on('error', reject);
    request.end(body);
  });
}

async function expect(agent, method, path, body, headers) {
  const answer = await send(agent, method, path, body, headers);
  if (answer.status >= 300) {
    throw new Error(`${method} ${path}: ${answer.status} ${answer.text.slice(0, 500)}`);
  }
  return answer;
}

async function newStudy(agent) {
  const study = JSON.stringify({patient_id: patient, room: '1', started_at: '2024-02-29T09:00:00Z'});
  return JSON.parse((await expect(agent, 'POST', '/v1/studies', study)).text).id;
}

/** The smallest value that `part` of the values do not exceed. */
function quantile(values, part) {
  const sorted = Float64Array.from(values).sort();
  return sorted[Math.max(0, Math.ceil(part * sorted.length) - 1)];
}

function tell(name, values) {
  console.log(`${name}-p50 ${quantile(values, 0.5).toFixed(3)}`);
  console.log(`${name}-p99 ${quantile(values, 0.99).toFixed(3)}`);
}

const readPieces = (file) => {
  const lines = readFileSync(file, 'utf8').trimEnd().split('\n');
  return {opening: JSON.parse(lines[0]), pieces: lines.slice(1)};
};

async function open(agent, opening) {
  const body = JSON.stringify({...opening, study_id: await newStudy(agent)});
  return JSON.parse((await expect(agent, 'POST', '/v1/recordings', body)).text).id;
}

// ---- a recording in pieces ----

async function sendPieces(file) {
  const agent = connection();
  const {opening, pieces} = readPieces(file);
  const begun = now();
  const took = [];
  const id = await open(agent, opening);
  for (const [number, piece] of pieces.entries()) {
    const sent = now();
    await expect(agent, 'PUT', `/v1/recordings/${id}/chunks/${number}`, piece);
    took.push(now() - sent);
  }
  const sent = now();
  const answer = await expect(agent, 'POST', `/v1/recordings/${id}/completion`, JSON.stringify({chunks: pieces.length}));
  console.log(`recording ${id}`);
  console.log(`total ${(now() - begun).toFixed(3)}`);
  console.log(`completion ${(now() - sent).toFixed(3)}`);
  for (const [, name, ms] of answer.headers['server-timing']?.matchAll(/(\w+);\s*dur=([\d.]+)/g) ?? []) {
    console.log(`${name} ${ms}`);
  }
  tell('piece', took);
  agent.destroy();
}

// ---- a clinic ----

/** Reads the summary until `over` is settled: how long each took. */
async function readSummaries(over) {
  const agent = connection();
  const took = [];
  let going = true;
  const end = () => { going = false; };
  over.then(end, end);
  while (going) {
    const begun = now();
    await expect(agent, 'GET', `/v1/studies/${readStudy}/summary`);
    took.push(now() - begun);
    await pause(SUMMARY_PAUSE_MS);
  }
  agent.destroy();
  return took;
}

/** Uploads until the server takes it, as a room does; how often it was sent away is added to `count`. */
async function upload(agent, study, body, count) {
  const key = {'idempotency-key': randomUUID()};
  for (let tried = 1; tried <= TRIES; tried++) {
    const answer = await send(agent, 'POST', `/v1/studies/${study}/recordings`, body, key);
    if (answer.status === 201) {
      return;
    }
    if (answer.status !== 503) {
      throw new Error(`upload: ${answer.status} ${answer.text.slice(0, 500)}`);
    }
    count.refused++;
    await pause(1000 * Number(answer.headers['retry-after'] ?? 1));
  }
  throw new Error(`an upload was sent away ${TRIES} times`);
}

async function uploadAtOnce(body, rooms, uploads) {
  const took = [];
  const count = {refused: 0};
  const agents = Array.from({length: rooms}, connection);
  const studies = await Promise.all(agents.map(async (agent) => {
    const ids = [];
    for (let i = 0; i < uploads; i++) {
      ids.push(await newStudy(agent));
    }
    return ids;
  }));
  const begun = now();
  const all = Promise.all(agents.map(async (agent, room) => {
    for (const study of studies[room]) {
      const sent = now();
      await upload(agent, study, body, count);
      took.push(now() - sent);
    }
  }));
  const summaries = await readSummaries(all);
  await all;
  console.log(`rooms-uploads-s ${(1000 * took.length / (now() - begun)).toFixed(3)}`);
  console.log(`rooms-503 ${count.refused}`);
  tell('rooms', took);
  tell('busy', summaries);
  agents.forEach((agent) => agent.destroy());
}

/** One room: a piece each second, from a moment of its own within the second. */
async function sendLive(id, pieces, begin, live) {
  const agent = connection();
  for (const [number, piece] of pieces.entries()) {
    await pause(Math.max(0, begin + 1000 * number - now()));
    const sent = now();
    live.sent.set(`${id} ${number}`, sent);
    const answer = await send(agent, 'PUT', `/v1/recordings/${id}/chunks/${number}`, piece);
    if (answer.status === 503) {
      live.refused++;
    } else if (answer.status >= 300) {
      throw new Error(`piece: ${answer.status} ${answer.text.slice(0, 500)}`);
    }
    live.took.push(now() - sent);
  }
  agent.destroy();
}

/** Someone who looks on: how long after it was sent each piece is on his screen. */
async function watch(id, count, live) {
  const agent = connection();
  let after = 0;
  let seen = 0;
  const until = now() + 1000 * (count + 10);
  while (seen < count && now() < until) {
    const answer = JSON.parse((await expect(agent, 'GET', `/v1/recordings/${id}/live?after=${after}&wait_s=5`)).text);
    for (const chunk of answer.chunks) {
      live.seen.push(now() - live.sent.get(`${id} ${chunk.number}`));
      seen++;
    }
    after = answer.after;
  }
  agent.destroy();
  if (seen < count) {
    throw new Error(`a watcher saw ${seen} of ${count} pieces`);
  }
}

async function workLive(file, rooms, seconds) {
  const agent = connection();
  const read = readPieces(file);
  const pieces = read.pieces.slice(0, seconds);
  const live = {sent: new Map(), took: [], seen: [], refused: 0};
  const ids = [];
  for (let room = 0; room < rooms; room++) {
    ids.push(await open(agent, read.opening));
  }
  const begin = now() + 100;
  const all = Promise.all([
    ...ids.map((id, room) => sendLive(id, pieces, begin + 1000 * room / rooms, live)),
    ...ids.slice(0, WATCHERS).map((id) => watch(id, pieces.length, live)),
  ]);
  const summaries = await readSummaries(all);
  await all;
  tell('live', live.took);
  tell('watch', live.seen);
  tell('live-summary', summaries);
  console.log(`live-503 ${live.refused}`);
  agent.destroy();
}

async function clinic(bodyFile, pieceFile, rooms, uploads, seconds) {
  tell('alone', await readSummaries(pause(ALONE_MS)));
  await uploadAtOnce(readFileSync(bodyFile), rooms, uploads);
  await workLive(pieceFile, rooms, seconds);
}

const [what, ...rest] = process.argv.slice(2);
if (what === 'pieces' && rest.length === 1) {
  await sendPieces(rest[0]);
} else if (what === 'clinic' && rest.length === 5) {
  await clinic(rest[0], rest[1], ...rest.slice(2).map(Number));
} else {
  throw new Error('See the head of this file.');
}
