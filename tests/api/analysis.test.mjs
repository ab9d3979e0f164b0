// The main job: patient, study, recording in; numbers out. What is true of each recording is known from
// the formulas that made it (lib/recordings.mjs), not from the server.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {Clinic, patientDocument, studyDocument} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {
  asFloat32,
  asInt16,
  channel,
  Flow,
  OTHER_UNITS,
  pressureFlow,
  uroflowmetry,
  withChannel,
} from './lib/recordings.mjs';

/** How far a number may lie from the truth: a share of it, or an amount in its unit. */
const SHARE = {voided_volume: 0.01, qave: 0.015, compliance: 0.05, initial_volume: 0.01};
const AMOUNT = {
  qmax: 0.2,
  flow_time: 0.1,
  voiding_time: 0.1,
  time_to_qmax: 0.15, // two moments, each within 0.1 s of a sample's place
  delay_time: 0.1,
  voiding_efficiency: 0.2,
  pdet_qmax: 1,
  pves_qmax: 1,
  pdet_max: 1,
  opening_pressure: 1,
  booi: 2,
  bci: 2,
  first_sensation_volume: 1,
  first_desire_volume: 1,
  strong_desire_volume: 1,
  cystometric_capacity: 1,
  filling_rate: 0.6,
  pdet_baseline: 1,
  pdet_end_fill: 1,
};

function isNear(measured, expected, what, least = 0) {
  assert.ok(measured !== undefined, `${what} is absent`);
  const tolerance = Math.max(least, SHARE[what] === undefined ? AMOUNT[what] : SHARE[what] * Math.abs(expected));
  const difference = Math.abs(measured.value - expected);
  assert.ok(
    difference <= tolerance,
    `${what}: ${measured.value}, in truth ${expected.toFixed(3)} (tolerance ${tolerance.toFixed(3)})`,
  );
}

/** Compares a section with what is true; Qmax also in its place. */
function agrees(section, truth, {least = {}, except = []} = {}) {
  for (const [code, expected] of Object.entries(truth)) {
    if (except.includes(code)) {
      continue;
    }
    if (code === 'qmax') {
      isNear(section.qmax, expected.value, 'qmax', least.qmax);
      const late = Math.abs(section.qmax.at_s - expected.at_s);
      assert.ok(late <= 0.1, `Qmax at ${section.qmax.at_s} s, in truth at ${expected.at_s.toFixed(3)} s`);
    } else {
      isNear(section[code], expected, code, least[code]);
    }
  }
}

function agreesWithPressureFlow(analysis, truth, options = {}) {
  agrees(analysis.sections.filling, truth.filling, options);
  agrees(analysis.sections.voiding, truth.voiding, options);
}

const reasonFor = (analysis, section, code) =>
  analysis.not_computed.find((item) => item.section === section && item.code === code)?.reason;

const hasQuality = (analysis, code) => analysis.quality.some((item) => item.code === code);

/** Holds for every analysis: nothing is there twice or neither here nor there, and every number is one. */
function isComplete(analysis) {
  for (const {section, code, reason} of analysis.not_computed) {
    assert.equal(analysis.sections[section]?.[code], undefined, `${section}.${code} is both there and not computed`);
    assert.ok(reason.length > 5);
  }
  for (const section of Object.values(analysis.sections).flat()) {
    for (const [code, measure] of Object.entries(section)) {
      for (const value of [measure].flat().flatMap((item) => Object.values(item))) {
        assert.ok(typeof value !== 'number' || Number.isFinite(value), code);
      }
    }
  }
  assert.equal(analysis.status, 'preliminary');
  assert.equal(analysis.software.name, 'penstock');
}

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('analysis');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the numbers');
});

after(() => installation.remove());

async function upload(document, patient = {}) {
  const study = await clinic.addVisit(patient);
  const answer = await clinic.addRecording(study.id, document);
  isComplete(answer.json.analysis);
  return {study, answer, recording: answer.json.recording, analysis: answer.json.analysis};
}

const analyse = async (document) => {
  const {json} = await clinic.room.expect(200, 'POST', '/v1/analyses', {json: document});
  isComplete(json);
  return json;
};

