// The de-identified research export: nothing that identifies, no small groups, and what it says of itself.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {Client, pointers} from './lib/client.mjs';
import {Clinic, signIn} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {pressureFlow, uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry({grid: {rate_hz: 10, duration_s: 45}});
const TARGET = '/v1/exports/research';
const DAY_MS = 86_400_000;

/** The identifiers of 45 CFR 164.514(b)(2)(i), and what of each kind stands somewhere in the stored data.
 * Upper-case letters keep them apart from anything that the program writes itself. */
const IDENTIFIERS = {
  A: ['QUILLNAME', 'QUILLGIVEN', 'QUILLOPERATOR', 'QUILLHUSBAND'], // names, of relatives and staff too
  B: ['QUILLTOWN', 'QUILLSTREET', 'QUILLZIP 48109', 'Room QUILL'], // places smaller than a state
  C: ['1957-03-19', '2019-07-23', '2019-07-24', '"2019'], // dates, and here even the year
  D: ['555-0100-QUILL'], // telephone
  E: ['555-0101-QUILL'], // fax
  F: ['quill@example.org'], // e-mail
  G: ['000-00-QUILL'], // social security
  H: ['MRN-QUILL'], // medical record
  I: ['HP-QUILL'], // health plan
  J: ['ACCT-QUILL'], // account
  K: ['LIC-QUILL'], // certificate or licence
  L: ['PLATE-QUILL'], // vehicle
  M: ['SN-QUILL', 'CATHETER-QUILL'], // devices
  N: ['https://quill.example.org/'], // URL
  O: ['192.0.2.77'], // IP address
  P: ['FINGER-QUILL'], // biometric
  Q: ['PHOTO-QUILL'], // photographs
  R: ['quill_own_code', 'QUILLNOTE', 'QUILLREASON', 'QUILLHOLD', 'QUILLWITHDRAWN'], // any other: words of people
};

let installation;
let clinic;
let physician;
const subjects = {}; // patients by what they are here for

before(async () => {
  installation = await Installation.create('exports');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic of QUILLTOWN');
  physician = clinic.as('physician');
  await addGroup('men', 6, {sex: 'male', birth_date: '1961-04-30'});
  await addGroup('women', 2, {sex: 'female', birth_date: '1961-04-30'});
  await addGroup('young', 4, {sex: 'female', birth_date: '1999-04-30'});
  await addGroup('old', 5, {sex: 'male', birth_date: '1931-04-30'});
  await addGroup('pressures', 3, {sex: 'male', birth_date: '1961-04-30'}, pressureFlow().document);
  subjects.canary = await addCanary();
});

after(() => installation.remove());

async function addGroup(name, count, patient, document = FLOW) {
  subjects[name] = [];
  for (let i = 0; i < count; i++) {
    const {id} = await clinic.addPatient(patient);
    const study = await clinic.addStudy(id);
    await clinic.addRecording(study.id, document);
    subjects[name].push(id);
  }
}

const all = () => Object.values(IDENTIFIERS).flat();

/** A patient with every field filled. */
async function addCanary() {
  const {id} = await clinic.addPatient({
    mrn: 'MRN-QUILL',
    family_name: 'QUILLNAME',
    given_name: 'QUILLGIVEN',
    birth_date: '1957-03-19',
    sex: 'male',
    weight_kg: 87.654,
  });
  const started_at = '2019-07-23T09:00:00+02:00';
  const study = await clinic.addStudy(id, {
    room: 'Room QUILL',
    started_at,
    operator: 'QUILLOPERATOR',
    position: 'QUILLSTREET',
    catheters: 'CATHETER-QUILL SN-QUILL',
    history: {diary: all().join(' '), medication: all().join('; ')},
  });
  const document = {
    ...FLOW,
    started_at,
    conditions: {
      ...FLOW.conditions,
      position: 'QUILLZIP 48109',
      reference_level: 'QUILLTOWN',
      zeroed: '2019-07-24 QUILLHUSBAND',
    },
    events: [
      ...FLOW.events,
      {at_s: 5, code: 'quill_own_code', note: 'QUILLNOTE'},
      {at_s: 6, code: 'cough', note: all().join(' ')},
    ],
  };
  const {json} = await clinic.addRecording(study.id, document);
  const clinician = clinic.as('clinician');
  const target = `/v1/recordings/${json.recording.id}`;
  const reason = (text, version) => ({json: {reason: text}, headers: {'if-match': `"${version}"`}});
  await clinician.expect(200, 'POST', `${target}/withdrawal`, reason('QUILLWITHDRAWN', 1));
  await clinician.expect(200, 'POST', `${target}/restoration`, reason('QUILLREASON', 2));
  await physician.expect(200, 'PUT', `/v1/patients/${id}/legal-hold`, {json: {reason: 'QUILLHOLD'}});
  return {id, study: study.id, recording: json.recording.id};
}

/** All pages. */
async function everything(query = '', limit = 200) {
  const pages = [];
  let cursor = '';
  do {
    const {json} = await physician.get(`${TARGET}?limit=${limit}${query}${cursor}`);
    pages.push(json);
    cursor = `&cursor=${json.next_cursor}`;
  } while (pages.at(-1).next_cursor !== null);
  return {...pages[0], pages, items: pages.flatMap(({items}) => items)};
}

/** Subjects of each combination that is told. */
function combinations(items) {
  const found = new Map();
  for (const {type, sex, age, year = null, subject} of items) {
    const key = JSON.stringify([type, sex, age, year]);
    found.set(key, (found.get(key) ?? new Set()).add(subject));
  }
  return found;
}

async function pseudonymOf(patientId) {
  const [row] = await installation.rows(
    `select pseudonym, shift_days from penstock.research_subject where patient_id = '${patientId}'`,
  );
  return row;
}

const OPTIONS = ['', '&ages=years', '&dates=year', '&dates=shifted', '&dates=year&ages=years', '&k=6', '&k=20'];

describe('the research export', () => {
  for (const [letter, canaries] of Object.entries(IDENTIFIERS)) {
    it(`holds no identifier of 45 CFR 164.514(b)(2)(i)(${letter})`, async () => {
      const {json: file} = await physician.get(`/v1/patients/${subjects.canary.id}/export`);
      const stored = JSON.stringify(file).replaceAll('\\"', '"');
      const texts = [];
      // Moved dates are dates: only what says that it is beyond Safe Harbor has any.
      for (const query of ['', '&ages=years', ...(letter === 'C' ? [] : ['&dates=shifted', '&dates=year'])]) {
        texts.push(JSON.stringify(await everything(query)));
      }
      for (const canary of canaries) {
        assert.ok(stored.includes(canary), `${canary} is stored nowhere, so that its absence says nothing`);
        // When the export was made is nobody's date.
        for (const text of texts) {
          assert.ok(!text.replace(/"received_before":"[^"]*"/g, '').includes(canary), canary);
        }
      }
    });
  }

  it('holds no id of the store, and the canary at all', async () => {
    const {items} = await everything();
    const {pseudonym} = await pseudonymOf(subjects.canary.id);
    const line = items.find(({subject}) => subject === pseudonym);
    assert.ok(line, 'the canary is not in the export');
    assert.equal(line.age, '60-69');
    assert.ok(line.sections.uroflow.qmax.value > 0);
    assert.deepEqual(
      line.events.map(({code}) => code),
      ['permission_to_void', 'cough'],
    );
    const text = JSON.stringify(items);
    for (const id of [...Object.values(subjects.canary), clinic.id]) {
      assert.ok(!text.includes(id));
    }
    for (const {id} of await installation.rows('select id from penstock.patient')) {
      assert.ok(!text.includes(id));
    }
  });

  it('tells no combination of fewer than k subjects, whatever is asked for', async () => {
    for (const query of OPTIONS) {
      const {items, k} = await everything(query);
      for (const [key, found] of combinations(items)) {
        assert.ok(found.size >= k, `${query}: ${key} has ${found.size} subjects`);
      }
      const masked = new Set(items.filter(({masked}) => masked !== undefined).map(({subject}) => subject));
      for (const {subject, sex, age} of items.filter((line) => masked.has(line.subject))) {
        assert.deepEqual([sex, age], [null, null], `${subject} is masked in one line and told in another`);
      }
    }
  });

  it('masks sex and age of small groups, and leaves out what stays small', async () => {
    const {items, masked, left_out, subjects: told} = await everything();
    const shown = combinations(items);
    const size = (...key) => shown.get(JSON.stringify([...key, null]))?.size ?? 0;
    assert.equal(size('uroflowmetry', 'male', '60-69'), 7, 'six and the canary');
    assert.equal(size('uroflowmetry', 'male', '90+'), 5);
    assert.equal(size('uroflowmetry', null, null), 6, 'two women and four younger ones');
    assert.ok(items.every(({type}) => type === 'uroflowmetry'), 'three pressure-flow studies');
    assert.deepEqual(masked, {subjects: 6, recordings: 6});
    assert.deepEqual(left_out.small_cells, {subjects: null, recordings: null}, 'three are fewer than five');
    assert.equal(told, 18);
    const line = items.find(({sex}) => sex === null);
    assert.equal(line.masked, 'fewer than 5 subjects');
    assert.equal(line.classifications, undefined);
  });

  it('hides the subjects of one small group among those of another', async () => {
    const {items} = await everything('&k=6');
    const shown = combinations(items);
    assert.equal(shown.get(JSON.stringify(['uroflowmetry', 'male', '60-69', null])).size, 7);
    assert.equal(shown.get(JSON.stringify(['uroflowmetry', null, null, null])).size, 11);
  });

  it('is the same page by page, under the same pseudonyms, and as lines', async () => {
    const whole = await everything();
    const paged = await everything('', 4);
    assert.equal(paged.pages.length, 5);
    assert.deepEqual(paged.items, whole.items);
    assert.equal(new Set(paged.pages.map(({received_before}) => received_before)).size, 1);
    const response = await fetch(`${installation.url}${TARGET}?limit=4`, {
      headers: {authorization: `Bearer ${clinic.tokens.physician}`, accept: 'application/x-ndjson'},
    });
    assert.equal(response.headers.get('content-type'), 'application/x-ndjson');
    assert.match(response.headers.get('link'), /rel="next"/);
    const [header, ...lines] = (await response.text()).trimEnd().split('\n').map((line) => JSON.parse(line));
    assert.deepEqual(lines, paged.pages[0].items);
    assert.equal(header.subjects, 18);
    assert.equal(header.items, undefined);
  });

  it('keeps its options from page to page', async () => {
    const {headers} = await physician.get(`${TARGET}?limit=2&dates=year&ages=years&k=7`);
    const [, next] = /<([^>]*)>; rel="next"/.exec(headers.get('link'));
    for (const part of ['limit=2', 'dates=year', 'ages=years', 'k=7']) {
      assert.ok(next.includes(part), next);
    }
    assert.equal((await physician.get(next)).json.k, 7);
  });

  it('refuses what it does not offer', async () => {
    const answer = await physician.expect(422, 'GET', `${TARGET}?k=4&dates=exact&ages=days&sex=male&limit=0`);
    assert.deepEqual(pointers(answer), ['?ages', '?dates', '?k', '?limit', '?sex']);
    await physician.expect(422, 'GET', `${TARGET}?cursor=x`);
  });
});

describe('dates of the research export', () => {
  before(async () => {
    // Six people come back after 30 and 400 days.
    for (const id of subjects.men) {
      for (const days of [30, 400]) {
        const started_at = new Date(Date.parse('2026-03-02T09:00:00Z') - days * DAY_MS).toISOString();
        const study = await clinic.addStudy(id, {started_at});
        await clinic.addRecording(study.id, {...FLOW, started_at});
      }
    }
  });

  it('are days since the first study', async () => {
    const {items, beyond_safe_harbor} = await everything();
    assert.equal(beyond_safe_harbor, false);
    const {pseudonym} = await pseudonymOf(subjects.men[0]);
    const own = items.filter(({subject}) => subject === pseudonym);
    assert.deepEqual(
      own.map(({sequence, days_since_first}) => [sequence, days_since_first]),
      [
        [1, 0],
        [2, 370],
        [3, 400],
      ],
    );
  });

  it('may be moved by a constant of the subject, which is said to be beyond Safe Harbor', async () => {
    const {items, beyond_safe_harbor} = await everything('&dates=shifted');
    assert.equal(beyond_safe_harbor, true);
    for (const id of subjects.men) {
      const {pseudonym, shift_days} = await pseudonymOf(id);
      assert.notEqual(shift_days, 0);
      const own = items.filter(({subject}) => subject === pseudonym).map(({shifted_on}) => Date.parse(shifted_on));
      assert.deepEqual([own[1] - own[0], own[2] - own[0]], [370 * DAY_MS, 400 * DAY_MS]);
      assert.equal(own[2], Date.parse('2026-03-02') + shift_days * DAY_MS);
    }
  });

  it('may be the year, which then counts among what groups are made of', async () => {
    const {items, k} = await everything('&dates=year');
    assert.ok(items.every((line) => Number.isInteger(line.year) && line.days_since_first === undefined));
    const {pseudonym} = await pseudonymOf(subjects.canary.id);
    assert.ok(!items.some(({subject}) => subject === pseudonym), 'the only one of 2019');
    assert.ok([...combinations(items).values()].every(({size}) => size >= k));
  });
});

describe('what is not in the research export', () => {
  it('is withdrawn, open, or of a cancelled study', async () => {
    const before = await everything();
    const study = await clinic.addStudy(subjects.old[0]);
    const {json} = await clinic.addRecording(study.id, {...FLOW, started_at: '2026-03-05T09:00:00Z'});
    assert.equal((await everything()).items.length, before.items.length + 1);
    const withdrawal = {json: {reason: 'a mistake'}, headers: {'if-match': '"1"'}};
    await clinic.room.expect(200, 'POST', `/v1/recordings/${json.recording.id}/withdrawal`, withdrawal);
    assert.deepEqual((await everything()).items, before.items);
    const cancelled = await clinic.addStudy(subjects.old[0]);
    await clinic.addRecording(cancelled.id, {...FLOW, started_at: '2026-03-06T09:00:00Z'});
    await installation.execute(`update penstock.study set status = 'cancelled' where id = '${cancelled.id}'`);
    assert.deepEqual((await everything()).items, before.items);
  });

  it('is of a patient about whom an erasure is asked for', async () => {
    const user = await clinic.addUser(['physician']);
    const {cookie} = await signIn(installation.url, user.username, user.password);
    const person = Client.withSession(installation.url, cookie);
    await person.post(`/v1/patients/${subjects.canary.id}/erasure`, {reason: 'the patient asks'});
    const {items, left_out} = await everything();
    const {pseudonym} = await pseudonymOf(subjects.canary.id);
    assert.ok(!items.some(({subject}) => subject === pseudonym));
    assert.deepEqual(left_out.erasure, {subjects: null, recordings: null});
  });

  it('is of another clinic', async () => {
    const other = await Clinic.open(installation, 'Another clinic');
    const {json} = await other.as('physician').get(TARGET);
    assert.deepEqual(json.items, []);
    assert.equal(json.subjects, 0);
  });

  it('is who a pseudonym is: no route tells', async () => {
    const {pseudonym} = await pseudonymOf(subjects.men[0]);
    for (const target of [
      `/v1/patients/${subjects.men[0]}`,
      `/v1/patients/${subjects.men[0]}/export`,
      `/v1/patients/${subjects.men[0]}/trend`,
      `/v1/patients?name=${encodeURIComponent('Quill')}`,
    ]) {
      assert.ok(!(await physician.get(target)).text.includes(pseudonym), target);
    }
    await physician.expect(404, 'GET', `/v1/patients/${pseudonym}`);
    await physician.expect(404, 'GET', `/v1/patients/${randomUUID()}`);
  });
});
