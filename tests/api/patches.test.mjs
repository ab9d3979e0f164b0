// Changes by merge patch (RFC 7396), bounds of time, and requests that cost more than they weigh.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {gzipSync} from 'node:zlib';
import {readFileSync} from 'node:fs';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('patches');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the patches');
});

after(() => installation.remove());

/** PATCHes a study as it stands now and gives it back. */
async function patch(study, json, status = 200) {
  const read = await clinic.as('physician').expect(200, 'GET', `/v1/studies/${study.id}`);
  return clinic.as('physician').expect(status, 'PATCH', `/v1/studies/${study.id}`, {
    json,
    headers: {'if-match': read.headers.get('etag')},
  });
}

describe('a merge patch of a study', () => {
  it('keeps what is not named and removes what is null', async () => {
    const study = await clinic.addVisit();
    await patch(study, {operator: 'N. Fernside', history: {diary: '8 voids', medication: 'none'}});
    const changed = await patch(study, {history: {diary: '9 voids'}});
    assert.deepEqual(changed.json.history, {diary: '9 voids', medication: 'none'});
    assert.equal(changed.json.operator, 'N. Fernside');
    const removed = await patch(study, {operator: null, history: {medication: null}});
    assert.deepEqual(removed.json.history, {diary: '9 voids'});
    assert.equal(removed.json.operator, '');
    assert.deepEqual((await patch(study, {history: null})).json.history, {});
  });

  it('does not take away what a study must have', async () => {
    const study = await clinic.addVisit();
    for (const room of ['', '   ', null]) {
      assert.deepEqual(pointers(await patch(study, {room}, 422)), ['/room']);
    }
    assert.deepEqual(pointers(await patch(study, {started_at: null}, 422)), ['/started_at']);
  });
});

describe('times', () => {
  it('lie between 1990 and 2100', async () => {
    for (const expires_at of ['1970-01-01T00:00:00Z', '1989-12-31T23:59:59Z', '2101-01-01T00:00:00Z']) {
      const json = {name: 'clock', roles: ['room'], expires_at};
      assert.deepEqual(pointers(await clinic.administrator.expect(422, 'POST', '/v1/tokens', {json})), [
        '/expires_at',
      ]);
    }
  });

  it('bound a list also at the epoch', async () => {
    await clinic.addVisit();
    const list = await clinic.room.expect(200, 'GET', '/v1/studies?to=1970-01-01T00:00:00Z');
    assert.deepEqual(list.json.items, []);
  });

  it('make no patient who is not born or older than anyone', async () => {
    for (const birth_date of ['0000-01-01', '2090-05-01', '1850-01-01', '2023-02-29']) {
      const json = {mrn: 'B-1', family_name: 'Fern', given_name: 'Ash', birth_date, sex: 'other'};
      assert.deepEqual(pointers(await clinic.room.expect(422, 'POST', '/v1/patients', {json})), ['/birth_date']);
    }
  });
});

describe('the recordings of a study', () => {
  it('are walked page by page', async () => {
    const study = await clinic.addVisit();
    const target = `/v1/studies/${study.id}/recordings`;
    for (let i = 0; i < 3; i++) await clinic.room.expect(201, 'POST', target, {json: {...FLOW, id: randomUUID()}});
    const seen = [];
    let cursor = '';
    do {
      const page = await clinic.room.expect(200, 'GET', `${target}?limit=2${cursor}`);
      seen.push(...page.json.items.map((item) => item.id));
      cursor = page.json.next_cursor === null ? '' : `&cursor=${page.json.next_cursor}`;
    } while (cursor);
    assert.equal(new Set(seen).size, 3);
    for (const [query, pointer] of [['limit=0', '?limit'], ['cursor=x', '?cursor'], ['foo=1', '?foo']]) {
      assert.deepEqual(pointers(await clinic.room.expect(422, 'GET', `${target}?${query}`)), [pointer]);
    }
  });

  it('give each signal once', async () => {
    const study = await clinic.addVisit();
    const made = await clinic.room.expect(201, 'POST', `/v1/studies/${study.id}/recordings`, {json: FLOW});
    const target = `/v1/recordings/${made.json.recording.id}/traces?signals=flow,flow`;
    assert.deepEqual(pointers(await clinic.room.expect(422, 'GET', target)), ['?signals']);
  });
});

/** Kibibytes of memory that the server holds. */
const residentKib = () =>
  Number(/^VmRSS:\s+(\d+)/m.exec(readFileSync(`/proc/${installation.process.pid}/status`, 'utf8'))[1]);

describe('a small request', () => {
  it('that unpacks to a crowd of values is refused before it is parsed', async () => {
    const body = gzipSync(`{"x":[${'{},'.repeat(1_300_000)}{}]}`);
    assert.ok(body.length < 20_000);
    const before = residentKib();
    const answer = await clinic.room.expect(400, 'POST', '/v1/analyses', {
      body,
      headers: {'content-encoding': 'gzip', 'content-type': 'application/json'},
    });
    assert.match(answer.json.errors[0].detail, /more than 50,000 objects and arrays/);
    assert.ok(residentKib() - before < 64 * 1024, 'memory stays bounded');
  });

  it('to sign in does not hold up the others, however many there are', async () => {
    const attempts = Array.from({length: 24}, () =>
      fetch(`${installation.url}/v1/sessions`, {
        method: 'POST',
        headers: {'content-type': 'application/json'},
        body: JSON.stringify({username: 'nobody', password: 'no password of anybody'}),
      }).then((answer) => [answer.status, answer.headers.get('retry-after')]),
    );
    await clinic.room.expect(200, 'GET', '/v1/studies?limit=1');
    const answers = await Promise.all(attempts);
    assert.ok(answers.some(([status]) => status === 401));
    for (const [status, retryAfter] of answers) {
      assert.ok(status === 401 || (status === 503 && Number(retryAfter) > 0), `${status}`);
    }
  });
});
