// What the referring physician opens: the brief behind a link and for a referrer who has signed in, the report
// behind it, how openings are counted, and what the audit says of each.
import assert from 'node:assert/strict';
import {randomBytes, randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Client} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {addressedVisit} from './lib/recipes.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {signWith} from './lib/signed.mjs';

const {document: FLOW} = uroflowmetry();
const ANSWER = {
  symptoms_reproduced: 'partly',
  findings: [{text: 'Flow is slow and long.'}],
  diagnoses: [{text: 'Suspected outlet obstruction'}],
  conclusion: 'Slow flow with a large residual.',
  plan: [{text: 'Start the agreed medicine.'}, {text: 'Measure again in six weeks.'}],
};

let installation;
let clinic;
let other;

before(async () => {
  installation = await Installation.create('brief');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the brief');
  other = await Clinic.open(installation, 'Another clinic of the brief');
});
after(() => installation.remove());

const stranger = () => new Client(installation.url);
const pdfOf = () => Buffer.concat([Buffer.from('%PDF-1.7\n'), randomBytes(2000)]);
const sign = (study, fields = {}) => signWith(installation.database, study, {interpretation: ANSWER, report: pdfOf(), ...fields});

async function signedStudy(fields = {}) {
  const study = await clinic.addVisit();
  await clinic.addRecording(study.id, FLOW);
  await sign(study.id, fields);
  return study;
}

async function makeLink(studyId, fields = {}) {
  return (await clinic.as('clinician').post(`/v1/studies/${studyId}/links`, {purpose: 'summary', ...fields})).json;
}

const send = async (studyId, json) =>
  (await clinic.as('clinician').expect(201, 'POST', `/v1/studies/${studyId}/letter/dispatches`, {json})).json;

const stateOf = async (link) =>
  (await clinic.as('physician').get(`/v1/studies/${link.study_id}/links`)).json.items.find(({id}) => id === link.id);

/** The bytes of an answer, which must be 200. */
async function bytesOf(target, headers = {}) {
  const response = await fetch(installation.url + target, {headers});
  assert.equal(response.status, 200, target);
  return {bytes: Buffer.from(await response.arrayBuffer()), headers: response.headers};
}

/** The places of words on a page, which must all be there, in this order. */
function inOrder(page, words) {
  let from = 0;
  for (const word of words) {
    const at = page.indexOf(word, from);
    assert.ok(at >= 0, `${word} is missing, or stands before what it should follow`);
    from = at;
  }
}

