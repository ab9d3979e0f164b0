// Hostile clients, in a process of their own that gives way to all others. The parent says {go} and {rest};
// while resting no connection is held. Every kind has a pace of its own, and states in which ways it may be
// answered: anything else is a fault of the server.
import net from 'node:net';
import os from 'node:os';
import {randomBytes} from 'node:crypto';
import {gzipOfZeros, zstdOfZeros} from '../api/lib/hostile.mjs';

const WAIT_MS = 8000; // then a client gives up
const FLOOD_HOLD_MS = 4000;
const DRIP_MS = 500;
const BURST = 300; // connections at once; the server takes 256 from one address
const ADDRESSES = 8;
const ANSWER_MOST = 1 << 20;

os.setPriority(19);

let target;
let turn = 0;
const sockets = new Set();
const timers = new Set();
const counts = {};

const CRLF = '\r\n';
const lines = (...parts) => parts.join(CRLF) + CRLF + CRLF;
const host = () => `Host: ${target.host}`;
const bearer = () => `Authorization: Bearer ${target.token}`;
const get = (path, ...headers) => lines(`GET ${path} HTTP/1.1`, host(), ...headers);
const post = (path, type, body, ...headers) => Buffer.concat([
  Buffer.from(lines(`POST ${path} HTTP/1.1`, host(), `Content-Type: ${type}`,
    `Content-Length: ${body.length}`, ...headers)),
  Buffer.from(body),
]);
const close = 'Connection: close';
const pick = (items) => items[Math.floor(Math.random() * items.length)];

const bombs = {
  gzip: gzipOfZeros(2),
  zstd: zstdOfZeros(1024),
};

const broken = ['{', '{"mrn":', '[]', 'null', '"\\ud800"', '{"mrn":"a","mrn":"b"}', '['.repeat(5000), '{"a":1e999}',
  `{"family_name":"${'x'.repeat(100_000)}"}`, '\xff\xfe{}', '{"mrn":{"$gt":""},"sex":[]}', '', '{"birth_date":"1960-13-45"}'];

const tricks = ['/v1/%2e%2e/%2e%2e/etc/passwd', '/v1/../readyz', '//v1/patients', '/v1/patients/%00', '/v1/%ff%fe',
  '/v1/patients/%2', '/v1/patients?limit=-1%27%20or%201=1', 'http://elsewhere.example/v1/nothing', `/${'a/'.repeat(3000)}`,
  '/v1\\patients', '/v1/patients#x', `/v1/patients?${'a=1&'.repeat(200)}`, '/v1/patients/..%2f..%2fadmin', '*', 'example:443'];

const strange = ['/', '/admin', '/wp-login', '/.git/config', '/v2/patients', '/v1/patients/x/y/z', '/v1/tokens/none'];

/**
 * How often a second, what is done, and which statuses may come. `closed` is allowed for all: a connection
 * that ends without an answer.
 */
const KINDS = {
  'slow headers': {perSecond: 3, may: /^(400|408)$/, act: () => drip(['GET /v1/patients HTTP/1.1', host(), 'X-Slow: '].join(CRLF), 'a')},
  'slow bodies': {perSecond: 3, may: /^(400|408)$/, act: () => drip(lines('POST /v1/patients HTTP/1.1', host(), bearer(),
    'Content-Type: application/json', 'Content-Length: 100000'), ' ')},
  'connection flood': {perSecond: 30, may: /^$/, act: () => connect({giveUpMs: FLOOD_HOLD_MS})},
  'connection burst': {perSecond: 0.1, may: /^$/, act: () => {
    for (let i = 0; i < BURST; i++) {
      connect({from: '127.0.0.2', giveUpMs: FLOOD_HOLD_MS});
    }
  }},
  'huge headers': {perSecond: 3, may: /^(400|413|414|431)$/, act: () => connect({first: pick([
    get('/v1/patients', `X-Huge: ${'h'.repeat(100_000)}`), get('/v1/patients', ...Array(200).fill('X-Many: 1'), close)])})},
  'huge cookies': {perSecond: 3, may: /^(400|401|413|431)$/, act: () => connect({first: pick([
    get('/v1/patients', `Cookie: penstock_session=${'c'.repeat(20_000)}`, close),
    get('/v1/patients', `Cookie: ${'a=b; '.repeat(4000)}penstock_session=x`, close),
    get('/v1/patients', `Cookie: ${'c'.repeat(90_000)}`)])})},
  'malformed JSON': {perSecond: 5, may: /^(400|413|422)$/, act: () =>
    connect({first: post('/v1/patients', 'application/json', Buffer.from(pick(broken), 'latin1'), bearer(), close)})},
  'bomb, gzip': {perSecond: 0.2, may: /^(400|413|422)$/, act: () => bomb('gzip')},
  'bomb, zstd': {perSecond: 0.2, may: /^(400|413|422)$/, act: () => bomb('zstd')},
  'forged token': {perSecond: 8, may: /^401$/, act: () =>
    connect({first: get('/v1/patients', `Authorization: Bearer pst_${randomBytes(32).toString('base64url')}`, close)})},
  'forged session': {perSecond: 4, may: /^(401|303)$/, act: () => connect({first: get(pick(['/v1/patients', '/']),
    `Cookie: penstock_session=${randomBytes(32).toString('base64url')}`, close)})},
  'wrong password': {perSecond: 0.5, may: /^(401|429)$/, act: () => connect({first: post('/v1/sessions', 'application/json',
    JSON.stringify({username: pick([target.victim, 'nobody']), password: randomBytes(12).toString('hex')}), close)})},
  'path trick': {perSecond: 6, may: /^(301|303|400|401|404|405|414|422)$/, act: () => connect({first: get(pick(tricks), bearer(), close)})},
  'unknown route': {perSecond: 6, may: /^(303|400|401|404|405|501)$/, act: () => connect({first: pick([get(pick(strange), close),
    lines(`${pick(['TRACE', 'CONNECT', 'PROPFIND', 'get', 'DELETE'])} /v1/patients HTTP/1.1`, host(), bearer(), close)])})},
  'no HTTP': {perSecond: 3, may: /^(400|505)$/, act: () => connect({first: pick([
    Buffer.from([0x16, 3, 1, 2, 0, 1, 0, 1, 0xfc, 3, 3]), randomBytes(2000), 'GET\r\n\r\n', 'PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n']),
    end: true})},
  'smuggling': {perSecond: 3, may: /^(400|413|501)$/, act: () => connect({first: pick([
    `${lines('POST /v1/patients HTTP/1.1', host(), bearer(), 'Content-Length: 4', 'Transfer-Encoding: chunked')}0\r\n\r\n`,
    lines('POST /v1/patients HTTP/1.1', host(), bearer(), 'Content-Length: 4', 'Content-Length: 5'),
    lines('GET /v1/patients HTTP/1.1', host(), host(), bearer()),
    lines('POST /v1/patients HTTP/1.1', host(), bearer(), 'Content-Type: application/json', 'Content-Length: -1')])})},
  'half closed': {perSecond: 4, may: /^(200|400)$/, act: () => connect({end: true, first: pick([
    get(`/v1/patients/${target.patient}`, bearer()), 'GET /v1/patients HTTP/1.1\r\nHost: x', ''])})},
  'pipelining': {perSecond: 2, may: /^(200|401)$/, act: () => connect({first:
    get(`/v1/patients/${target.patient}`, bearer()).repeat(9) + get('/v1/patients', 'Authorization: Bearer x', close)})},
  'aborted upload': {perSecond: 2, may: /^$/, act: () => connect({giveUpMs: 300, first: Buffer.concat([
    Buffer.from(lines(`POST /v1/studies/${target.study}/recordings HTTP/1.1`, host(), bearer(), 'Content-Type: application/json',
      'Content-Length: 500000')), Buffer.alloc(200_000, ' ')])})},
  'answer not read': {perSecond: 1, may: /^200$/, act: () => connect({deaf: true, giveUpMs: 5000,
    first: get(`/v1/recordings/${target.drawn}/traces`, bearer(), 'Accept: text/csv')})},
};

