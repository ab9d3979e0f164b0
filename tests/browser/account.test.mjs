// A person's own account in the browser: password, second factor, sessions.
import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {codeOf, startOfStep} from '../api/lib/second_factor.mjs';
import {launch, PHONE, REFUSED, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';
import {serverUrl} from './lib/environment.mjs';

const OTHER = 'eight dry badgers';
const UNPROCESSABLE = /Failed to load resource.*\b422\b/;

let browser;
let clinic;
before(async () => {
  browser = await launch();
  clinic = await Clinic.create('Clinic of the browsers');
});
after(() => browser?.close());

async function signedIn(account, options) {
  const visit = await Visit.begin(browser, options);
  await visit.open('/sign-in');
  await visit.fillSignIn(account);
  await visit.page.waitForURL(/\/(today|account)$/);
  return visit;
}

async function openAccount(visit) {
  await visit.open('/account');
  await visit.page.waitForSelector('main[data-ready]');
}

async function fillPassword(page, current, chosen, repeated = chosen) {
  await page.fill('#current_password', current);
  await page.fill('#new_password', chosen);
  await page.fill('#repeat_password', repeated);
  await page.click('#password-form button[type=submit]');
}

const said = (page, selector = '#password-form [role=alert]') =>
  page.waitForFunction((where) => document.querySelector(where)?.textContent || null, selector).then((text) => text.jsonValue());

test('the password is changed, and what may not be is explained', async () => {
  const account = await clinic.addAccount('clinician');
  const visit = await signedIn(account);
  await visit.page.click('a.user-name');
  await visit.page.waitForSelector('main[data-ready]');
  await visit.assertAccessible('account page');
  const {page} = visit;
  await fillPassword(page, account.password, OTHER, `${OTHER}x`);
  assert.match(await said(page), /same way twice/);
  await fillPassword(page, 'not my password at all', OTHER);
  await page.waitForFunction(() => /not your current/.test(document.querySelector('#password-form').textContent));
  await fillPassword(page, account.password, 'Password-2026-07');
  await page.waitForFunction(() => /common words/.test(document.querySelector('#password-form').textContent));
  await visit.assertAccessible('account page with an error');
  await fillPassword(page, account.password, OTHER);
  await page.waitForFunction(() => /is changed/.test(document.querySelector('#password-form').textContent));
  assert.equal(await page.inputValue('#new_password'), '');
  await page.reload();
  await page.waitForSelector('main[data-ready]');
  await visit.end({allowed: [UNPROCESSABLE]});
  const again = await signedIn({...account, password: OTHER});
  await again.end();
});

test('a password that somebody else chose leads to its change, and then to the day list', async () => {
  const account = await clinic.addAccount('clinician', {password_is_temporary: true});
  const visit = await signedIn(account);
  const {page} = visit;
  assert.equal(new URL(page.url()).pathname, '/account');
  await page.waitForSelector('main[data-ready]');
  assert.match(await page.textContent('main'), /Somebody else has chosen/);
  assert.equal(await page.isVisible('#factor'), false);
  await visit.open('/today');
  await page.waitForURL('**/account');
  await page.waitForSelector('main[data-ready]');
  await fillPassword(page, account.password, OTHER);
  await page.click('main a[href="/today"]');
  await page.waitForURL('**/today');
  await visit.end({allowed: [/Failed to load resource.*\b403\b/]});
});

test('a second factor is set up, asked for, and removed', async () => {
  const account = await clinic.addAccount('physician');
  const visit = await signedIn(account);
  const {page} = visit;
  await openAccount(visit);
  await page.click('#factor .actions button');
  await page.fill('#proof_password', account.password);
  await page.click('dialog button[type=submit]');
  await page.waitForSelector('dialog svg.qr');
  await visit.assertAccessible('the dialog with the QR code');
  const [secret, uri] = await page.locator('dialog code').allTextContents();
  assert.ok(uri.includes(`secret=${secret}&`));
  await startOfStep(20_000);
  await page.fill('#proof_code', '000000' === codeOf(secret) ? '000001' : '000000');
  await page.click('dialog button[type=submit]');
  await page.waitForFunction(() => /not the code of now/.test(document.querySelector('dialog').textContent));
  await page.fill('#proof_code', codeOf(secret, -1));
  await page.click('dialog button[type=submit]');
  await page.waitForSelector('.recovery-codes');
  const codes = await page.locator('.recovery-codes code').allTextContents();
  assert.equal(codes.length, 10);
  await visit.assertAccessible('the dialog with the recovery codes');
  await page.click('dialog button[type=submit]');
  await page.waitForFunction(() => /On since/.test(document.querySelector('#factor').textContent));
  await visit.end({allowed: [UNPROCESSABLE]});

  const next = await Visit.begin(browser);
  await next.open('/sign-in');
  await next.fillSignIn(account);
  await next.page.waitForSelector('#code:visible');
  assert.equal(await next.page.inputValue('#password'), account.password, 'what was right stays');
  await next.assertAccessible('sign-in page with the code');
  await next.page.fill('#code', codeOf(secret, -1)); // used for the confirmation
  await next.page.click('button[type=submit]');
  await next.page.waitForFunction(() => /used before/.test(document.querySelector('[role=alert]').textContent));
  await startOfStep();
  await next.page.fill('#code', codeOf(secret));
  await next.page.click('button[type=submit]');
  await next.page.waitForURL('**/today');
  await openAccount(next);
  await next.page.click('#factor .actions button:nth-child(2)');
  await next.page.fill('#proof_password', account.password);
  await next.page.fill('#proof_code', codes[0]);
  await next.page.click('dialog button[type=submit]');
  await next.page.waitForFunction(() => /Off\./.test(document.querySelector('#factor').textContent));
  await next.end({allowed: [REFUSED]});
});

test('other sessions are seen and ended, on a phone too', async () => {
  const account = await clinic.addAccount('clinician');
  await account.signIn();
  const other = await clinic.addAccount('clinician');
  await other.signIn();
  const visit = await signedIn(account, {viewport: PHONE, colorScheme: 'dark'});
  const {page} = visit;
  await openAccount(visit);
  await visit.assertFits('account page');
  await visit.assertAccessible('account page on a phone');
  assert.equal(await page.locator('.sessions tbody tr').count(), 2);
  await page.click('.sessions tbody button');
  await page.waitForFunction(() => document.querySelectorAll('.sessions tbody tr').length === 1);
  const response = await fetch(`${serverUrl}/v1/sessions/current`, {headers: {cookie: account.cookie}});
  assert.equal(response.status, 401);
  await other.ask('GET', '/v1/sessions/current');
  await visit.screenshot('account');
  await visit.end();
});
