// How long a clinic keeps recordings: who decides it, and how.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';

const TARGET = '/v1/retention';

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('retention');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic that keeps');
});

after(() => installation.remove());

const FOR_EVER = {version: 0, keep_years: null, keep_until_age_years: null};

const tag = (version) => `"${version}"`;

/** The version of the rule now; tests share the clinic, so each begins where the one before ended. */
const versionNow = async () => (await clinic.room.get(TARGET)).json.version;

const decide = async (rule) => (await clinic.administrator.put(TARGET, rule, tag(await versionNow()))).json;

describe('the rule of retention', () => {
  it('is to keep for ever until a clinic decides, each for itself', async () => {
    const other = await Clinic.open(installation, 'Clinic that has not decided');
    const {json, headers} = await other.room.get(TARGET);
    assert.deepEqual([json, headers.get('etag')], [FOR_EVER, '"0"']);
    const decided = await clinic.administrator.put(TARGET, {keep_years: 30, keep_until_age_years: 28}, '"0"');
    assert.deepEqual(decided.json, {version: 1, keep_years: 30, keep_until_age_years: 28});
    assert.equal(decided.headers.get('etag'), '"1"');
    assert.deepEqual((await clinic.as('integration').get(TARGET)).json, decided.json);
    assert.deepEqual((await other.room.get(TARGET)).json, FOR_EVER);
  });

  it('has versions, of which the earlier ones stay', async () => {
    const first = await versionNow();
    const rules = [
      {keep_years: 10},
      {keep_years: 1, keep_until_age_years: null},
      {},
      {keep_years: 200, keep_until_age_years: 1},
    ];
    for (const [i, rule] of rules.entries()) {
      const json = await decide(rule);
      assert.deepEqual(json, {...FOR_EVER, ...rule, version: first + i + 1});
      assert.deepEqual((await clinic.administrator.get(TARGET)).json, json);
    }
    const kept = await installation.rows(
      `select keep_years from penstock.retention_rule where clinic_id = '${clinic.id}' and version > ${first}
       order by version`,
    );
    assert.deepEqual(
      kept.map(({keep_years}) => keep_years),
      [10, 1, null, 200],
    );
  });

  it('is changed by who has seen it: 428 and 412, and by one of many at a time', async () => {
    const now = tag(await versionNow());
    const json = {keep_years: 20};
    await installation.unchanged(async () => {
      await clinic.administrator.expect(428, 'PUT', TARGET, {json});
      for (const stale of ['"999"', `W/${now}`, '0', '"0"']) {
        await clinic.administrator.expect(412, 'PUT', TARGET, {json, headers: {'if-match': stale}});
      }
    });
    const answers = await Promise.all(
      [21, 22, 23, 24].map((keep_years) =>
        clinic.administrator.request('PUT', TARGET, {json: {keep_years}, headers: {'if-match': now}}),
      ),
    );
    assert.deepEqual(answers.map(({status}) => status).sort(), [200, 412, 412, 412]);
    const winner = answers.find(({status}) => status === 200);
    assert.deepEqual((await clinic.room.get(TARGET)).json, winner.json);
  });

  it('lets go of signed recordings when they have been kept long enough, for good', async () => {
    const patient = await clinic.addPatient({birth_date: '1961-04-30'});
    const study = await clinic.addStudy(patient.id, {started_at: '2020-03-02T09:00:00+01:00'});
    const target = `/v1/recordings/${(await clinic.addRecording(study.id, uroflowmetry().document)).json.recording.id}`;
    await clinic.sign(study.id);
    const change = (status, what, etag) =>
      clinic.as('physician').expect(status, 'POST', `${target}/${what}`, {
        json: {reason: 'kept long enough'},
        headers: {'if-match': etag},
      });
    for (const rule of [{}, {keep_years: 100}, {keep_years: 2, keep_until_age_years: 120}]) {
      await decide(rule);
      await installation.unchanged(() => change(409, 'withdrawal', '"1"'));
    }
    await decide({keep_years: 2, keep_until_age_years: 28});
    await change(200, 'withdrawal', '"1"');
    await clinic.as('physician').expect(410, 'GET', `${target}/analysis`);
    const refused = await change(409, 'restoration', '"2"');
    assert.match(refused.json.detail, /signed/);
  });

  it('is refused with every fault named', async () => {
    const now = tag(await versionNow());
    await installation.unchanged(async () => {
      for (const [json, expected] of [
        [{keep_years: 0}, ['/keep_years']],
        [{keep_years: 201}, ['/keep_years']],
        [{keep_years: 1.5, keep_until_age_years: 0.5}, ['/keep_until_age_years', '/keep_years']],
        [{keep_years: '30'}, ['/keep_years']],
        [{keep_until_age_years: 18}, ['/keep_until_age_years']],
        [{keep_years: 30, keep_days: 3, version: 1}, ['/keep_days', '/version']],
      ]) {
        const answer = await clinic.administrator.expect(422, 'PUT', TARGET, {json, headers: {'if-match': now}});
        assert.deepEqual(pointers(answer), expected, JSON.stringify(json));
      }
      const headers = {'if-match': now, 'content-type': 'application/json'};
      await clinic.administrator.expect(400, 'PUT', TARGET, {body: '{"keep_years":1,"keep_years":2}', headers});
    });
  });

  it('is an administrator’s to decide, and to be read by who reads recordings', async () => {
    const options = {json: {keep_years: 5}, headers: {'if-match': tag(await versionNow())}};
    await installation.unchanged(async () => {
      for (const role of ['room', 'clinician', 'physician', 'integration', 'referrer', 'auditor']) {
        await clinic.as(role).expect(403, 'PUT', TARGET, options);
      }
      for (const role of ['referrer', 'auditor']) {
        await clinic.as(role).expect(403, 'GET', TARGET);
      }
    });
    await clinic.as('administrator').expect(200, 'PUT', TARGET, options);
  });
});
