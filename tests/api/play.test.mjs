// demo-data/play: a stored recording, played as one that runs. What arrives is what was stored, but for
// the pieces that were to be lost.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {promisify} from 'node:util';
import {Clinic} from './lib/clinic.mjs';
import {SOURCE} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {Flow, STARTED_AT, channel} from './lib/recordings.mjs';

const run = promisify(execFile);
const DURATION_S = 40;

// Two rates, a late start, a sample that is missing, an event at the very end.
function voiding() {
  const flow = new Flow(18, 4, 30);
  const document = {
    type: 'uroflowmetry',
    started_at: STARTED_AT,
    conditions: {position: 'sitting', post_void_residual_ml: 25},
    channels: [
      channel('flow', 'mL/s', {rate_hz: 10, duration_s: DURATION_S, decimals: 2}, (t) => flow.at(t)),
      channel('vvoid', 'mL', {rate_hz: 4, start_s: 1.5, duration_s: DURATION_S, decimals: 1}, (t) => flow.volumeAt(t)),
    ],
    events: [
      {at_s: 3, code: 'permission_to_void'},
      {at_s: DURATION_S + 0.5, code: 'comment', note: 'up again'},
    ],
  };
  document.channels[0].samples[123] = null;
  return document;
}

let installation;
let clinic;
let stored;

before(async () => {
  installation = await Installation.create('play');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the player');
  const state = {base_url: installation.url, users: [], tokens: clinic.tokens};
  writeFileSync(path.join(installation.folder, 'demo.json'), JSON.stringify(state));
  const study = await clinic.addVisit();
  stored = (await clinic.addRecording(study.id, voiding())).json.recording;
});

after(() => installation.remove());

/** Plays at the greatest speed; what it prints, and the recording that it made. */
async function play(...options) {
  const environment = {...process.env, PENSTOCK_STATE: installation.folder, no_proxy: '127.0.0.1'};
  const command = ['--speed', '1000', ...options];
  const {stdout, stderr} = await run(path.join(SOURCE, 'demo-data/play'), command, {env: environment});
  assert.equal(stderr, '');
  const study = /\/studies\/(\S+)$/m.exec(stdout)[1];
  const {json} = await clinic.room.get(`/v1/studies/${study}/recordings`);
  assert.equal(json.items.length, 1);
  return {stdout, recording: (await clinic.room.get(`/v1/recordings/${json.items[0].id}`)).json};
}

const traces = async ({id}) => (await clinic.room.get(`/v1/recordings/${id}/traces`)).json.traces;
const events = async ({id}) => (await clinic.room.get(`/v1/recordings/${id}/events`)).json.events;

describe('demo-data/play', () => {
  it('plays the newest recording of a type, and no visit of its own', async () => {
    for (let i = 0; i < 2; i++) {
      const {stdout, recording} = await play('--type', 'uroflowmetry', '--piece', '7');
      assert.match(stdout, /^Complete\.$/m);
      assert.notEqual(recording.id, stored.id);
      assert.deepEqual(recording.chunks.received, [[0, Math.ceil(DURATION_S / 7) - 1]]);
      assert.deepEqual(recording.conditions, stored.conditions);
      assert.deepEqual(await traces(recording), await traces(stored));
      assert.deepEqual(await events(recording), await events(stored));
    }
  });

  it('loses what it is told to lose: missing samples, never zeros', async () => {
    const {stdout, recording} = await play(stored.id, '--lose', '10,14');
    assert.match(stdout, /^Pieces from second 10 on are lost\.$/m);
    assert.deepEqual(recording.chunks.received, [[0, 9], [14, DURATION_S - 1]]);
    const expected = (await traces(stored)).map((trace) => ({
      ...trace,
      samples: trace.samples.map((value, index) => {
        const at_s = trace.start_s + index / trace.rate_hz;
        return at_s >= 10 && at_s < 14 ? null : value;
      }),
    }));
    assert.deepEqual(await traces(recording), expected);
  });

  it('stops for good, or leaves the completion to a person', async () => {
    const gone = await play(stored.id, '--stop', '12');
    assert.match(gone.stdout, /complete or withdraw it on the page/);
    assert.equal(gone.recording.state, 'open');
    assert.deepEqual(gone.recording.chunks.received, [[0, 11]]);
    const left = await play(stored.id, '--open', '--piece', '20');
    assert.equal(left.recording.state, 'open');
    assert.deepEqual(left.recording.chunks.received, [[0, 1]]);
  });

  it('is silent by the clock, and then sends what was recorded meanwhile', async () => {
    const begun = performance.now();
    const {stdout, recording} = await play(stored.id, '--silent', '5,2', '--piece', '5');
    assert.match(stdout, /^Silent for 2 s\.$/m);
    assert.ok(performance.now() - begun >= 2000);
    assert.deepEqual(recording.chunks.received, [[0, DURATION_S / 5 - 1]]);
  });

  it('says what it does not understand', async () => {
    for (const options of [['--speed', '0'], ['--lose', '5'], ['--loud', '1'], ['--piece'], ['no-id']]) {
      await assert.rejects(play(...options), ({code, stderr}) => code === 1 && stderr.startsWith('demo-data/play: '), options.join(' '));
    }
  });
});
