// Figures of a recording and trends of a patient: which there are, in which forms, and what is refused.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {mkdtemp, readFile, rm, writeFile} from 'node:fs/promises';
import {tmpdir} from 'node:os';
import {join} from 'node:path';
import {after, before, describe, it} from 'node:test';
import {promisify} from 'node:util';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {cut, open, send} from './lib/pieces.mjs';
import {Flow, pressureFlow, uroflowmetry} from './lib/recordings.mjs';

const run = promisify(execFile);
const {document: PRESSURE_FLOW} = pressureFlow();

let installation;
let clinic;
let folder;
let man;

before(async () => {
  installation = await Installation.create('figure');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the figures');
  folder = await mkdtemp(join(tmpdir(), 'figure-'));
  man = await recording({sex: 'male'});
});

after(async () => {
  await rm(folder, {recursive: true, force: true});
  await installation.remove();
});

/** A pressure-flow study of a new patient. */
async function recording(patient, document = PRESSURE_FLOW) {
  const study = await clinic.addVisit(patient);
  const {json} = await clinic.addRecording(study.id, document);
  return {study, id: json.recording.id, analysis: json.analysis};
}

const path = ({id}, query = '') => `/v1/recordings/${id}/figure${query}`;
const list = async ({id}, query = '') => (await clinic.room.get(`/v1/recordings/${id}/figures${query}`)).json;
const names = ({items}) => items.map(({kind, code}) => (code === undefined ? kind : `${kind} ${code}`));

const svg = (which, query) => clinic.room.get(path(which, query), {accept: 'image/svg+xml'});

/** Bytes of an answer; the client of the contract reads text alone. */
async function bytes(target, accept) {
  const response = await fetch(clinic.room.url + target, {headers: {...clinic.room.headers, accept}});
  assert.equal(response.status, 200);
  assert.equal(response.headers.get('content-type'), accept);
  return Buffer.from(await response.arrayBuffer());
}

/** Width and height in the header of a PNG (ISO/IEC 15948, 11.2.2). */
function pngSize(file) {
  assert.equal(file.subarray(0, 8).toString('latin1'), '\x89PNG\r\n\x1a\n');
  return [file.readUInt32BE(16), file.readUInt32BE(20)];
}

/** What poppler, which has nothing of the server in it, says of a PDF. */
async function pdfFacts(file) {
  const at = join(folder, 'figure.pdf');
  await writeFile(at, file);
  const {stdout} = await run('pdfinfo', [at]);
  return Object.fromEntries(stdout.split('\n').map((line) => line.split(/:\s+/)));
}

describe('the figures of a recording', () => {
  it('are those whose numbers its analysis has, in the order of a report', async () => {
    assert.deepEqual(names(await list(man)), [
      'traces',
      'voiding',
      'loop',
      'nomogram ics_obstruction',
      'nomogram composite',
      'contractility',
    ]);
    const woman = await recording({sex: 'female'});
    assert.deepEqual(names(await list(woman)), [
      'traces',
      'voiding',
      'loop',
      'nomogram female_obstruction',
      'contractility',
    ]);
  });

  it('have no adults’ charts for a child, and none without a sex', async () => {
    for (const patient of [{sex: 'male', birth_date: '2015-05-01'}, {sex: 'unknown'}]) {
      const found = names(await list(await recording(patient)));
      assert.deepEqual(
        found.filter((name) => name.startsWith('nomogram')),
        [],
      );
      assert.ok(found.includes('traces') && found.includes('loop'));
    }
  });

  it('of a free flow are its trace and the centiles', async () => {
    const flow = await recording({sex: 'male'}, uroflowmetry().document);
    assert.deepEqual(names(await list(flow)), ['traces', 'nomogram liverpool_men']);
  });

  it('say in words what they show, with the numbers of the document', async () => {
    const {items} = await list(man);
    const point = items.find(({code}) => code === 'ics_obstruction').alternative;
    assert.match(point, /^Preliminary\. /);
    const {qmax, pdet_qmax} = man.analysis.sections.voiding;
    assert.match(point, new RegExp(`Qmax ${Math.round(qmax.value)}\u00a0mL/s, `));
    assert.match(point, new RegExp(`pdetQmax ${Math.round(pdet_qmax.value)}\u00a0cmH₂O: `));
    const {class: word} = man.analysis.classifications.find(({code}) => code === 'ics_obstruction');
    assert.match(point.toLowerCase(), new RegExp(`: ${word}\\.`));
    const traces = items.find(({kind}) => kind === 'traces').alternative;
    assert.match(traces, /2:05 First sensation/);
    assert.match(traces, /Filling from 0:05 to 5:05\./);
  });

  it('have an ETag that stays as long as they are the same', async () => {
    const target = `/v1/recordings/${man.id}/figures`;
    const {headers} = await clinic.room.get(target);
    await clinic.room.expect(304, 'GET', target, {headers: {'if-none-match': headers.get('etag')}});
  });

  it('are of the revision that is asked for', async () => {
    const one = await recording({sex: 'male'});
    const {json, headers} = await clinic.room.get(`/v1/recordings/${one.id}/events`);
    const events = [...json.events, {at_s: 200, code: 'urgency'}];
    await clinic.as('clinician').put(`/v1/recordings/${one.id}/events`, {events}, headers.get('etag'));
    const words = async (query) => (await list(one, query)).items[0].alternative;
    assert.match(await words(''), /3:20 Urgency/);
    assert.match(await words('?revision=2'), /3:20 Urgency/);
    assert.doesNotMatch(await words('?revision=1'), /Urgency/);
    await clinic.room.expect(404, 'GET', `/v1/recordings/${one.id}/figures?revision=3`);
    await clinic.room.expect(404, 'GET', path(one, '?kind=traces&revision=3'));
  });
});

