// A real browser on the way to the sign-in provider and back, over two sites.
import assert from 'node:assert/strict';
import {once} from 'node:events';
import net from 'node:net';
import {after, before, test} from 'node:test';
import {Installation} from '../api/lib/installation.mjs';
import {Provider} from '../api/lib/provider.mjs';
import {launch, Visit} from './lib/browser.mjs';

let browser;
let installation;
let provider;

async function freePort() {
  const server = net.createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const {port} = server.address();
  server.close();
  await once(server, 'close');
  return port;
}

async function post(target, json, headers = {}) {
  const response = await fetch(installation.url + target, {
    method: 'POST',
    headers: {'content-type': 'application/json', ...headers},
    body: JSON.stringify(json),
  });
  assert.equal(response.status, 201, `POST ${target}: ${await response.text()}`);
  return response;
}

async function addClinician(username, identity) {
  const account = {username: 'administrator', password: 'seven wet otters'};
  const clinic = await installation.addClinic('Clinic of the browser');
  await installation.addAdministrator(clinic, account.username, account.password);
  const session = await post('/v1/sessions', account);
  const cookie = session.headers.get('set-cookie').split(';')[0];
  const user = {username, display_name: 'Kim', password: 'eight dry badgers', roles: ['clinician'], single_sign_on: identity};
  await post('/v1/users', user, {cookie, origin: installation.url});
}

before(async () => {
  browser = await launch();
  provider = await Provider.start({secret: null, host: 'localhost'}); // another site than 127.0.0.1
  installation = await Installation.create('browser_sign_on');
  const port = await freePort();
  await installation.start(
    provider.settings({
      PENSTOCK_OIDC_NAME: 'Tarn Valley Hospital',
      PENSTOCK_PORT: `${port}`,
      PENSTOCK_PUBLIC_URL: `http://127.0.0.1:${port}`,
    }),
  );
  await addClinician('kim', {issuer: provider.issuer, subject: 'kim-17'});
});

after(async () => {
  await browser?.close();
  await installation?.remove();
  await provider?.stop();
});

test('the button leads to the provider and back to the page that was wanted', async () => {
  const visit = await Visit.begin(browser);
  const {page} = visit;
  await page.goto(`${installation.url}/sign-in?next=${encodeURIComponent('/today?date=2026-01-05')}`);
  await page.waitForSelector('.single-sign-on a');
  assert.equal(await page.textContent('.single-sign-on a'), 'Sign in with Tarn Valley Hospital');
  await visit.assertAccessible('sign-in page with a provider');
  await visit.assertFits('sign-in page with a provider');
  await visit.screenshot('single-sign-on');
  await page.click('.single-sign-on a');
  await page.waitForURL('**/today?date=2026-01-05'); // not the sign-in page: the strict cookie was sent
  await page.waitForSelector('.user-name');
  const cookies = await visit.context.cookies();
  assert.deepEqual(cookies.map(({name, sameSite, httpOnly}) => [name, sameSite, httpOnly]), [
    ['penstock_session', 'Strict', true],
  ]);
  assert.deepEqual(visit.errors, []);
  await visit.context.close();
});

test('a refusal is a page that leads back to signing in', async () => {
  provider.subject = 'nobody-here';
  const visit = await Visit.begin(browser);
  const {page} = visit;
  await page.goto(`${installation.url}/sign-in`);
  await page.click('.single-sign-on a');
  await page.waitForSelector('h1');
  assert.equal(await page.textContent('h1'), 'Not signed in');
  await visit.assertAccessible('refusal of single sign-on');
  await visit.screenshot('single-sign-on-refused');
  await page.click('text=Back to signing in');
  await page.waitForSelector('#password');
  await visit.context.close();
});
