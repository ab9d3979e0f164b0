// What README.md and api-docs/ show is what happens.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {readdirSync, writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {promisify} from 'node:util';
import {Clinic} from './lib/clinic.mjs';
import {checkSchema} from './lib/contract.mjs';
import {readSource, SOURCE} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';

const run = promisify(execFile);

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('readme');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the README');
});

after(() => installation.remove());

/** The fenced block ```sh example of a page, and the block ```text that follows it. */
function exampleOf(markdown) {
  const found = /^```sh example\n(.*?)^```$.*?^```text\n(.*?)^```$/ms.exec(markdown);
  assert.ok(found, 'the page has an example and what it prints');
  return {script: found[1], printed: found[2]};
}

const lines = (text) =>
  text
    .split('\n')
    .map((line) => line.trimEnd())
    .filter(Boolean);

describe('the example in README.md', () => {
  it('prints what the page says, also when it is repeated', async () => {
    const {script, printed} = exampleOf(readSource('README.md'));
    const state = {base_url: installation.url, users: [], tokens: clinic.tokens};
    writeFileSync(path.join(installation.folder, 'demo.json'), JSON.stringify(state));
    const environment = {...process.env, PENSTOCK_STATE: installation.folder, no_proxy: '127.0.0.1'};
    for (let i = 0; i < 2; i++) {
      const {stdout, stderr} = await run('bash', ['-euo', 'pipefail', '-c', script], {cwd: SOURCE, env: environment});
      assert.deepEqual(lines(stdout), lines(printed));
      assert.equal(stderr, '');
    }
    const {recording, patient, study} = await installation.contents();
    assert.deepEqual({recording, patient, study}, {recording: 1, patient: 1, study: 1});
  });
});

/** Which schema each document of api-docs/examples is one of. */
const EXAMPLES = {
  'patient.json': 'PatientInput',
  'study.json': 'StudyInput',
  'uroflowmetry.json': 'RecordingInput',
  'analysis-request.json': 'AnalysisInput',
  'choices.json': 'ChoicesInput',
  'recording-opening.json': 'RecordingOpening',
  'piece.json': 'Piece',
  'completion.json': 'Completion',
  'retention.json': 'RetentionInput',
  'device.json': 'DeviceInput',
  'verification.json': 'VerificationInput',
};

describe('the documents in api-docs/examples', () => {
  const example = (name) => JSON.parse(readSource(path.join('api-docs/examples', name)));

  it('fit their schemas, all of them', () => {
    assert.deepEqual(readdirSync(path.join(SOURCE, 'api-docs/examples')).sort(), Object.keys(EXAMPLES).sort());
    for (const [name, schema] of Object.entries(EXAMPLES)) {
      checkSchema(schema, example(name));
    }
  });

  it('are accepted by a clinic that has none of them', async () => {
    const other = await Clinic.open(installation, 'Clinic of the examples');
    await other.room.post('/v1/patients', example('patient.json'));
    const study = await other.room.post('/v1/studies', example('study.json'));
    const {json} = await other.addRecording(study.json.id, example('uroflowmetry.json'));
    const analysed = await other.room.expect(200, 'POST', '/v1/analyses', {json: example('analysis-request.json')});
    assert.ok(json.analysis.sections.uroflow.qmax.value > 0);
    assert.ok(analysed.json.sections.uroflow.qmax.value > 0);
    const opened = await other.room.post('/v1/recordings', example('recording-opening.json'));
    await other.room.expect(200, 'PUT', `/v1/recordings/${opened.json.id}/chunks/0`, {json: example('piece.json')});
    const completion = {json: example('completion.json')};
    const whole = await other.room.expect(200, 'POST', `/v1/recordings/${opened.json.id}/completion`, completion);
    assert.ok(whole.json.analysis.sections.uroflow.qmax.value > 0);
    await other.administrator.put('/v1/retention', example('retention.json'), '"0"');
    const device = await other.administrator.post('/v1/devices', example('device.json'));
    const checked = await other.room.post(`/v1/devices/${device.json.id}/verifications`, example('verification.json'));
    assert.equal(checked.json.verdict, 'passed');
    const {choices} = example('choices.json');
    const chosen = await other.administrator.put('/v1/analysis-choices', {choices}, '"0"');
    for (const {code, value, standard} of chosen.json.items) {
      assert.equal(value, choices[code] ?? standard, code);
    }
  });
});
