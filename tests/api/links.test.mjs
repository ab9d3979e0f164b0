// Links: one summary for one reader, until it is over; what strangers learn by trying; and how often.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {readFileSync} from 'node:fs';
import {after, before, beforeEach, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, PASSWORD, signIn} from './lib/clinic.mjs';
import {FAMILY_NAME, Installation} from './lib/installation.mjs';
import {uroflowmetry} from './lib/recordings.mjs';
import {forged} from './lib/secrets.mjs';

const DAY_MS = 24 * 3600_000;
const fromNow = (ms) => new Date(Date.now() + ms).toISOString();
const {document: FLOW} = uroflowmetry();

let installation;
let clinic;
let other;

before(async () => {
  installation = await Installation.create('links');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of the links');
  other = await Clinic.open(installation, 'Another clinic of the links');
});

// All tests ask from one address.
beforeEach(() => installation.execute('delete from penstock.link_miss'));

after(() => installation.remove());

const stranger = () => new Client(installation.url);
/** Whatever signatures there are. */
const setStatus = (id, status) =>
  installation.execute(
    `begin; set local session_replication_role = replica;
     update penstock.study set status = '${status}' where id = '${id}'; commit`,
  );

async function signedStudy(at = clinic) {
  const {id} = await at.addVisit();
  await at.addRecording(id, FLOW);
  await at.sign(id);
  return id;
}

async function makeLink(fields = {}, study = null) {
  const id = study ?? (await signedStudy());
  return (await clinic.as('clinician').post(`/v1/studies/${id}/links`, {purpose: 'summary', ...fields})).json;
}

const listed = async (link) =>
  (await clinic.as('physician').get(`/v1/studies/${link.study_id}/links`)).json.items.find(({id}) => id === link.id);

const forgedUrl = () => `/l/${forged('psl_')}`;

function isKeptPrivate(answer) {
  assert.equal(answer.headers.get('cache-control'), 'no-store');
  assert.equal(answer.headers.get('referrer-policy'), 'no-referrer');
  assert.equal(answer.headers.get('x-robots-tag'), 'noindex, nofollow');
  assert.equal(answer.headers.get('etag'), null);
  assert.equal(answer.headers.get('set-cookie'), null);
}

async function isOver(url) {
  const answer = await stranger().expect(404, 'GET', url);
  isKeptPrivate(answer);
  assert.match(answer.text, /This link does not work/);
  assert.ok(!answer.text.includes(FAMILY_NAME));
  assert.ok(url.length < 20 || !answer.text.includes(url.slice(3)));
  return answer.text;
}

