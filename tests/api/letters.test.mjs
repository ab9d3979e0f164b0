// Letters to whoever referred: the clinic's template, what a letter says, what was sent, batches.
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {createHash, randomUUID} from 'node:crypto';
import {writeFileSync} from 'node:fs';
import {join} from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic, signIn} from './lib/clinic.mjs';
import {checkSchema} from './lib/contract.mjs';
import {readSource} from './lib/environment.mjs';
import {Installation} from './lib/installation.mjs';
import {addressedVisit, letterSettings} from './lib/recipes.mjs';

let installation;
let clinic;
let clinician;

before(async () => {
  installation = await Installation.create('letters');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the letters');
  clinician = clinic.as('clinician');
});

after(() => installation.remove());

const TEXT = {headers: {accept: 'text/plain'}};
const PDF = {headers: {accept: 'application/pdf'}};

async function letter(id, options = TEXT, client = clinician) {
  return client.expect(200, 'GET', `/v1/studies/${id}/letter`, options);
}

async function bytes(client, path) {
  const answer = await fetch(installation.url + path, {headers: {...client.headers, accept: 'application/pdf'}});
  assert.equal(answer.status, 200, path);
  return Buffer.from(await answer.arrayBuffer());
}

/** What poppler reads in a PDF. */
function pdfText(pdf, order = '-layout') {
  const file = join(installation.folder, `letter-${randomUUID()}.pdf`);
  writeFileSync(file, pdf);
  return execFileSync('pdftotext', [order, file, '-'], {encoding: 'utf8'}).replaceAll('\u2068', '').replaceAll('\u2069', '');
}

async function putTemplate(name, language, body, etag, status = 200, more = {}) {
  return clinic.administrator.expect(status, 'PUT', `/v1/letter-templates/${name}/${language}`, {
    json: {body, ...more},
    headers: {'if-match': etag},
  });
}

const putSettings = (id, json, etag = '"0"', status = 200) =>
  clinician.expect(status, 'PUT', `/v1/studies/${id}/letter/settings`, {json, headers: {'if-match': etag}});

const send = (id, json, status = 201, client = clinician) =>
  client.expect(status, 'POST', `/v1/studies/${id}/letter/dispatches`, {json});

