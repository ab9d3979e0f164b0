import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {launch, PHONE, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';

const REASON = 'unconscious on the ward';

let browser;
let auditor;
let clinic;
let clinician;
let doctor;
let patient;

before(async () => {
  browser = await launch();
  clinic = await Clinic.create('Clinic that is audited');
  clinician = await clinic.add('clinician');
  doctor = await clinic.add('referrer');
  auditor = await clinic.add('auditor');
  const study = await clinician.addStudy('2026-03-02T09:00:00+01:00');
  patient = await clinician.ask('GET', `/v1/patients/${study.patient_id}`);
  const {mrn, birth_date} = patient;
  await doctor.ask('POST', '/v1/emergency-access', {mrn, birth_date, reason: REASON});
});
after(() => browser?.close());

async function openAudit(options = {}) {
  const visit = await Visit.begin(browser, options);
  const url = new URL((await visit.open('/sign-in')).url());
  const [name, value] = auditor.cookie.split('=');
  await visit.context.addCookies([{name, value, url: url.origin}]);
  await visit.open('/audit');
  await visit.page.waitForSelector('#entries table');
  await visit.page.waitForSelector('#emergencies table');
  return visit;
}

const cells = (visit, place) =>
  visit.page.$$eval(`${place} tbody tr`, (rows) => rows.map((row) => [...row.children].map((cell) => cell.textContent.trim())));

test('emergency accesses stand first, with who and why', async () => {
  const visit = await openAudit();
  const headings = await visit.page.$$eval('main h2', (nodes) => nodes.map((node) => node.textContent));
  assert.equal(headings[0], 'Emergency access');
  const [[, who, what, whom, outcome, reason]] = await cells(visit, '#emergencies');
  assert.ok(who.startsWith(doctor.username), who);
  assert.deepEqual([what, whom, outcome, reason], ['create emergency access', patient.id, 'done emergency', REASON]);
  assert.equal(await visit.page.textContent('nav a[aria-current=page]'), 'Audit');
  await visit.end();
});

test('a record number shows who has looked', async () => {
  const visit = await openAudit();
  await visit.page.fill('#mrn', patient.mrn);
  await visit.page.press('#mrn', 'Enter');
  await visit.page.waitForSelector('#lookers table');
  const rows = await cells(visit, '#lookers');
  const of = (person) => rows.find(([, who]) => who.startsWith(person.username));
  assert.match(of(clinician)[2], /create patients, create studies, read patients/);
  assert.match(of(doctor)[2], /create emergency access emergency/);
  assert.ok(!(await visit.page.textContent('main')).includes(patient.family_name));

  await visit.page.fill('#mrn', 'none such');
  await visit.page.press('#mrn', 'Enter');
  await visit.page.waitForSelector('#lookers [role=alert]');
  assert.match(await visit.page.textContent('#lookers'), /no patient with this record number/);
  await visit.end({allowed: [/\b422\b/]});
});

test('entries are filtered, and older ones follow', async () => {
  const visit = await openAudit();
  await visit.page.selectOption('#resource', 'session');
  await visit.page.selectOption('#outcome', 'done');
  await visit.page.click('section[aria-labelledby=audit-entries] button[type=submit]');
  await visit.page.waitForFunction(() => {
    const found = [...document.querySelectorAll('#entries tbody tr')];
    return found.length > 0 && found.every((row) => row.children[2].textContent.includes('sign-in'));
  });
  const rows = await cells(visit, '#entries');
  assert.deepEqual(rows.map(([, , what, , outcome]) => [what, outcome]), rows.map(() => ['create sign-in', 'done']));
  const all = [clinic.administrator, clinician, doctor, auditor].map(({username}) => username);
  assert.deepEqual(rows.map(([, who]) => who.split(' ')[0]).sort(), all.sort());

  for (let i = 0; i < 60; i++) await auditor.ask('GET', '/v1/audit?limit=1');
  await visit.page.selectOption('#resource', '');
  await visit.page.click('section[aria-labelledby=audit-entries] button[type=submit]');
  await visit.page.waitForFunction(() => document.querySelectorAll('#entries tbody tr').length === 50);
  await visit.page.click('#entries button');
  await visit.page.waitForFunction(() => document.querySelector('#entries table') && document.querySelectorAll('#entries tbody tr').length < 50);
  await visit.end();
});

test('every table says what it is, and which cells are heads', async () => {
  const visit = await openAudit();
  const tables = await visit.page.$$eval('table', (nodes) =>
    nodes.map((node) => ({
      caption: node.caption?.textContent ?? '',
      columns: [...node.tHead.rows[0].cells].every((cell) => cell.tagName === 'TH' && cell.scope === 'col'),
      rows: [...node.tBodies[0].rows].every((row) => row.cells[0].tagName === 'TH' && row.cells[0].scope === 'row'),
    })),
  );
  assert.equal(tables.length, 2);
  for (const {caption, columns, rows} of tables) assert.ok(caption.length > 10 && columns && rows, caption);
  await visit.end();
});

test('the audit is accessible and fits in light and dark, wide and narrow', async () => {
  for (const colorScheme of ['light', 'dark']) {
    for (const viewport of [undefined, PHONE]) {
      const visit = await openAudit({colorScheme, viewport});
      await visit.page.fill('#mrn', patient.mrn);
      await visit.page.press('#mrn', 'Enter');
      await visit.page.waitForSelector('#lookers table');
      await visit.assertAccessible('audit');
      await visit.assertFits('audit');
      await visit.screenshot('audit');
      await visit.end();
    }
  }
});
