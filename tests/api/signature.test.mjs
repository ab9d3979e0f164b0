// Interpretation, signature, amendment, and the reports that were signed.
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {createHash} from 'node:crypto';
import {readFileSync, writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, PASSWORD, sessionCookie, signIn} from './lib/clinic.mjs';
import {checkSchema} from './lib/contract.mjs';
import {Installation} from './lib/installation.mjs';
import {cut, open, send} from './lib/pieces.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {codeOf, enrol, startOfStep} from './lib/second_factor.mjs';
import {amend, interpret, INTERPRETATION, readRecordings, sign} from './lib/signing.mjs';

const {document: FLOW} = uroflowmetry();
const PROOF = {current_password: PASSWORD};

let installation;
let clinic;
let physician;
let colleague;
let keys;

const openssl = (...options) =>
  execFileSync('openssl', options, {cwd: installation.folder, stdio: ['ignore', 'pipe', 'pipe']}).toString();

/** A root, and the clinic's certificate by it. */
function makeKeys() {
  const file = (name) => path.join(installation.folder, name);
  const plain = ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes', '-days', '30'];
  openssl('req', '-x509', ...plain, '-subj', '/CN=Test root', '-keyout', 'root.key', '-out', 'root.pem');
  openssl('req', ...plain.slice(0, 4), '-nodes', '-subj', '/CN=Clinic of the signatures', '-keyout', 'clinic.key', '-out', 'clinic.csr');
  writeFileSync(file('extensions'), 'keyUsage=digitalSignature,nonRepudiation\nextendedKeyUsage=emailProtection\n');
  openssl('x509', '-req', '-in', 'clinic.csr', '-CA', 'root.pem', '-CAkey', 'root.key', '-days', '30', '-extfile', 'extensions', '-out', 'clinic.pem');
  return {PENSTOCK_SIGNING_CERTIFICATE: file('clinic.pem'), PENSTOCK_SIGNING_KEY: file('clinic.key')};
}

async function person(roles = ['physician'], fields = {}) {
  const user = await clinic.addUser(roles, fields);
  const {cookie} = await signIn(installation.url, user.username, user.password);
  return Object.assign(Client.withSession(installation.url, cookie), {id: user.id, user});
}

/** A study with a recording. */
async function visit() {
  const study = await clinic.addVisit();
  const {json} = await clinic.addRecording(study.id, FLOW);
  return {id: study.id, patient: study.patient_id, recording: json.recording.id};
}

/** One that is interpreted too. */
async function readVisit() {
  const made = await visit();
  await interpret(physician, made.id);
  return made;
}

const target = (id, what) => `/v1/studies/${id}/${what}`;
const details = (answer) => answer.json.errors.map(({detail}) => detail);
const statusOf = async (id) => (await physician.get(`/v1/studies/${id}`)).json.status;
const sha256 = (bytes) => createHash('sha256').update(bytes).digest('hex');

async function bytesOf(where, client = physician) {
  const response = await fetch(installation.url + where, {headers: client.headers});
  return {status: response.status, headers: response.headers, bytes: Buffer.from(await response.arrayBuffer())};
}

before(async () => {
  installation = await Installation.create('signature');
  keys = makeKeys();
  await installation.start({...keys, PENSTOCK_KEY_FILE: installation.makeKey()});
  clinic = await Clinic.open(installation, 'Clinic of the signatures');
  physician = await person(['physician'], {display_name: 'Dr Vera Ferrule'});
  colleague = await person(['physician'], {display_name: 'Dr Otto Gland'});
});

after(() => installation.remove());

