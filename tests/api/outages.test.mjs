// What was acknowledged is there, whole, whatever happened to the server or its database since; and
// what was not can be sent again without making a second one.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {connection, execute, rows} from './lib/database.mjs';
import {Installation} from './lib/installation.mjs';
import {asFloat32, asInt16, STARTED_AT} from './lib/recordings.mjs';

const BLOCK = 4096;

/** To two decimals; JSON has no -0. */
const rounded = (value) => Number(value.toFixed(2)) + 0;

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('crash');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the crashes');
});

after(() => installation.remove());

/** An upload with numbers of its own, in every encoding, of several blocks; `values` by signal is what
 * must come back. */
function makeUpload(studyId, number) {
  const wave = (count, height) =>
    Array.from({length: count}, (_, i) => rounded(height * Math.sin((i + number) / 20) + number));
  const decimal = {signal: 'pves', unit: 'cm[H2O]', rate_hz: 10, samples: wave(BLOCK + 1000, 20)};
  const int16 = asInt16({signal: 'pabd', unit: 'cm[H2O]', rate_hz: 10, samples: wave(BLOCK, 10)}, 0.01, number);
  const float32 = asFloat32({
    signal: 'flow',
    unit: 'mL/s',
    rate_hz: 10,
    samples: wave(3000, 5).map((value) => value + 5),
  });
  const id = randomUUID();
  const events = [{at_s: 10 + number / 10, code: 'cough'}];
  return {
    id,
    key: `upload-${id}`,
    studyId,
    body: JSON.stringify({
      id,
      type: 'pressure_flow',
      started_at: STARTED_AT,
      channels: [decimal, int16.channel, float32.channel],
      events,
    }),
    events,
    values: {pves: decimal.samples, pabd: int16.values, flow: float32.values},
  };
}

/** Sends it; the answer, or undefined when the connection broke. */
async function send(upload) {
  try {
    return await clinic.room.request('POST', `/v1/studies/${upload.studyId}/recordings`, {
      body: upload.body,
      headers: {'content-type': 'application/json', 'idempotency-key': upload.key},
    });
  } catch (error) {
    // Failed checks of an answer are errors too, and no broken connections.
    assert.ok(error instanceof TypeError && error.cause !== undefined, error);
    return undefined;
  }
}