describe('a template', () => {
  it('is there from the start, in every language', async () => {
    const {json} = await clinician.get('/v1/letter-templates');
    assert.deepEqual(
      json.items.map(({name, language, version}) => [name, language, version]),
      [['standard', 'en', 0], ['standard', 'de', 0]],
    );
    const {json: one} = await clinician.get('/v1/letter-templates/standard/de');
    assert.match(one.body, /Sehr geehrte/);
  });

  it('with faults is refused with line and column of each, and the last good one stays in use', async () => {
    const study = await addressedVisit(clinic, undefined, {template: 'own-lines', language: 'en'}).catch(() => null);
    assert.equal(study, null, 'a template that is not there cannot be chosen');
    await putTemplate('own-lines', 'en', '# First {{patient.family_name}}', '"0"');
    const {id} = await addressedVisit(clinic, undefined, {template: 'own-lines'});
    assert.match((await letter(id)).text, /First/);

    const refused = await putTemplate('own-lines', 'en', '# Second\n{{patient.family_nam}}\n{{#plan}}', '"1"', 422);
    assert.deepEqual(
      refused.json.errors.map(({pointer, detail}) => [pointer, detail.split(':')[0]]),
      [['/body', 'Line 2, column 1'], ['/body', 'Line 3, column 1']],
    );
    assert.match(refused.json.errors[0].detail, /patient\.family_name/);
    assert.match((await letter(id)).text, /First/);
    assert.equal((await clinician.get('/v1/letter-templates/own-lines/en')).json.version, 1);

    const good = await putTemplate('own-lines', 'en', '# Third', '"1"');
    assert.equal(good.json.version, 2);
    assert.match((await letter(id)).text, /Third/);
    await putTemplate('own-lines', 'en', '# Fourth', '"1"', 412);
    await putTemplate('own-lines', 'en', '# Third', '"2"', 200, {in_use: false});
    const other = await clinic.addVisit();
    const {json} = await putSettings(other.id, letterSettings(undefined, {template: 'own-lines'}), '"0"', 422);
    assert.equal(json.errors[0].pointer, '/template');
  });

  it('is refused where it would be costly or unsafe', async () => {
    for (const body of ['{{{patient.name}}}', '{{> other}}', '<script>x</script>', 'x'.repeat(16385), '{{#findings}}{{#plan}}{{/plan}}{{/findings}}']) {
      await putTemplate('broken', 'en', body, '"0"', 422);
    }
    await clinician.expect(404, 'GET', '/v1/letter-templates/broken/en');
  });

  it('is the clinic\'s own, whatever others call theirs', async () => {
    const neighbour = await Clinic.open(installation, 'Clinic next door');
    await putTemplate('shared-name', 'en', '# Ours', '"0"');
    await neighbour.as('clinician').expect(404, 'GET', '/v1/letter-templates/shared-name/en');
    await neighbour.administrator.expect(200, 'PUT', '/v1/letter-templates/shared-name/en', {
      json: {body: '# Theirs'},
      headers: {'if-match': '"0"'},
    });
    assert.equal((await clinician.get('/v1/letter-templates/shared-name/en')).json.body, '# Ours');
    assert.equal((await neighbour.as('clinician').get('/v1/letter-templates/shared-name/en')).json.body, '# Theirs');
  });

  it('is tried out on an invented patient', async () => {
    const json = {language: 'de', body: '# {{patient.name}}\n\n{{conclusion}}'};
    const {text} = await clinic.administrator.expect(200, 'POST', '/v1/letter-templates/preview', {json, ...TEXT});
    assert.match(text, /Alex Example/);
    const faulty = await clinic.administrator.expect(422, 'POST', '/v1/letter-templates/preview', {json: {language: 'de', body: '\n\n {{nobody}}'}});
    assert.match(faulty.json.errors[0].detail, /^Line 3, column 2: /);
    await clinic.administrator.expect(200, 'POST', '/v1/letter-templates/preview', {json, headers: {accept: 'text/html'}});
  });

  it('names only what is documented', async () => {
    const {json} = await clinician.get('/v1/letter-fields');
    const page = readSource('api-docs/letters.md');
    for (const {name} of json.items) {
      assert.ok(page.includes(`\`${name}\``), name);
    }
  });

  it('of the documentation is taken, and each example of a fault is one', async () => {
    const page = readSource('api-docs/letters.md');
    const [good] = page.split('```markdown\n').slice(1).map((part) => part.split('```')[0]);
    await putTemplate('documented', 'en', good, '"0"');
    const faults = [...page.matchAll(/^\| `([^`]+)` \| `([^`]+)` \|$/gm)];
    assert.ok(faults.length >= 5);
    for (const [, body, words] of faults) {
      const {json} = await putTemplate('documented', 'en', body, '"1"', 422);
      assert.ok(json.errors.some(({detail}) => detail.includes(words)), `${body}: ${JSON.stringify(json.errors)}`);
    }
  });
});