describe('the brief', () => {
  it('says first what was found and what to do, then who signed, numbers, cautions and documents', async () => {
    const {url} = await makeLink((await signedStudy()).id);
    const {text} = await stranger().get(url);
    inOrder(text, [
      'Clinic of the brief',
      FAMILY_NAME,
      '1961-04-30',
      'What was found',
      'Slow flow with a large residual.',
      'Suspected outlet obstruction',
      'What to do',
      'Start the agreed medicine.',
      'Measure again in six weeks.',
      'Signed by <bdi>Dr Robin Marsh</bdi>, physician, <time',
      'Flow is slow and long.',
      'Key numbers',
      'data-code="uroflow.qmax"',
      '>Cautions<',
      'only in part',
      'Report and letter',
      `${url}/report?form=pdf`,
      `${url}/report?form=html`,
    ]);
    assert.ok(!text.includes('Preliminary') && !text.includes('reliminary values'));
    assert.ok(!text.includes('<script') && !text.includes(' style='));
    assert.ok(!/<title>[^<]*Quill/.test(text));
    assert.ok(!text.includes('/letter'));
  });

  it('shows numbers as the analysis has them, rounded', async () => {
    const study = await signedStudy();
    const {text} = await stranger().get((await makeLink(study.id)).url);
    const [recording] = (await clinic.as('clinician').get(`/v1/studies/${study.id}/recordings`)).json.items;
    const {json} = await clinic.as('clinician').get(`/v1/recordings/${recording.id}/analysis`);
    const {json: parameters} = await clinic.as('clinician').get('/v1/parameters');
    const rows = parameters.sections.find(({code}) => code === 'uroflow').values;
    for (const code of ['qmax', 'voided_volume']) {
      const shown = new RegExp(`data-code="uroflow\\.${code}"><dt>([^<]*)</dt><dd><span class="value">([^<]*)<`).exec(text);
      const {label, report_step: step} = rows.find((row) => row.code === code);
      assert.equal(shown[1], label);
      assert.ok(Math.abs(Number(shown[2]) - json.sections.uroflow[code].value) <= step / 2 + 1e-9, code);
      assert.ok(Math.abs(Number(shown[2]) / step - Math.round(Number(shown[2]) / step)) < 1e-9, code);
    }
  });

  it('says who amended it and why, and shows what was signed last', async () => {
    const study = await signedStudy();
    const {url} = await makeLink(study.id);
    await sign(study.id, {
      interpretation: {...ANSWER, conclusion: 'The residual was read wrongly: it is small.'},
      signer: 'Dr Jo Fenn',
      reason: 'The residual had been typed in wrongly.',
    });
    const {text} = await stranger().get(url);
    inOrder(text, [
      'The residual was read wrongly: it is small.',
      'Amended.',
      'Signed again by <bdi>Dr Jo Fenn</bdi>',
      'The residual had been typed in wrongly.',
      'First signed by <bdi>Dr Robin Marsh</bdi>',
    ]);
    assert.ok(!text.includes('Slow flow with a large residual.'));
  });

  it('shows words as words, whatever they are', async () => {
    const evil = '</bdi></p><script>window.pwn=1</script><img src=x onerror=alert(1)>"\'&\u202e';
    const {id} = await signedStudy({
      interpretation: {
        findings: [{text: evil}],
        diagnoses: [{text: evil, coding: {system: 'urn:x', code: evil}}],
        conclusion: evil,
        plan: [{text: evil}],
        complications: evil,
      },
      signer: evil,
    });
    await sign(id, {interpretation: {...ANSWER, conclusion: evil}, signer: evil, reason: evil});
    const {text} = await stranger().get((await makeLink(id)).url);
    assert.ok(!text.includes('<script') && !text.includes('<img'));
    assert.ok(text.split('&lt;script&gt;window.pwn=1').length > 3);
  });

  it('says that there is no written conclusion where none was signed', async () => {
    const study = await clinic.addVisit(); // signed before there were signatures
    await installation.execute(
      `begin; set local session_replication_role = replica;
       update penstock.study set status = 'final' where id = '${study.id}'; commit`,
    );
    const {text} = await stranger().get((await makeLink(study.id)).url);
    assert.match(text, /No written conclusion was signed/);
    assert.match(text, /There is no complete recording/);
    assert.ok(!text.includes('form=pdf'));
  });
});