describe('an interpretation', () => {
  it('begins as a draft of what the analyses suggest', async () => {
    const {id, recording} = await visit();
    const answer = await physician.get(target(id, 'interpretation'));
    assert.equal(answer.headers.get('etag'), '"0"');
    assert.equal(answer.json.is_draft, true);
    assert.equal(answer.json.revision, 0);
    const {json: analysis} = await physician.get(`/v1/recordings/${recording}/analysis`);
    assert.deepEqual(
      answer.json.interpretation.findings.map(({text}) => text),
      [...new Set(analysis.findings.map(({text}) => text))],
    );
    assert.equal(answer.json.interpretation.conclusion, '');
    assert.deepEqual((await physician.get(target(id, 'interpretation/history'))).json.items, []);
    const saved = {...answer.json.interpretation, conclusion: 'Nothing to add.'};
    assert.deepEqual((await interpret(physician, id, saved)).json.interpretation, saved);
  });

  it('of a study without recordings is an empty draft', async () => {
    const {id} = await clinic.addVisit();
    const {json} = await physician.get(target(id, 'interpretation'));
    assert.deepEqual(json.interpretation, {findings: [], diagnoses: [], conclusion: '', plan: []});
  });

  it('keeps every revision, and says who made it', async () => {
    const {id} = await visit();
    await interpret(physician, id);
    const second = {...INTERPRETATION, conclusion: 'On second thoughts, bell-shaped.'};
    const saved = await interpret(colleague, id, second);
    assert.equal(saved.headers.get('etag'), '"2"');
    assert.deepEqual(saved.json.interpretation, second);
    const {json: first} = await physician.get(`${target(id, 'interpretation')}?revision=1`);
    assert.deepEqual(first.interpretation, INTERPRETATION);
    const {json: history} = await physician.get(target(id, 'interpretation/history'));
    assert.deepEqual(
      history.items.map(({revision, created_by}) => [revision, created_by.name]),
      [[1, 'Dr Vera Ferrule'], [2, 'Dr Otto Gland']],
    );
    await physician.expect(404, 'GET', `${target(id, 'interpretation')}?revision=3`);
    await physician.expect(422, 'GET', `${target(id, 'interpretation')}?revision=0`);
  });

  it('is not overwritten by who has read an older one', async () => {
    const {id} = await visit();
    const where = target(id, 'interpretation');
    const put = (client, status, etag, conclusion) =>
      client.expect(status, 'PUT', where, {json: {...INTERPRETATION, conclusion}, headers: {'if-match': etag}});
    await put(physician, 200, '"0"', 'one');
    await installation.unchanged(async () => {
      await put(colleague, 412, '"0"', 'other');
      await colleague.expect(428, 'PUT', where, {json: INTERPRETATION});
    });
    const together = await Promise.all(
      [physician, colleague, physician, colleague].map((client, i) =>
        client.request('PUT', where, {json: {...INTERPRETATION, conclusion: `${i}`}, headers: {'if-match': '"1"'}}),
      ),
    );
    assert.deepEqual(together.map(({status}) => status).sort(), [200, 412, 412, 412]);
    assert.equal((await physician.get(where)).json.revision, 2);
  });

  it('is refused with every fault named', async () => {
    const {id} = await visit();
    const where = target(id, 'interpretation');
    await installation.unchanged(async () => {
      for (const [json, expected] of [
        [{}, ['/conclusion']],
        [[], ['']],
        [{conclusion: ' '}, ['/conclusion']],
        [{conclusion: 'a', colour: 1}, ['/colour']],
        [{conclusion: 'a', symptoms_reproduced: 'maybe', representative: {voiding: 1, flow: true}},
          ['/representative/flow', '/representative/voiding', '/symptoms_reproduced']],
        [{conclusion: 'a', findings: [{}, {text: 'a', basis: ['Flow', 7]}, 3, null]},
          ['/findings/0/text', '/findings/1/basis/0', '/findings/1/basis/1', '/findings/2', '/findings/3']],
        [{conclusion: 'a', findings: {}}, ['/findings']],
        [{conclusion: 'a', findings: Array(101).fill({text: 'a'})}, ['/findings']],
        [{conclusion: 'a', findings: [{text: 'ö'.repeat(2001), section: 'a b', code: 'A'}]},
          ['/findings/0/code', '/findings/0/section', '/findings/0/text']],
        [{conclusion: 'a', diagnoses: [{text: 'a', coding: {code: 'a\nb'}}]},
          ['/diagnoses/0/coding/code', '/diagnoses/0/coding/system']],
        [{conclusion: 'a', plan: [{text: 'a', when: 'b'}, 'a']}, ['/plan/0/when', '/plan/1']],
        [{conclusion: 'a\u0001', comment: 7, complications: []}, ['/comment', '/complications', '/conclusion']],
      ]) {
        const answer = await physician.expect(422, 'PUT', where, {json, headers: {'if-match': '"0"'}});
        assert.deepEqual(pointers(answer), expected, JSON.stringify(json).slice(0, 200));
      }
    });
  });

  it('of a cancelled study is refused', async () => {
    const {id} = await clinic.addVisit();
    await clinic.room.patch(`/v1/studies/${id}`, {status: 'cancelled'}, '"1"');
    const answer = await physician.expect(409, 'PUT', target(id, 'interpretation'), {
      json: INTERPRETATION,
      headers: {'if-match': '"0"'},
    });
    assert.match(answer.json.detail, /cancelled/);
  });
});