describe('a link', () => {
  it('shows the brief of its study to whoever has it', async () => {
    const link = await makeLink({label: 'Dr Somebody, by letter'});
    assert.equal(link.state, 'valid');
    assert.equal(link.label, 'Dr Somebody, by letter');
    assert.ok(Math.abs(Date.parse(link.expires_at) - Date.now() - 14 * DAY_MS) < 60_000);
    const answer = await stranger().get(link.url);
    isKeptPrivate(answer);
    assert.ok(answer.text.includes(FAMILY_NAME));
    assert.ok(answer.text.includes('Clinic of the links'));
    assert.ok(!answer.text.includes('Dr Somebody'));
  });

  it('is shown once, and told apart by its prefix afterwards', async () => {
    const link = await makeLink();
    const shown = await listed(link);
    assert.ok(!('url' in shown));
    assert.equal(shown.prefix, link.url.slice(3, 3 + shown.prefix.length));
    assert.ok(shown.prefix.length < 16);
    assert.ok(!('last_read_at' in shown));
    await stranger().get(link.url);
    const read = await listed(link);
    assert.equal(read.read_count, 1);
    assert.ok(Math.abs(Date.parse(read.last_read_at) - Date.now()) < 60_000);
  });

  it('is made for signed studies only', async () => {
    const {id} = await clinic.addVisit();
    const json = {purpose: 'summary'};
    for (const status of ['registered', 'preliminary', 'cancelled']) {
      await setStatus(id, status);
      await clinic.as('physician').expect(409, 'POST', `/v1/studies/${id}/links`, {json});
    }
    await setStatus(id, 'preliminary');
    await clinic.sign(id);
    await clinic.amend(id);
    await stranger().get((await makeLink({}, id)).url);
  });

  it('is refused with every fault named', async () => {
    const id = await signedStudy();
    const post = async (json) => pointers(await clinic.as('clinician').expect(422, 'POST', `/v1/studies/${id}/links`, {json}));
    await installation.unchanged(async () => {
      assert.deepEqual(await post({}), ['/purpose']);
      assert.deepEqual(await post({purpose: 'recordings', colour: 1}), ['/colour', '/purpose']);
      for (const reads of [0, -1, 1001, 1.5, '3']) {
        assert.deepEqual(await post({purpose: 'summary', reads_at_most: reads}), ['/reads_at_most']);
      }
      for (const at of [fromNow(-1000), fromNow(90 * DAY_MS + 60_000), 'tomorrow']) {
        assert.deepEqual(await post({purpose: 'summary', expires_at: at}), ['/expires_at']);
      }
      assert.deepEqual(await post({purpose: 'summary', label: 'x'.repeat(201)}), ['/label']);
    });
    await makeLink({expires_at: fromNow(90 * DAY_MS - 60_000), reads_at_most: 1000}, id);
  });

  it('opens that page, report and letter, and nothing else', async () => {
    const link = await makeLink();
    const secret = link.url.slice(3);
    const study = `/v1/studies/${link.study_id}`;
    for (const headers of [
      {authorization: `Bearer ${secret}`},
      {cookie: `penstock_session=${secret}`, origin: installation.url},
    ]) {
      for (const target of [study, `${study}/summary`, `${study}/recordings`, `${study}/links`, '/v1/patients']) {
        await stranger().expect(401, 'GET', target, {headers});
      }
    }
    for (const target of [`${link.url}/recordings`, `${link.url}/`, `${link.url}${'/x'.repeat(20)}`, '/l/', '/l']) {
      const answer = await stranger().expect(404, 'GET', target);
      assert.ok(!answer.text.includes(secret));
    }
    for (const slip of ['%2F', '%00', '%zz']) {
      const answer = await stranger().expect(400, 'GET', `${link.url}${slip}`);
      assert.ok(!answer.text.includes(secret), slip);
    }
    const json = await stranger().expect(406, 'GET', link.url, {headers: {accept: 'application/json'}});
    assert.ok(!json.text.includes(secret));
    for (const method of ['POST', 'PUT', 'PATCH', 'DELETE']) {
      const answer = await stranger().expect(405, method, link.url);
      assert.ok(!answer.text.includes(secret));
    }
    assert.equal((await listed(link)).read_count, 0);
  });

  it('needs no credential, and is no other with one', async () => {
    const link = await makeLink();
    const {text} = await stranger().get(link.url);
    const {cookie} = await signIn(installation.url, other.username, PASSWORD);
    const withSession = await Client.withSession(installation.url, cookie).get(link.url);
    assert.equal(withSession.text, text);
    assert.equal((await other.room.get(link.url)).text, text);
  });
});

describe('a link is over', () => {
  it('with the same words as one that never was, for whatever reason', async () => {
    const words = new Set();
    const expired = await makeLink();
    await installation.execute(`update penstock.study_link set expires_at = now() where id = '${expired.id}'`);
    words.add(await isOver(expired.url));
    assert.equal((await listed(expired)).state, 'expired');

    const revoked = await makeLink();
    await stranger().get(revoked.url);
    await clinic.as('clinician').expect(204, 'DELETE', `/v1/links/${revoked.id}`);
    words.add(await isOver(revoked.url));
    assert.equal((await listed(revoked)).state, 'revoked');
    await clinic.as('clinician').expect(404, 'DELETE', `/v1/links/${revoked.id}`);

    const usedUp = await makeLink({reads_at_most: 2});
    await stranger().get(usedUp.url);
    await stranger().get(usedUp.url);
    words.add(await isOver(usedUp.url));
    const {state, read_count: count, reads_at_most: most} = await listed(usedUp);
    assert.deepEqual({state, count, most}, {state: 'used_up', count: 2, most: 2});

    const unsigned = await makeLink();
    await setStatus(unsigned.study_id, 'preliminary');
    words.add(await isOver(unsigned.url));

    words.add(await isOver(forgedUrl()));
    words.add(await isOver('/l/nothing'));
    words.add(await isOver(`/l/${encodeURIComponent("' or '1'='1")}`));
    words.add(await isOver(usedUp.url.slice(0, -1)));
    assert.equal(words.size, 1);
  });

  it('not by a HEAD, nor by what a browser fetches ahead', async () => {
    const link = await makeLink({reads_at_most: 1});
    for (let i = 0; i < 3; i++) {
      const head = await stranger().expect(200, 'HEAD', link.url);
      isKeptPrivate(head);
      for (const headers of [{'sec-purpose': 'prefetch;prerender'}, {purpose: 'preview'}, {'x-moz': 'prefetch'}]) {
        const ahead = await stranger().expect(503, 'GET', link.url, {headers});
        isKeptPrivate(ahead);
        assert.ok(!ahead.text.includes(FAMILY_NAME));
      }
    }
    assert.equal((await listed(link)).read_count, 0);
    await stranger().get(link.url);
    await isOver(link.url);
    await stranger().expect(404, 'HEAD', link.url);
  });

  it('after as many reads as it has, also when they come at once', async () => {
    const link = await makeLink({reads_at_most: 3});
    const answers = await Promise.all(Array.from({length: 12}, () => stranger().request('GET', link.url)));
    assert.equal(answers.filter(({status}) => status === 200).length, 3);
    assert.equal(answers.filter(({status}) => status === 404).length, 9);
    assert.equal((await listed(link)).read_count, 3);
  });
});