describe('behind the link', () => {
  it('is the report as it was signed last, byte by byte, and as a page', async () => {
    const first = pdfOf();
    const second = pdfOf();
    const study = await signedStudy({report: first});
    const {url} = await makeLink(study.id);
    await stranger().get(url);
    const signed = await bytesOf(`${url}/report?form=pdf`);
    assert.ok(signed.bytes.equals(first));
    assert.equal(signed.headers.get('content-type'), 'application/pdf');
    assert.equal(signed.headers.get('cache-control'), 'no-store');
    assert.equal(signed.headers.get('x-robots-tag'), 'noindex, nofollow');
    assert.match(signed.headers.get('content-disposition'), /^inline; filename="[a-z-]+\.pdf"$/);
    assert.ok((await bytesOf(`${url}/report`, {accept: 'application/pdf'})).bytes.equals(first));
    await sign(study.id, {report: second, reason: 'A word was missing in it.'});
    assert.ok((await bytesOf(`${url}/report?form=pdf`)).bytes.equals(second));
    for (const [target, headers] of [[`${url}/report?form=html`, {}], [`${url}/report`, {accept: 'text/html'}]]) {
      const {text, headers: got} = await stranger().get(target, headers);
      assert.equal(got.get('content-type'), 'text/html; charset=utf-8');
      assert.ok(text.includes(FAMILY_NAME));
    }
  });

  it('has no letter while none was sent', async () => {
    const {url} = await makeLink((await signedStudy()).id);
    const {text} = await stranger().expect(404, 'GET', `${url}/letter`);
    assert.match(text, /This document is not here/);
    assert.ok(!text.includes(FAMILY_NAME));
  });

  it('is the letter that was sent last of what was signed last', async () => {
    const study = await addressedVisit(clinic);
    const {url} = await makeLink(study.id);
    assert.ok(!(await stranger().get(url)).text.includes('/letter'));
    const sent = [];
    for (const recipient of ['Dr First', 'Dr Second']) {
      sent.push(await send(study.id, {way: 'post', recipient}));
    }
    const {text} = await stranger().get(url);
    inOrder(text, ['Report and letter', `${url}/report?form=pdf`, `${url}/letter?form=pdf`, `${url}/letter?form=html`]);
    const letter = await bytesOf(`${url}/letter?form=pdf`);
    const kept = await bytesOf(`/v1/letter-dispatches/${sent[1].id}`, {...clinic.as('clinician').headers, accept: 'application/pdf'});
    assert.ok(letter.bytes.equals(kept.bytes));
    assert.match(letter.headers.get('content-disposition'), /^inline; filename="[a-z-]+\.pdf"$/);
    const {text: page} = await stranger().get(`${url}/letter`, {accept: 'text/html'});
    assert.ok(page.includes('Dr Addressee') && page.includes(FAMILY_NAME));
    // An amendment makes it an old letter, which may say what was wrong.
    await clinic.amend(study.id);
    assert.ok(!(await stranger().get(url)).text.includes('/letter'));
    await stranger().expect(404, 'GET', `${url}/letter`);
    await send(study.id, {way: 'post'});
    await stranger().get(`${url}/letter`);
  });

  it('is the letter that was given to accounts to read, for a referrer who has signed in', async () => {
    const referrer = await clinic.person('referrer');
    const study = await addressedVisit(clinic, referrer.id);
    await send(study.id, {way: 'printed'});
    await referrer.expect(404, 'GET', `/referred/${study.id}/letter`);
    const {id} = await send(study.id, {way: 'portal'});
    assert.ok((await referrer.get(`/referred/${study.id}`)).text.includes(`/referred/${study.id}/letter?form=pdf`));
    const shown = await bytesOf(`/referred/${study.id}/letter?form=pdf`, referrer.headers);
    const kept = await bytesOf(`/v1/letter-dispatches/${id}`, {...clinic.as('clinician').headers, accept: 'application/pdf'});
    assert.ok(shown.bytes.equals(kept.bytes));
  });

  it('answers as the page does when the link is over', async () => {
    const link = await makeLink((await signedStudy()).id);
    await clinic.as('clinician').expect(204, 'DELETE', `/v1/links/${link.id}`);
    const words = new Set();
    for (const url of [link.url, '/l/nothing']) {
      for (const target of [url, `${url}/report`, `${url}/report?form=pdf`, `${url}/letter`]) {
        const answer = await stranger().expect(404, 'GET', target);
        assert.equal(answer.headers.get('x-robots-tag'), 'noindex, nofollow');
        words.add(answer.text);
      }
    }
    assert.equal(words.size, 1);
    await installation.execute('delete from penstock.link_miss');
  });

  it('repeats the secret in no answer but the page', async () => {
    const {url} = await makeLink((await signedStudy()).id);
    const secret = url.slice(3);
    const answers = [
      await stranger().get(`${url}/report?form=html`),
      await stranger().expect(404, 'GET', `${url}/letter`),
      await stranger().expect(405, 'POST', `${url}/report`),
      await stranger().expect(404, 'GET', `${url}/report/1`),
      await stranger().expect(503, 'GET', `${url}/report`, {headers: {'sec-purpose': 'prefetch'}}),
    ];
    for (const {text, what} of answers) {
      assert.ok(!text.includes(secret), what.replace(secret, '…'));
    }
  });
});