describe('a letter', () => {
  it('is preliminary until the study is signed, and is not sent before', async () => {
    const {id} = await clinic.addVisit();
    await putSettings(id, letterSettings());
    const {text} = await letter(id);
    assert.match(text, /preliminary/i);
    const marked = pdfText(await bytes(clinician, `/v1/studies/${id}/letter`), '-raw');
    assert.match(marked.replaceAll(/\s/g, ''), /Preliminary/, 'poppler gives slanted letters one a line');
    const {json} = await send(id, {way: 'printed'}, 409);
    assert.match(json.detail, /not signed/);
    await clinic.sign(id);
    const signed = (await letter(id)).text;
    assert.doesNotMatch(signed, /preliminary/i);
    assert.match(signed, /Dr Signer/);
  });

  it('says the same as page, text and PDF', async () => {
    const patient = await clinic.addPatient({family_name: '<b>Öz & "Co"</b>', given_name: '{{clinic.name}}'});
    const {id} = await clinic.addStudy(patient.id);
    await clinic.sign(id);
    const words = 'Two lines:\n**not bold** and \\input{x} <i>';
    await putSettings(id, letterSettings(undefined, {remarks: words, question: '1. # > `', copies: ['Ward & Co']}));
    const html = (await letter(id, {headers: {accept: 'text/html'}})).text;
    const text = (await letter(id)).text;
    const pdf = pdfText(await bytes(clinician, `/v1/studies/${id}/letter`));
    assert.match(html, /&lt;b&gt;Öz &amp; /);
    assert.doesNotMatch(html, /<i>|<script/);
    for (const form of [text, pdf]) {
      for (const part of ['{{clinic.name}} <b>Öz & "Co"</b>', '**not bold** and \\input{x} <i>', '1. # > `', 'Ward & Co', 'Dear Dr Addressee,', 'Dr Signer', '2 Street']) {
        assert.ok(form.includes(part), `${part}\n${form}`);
      }
    }
  });

  it('is in the language that was chosen, or else that of the letterhead', async () => {
    const {id} = await clinic.addVisit();
    const before = await clinic.administrator.get('/v1/letterhead');
    assert.equal(before.json.name, 'Clinic of the letters');
    const head = {name: 'Klinik am Bach', address: ['Bachweg 1', '12345 Bach'], telephone: 'Telefon 1', language: 'de'};
    await clinic.administrator.expect(200, 'PUT', '/v1/letterhead', {json: head, headers: {'if-match': before.headers.get('etag')}});
    const german = (await letter(id)).text;
    assert.match(german, /Klinik am Bach[\s\S]*Bachweg 1[\s\S]*Sehr geehrte/);
    await putSettings(id, letterSettings());
    assert.match((await letter(id)).text, /Klinik am Bach[\s\S]*Dear Dr Addressee/);
    await clinic.administrator.expect(412, 'PUT', '/v1/letterhead', {json: head, headers: {'if-match': '"0"'}});
    const again = await clinic.administrator.get('/v1/letterhead');
    await clinic.administrator.expect(200, 'PUT', '/v1/letterhead', {json: {...head, language: 'en'}, headers: {'if-match': again.headers.get('etag')}});
  });

  it('takes addressee and copies of the last letter of the same patient', async () => {
    const {id: patient} = await clinic.addPatient();
    const [first, second] = [await clinic.addStudy(patient), await clinic.addStudy(patient)];
    await putSettings(first.id, letterSettings(undefined, {copies: ['A ward'], question: 'Why?', remarks: 'Once'}));
    const {json} = await clinician.get(`/v1/studies/${second.id}/letter/settings`);
    assert.deepEqual(
      [json.version, json.addressee.name, json.copies, json.question, json.remarks],
      [0, 'Dr Addressee', ['A ward'], '', ''],
    );
  });

  it('names every fault of its settings', async () => {
    const {id} = await clinic.addVisit();
    const json = {
      language: 'xx',
      addressee: {name: 'two\nlines', address: ['', 3, 'x'.repeat(201)], referrer_id: 'nobody'},
      copies: Array(21).fill('x'),
      more: 1,
    };
    const answer = await putSettings(id, json, '"0"', 422);
    assert.deepEqual(
      answer.json.errors.map(({pointer}) => pointer).sort(),
      ['/addressee/address/0', '/addressee/address/1', '/addressee/address/2', '/addressee/name', '/addressee/referrer_id', '/copies', '/language', '/more'],
    );
    const unknown = await putSettings(id, letterSettings(randomUUID()), '"0"', 422);
    assert.equal(unknown.json.errors[0].pointer, '/addressee/referrer_id');
    await putSettings(id, letterSettings());
    await putSettings(id, letterSettings(), '"0"', 412);
  });
});