describe('who may make and see links', () => {
  it('is clinicians and physicians of the clinic, and nobody of another', async () => {
    const link = await makeLink();
    const links = `/v1/studies/${link.study_id}/links`;
    await installation.unchanged(async () => {
      for (const role of ['room', 'referrer', 'integration', 'auditor', 'administrator']) {
        await clinic.as(role).expect(403, 'GET', links);
        await clinic.as(role).expect(403, 'POST', links, {json: {purpose: 'summary'}});
        await clinic.as(role).expect(403, 'DELETE', `/v1/links/${link.id}`);
      }
      for (const role of ['clinician', 'physician']) {
        await other.as(role).expect(404, 'GET', links);
        await other.as(role).expect(404, 'POST', links, {json: {purpose: 'summary'}});
        await other.as(role).expect(404, 'DELETE', `/v1/links/${link.id}`);
        await clinic.as(role).expect(404, 'DELETE', `/v1/links/${randomUUID()}`);
        await clinic.as(role).expect(404, 'DELETE', `/v1/links/${link.study_id}`);
        await clinic.as(role).expect(404, 'DELETE', '/v1/links/nothing');
        await clinic.as(role).expect(404, 'GET', `/v1/studies/${randomUUID()}/links`);
      }
    });
    await stranger().get(link.url);
  });

  it('lists page by page, newest first', async () => {
    const study = await signedStudy();
    const made = [];
    for (let i = 0; i < 5; i++) {
      made.unshift((await makeLink({label: `${i}`}, study)).id);
    }
    const found = [];
    let cursor = '';
    do {
      const {json} = await clinic.as('clinician').get(`/v1/studies/${study}/links?limit=2${cursor}`);
      found.push(...json.items.map(({id}) => id));
      cursor = json.next_cursor === null ? null : `&cursor=${encodeURIComponent(json.next_cursor)}`;
    } while (cursor !== null);
    assert.deepEqual(found, made);
    const answer = await clinic.as('clinician').expect(422, 'GET', `/v1/studies/${study}/links?cursor=x`);
    assert.deepEqual(pointers(answer), ['?cursor']);
  });
});

describe('how often', () => {
  const retryAfter = (answer) => Number(answer.headers.get('retry-after'));

  it('a link is asked for: 60 times an hour', async () => {
    const link = await makeLink();
    await installation.execute(
      `update penstock.study_link set hour_began_at = now(), hour_count = 59 where id = '${link.id}'`,
    );
    await stranger().get(link.url);
    const answer = await stranger().expect(429, 'GET', link.url);
    isKeptPrivate(answer);
    assert.ok(retryAfter(answer) > 3500 && retryAfter(answer) <= 3600);
    assert.equal((await listed(link)).read_count, 1);
    await installation.execute(
      `update penstock.study_link set hour_began_at = now() - interval '1 hour' where id = '${link.id}'`,
    );
    await stranger().get(link.url);
  });

  it('an address may be wrong 20 times in ten minutes; whoever has a link reads on', async () => {
    const link = await makeLink();
    for (let i = 0; i < 20; i++) {
      await isOver(i % 2 === 0 ? forgedUrl() : `/l/${i}`);
    }
    const wrong = await stranger().expect(429, 'GET', forgedUrl());
    isKeptPrivate(wrong);
    assert.ok(retryAfter(wrong) > 500 && retryAfter(wrong) <= 600);
    await stranger().get(link.url);
    assert.equal((await listed(link)).read_count, 1);
    await installation.execute(
      `update penstock.link_miss set missed_at =
         (select array_agg(moment - interval '10 minutes') from unnest(missed_at) moment)`,
    );
    await isOver(forgedUrl());
  });

  it('is counted right when they come at once', async () => {
    const answers = await Promise.all(Array.from({length: 40}, () => stranger().request('GET', forgedUrl())));
    assert.equal(answers.filter(({status}) => status === 404).length, 20);
    assert.equal(answers.filter(({status}) => status === 429).length, 20);
  });

  it('does not count links that are over', async () => {
    const link = await makeLink({reads_at_most: 1});
    await stranger().get(link.url);
    for (let i = 0; i < 25; i++) {
      await isOver(link.url);
    }
  });
});

it('no secret of a link stands in the log', async () => {
  const link = await makeLink();
  const forged = forgedUrl();
  await stranger().get(link.url);
  await isOver(forged);
  await stranger().expect(405, 'POST', link.url);
  const log = readFileSync(installation.log, 'utf8');
  assert.ok(log.includes('"/l/{secret}"'));
  for (const url of [link.url, forged]) {
    assert.ok(!log.includes(url.slice(3, 20)));
  }
});