describe('a visit', () => {
  it('goes from registration to the summary', async () => {
    const patient = await clinic.room.post('/v1/patients', patientDocument());
    assert.equal(patient.headers.get('location'), `/v1/patients/${patient.json.id}`);
    const study = await clinic.room.post('/v1/studies', studyDocument(patient.json.id, {operator: 'A. Nurse'}));
    assert.equal(study.headers.get('location'), `/v1/studies/${study.json.id}`);
    assert.equal(study.json.status, 'registered');
    assert.equal(study.json.started_at, '2026-03-02T08:00:00Z');

    const {document, truth} = uroflowmetry();
    const created = await clinic.addRecording(study.json.id, document);
    const {recording, analysis} = created.json;
    assert.equal(created.headers.get('location'), `/v1/recordings/${recording.id}`);
    assert.equal(created.headers.get('etag'), '"1"');
    assert.match(created.headers.get('server-timing') ?? '', /parse.*compute.*store/);
    assert.match(recording.id, /^[0-9a-f]{8}-[0-9a-f]{4}-7/, 'a UUID of version 7');
    assert.equal(recording.study_id, study.json.id);
    assert.equal(recording.type, 'uroflowmetry');
    assert.equal(Date.parse(recording.started_at), Date.parse(document.started_at));
    assert.equal(recording.duration_s, 45);
    assert.equal(recording.revision, 1);
    assert.deepEqual(recording.conditions, document.conditions);
    assert.deepEqual(recording.channels, [
      {signal: 'flow', unit: 'mL/s', rate_hz: 20, start_s: 0, sample_count: 900, missing: 0, encoding: 'decimal'},
    ]);
    assert.deepEqual(Object.keys(analysis.sections), ['uroflow']);
    agrees(analysis.sections.uroflow, truth);
    assert.equal(analysis.sections.uroflow.interruptions.value, 0);
    assert.deepEqual(analysis.sections.uroflow.post_void_residual, {value: 40, unit: 'mL', source: 'entered'});

    assert.deepEqual((await clinic.room.get(`/v1/recordings/${recording.id}`)).json, recording);
    assert.deepEqual((await clinic.room.get(`/v1/recordings/${recording.id}/analysis`)).json, analysis);
    const after = await clinic.room.get(`/v1/studies/${study.json.id}`);
    assert.equal(after.json.status, 'preliminary');
    assert.equal(after.json.recording_count, 1);
    const summary = await clinic.room.get(`/v1/studies/${study.json.id}/summary`);
    assert.deepEqual(summary.json.recordings[0].analysis, analysis);
  });
});

