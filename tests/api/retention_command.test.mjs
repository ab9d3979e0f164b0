// Recordings that were kept as long as the clinic decided are withdrawn: penstock-server retention.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {after, before, describe, it} from 'node:test';
import {Clinic} from './lib/clinic.mjs';
import {serverProgram} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const YEAR_MS = 365.25 * 86_400_000;
const {document: FLOW} = uroflowmetry({grid: {rate_hz: 10, duration_s: 45}});

let installation;
let clinic;
let other;

before(async () => {
  installation = await Installation.create('retention');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the old recordings');
  other = await Clinic.open(installation, 'Clinic that keeps everything');
});

after(() => installation.remove());

/** Runs the command; its exit code and what it printed. */
function retention(options = [], environment = {}) {
  return new Promise((resolve) => {
    execFile(
      serverProgram(),
      ['retention', ...options],
      {env: installation.environment(environment)},
      (error, stdout, stderr) => resolve({code: error === null ? 0 : error.code, stdout, stderr}),
    );
  });
}

/** What the command counted for a clinic. */
function counts(stdout, one = clinic) {
  const line = stdout.split('\n').find((text) => text.startsWith(`clinic ${one.id}: `));
  assert.ok(line, `no line for the clinic in: ${stdout}`);
  const [done, failed] = line.slice(line.indexOf(': ')).match(/\d+/g).map(Number);
  return {done, failed};
}

/** The clinic decides anew; null: for ever. */
const decide = (one, keep_years, keep_until_age_years = null) =>
  installation.execute(
    `insert into penstock.retention_rule (clinic_id, version, keep_years, keep_until_age_years)
     select '${one.id}', count(*) + 1, ${keep_years}, ${keep_until_age_years}
     from penstock.retention_rule where clinic_id = '${one.id}'`,
  );

/** A recording of a visit so many years ago. */
async function upload(one, years_ago, patient = {}) {
  const started_at = new Date(Date.now() - years_ago * YEAR_MS).toISOString();
  const study = await one.addVisit(patient, {started_at});
  const {json} = await one.addRecording(study.id, {...FLOW, started_at});
  return {study, id: json.recording.id};
}

const sign = ({study}) => clinic.signAnyway(`s.id = '${study.id}'`);

/** State and version of a recording, and its changes as {change, reason, created_by}. */
async function stateOf({id}) {
  const [row] = await installation.rows(`select state, version from penstock.recording where id = '${id}'`);
  const changes = await installation.rows(
    `select change, reason, created_by, version from penstock.recording_change
     where recording_id = '${id}' order by version`,
  );
  return {...row, changes};
}

/** Polls until `isTrue` holds. */
async function until(isTrue) {
  for (const end = Date.now() + 20_000; !(await isTrue()); ) {
    assert.ok(Date.now() < end, 'in vain');
  }
}

const states = (uploads) => Promise.all(uploads.map(async (one) => (await stateOf(one)).state));

/** Everything of recordings that the command could change. */
const everything = () =>
  installation.rows(
    `select r.id, r.state, r.version, (select count(*) from penstock.recording_change c
       where c.recording_id = r.id) as changes from penstock.recording r order by r.id`,
  );

