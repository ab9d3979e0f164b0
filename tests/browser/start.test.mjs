// What people see first whose account shows no studies.
import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {launch, PHONE, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';

let browser;
let clinic;
let clinician;

before(async () => {
  browser = await launch();
  clinic = await Clinic.create('Clinic of the start page');
  clinician = await clinic.add('clinician');
});
after(() => browser?.close());

async function openStart(person, options) {
  const visit = await Visit.begin(browser, options);
  const url = new URL((await visit.open('/sign-in')).url());
  const [name, value] = person.cookie.split('=');
  await visit.context.addCookies([{name, value, url: url.origin}]);
  await visit.open('/today');
  await visit.page.waitForSelector('.start-links');
  await visit.page.waitForSelector('.user-name');
  return visit;
}

const linksOf = (visit) => visit.page.$$eval('.start-links a', (nodes) => nodes.map((node) => node.getAttribute('href')));

test('an auditor is led to the audit, and nothing is asked that would be refused', async () => {
  const visit = await openStart(await clinic.add('auditor'));
  assert.deepEqual(await linksOf(visit), ['/audit', '/account']);
  assert.equal(await visit.page.textContent('nav a[aria-current=page]'), 'Start');
  assert.equal(await visit.page.locator('[role=alert], .search, .summaries').count(), 0);
  await visit.page.click('.start-links a[href="/audit"]');
  await visit.page.waitForSelector('#entries table');
  await visit.end();
});

test('an administrator is told where accounts are kept', async () => {
  const visit = await openStart(clinic.administrator);
  assert.deepEqual(await linksOf(visit), ['/account']);
  assert.match(await visit.page.textContent('main'), /Accounts, programs and settings/);
  assert.equal(await visit.page.locator('[role=alert], .summaries').count(), 0);
  await visit.end();
});

test('a referrer reads the summaries of signed studies of referred patients, and no others', async () => {
  const referrer = await clinic.add('referrer');
  const studies = [];
  for (const hour of ['09', '10', '11']) studies.push(await clinician.addStudy(`2026-03-02T${hour}:00:00+01:00`));
  const [own, unsigned, foreign] = studies;
  const empty = await openStart(referrer);
  await empty.page.waitForSelector('.summaries .empty');
  await empty.end();

  for (const {patient_id: patient} of [own, unsigned]) {
    await clinician.ask('POST', `/v1/patients/${patient}/referrals`, {referrer_id: referrer.id});
  }
  const physician = await clinic.add('physician');
  for (const study of [own, foreign]) await physician.sign(study);
  for (const options of [{}, {colorScheme: 'dark', viewport: PHONE}]) {
    const visit = await openStart(referrer, options);
    await visit.page.waitForSelector('.summaries .study-row');
    const shown = await visit.page.$$eval('.study-row', (rows) => rows.map((row) => row.dataset.study));
    assert.deepEqual(shown, [own.id]);
    assert.match(await visit.page.innerText('.study-row'), /Quillfeather/);
    await visit.assertAccessible('start page of a referrer');
    await visit.assertFits('start page of a referrer');
    await visit.screenshot('start');
    await visit.page.click('.study-row a');
    await visit.page.waitForSelector('body.brief .conclusion');
    await visit.end();
  }
});