describe('a free flow', () => {
  it('has the numbers that its formula has', async () => {
    for (const flow of [new Flow(24, 5, 32), new Flow(9, 4, 60), new Flow(38, 3, 20), new Flow(14.2, 6.37, 41.3)]) {
      const {document, truth} = uroflowmetry({flow, grid: {rate_hz: 20, duration_s: 75}});
      agrees((await analyse(document)).sections.uroflow, truth);
    }
  });

  it('has them at every usual rate, and with a start of its own', async () => {
    for (const grid of [
      {rate_hz: 10, duration_s: 45},
      {rate_hz: 25, duration_s: 45},
      {rate_hz: 100, duration_s: 45},
      {rate_hz: 12.5, duration_s: 45},
      {rate_hz: 20, duration_s: 45, start_s: 1.23},
    ]) {
      const {document, truth} = uroflowmetry({grid});
      const slack = 1 / grid.rate_hz;
      const least = {flow_time: 2 * slack, voiding_time: 2 * slack, time_to_qmax: 0.1 + slack, delay_time: slack};
      agrees((await analyse(document)).sections.uroflow, truth, {least});
    }
  });

  it('does not take a knock on the meter for flow', async () => {
    for (const [at_s, height] of [
      [14, 30],
      [15.7, 30],
      [25, 30],
      [30, 60],
    ]) {
      const {document, truth} = uroflowmetry();
      document.channels[0].samples[Math.round(at_s * 20)] += height;
      const analysis = await analyse(document);
      agrees(analysis.sections.uroflow, truth);
      assert.ok(hasQuality(analysis, 'spike'), `the knock at ${at_s} s is said`);
    }
  });

  it('is computed from the volume alone when that is all there is', async () => {
    const flow = new Flow(24, 5, 32);
    const {document, truth} = uroflowmetry({flow});
    const grid = {rate_hz: 20, duration_s: 45};
    document.channels = [channel('vvoid', 'mL', grid, (t) => flow.volumeAt(t))];
    const analysis = await analyse(document);
    agrees(analysis.sections.uroflow, truth, {
      least: {flow_time: 0.5, voiding_time: 0.5, time_to_qmax: 0.4, delay_time: 0.3},
    });
  });

  it('has gaps bridged where they are short, and said', async () => {
    const {document, truth} = uroflowmetry();
    for (const at of [10, 20, 28]) {
      document.channels[0].samples.fill(null, at * 20, at * 20 + 8);
    }
    const analysis = await analyse(document);
    agrees(analysis.sections.uroflow, truth);
    assert.ok(hasQuality(analysis, 'missing_samples'));
  });

  it('has no numbers made up where all samples are missing', async () => {
    const {document} = uroflowmetry();
    document.channels[0].samples.fill(null);
    const analysis = await analyse(document);
    for (const code of ['qmax', 'qave', 'voided_volume', 'flow_time', 'time_to_qmax']) {
      assert.equal(analysis.sections.uroflow?.[code], undefined, code);
      assert.ok(reasonFor(analysis, 'uroflow', code), code);
    }
  });

  it('has no numbers made up where nobody voided', async () => {
    const {document} = uroflowmetry({flow: new Flow(0, 5, 32)});
    const analysis = await analyse(document);
    for (const code of ['qmax', 'qave', 'flow_time', 'time_to_qmax', 'delay_time']) {
      assert.equal(analysis.sections.uroflow?.[code], undefined, code);
      assert.ok(reasonFor(analysis, 'uroflow', code), code);
    }
  });

  it('has no delay without the marker for permission', async () => {
    const {document, truth} = uroflowmetry({permission_s: null});
    const analysis = await analyse(document);
    agrees(analysis.sections.uroflow, truth, {except: ['delay_time']});
    assert.equal(analysis.sections.uroflow.delay_time, undefined);
    assert.ok(reasonFor(analysis, 'uroflow', 'delay_time'));
  });

  it('has no residual that nobody measured', async () => {
    const {document} = uroflowmetry();
    delete document.conditions.post_void_residual_ml;
    const analysis = await analyse(document);
    for (const code of ['post_void_residual', 'voiding_efficiency', 'initial_volume']) {
      assert.equal(analysis.sections.uroflow[code], undefined, code);
      assert.ok(reasonFor(analysis, 'uroflow', code), code);
    }
  });

  it('of an unknown kind of event computes the same', async () => {
    const {document} = uroflowmetry();
    const events = [...document.events, {at_s: 12, code: 'phone_rang', note: 'twice'}, {at_s: 12, code: 'comment'}];
    assert.deepEqual((await analyse({...document, events})).sections, (await analyse(document)).sections);
  });
});