describe('a letter that was sent', () => {
  it('is kept byte by byte, whatever changes afterwards', async () => {
    const study = await addressedVisit(clinic);
    const {json: sent, headers} = await send(study.id, {way: 'post'});
    assert.equal(headers.get('location'), `/v1/letter-dispatches/${sent.id}`);
    assert.deepEqual([sent.recipient, sent.way, sent.sent_by.name, sent.signature_number], ['Dr Addressee', 'post', 'a clinician', 1]);
    const first = await bytes(clinician, `/v1/letter-dispatches/${sent.id}`);
    assert.equal(createHash('sha256').update(first).digest('hex'), sent.sha256);

    await putSettings(study.id, letterSettings(undefined, {remarks: 'Something else.'}), '"1"');
    assert.match((await letter(study.id)).text, /Something else/);
    assert.deepEqual(await bytes(clinician, `/v1/letter-dispatches/${sent.id}`), first);
    assert.doesNotMatch(pdfText(first), /Something else/);
    for (const sql of ["update penstock.letter_dispatch set recipient = 'x'", 'delete from penstock.letter_dispatch', "update penstock.letter set remarks = ''"]) {
      await assert.rejects(installation.execute(`${sql} where study_id = '${study.id}'`), sql);
    }
  });

  it('is not sent twice unless that is wanted', async () => {
    const study = await addressedVisit(clinic);
    await send(study.id, {way: 'printed'});
    const {json} = await send(study.id, {way: 'printed'}, 409);
    assert.match(json.detail, /already/);
    assert.equal((await send(study.id, {way: 'printed', again: true})).json.repetition, 1);
    await send(study.id, {way: 'printed', recipient: 'A ward'});
    const both = await Promise.all([1, 2, 3].map(() => clinician.request('POST', `/v1/studies/${study.id}/letter/dispatches`, {json: {way: 'post'}})));
    assert.deepEqual(both.map(({status}) => status).sort(), [201, 409, 409]);
    const {json: list} = await clinician.get(`/v1/studies/${study.id}/letter/dispatches`);
    assert.equal(list.items.length, 4);
  });

  it('is written anew after an amendment', async () => {
    const study = await addressedVisit(clinic);
    await send(study.id, {way: 'printed'});
    await clinic.amend(study.id);
    const day = study.started_at.slice(0, 10);
    const {json} = await clinician.get(`/v1/letters?state=ready&limit=200`);
    assert.ok(json.items.some(({study_id}) => study_id === study.id), day);
    assert.match((await letter(study.id)).text, /changed after it had been signed/);
    assert.equal((await send(study.id, {way: 'printed'})).json.signature_number, 2);
  });

  it('is read by the referrer once it is given out, and as it was then', async () => {
    const referrer = await clinic.person('referrer');
    const study = await addressedVisit(clinic, referrer.id);
    await referrer.expect(404, 'GET', `/v1/studies/${study.id}/letter`, TEXT);
    await send(study.id, {way: 'printed'});
    await referrer.expect(404, 'GET', `/v1/studies/${study.id}/letter`, TEXT);
    assert.deepEqual((await referrer.get(`/v1/studies/${study.id}/letter/dispatches`)).json.items, []);
    const {json: sent} = await send(study.id, {way: 'portal'});
    assert.match((await letter(study.id, TEXT, referrer)).text, /Dear Dr Addressee/);
    await putSettings(study.id, letterSettings(referrer.id, {remarks: 'A later thought.'}), '"1"');
    assert.doesNotMatch((await letter(study.id, TEXT, referrer)).text, /later thought/);
    const {json: list} = await referrer.get('/v1/letters');
    assert.ok(list.items.some(({study_id, state}) => study_id === study.id && state === 'sent'));
    assert.ok(list.items.every(({state}) => state === 'sent'));
    await referrer.expect(200, 'GET', `/v1/letter-dispatches/${sent.id}`);
    await referrer.expect(404, 'GET', `/v1/studies/${study.id}/letter/settings`);
  });

  it('is no other referrer\'s, though both have referred the patient', async () => {
    const [addressee, other] = [await clinic.person('referrer'), await clinic.addUser(['referrer'])];
    const study = await addressedVisit(clinic, addressee.id);
    await clinic.refer(study.patient_id, other.id);
    const {json: sent} = await send(study.id, {way: 'portal'});
    const {cookie} = await signIn(installation.url, other.username, other.password);
    const stranger = Client.withSession(installation.url, cookie);
    await stranger.expect(200, 'GET', `/v1/studies/${study.id}/summary`);
    await stranger.expect(404, 'GET', `/v1/studies/${study.id}/letter`, TEXT);
    await stranger.expect(404, 'GET', `/v1/letter-dispatches/${sent.id}`);
    assert.deepEqual((await stranger.get(`/v1/studies/${study.id}/letter/dispatches`)).json.items, []);
    assert.deepEqual((await stranger.get('/v1/letters')).json.items, []);
    await stranger.expect(404, 'GET', `/referred/${study.id}/letter`);
    await addressee.expect(200, 'GET', `/v1/letter-dispatches/${sent.id}`);
  });

  it('is not shown as the letter any more once the study was amended', async () => {
    const referrer = await clinic.person('referrer');
    const study = await addressedVisit(clinic, referrer.id);
    await send(study.id, {way: 'portal'});
    await clinic.amend(study.id);
    await referrer.expect(404, 'GET', `/v1/studies/${study.id}/letter`, TEXT);
    await send(study.id, {way: 'portal'});
    assert.match((await letter(study.id, TEXT, referrer)).text, /changed after it had been signed/);
  });

  it('is given out only to an account that has referred the patient', async () => {
    const study = await addressedVisit(clinic);
    assert.match((await send(study.id, {way: 'portal'}, 409)).json.detail, /account/);
    const {id: stranger} = await clinic.addUser(['referrer']);
    await putSettings(study.id, letterSettings(stranger), '"1"');
    assert.match((await send(study.id, {way: 'portal'}, 409)).json.detail, /account/);
    const {json} = await send(study.id, {way: 'portal', recipient: 'Somebody'}, 422);
    assert.equal(json.errors[0].pointer, '/recipient');
  });
});