describe('a figure', () => {
  it('as SVG holds its words, and neither runs nor loads anything', async () => {
    for (const {kind, code, caption} of (await list(man)).items) {
      const answer = await svg(man, `?kind=${kind}${code === undefined ? '' : `&code=${code}`}`);
      assert.match(answer.text, new RegExp(`<title>${caption.replaceAll(/[()]/g, '\\$&')}</title>`));
      assert.match(answer.text, /<svg role="img"[^>]*>\s*<title>/);
      assert.doesNotMatch(answer.text, /<script|<foreignObject|\son\w+=|javascript:|href="(?!#|data:image\/png)/i);
      const policy = answer.headers.get('content-security-policy');
      assert.match(policy, /default-src 'none'/);
      assert.doesNotMatch(policy, /script-src/);
      // A renderer that has nothing of the server in it draws it.
      const at = join(folder, 'figure.svg');
      await writeFile(at, answer.text);
      await run('rsvg-convert', ['--output', join(folder, 'figure.png'), at]);
      const [width, height] = pngSize(await readFile(join(folder, 'figure.png')));
      assert.ok(width > 100 && height > 100);
    }
  });

  it('as PNG has two dots a point, and one when it is large', async () => {
    const sizeOf = async (query) => pngSize(await bytes(path(man, `?kind=loop&${query}`), 'image/png'));
    assert.deepEqual(await sizeOf('width=300&height=200'), [600, 400]);
    assert.deepEqual(await sizeOf('width=2000&height=2000'), [2000, 2000]);
  });

  it('as PDF is one tagged page of its size, with the caption as its title', async () => {
    const file = await bytes(path(man, '?kind=loop&width=400&height=300'), 'application/pdf');
    const facts = await pdfFacts(file);
    assert.equal(facts.Pages, '1');
    assert.equal(facts.Tagged, 'yes');
    assert.equal(facts['Page size'], '400 x 300 pts');
    assert.equal(facts.Title, 'Pressure and flow over the voiding');
    assert.equal(facts.JavaScript, 'no');
  });

  it('is the same each time, in each form', async () => {
    for (const accept of ['image/svg+xml', 'image/png', 'application/pdf']) {
      const one = await bytes(path(man, '?kind=traces'), accept);
      const other = await bytes(path(man, '?kind=traces'), accept);
      assert.ok(one.equals(other), accept);
    }
  });

  it('comes as SVG unless another form is asked for, and as nothing else', async () => {
    const answer = await clinic.room.get(path(man, '?kind=loop'));
    assert.equal(answer.headers.get('content-type'), 'image/svg+xml');
    assert.match(answer.headers.get('vary'), /Accept/);
    await clinic.room.expect(406, 'GET', path(man, '?kind=loop'), {headers: {accept: 'image/jpeg'}});
  });

  it('of a span shows that span alone', async () => {
    const whole = await svg(man, '?kind=traces');
    const part = await svg(man, '?kind=traces&from_s=100&to_s=140');
    assert.match(whole.text, /from 0:00 to 6:40/);
    assert.match(part.text, /from 1:40 to 2:20/);
    assert.match(part.text, /2:05 First sensation/);
    assert.doesNotMatch(part.text, /Strong desire/);
  });

  it('says that it is preliminary until the study is signed', async () => {
    const one = await recording({sex: 'male'});
    // Whoever is in the room does not reach what is signed.
    const read = () => clinic.as('clinician').get(path(one, '?kind=loop'));
    const preliminary = await read();
    assert.match(preliminary.text, /<desc>Preliminary/);
    await clinic.sign(one.study.id);
    const final = await read();
    assert.doesNotMatch(final.text, /Preliminary/);
    assert.notEqual(preliminary.headers.get('etag'), final.headers.get('etag'));
    // The word is drawn, not only told: glyphs are fewer without it.
    const glyphs = ({text}) => text.match(/<use /g).length;
    assert.ok(glyphs(preliminary) >= glyphs(final) + 'Preliminary'.length);
  });

  it('names every fault of what is asked for', async () => {
    const refused = async (query) => pointers(await clinic.room.expect(422, 'GET', path(man, query)));
    assert.deepEqual(await refused(''), ['?kind']);
    assert.deepEqual(await refused('?kind=cake&width=10&height=90000&revision=0&colour=red'), [
      '?colour',
      '?height',
      '?kind',
      '?revision',
      '?width',
    ]);
    assert.deepEqual(await refused('?kind=nomogram'), ['?code']);
    assert.deepEqual(await refused('?kind=nomogram&code=cake'), ['?code']);
    assert.deepEqual(await refused('?kind=loop&code=composite'), ['?code']);
    assert.deepEqual(await refused('?kind=loop&from_s=3'), ['?from_s']);
    assert.deepEqual(await refused('?kind=traces&from_s=30&to_s=20'), ['?to_s']);
    assert.deepEqual(await refused('?kind=traces&from_s=soon&to_s=1e400'), ['?from_s', '?to_s']);
  });

  it('that the recording has not is not there, and the answer names those that are', async () => {
    for (const query of ['?kind=profile', '?kind=nomogram&code=female_obstruction']) {
      const {json} = await clinic.room.expect(404, 'GET', path(man, query));
      assert.match(json.detail, /nomogram ics_obstruction, nomogram composite/);
    }
  });

  it('is not had of a recording that runs, was withdrawn or is another clinic’s', async () => {
    const running = await open(clinic.room, (await clinic.addVisit()).id, uroflowmetry().document);
    await send(clinic.room, running, 0, cut(uroflowmetry().document, 45)[0]);
    const gone = await recording({sex: 'male'});
    await clinic.as('clinician').expect(200, 'POST', `/v1/recordings/${gone.id}/withdrawal`, {
      json: {reason: 'wrong patient'},
      headers: {'if-match': '"1"'},
    });
    const other = await Clinic.open(installation, 'Another clinic of the figures');
    for (const suffix of ['figures', 'figure?kind=traces']) {
      await clinic.room.expect(409, 'GET', `/v1/recordings/${running}/${suffix}`);
      await clinic.room.expect(410, 'GET', `/v1/recordings/${gone.id}/${suffix}`);
      await other.room.expect(404, 'GET', `/v1/recordings/${man.id}/${suffix}`);
    }
  });
});

describe('a trend, drawn', () => {
  const trend = (patient, query) => `/v1/patients/${patient}/trend/figure${query}`;

  /** A patient with free flows of these peaks, a week apart; null: a visit without one. */
  async function patientWith(peaks) {
    const patient = await clinic.addPatient({sex: 'male'});
    for (const [week, peak] of peaks.entries()) {
      const started_at = new Date(Date.parse('2026-01-05T09:00:00Z') + week * 7 * 24 * 3600e3).toISOString();
      const study = await clinic.addStudy(patient.id, {started_at});
      if (peak !== null) {
        await clinic.addRecording(study.id, uroflowmetry({flow: new Flow(peak, 5, 32)}).document);
      }
    }
    return patient.id;
  }

  it('has each visit with its number, and says which lack it', async () => {
    const {text} = await clinic.room.get(trend(await patientWith([12, null, 24]), '?value=uroflow.qmax'));
    const qmax = (peak) => Math.round(new Flow(peak, 5, 32).qmax.value);
    assert.match(
      text,
      new RegExp(
        `2026-01-05 ${qmax(12)}\u00a0mL/s; 2026-01-12 none; 2026-01-19 ${qmax(24)}\u00a0mL/s\\.`,
      ),
    );
    assert.match(text, /<desc>Preliminary/);
  });

  it('has the clinic’s limits as lines', async () => {
    const {json} = await clinic.room.get(`/v1/studies/${man.study.id}`);
    const {text} = await clinic.room.get(trend(json.patient_id, '?value=voiding.booi'));
    assert.match(text, /BOOI above this: obstructed \(men\): 40\./);
    assert.match(text, /BOOI below this: unobstructed \(men\): 20\./);
  });

  it('comes in every form', async () => {
    const patient = await patientWith([12, 24]);
    const target = trend(patient, '?value=uroflow.qmax&width=300&height=200');
    assert.deepEqual(pngSize(await bytes(target, 'image/png')), [600, 400]);
    assert.equal((await pdfFacts(await bytes(target, 'application/pdf')))['Page size'], '300 x 200 pts');
  });

  it('is refused with every fault, and is not there without a number', async () => {
    const patient = await patientWith([12]);
    const refused = async (query) => pointers(await clinic.room.expect(422, 'GET', trend(patient, query)));
    assert.deepEqual(await refused(''), ['?value']);
    for (const value of ['qmax', 'uroflow.', 'uroflow.flow_pattern', 'profiles.speed', 'uroflow.qmax.value']) {
      assert.deepEqual(await refused(`?value=${value}`), ['?value']);
    }
    assert.deepEqual(await refused('?value=cake&width=1&limit=0&page=2'), ['?limit', '?page', '?value', '?width']);
    await clinic.room.expect(404, 'GET', trend(patient, '?value=voiding.booi'));
    await clinic.room.expect(404, 'GET', trend(man.id, '?value=voiding.booi'));
  });
});