describe('a filling and a voiding', () => {
  it('have the numbers that their formulas have', async () => {
    const {document, truth} = pressureFlow();
    const {analysis, recording} = await upload(document);
    assert.deepEqual(Object.keys(analysis.sections).sort(), ['filling', 'voiding']);
    agreesWithPressureFlow(analysis, truth);
    assert.equal(recording.channels.length, 4);
    assert.ok(!hasQuality(analysis, 'no_permission_marker'));
    const obstruction = analysis.classifications.find(({code}) => code === 'ics_obstruction');
    assert.equal(obstruction.class, 'equivocal');
    assert.ok(Math.abs(obstruction.basis.booi - truth.voiding.booi) <= 2);
  });

  it('have them in other units', async () => {
    const {document, truth} = pressureFlow({units: OTHER_UNITS, decimals: 6});
    const {analysis, recording} = await upload(document);
    agreesWithPressureFlow(analysis, truth);
    assert.deepEqual(Object.fromEntries(recording.channels.map(({signal, unit}) => [signal, unit])), {
      pves: 'kPa',
      pabd: 'mm[Hg]',
      flow: 'L/min',
      vinf: 'L',
    });
    const {analysis: canonical} = await upload(pressureFlow().document);
    for (const [name, section] of Object.entries(canonical.sections)) {
      for (const [code, {value, unit}] of Object.entries(section)) {
        assert.equal(analysis.sections[name][code].unit, unit, code);
        const slack = unit === 's' ? 0.11 : 0.05; // a moment may be one sample later
        assert.ok(typeof value !== 'number' || Math.abs(analysis.sections[name][code].value - value) < slack, code);
      }
    }
  });

  it('have them at different rates and starts', async () => {
    const {document, truth} = pressureFlow({
      grids: {
        pves: {rate_hz: 50},
        pabd: {rate_hz: 25, start_s: 0.5},
        flow: {rate_hz: 20, start_s: 300.25},
        vinf: {rate_hz: 2, duration_s: 320},
      },
    });
    const {analysis} = await upload(document);
    agreesWithPressureFlow(analysis, truth);
  });

  it('have them in base64', async () => {
    const {document, truth} = pressureFlow();
    const coded = document.channels.map((one) =>
      one.signal === 'flow' ? asFloat32(one).channel : asInt16(one, one.signal === 'vinf' ? 0.02 : 0.01, 12.5).channel,
    );
    const {analysis, recording} = await upload({...document, channels: coded});
    agreesWithPressureFlow(analysis, truth);
    assert.deepEqual(
      recording.channels.map(({encoding}) => encoding),
      ['int16', 'int16', 'float32', 'int16'],
    );
  });

  it('have them with pdet recorded instead of pabd', async () => {
    const {document, truth} = pressureFlow();
    const [pves, pabd] = ['pves', 'pabd'].map((name) => document.channels.find(({signal}) => signal === name).samples);
    const only = withChannel(document, 'pabd', (one) => ({
      ...one,
      signal: 'pdet',
      samples: pves.map((value, i) => value - pabd[i]),
    }));
    const {analysis} = await upload(only);
    agreesWithPressureFlow(analysis, truth);
  });

  it('have what can be had without permission to void, and say what was used instead', async () => {
    const {document, truth} = pressureFlow();
    const events = document.events.filter(({code}) => code !== 'permission_to_void');
    const {analysis} = await upload({...document, events});
    assert.ok(hasQuality(analysis, 'no_permission_marker'));
    agrees(analysis.sections.voiding, truth.voiding, {except: ['delay_time']});
    assert.equal(analysis.sections.voiding.delay_time, undefined);
    assert.ok(reasonFor(analysis, 'voiding', 'delay_time'));
    isNear(analysis.sections.filling.cystometric_capacity, truth.filling.cystometric_capacity, 'cystometric_capacity');
  });

  it('have no sensation that nobody marked', async () => {
    const {document} = pressureFlow();
    const {analysis} = await upload({...document, events: document.events.filter(({code}) => code !== 'first_desire')});
    assert.equal(analysis.sections.filling.first_desire_volume, undefined);
    assert.ok(reasonFor(analysis, 'filling', 'first_desire_volume'));
    assert.ok(analysis.sections.filling.first_sensation_volume);
  });

  it('have no pressures where the abdominal line is missing', async () => {
    const {document} = pressureFlow();
    const {analysis} = await upload({...document, channels: document.channels.filter(({signal}) => signal !== 'pabd')});
    for (const code of ['pdet_qmax', 'pdet_max', 'opening_pressure', 'booi', 'bci']) {
      assert.equal(analysis.sections.voiding[code], undefined, code);
      assert.ok(reasonFor(analysis, 'voiding', code), code);
    }
    isNear(analysis.sections.voiding.qmax, pressureFlow().truth.voiding.qmax.value, 'qmax');
  });

  it('have a pressure at Qmax only where its samples are', async () => {
    const {document, truth} = pressureFlow();
    const from = Math.round((truth.voiding.qmax.at_s - 5) * 10);
    const gappy = withChannel(document, 'pves', (one) => ({
      ...one,
      samples: one.samples.map((value, i) => (i >= from && i < from + 100 ? null : value)),
    }));
    const {analysis} = await upload(gappy);
    assert.equal(analysis.sections.voiding.pdet_qmax, undefined);
    assert.ok(reasonFor(analysis, 'voiding', 'pdet_qmax'));
    assert.equal(analysis.sections.voiding.booi, undefined);
  });

  it('have indices of men for men only', async () => {
    const {document} = pressureFlow();
    for (const patient of [{sex: 'female'}, {sex: 'unknown'}, {birth_date: '2018-01-01'}]) {
      const {analysis} = await upload(document, patient);
      for (const code of ['booi', 'bci']) {
        assert.equal(analysis.sections.voiding[code], undefined, `${code} for ${JSON.stringify(patient)}`);
        assert.ok(reasonFor(analysis, 'voiding', code));
      }
      assert.ok(analysis.classifications.every(({code}) => code !== 'ics_obstruction'));
    }
  });
});

