import assert from 'node:assert/strict';
import {after, before, test} from 'node:test';
import {launch, PHONE, REFUSED, Visit} from './lib/browser.mjs';
import {demoUser, serverUrl} from './lib/environment.mjs';

let browser;
before(async () => {
  browser = await launch();
});
after(() => browser?.close());

test('a wrong password says so, keeps the user name and lets one try again', async () => {
  const visit = await Visit.begin(browser);
  const user = demoUser('clinician');
  await visit.open('/sign-in');
  await visit.fillSignIn({...user, password: `${user.password}x`});
  await visit.page.waitForSelector('[role=alert] .notice-error');
  assert.match(await visit.page.textContent('[role=alert]'), /wrong/);
  assert.equal(await visit.page.inputValue('#username'), user.username);
  assert.equal(await visit.page.inputValue('#password'), '');
  await visit.assertAccessible('sign-in page with an error');
  await visit.fillSignIn(user);
  await visit.page.waitForURL('**/today');
  await visit.end({allowed: [REFUSED]});
});

test('empty fields are named without asking the server', async () => {
  const visit = await Visit.begin(browser);
  await visit.open('/sign-in');
  await visit.page.click('button[type=submit]');
  await visit.page.waitForSelector('[role=alert] .notice-error');
  assert.match(await visit.page.textContent('[role=alert]'), /user name/);
  await visit.end();
});

test('a server that does not answer is told apart from a wrong password', async () => {
  const visit = await Visit.begin(browser);
  await visit.open('/sign-in');
  await visit.page.route('**/v1/sessions', (route) => route.abort('connectionrefused'));
  await visit.fillSignIn(demoUser('clinician'));
  await visit.page.waitForSelector('[role=alert] .notice-error');
  assert.match(await visit.page.textContent('[role=alert]'), /does not answer/);
  await visit.end({allowed: [/Failed to load resource: net::ERR_CONNECTION_REFUSED/]});
});

test('too many attempts say how long to wait', async () => {
  const visit = await Visit.begin(browser);
  await visit.open('/sign-in');
  await visit.page.route('**/v1/sessions', (route) =>
    route.fulfill({status: 429, headers: {'Retry-After': '30'}, contentType: 'application/problem+json', body: '{}'}),
  );
  await visit.fillSignIn(demoUser('clinician'));
  await visit.page.waitForSelector('[role=alert] .notice-error');
  assert.match(await visit.page.textContent('[role=alert]'), /30 seconds/);
  await visit.end({allowed: [/Failed to load resource.*\b429\b/]});
});

test('a page without a session leads to the sign-in page and back', async () => {
  const visit = await Visit.begin(browser);
  await visit.open('/today?date=2026-01-05');
  assert.equal(new URL(visit.page.url()).pathname, '/sign-in');
  await visit.fillSignIn(demoUser('clinician'));
  await visit.page.waitForURL('**/today?date=2026-01-05');
  await visit.end();
});

test('an expired session leads to the sign-in page and back to the same day', async () => {
  const visit = await Visit.begin(browser);
  await visit.signIn();
  await visit.open('/today?date=2026-01-05');
  await visit.page.waitForSelector('.day-list .empty, .day-list .room');
  await visit.context.clearCookies();
  await visit.page.click('button[aria-label="Next day"]');
  await visit.page.waitForURL('**/sign-in?*');
  await visit.page.waitForSelector('.notice-info');
  await visit.fillSignIn(demoUser('clinician'));
  await visit.page.waitForURL('**/today?date=2026-01-06');
  await visit.end({allowed: [REFUSED]});
});

test('nobody is led to another host after signing in', async () => {
  const visit = await Visit.begin(browser);
  for (const next of ['//example.org/', 'https://example.org/', '/\\example.org', '/.//example.org/x', 'javascript:alert(1)']) {
    await visit.open(`/sign-in?next=${encodeURIComponent(next)}`);
    await visit.fillSignIn(demoUser('clinician'));
    await visit.page.waitForURL('**/today');
    assert.equal(new URL(visit.page.url()).origin, new URL(serverUrl).origin);
  }
  await visit.end();
});

test('signing out ends the session, and the browser does not show the list again', async () => {
  const visit = await Visit.begin(browser);
  await visit.signIn();
  await visit.page.waitForSelector('.user-name');
  await visit.page.click('text=Sign out');
  await visit.page.waitForURL('**/sign-in');
  const answer = await visit.context.request.get(`${serverUrl}/v1/sessions/current`);
  assert.equal(answer.status(), 401);
  await visit.page.goBack();
  await visit.page.waitForURL('**/sign-in*');
  await visit.end({allowed: [REFUSED]});
});

test('the sign-in page is accessible and fits in light and dark, wide and narrow', async () => {
  for (const colorScheme of ['light', 'dark']) {
    for (const viewport of [undefined, PHONE]) {
      const visit = await Visit.begin(browser, {colorScheme, viewport});
      await visit.open('/sign-in');
      await visit.page.waitForSelector('#password');
      await visit.assertAccessible('sign-in page');
      await visit.assertFits('sign-in page');
      await visit.screenshot('sign-in');
      await visit.end();
    }
  }
});
