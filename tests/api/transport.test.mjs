// What is wrong with a request before anyone reads what it says: size, framing, coding, media types.
import assert from 'node:assert/strict';
import {execFile, execFileSync} from 'node:child_process';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {promisify} from 'node:util';
import zlib from 'node:zlib';
import {Client} from './lib/client.mjs';
import {Clinic, patientDocument} from './lib/clinic.mjs';
import {checkProblem, operations} from './lib/contract.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {abandon, exchange, flood, head} from './lib/raw.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {leavesNothing} from './lib/unchanged.mjs';

const run = promisify(execFile);

const MIB = 1024 * 1024;
const RECORDING_LIMIT = 64 * MIB;
const DOCUMENT_LIMIT = 256 * 1024;

/** Bytes of a body, of the routes that take more than DOCUMENT_LIMIT. */
const LIMITS = {
  '/v1/studies/{id}/recordings': RECORDING_LIMIT,
  '/v1/recordings/{id}/events': RECORDING_LIMIT,
  '/v1/recordings/{id}/chunks/{n}': 8 * MIB,
  '/v1/analyses': RECORDING_LIMIT,
};

const zstd = (bytes) => execFileSync('zstd', ['-q', '-c', '-3'], {input: bytes, maxBuffer: 256 * MIB});

let installation;
let clinic;
let study;
let authorization;
let url;

before(async () => {
  installation = await Installation.create('transport');
  url = await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the transport');
  study = await clinic.addVisit();
  authorization = `Authorization: Bearer ${clinic.tokens.room}`;
});

after(() => installation.remove());

const uploads = () => `/v1/studies/${study.id}/recordings`;

/** The problem in a raw answer. */
function problemOf(answer, status) {
  assert.ok(answer, 'the connection ended without an answer');
  assert.equal(answer.status, status, answer.text);
  const json = JSON.parse(answer.text);
  checkProblem({...answer, json, path: json.instance});
  return answer;
}

async function isWellAfterwards() {
  await new Client(url).get('/healthz');
  await clinic.room.get('/v1/patients?limit=1');
}

describe('a body over the limit', () => {
  leavesNothing(() => installation);

  const JSON_TYPE = 'Content-Type: application/json';

  it('is 413 before it is read: 100 MB to an upload', async () => {
    const fields = [authorization, JSON_TYPE, `Content-Length: ${100 * MIB}`];
    for (const more of [[], ['Expect: 100-continue']]) {
      const answer = problemOf(await exchange(url, head(url, 'POST', uploads(), [...fields, ...more])), 413);
      assert.equal(answer.headers.get('connection'), 'close');
    }
  });

  it('is not read either from a sender that does not listen', async () => {
    const fields = [authorization, JSON_TYPE, `Content-Length: ${100 * MIB}`];
    const {sent} = await flood(url, head(url, 'POST', uploads(), fields), 100 * MIB);
    // What goes out before the connection ends fits the buffers of two sockets.
    assert.ok(sent < 16 * MIB, `${sent} bytes went out`);
  });

  it('is 413 when its length is not announced', async () => {
    const chunk = `${(65536).toString(16)}\r\n${' '.repeat(65536)}\r\n`;
    const start = head(url, 'POST', '/v1/patients', [authorization, JSON_TYPE, 'Transfer-Encoding: chunked']);
    problemOf(await exchange(url, `${start}${chunk.repeat(16)}0\r\n\r\n`), 413);
    const {sent} = await flood(url, start, 200 * MIB, Buffer.from(chunk));
    assert.ok(sent < 100 * MIB, `${sent} bytes of a body without end were read`);
  });

  it('is 413 from one byte more on, for every document', async () => {
    const pad = (json, length) => JSON.stringify(json) + ' '.repeat(length - JSON.stringify(json).length);
    for (const {method, path, operation} of operations.filter(({operation: one}) => one.requestBody)) {
      const limit = LIMITS[path] ?? DOCUMENT_LIMIT;
      const target = path.replace('{id}', study.id).replace('{n}', '0');
      const client = /users|tokens/.test(path) ? clinic.administrator : clinic.room;
      const headers = {'content-type': 'application/json', 'if-match': '"1"'};
      if (limit !== RECORDING_LIMIT) {
        const fits = await client.request(method, target, {body: pad({x: 1}, limit), headers});
        assert.notEqual(fits.status, 413, fits.what);
      }
      const fields = [
        ...Object.entries({...client.headers, ...headers}).map((pair) => pair.join(': ')),
        `Content-Length: ${limit + 1}`,
      ];
      problemOf(await exchange(url, head(url, method, target, fields)), 413);
      assert.ok(operation.responses[413], `${method} ${path} documents 413`);
    }
  });

  it('is 413 where no body is taken at all', async () => {
    for (const [method, target] of [
      ['GET', '/v1/patients'],
      ['DELETE', '/v1/sessions/current'],
      ['GET', '/healthz'],
    ]) {
      const answer = await exchange(
        url,
        head(url, method, target, [authorization, 'Content-Length: 5', JSON_TYPE]) + 'hello',
      );
      problemOf(answer, 413);
    }
  });

  it('is 401 first, when no credential comes with it', async () => {
    const fields = [JSON_TYPE, `Content-Length: ${100 * MIB}`];
    problemOf(await exchange(url, head(url, 'POST', uploads(), fields)), 401);
  });
});

