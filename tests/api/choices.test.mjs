// The limits that a clinic chooses: who may, what is refused, and that every computation uses them.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {pressureFlow} from './lib/recordings.mjs';
import {leavesNothing} from './lib/unchanged.mjs';

const TARGET = '/v1/analysis-choices';

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('choices');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the choices');
});

after(() => installation.remove());

const read = async (one = clinic) => one.room.get(TARGET);

async function choose(choices, one = clinic) {
  const {headers} = await read(one);
  return one.administrator.put(TARGET, {choices}, headers.get('etag'));
}

const find = ({json}, code) => json.items.find((item) => item.code === code);

const documentWith = (residual_ml) => {
  const {document} = pressureFlow();
  return {...document, conditions: {...document.conditions, initial_residual_ml: residual_ml}};
};

describe('the choices of a clinic', () => {
  it('are the standards until somebody chooses', async () => {
    const fresh = await Clinic.open(installation, 'Clinic without choices');
    const answer = await read(fresh);
    assert.equal(answer.json.version, 0);
    assert.equal(answer.headers.get('etag'), '"0"');
    assert.ok(answer.json.items.length > 40);
    assert.equal(new Set(answer.json.items.map(({code}) => code)).size, answer.json.items.length);
    for (const {code, standard, value, chosen, least, most} of answer.json.items) {
      assert.equal(value, standard, code);
      assert.equal(chosen, false, code);
      assert.ok(least < most && (standard === null || (least <= standard && standard <= most)), code);
    }
  });

  it('are replaced as a whole, null being none', async () => {
    const first = await choose({obstruction_high: 35, voiding_efficiency_low: 80, pip1_low: null});
    assert.deepEqual(
      first.json.items.filter(({chosen}) => chosen).map(({code, value}) => [code, value]),
      [
        ['obstruction_high', 35],
        ['voiding_efficiency_low', 80],
      ],
    );
    assert.deepEqual((await read()).json, first.json);
    const second = await choose({flow_delay_s: 1.2});
    assert.equal(second.json.version, first.json.version + 1);
    assert.equal(find(second, 'obstruction_high').value, 40);
    assert.equal(find(second, 'voiding_efficiency_low').value, null);
    assert.equal(find(second, 'flow_delay_s').value, 1.2);
    const third = await choose({});
    assert.ok(third.json.items.every(({chosen}) => !chosen));
  });

  it('are the clinic’s own', async () => {
    const other = await Clinic.open(installation, 'Clinic beside it');
    await choose({pip1_low: 25}, other);
    assert.equal(find(await read(), 'pip1_low').chosen, false);
    assert.equal(find(await read(other), 'pip1_low').value, 25);
  });

  it('are not changed by somebody who did not see the last change', async () => {
    const {headers} = await read();
    const etag = headers.get('etag');
    await choose({pip1_low: 25});
    await clinic.administrator.expect(412, 'PUT', TARGET, {json: {choices: {}}, headers: {'if-match': etag}});
    await clinic.administrator.expect(428, 'PUT', TARGET, {json: {choices: {}}});
    assert.equal(find(await read(), 'pip1_low').value, 25);
    const both = await read();
    const again = () =>
      clinic.administrator.request('PUT', TARGET, {
        json: {choices: {}},
        headers: {'if-match': both.headers.get('etag')},
      });
    const statuses = (await Promise.all([again(), again(), again()])).map(({status}) => status).sort();
    assert.deepEqual(statuses, [200, 412, 412]);
  });
});

describe('choices that make no sense', () => {
  leavesNothing(() => installation);

  it('are refused, each with its pointer', async () => {
    const {headers} = await read();
    const refuse = async (json) =>
      clinic.administrator.expect(422, 'PUT', TARGET, {json, headers: {'if-match': headers.get('etag')}});
    const cases = [
      [{choices: {nothing: 1}}, ['/choices/nothing']],
      [{choices: {obstruction_high: 51, obstruction_low: 'x'}}, ['/choices/obstruction_high', '/choices/obstruction_low']],
      [{choices: {stress_leak_low_cmh2o: 90, stress_leak_high_cmh2o: 60}}, ['/choices/stress_leak_low_cmh2o']],
      [{choices: {'anorectal_women.rest_lower_mmhg': 5}}, ['/choices/anorectal_women.rest_lower_mmhg']],
      [
        {choices: {'anorectal_men.desire_lower_ml': 200, 'anorectal_men.desire_upper_ml': 100}},
        ['/choices/anorectal_men.desire_lower_ml'],
      ],
      [{choices: []}, ['/choices']],
      [{}, ['/choices']],
      [{choices: {}, clinic: 'x'}, ['/clinic']],
      [[], ['']],
    ];
    for (const [json, expected] of cases) {
      assert.deepEqual(pointers(await refuse(json)), expected, JSON.stringify(json));
    }
  });
});

describe('an analysis', () => {
  const obstruction = (analysis) => analysis.classifications.find(({code}) => code === 'ics_obstruction');

  it('states the limits that it used, and uses those of the clinic', async () => {
    const {document} = pressureFlow();
    const analyse = async () => (await clinic.room.expect(200, 'POST', '/v1/analyses', {json: document})).json;
    await choose({});
    const standard = await analyse();
    const {items} = (await read()).json;
    assert.deepEqual(
      standard.choices,
      Object.fromEntries(items.filter(({value}) => value !== null).map(({code, value}) => [code, value])),
    );
    const {flow_delay_s: _, ...conditions} = document.conditions;
    document.conditions = conditions;
    await choose({flow_delay_s: 0.2});
    const chosen = await analyse();
    assert.equal(chosen.choices.flow_delay_s, 0.2);
    assert.equal(chosen.sections.voiding.flow_delay_s.value, 0.2);
    await choose({});
    assert.equal((await analyse()).sections.voiding.flow_delay_s.value, 0.8);
  });

  it('of an upload and of changed events uses them too, and stored ones stay', async () => {
    await choose({});
    const study = await clinic.addVisit({sex: 'male'});
    const upload = (await clinic.addRecording(study.id, documentWith(20))).json;
    const booi = obstruction(upload.analysis).basis.booi;
    assert.ok(booi > 20 && booi < 40, `a BOOI of ${booi} is equivocal`);
    assert.equal(obstruction(upload.analysis).class, 'equivocal');

    await choose({obstruction_high: 30, obstruction_low: 12.5});
    const target = `/v1/recordings/${upload.recording.id}`;
    assert.deepEqual((await clinic.room.get(`${target}/analysis`)).json, upload.analysis);
    await clinic.room.put(`${target}/events`, {events: documentWith(20).events}, '"1"');
    const changed = (await clinic.room.get(`${target}/analysis`)).json;
    assert.equal(changed.choices.obstruction_high, 30);
    assert.equal(changed.choices.obstruction_low, 12.5);
    const another = await clinic.addVisit({sex: 'male'});
    const second = (await clinic.addRecording(another.id, documentWith(20))).json.analysis;
    assert.deepEqual(second.choices, changed.choices);
    assert.deepEqual(obstruction(second), obstruction(changed));
    await choose({});
  });
});