describe('a signature', () => {
  it('makes the study final and keeps its report', async () => {
    const {id, recording, patient} = await readVisit();
    const answer = await sign(physician, id, PROOF);
    const {json: signature} = answer;
    assert.equal(signature.number, 1);
    assert.equal(signature.meaning, 'final');
    assert.equal(signature.signed_by.name, 'Dr Vera Ferrule');
    assert.equal(signature.signed_by.id, physician.id);
    assert.equal(signature.role, 'physician');
    assert.equal(signature.reason, '');
    assert.equal(signature.interpretation_revision, 1);
    assert.deepEqual(signature.recordings, [{id: recording, revision: 1}]);
    assert.ok(Math.abs(Date.parse(signature.signed_at) - Date.now()) < 60_000);
    assert.equal(await statusOf(id), 'final');
    assert.deepEqual((await physician.get(target(id, 'signatures'))).json.items, [signature]);

    const report = await bytesOf(answer.headers.get('location'));
    assert.equal(report.status, 200);
    assert.equal(report.headers.get('content-type'), 'application/pdf');
    assert.equal(report.headers.get('etag'), `"${signature.report.sha256}"`);
    assert.equal(sha256(report.bytes), signature.report.sha256);
    assert.equal(report.bytes.length, signature.report.length);
    const file = path.join(installation.folder, 'report.pdf');
    writeFileSync(file, report.bytes);
    const words = execFileSync('pdftotext', [file, '-']).toString();
    assert.match(words, /Dr Vera Ferrule/);
    assert.match(words, /A slow flow without residual urine\./);

    const entries = await installation.rows(
      `select detail, patient_ids from penstock.audit_entry
        where object_id = '${id}' and action = 'create' and resource = 'signatures'`,
    );
    assert.equal(entries.length, 1);
    assert.equal(entries[0].detail, `1 sha256:${signature.report.sha256}`);
    assert.deepEqual(entries[0].patient_ids, [patient]);
  });

  it('is refused with every reason at once', async () => {
    const {id: empty} = await clinic.addVisit();
    const {id: runningStudy} = await clinic.addVisit();
    const running = await open(clinic.room, runningStudy, FLOW);
    await send(clinic.room, running, 0, cut(FLOW, 45)[0]);
    await installation.unchanged(async () => {
      assert.deepEqual(details(await sign(physician, empty, PROOF, 409)), [
        'The study has no complete recording.',
        'No interpretation is saved.',
      ]);
      const both = details(await sign(physician, runningStudy, PROOF, 409));
      assert.equal(both.length, 3);
      assert.match(both[1], /still running/);
    });
    await clinic.room.patch(`/v1/studies/${empty}`, {status: 'cancelled'}, '"1"');
    assert.match(details(await sign(physician, empty, PROOF, 409))[0], /cancelled/);
  });

  it('is given once', async () => {
    const {id, recording} = await readVisit();
    const {headers} = await physician.get(`/v1/studies/${id}`);
    const attempt = (client) =>
      client.request('POST', target(id, 'signature'), {
        json: {interpretation_revision: 1, recordings: [{id: recording, revision: 1}], ...PROOF},
        headers: {'if-match': headers.get('etag')},
      });
    const answers = await Promise.all([attempt(physician), attempt(colleague), attempt(physician)]);
    assert.deepEqual(answers.map(({status}) => status).sort(), [201, 412, 412]);
    await installation.unchanged(async () => {
      assert.match(details(await sign(colleague, id, PROOF, 409))[0], /signed already/);
    });
    assert.equal((await physician.get(target(id, 'signatures'))).json.items.length, 1);
  });

  it('counts for what was read', async () => {
    const {id, recording} = await readVisit();
    const events = `/v1/recordings/${recording}/events`;
    const attempt = async (interpretation_revision, revision, etag, recordings = [{id: recording, revision}]) =>
      physician.request('POST', target(id, 'signature'), {
        json: {interpretation_revision, recordings, ...PROOF},
        headers: {'if-match': etag ?? (await physician.get(`/v1/studies/${id}`)).headers.get('etag')},
      });
    assert.equal((await attempt(1, 1, '"99"')).status, 412);
    await interpret(colleague, id);
    const older = await attempt(1, 1);
    assert.equal(older.status, 409);
    assert.deepEqual(pointers(older), ['/interpretation_revision']);
    await physician.put(events, {events: [{at_s: 1, code: 'comment', note: 'late'}]}, '"1"');
    const changed = await attempt(2, 2);
    assert.equal(changed.status, 409);
    assert.match(details(changed)[0], /changed since/);
    await interpret(physician, id);
    for (const [revision, recordings] of [
      [1],
      [3],
      [2, []],
      [2, [{id, revision: 2}]],
      [2, [{id: recording, revision: 2}, {id: recording, revision: 2}]],
      [2, [{id: recording, revision: 2}, {id, revision: 1}]],
    ]) {
      const unread = await attempt(3, revision, undefined, recordings);
      assert.equal(unread.status, 409, unread.text);
      assert.deepEqual(pointers(unread), ['/recordings']);
    }
    assert.equal(await statusOf(id), 'preliminary');
    const signed = await attempt(3, 2);
    assert.equal(signed.status, 201, signed.text);
    assert.deepEqual(signed.json.recordings, [{id: recording, revision: 2}]);
  });

  it('closes the study', async () => {
    const {id, recording} = await readVisit();
    await sign(physician, id, PROOF);
    const etag = (await physician.get(`/v1/studies/${id}`)).headers.get('etag');
    await installation.unchanged(async () => {
      const late = {json: INTERPRETATION, headers: {'if-match': '"1"'}};
      assert.match((await physician.expect(409, 'PUT', target(id, 'interpretation'), late)).json.detail, /amendment/);
      await physician.expect(409, 'PATCH', `/v1/studies/${id}`, {
        json: {room: 'Room 2'},
        headers: {'if-match': etag, 'content-type': 'application/merge-patch+json'},
      });
      await physician.expect(409, 'PUT', `/v1/recordings/${recording}/events`, {json: {events: []}, headers: {'if-match': '"1"'}});
      await physician.expect(409, 'POST', target(id, 'recordings'), {json: FLOW});
    });
  });

  it('is a person’s, and a physician’s', async () => {
    const {id} = await readVisit();
    const clinician = await person(['clinician']);
    await installation.unchanged(async () => {
      await sign(clinic.as('physician'), id, PROOF, 403);
      await sign(clinician, id, PROOF, 403);
      for (const status of ['final', 'amended', 'preliminary']) {
        await physician.expect(422, 'PATCH', `/v1/studies/${id}`, {
          json: {status},
          headers: {'if-match': '"2"', 'content-type': 'application/merge-patch+json'},
        });
      }
    });
  });

  it('with faults names them all', async () => {
    const {id} = await readVisit();
    const attempt = (json, what = 'signature') =>
      physician.expect(422, 'POST', target(id, what), {json, headers: {'if-match': '"2"'}});
    await installation.unchanged(async () => {
      const read = {recordings: [{id, revision: 1}]};
      assert.deepEqual(pointers(await attempt({interpretation_revision: 0, current_password: 7, colour: 1, ...read})), [
        '/colour', '/current_password', '/interpretation_revision']);
      assert.deepEqual(pointers(await attempt({...PROOF})), ['/interpretation_revision', '/recordings']);
      for (const [recordings, expected] of [
        [{}, ['/recordings']],
        [Array(1001).fill({id, revision: 1}), ['/recordings']],
        [[{}, 3, {id: 7, revision: 'a', state: 'b'}, {id, revision: 0}],
          ['/recordings/0/id', '/recordings/0/revision', '/recordings/1', '/recordings/2/id', '/recordings/2/revision',
            '/recordings/2/state', '/recordings/3/revision']],
      ]) {
        assert.deepEqual(pointers(await attempt({interpretation_revision: 1, recordings, ...PROOF})), expected);
      }
      assert.deepEqual(pointers(await attempt({reason: 'too short', ...PROOF}, 'amendments')), ['/interpretation', '/reason']);
      assert.deepEqual(
        pointers(await attempt({reason: 'a'.repeat(1001), interpretation: {plan: [3]}, ...PROOF}, 'amendments')),
        ['/interpretation/conclusion', '/interpretation/plan/0', '/reason'],
      );
    });
  });
});

