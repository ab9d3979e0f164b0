// A patient's numbers over time, and the nomograms that they are drawn on.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {Flow, pressureFlow, uroflowmetry} from './lib/recordings.mjs';

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('trend');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the trend');
});

after(() => installation.remove());

const WEEK_MS = 7 * 24 * 3600 * 1000;
const FIRST = Date.parse('2026-01-05T09:00:00Z');

/** A study `weeks` after the first, with a free flow of this peak unless it is null. */
async function visit(patient, weeks, peak, fields = {}) {
  const started_at = new Date(FIRST + weeks * WEEK_MS).toISOString();
  const study = await clinic.addStudy(patient.id, {started_at, ...fields});
  if (peak === null) {
    return {study};
  }
  const {document} = uroflowmetry({flow: new Flow(peak, 5, 32)});
  const {json} = await clinic.addRecording(study.id, document);
  return {study, analysis: json.analysis, id: json.recording.id};
}

const trendOf = async (patient, query = '') => clinic.room.get(`/v1/patients/${patient.id}/trend${query}`);

const find = ({json}, section, code) => json.trends.find((one) => one.section === section && one.code === code);

describe('the trend of a patient', () => {
  it('is empty for a patient without studies', async () => {
    const patient = await clinic.addPatient();
    assert.deepEqual((await trendOf(patient)).json, {
      patient_id: patient.id,
      items: [],
      trends: [],
      truncated: false,
    });
  });

  it('has one item a study in order of time, with the numbers of its document', async () => {
    const patient = await clinic.addPatient();
    const late = await visit(patient, 4, 12);
    const early = await visit(patient, 0, 24);
    const none = await visit(patient, 2, null);
    const answer = await trendOf(patient);
    assert.deepEqual(
      answer.json.items.map(({study_id}) => study_id),
      [early, none, late].map(({study}) => study.id),
    );
    assert.deepEqual(
      answer.json.items.map(({status}) => status),
      ['preliminary', 'registered', 'preliminary'],
    );
    assert.deepEqual(answer.json.items[1].values, {});
    for (const [item, {analysis}] of [
      [answer.json.items[0], early],
      [answer.json.items[2], late],
    ]) {
      const numbers = Object.entries(analysis.sections.uroflow)
        .filter(([, {value}]) => typeof value === 'number')
        .map(([code, {value}]) => [code, value]);
      assert.deepEqual(item.values, {uroflow: Object.fromEntries(numbers)});
      assert.ok(numbers.length > 8);
    }
    const qmax = find(answer, 'uroflow', 'qmax');
    const [first, last] = [early, late].map(({analysis}) => analysis.sections.uroflow.qmax.value);
    assert.equal(qmax.count, 2);
    assert.equal(qmax.unit, 'mL/s');
    assert.equal(qmax.first, first);
    assert.equal(qmax.last, last);
    assert.ok(Math.abs(qmax.change - (last - first)) < 0.0011);
    assert.ok(Math.abs(qmax.change_percent - (100 * (last - first)) / first) < 0.0011);
    assert.ok(Math.abs(qmax.slope_per_week - (last - first) / 4) < 0.0011);
    assert.equal(qmax.verdict, undefined);
  });

  it('has no change from one study, and no slope', async () => {
    const patient = await clinic.addPatient();
    await visit(patient, 0, 20);
    const qmax = find(await trendOf(patient), 'uroflow', 'qmax');
    assert.equal(qmax.count, 1);
    assert.equal(qmax.first, qmax.last);
    assert.deepEqual([qmax.change, qmax.slope_per_week], [undefined, undefined]);
  });

  it('takes the last recording of a study, and every section', async () => {
    const patient = await clinic.addPatient();
    const {study} = await visit(patient, 0, 10);
    const again = uroflowmetry({flow: new Flow(30, 5, 32)}).document;
    again.started_at = '2026-03-03T09:31:05+01:00';
    const {json: second} = await clinic.addRecording(study.id, again);
    const {json: third} = await clinic.addRecording(study.id, pressureFlow().document);
    const [{values}] = (await trendOf(patient)).json.items;
    assert.equal(values.uroflow.qmax, second.analysis.sections.uroflow.qmax.value);
    assert.equal(values.voiding.pdet_qmax, third.analysis.sections.voiding.pdet_qmax.value);
    assert.equal(values.filling.compliance, third.analysis.sections.filling.compliance.value);
  });

  it('follows a change of the events', async () => {
    const patient = await clinic.addPatient();
    const {id} = await visit(patient, 0, 20);
    const before = await trendOf(patient);
    assert.ok(find(before, 'uroflow', 'delay_time'));
    await clinic.room.put(`/v1/recordings/${id}/events`, {events: []}, '"1"');
    const after = await trendOf(patient);
    assert.equal(find(after, 'uroflow', 'delay_time'), undefined);
    assert.notEqual(after.headers.get('etag'), before.headers.get('etag'));
    const headers = {'if-none-match': after.headers.get('etag')};
    await clinic.room.expect(304, 'GET', `/v1/patients/${patient.id}/trend`, {headers});
  });

  it('leaves cancelled studies out', async () => {
    const patient = await clinic.addPatient();
    const {study} = await visit(patient, 0, 20);
    await visit(patient, 1, 25);
    const {headers} = await clinic.room.get(`/v1/studies/${study.id}`);
    await clinic.room.patch(`/v1/studies/${study.id}`, {status: 'cancelled'}, headers.get('etag'));
    const {json} = await trendOf(patient);
    assert.equal(json.items.length, 1);
    assert.notEqual(json.items[0].study_id, study.id);
  });

  it('is cut to the newest studies, and says so', async () => {
    const patient = await clinic.addPatient();
    const studies = [];
    for (let i = 0; i < 4; i++) {
      studies.push((await visit(patient, i, i === 1 ? null : 10 + i)).study.id);
    }
    for (const [limit, truncated] of [
      [2, true],
      [3, true],
      [4, false],
      [200, false],
    ]) {
      const {json} = await trendOf(patient, `?limit=${limit}`);
      assert.deepEqual(
        json.items.map(({study_id}) => study_id),
        studies.slice(-Math.min(limit, 4)),
      );
      assert.equal(json.truncated, truncated);
    }
    for (const query of ['?limit=0', '?limit=201', '?limit=x', '?limit=', '?cursor=1']) {
      const answer = await clinic.room.expect(422, 'GET', `/v1/patients/${patient.id}/trend${query}`);
      assert.deepEqual(pointers(answer), [query.startsWith('?limit') ? '?limit' : '?cursor']);
    }
  });

  it('is nobody’s of another clinic, and no referrer’s', async () => {
    const patient = await clinic.addPatient();
    await visit(patient, 0, 20);
    const other = await Clinic.open(installation, 'Clinic beside it');
    await other.room.expect(404, 'GET', `/v1/patients/${patient.id}/trend`);
    for (const role of ['referrer', 'auditor', 'administrator']) {
      await clinic.as(role).expect(403, 'GET', `/v1/patients/${patient.id}/trend`);
    }
    await clinic.room.expect(404, 'GET', '/v1/patients/x/trend');
  });

  it('does not take a document that it cannot read for numbers', async () => {
    const patient = await clinic.addPatient();
    const {id} = await visit(patient, 0, 20);
    await visit(patient, 1, 22);
    await installation.execute(
      `set session_replication_role = replica;
       update penstock.recording_revision set analysis = '{"sections": [' where recording_id = '${id}'`,
    );
    const answer = await trendOf(patient);
    assert.deepEqual(answer.json.items[0].values, {});
    assert.equal(find(answer, 'uroflow', 'qmax').count, 1);
  });
});