describe('a computation without storing', () => {
  it('gives the numbers of the stored recording, and stores nothing', async () => {
    for (const {document} of [uroflowmetry(), pressureFlow()]) {
      const {analysis} = await upload(document, {sex: 'male', birth_date: '1961-04-30', weight_kg: 82});
      await installation.unchanged(async () => {
        const {json} = await clinic.room.expect(200, 'POST', '/v1/analyses', {
          json: {...document, patient: {sex: 'male', age_years: 64.84, weight_kg: 82}},
        });
        assert.deepEqual(json, analysis);
      });
    }
  });
});

describe('a change of the events', () => {
  const moved = (events, code, at_s) => events.map((event) => (event.code === code ? {...event, at_s} : event));

  it('makes a revision with numbers of its own, and keeps the first', async () => {
    const {document, truth} = pressureFlow();
    const {recording, analysis} = await upload(document);
    const target = `/v1/recordings/${recording.id}`;
    const first = await clinic.room.get(`${target}/events`);
    assert.deepEqual(first.json, {revision: 1, events: document.events});
    assert.equal(first.headers.get('etag'), '"1"');

    const events = [
      {at_s: 320, code: 'comment', note: 'she said "now"'},
      ...moved(document.events, 'first_desire', 205),
    ];
    const changed = await clinic.room.put(`${target}/events`, {events}, '"1"');
    assert.equal(changed.json.revision, 2);
    assert.equal(changed.headers.get('etag'), '"2"');
    assert.deepEqual(
      changed.json.events,
      [...events].sort((a, b) => a.at_s - b.at_s),
    );
    assert.deepEqual((await clinic.room.get(`${target}/events`)).json, changed.json);

    const second = await clinic.room.get(`${target}/analysis`);
    assert.equal(second.json.revision, 2);
    assert.equal(second.headers.get('etag'), '"2"');
    isNear(
      second.json.sections.filling.first_desire_volume,
      truth.filling.first_desire_volume + 20,
      'first_desire_volume',
    );
    assert.deepEqual(second.json.sections.voiding, analysis.sections.voiding);
    assert.deepEqual((await clinic.room.get(`${target}/analysis?revision=1`)).json, analysis);
    assert.deepEqual((await clinic.room.get(`${target}/analysis?revision=2`)).json, second.json);
    await clinic.room.expect(404, 'GET', `${target}/analysis?revision=3`);
    const after = await clinic.room.get(target);
    assert.deepEqual(after.json, {...recording, revision: 2, version: 2});
    assert.equal(after.headers.get('etag'), '"2"');
    const direct = await analyse({...document, events, patient: {sex: 'male', age_years: 64.84, weight_kg: 82}});
    assert.deepEqual(second.json, {...direct, revision: 2});
  });

  it('can take all of them away', async () => {
    const {recording} = await upload(pressureFlow().document);
    const target = `/v1/recordings/${recording.id}`;
    await clinic.room.put(`${target}/events`, {events: []}, '"1"');
    const {json} = await clinic.room.get(`${target}/analysis`);
    isComplete(json);
    assert.ok(hasQuality(json, 'no_permission_marker'));
    assert.equal(json.sections.filling?.first_desire_volume, undefined);
  });

  it('is in the summary at once', async () => {
    const {document} = pressureFlow();
    const {study, recording} = await upload(document);
    const target = `/v1/studies/${study.id}/summary`;
    const before = await clinic.room.get(target);
    await clinic.room.put(
      `/v1/recordings/${recording.id}/events`,
      {events: moved(document.events, 'first_desire', 205)},
      '"1"',
    );
    const after = await clinic.room.get(target);
    assert.notEqual(after.headers.get('etag'), before.headers.get('etag'));
    assert.equal(after.json.recordings[0].revision, 2);
    assert.equal(after.json.recordings[0].analysis.revision, 2);
  });
});