describe('who signs proves again who they are', () => {
  it('with the password, and may be wrong a few times only', async () => {
    const {id} = await readVisit();
    const one = await person();
    assert.deepEqual(pointers(await sign(one, id, {}, 422)), ['/current_password']);
    const statuses = [];
    for (let i = 0; i < 12 && statuses.at(-1) !== 429; i++) {
      const answer = await one.request('POST', target(id, 'signature'), {
        json: {interpretation_revision: 1, recordings: [], current_password: `wrong password ${i}`},
        headers: {'if-match': '"2"'},
      });
      statuses.push(answer.status);
      if (answer.status === 422) assert.deepEqual(pointers(answer), ['/current_password']);
    }
    assert.ok(statuses.length > 1 && statuses.slice(0, -1).every((status) => status === 422), `${statuses}`);
    assert.equal(statuses.at(-1), 429);
    assert.equal(await statusOf(id), 'preliminary');
    const late = await sign(one, id, PROOF, 429);
    assert.ok(Number(late.headers.get('retry-after')) > 0);
  });

  it('and with the second factor’s code where there is one', async () => {
    const {id} = await readVisit();
    const begun = await person();
    const {answer, recoveryCodes, secret} = await enrol(begun, PASSWORD);
    const one = Client.withSession(installation.url, sessionCookie(answer));
    assert.deepEqual(pointers(await sign(one, id, PROOF, 422)), ['/code']);
    assert.deepEqual(pointers(await sign(one, id, {}, 422)), ['/code', '/current_password']);
    assert.deepEqual(pointers(await sign(one, id, {...PROOF, code: '000000'}, 422)), ['/code']);
    assert.deepEqual(pointers(await sign(one, id, {current_password: 'wrong', code: recoveryCodes[0]}, 422)), ['/current_password']);
    await sign(one, id, {...PROOF, code: recoveryCodes[0]});
    assert.deepEqual(pointers(await amend(one, id, {...PROOF, code: recoveryCodes[0]}, {}, 422)), ['/code']);
    await startOfStep();
    const code = codeOf(secret);
    await amend(one, id, {...PROOF, code});
    assert.deepEqual(pointers(await amend(one, id, {...PROOF, code}, {}, 422)), ['/code']);
  });

  it('or by a proof that the provider has just asked for', async () => {
    const {id} = await readVisit();
    const one = await person();
    const set = (what) => installation.execute(`update penstock.session set ${what} where account_id = '${one.id}'`);
    for (const proof of [`null`, `now() - interval '11 minutes'`]) {
      await set(`by_provider = true, authenticated_at = ${proof}`); // the session itself began just now
      const stale = await sign(one, id, {}, 403);
      assert.equal(stale.json.type, '/problems/fresh-sign-in-required');
    }
    assert.deepEqual(pointers(await sign(one, id, {current_password: 'wrong'}, 422)), ['/current_password']);
    await set(`by_provider = false, authenticated_at = now()`);
    assert.deepEqual(pointers(await sign(one, id, {}, 422)), ['/current_password']);
    await set(`by_provider = true, authenticated_at = now() - interval '9 minutes'`);
    await sign(one, id, {});
  });
});

