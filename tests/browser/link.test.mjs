// What a referring physician sees on a telephone: the page behind a link, the report behind it, and the way
// from a code on paper to the sign-in and back.
import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {signWith} from '../api/lib/signed.mjs';
import {uroflowmetry} from '../api/lib/recordings.mjs';
import {DESKTOP, launch, PHONE, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';
import {ownerDatabase, serverUrl} from './lib/environment.mjs';

const PDF = Buffer.from('%PDF-1.7\n% the file that was signed\n');
const EVIL = '</bdi></li></section><script>window.__pwn=1</script><img src=x onerror="window.__pwn=1">';
const ANSWER = {
  symptoms_reproduced: 'partly',
  findings: [{text: 'Slow, long flow; the bladder does not empty.'}, {text: 'The patient strained throughout.'}],
  diagnoses: [{text: 'Suspected bladder outlet obstruction'}],
  conclusion:
    'Slow flow and a large residual after a free void. This fits an obstruction of the outlet, which only a ' +
    'pressure-flow study can prove.',
  plan: [
    {text: 'Please refer back for a pressure-flow study within six weeks.'},
    {text: 'Stop the antimuscarinic until then.'},
    {text: 'Send at once if the patient cannot void.'},
  ],
};

let browser;
let clinic;
let clinician;
let referrer;

before(async () => {
  browser = await launch();
  clinic = await Clinic.create('Clinic of the links, with a rather long name');
  clinician = await clinic.add('clinician');
  referrer = await clinic.addAccount('referrer');
});
after(() => browser?.close());

const database = () => /dbname=(\S+)/.exec(ownerDatabase())[1];
const sign = (study, fields = {}) => signWith(database(), study.id, {interpretation: ANSWER, report: PDF, ...fields});

async function signedStudy(fields = {}) {
  const study = await clinician.addStudy('2026-03-02T09:00:00+01:00');
  await clinician.ask('POST', `/v1/studies/${study.id}/recordings`, uroflowmetry().document);
  await sign(study, fields);
  return study;
}

const makeLink = (study) => clinician.ask('POST', `/v1/studies/${study.id}/links`, {purpose: 'summary'});

/** Top edges of what the selectors name, in the window. */
const topsOf = (visit, selectors) =>
  visit.page.evaluate((all) => all.map((one) => document.querySelector(one).getBoundingClientRect().top), selectors);

test('the page behind a link says first what was found and what to do', async () => {
  const study = await signedStudy();
  await sign(study, {
    signer: 'Dr Jo Fenn',
    reason: 'The residual had been typed in wrongly.',
  });
  const {url} = await makeLink(study);
  const [recording] = (await clinician.ask('GET', `/v1/studies/${study.id}/recordings`)).items;
  const analysis = await clinician.ask('GET', `/v1/recordings/${recording.id}/analysis`);
  for (const options of [
    {viewport: PHONE},
    {viewport: PHONE, colorScheme: 'dark'},
    {viewport: {width: 320, height: 640}},
    {viewport: DESKTOP},
  ]) {
    const visit = await Visit.begin(browser, options);
    await visit.open(url);
    const text = await visit.page.innerText('body');
    for (const words of [ANSWER.conclusion, ...ANSWER.diagnoses.map((one) => one.text), ...ANSWER.plan.map((one) => one.text)]) {
      assert.ok(text.includes(words), words);
    }
    assert.match(text, /Signed again by Dr Jo Fenn, physician, \d{4}-\d{2}-\d{2} \d{2}:\d{2} UTC/);
    assert.match(text, /The residual had been typed in wrongly\./);
    assert.match(text, /Quillfeather, Robin/);
    const tops = await topsOf(visit, ['.who', '.conclusion', '.diagnoses', '.plan', '.status-banner', '.keys', '.cautions', '.documents']);
    assert.deepEqual(tops, [...tops].sort((one, next) => one - next));
    if (options.viewport === PHONE) assert.ok(tops[1] < PHONE.height / 2, `the conclusion begins at ${tops[1]} px`);
    const shown = await visit.page.$$eval('.keys [data-code]', (nodes) =>
      nodes.map((node) => [node.dataset.code, Number(node.querySelector('.value').textContent)]),
    );
    const numbers = new Map(shown);
    const {qmax, voided_volume: volume} = analysis.sections.uroflow;
    assert.ok(Math.abs(numbers.get('uroflow.qmax') - qmax.value) <= 0.5);
    assert.ok(Math.abs(numbers.get('uroflow.voided_volume') - volume.value) <= 5);
    assert.ok(shown.length <= 6);
    await visit.assertFits('the page behind a link');
    await visit.assertAccessible('the page behind a link');
    await visit.screenshot('link');
    await visit.end();
  }
});

test('the report is one touch away, and the way leads to what was signed', async () => {
  const {url} = await makeLink(await signedStudy());
  const visit = await Visit.begin(browser, {viewport: PHONE});
  await visit.open(url);
  const heights = await visit.page.$$eval('.documents a', (nodes) => nodes.map((node) => node.getBoundingClientRect().height));
  assert.ok(heights.length === 2 && heights.every((height) => height >= 44), `${heights} px are enough for a thumb`);
  const href = await visit.page.getAttribute('.documents a[type="application/pdf"]', 'href');
  const file = await visit.context.request.get(serverUrl + href);
  assert.ok((await file.body()).equals(PDF));
  await visit.page.click('.documents a[type="text/html"]');
  await visit.page.waitForURL('**/report?form=html');
  assert.match(await visit.page.innerText('body'), /Quillfeather/);
  await visit.assertFits('the report behind a link');
  await visit.end({allowed: [/404/]});
});

test('hostile words stay words', async () => {
  const hostile = {...ANSWER, conclusion: EVIL, plan: [{text: EVIL}], findings: [{text: EVIL}], diagnoses: [{text: EVIL}]};
  const {url} = await makeLink(await signedStudy({interpretation: hostile, signer: EVIL.slice(0, 90)}));
  const visit = await Visit.begin(browser, {viewport: PHONE});
  await visit.open(url);
  assert.equal(await visit.page.evaluate(() => window.__pwn), undefined);
  assert.equal(await visit.page.locator('script, img, body > section').count(), 0);
  assert.equal(await visit.page.innerText('.conclusion'), EVIL);
  await visit.assertFits('hostile words');
  await visit.end();
});

test('a link that is over says so, and nothing else', async () => {
  const link = await makeLink(await signedStudy());
  await clinician.ask('DELETE', `/v1/links/${link.id}`);
  const visit = await Visit.begin(browser, {viewport: PHONE, colorScheme: 'dark'});
  await visit.open(link.url);
  assert.equal(await visit.page.innerText('h1'), 'This link does not work');
  assert.ok(!(await visit.page.innerText('body')).includes('Quillfeather'));
  await visit.assertFits('a link that is over');
  await visit.assertAccessible('a link that is over');
  await visit.screenshot('link-over');
  await visit.end({allowed: [/\b404\b/]});
});

test('a code on paper leads through the sign-in to the study, or to the brief', async () => {
  const study = await signedStudy();
  const link = await makeLink(study);
  await clinician.ask('POST', `/v1/patients/${study.patient_id}/referrals`, {referrer_id: referrer.id});
  for (const [person, page, ready] of [
    [clinician, `/studies/${study.id}`, 'main[data-ready]'],
    [referrer, `/referred/${study.id}`, 'body.brief .conclusion'],
  ]) {
    const visit = await Visit.begin(browser, {viewport: PHONE});
    await visit.open(`/r/${link.id}`);
    await visit.page.waitForURL('**/sign-in?next=*');
    await visit.fillSignIn(person);
    await visit.page.waitForURL(`**${page}`);
    await visit.page.waitForSelector(ready);
    await visit.open(`/r/${study.id}`);
    await visit.page.waitForURL(`**${page}`);
    await visit.end({allowed: [/\b401\b/]});
  }
});

test('the way back after the sign-in is a path of this server only', async () => {
  for (const next of ['//evil.example/r/1', 'https://evil.example', '/\\evil.example', '/r/..//evil.example', '/%09/evil.example']) {
    const visit = await Visit.begin(browser, {viewport: PHONE});
    await visit.open(`/sign-in?next=${encodeURIComponent(next)}`);
    await visit.fillSignIn(referrer);
    await visit.page.waitForURL((url) => url.pathname !== '/sign-in');
    assert.equal(new URL(visit.page.url()).origin, new URL(serverUrl).origin, next);
    await visit.end({allowed: [/\b40[014]\b/]});
  }
});