/** What people read is rounded to a multiple of this: flow 1 mL/s and volume 10 mL as ICS asks (good
 * urodynamic practices, 2002; from memory), the rest by choice. */
const STEPS = {'mL/s': 1, mL: 10, 'cm[H2O]': 1, s: 1, '%': 1, 'mL/min': 1, 'mL/cm[H2O]': 1, 'uW/mm2': 0.1, 1: 1};
const OWN_STEPS = {qmax_corrected: 0.01, flow_delay_s: 0.1, opening_time: 0.1, ura: 1, purr_slope: 0.1, obstruction_coefficient: 0.1};
const stepOf = (code, unit) => OWN_STEPS[code] ?? STEPS[unit];

/** The same document with coughs of 40 cmH2O in both pressures. */
function withCoughs(document, moments) {
  const bump = (t) => moments.reduce((sum, at_s) => sum + 40 * Math.exp(-(((t - at_s) / 0.15) ** 2)), 0);
  return ['pves', 'pabd'].reduce(
    (made, signal) =>
      withChannel(made, signal, (one) => ({
        ...one,
        samples: one.samples.map((value, i) => Number((value + bump(i / one.rate_hz)).toFixed(4))),
      })),
    document,
  );
}

const strip = (html) =>
  html
    .replaceAll(/<[^>]*>/g, '')
    .replaceAll('&amp;', '&')
    .trim();

/** A place on the time axis as reports tell it: "2:05". */
const minutes = (at_s) => `${Math.floor(Math.round(at_s) / 60)}:${String(Math.round(at_s) % 60).padStart(2, '0')}`;

/** The tables of a report whose captions begin so: [[cell text, …], …] for each, in order. */
function tablesOf(html, caption) {
  return [...html.matchAll(/<table>\n<caption>(.*?)<\/caption>.*?<tbody>(.*?)<\/tbody>/gs)]
    .filter(([, found]) => caption.test(found))
    .map(([, , body]) =>
      [...body.matchAll(/<tr>(.*?)<\/tr>/gs)].map(([, row]) =>
        [...row.matchAll(/<t[hd][^>]*>(.*?)<\/t[hd]>/gs)].map(([, cell]) => strip(cell)),
      ),
    );
}

function isRounded(code, {value, unit}, shown) {
  const step = stepOf(code, unit);
  assert.ok(step, `${code} has the unit ${unit}`);
  const number = Number.parseFloat(shown);
  assert.ok(Math.abs(number - value) <= step / 2 + 0.0011, `${code}: ${value} is shown as ${shown}`);
  assert.ok(Math.abs(number / step - Math.round(number / step)) < 1e-9, `${code}: ${shown} is no multiple of ${step}`);
}

