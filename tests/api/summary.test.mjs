// The report of a study in every form: what is not signed is made anew, what was signed stays as it was signed.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {createHash} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Clinic} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {interpret, INTERPRETATION} from './lib/signing.mjs';

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('summary');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the reports');
});

after(() => installation.remove());

const targetOf = ({id}) => `/v1/studies/${id}/summary`;
const read = async (study, accept, role = 'clinician') => clinic.as(role).get(targetOf(study), {accept});

async function bytesOf(target) {
  const answer = await fetch(installation.url + target, {
    headers: {authorization: `Bearer ${clinic.tokens.clinician}`, accept: 'application/pdf'},
  });
  assert.equal(answer.status, 200);
  return Buffer.from(await answer.arrayBuffer());
}

/** The words of a PDF, as poppler finds them. */
function wordsOf(bytes) {
  return new Promise((resolve, reject) => {
    const child = execFile('pdftotext', ['-raw', '-', '-'], (error, stdout) =>
      error ? reject(error) : resolve(stdout.replaceAll(/\s+/g, ' ')),
    );
    child.stdin.end(bytes);
  });
}

/** Plain text on one line, without the bars of cautions. */
const oneLine = (text) => text.replaceAll(/^! /gm, '').replaceAll(/\s+/g, ' ');

async function visit(patient = {}, fields = {}) {
  const study = await clinic.addVisit(patient, fields);
  await clinic.addRecording(study.id, uroflowmetry().document);
  return study;
}

describe('a report that is not signed', () => {
  it('has the figures of twenty recordings, and says so of further ones', async () => {
    const study = await clinic.addVisit();
    for (let minute = 0; minute < 22; minute++) {
      const started_at = `2026-03-02T08:${String(minute).padStart(2, '0')}:00Z`;
      await clinic.addRecording(study.id, {...uroflowmetry().document, started_at});
    }
    const {text} = await read(study, 'text/html');
    const parts = text.split(/<h2[^>]*>\d+\. Uroflowmetry, /).slice(1);
    assert.equal(parts.length, 22);
    const withFigures = parts.map((part) => part.includes('<img '));
    assert.deepEqual(withFigures, parts.map((_, index) => index < 20));
    const toldOf = parts.map((part) => part.includes('The figures of this recording are left out'));
    assert.deepEqual(toldOf, withFigures.map((has) => !has));
  });

  it('has the form that is asked for, under a name that says nothing of the patient', async () => {
    const study = await visit();
    for (const [accept, type, ending] of [
      ['text/html', 'text/html; charset=utf-8', 'html'],
      ['text/plain', 'text/plain; charset=utf-8', 'txt'],
      ['application/pdf', 'application/pdf', 'pdf'],
      ['application/json', 'application/json', 'json'],
    ]) {
      const {headers, text} = await read(study, accept);
      assert.equal(headers.get('content-type'), type);
      assert.equal(headers.get('content-disposition'), `inline; filename="urodynamic-report-2026-03-02.${ending}"`);
      assert.match(headers.get('etag'), /^"[^"]+"$/);
      assert.ok(text.length > 1000);
    }
  });

  it('is the same until something changes', async () => {
    const study = await visit();
    for (const accept of ['text/html', 'text/plain', 'application/pdf', 'application/json']) {
      const first = (await read(study, accept)).headers.get('etag');
      assert.equal((await read(study, accept)).headers.get('etag'), first, accept);
      await clinic.as('clinician').expect(304, 'GET', targetOf(study), {headers: {accept, 'if-none-match': first}});
    }
    const before = (await read(study, 'application/pdf')).headers.get('etag');
    await interpret(clinic.as('clinician'), study.id);
    assert.notEqual((await read(study, 'application/pdf')).headers.get('etag'), before);
  });

  it('tells what a clinician made of it before the numbers', async () => {
    const study = await visit();
    assert.equal((await read(study, 'application/json')).json.interpretation, null);
    assert.match((await read(study, 'text/plain')).text, /No clinician has entered an interpretation\./);
    await interpret(clinic.as('clinician'), study.id);
    assert.deepEqual((await read(study, 'application/json')).json.interpretation, INTERPRETATION);
    const forms = [oneLine((await read(study, 'text/plain')).text), await wordsOf(await bytesOf(targetOf(study)))];
    for (const text of forms) {
      const places = [INTERPRETATION.conclusion, INTERPRETATION.diagnoses[0].text, INTERPRETATION.plan[0].text, 'VOID:'];
      const found = places.map((part) => text.indexOf(part));
      assert.ok(found[0] > 0, text.slice(0, 500));
      assert.deepEqual([...found].sort((one, other) => one - other), found);
      assert.ok(text.includes('Preliminary'));
    }
  });

  it('names who referred, and the equipment with its last check before the study', async () => {
    const room = 'Room with equipment';
    const patient = await clinic.addPatient();
    const referrer = await clinic.addUser(['referrer'], {display_name: 'Dr Elsewhere'});
    await clinic.refer(patient.id, referrer.id);
    const study = await clinic.addStudy(patient.id, {room, operator: 'A. Nurse'});
    await clinic.addRecording(study.id, uroflowmetry().document);
    const since = '2026-01-01T00:00:00Z';
    const checked = await clinic.addDevice({name: 'Checked one', serial: 'S-1', room, since});
    await clinic.addDevice({name: 'Never checked', room, since});
    await clinic.addDevice({name: 'In another room', since});
    await clinic.addVerification(checked.id, {verified_at: '2026-02-01T08:00:00Z'});
    const {json} = await read(study, 'application/json');
    assert.deepEqual(
      json.equipment.map(({name, verdict, verified_at}) => [name, verdict, verified_at]),
      [
        ['Checked one', 'passed', '2026-02-01T08:00:00Z'],
        ['Never checked', 'not_verified', undefined],
      ],
    );
    const text = oneLine((await read(study, 'text/plain')).text);
    for (const words of ['Referred by: Dr Elsewhere', 'S-1', 'passed 2026-02-01', 'not verified']) {
      assert.ok(text.includes(words), words);
    }
    assert.doesNotMatch(text, /another room|equipment and its verification/);
    assert.match(text, /Not stated: question of the test/);
  });

  it('gives a child the norms of children', async () => {
    const study = await visit({birth_date: '2017-04-30'});
    assert.match(oneLine((await read(study, 'text/plain')).text), /The patient is a child: norms are paediatric/);
    assert.doesNotMatch((await read(await visit(), 'text/plain')).text, /paediatric/);
  });

  it('keeps what anybody typed as text in every form', async () => {
    const words = '<b>&amp;{{x}} \\input{y} $z$ שלום\u202e tail';
    const study = await visit({given_name: words}, {operator: words, history: {medication: words}});
    const {text: html} = await read(study, 'text/html');
    assert.ok(!html.includes('<b>') && html.includes('&lt;b&gt;&amp;amp;{{x}} \\input{y} $z$ שלום'));
    const {text} = await read(study, 'text/plain');
    assert.ok(text.includes('\u2068<b>&amp;{{x}} \\input{y} $z$ שלום tail\u2069') && !text.includes('\u202e'));
    assert.ok((await wordsOf(await bytesOf(targetOf(study)))).includes('<b>&amp;{{x}} \\input{y} $z$'));
  });

  it('says that a study was cancelled', async () => {
    const study = await visit();
    const {version} = (await clinic.room.get(`/v1/studies/${study.id}`)).json;
    await clinic.as('clinician').expect(200, 'PATCH', `/v1/studies/${study.id}`, {
      json: {status: 'cancelled'},
      headers: {'if-match': `"${version}"`},
    });
    assert.match((await read(study, 'text/html')).text, /<p class="document-mark">Cancelled<\/p>/);
    assert.match((await read(study, 'text/plain')).text, /^\*\*\* Cancelled \*\*\*\n/);
    assert.match(await wordsOf(await bytesOf(targetOf(study))), /Cancelled: this study was cancelled/);
  });
});