describe("the day's letters", () => {
  it('stand by their state', async () => {
    const visit = {started_at: '2026-02-03T09:00:00Z'};
    const [blank, ready, sent] = await Promise.all([1, 2, 3].map(() => clinic.addVisit({}, visit)));
    for (const {id} of [blank, ready, sent]) {
      await clinic.sign(id);
    }
    await putSettings(ready.id, letterSettings());
    await putSettings(sent.id, letterSettings());
    await send(sent.id, {way: 'handed_over'});
    const {json} = await clinician.get('/v1/letters?date=2026-02-03');
    checkSchema('LetterRow', json.items[0]);
    const states = Object.fromEntries(json.items.map((row) => [row.study_id, row.state]));
    assert.deepEqual(states, {[blank.id]: 'to_write', [ready.id]: 'ready', [sent.id]: 'sent'});
    for (const [state, {id}] of Object.entries({to_write: blank, ready, sent})) {
      const {json: some} = await clinician.get(`/v1/letters?from=2026-02-03T00:00:00Z&to=2026-02-04T00:00:00Z&state=${state}`);
      assert.deepEqual(some.items.map(({study_id}) => study_id), [id]);
    }
    const row = json.items.find(({state}) => state === 'sent');
    assert.deepEqual([row.way, row.sent_by_name, row.addressee_name], ['handed_over', 'a clinician', 'Dr Addressee']);
    const {json: page} = await clinician.get('/v1/letters?date=2026-02-03&limit=2');
    const {json: rest} = await clinician.get(`/v1/letters?date=2026-02-03&limit=2&cursor=${page.next_cursor}`);
    assert.deepEqual([page.items.length, rest.items.length, rest.next_cursor], [2, 1, null]);
    for (const query of ['?date=2026-02-30', '?state=lost', '?date=2026-02-03&from=2026-02-03T00:00:00Z', '?day=1', '?cursor=x']) {
      await clinician.expect(422, 'GET', `/v1/letters${query}`);
    }
  });
});

