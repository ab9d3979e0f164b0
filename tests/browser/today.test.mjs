import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {launch, PHONE, Visit} from './lib/browser.mjs';

let browser;
let storageState;
let busiest; // {day, studies}: the demo day with the most studies

const dayOf = (study) => new Date(study.started_at).toLocaleDateString('sv-SE'); // YYYY-MM-DD, local

before(async () => {
  browser = await launch();
  const visit = await Visit.begin(browser);
  await visit.signIn();
  storageState = await visit.context.storageState();
  const days = new Map();
  for (const study of await visit.apiAll('/v1/studies')) {
    days.set(dayOf(study), [...(days.get(dayOf(study)) ?? []), study]);
  }
  assert.ok(days.size > 0, 'the demo has studies');
  const [[day, studies]] = [...days].sort(([, one], [, other]) => other.length - one.length);
  busiest = {day, studies};
  await visit.end();
});
after(() => browser?.close());

async function openBusiest(options) {
  const visit = await Visit.begin(browser, {storageState, ...options});
  await visit.open(`/today?date=${busiest.day}`);
  await visit.page.waitForSelector('.study-row');
  await visit.page.waitForFunction(
    (count) => [...document.querySelectorAll('.row-kinds')].filter((one) => one.textContent).length === count,
    busiest.studies.filter((study) => study.recording_count > 0).length,
  );
  return visit;
}

test('every study of a day stands in its room, with who, what and how far', async () => {
  const visit = await openBusiest();
  const rows = await visit.page.$$eval('.study-row', (nodes) =>
    nodes.map((node) => ({
      id: node.dataset.study,
      room: node.closest('.room').querySelector('h2').firstChild.textContent,
      name: node.querySelector('.row-name').textContent,
      mrn: node.querySelector('.row-mrn').textContent,
      status: node.querySelector('.badge').className,
      count: Number.parseInt(node.querySelector('.row-count').textContent, 10) || 0,
    })),
  );
  const byId = (one, other) => one.id.localeCompare(other.id);
  const expected = busiest.studies.map((study) => ({
    id: study.id,
    room: study.room,
    name: study.patient_name,
    mrn: `MRN ${study.patient_mrn}`,
    status: `badge badge-${study.status}`,
    count: study.recording_count,
  }));
  assert.deepEqual(rows.sort(byId), expected.sort(byId));
  await visit.end();
});

test('clinic and user are named', async () => {
  const visit = await openBusiest();
  const session = await visit.api('/v1/sessions/current');
  assert.equal(await visit.page.textContent('.clinic'), session.clinic.name);
  assert.equal(await visit.page.textContent('.user-name'), session.user.display_name);
  await visit.end();
});

test('previous, next and today move through the days', async () => {
  const visit = await openBusiest();
  const day = () => visit.page.inputValue('#day');
  await visit.page.click('button[aria-label="Previous day"]');
  assert.ok((await day()) < busiest.day);
  await visit.page.click('button[aria-label="Next day"]');
  assert.equal(await day(), busiest.day);
  await visit.page.waitForSelector('.study-row');
  await visit.page.click('.day-tools >> text=Today');
  assert.equal(await day(), new Date().toLocaleDateString('sv-SE'));
  await visit.end();
});

test('a day without studies says what to do', async () => {
  const visit = await Visit.begin(browser, {storageState});
  await visit.open('/today?date=1999-12-31');
  await visit.page.waitForSelector('.day-list .empty');
  assert.match(await visit.page.textContent('.day-list .empty'), /Choose another day/);
  await visit.assertAccessible('empty day');
  await visit.end();
});

test('a patient is found by name and by record number, and their studies open', async () => {
  const visit = await openBusiest();
  const [study] = busiest.studies;
  for (const what of [study.patient_name.split(',')[0], study.patient_mrn]) {
    await visit.page.fill('#search', what);
    await visit.page.press('#search', 'Enter');
    await visit.page.waitForSelector(`[data-patient="${study.patient_id}"]`);
    assert.match(await visit.page.textContent(`[data-patient="${study.patient_id}"]`), new RegExp(study.patient_mrn));
  }
  await visit.page.click(`[data-patient="${study.patient_id}"] button`);
  await visit.page.waitForSelector(`[data-patient="${study.patient_id}"] [data-study="${study.id}"]`);
  await visit.assertAccessible('search results');
  await visit.page.click(`[data-patient="${study.patient_id}"] [data-study="${study.id}"] a`);
  await visit.page.waitForURL(`**/studies/${study.id}`);
  await visit.end();
});

test('a search without a match says what to try', async () => {
  const visit = await openBusiest();
  await visit.page.fill('#search', 'Nobodyofthatname');
  await visit.page.press('#search', 'Enter');
  await visit.page.waitForSelector('.search-results .empty');
  assert.match(await visit.page.textContent('.search-results .empty'), /Check the spelling/);
  await visit.end();
});

test('the day list is accessible and fits in light and dark, wide and narrow', async () => {
  for (const colorScheme of ['light', 'dark']) {
    for (const viewport of [undefined, PHONE]) {
      const visit = await openBusiest({colorScheme, viewport});
      await visit.assertAccessible('day list');
      await visit.assertFits('day list');
      await visit.screenshot('today');
      await visit.end();
    }
  }
});
