// Documents of an older analysis are made anew: penstock-server recompute.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Clinic} from './lib/clinic.mjs';
import {serverProgram} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {pressureFlow, uroflowmetry} from './lib/recordings.mjs';

let installation;
let clinic;
let other;

before(async () => {
  installation = await Installation.create('recompute');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the old documents');
  other = await Clinic.open(installation, 'Clinic beside it');
});

after(() => installation.remove());

/** Runs the command; its exit code and what it printed. */
function recompute(options = [], environment = {}) {
  return new Promise((resolve) => {
    execFile(
      serverProgram(),
      ['recompute', ...options],
      {env: installation.environment(environment)},
      (error, stdout, stderr) => resolve({code: error === null ? 0 : error.code, stdout, stderr}),
    );
  });
}

/** What the command counted for a clinic. */
function counts(stdout, one = clinic) {
  const line = stdout.split('\n').find((text) => text.startsWith(`clinic ${one.id}: `));
  assert.ok(line, `no line for the clinic in: ${stdout}`);
  const [made, kept, failed] = line.slice(line.indexOf(': ')).match(/\d+/g).map(Number);
  return {made, kept, failed};
}

async function upload(one, document = uroflowmetry().document) {
  const study = await one.addVisit();
  const {json} = await one.addRecording(study.id, document);
  return {study, id: json.recording.id, analysis: json.analysis};
}

/** Makes the newest document look as if an analysis from before versions were kept had made it. */
async function age(id, version = '') {
  await installation.execute(
    `set session_replication_role = replica;
     update penstock.recording_revision v set analysis_version = '${version}',
       analysis = replace(analysis, '"source":"computed"', '"source":"entered"')
     where recording_id = '${id}'
       and revision = (select max(revision) from penstock.recording_revision where recording_id = v.recording_id)`,
  );
}

const analysisOf = async (one, id, query = '') => one.as('clinician').get(`/v1/recordings/${id}/analysis${query}`);

const cancel = (study) =>
  installation.execute(`update penstock.study set status = 'cancelled' where id = '${study.id}'`);

const revisions = (id) =>
  installation.rows(
    `select revision, reason, created_by, analysis_version, events::text as events
     from penstock.recording_revision where recording_id = '${id}' order by revision`,
  );