describe('an amendment', () => {
  it('adds interpretation, signature and report, and leaves the first ones', async () => {
    const {id} = await readVisit();
    const {json: first} = await sign(physician, id, PROOF);
    const before = await bytesOf(target(id, 'signatures/1/report'));
    const reason = 'The second recording was not considered.';
    const interpretation = {...INTERPRETATION, conclusion: 'A slow flow, twice.'};
    const {json: second} = await amend(colleague, id, PROOF, {reason, interpretation});
    assert.equal(second.number, 2);
    assert.equal(second.meaning, 'amended');
    assert.equal(second.reason, reason);
    assert.equal(second.interpretation_revision, 2);
    assert.equal(second.signed_by.name, 'Dr Otto Gland');
    assert.equal(await statusOf(id), 'amended');
    const {json: third} = await amend(physician, id, PROOF, {reason: 'And another one of these.'});
    assert.equal(third.number, 3);
    assert.deepEqual((await physician.get(target(id, 'signatures'))).json.items, [first, second, third]);
    const {json: newest} = await physician.get(target(id, 'interpretation'));
    assert.equal(newest.revision, 3);
    const {json: middle} = await physician.get(`${target(id, 'interpretation')}?revision=2`);
    assert.deepEqual(middle.interpretation, interpretation);
    const again = await bytesOf(target(id, 'signatures/1/report'));
    assert.ok(again.bytes.equals(before.bytes));
    assert.notEqual(sha256((await bytesOf(target(id, 'signatures/2/report'))).bytes), first.report.sha256);
    const [entry] = await installation.rows(
      `select reason, detail from penstock.audit_entry where object_id = '${id}' and detail like '2 sha256:%'`,
    );
    assert.equal(entry.reason, reason);
    assert.equal(entry.detail, `2 sha256:${second.report.sha256}`);
  });

  it('is of a signed study', async () => {
    const {id} = await readVisit();
    await installation.unchanged(async () => {
      assert.match(details(await amend(physician, id, PROOF, {}, 409))[0], /not signed/);
    });
  });
});