describe('an upload that breaks off', () => {
  it('leaves nothing, and the server well', () =>
    installation.unchanged(async () => {
      const body = JSON.stringify(uroflowmetry().document);
      const fields = [authorization, 'Content-Type: application/json', `Content-Length: ${body.length}`];
      const whole = head(url, 'POST', uploads(), fields) + body;
      for (const part of [0.999, 0.9, 0.5, 0.1]) {
        await abandon(url, whole.slice(0, Math.floor(whole.length * part)));
      }
      const chunked = head(url, 'POST', uploads(), [
        authorization,
        'Content-Type: application/json',
        'Transfer-Encoding: chunked',
      ]);
      await abandon(url, `${chunked}${body.length.toString(16)}\r\n${body}\r\n`);
      await abandon(url, `${chunked}${body.length.toString(16)}\r\n${body.slice(0, 100)}`);
      await isWellAfterwards();
    }));

  it('is the same in pieces as at once', async () => {
    const body = JSON.stringify(uroflowmetry().document);
    const chunks = [body.slice(0, 1000), body.slice(1000)].map((part) => `${part.length.toString(16)}\r\n${part}\r\n`);
    const fields = [authorization, 'Content-Type: application/json', 'Transfer-Encoding: chunked'];
    const answer = await exchange(url, head(url, 'POST', '/v1/analyses', fields) + chunks.join('') + '0\r\n\r\n');
    assert.equal(answer.status, 200);
    const {json} = await clinic.room.expect(200, 'POST', '/v1/analyses', {
      body,
      headers: {'content-type': 'application/json'},
    });
    assert.deepEqual(JSON.parse(answer.text), json);
  });
});

describe('a body that is coded', () => {
  const codings = {gzip: (bytes) => zlib.gzipSync(bytes), zstd};
  const send = (status, coding, body, target = '/v1/patients') =>
    clinic.room.expect(status, 'POST', target, {
      body,
      headers: {'content-type': 'application/json', 'content-encoding': coding},
    });

  for (const [coding, encode] of Object.entries(codings)) {
    it(`is read: ${coding}`, async () => {
      const document = patientDocument();
      const {json} = await send(201, coding, encode(JSON.stringify(document)));
      for (const [name, value] of Object.entries(document)) {
        assert.equal(json[name], value);
      }
      await send(200, coding, encode(JSON.stringify(uroflowmetry().document)), '/v1/analyses');
      const recording = {...uroflowmetry().document, id: randomUUID()};
      await send(201, coding, encode(JSON.stringify(recording)), uploads());
    });

    it(`is 400 when it is damaged: ${coding}`, () =>
      installation.unchanged(async () => {
        const sound = encode(JSON.stringify(patientDocument({given_name: 'x'.repeat(150)})));
        const flipped = Buffer.from(sound);
        flipped[Math.floor(sound.length / 2)] ^= 0x55;
        const checksum = Buffer.from(sound);
        checksum[sound.length - (coding === 'gzip' ? 6 : 2)] ^= 0x55;
        const broken = {
          flipped,
          checksum,
          'cut off': sound.subarray(0, sound.length - 5),
          'cut off early': sound.subarray(0, 12),
          'with something after it': Buffer.concat([sound, Buffer.from('more')]),
          'not coded': Buffer.from(JSON.stringify(patientDocument())),
        };
        for (const body of Object.values(broken)) {
          await send(400, coding, body);
        }
      }));

    it(`is 413 when it swells beyond the limit: ${coding}`, () =>
      installation.unchanged(async () => {
        await send(413, coding, encode(Buffer.alloc(DOCUMENT_LIMIT + 1, 0x20)));
        const bomb = encode(Buffer.alloc(100 * MIB, 0x20));
        assert.ok(bomb.length < MIB);
        await send(413, coding, bomb);
        await send(413, coding, bomb, '/v1/analyses');
        await send(413, coding, bomb, uploads());
        await isWellAfterwards();
      }));
  }

  it('is not decoded for a stranger, nor for a role that may not send it', () =>
    installation.unchanged(async () => {
      const damaged = Buffer.from('neither gzip nor zstd');
      const bomb = zlib.gzipSync(Buffer.alloc(100 * MIB, 0x20));
      const stranger = Client.withToken(url, clinic.tokens.room.replace(/.{8}$/, 'AAAAAAAA'));
      for (const [status, client] of [
        [401, stranger],
        [401, new Client(url, {cookie: 'penstock_session=nobody', origin: url})],
        [403, clinic.as('auditor')],
        [403, new Client(url, {cookie: clinic.administrator.headers.cookie, origin: 'http://elsewhere.example'})],
      ]) {
        for (const body of [damaged, bomb]) {
          const headers = {'content-type': 'application/json', 'content-encoding': 'gzip'};
          await client.expect(status, 'POST', uploads(), {body, headers});
        }
      }
    }));

  it('is 415 in a coding that is not known', () =>
    installation.unchanged(async () => {
      for (const coding of ['br', 'deflate', 'gzip, gzip', 'compress']) {
        const {headers} = await send(415, coding, zlib.gzipSync(JSON.stringify(patientDocument())));
        assert.equal(headers.get('accept-encoding'), 'gzip, zstd');
      }
    }));
});