function bomb(coding) {
  connect({first: post('/v1/analyses', 'application/json', bombs[coding], bearer(), `Content-Encoding: ${coding}`, close)});
}

// What runs now, so that a connection knows its kind.
let current;

/** A connection: sends `first`, reads what comes, and gives up after a while. */
function connect({first = '', end = false, deaf = false, giveUpMs = WAIT_MS, from} = {}) {
  const count = current;
  const address = from ?? `127.0.0.${2 + (turn++ % ADDRESSES)}`;
  const socket = net.connect({host: target.address, port: target.port, localAddress: address, allowHalfOpen: true});
  let text = '';
  let given = false;
  count.made++;
  sockets.add(socket);
  socket.on('connect', () => {
    count.connected++;
    socket.write(first);
    if (end) {
      socket.end();
    }
    if (deaf) {
      socket.pause();
    }
  });
  socket.on('data', (part) => {
    if (text.length < ANSWER_MOST) {
      text += part.toString('latin1');
    }
  });
  socket.on('error', () => {});
  socket.on('end', () => socket.end());
  const timer = setTimeout(() => {
    given = true;
    socket.destroy();
  }, giveUpMs);
  socket.on('close', () => {
    clearTimeout(timer);
    sockets.delete(socket);
    const statuses = [...text.matchAll(/HTTP\/1\.[01] ([1-5]\d\d) /g)].map(([, status]) => status);
    for (const status of statuses) {
      count.statuses[status] = (count.statuses[status] ?? 0) + 1;
    }
    if (statuses.length === 0) {
      count[given || socket.resting ? 'gaveUp' : 'closed']++;
    }
  });
  return socket;
}

/** Sends the beginning, then a byte now and then. */
function drip(first, byte) {
  const socket = connect({first, giveUpMs: 3 * WAIT_MS});
  const timer = setInterval(() => socket.writable && socket.write(byte), DRIP_MS);
  socket.on('close', () => clearInterval(timer));
}

/** Does it now and then, as often as its pace says, at moments that nothing else decides (a Poisson process):
 * in step, those that take a processor for a while would always come together. */
function keepDoing(name) {
  const {perSecond, act} = KINDS[name];
  const timer = setTimeout(() => {
    timers.delete(timer);
    current = counts[name];
    act();
    keepDoing(name);
  }, (-1000 / perSecond) * Math.log(1 - Math.random()));
  timers.add(timer);
}

function go() {
  for (const name of Object.keys(KINDS)) {
    counts[name] ??= {made: 0, connected: 0, closed: 0, gaveUp: 0, statuses: {}};
    keepDoing(name);
  }
}

function rest() {
  timers.forEach((timer) => clearTimeout(timer));
  timers.clear();
  for (const socket of sockets) {
    socket.resting = true;
    socket.destroy();
  }
}

/** Statuses that a kind may not have had; 503 is allowed for all. */
function unexpected(name) {
  return Object.keys(counts[name].statuses).filter((status) => status !== '503' && !KINDS[name].may.test(status));
}

process.on('message', (message) => {
  if (message.target !== undefined) {
    target = message.target;
  } else if (message.go) {
    go();
  } else if (message.rest) {
    rest();
  } else if (message.tell) {
    const kinds = Object.keys(counts).map((name) => ({name, ...counts[name], unexpected: unexpected(name)}));
    process.send({kinds}, () => process.disconnect());
  }
});
