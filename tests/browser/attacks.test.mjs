// What attackers have written into every text, and into the address of the sign-in page, in a real browser:
// nothing of it runs, becomes an element, or leads anywhere else.
import assert from 'node:assert/strict';
import {randomBytes} from 'node:crypto';
import {after, before, test} from 'node:test';
import {EVIL_PATHS, MARK, SCRIPTS} from '../attacks/lib/payloads.mjs';
import {launch, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';
import {serverUrl} from './lib/environment.mjs';
import {RoomRecording} from './lib/room.mjs';

const STARTED_AT = '2026-03-02T09:30:00+01:00';
const DAY = '2026-03-02';
const VISITS = 4;
const STEP = 10; // how far the scripts move on from visit to visit
const TURNS_BACK = '\u202e'; // right-to-left override: what follows is shown backwards
const LONG_TEXT = 1500;

/** What the browser logs when it looks for the icon of a document that names none. */
const NO_ICON = /Failed to load resource.*\b404\b/;

/** Elements and attributes that no page here has, and that the scripts would make. */
const INJECTED = [
  'script:not([src])',
  `script[src*="${MARK}"]`,
  'iframe, object, embed, base, math, x, animate, link[href*="evil"], meta[http-equiv="refresh"], style',
  'form[action]',
  'img[src="x"]',
  'a[href^="javascript" i], a[href^="data" i], a[href*="evil"]',
  ...['load', 'error', 'click', 'focus', 'mouseover', 'toggle', 'begin'].map((event) => `[on${event}]`),
  '[srcdoc], [style*="evil"], [style*="inset"]',
];

let browser;
let clinic;
let storageState;
let clinician;
let auditor;
let visits; // {study, recording, running, withdrawn}

let dealt = 0;
/** The next script, and every one in its turn. */
const words = () => SCRIPTS[dealt++ % SCRIPTS.length];
const short = () => words().slice(0, 60);
const longText = () => {
  let text = words();
  for (let next = words(); text.length + next.length < LONG_TEXT; next = words()) text += ` ${next}`;
  return text;
};

async function addHostileVisit(person, index) {
  dealt = index * STEP; // other scripts in each place than in the visit before
  const patient = await person.ask('POST', '/v1/patients', {
    mrn: `${short()}${randomBytes(3).toString('hex')}`.slice(-64),
    family_name: words(),
    given_name: words(),
    birth_date: '1961-04-30',
    sex: 'male',
  });
  const study = await person.ask('POST', '/v1/studies', {
    patient_id: patient.id,
    room: words(),
    started_at: STARTED_AT,
    operator: words(),
    position: words(),
    catheters: longText(),
    history: {diary: longText() + TURNS_BACK, pad_test: longText() + TURNS_BACK, medication: longText()},
  });
  const conditions = {position: words(), reference_level: words(), zeroed: words()};
  const events = SCRIPTS.map((note, at_s) => ({at_s: at_s / 10, code: at_s % 2 ? 'comment' : 'cough', note}));
  const recording = await RoomRecording.open(person, study, {conditions});
  for (const number of [0, 1, 2]) await recording.send(number, number === 0 ? events.filter(({at_s}) => at_s < 3) : []);
  await recording.complete();
  const withdrawn = await RoomRecording.open(person, study, {conditions, started_at: '2026-03-02T10:00:00+01:00'});
  await withdrawn.send(0);
  await withdrawn.withdraw(longText().slice(0, 900));
  const running = await RoomRecording.open(person, study, {conditions, started_at: '2026-03-02T10:30:00+01:00'});
  await running.send(0, events.slice(0, 25));
  return {study, recording, withdrawn, running};
}

before(async () => {
  browser = await launch();
  clinic = await Clinic.create(`Clinic <img src=x onerror=window.__${MARK}=1>`);
  clinician = await clinic.add('clinician');
  const administrator = await clinic.add('administrator');
  const {items} = await administrator.ask('GET', '/v1/users');
  const {id, version} = items.find(({username}) => username === clinician.username);
  const named = {display_name: `<svg onload=window.__${MARK}=1>${MARK}\u2029${TURNS_BACK}`};
  await administrator.ask('PATCH', `/v1/users/${id}`, named, {'if-match': `"${version}"`});
  await clinician.signIn();
  auditor = await clinic.add('auditor');
  const referrer = await clinic.add('referrer');
  const patient = await clinician.ask('POST', '/v1/patients', {
    mrn: `HOSTILE-${randomBytes(3).toString('hex')}`,
    family_name: words(),
    given_name: words(),
    birth_date: '1961-04-30',
    sex: 'female',
  });
  const {mrn, birth_date} = patient;
  const reason = SCRIPTS.join(' ').slice(0, 900);
  await referrer.ask('POST', '/v1/emergency-access', {mrn, birth_date, reason});
  visits = [];
  for (let i = 0; i < VISITS; i++) visits.push(await addHostileVisit(clinician, i));
  assert.ok(VISITS * STEP >= SCRIPTS.length, 'every script begins some text');
  const visit = await Visit.begin(browser);
  await visit.open('/sign-in');
  await visit.fillSignIn(clinician);
  await visit.page.waitForURL('**/today');
  storageState = await visit.context.storageState();
  await visit.end();
});
after(() => browser?.close());

/** A visit that remembers dialogs of scripts, and other pages that opened. */
async function begin() {
  const visit = await Visit.begin(browser, {storageState});
  visit.surprises = [];
  visit.page.on('dialog', async (dialog) => {
    visit.surprises.push(`a dialog: ${dialog.message()}`);
    await dialog.dismiss();
  });
  visit.context.on('page', (page) => visit.surprises.push(`another page: ${page.url()}`));
  visit.page.on('download', (download) => visit.surprises.push(`a download: ${download.url()}`));
  return visit;
}

/** Nothing ran, nothing became an element, and the words are there to be read. */
async function assertHarmless(visit, what) {
  await visit.settle();
  const found = await visit.page.evaluate(
    ({selectors, mark}) => ({
      ran: Object.keys(window).filter((name) => name.includes(mark)),
      elements: selectors.flatMap((selector) => [...document.querySelectorAll(selector)].map((node) => node.outerHTML.slice(0, 200))),
      isRead: document.body.textContent.includes(`window.__${mark}=1`),
    }),
    {selectors: INJECTED, mark: MARK},
  );
  assert.deepEqual(found, {ran: [], elements: [], isRead: true}, what);
  assert.deepEqual(visit.surprises, [], what);
  assert.equal(new URL(visit.page.url()).origin, new URL(serverUrl).origin, what);
}

/** Words of the page itself read from left to right whatever stands before them. */
async function assertReadable(visit, selector, text) {
  const [first, last] = await visit.page.evaluate(
    ([within, wanted]) => {
      const walker = document.createTreeWalker(document.querySelector(within), NodeFilter.SHOW_TEXT);
      while (walker.nextNode() && !walker.currentNode.data.includes(wanted));
      const at = walker.currentNode.data.indexOf(wanted);
      return [at, at + wanted.length - 1].map((index) => {
        const range = document.createRange();
        range.setStart(walker.currentNode, index);
        range.setEnd(walker.currentNode, index + 1);
        return range.getBoundingClientRect().left;
      });
    },
    [selector, text],
  );
  assert.ok(first < last, `"${text}" is shown backwards`);
}

/** Moves over and clicks what is not a control, in case something waits for it. */
async function provoke(visit) {
  await visit.page.mouse.move(300, 300);
  await visit.page.mouse.move(640, 450);
  await visit.page.keyboard.press('Tab');
  await visit.page.keyboard.press('Tab');
}

test('the day list shows what attackers wrote as the words they are', async () => {
  const visit = await begin();
  await visit.open(`/today?date=${DAY}`);
  await visit.page.waitForSelector(`[href$="${visits[0].study.id}"]`);
  await provoke(visit);
  await assertHarmless(visit, 'the day list');
  await visit.screenshot('attacks-today');
  await visit.end();
});

test('a study of which every text is script is shown, live, its withdrawn recordings too', async () => {
  for (const {study, running} of visits) {
    const visit = await begin();
    await visit.openStudy(study.id);
    await provoke(visit);
    await visit.page.evaluate(() => document.querySelectorAll('details').forEach((one) => (one.open = true)));
    await assertHarmless(visit, 'the study page');
    await assertReadable(visit, '.patient', 'Pad');
    await assertReadable(visit, '.withdrawn', '2026');
    await running.send(1, SCRIPTS.slice(0, 20).map((note, i) => ({at_s: 3 + i / 10, code: 'comment', note})));
    await visit.page.waitForTimeout(1500);
    await assertHarmless(visit, 'the study page, while a recording runs');
    if (study === visits[0].study) await visit.screenshot('attacks-study');
    await visit.end();
  }
});

test('questions and notices of a study of script are words', async () => {
  const [{study, recording}] = visits;
  const visit = await begin();
  await visit.openStudy(study.id);
  await visit.page.click(`[data-recording="${recording.id}"] .recording-foot button`);
  await visit.page.waitForSelector('dialog[open]');
  await visit.page.fill('dialog textarea', SCRIPTS.join(' ').slice(0, 900));
  await visit.screenshot('attacks-question');
  await assertHarmless(visit, 'the question why to withdraw');
  await visit.page.click('dialog button[type=submit]');
  await visit.page.waitForSelector(`[data-withdrawn="${recording.id}"]`, {state: 'attached'});
  await visit.page.click('.withdrawn summary');
  await assertHarmless(visit, 'the withdrawn recordings');
  await visit.screenshot('attacks-withdrawn');
  await visit.page.click(`[data-withdrawn="${recording.id}"] button`);
  await visit.page.waitForSelector('dialog[open]');
  await assertHarmless(visit, 'the question why to restore');
  await visit.end();
});

test('the summary of a study of script is read as text', async () => {
  for (const {study} of visits) {
    const visit = await begin();
    await visit.open(`/v1/studies/${study.id}/summary`);
    await visit.page.waitForSelector('body.document');
    await provoke(visit);
    await assertHarmless(visit, 'the summary');
    if (study === visits[1].study) await visit.screenshot('attacks-summary');
    await visit.end({allowed: [NO_ICON]});
  }
});

test('the audit shows reasons and names of script as words', async () => {
  const visit = await begin();
  await visit.context.clearCookies();
  const url = new URL((await visit.open('/sign-in')).url());
  const [name, value] = auditor.cookie.split('=');
  await visit.context.addCookies([{name, value, url: url.origin}]);
  await visit.open('/audit');
  await visit.page.waitForSelector('#entries table');
  await visit.page.waitForSelector('#emergencies table');
  await provoke(visit);
  await assertHarmless(visit, 'the audit');
  await visit.page.fill('#mrn', SCRIPTS[0].slice(0, 60));
  await visit.page.press('#mrn', 'Enter');
  await visit.settle();
  await assertHarmless(visit, 'the audit, asked for a record number of script');
  await visit.screenshot('attacks-audit');
  await visit.end({allowed: [/Failed to load resource.*\b422\b/]}); // no record number has such signs
});

test('the account page of somebody with a name of script is words', async () => {
  const visit = await begin();
  await visit.open('/account');
  await visit.page.waitForSelector('main h2');
  await provoke(visit);
  await assertHarmless(visit, 'the account page');
  await visit.screenshot('attacks-account');
  await visit.end();
});

test('answers of the API that are opened as pages run nothing', async () => {
  const [{study, recording}] = visits;
  const visit = await begin();
  for (const target of [`/v1/studies/${study.id}`, `/v1/patients/${study.patient_id}`, `/v1/recordings/${recording.id}/history`]) {
    await visit.open(target);
    assert.equal(await visit.page.evaluate((mark) => Object.keys(window).filter((name) => name.includes(mark)).length, MARK), 0);
    assert.equal(await visit.page.locator('iframe, script, svg').count(), 0, target);
  }
  assert.deepEqual(visit.surprises, []);
  await visit.end({allowed: [NO_ICON]});
});

test('no address leads from the sign-in page to another host, or runs', async () => {
  const visit = await begin();
  // The password is checked elsewhere; here only where one goes afterwards counts.
  const session = JSON.stringify({owes: []});
  await visit.page.route('**/v1/sessions', (route) => route.fulfill({status: 201, contentType: 'application/json', body: session}));
  const own = new URL(serverUrl).origin;
  let refused = 0;
  for (const [index, next] of [...EVIL_PATHS, ...SCRIPTS.filter((one) => /^(java|data)/.test(one))].entries()) {
    const answer = await visit.open(`/sign-in?n=${index}&next=${encodeURIComponent(next)}`);
    if (answer.status() === 400) {
      refused++; // such as control characters
      continue;
    }
    await visit.fillSignIn(clinician);
    await visit.page.waitForURL((url) => url.searchParams.get('n') !== String(index), {waitUntil: 'commit'});
    await visit.page.waitForLoadState();
    assert.equal(new URL(visit.page.url()).origin, own, JSON.stringify(next));
    assert.equal(await visit.page.evaluate((mark) => Object.keys(window).filter((name) => name.includes(mark)).length, MARK), 0, next);
  }
  assert.ok(refused < 10, `${refused} addresses were refused by the server, and nothing is known of them`);
  assert.deepEqual(visit.surprises, []);
  await visit.end({allowed: [/Failed to load resource.*\b(400|404|401)\b/]});
});