describe('a signed report', () => {
  it('stays the same, also for another version of the name and the patient', async () => {
    const {id, patient} = await readVisit();
    const {json} = await sign(physician, id, PROOF);
    const read = await physician.get(`/v1/patients/${patient}`);
    const {id: ignored, version, ...document} = read.json;
    await physician.put(`/v1/patients/${patient}`, {...document, given_name: 'Another'}, read.headers.get('etag'));
    const {bytes} = await bytesOf(target(id, 'signatures/1/report'));
    assert.equal(sha256(bytes), json.report.sha256);
    const cached = await fetch(`${installation.url}${target(id, 'signatures/1/report')}`, {
      headers: {...physician.headers, 'if-none-match': `"${json.report.sha256}"`},
    });
    assert.equal(cached.status, 304);
  });

  it('that is not what was signed is not given out', async () => {
    installation.expectFailure(/the stored report of signature 1 is not the one that was signed/);
    const {id} = await readVisit();
    await sign(physician, id, PROOF);
    const spoil = (value) =>
      installation.execute(
        `set session_replication_role = replica;
         alter table penstock.signed_document drop constraint signed_document_hash;
         update penstock.signed_document set content = ${value} where study_id = '${id}';
         alter table penstock.signed_document add constraint signed_document_hash check (sha256 = sha256(content)) not valid`,
      );
    await spoil('set_byte(content, 20, 7)');
    await physician.expect(500, 'GET', target(id, 'signatures/1/report'));
    await physician.expect(500, 'GET', target(id, 'signatures/1/report/signature'));
    const line = installation.logLines().find(({detail}) => /not the one that was signed/.test(detail ?? ''));
    assert.equal(line.level, 'error');
  });

  it('is nowhere else', async () => {
    const {id} = await readVisit();
    await sign(physician, id, PROOF);
    for (const n of ['0', '2', '01', 'a', '-1', '99999999', '1.0']) {
      await physician.expect(404, 'GET', target(id, `signatures/${n}/report`));
    }
    const other = await Clinic.open(installation, 'Clinic across the road');
    for (const what of ['interpretation', 'interpretation/history', 'signatures', 'signatures/1/report', 'signatures/1/report/signature']) {
      await other.as('physician').expect(404, 'GET', target(id, what));
    }
    const {id: unsigned} = await readVisit();
    assert.deepEqual((await physician.get(target(unsigned, 'signatures'))).json.items, []);
    await physician.expect(404, 'GET', target(unsigned, 'signatures/1/report'));
  });
});