describe('an answer', () => {
  const raw = (method, target, fields = []) =>
    exchange(url, head(url, method, target, [`Authorization: Bearer ${clinic.tokens.room}`, ...fields]));

  const decoders = {
    gzip: (bytes) => zlib.gunzipSync(bytes),
    zstd: (bytes) => execFileSync('zstd', ['-q', '-d', '-c'], {input: bytes}),
  };

  for (const [coding, decode] of Object.entries(decoders)) {
    it(`is coded when that is asked for: ${coding}`, async () => {
      const plain = await raw('GET', '/openapi.json');
      assert.equal(plain.headers.get('content-encoding'), null);
      const coded = await raw('GET', '/openapi.json', [`Accept-Encoding: ${coding}`]);
      assert.equal(coded.headers.get('content-encoding'), coding);
      assert.match(coded.headers.get('vary') ?? '', /accept-encoding/i);
      assert.ok(coded.body.length < plain.body.length / 2);
      assert.ok(decode(coded.body).equals(plain.body));
    });
  }

  it('is 406 in a media type that there is not', async () => {
    for (const [target, accept] of [
      ['/v1/patients', 'application/xml'],
      [`/v1/studies/${study.id}/summary`, 'image/png'],
      ['/v1/patients', 'text/*'],
    ]) {
      await clinic.room.expect(406, 'GET', target, {headers: {accept}});
    }
    await clinic.room.get('/v1/patients', {accept: 'text/html, */*;q=0.1'});
    await clinic.room.get('/v1/patients', {accept: 'application/*'});
    await clinic.room.expect(406, 'GET', '/v1/patients', {headers: {accept: 'application/json;q=0'}});
  });

  it('is chosen by weight', async () => {
    const target = `/v1/studies/${study.id}/summary`;
    const typeFor = async (accept) =>
      (await clinic.room.get(target, {accept})).headers.get('content-type').split(';')[0];
    assert.equal(await typeFor('*/*'), 'application/json');
    assert.equal(await typeFor('text/html'), 'text/html');
    assert.equal(await typeFor('text/plain'), 'text/plain');
    assert.equal(await typeFor('application/pdf'), 'application/pdf');
    assert.equal(await typeFor('application/json;q=0.5, text/html;q=0.9'), 'text/html');
    assert.equal(await typeFor('text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8'), 'text/html');
  });

  it('to HEAD is that to GET without the body', async () => {
    for (const target of ['/healthz', '/v1/patients', `/v1/studies/${study.id}`, '/openapi.json', '/v1/studies/none']) {
      const got = await raw('GET', target);
      const {status, headers} = await clinic.room.request('HEAD', target, {headers: {'accept-encoding': 'identity'}});
      assert.equal(status, got.status);
      for (const name of ['content-type', 'etag', 'cache-control', 'content-length']) {
        assert.equal(headers.get(name), got.headers.get(name), `${name} of ${target}`);
      }
    }
  });

  it('carries the request id that was sent, if it is one', async () => {
    const idFor = async (id) =>
      (await new Client(url).get('/healthz', {'x-request-id': id})).headers.get('x-request-id');
    assert.equal(await idFor('Room-1.42_a'), 'Room-1.42_a');
    for (const id of ['', 'a b', 'x'.repeat(65), 'a"b']) {
      assert.notEqual(await idFor(id), id);
    }
    assert.notEqual(await idFor(''), await idFor(''));
  });

  it('forbids what a browser might do with it', async () => {
    for (const target of ['/sign-in', '/healthz', '/v1/patients']) {
      const {headers} = await clinic.room.get(target);
      assert.equal(headers.get('x-content-type-options'), 'nosniff', target);
    }
    const page = await new Client(url).get('/sign-in');
    assert.match(page.headers.get('content-security-policy') ?? '', /default-src 'self'|default-src 'none'/);
    assert.match(page.headers.get('content-security-policy'), /frame-ancestors 'none'/);
    assert.doesNotMatch(page.headers.get('content-security-policy'), /unsafe-inline|unsafe-eval|\*/);
  });
});

