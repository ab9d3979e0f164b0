// From paper back to the study: what stands in the code, and where it leads whom.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {randomUUID} from 'node:crypto';
import {writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {promisify} from 'node:util';
import {Client} from './lib/client.mjs';
import {Clinic, signIn} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {addressedVisit} from './lib/recipes.mjs';

const run = promisify(execFile);
const PUBLIC_URL = 'https://penstock.example:8443';
const TYPES = {'image/svg+xml': 'svg', 'image/png': 'png', 'application/pdf': 'pdf'};

let installation;
let clinic;
let other;

before(async () => {
  installation = await Installation.create('paper');
  await installation.start({PENSTOCK_PUBLIC_URL: `${PUBLIC_URL}/`});
  clinic = await Clinic.open(installation, 'Clinic of the paper');
  other = await Clinic.open(installation, 'Another clinic of the paper');
});
after(() => installation.remove());

const stranger = () => new Client(installation.url);

async function signedStudy() {
  const study = await clinic.addVisit();
  await clinic.sign(study.id);
  return study;
}

const makeLink = async (studyId) =>
  (await clinic.as('clinician').post(`/v1/studies/${studyId}/links`, {purpose: 'summary'})).json;

/** The label of a link in a form, as a file. */
async function labelOf(link, mediaType, url = installation.url, token = clinic.tokens.physician) {
  const response = await fetch(`${url}/v1/links/${link.id}/code`, {
    headers: {accept: mediaType, authorization: `Bearer ${token}`},
  });
  assert.equal(response.status, 200);
  assert.equal(response.headers.get('content-type').split(';')[0], mediaType);
  const file = path.join(installation.folder, `label-${link.id}.${TYPES[mediaType]}`);
  writeFileSync(file, Buffer.from(await response.arrayBuffer()));
  return file;
}

/** A picture of a file with 300 dots an inch, made by other programs than drew it. */
async function pictureOf(file) {
  const picture = `${file}.picture`;
  if (file.endsWith('.pdf')) {
    await run('pdftoppm', ['-r', '300', '-png', '-singlefile', file, picture]);
    return `${picture}.png`;
  }
  if (file.endsWith('.svg')) {
    await run('rsvg-convert', ['--dpi-x', '300', '--dpi-y', '300', '-z', '4', '-o', `${picture}.png`, file]);
    return `${picture}.png`;
  }
  return file;
}

async function readCode(file) {
  const {stdout} = await run('zbarimg', ['--quiet', '--raw', '-Sdisable', '-Sqrcode.enable', await pictureOf(file)]);
  return stdout.trim();
}

describe('the label', () => {
  it('holds an address with the link’s id, in each form, and no secret', async () => {
    const link = await makeLink((await signedStudy()).id);
    assert.equal(link.address, `${PUBLIC_URL}${link.url}`);
    for (const mediaType of Object.keys(TYPES)) {
      const code = await readCode(await labelOf(link, mediaType));
      assert.equal(code, `${PUBLIC_URL}/r/${link.id}`, mediaType);
      assert.ok(!code.includes(link.prefix));
    }
  });

  it('says whose clinic and which day, and not whose study', async () => {
    const link = await makeLink((await signedStudy()).id);
    const file = await labelOf(link, 'application/pdf');
    const {stdout: words} = await run('pdftotext', ['-layout', file, '-']);
    const told = words.replace(/\s+/g, ' ');
    for (const word of ['Clinic of the paper', 'Urodynamic study', '2026-03-02', link.id.slice(-8)]) {
      assert.ok(told.includes(word), `${word} in ${told}`);
    }
    assert.ok(!told.includes(FAMILY_NAME) && !told.includes('Robin') && !told.includes('T-'));
    const {stdout: facts} = await run('pdfinfo', [file]);
    const [, width, height] = /Page size: +([0-9.]+) x ([0-9.]+) pts/.exec(facts);
    assert.ok(Math.abs((width * 25.4) / 72 - 60) < 0.1 && Math.abs((height * 25.4) / 72 - 30) < 0.1, facts);
    assert.match(facts, /Pages: +1\n/);
  });

  it('holds the host that was asked where no address is set', async () => {
    const plain = await Installation.create('paper_plain');
    try {
      await plain.start();
      const place = await Clinic.open(plain, 'Clinic without an address');
      const study = await place.addVisit();
      await place.sign(study.id);
      const {json: link} = await place.as('clinician').post(`/v1/studies/${study.id}/links`, {purpose: 'summary'});
      assert.ok(!('address' in link));
      const file = await labelOf(link, 'image/png', plain.url, place.tokens.clinician);
      assert.equal(await readCode(file), `${plain.url}/r/${link.id}`);
    } finally {
      await plain.remove();
    }
  });

  it('is not drawn for others', async () => {
    const link = await makeLink((await signedStudy()).id);
    for (const role of ['room', 'referrer', 'integration', 'auditor', 'administrator']) {
      await clinic.as(role).expect(403, 'GET', `/v1/links/${link.id}/code`);
    }
    await other.as('clinician').expect(404, 'GET', `/v1/links/${link.id}/code`);
    await clinic.as('clinician').expect(404, 'GET', `/v1/links/${randomUUID()}/code`);
    await clinic.as('clinician').expect(406, 'GET', `/v1/links/${link.id}/code`, {headers: {accept: 'image/gif'}});
  });

  it('survives a clinic’s name of any kind', async () => {
    for (const name of ['Ж'.repeat(90), 'عيادة <b>&"\'', `${'x'.repeat(99)} ${'y'.repeat(99)}`]) {
      const strange = await Clinic.open(installation, name);
      const study = await strange.addVisit();
      await strange.sign(study.id);
      const {json: link} = await strange.as('clinician').post(`/v1/studies/${study.id}/links`, {purpose: 'summary'});
      for (const mediaType of Object.keys(TYPES)) {
        const file = await labelOf(link, mediaType, installation.url, strange.tokens.clinician);
        assert.equal(await readCode(file), `${PUBLIC_URL}/r/${link.id}`);
      }
    }
  });
});

describe('the code on documents', () => {
  /** A document as a file, by the API. */
  async function fileOf(target, mediaType) {
    const response = await fetch(installation.url + target, {
      headers: {accept: mediaType, authorization: `Bearer ${clinic.tokens.clinician}`},
    });
    assert.equal(response.status, 200, target);
    const file = path.join(installation.folder, `document-${randomUUID()}.pdf`);
    writeFileSync(file, Buffer.from(await response.arrayBuffer()));
    return file;
  }

  it('leads from the report that was signed, and from the letter, to the study', async () => {
    const study = await addressedVisit(clinic);
    const {json: sent} = await clinic.as('clinician').expect(201, 'POST', `/v1/studies/${study.id}/letter/dispatches`, {
      json: {way: 'printed'},
    });
    for (const target of [
      `/v1/studies/${study.id}/signatures/1/report`,
      `/v1/studies/${study.id}/summary`,
      `/v1/studies/${study.id}/letter`,
      `/v1/letter-dispatches/${sent.id}`,
    ]) {
      const file = await fileOf(target, 'application/pdf');
      await run('pdftoppm', ['-r', '200', '-png', '-singlefile', '-f', '1', '-l', '1', file, file]);
      const {stdout: code} = await run('zbarimg', ['--quiet', '--raw', '-Sdisable', '-Sqrcode.enable', `${file}.png`]);
      assert.equal(code.trim(), `${PUBLIC_URL}/r/${study.id}`, target);
      const {stdout: words} = await run('pdftotext', ['-l', '1', file, '-']);
      assert.ok(words.includes(study.id.slice(-8)), `${target}: the end of the id`);
    }
  });
});

describe('whoever follows a code', () => {
  const follow = async (client, id) => {
    const answer = await client.request('GET', `/r/${encodeURIComponent(id)}`);
    return [answer.status, answer.headers.get('location')];
  };

  it('signs in first, and comes back', async () => {
    const link = await makeLink((await signedStudy()).id);
    assert.deepEqual(await follow(stranger(), link.id), [303, `/sign-in?next=%2Fr%2F${link.id}`]);
    // Nobody learns without signing in whether there is anything behind an id.
    const id = randomUUID();
    assert.deepEqual(await follow(stranger(), id), [303, `/sign-in?next=%2Fr%2F${id}`]);
  });

  it('gets to the study, or to the brief, by the link’s id and by the study’s', async () => {
    const study = await signedStudy();
    const link = await makeLink(study.id);
    const referrer = await clinic.person('referrer');
    await clinic.refer(study.patient_id, referrer.id);
    for (const id of [link.id, study.id]) {
      for (const role of ['clinician', 'physician', 'integration']) {
        assert.deepEqual(await follow(await clinic.person(role), id), [303, `/studies/${study.id}`], role);
      }
      assert.deepEqual(await follow(referrer, id), [303, `/referred/${study.id}`]);
    }
    const open = await clinic.addVisit();
    assert.deepEqual(await follow(await clinic.person('room'), open.id), [303, `/studies/${open.id}`]);
  });

  it('still gets there when the link is over: paper lasts longer', async () => {
    const study = await signedStudy();
    const link = await makeLink(study.id);
    await clinic.as('clinician').expect(204, 'DELETE', `/v1/links/${link.id}`);
    assert.deepEqual(await follow(await clinic.person('clinician'), link.id), [303, `/studies/${study.id}`]);
  });

  it('sees the same page for what never was and for what is not theirs', async () => {
    const study = await signedStudy();
    const link = await makeLink(study.id);
    const words = new Set();
    for (const [client, id] of [
      [await clinic.person('clinician'), randomUUID()],
      [await clinic.person('clinician'), 'nothing'],
      [await clinic.person('clinician'), link.url.slice(3)],
      [await other.person('clinician'), link.id],
      [await other.person('physician'), study.id],
      [await clinic.person('referrer'), link.id],
      [await clinic.person('referrer'), study.id],
      [await clinic.person('room'), link.id],
    ]) {
      const answer = await client.expect(404, 'GET', `/r/${encodeURIComponent(id)}`);
      assert.match(answer.headers.get('content-type'), /^text\/html/);
      words.add(answer.text);
    }
    assert.equal(words.size, 1);
  });

  it('sees a page that says so where the account is for something else', async () => {
    const link = await makeLink((await signedStudy()).id);
    for (const role of ['auditor', 'administrator']) {
      const answer = await (await clinic.person(role)).expect(403, 'GET', `/r/${link.id}`);
      assert.match(answer.text, /<h1>Your account may not see this page/);
    }
  });

  it('sets up what the account owes before anything else', async () => {
    const study = await signedStudy();
    const user = await clinic.addUser(['clinician'], {password_is_temporary: true});
    const {answer, cookie} = await signIn(installation.url, user.username, user.password);
    assert.deepEqual(answer.json.owes, ['password']);
    const client = Client.withSession(installation.url, cookie);
    assert.deepEqual(await follow(client, study.id), [303, '/account']);
    assert.deepEqual(await follow(client, randomUUID()), [303, '/account']);
  });

  it('is never led to another server', async () => {
    for (const target of ['/r//evil.example', '/r/%2F%2Fevil.example', '/r/https:%2F%2Fevil.example', '/r/..%2F..', '/r/%5Cevil.example']) {
      for (const client of [stranger(), await clinic.person('clinician')]) {
        const answer = await client.request('GET', target);
        assert.ok([303, 400, 404].includes(answer.status), `${target}: ${answer.status}`);
        const location = answer.headers.get('location');
        if (location !== null) {
          assert.match(location, /^\/sign-in\?next=%2Fr%2F/);
          assert.equal(new URL(location, installation.url).origin, installation.url);
        }
      }
    }
  });
});