describe('the clinic’s key', () => {
  const verify = () =>
    openssl('cms', '-verify', '-binary', '-inform', 'DER', '-in', 'seal.der', '-content', 'sealed.pdf', '-CAfile', 'root.pem', '-out', 'verified');

  /** With other settings; sessions are of the old address. */
  async function restart(settings) {
    await installation.stop();
    await installation.start(settings);
    Object.assign(clinic.administrator, {url: installation.url});
    clinic.administrator.headers.origin = installation.url;
    physician = await person(['physician'], {display_name: 'Dr Vera Ferrule'});
  }

  it('signs the report as well, which others can check', async () => {
    const {id} = await readVisit();
    const {json} = await sign(physician, id, PROOF);
    assert.equal(json.report.has_detached_signature, true);
    const {bytes} = await bytesOf(target(id, 'signatures/1/report'));
    const seal = await bytesOf(target(id, 'signatures/1/report/signature'));
    assert.equal(seal.headers.get('content-type'), 'application/pkcs7-signature');
    const file = (name) => path.join(installation.folder, name);
    writeFileSync(file('sealed.pdf'), bytes);
    writeFileSync(file('seal.der'), seal.bytes);
    verify();
    assert.ok(readFileSync(file('verified')).equals(bytes));
    const told = openssl('cms', '-cmsout', '-print', '-inform', 'DER', '-in', 'seal.der');
    assert.match(told, /signingTime/);
    assert.match(told, /sha256/);
    bytes[20] ^= 1;
    writeFileSync(file('sealed.pdf'), bytes);
    assert.throws(verify, /Verification failure|digest/i);
  });

  it('is asked for at the start', async () => {
    const refused = async (settings, reason) => {
      const other = Object.assign(new Installation(), installation, {starts: 100, log: path.join(installation.folder, 'refused.log')});
      await assert.rejects(other.start({...keys, ...settings}), reason);
    };
    const file = (name) => path.join(installation.folder, name);
    await refused({PENSTOCK_SIGNING_KEY: ''}, /both or none/);
    await refused({PENSTOCK_SIGNING_KEY: file('root.key')}, /not the key/);
    await refused({PENSTOCK_SIGNING_CERTIFICATE: file('clinic.key')}, /no certificate/);
    await refused({PENSTOCK_SIGNING_KEY: file('nowhere')}, /cannot open/);
    writeFileSync(file('open.key'), readFileSync(file('clinic.key')), {mode: 0o644});
    await refused({PENSTOCK_SIGNING_KEY: file('open.key')}, /chmod 0600/);
  });

  it('that is over lets nothing be signed without it', async () => {
    openssl('x509', '-req', '-in', 'clinic.csr', '-CA', 'root.pem', '-CAkey', 'root.key', '-days', '0', '-out', 'over.pem');
    await new Promise((resolve) => setTimeout(resolve, 1100));
    await restart({...keys, PENSTOCK_SIGNING_CERTIFICATE: path.join(installation.folder, 'over.pem')});
    installation.expectFailure(/signing_certificate_over/);
    const {id} = await readVisit();
    await installation.unchanged(async () => {
      assert.match((await sign(physician, id, PROOF, 503)).json.detail, /certificate/);
    });
    assert.ok(installation.logLines().some(({event}) => event === 'signing_certificate_ends'));
  });

  it('need not be there', async () => {
    await restart();
    const {id} = await readVisit();
    const {json} = await sign(physician, id, PROOF);
    assert.equal(json.report.has_detached_signature, false);
    const answer = await physician.expect(404, 'GET', target(id, 'signatures/1/report/signature'));
    assert.match(answer.json.detail, /no key/);
    checkSchema('Signature', json);
  });
});