describe('the nomograms', () => {
  const list = async (query = '', one = clinic) => one.room.get(`/v1/nomograms${query}`);
  const codes = ({json}) => json.items.map(({code}) => code);

  it('are those for the sex and age', async () => {
    const men = ['ics_obstruction', 'composite'];
    const women = ['female_obstruction', 'blaivas_groutz', 'liverpool_women'];
    assert.deepEqual(codes(await list()), [...men, ...women]);
    assert.deepEqual(codes(await list('?sex=male')), men);
    assert.deepEqual(codes(await list('?sex=male&age_years=64')), [...men, 'liverpool_men']);
    assert.deepEqual(codes(await list('?sex=female&age_years=18')), women);
    assert.deepEqual(codes(await list('?sex=female&age_years=17.9')), []);
    assert.deepEqual(codes(await list('?sex=other')), []);
    for (const [query, pointer] of [
      ['?sex=man', '?sex'],
      ['?age_years=-1', '?age_years'],
      ['?age_years=131', '?age_years'],
      ['?age_years=x', '?age_years'],
      ['?limit=1', '?limit'],
    ]) {
      assert.deepEqual(pointers(await clinic.room.expect(422, 'GET', `/v1/nomograms${query}`)), [pointer]);
    }
  });

  it('have lines within their axes, and a zone for each pair of bands', async () => {
    for (const {code, x, y, lines, zones, source} of (await list('?age_years=64')).json.items) {
      assert.ok(source.length > 10, code);
      const bands = [0, 1].map((family) => lines.filter((line) => line.family === family).length + 1);
      assert.equal(zones.length, bands[0] * bands[1], code);
      assert.equal(new Set(zones.map((zone) => zone.bands.join())).size, zones.length, code);
      for (const line of lines) {
        assert.ok(line.points.length >= 2, `${code} ${line.code}`);
        for (const [px, py] of line.points) {
          assert.ok(px >= x.from && px <= x.to && py >= y.from && py <= y.to, `${code} ${line.code}`);
          if (line.slope !== undefined) {
            assert.ok(Math.abs(line.level + line.slope * px - py) < 0.01, `${code} ${line.code}`);
          }
        }
      }
    }
  });

  it('are drawn with the limits that the clinic has chosen', async () => {
    const other = await Clinic.open(installation, 'Clinic with limits of its own');
    const before = await list('?sex=male', other);
    await other.administrator.put('/v1/analysis-choices', {choices: {obstruction_high: 45}}, '"0"');
    const after = await list('?sex=male', other);
    const level = ({json}) => json.items[0].lines.find(({code}) => code === 'obstruction_high').level;
    assert.equal(level(before), 40);
    assert.equal(level(after), 45);
    assert.equal(level(await list('?sex=male')), 40);
    assert.notEqual(before.headers.get('etag'), after.headers.get('etag'));
  });

  it('are kept by a browser as long as they are the same', async () => {
    const {headers} = await list('?sex=male');
    assert.equal(headers.get('cache-control'), 'private, no-cache');
    const again = {'if-none-match': headers.get('etag')};
    await clinic.room.expect(304, 'GET', '/v1/nomograms?sex=male', {headers: again});
    await clinic.room.expect(200, 'GET', '/v1/nomograms?sex=female', {headers: again});
  });
});