describe('a report that is signed', () => {
  it('is given byte by byte as it was signed, whatever changes around it', async () => {
    const study = await visit({given_name: 'Before'});
    const signature = await clinic.sign(study.id);
    const signed = await bytesOf(targetOf(study));
    assert.equal(createHash('sha256').update(signed).digest('hex'), signature.report.sha256);
    assert.ok(signed.equals(await bytesOf(`/v1/studies/${study.id}/signatures/1/report`)));
    const words = await wordsOf(signed);
    assert.match(words, /Final: reviewed and signed by a clinician\. Signed .* by Dr Signer/);
    assert.ok(words.includes(`${FAMILY_NAME}, Before`) && words.includes(INTERPRETATION.conclusion));
    assert.doesNotMatch(words, /[Pp]reliminary/);
    const patient = await clinic.as('clinician').get(`/v1/patients/${study.patient_id}`);
    const {id, version, ...fields} = patient.json;
    await clinic.room.put(`/v1/patients/${id}`, {...fields, given_name: 'After'}, `"${version}"`);
    assert.ok(signed.equals(await bytesOf(targetOf(study))));
    assert.match((await read(study, 'text/plain')).text, /After/);
  });

  it('names who signed, and why it was amended, in every form', async () => {
    const study = await visit();
    await clinic.sign(study.id);
    const first = await bytesOf(targetOf(study));
    await clinic.amend(study.id);
    const second = await bytesOf(targetOf(study));
    assert.ok(!first.equals(second));
    const {json} = await read(study, 'application/json');
    assert.deepEqual(
      json.signatures.map(({number, meaning, signer_name, reason}) => [number, meaning, signer_name, reason]),
      [
        [1, 'final', 'Dr Signer', undefined],
        [2, 'amended', 'Dr Signer', 'A finding was overlooked.'],
      ],
    );
    for (const text of [oneLine((await read(study, 'text/plain')).text), await wordsOf(second)]) {
      assert.match(text, /Amended: changed after signature and signed again by a clinician/);
      assert.match(text, /Amended because: A finding was overlooked\./);
      assert.match(text, /physician, final/);
      assert.doesNotMatch(text, /[Pp]reliminary/);
    }
    assert.doesNotMatch((await read(study, 'text/html')).text, /document-mark/);
  });
});
