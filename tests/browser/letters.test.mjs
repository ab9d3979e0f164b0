// The page of the day's letters: addressed, read, chosen and sent together.
import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {launch, PHONE, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';

let browser;
let clinic;
let physician;
let storageState;
const studies = [];

const DAY = '2026-03-04';
const START = new Date(2026, 2, 4, 9).toISOString(); // the day as the page's own clock has it

const settings = (more = {}) => ({language: 'en', addressee: {name: 'Dr Addressee', ...more}});

async function addressed(study, more) {
  await physician.ask('PUT', `/v1/studies/${study.id}/letter/settings`, settings(more), {'if-match': '"0"'});
}

before(async () => {
  browser = await launch();
  clinic = await Clinic.create('Clinic of letters');
  physician = await clinic.add('physician');
  for (let i = 0; i < 4; i++) {
    const study = await physician.addStudy(START);
    await physician.sign(study);
    studies.push(study);
  }
  await addressed(studies[1]);
  await addressed(studies[2]);
  const visit = await Visit.begin(browser);
  await visit.open('/sign-in');
  await visit.fillSignIn(physician);
  await visit.page.waitForURL('**/today');
  storageState = await visit.context.storageState();
  await visit.end();
});
after(() => browser?.close());

async function openDay(options) {
  const visit = await Visit.begin(browser, {storageState, ...options});
  await visit.open(`/letters?date=${DAY}`);
  await visit.page.waitForSelector('.letter-row');
  return visit;
}

const idsOf = (visit, state) =>
  visit.page.$$eval(`.letter-row[data-state="${state}"]`, (rows) => rows.map((row) => row.dataset.study));

const sorted = (some) => some.map(({id}) => id).sort();

test('letters stand by their state, as the API has them', async () => {
  const visit = await openDay();
  assert.deepEqual((await idsOf(visit, 'to_write')).sort(), sorted([studies[0], studies[3]]));
  assert.deepEqual((await idsOf(visit, 'ready')).sort(), sorted([studies[1], studies[2]]));
  assert.match(await visit.page.textContent('h1'), /Letters of .*4 March 2026/);
  assert.equal(await visit.page.getAttribute('nav a[href="/letters"]', 'aria-current'), 'page');
  await visit.end();
});

test('the page is accessible and fits, light and dark, wide and narrow', async () => {
  for (const colorScheme of ['light', 'dark']) {
    for (const viewport of [undefined, PHONE]) {
      const visit = await openDay({colorScheme, ...(viewport && {viewport})});
      await visit.assertAccessible('letters');
      await visit.assertFits('letters');
      await visit.page.click(`[data-study="${studies[0].id}"] button`);
      await visit.page.waitForSelector('dialog[open] input[name=name]');
      await visit.assertAccessible("a letter's address");
      await visit.assertFits("a letter's address");
      await visit.screenshot('letters');
      await visit.page.keyboard.press('Escape');
      await visit.end();
    }
  }
});

test('a letter is addressed with the keyboard, and is ready then', async () => {
  const visit = await openDay();
  const {page} = visit;
  await page.focus(`[data-study="${studies[0].id}"] button`);
  await page.keyboard.press('Enter');
  await page.waitForSelector('dialog[open] input[name=name]');
  await page.fill('input[name=name]', 'Dr <b>Keys</b>');
  await page.fill('textarea[name=address]', '1 Lane\n\n Town ');
  await page.fill('textarea[name=remarks]', 'Some more words.');
  await page.focus('input[name=name]');
  await page.keyboard.press('Enter');
  await page.waitForSelector(`[data-study="${studies[0].id}"][data-state="ready"]`);
  assert.equal(
    await page.evaluate(() => document.activeElement.closest('[data-study]')?.dataset.study),
    studies[0].id,
    'the focus is where it was',
  );
  const stored = await visit.api(`/v1/studies/${studies[0].id}/letter/settings`);
  assert.deepEqual([stored.addressee.name, stored.addressee.address, stored.remarks], ['Dr <b>Keys</b>', ['1 Lane', 'Town'], 'Some more words.']);
  assert.match(await page.textContent(`[data-study="${studies[0].id}"]`), /to Dr <b>Keys<\/b>/);
  await visit.end();
});

test('a letter is read in a tab of its own', async () => {
  const visit = await openDay();
  const [tab] = await Promise.all([
    visit.context.waitForEvent('page'),
    visit.page.click(`[data-study="${studies[1].id}"] a[target=_blank]`),
  ]);
  await tab.waitForSelector('h1');
  assert.match(await tab.textContent('body'), /Dr Addressee/);
  await tab.close();
  await visit.end();
});

test('letters are chosen and printed together, and what fails says why', async () => {
  const visit = await openDay();
  const {page} = visit;
  await page.click('[data-way=printed]');
  await page.waitForSelector('.notice-info');
  assert.match(await page.textContent('.notice-info'), /Choose at least one/);
  await physician.ask('POST', `/v1/studies/${studies[1].id}/letter/dispatches`, {way: 'printed'});
  await page.check('.letter-tools input');
  assert.match(await page.textContent('.letter-tools [role=status]'), /3 letters chosen/);
  await page.click('[data-way=printed]');
  await page.waitForSelector('.letter-progress a.button-main');
  assert.equal(await page.$eval('.letter-progress progress', (bar) => `${bar.value}/${bar.max}`), '3/3');
  assert.match(await page.textContent('.letter-progress'), /2 letters sent\./);
  assert.match(await page.textContent('.letter-failed'), /Quillfeather, Robin: .*already/);
  await page.waitForFunction(() => document.querySelectorAll('.letter-row[data-state="sent"]').length === 3);
  await visit.assertAccessible('letters that were sent');
  const href = await page.getAttribute('.letter-progress a.button-main', 'href');
  const file = await visit.context.request.get(new URL(href, page.url()).href);
  assert.equal(file.status(), 200);
  assert.equal((await file.body()).subarray(0, 5).toString(), '%PDF-');
  assert.match(await page.textContent(`[data-study="${studies[2].id}"]`), /printed .*, by A physician/);
  await visit.end();
});

test('a page that is loaded again goes on where it was', async () => {
  await addressed(studies[3]);
  const batch = await physician.ask('POST', '/v1/letter-batches', {way: 'post', study_ids: [studies[3].id]});
  const visit = await Visit.begin(browser, {storageState});
  await visit.open(`/letters?date=${DAY}#batch=${batch.id}`);
  await visit.page.waitForFunction(() => /1 letter sent\./.test(document.querySelector('.letter-progress')?.textContent));
  await visit.page.waitForSelector(`[data-study="${studies[3].id}"][data-state="sent"]`);
  assert.equal(new URL(visit.page.url()).hash, '');
  await visit.end();
});

test('a day without letters says so', async () => {
  const visit = await Visit.begin(browser, {storageState});
  await visit.open('/letters?date=1999-12-31');
  await visit.page.waitForSelector('.empty');
  assert.match(await visit.page.textContent('.empty'), /No letters on this day/);
  await visit.assertAccessible('a day without letters');
  await visit.end();
});