describe('a summary', () => {
  let study;
  let analyses;

  before(async () => {
    study = await clinic.addVisit(
      {given_name: 'Robin <i>'},
      {operator: 'A. Nurse', history: {medication: 'none & nothing'}},
    );
    analyses = [];
    const coughed = withCoughs(pressureFlow({grids: {pves: {rate_hz: 50}, pabd: {rate_hz: 50}}}).document, [60, 150]);
    for (const document of [uroflowmetry().document, coughed]) {
      analyses.push((await clinic.addRecording(study.id, document)).json.analysis);
    }
  });

  it('holds the numbers as JSON, and says how far to trust them', async () => {
    const {json} = await clinic.room.get(`/v1/studies/${study.id}/summary`);
    assert.equal(json.clinic.name, 'Clinic of the numbers');
    assert.equal(json.study.id, study.id);
    assert.equal(json.patient.id, study.patient_id);
    assert.equal(json.patient.family_name, FAMILY_NAME);
    assert.deepEqual(
      json.recordings.map(({analysis}) => analysis),
      analyses,
    );
    assert.match(json.caution, /clinical judgement/);
  });

  it('holds the same numbers as a page, rounded', async () => {
    const {text, headers} = await clinic.room.get(`/v1/studies/${study.id}/summary`, {accept: 'text/html'});
    assert.equal(headers.get('content-type'), 'text/html; charset=utf-8');
    const sections = analyses.flatMap((analysis) => Object.values(analysis.sections).flat());
    const measuresOf = (section) => Object.entries(section).filter(([, value]) => !Array.isArray(value));
    const tables = tablesOf(text, /^Values/);
    assert.equal(tables.length, sections.length);
    let numbers = 0;
    for (const [i, section] of sections.entries()) {
      const measures = measuresOf(section);
      assert.equal(tables[i].length, measures.length);
      for (const [row, [code, measure]] of measures.entries()) {
        const [label, shown] = tables[i][row];
        assert.ok(label.length > 2);
        if (typeof measure.value === 'number') {
          isRounded(code, measure, shown);
          numbers++;
        } else if (typeof measure.value === 'boolean') {
          assert.equal(shown, measure.value ? 'yes' : 'no');
        } else {
          assert.equal(shown, measure.value.replaceAll('_', ' '));
        }
      }
    }
    assert.ok(numbers >= 30, `${numbers} numbers compared`);
  });

  it('holds the lists as tables, and says where nothing was found', async () => {
    const {text} = await clinic.room.get(`/v1/studies/${study.id}/summary`, {accept: 'text/html'});
    const lists = analyses
      .flatMap((analysis) => Object.values(analysis.sections).flat())
      .flatMap((section) => Object.values(section).filter(Array.isArray));
    const shown = tablesOf(text, /^(?!Values|Results)/);
    assert.deepEqual(
      shown.map((rows) => rows.length),
      lists.filter(({length}) => length > 0).map(({length}) => length),
    );
    const {coughs} = analyses[1].sections.filling;
    assert.equal(coughs.length, 2);
    assert.deepEqual(
      shown[0].map(([at_s, pvesRise]) => [at_s, pvesRise]),
      coughs.map(({at_s, pves_rise}) => [minutes(at_s), `${Math.round(pves_rise)}`]),
    );
    assert.equal([...text.matchAll(/: none found\.<\/p>/g)].length, lists.filter(({length}) => length === 0).length);
  });

  it('gives the reporting line of the free flow', async () => {
    const {text} = await clinic.room.get(`/v1/studies/${study.id}/summary`, {accept: 'text/html'});
    const [, line] = /<p><strong>(VOID: .*?)<\/strong><\/p>/s.exec(text);
    const {qmax, voided_volume} = analyses[0].sections.uroflow;
    assert.equal(strip(line), `VOID: ${Math.round(qmax.value)}/${10 * Math.round(voided_volume.value / 10)}/40`);
  });

  it('says on the page that it is preliminary, and runs no script', async () => {
    const {text} = await clinic.room.get(`/v1/studies/${study.id}/summary`, {accept: 'text/html'});
    assert.match(text, /<p class="document-mark">Preliminary<\/p>/);
    assert.match(text, /Local protocols and licensed practice/);
    assert.ok(text.includes('Robin &lt;i&gt;') && text.includes('none &amp; nothing'));
    assert.doesNotMatch(text, /<script|javascript:|style=|https?:\/\//i);
    const [, title] = /<title>(.*?)<\/title>/s.exec(text);
    assert.ok(!title.includes(FAMILY_NAME), 'a title stays behind in the history of a browser');
  });

  it('of a visit without recordings says so', async () => {
    const empty = await clinic.addVisit();
    assert.deepEqual((await clinic.room.get(`/v1/studies/${empty.id}/summary`)).json.recordings, []);
    const {text} = await clinic.room.get(`/v1/studies/${empty.id}/summary`, {accept: 'text/html'});
    assert.match(text, /There is no complete recording\./);
    assert.doesNotMatch(text, /still running/);
    await clinic.room.post('/v1/recordings', {
      study_id: empty.id,
      type: 'uroflowmetry',
      started_at: empty.started_at,
      channels: [{signal: 'flow', unit: 'mL/s', rate_hz: 10}],
    });
    const running = await clinic.room.get(`/v1/studies/${empty.id}/summary`, {accept: 'text/html'});
    assert.match(running.text, /1 recording is still running and is not in this report/);
  });
});