describe('a method', () => {
  const served = () =>
    new Map(operations.map(({path}) => [path, operations.filter((one) => one.path === path).map((one) => one.method)]));
  const target = (path) => path.replace('{id}', study.id);

  it('that a path does not take is 405 with those that it takes', () =>
    installation.unchanged(async () => {
      for (const [path, methods] of served()) {
        const allowed = [...methods, ...(methods.includes('GET') ? ['HEAD'] : []), 'OPTIONS'].sort();
        for (const method of ['GET', 'POST', 'PUT', 'PATCH', 'DELETE'].filter((one) => !methods.includes(one))) {
          const {headers} = await clinic.room.expect(405, method, target(path));
          assert.deepEqual(headers.get('allow').split(', ').sort(), allowed, path);
        }
        const {headers} = await clinic.room.expect(204, 'OPTIONS', target(path));
        assert.deepEqual(headers.get('allow').split(', ').sort(), allowed, path);
      }
    }));

  it('that is no method of ours is refused', () =>
    installation.unchanged(async () => {
      for (const method of ['TRACE', 'BREW', 'get', 'PROPFIND']) {
        const answer = await exchange(url, head(url, method, '/v1/patients', [authorization]));
        assert.ok([400, 405, 501].includes(answer?.status), `${method}: ${answer?.status}`);
      }
      const connect = await exchange(url, head(url, 'CONNECT', 'example.org:443', [authorization]));
      assert.ok(connect === undefined || connect.status >= 400);
    }));

  it('with a body of another media type is 415', () =>
    installation.unchanged(async () => {
      const json = JSON.stringify(patientDocument());
      for (const type of [
        'text/plain',
        'application/xml',
        'multipart/form-data; boundary=x',
        'application/json; charset=latin1',
        'application/merge-patch+json',
      ]) {
        await clinic.room.expect(415, 'POST', '/v1/patients', {body: json, headers: {'content-type': type}});
      }
      const untyped = head(url, 'POST', '/v1/patients', [authorization, `Content-Length: ${json.length}`]) + json;
      problemOf(await exchange(url, untyped), 415);
    }));

  it('with the media type in other letters and with a charset is fine', async () => {
    for (const type of ['Application/JSON', 'application/json; charset=utf-8', 'application/json;charset="UTF-8"']) {
      await clinic.room.expect(201, 'POST', '/v1/patients', {
        body: JSON.stringify(patientDocument()),
        headers: {'content-type': type},
      });
    }
  });
});