/** Sends an upload again and again, as a room does, until it is acknowledged. */
async function sendUntilAcknowledged(upload) {
  for (let tries = 0; tries < 200; tries++) {
    const answer = await send(upload);
    if (answer?.status === 201) {
      return answer;
    }
    assert.ok(answer === undefined || answer.status === 503, `${answer?.what}: ${answer?.text}`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  throw new Error('never acknowledged');
}

/** What was acknowledged is what was sent, to the last sample. */
async function isThere(upload, acknowledged) {
  const target = `/v1/recordings/${upload.id}`;
  const [recording, analysis, events, traces] = await Promise.all(
    ['', '/analysis', '/events', '/traces?signals=pves,pabd,flow'].map((part) => clinic.room.get(target + part)),
  );
  assert.deepEqual(recording.json, acknowledged.recording);
  assert.deepEqual(analysis.json, acknowledged.analysis);
  assert.deepEqual(events.json, {revision: 1, events: upload.events});
  for (const {signal, samples} of traces.json.traces) {
    assert.deepEqual(samples, upload.values[signal], `${signal} of ${upload.id}`);
  }
  assert.equal(traces.json.traces.length, 3);
}

/** Recordings of a study that lack a channel, a block, a sample, a revision or an analysis. */
async function halves(studyId) {
  return installation.rows(`
    select r.id from penstock.recording r
     where r.study_id = '${studyId}'
       and not (
         (select count(*) from penstock.recording_channel c,
             lateral (select sum(sample_count) as samples, count(*) as blocks, max(block_number) as last
                        from penstock.sample_block b
                       where b.recording_id = c.recording_id and b.channel_number = c.number) found
           where c.recording_id = r.id and found.samples = c.sample_count
             and found.blocks = (c.sample_count + ${BLOCK - 1}) / ${BLOCK} and found.last = found.blocks - 1) = 3
         and (select count(*) from penstock.recording_revision v
               where v.recording_id = r.id and v.revision = 1
                 and v.analysis::json ->> 'type' = r.type and json_array_length(v.events) = 1) = 1
         and r.revision = 1)`);
}

const stored = async (studyId) =>
  (await installation.rows(`select id from penstock.recording where study_id = '${studyId}'`)).map(({id}) => id);

/** Connections of the server to its database. */
const backends = () =>
  rows(
    'postgres',
    `select pid from pg_stat_activity where datname = '${installation.database}' and usename = 'penstock_app'`,
  );

/** The dead server's last transactions may still be under way. */
async function untilBackendsAreGone() {
  for (let tries = 0; (await backends()).length > 0; tries++) {
    assert.ok(tries < 300, 'connections of the dead server remain');
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
}

/** Sends all at once and runs `disturb` as soon as `count` are acknowledged; all answers. */
async function sendAll(uploads, count, disturb) {
  let acknowledged = 0;
  let disturbed;
  const answers = await Promise.all(
    uploads.map(async (upload) => {
      const answer = await send(upload);
      acknowledged += answer?.status === 201 ? 1 : 0;
      if (acknowledged >= count) {
        disturbed ??= disturb();
      }
      return answer;
    }),
  );
  assert.ok(disturbed, 'all was over before anything could happen');
  await disturbed;
  return answers;
}

/** Those that were acknowledged are there; the others can be sent again; and each is there once. */
async function isMadeGood(uploads, answers, tell) {
  const {studyId} = uploads[0];
  const isAcknowledged = (_, i) => answers[i]?.status === 201;
  const acknowledged = uploads.filter(isAcknowledged);
  const open = uploads.filter((upload, i) => !isAcknowledged(upload, i));
  const before = await stored(studyId);
  assert.deepEqual(await halves(studyId), []);
  for (const [i, upload] of uploads.entries()) {
    if (isAcknowledged(upload, i)) {
      await isThere(upload, answers[i].json);
    }
  }
  const unsaid = open.filter(({id}) => before.includes(id)).length;
  assert.equal(before.length, acknowledged.length + unsaid);

  const again = await Promise.all(open.map(sendUntilAcknowledged));
  for (const [i, upload] of open.entries()) {
    await isThere(upload, again[i].json);
    assert.equal(again[i].headers.get('idempotent-replayed'), before.includes(upload.id) ? 'true' : null);
  }
  for (const [i, upload] of uploads.entries()) {
    if (isAcknowledged(upload, i)) {
      const repeated = await sendUntilAcknowledged(upload);
      assert.equal(repeated.text, answers[i].text);
    }
  }
  assert.deepEqual((await stored(studyId)).sort(), uploads.map(({id}) => id).sort());
  assert.deepEqual(await halves(studyId), []);
  tell(
    `${uploads.length} uploads: ${acknowledged.length} acknowledged and whole, ${unsaid} stored without an answer, ` +
      `${open.length - unsaid} not stored; none half, none double after repeating`,
  );
}

async function makeUploads(count) {
  const study = await clinic.addVisit();
  return Array.from({length: count}, (_, i) => makeUpload(study.id, i));
}

describe('a server that is killed in the middle of uploads', () => {
  for (const [total, count] of [
    [200, 60],
    [40, 1],
  ]) {
    it(`has what it acknowledged: ${total} uploads, killed after ${count}`, async (t) => {
      const uploads = await makeUploads(total);
      const answers = await sendAll(uploads, count, () => installation.kill());
      assert.ok(
        answers.some((answer) => answer === undefined),
        'it was killed in the middle',
      );
      await untilBackendsAreGone();
      await installation.start();
      await isMadeGood(uploads, answers, (text) => t.diagnostic(text));
    });
  }
});

describe('a database that drops its connections', () => {
  const drop = () =>
    execute(
      'postgres',
      `select pg_terminate_backend(pid) from pg_stat_activity where datname = '${installation.database}' and usename = 'penstock_app'`,
    );

  it('in the middle of uploads costs no more than a repetition', async (t) => {
    const uploads = await makeUploads(60);
    const answers = await sendAll(uploads, 5, async () => {
      for (let i = 0; i < 10; i++) {
        await drop();
      }
    });
    const statuses = new Set(answers.map((answer) => answer?.status));
    assert.ok(
      [...statuses].every((status) => status === 201 || status === 503),
      `answers: ${[...statuses]}`,
    );
    await isMadeGood(uploads, answers, (text) => t.diagnostic(text));
  });

  it('between requests is not noticed', async () => {
    const [upload] = await makeUploads(1);
    const answer = await sendUntilAcknowledged(upload);
    for (let i = 0; i < 8; i++) {
      await drop();
      await isThere(upload, answer.json);
    }
  });
});

describe('a database that is away', () => {
  const allow = (is) => execute('postgres', `alter database ${installation.database} allow_connections ${is}`);

  after(() => allow(true));

  it('is answered with 503 and Retry-After, and all is well when it is back', async () => {
    const [kept, late] = await makeUploads(2);
    const answer = await sendUntilAcknowledged(kept);
    const open = new Client(installation.url);
    await allow(false);
    await execute(
      'postgres',
      `select pg_terminate_backend(pid) from pg_stat_activity where datname = '${installation.database}'`,
    );
    for (let i = 0; i < 6; i++) {
      await clinic.room.expect(503, 'GET', `/v1/recordings/${kept.id}`);
    }
    assert.equal((await send(late)).status, 503);
    await open.expect(503, 'GET', '/readyz');
    await open.expect(503, 'POST', '/v1/sessions', {json: {username: 'someone', password: 'something long'}});
    await open.get('/healthz');
    await open.get('/sign-in');
    await allow(true);
    await sendUntilAcknowledged(late);
    await open.get('/readyz');
    await isThere(kept, answer.json);
    assert.deepEqual(await halves(kept.studyId), []);
    assert.equal((await stored(kept.studyId)).length, 2);
  });
});

describe('a server that is asked to end', () => {
  it('answers what it has accepted first', async (t) => {
    const uploads = await makeUploads(60);
    const open = new Client(installation.url);
    const answers = await sendAll(uploads, 1, async () => {
      // What is answered here came after the uploads, so those have been accepted.
      for (let i = 0; i < 3; i++) {
        await open.get('/healthz');
      }
      await installation.stop();
    });
    const count = (status) => answers.filter((answer) => answer?.status === status).length;
    t.diagnostic(`${count(201)} acknowledged, ${count(503)} sent away`);
    assert.equal(count(201) + count(503), uploads.length, 'each has an answer');
    assert.ok(count(201) >= 1);
    await assert.rejects(fetch(`${installation.url}/healthz`), 'nobody listens any more');
    await installation.start();
    await isMadeGood(uploads, answers, (text) => t.diagnostic(text));
  });
});

describe('a server without a database', () => {
  it('starts, says so, and tells no secret', async () => {
    const password = 'hunter2hunter2';
    await installation.stop();
    await installation.start({
      PENSTOCK_DATABASE: `${connection('penstock_no_such_database', 'penstock_app')} password=${password}`,
    });
    const {text} = await new Client(installation.url).expect(503, 'GET', '/readyz');
    assert.ok(!text.includes(password));
    await installation.stop();
    assert.ok(!installation.logTail().includes(password));
    await installation.start();
    await new Client(installation.url).get('/readyz');
  });
});