describe('retention', () => {
  it('does nothing where no clinic has decided anything', async () => {
    const old = await upload(clinic, 30);
    await upload(other, 30);
    const before = await everything();
    const {code, stdout} = await retention();
    assert.equal(code, 0);
    assert.deepEqual(counts(stdout), {done: 0, failed: 0});
    assert.deepEqual(counts(stdout, other), {done: 0, failed: 0});
    assert.deepEqual(await everything(), before);
    await installation.execute(
      `update penstock.recording set state = 'withdrawn', version = version + 1 where id = '${old.id}'`,
    );
  });

  it('only counts in a dry run', async () => {
    const uploads = [await upload(clinic, 11), await upload(clinic, 12), await upload(clinic, 9)];
    await decide(clinic, 10);
    const before = await everything();
    const {code, stdout, stderr} = await retention(['--dry-run']);
    assert.equal(code, 0);
    assert.deepEqual(counts(stdout), {done: 2, failed: 0});
    assert.match(stdout, /to be withdrawn/);
    assert.equal(stderr, '');
    assert.deepEqual(await everything(), before);
    assert.deepEqual(await states(uploads), ['complete', 'complete', 'complete']);
  });

  it('withdraws what is due, says why, and leaves the rest', async () => {
    const due = await upload(clinic, 10.1);
    const recent = await upload(clinic, 9.9);
    const signed = await upload(clinic, 15);
    const amended = await upload(clinic, 15);
    const signedRecent = await upload(clinic, 2);
    await sign(signed);
    await sign(amended);
    await sign(amended);
    await sign(signedRecent);
    const {code, stdout, stderr} = await retention();
    assert.equal(code, 0, stderr);
    assert.deepEqual(counts(stdout), {done: 5, failed: 0}, 'these three and the two of the dry run');
    assert.deepEqual(counts(stdout, other), {done: 0, failed: 0});
    const all = [due, signed, amended, recent, signedRecent];
    assert.deepEqual(await states(all), ['withdrawn', 'withdrawn', 'withdrawn', 'complete', 'complete']);
    assert.deepEqual(await stateOf(due), {
      state: 'withdrawn',
      version: 2,
      changes: [
        {change: 'withdrawn', reason: 'kept for 10 years, as the clinic decided', created_by: null, version: 2},
      ],
    });
    const lines = stderr
      .split('\n')
      .filter(Boolean)
      .map((text) => JSON.parse(text));
    assert.equal(lines.length, 5, 'a line each');
    const line = lines.find(({recording_id}) => recording_id === signed.id);
    assert.equal(line.event, 'withdrawn');
    assert.equal(line.clinic_id, clinic.id);
  });

  it('does nothing a second time', async () => {
    const before = await everything();
    const {code, stdout, stderr} = await retention();
    assert.equal(code, 0);
    assert.deepEqual(counts(stdout), {done: 0, failed: 0});
    assert.equal(stderr, '');
    assert.deepEqual(await everything(), before);
  });

  it('waits until the patient is old enough, where the clinic says so', async () => {
    const birth = (years) => new Date(Date.now() - years * YEAR_MS).toISOString().slice(0, 10);
    const child = await upload(clinic, 13, {birth_date: birth(20)});
    const grown = await upload(clinic, 13, {birth_date: birth(29)});
    await decide(clinic, 10, 28);
    const {code, stdout} = await retention(['--clinic', clinic.id]);
    assert.equal(code, 0);
    assert.equal(stdout.trim().split('\n').length, 1, 'one clinic, one line');
    assert.equal(counts(stdout).done, 1);
    assert.deepEqual(await states([child, grown]), ['complete', 'withdrawn']);
    const [{reason}] = (await stateOf(grown)).changes;
    assert.equal(reason, 'kept for 10 years and until the patient was 28, as the clinic decided');
  });

  it('works through more than a page, and tries again what changed meanwhile', async () => {
    const started_at = new Date(Date.now() - 5 * YEAR_MS).toISOString();
    const study = await clinic.addVisit({}, {started_at});
    const ids = [];
    for (let i = 0; i < 120; i++) {
      const document = {...FLOW, started_at: new Date(Date.parse(started_at) + 60_000 * i).toISOString()};
      ids.push((await clinic.addRecording(study.id, document)).json.recording.id);
    }
    await decide(clinic, 1);
    // Somebody changes one of them, and is done only when the command waits for it already.
    const [changed] = ids.slice().sort();
    const change = installation.execute(
      `set session_replication_role = replica; begin;
       update penstock.recording set version = version + 1 where id = '${changed}';
       select pg_sleep(3); commit`,
    );
    await until(async () => {
      const [{count}] = await installation.rows(
        `select count(*)::int from pg_stat_activity where wait_event = 'PgSleep' and datname = current_database()`,
      );
      return count === 1;
    });
    const {code, stdout, stderr} = await retention(['--clinic', clinic.id]);
    await change;
    assert.match(stderr, new RegExp(`"not_withdrawn","recording_id":"${changed}","detail":"[^"]*has version 2`));
    assert.equal((await stateOf({id: changed})).version, 3);
    assert.equal(code, 0, stdout);
    assert.equal(counts(stdout).failed, 0);
    const left = await installation.rows(
      `select id from penstock.recording where study_id = '${study.id}' and state <> 'withdrawn'`,
    );
    assert.deepEqual(left, []);
    const [{count}] = await installation.rows(
      `select count(*)::int from penstock.recording_change c join penstock.recording r on r.id = c.recording_id
       where r.study_id = '${study.id}' and c.version = r.version`,
    );
    assert.equal(count, 120);
  });

  it('goes on after a recording that cannot be withdrawn, and says so', async () => {
    const uploads = [await upload(clinic, 3), await upload(clinic, 3), await upload(clinic, 3)];
    // Somebody has noted a change that the recording does not know: its next version is taken.
    await installation.execute(
      `insert into penstock.recording_change (clinic_id, recording_id, version, change)
       values ('${clinic.id}', '${uploads[1].id}', 2, 'restored')`,
    );
    const {code, stdout, stderr} = await retention(['--clinic', clinic.id]);
    assert.equal(code, 1, 'not everything is done');
    assert.match(stderr, new RegExp(`not_withdrawn.*${uploads[1].id}`));
    assert.equal(counts(stdout).failed, 1);
    assert.deepEqual(await states(uploads), ['withdrawn', 'complete', 'withdrawn']);
  });
});

describe('retention refuses', () => {
  it('options that it does not know', async () => {
    for (const options of [['--all'], ['--clinic'], ['x']]) {
      assert.equal((await retention(options)).code, 2, options.join(' '));
    }
  });

  it('a clinic that is none', async () => {
    assert.equal((await retention(['--clinic', 'x'])).code, 1);
    assert.equal((await retention(['--clinic', '00000000-0000-7000-8000-000000000000'])).code, 1);
  });
});