describe('a message that two servers could read differently', () => {
  leavesNothing(() => installation);

  const body = JSON.stringify(patientDocument());
  const type = 'Content-Type: application/json';
  const cases = {
    'two lengths': [type, `Content-Length: ${body.length}`, 'Content-Length: 5'],
    'the same length twice': [type, `Content-Length: ${body.length}`, `Content-Length: ${body.length}`],
    'a length and chunks': [type, `Content-Length: ${body.length}`, 'Transfer-Encoding: chunked'],
    'a length with a sign': [type, `Content-Length: +${body.length}`],
    'a list as length': [type, `Content-Length: ${body.length}, ${body.length}`],
    'an unknown transfer coding': [type, 'Transfer-Encoding: gzip, chunked'],
    'a transfer coding in disguise': [type, 'Transfer-Encoding: xchunked'],
    'two hosts': [type, 'Host: elsewhere.example', `Content-Length: ${body.length}`],
    'a folded field': [type, 'X-Folded: a\r\n b', `Content-Length: ${body.length}`, 'Content-Length : 3'],
    'two credentials': [type, 'Authorization: Bearer pst_x', `Content-Length: ${body.length}`],
    'two keys': [type, 'Idempotency-Key: a', 'Idempotency-Key: b', `Content-Length: ${body.length}`],
  };

  for (const [what, fields] of Object.entries(cases)) {
    it(`is 400, and ends the connection: ${what}`, async () => {
      const smuggled = head(url, 'GET', '/healthz');
      const answer = await exchange(
        url,
        head(url, 'POST', '/v1/patients', [authorization, ...fields]) + body + smuggled,
      );
      assert.ok(answer === undefined || answer.status === 400, `${answer?.status}: ${answer?.text}`);
      assert.ok(answer === undefined || answer.headers.get('connection') === 'close');
    });
  }

  it('is refused: no message at all', async () => {
    const garbage = [
      '\r\n\r\n\r\n',
      'hello\r\n\r\n',
      'GET / HTTP/9.9\r\n\r\n',
      `GET ${'/x'.repeat(20_000)} HTTP/1.1\r\nHost: x\r\n\r\n`,
      '\u0016\u0003\u0001\u0002\u0000\u0001',
    ];
    for (const text of garbage) {
      const answer = await Promise.race([exchange(url, text), new Promise((resolve) => setTimeout(resolve, 2000))]);
      assert.ok(answer === undefined || answer.status >= 400, `${text.slice(0, 20)}: ${answer?.status}`);
    }
    const noHost = await exchange(url, 'GET /healthz HTTP/1.1\r\n\r\n');
    assert.equal(noHost.status, 400);
    const many = Array.from({length: 150}, (_, i) => `X-Field-${i}: 1`);
    assert.equal((await exchange(url, head(url, 'GET', '/healthz', many))).status, 431);
    const large = await exchange(url, head(url, 'GET', '/healthz', [`X-Large: ${'x'.repeat(200_000)}`]));
    assert.ok(large === undefined || large.status === 431 || large.status === 413, `${large?.status}`);
    await isWellAfterwards();
  });

  it('is refused: a target that is none', async () => {
    for (const target of [
      '/v1/%',
      '/v1/%zz',
      '/v1/%00',
      '/v1/patients?name=%ff',
      '/v1/patients?name=%',
      '/v1//patients',
      '/v1/./patients',
      '/v1/x/../patients',
      '/v1/%2e%2e/healthz',
    ]) {
      const answer = await exchange(url, head(url, 'GET', target, [authorization]));
      assert.ok([400, 404, 422].includes(answer.status), `${target}: ${answer.status}`);
    }
  });
});

describe('names in other scripts', () => {
  it('come back as they were sent', async () => {
    const family_name = `${FAMILY_NAME} Ö'Brïen-Žluťoučký 李 \u{1F98B} "x" <b>&amp;</b> \\ /`;
    const {json} = await clinic.room.post(
      '/v1/patients',
      patientDocument({family_name, given_name: 'line\nbreak\ttab'}),
    );
    assert.equal(json.family_name, family_name);
    const read = await clinic.room.get(`/v1/patients/${json.id}`);
    assert.equal(read.json.family_name, family_name);
    assert.equal(read.json.given_name, 'line\nbreak\ttab');
    const found = await clinic.room.get(`/v1/patients?name=${encodeURIComponent(family_name.toLowerCase())}`);
    assert.ok(found.json.items.some(({id}) => id === json.id));
    const visit = await clinic.addStudy(json.id);
    const page = await clinic.room.get(`/v1/studies/${visit.id}/summary`, {accept: 'text/html'});
    assert.ok(!page.text.includes('<b>'), 'markup in a name is text');
    assert.ok(page.text.includes('&lt;b&gt;&amp;amp;&lt;/b&gt;'));
  });
});

describe('a refusal before the body is read', () => {
  it('reaches a sender that does not wait for it', async () => {
    const body = Buffer.alloc(100_000_000, 0x20);
    for (let i = 0; i < 5; i++) {
      const answer = await clinic.room.expect(413, 'POST', '/v1/analyses', {
        body,
        headers: {'content-type': 'application/json'},
      });
      assert.equal(answer.headers.get('connection'), 'close');
    }
    const {stdout} = await run('sh', [
      '-c',
      `head -c 100000000 /dev/zero | curl -sS --noproxy '*' -o /dev/null -w '%{http_code}' -H 'Expect:' \
        -H 'Authorization: Bearer ${clinic.tokens.room}' -H 'Content-Type: application/json' \
        --data-binary @- '${url}/v1/analyses'`,
    ]);
    assert.equal(stdout, '413');
  });
});