describe('recompute', () => {
  it('makes a revision with the same events and the numbers of now', async () => {
    const {document} = pressureFlow();
    const {id, analysis} = await upload(clinic, document);
    await age(id);
    const {code, stdout} = await recompute();
    assert.equal(code, 0);
    assert.deepEqual(counts(stdout), {made: 1, kept: 0, failed: 0});
    assert.deepEqual(counts(stdout, other), {made: 0, kept: 0, failed: 0});
    const answer = await analysisOf(clinic, id);
    assert.equal(answer.headers.get('etag'), '"2"');
    assert.deepEqual(answer.json, {...analysis, revision: 2});
    assert.notDeepEqual((await analysisOf(clinic, id, '?revision=1')).json, analysis, 'the old document stays');
    const events = await clinic.room.get(`/v1/recordings/${id}/events`);
    assert.deepEqual(events.json, {revision: 2, events: document.events});
    const [first, second] = await revisions(id);
    assert.equal(first.reason, '');
    assert.match(second.reason, /made anew/);
    assert.equal(second.created_by, null);
    assert.equal(second.events, first.events);
    assert.equal(second.analysis_version, analysis.software.analysis_version);
  });

  it('does nothing a second time', async () => {
    const before = await installation.contents();
    const {code, stdout} = await recompute();
    assert.equal(code, 0);
    assert.equal(counts(stdout).made, 0);
    assert.deepEqual(await installation.contents(), before);
  });

  it('only counts in a dry run', async () => {
    const {id} = await upload(clinic);
    await age(id, '0.0.9');
    const before = await installation.contents();
    const {code, stdout} = await recompute(['--dry-run']);
    assert.equal(code, 0);
    assert.deepEqual(counts(stdout), {made: 1, kept: 0, failed: 0});
    assert.match(stdout, /to be recomputed/);
    assert.deepEqual(await installation.contents(), before);
    await recompute();
  });

  it('leaves a document of a newer analysis alone', async () => {
    const {id} = await upload(clinic);
    await age(id, '999.0.0');
    assert.equal(counts((await recompute()).stdout).made, 0);
    assert.equal((await revisions(id)).length, 1);
  });

  it('leaves signed and cancelled studies as they are', async () => {
    const kept = [];
    const sign = ({id}) => clinic.sign(id);
    const amend = async ({id}) => {
      await clinic.sign(id);
      await clinic.amend(id);
    };
    for (const close of [sign, amend, cancel]) {
      const {study, id} = await upload(clinic);
      await age(id);
      await close(study);
      kept.push({id, text: (await analysisOf(clinic, id)).text});
    }
    const open = await upload(clinic);
    await age(open.id);
    const {code, stdout} = await recompute();
    assert.equal(code, 0);
    assert.deepEqual(counts(stdout), {made: 1, kept: 3, failed: 0});
    for (const {id, text} of kept) {
      assert.equal((await analysisOf(clinic, id)).text, text);
      assert.equal((await revisions(id)).length, 1);
    }
    assert.equal((await revisions(open.id)).length, 2);
  });

  it('goes on after a recording that cannot be read, and says so', async () => {
    const uploads = [await upload(clinic), await upload(clinic), await upload(clinic)];
    for (const {id} of uploads) {
      await age(id);
    }
    await installation.execute(
      `set session_replication_role = replica;
       update penstock.sample_block set data = set_byte(data, 20, get_byte(data, 20) # 1)
       where recording_id = '${uploads[1].id}'`,
    );
    const {code, stdout, stderr} = await recompute();
    assert.equal(code, 1);
    const {made, failed} = counts(stdout);
    assert.deepEqual({made, failed}, {made: 2, failed: 1});
    const line = stderr
      .split('\n')
      .filter(Boolean)
      .map((text) => JSON.parse(text))
      .find(({recording_id}) => recording_id === uploads[1].id);
    assert.match(line.detail, /block/);
    assert.deepEqual(await Promise.all(uploads.map(async ({id}) => (await revisions(id)).length)), [2, 1, 2]);
    assert.equal(counts((await recompute()).stdout).failed, 1, 'it stays to be done');
    await cancel(uploads[1].study);
  });

  it('works through more than a page of recordings, with what the clinic has chosen', async () => {
    const study = await other.addVisit();
    const {document} = uroflowmetry({grid: {rate_hz: 10, duration_s: 45}});
    const ids = [];
    for (let i = 0; i < 130; i++) {
      ids.push((await other.addRecording(study.id, {...document, id: randomUUID()})).json.recording.id);
    }
    await installation.execute(
      `set session_replication_role = replica;
       update penstock.recording_revision set analysis_version = '0.1' where clinic_id = '${other.id}'`,
    );
    await other.administrator.put('/v1/analysis-choices', {choices: {voiding_efficiency_low: 80}}, '"0"');
    const {code, stdout} = await recompute(['--clinic', other.id]);
    assert.equal(code, 0);
    assert.equal(stdout.trim().split('\n').length, 1, 'one clinic, one line');
    assert.equal(counts(stdout, other).made, 130);
    for (const id of [ids[0], ids[99], ids[100], ids[129]]) {
      const {json} = await analysisOf(other, id);
      assert.equal(json.revision, 2);
      assert.equal(json.choices.voiding_efficiency_low, 80);
    }
  });

  it('and people who change events at the same time lose nothing', async () => {
    const {document} = uroflowmetry();
    const uploads = [];
    for (let i = 0; i < 12; i++) {
      uploads.push(await upload(clinic, document));
      await age(uploads[i].id);
    }
    const change = async ({id}) => {
      for (;;) {
        const {headers} = await clinic.room.get(`/v1/recordings/${id}/events`);
        const answer = await clinic.room.request('PUT', `/v1/recordings/${id}/events`, {
          json: {events: [{at_s: 3, code: 'comment', note: 'seen'}]},
          headers: {'if-match': headers.get('etag')},
        });
        if (answer.status === 200) {
          return;
        }
        assert.equal(answer.status, 412);
      }
    };
    const [{code, stdout}] = await Promise.all([recompute(), ...uploads.map(change)]);
    assert.equal(code, 0, stdout);
    for (const {id} of uploads) {
      const all = await revisions(id);
      assert.deepEqual(
        all.map(({revision}) => revision),
        all.map((_, i) => i + 1),
      );
      assert.match(all.at(-1).events, /seen/);
      assert.notEqual(all.at(-1).analysis_version, '');
    }
    assert.equal(counts((await recompute()).stdout).made, 0);
  });
});

describe('recompute refuses', () => {
  it('options that it does not know', async () => {
    for (const options of [['--all'], ['--clinic'], ['x']]) {
      assert.equal((await recompute(options)).code, 2, options.join(' '));
    }
  });

  it('a clinic that is none', async () => {
    assert.equal((await recompute(['--clinic', 'x'])).code, 1);
    assert.equal((await recompute(['--clinic', '00000000-0000-7000-8000-000000000000'])).code, 1);
  });

  it('to look for clinics with the rights of the server alone', async () => {
    const {code, stderr} = await recompute([], {PENSTOCK_OWNER_DATABASE: ''});
    assert.equal(code, 1);
    assert.match(stderr, /PENSTOCK_OWNER_DATABASE/);
    assert.equal((await recompute(['--clinic', clinic.id], {PENSTOCK_OWNER_DATABASE: ''})).code, 0);
  });

  it('to pretend when there is no database', async () => {
    const {code} = await recompute([], {PENSTOCK_DATABASE: '', PENSTOCK_OWNER_DATABASE: ''});
    assert.equal(code, 1);
    const missing = 'host=/nonexistent dbname=none';
    assert.equal((await recompute([], {PENSTOCK_DATABASE: missing, PENSTOCK_OWNER_DATABASE: missing})).code, 1);
  });
});