describe('a batch', () => {
  const makeBatch = async (study_ids, way = 'printed') =>
    (await clinician.expect(201, 'POST', '/v1/letter-batches', {json: {way, study_ids}})).json;
  const next = async (id, limit = 2) =>
    (await clinician.expect(200, 'POST', `/v1/letter-batches/${id}/next`, {json: {limit}})).json;
  const dispatched = (id) => installation.rows(`select study_id from penstock.letter_dispatch where batch_id = '${id}'`);

  it('is worked on in steps, says what failed and why, and gives one file', async () => {
    const good = [];
    for (let i = 0; i < 3; i++) {
      good.push(await addressedVisit(clinic));
    }
    const unsigned = await clinic.addVisit();
    const blank = await clinic.addVisit();
    await clinic.sign(blank.id);
    const {id, done, of} = await makeBatch([good[0].id, unsigned.id, good[1].id, blank.id, good[2].id, good[0].id]);
    assert.deepEqual([done, of], [0, 5]);
    await clinician.expect(409, 'GET', `/v1/letter-batches/${id}/document`);
    assert.deepEqual((await next(id)).done, 2);
    assert.deepEqual((await next(id)).done, 4);
    const end = await next(id);
    assert.equal(end.done, 5);
    assert.deepEqual(end.sent.map(({study_id}) => study_id), good.map((one) => one.id));
    assert.deepEqual(end.failed.map(({study_id}) => study_id), [unsigned.id, blank.id]);
    assert.match(end.failed[0].reason, /not signed/);
    assert.match(end.failed[1].reason, /Nobody is named/);
    assert.deepEqual(await next(id), end, 'nothing is left to do');
    assert.equal((await dispatched(id)).length, 3);
    const file = await bytes(clinician, `/v1/letter-batches/${id}/document`);
    const path = join(installation.folder, `batch-${randomUUID()}.pdf`);
    writeFileSync(path, file);
    execFileSync('qpdf', ['--check', path]);
    const whole = pdfText(file);
    const mrns = await installation.rows(`select p.mrn from penstock.patient p join penstock.study s on s.patient_id = p.id where s.id in (${good.map((one) => `'${one.id}'`)})`);
    assert.ok(mrns.every(({mrn}) => whole.includes(mrn)));
  });

  it('is not sent twice by two at once, or in another batch', async () => {
    const ids = [];
    for (let i = 0; i < 6; i++) {
      ids.push((await addressedVisit(clinic)).id);
    }
    const {id} = await makeBatch(ids);
    await Promise.all([1, 2, 3].map(() => next(id, 2)));
    let state = await next(id, 20);
    assert.deepEqual([state.done, state.failed.length, (await dispatched(id)).length], [6, 0, 6]);
    const other = await makeBatch(ids);
    state = await next(other.id, 20);
    assert.equal(state.failed.length, 6);
    assert.match(state.failed[0].reason, /already/);
    assert.equal((await dispatched(other.id)).length, 0);
  });

  it('is not held up by a letter that cannot be written', async () => {
    await putTemplate('endless', 'en', '- a\n'.repeat(2500), '"0"');
    const endless = await addressedVisit(clinic, undefined, {template: 'endless'});
    const good = await addressedVisit(clinic);
    const {id} = await makeBatch([endless.id, good.id]);
    const state = await next(id);
    assert.deepEqual([state.done, state.sent.length], [2, 1]);
    assert.match(state.failed[0].reason, /cannot be written/);
  });

  it('is refused with every fault', async () => {
    const {json} = await clinician.expect(422, 'POST', '/v1/letter-batches', {json: {way: 'pigeon', study_ids: ['x', 3]}});
    assert.deepEqual(json.errors.map(({pointer}) => pointer), ['/way', '/study_ids/0', '/study_ids/1']);
    await clinician.expect(422, 'POST', '/v1/letter-batches', {json: {way: 'post', study_ids: []}});
    const unknown = await clinician.expect(422, 'POST', '/v1/letter-batches', {json: {way: 'post', study_ids: [randomUUID()]}});
    assert.equal(unknown.json.errors[0].pointer, '/study_ids');
  });

  it('goes on where it was after the server was killed, on any server', async () => {
    const ids = [];
    for (let i = 0; i < 5; i++) {
      ids.push((await addressedVisit(clinic)).id);
    }
    const {id} = await makeBatch(ids);
    await next(id, 2);
    const lost = clinician.request('POST', `/v1/letter-batches/${id}/next`, {json: {limit: 20}}).catch(() => 'lost');
    await new Promise((resolve) => setTimeout(resolve, 30));
    await installation.kill();
    await lost;
    await installation.start();
    clinician = Client.withToken(installation.url, clinic.tokens.clinician);
    for (let step = 0; step < 5; step++) {
      const state = await next(id, 2);
      if (state.done === state.of) {
        break;
      }
    }
    const {json} = await clinician.get(`/v1/letter-batches/${id}`);
    assert.deepEqual([json.done, json.of, json.failed], [5, 5, []]);
    assert.deepEqual((await dispatched(id)).map((row) => row.study_id).sort(), [...ids].sort());
  });
});
