// Every recording of the invented clinic, as it was uploaded to the server that has the demo, against
// the values from which the generator made it (demo-data/truth.h says what they mean).
import assert from 'node:assert/strict';
import {readdirSync, readFileSync} from 'node:fs';
import path from 'node:path';
import {describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {demo, demoData} from './lib/environment.mjs';

const {url, tokens} = demo();
// Rooms no longer see the studies that are signed.
const physician = Client.withToken(url, tokens.physician);

/** [section, code in the analysis, member of the truth, tolerance]. Recorded lines add breathing, drift
 * and noise to the truth; a noisy 2 s mean has its greatest value above that of the clean one. */
const FLOW = [
  ['qmax', 'qmax_ml_s', 0.8],
  ['voided_volume', 'voided_volume_ml', 4],
  ['interruptions', 'interruptions', 0],
  // Gaps under 1 s count as flow in the analysis, and not in the truth.
  ['flow_time', 'flow_time_s', 2],
];
const PRESSURE = [
  ['pdet_qmax', 'pdet_qmax', 4],
  // A line by itself: what pves and pabd share of breathing and talking is not gone, as it is in pdet.
  ['pves_qmax', 'pves_qmax', 6],
  ['pabd_qmax', 'pabd_qmax', 6],
  ['opening_pressure', 'opening_pressure', 4],
  ['closing_pressure', 'closing_pressure', 4],
  ['pdet_max', 'pdet_max', 5],
  ['booi', 'booi', 5],
  ['bci', 'bci', 8],
];
/** The marker comes up to 2 s late, and urine made during the filling is in the bladder but not in the
 * infused volume. */
const SENSATION = 20;
const FILLING = [
  ['cystometric_capacity', 'capacity_ml', 2],
  ['pdet_end_fill', 'pdet_end_fill', 4],
  ['first_sensation_volume', 'first_sensation_ml', SENSATION],
  ['first_desire_volume', 'first_desire_ml', SENSATION],
  ['strong_desire_volume', 'strong_desire_ml', SENSATION],
  ['urgency_volume', 'urgency_ml', SENSATION],
];

/** Of a pull, and of a manometry. Vessels and breath ride on the top of a profile; the outer end of the
 * total length lies in the noise; a canal is seen by sensors 5 or 6 mm apart. */
const PROFILE = [
  ['maximum_urethral_pressure', 'maximum_urethral_pressure', 5],
  ['maximum_closure_pressure', 'maximum_closure_pressure', 2],
  ['functional_length', 'functional_length', 1.5],
  ['total_length', 'total_length', 3],
  ['length_to_peak', 'length_to_peak', 2.5],
  ['closure_area', 'closure_area', 4],
];
const ANORECTAL = [
  ['resting_pressure', 'resting_pressure', 4],
  ['functional_canal_length', 'functional_canal_length', 3],
  ['first_sensation_volume', 'first_sensation_volume', 4],
  ['desire_volume', 'desire_volume', 4],
  ['maximum_tolerated_volume', 'maximum_tolerated_volume', 4],
  ['rectal_compliance', 'rectal_compliance', 1],
];

/** What a fault of the equipment spoils, by kind and signal. */
const FLOW_PRESSURES = [...PRESSURE.map(([code]) => code), 'pdet_end_fill', 'compliance'];
const SPOILT = {
  'expelled pves': FLOW_PRESSURES.filter((code) => !['pdet_end_fill', 'compliance', 'pabd_qmax'].includes(code)),
  'drift pabd': FLOW_PRESSURES,
  'zero both': FLOW_PRESSURES,
  'clipped both': FLOW_PRESSURES,
  'clipped flow': ['qmax'],
  'volume vvoid': ['voided_volume'],
  'pump vinf': ['compliance', ...FILLING.map(([code]) => code).filter((code) => code !== 'pdet_end_fill')],
};

const read = (...names) => JSON.parse(readFileSync(path.join(demoData(), ...names), 'utf8'));
const names = () => readdirSync(path.join(demoData(), 'truth')).filter((name) => name.endsWith('.json'));

const isHidden = (truth, code) =>
  truth.artefacts.some(
    ({kind, signal}) =>
      // The pressure's maximum may fall into samples that were lost.
      (code === 'pdet_max' && kind === 'missing' && signal.startsWith('p')) ||
      SPOILT[`${kind} ${signal}`]?.includes(code),
  );

/** Compares the codes of one section; how many numbers were compared. */
function compare(analysis, sectionName, truth, table) {
  const section = analysis.sections[sectionName];
  let compared = 0;
  for (const [code, member, tolerance] of table.filter(
    ([code, member]) => truth[member] !== undefined && !isHidden(truth, code),
  )) {
    const measured = section?.[code];
    if (measured === undefined) {
      const reason = analysis.not_computed.find((item) => item.section === sectionName && item.code === code)?.reason;
      assert.ok(reason, `${sectionName}.${code} is neither there nor said to be missing`);
      assert.ok(['booi', 'bci', 'rectal_compliance'].includes(code), `${sectionName}.${code} is absent: ${reason}`);
      continue;
    }
    const difference = Math.abs(measured.value - truth[member]);
    assert.ok(
      difference <= tolerance,
      `${sectionName}.${code}: ${measured.value}, in truth ${truth[member]} (tolerance ${tolerance})`,
    );
    compared++;
  }
  return compared;
}

/** The compliance is a small pressure's reciprocal: compared is that pressure. */
function comparePressureRise(analysis, truth) {
  const {compliance, compliance_volume_change: change} = analysis.sections.filling ?? {};
  if (truth.compliance === undefined || compliance === undefined || isHidden(truth, 'compliance')) {
    return 0;
  }
  const rise = change.value / compliance.value;
  const expected = change.value / truth.compliance;
  assert.ok(Math.abs(rise - expected) <= 4, `pressure rise ${rise}, in truth ${expected}`);
  return 1;
}

/** The pulls of a profile, one by one. */
function compareProfiles(analysis, truth) {
  const pulls = analysis.sections.profiles ?? [];
  assert.equal(pulls.length, truth.pulls?.length ?? 0, 'pulls');
  return pulls.reduce((sum, pull, i) => {
    assert.equal(pull.kind.value, truth.pulls[i].kind);
    const of = {sections: {pull}, not_computed: []};
    return sum + compare(of, 'pull', {artefacts: [], ...truth.pulls[i]}, PROFILE);
  }, 0);
}

function compareTraining(analysis, truth) {
  if (truth.efforts === undefined) {
    return 0;
  }
  const {training} = analysis.sections;
  const rest = (training.rest_tone ?? training.rest_pressure).value;
  assert.ok(Math.abs(rest - truth.rest_tone) <= 0.1 * truth.rest_tone, `rest ${rest}, in truth ${truth.rest_tone}`);
  const followed = truth.efforts.filter((effort) => effort.followed);
  assert.deepEqual(
    training.contractions.map(({kind}) => kind),
    followed.map(({kind}) => kind),
  );
  for (const [i, {start_s: startS}] of training.contractions.entries()) {
    assert.ok(Math.abs(startS - followed[i].start_s) <= 0.5, `contraction ${i} at ${startS} s`);
  }
  return 1 + followed.length;
}

/** Every draft that the analysis may offer. */
const DRAFTS = [
  'abdominal_muscles_used',
  'abnormal_push_pattern',
  'after_contraction',
  'anal_hypertension',
  'anal_hypocontractility',
  'anal_hypotension',
  'closure_pressure_for_age',
  'delayed_balloon_expulsion',
  'detrusor_overactivity',
  'emg_active_during_voiding',
  'endurance_below_command',
  'high_detrusor_leak_point',
  'leakage_unexplained',
  'leakage_without_contraction',
  'low_closure_pressure',
  'low_compliance',
  'low_flow_for_age',
  'low_free_flow',
  'low_stress_closure',
  'low_stress_leak_point',
  'low_voiding_efficiency',
  'low_watts_factor',
  'negative_stress_closure',
  'obstruction_rules_disagree',
  'outlet_obstruction_equivocal',
  'outlet_obstruction_suggested',
  'overactivity_with_leakage',
  'raised_residual',
  'rectal_hypersensitivity',
  'rectal_hyposensitivity',
  'rectoanal_areflexia',
  'straining_during_voiding',
  'stress_leakage',
  'underactivity_suggested',
  'very_low_compliance',
  'weak_contraction_suggested',
];

const INDICES = ['booi', 'bci', 'ura', 'female_booi', 'pip1'];

/** A suggestion, and an index, is as doubtful as the values it rests on; how many are. */
function compareDoubts({sections, findings}) {
  const doubtsOf = (path) => path.split('.').reduce((at, code) => at?.[code], sections)?.quality ?? [];
  const pairs = [
    ...findings.map(({code, basis, quality}) => [code, quality ?? [], basis.flatMap(doubtsOf)]),
    ...INDICES.filter((code) => sections.voiding?.[code]).map((code) => [
      code,
      doubtsOf(`voiding.${code}`),
      ['voiding.pdet_qmax', 'voiding.qmax'].flatMap(doubtsOf),
    ]),
  ];
  for (const [code, told, due] of pairs) {
    assert.deepEqual([...told].sort(), [...new Set(due)].sort(), `doubts of ${code}`);
  }
  return pairs.filter(([, told]) => told.length > 0).length;
}

describe('a recording of the demo', () => {
  let doubtful = 0;
  const drafts = new Set();

  it('is there in every kind', () => {
    const types = new Set(names().map((name) => read('truth', name).type));
    assert.deepEqual([...types].sort(), [
      'anorectal_manometry',
      'cystometry',
      'pelvic_floor_training',
      'pressure_flow',
      'urethral_pressure_profile',
      'uroflowmetry',
    ]);
    assert.ok(names().length >= 70);
  });

  for (const name of names()) {
    const truth = read('truth', name);
    it(`agrees with its truth: ${name}, ${truth.type}`, async () => {
      const {json: analysis} = await physician.get(`/v1/recordings/${truth.recording_id}/analysis?revision=1`);
      const section = truth.type === 'uroflowmetry' ? 'uroflow' : 'voiding';
      doubtful += compareDoubts(analysis);
      analysis.findings.forEach(({code}) => drafts.add(code));
      const compared =
        compare(analysis, section, truth, truth.type === 'uroflowmetry' ? FLOW : [...FLOW, ...PRESSURE]) +
        compare(analysis, 'filling', truth, FILLING) +
        comparePressureRise(analysis, truth) +
        compare(analysis, 'anorectal', truth, ANORECTAL) +
        compareProfiles(analysis, truth) +
        compareTraining(analysis, truth);
      assert.ok(compared >= 1, `${compared} numbers compared`);
      if (truth.interruptions !== undefined && truth.artefacts.every(({kind}) => kind !== 'knock')) {
        assert.ok(!analysis.quality.some(({code}) => code === 'spike'), 'no knock is seen where none was');
      }
    });

    it(`came back as it was sent: ${name}`, async () => {
      const sent = read('recordings', name);
      const {json} = await physician.get(`/v1/recordings/${truth.recording_id}/traces`);
      for (const channel of sent.channels) {
        const trace = json.traces.find(({signal}) => signal === channel.signal);
        assert.equal(trace.unit, channel.unit);
        assert.deepEqual(trace.samples, valuesOf(channel), channel.signal);
      }
      const {json: events} = await physician.get(`/v1/recordings/${truth.recording_id}/events`);
      if (events.revision === 1) {
        assert.deepEqual(
          events.events,
          (sent.events ?? []).map(({note, ...event}) => (note ? {...event, note} : event)),
        );
      }
    });
  }

  it('shows every draft somewhere', () => {
    assert.deepEqual([...drafts].sort(), DRAFTS);
  });

  it('has suggestions and indices that rest on bad signals', () => {
    assert.ok(doubtful >= 5, `${doubtful} of them`);
  });
});

function valuesOf({samples, encoding, data, scale, offset = 0}) {
  if (samples !== undefined) {
    return samples;
  }
  const bytes = Buffer.from(data, 'base64');
  if (encoding === 'int16') {
    return Array.from({length: bytes.length / 2}, (_, i) => {
      const code = bytes.readInt16LE(2 * i);
      return code === -32768 ? null : code * scale + offset;
    });
  }
  return Array.from({length: bytes.length / 4}, (_, i) => {
    const value = bytes.readFloatLE(4 * i);
    return Number.isNaN(value) ? null : value;
  });
}

describe('signatures of the demo', () => {
  it('are there for what is older; the newest visits are open work, and one study is amended', async () => {
    const {json} = await physician.get('/v1/studies?limit=200');
    const newest = json.items[0].started_at.slice(0, 10);
    const byStatus = {};
    for (const study of json.items) (byStatus[study.status] ??= []).push(study);
    assert.equal(byStatus.amended.length, 1);
    assert.ok(byStatus.final.length >= 20, `${byStatus.final.length} signed`);
    assert.ok(byStatus.preliminary.length >= 10, `${byStatus.preliminary.length} open`);
    assert.ok(json.items.filter(({started_at}) => started_at.startsWith(newest)).every(({status}) => status === 'preliminary'));
    const {json: signatures} = await physician.get(`/v1/studies/${byStatus.amended[0].id}/signatures`);
    assert.deepEqual(signatures.items.map(({meaning}) => meaning), ['final', 'amended']);
    await physician.expect(200, 'HEAD', `/v1/studies/${byStatus.final[0].id}/signatures/1/report`);
  });
});

describe('the equipment of the demo', () => {
  const {devices} = read('index.json');

  it('is there, each device with all of its checks', async () => {
    const {items} = (await physician.get('/v1/devices?limit=200')).json;
    assert.ok(devices.length > 10);
    for (const {id, room: place, verifications} of devices) {
      const device = items.find((one) => one.id === id);
      assert.equal(device.room, place);
      const kept = (await physician.get(`/v1/devices/${id}/verifications`)).json.items;
      assert.deepEqual(new Set(kept.map((one) => one.id)), new Set(verifications.map((one) => one.id)));
    }
  });

  it('shows what a clinic’s may be like', async () => {
    const {items} = (await physician.get('/v1/devices?limit=200')).json;
    const named = (name) => items.find((one) => one.name === name);
    const states = new Map();
    for (const {state} of items) {
      states.set(state, (states.get(state) ?? 0) + 1);
    }
    assert.deepEqual(Object.fromEntries(states), {passed: 11, overdue: 1, not_verified: 2, not_judged: 1});
    assert.equal(named('Birch, flowmeter').state, 'overdue');
    const {id} = named('Alder, belly line');
    const verdicts = (await physician.get(`/v1/devices/${id}/verifications`)).json.items.map(({verdict}) => verdict);
    assert.deepEqual(verdicts, ['passed', 'failed', 'passed', 'passed', 'passed']);
  });
});