describe('how openings are counted', () => {
  const openings = async (link) => (await stateOf(link)).read_count;
  const past = (link, minutes) =>
    installation.execute(`update penstock.study_link set last_read_at = now() - interval '${minutes} min' where id = '${link.id}'`);

  it('files belong to the opening of the page for 30 minutes, also to the last one', async () => {
    const link = await makeLink((await signedStudy()).id, {reads_at_most: 1});
    await stranger().get(link.url);
    assert.equal((await stateOf(link)).state, 'used_up');
    await stranger().expect(404, 'GET', link.url);
    for (const file of ['report?form=pdf', 'report?form=html', 'report?form=pdf']) {
      await bytesOf(`${link.url}/${file}`);
    }
    assert.equal(await openings(link), 1);
    await past(link, 29);
    await bytesOf(`${link.url}/report`);
    await past(link, 31);
    await stranger().expect(404, 'GET', `${link.url}/report`);
    assert.equal(await openings(link), 1);
  });

  it('a file without a page opens the link itself', async () => {
    const link = await makeLink((await signedStudy()).id, {reads_at_most: 2});
    await bytesOf(`${link.url}/report`);
    assert.equal(await openings(link), 1);
    await bytesOf(`${link.url}/report`);
    assert.equal(await openings(link), 1);
    await past(link, 31);
    await bytesOf(`${link.url}/report`);
    assert.equal(await openings(link), 2);
    await past(link, 31);
    await stranger().expect(404, 'GET', `${link.url}/report`);
  });

  it('files do not make an opening longer', async () => {
    const link = await makeLink((await signedStudy()).id);
    await stranger().get(link.url);
    await past(link, 20);
    const {last_read_at: opened} = await stateOf(link);
    await bytesOf(`${link.url}/report`);
    assert.equal((await stateOf(link)).last_read_at, opened);
  });

  it('an expired or revoked link gives no files of an opening', async () => {
    const expired = await makeLink((await signedStudy()).id);
    const revoked = await makeLink((await signedStudy()).id);
    for (const {url} of [expired, revoked]) await stranger().get(url);
    await installation.execute(`update penstock.study_link set expires_at = now() where id = '${expired.id}'`);
    await clinic.as('clinician').expect(204, 'DELETE', `/v1/links/${revoked.id}`);
    for (const {url} of [expired, revoked]) await stranger().expect(404, 'GET', `${url}/report`);
  });

  it('a HEAD opens nothing, and many at once count once', async () => {
    const link = await makeLink((await signedStudy()).id, {reads_at_most: 1});
    await stranger().expect(200, 'HEAD', `${link.url}/report`);
    assert.equal(await openings(link), 0);
    const answers = await Promise.all(Array.from({length: 8}, () => stranger().request('GET', `${link.url}/report`)));
    assert.deepEqual(new Set(answers.map(({status}) => status)), new Set([200]));
    assert.equal(await openings(link), 1);
  });

  it('every request is one of the 60 an hour', async () => {
    const link = await makeLink((await signedStudy()).id);
    await installation.execute(`update penstock.study_link set hour_began_at = now(), hour_count = 58 where id = '${link.id}'`);
    await stranger().get(link.url);
    await bytesOf(`${link.url}/report`);
    const answer = await stranger().expect(429, 'GET', `${link.url}/report`);
    assert.ok(Number(answer.headers.get('retry-after')) > 3500);
  });
});

