// What was acknowledged is there, whole, when the server is asked to end or its database goes away; and
// what was not can be sent again without making a second one. tests/faults has what comes without warning.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {connection, execute} from './lib/database.mjs';
import {Installation} from './lib/installation.mjs';
import {halves, isThere, makeUpload} from './lib/uploads.mjs';

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('outages');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the outages');
});

after(() => installation.remove());

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

const stored = async (studyId) =>
  (await installation.rows(`select id from penstock.recording where study_id = '${studyId}'`)).map(({id}) => id);

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
  assert.deepEqual(await halves(installation, studyId), []);
  for (const [i, upload] of uploads.entries()) {
    if (isAcknowledged(upload, i)) {
      await isThere(clinic.room, upload, answers[i].json);
    }
  }
  const unsaid = open.filter(({id}) => before.includes(id)).length;
  assert.equal(before.length, acknowledged.length + unsaid);

  const again = await Promise.all(open.map(sendUntilAcknowledged));
  for (const [i, upload] of open.entries()) {
    await isThere(clinic.room, upload, again[i].json);
    assert.equal(again[i].headers.get('idempotent-replayed'), before.includes(upload.id) ? 'true' : null);
  }
  for (const [i, upload] of uploads.entries()) {
    if (isAcknowledged(upload, i)) {
      const repeated = await sendUntilAcknowledged(upload);
      assert.equal(repeated.text, answers[i].text);
    }
  }
  assert.deepEqual((await stored(studyId)).sort(), uploads.map(({id}) => id).sort());
  assert.deepEqual(await halves(installation, studyId), []);
  tell(
    `${uploads.length} uploads: ${acknowledged.length} acknowledged and whole, ${unsaid} stored without an answer, ` +
      `${open.length - unsaid} not stored; none half, none double after repeating`,
  );
}

async function makeUploads(count) {
  const study = await clinic.addVisit();
  return Array.from({length: count}, (_, i) => makeUpload(study.id, i));
}

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
      await isThere(clinic.room, upload, answer.json);
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
    await isThere(clinic.room, kept, answer.json);
    assert.deepEqual(await halves(installation, kept.studyId), []);
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