describe('the audit', () => {
  const entryOf = async (answer) => {
    const requestId = answer.headers.get('x-request-id');
    const found = await installation.rows(
      `select object_type, object_id, detail, what, resource, action, status, actor_kind, actor_name, patient_ids
         from penstock.audit_entry where request_id = '${requestId}'`,
    );
    assert.equal(found.length, 1, `${answer.what}: ${found.length} entries`);
    return found[0];
  };

  it('says what was read through a link', async () => {
    const study = await addressedVisit(clinic);
    await send(study.id, {way: 'printed'});
    const {url} = await makeLink(study.id);
    for (const [target, what, detail] of [
      [url, 'GET /l/{secret}', ''],
      [`${url}/report?form=pdf`, 'GET /l/{secret}/report', 'report.pdf'],
      [`${url}/report?form=html`, 'GET /l/{secret}/report', 'report.html'],
      [`${url}/letter?form=pdf`, 'GET /l/{secret}/letter', 'letter.pdf'],
      [`${url}/letter?form=html`, 'GET /l/{secret}/letter', 'letter.html'],
    ]) {
      const entry = await entryOf(await stranger().get(target));
      assert.equal(entry.what, what);
      assert.equal(entry.detail, detail);
      assert.deepEqual([entry.object_type, entry.object_id], ['studies', study.id]);
      assert.deepEqual([entry.resource, entry.action, entry.status], ['summaries', 'read', 200]);
      assert.deepEqual(entry.patient_ids, [study.patient_id]);
      assert.equal(entry.actor_name, 'a link');
    }
  });

  it('says which briefs a referrer read, and which were not shown', async () => {
    const referrer = await clinic.person('referrer');
    const [own, foreign] = [await signedStudy(), await signedStudy()];
    await clinic.refer(own.patient_id, referrer.id);
    const shown = await entryOf(await referrer.get(`/referred/${own.id}`));
    assert.deepEqual([shown.object_id, shown.resource, shown.status, shown.actor_kind], [own.id, 'summaries', 200, 'person']);
    const kept = await entryOf(await referrer.expect(404, 'GET', `/referred/${foreign.id}`));
    assert.deepEqual([kept.object_id, kept.status], [foreign.id, 404]);
    const report = await entryOf(await referrer.get(`/referred/${own.id}/report?form=pdf`));
    assert.deepEqual([report.object_id, report.detail], [own.id, 'report.pdf']);
  });
});

describe('a referrer who has signed in', () => {
  it('reads the same page, and has own ways to the report', async () => {
    const referrer = await clinic.person('referrer');
    const report = pdfOf();
    const study = await signedStudy({report});
    await clinic.refer(study.patient_id, referrer.id);
    const {url} = await makeLink(study.id);
    const {text} = await referrer.get(`/referred/${study.id}`);
    const {text: behindLink} = await stranger().get(url);
    assert.equal(text.replaceAll(`/referred/${study.id}`, url), behindLink);
    assert.ok((await bytesOf(`/referred/${study.id}/report?form=pdf`, referrer.headers)).bytes.equals(report));
    await referrer.expect(404, 'GET', `/referred/${study.id}/letter`);
  });

  it('gets nothing of what is unsigned, of others’ patients, of another clinic, or never was', async () => {
    const referrer = await clinic.person('referrer');
    const unsigned = await clinic.addVisit();
    await clinic.refer(unsigned.patient_id, referrer.id);
    const foreign = await signedStudy();
    const words = new Set();
    for (const id of [unsigned.id, foreign.id, randomUUID(), 'nothing', "' or '1'='1"]) {
      for (const file of ['', '/report', '/report?form=pdf', '/letter']) {
        const answer = await referrer.request('GET', `/referred/${encodeURIComponent(id)}${file}`);
        assert.equal(answer.status, 404, answer.what);
        assert.ok(!answer.text.includes(FAMILY_NAME));
        if (file !== '/letter') words.add(answer.text);
      }
    }
    assert.equal(words.size, 1);
    for (const role of ['referrer', 'clinician', 'physician', 'integration']) {
      await (await other.person(role)).expect(404, 'GET', `/referred/${foreign.id}`);
    }
  });

  it('is sent from a study’s page to the brief', async () => {
    const study = await signedStudy();
    const answer = await (await clinic.person('referrer')).expect(303, 'GET', `/studies/${study.id}`);
    assert.equal(answer.headers.get('location'), `/referred/${study.id}`);
    for (const role of ['room', 'clinician', 'physician', 'auditor']) {
      await (await clinic.person(role)).expect(200, 'GET', `/studies/${study.id}`);
    }
  });

  it('others see a brief as the table has it, marked as preliminary before it is signed', async () => {
    const study = await clinic.addVisit();
    for (const role of ['room', 'clinician', 'physician', 'integration']) {
      const {text} = await (await clinic.person(role)).get(`/referred/${study.id}`);
      assert.match(text, /<strong>Preliminary\.<\/strong> Not reviewed or signed/);
    }
    for (const role of ['auditor', 'administrator']) {
      const {text} = await (await clinic.person(role)).expect(403, 'GET', `/referred/${study.id}`);
      assert.match(text, /<h1>Your account may not see this page/);
    }
    const signed = await signedStudy();
    await (await clinic.person('room')).expect(404, 'GET', `/referred/${signed.id}`);
  });
});
