// A browser that reaches nothing but the server under test, and pages that remember what went wrong.
import assert from 'node:assert/strict';
import path from 'node:path';
import {artifacts, demoUser, packageOf, serverUrl} from './environment.mjs';

const {chromium} = packageOf('playwright-core');
const {AxeBuilder} = packageOf('@axe-core/playwright');

// The server under test runs with sanitisers beside other tests, so waits are long; they end as soon as
// what they wait for is there.
const WAIT_MS = 60_000;

export const DESKTOP = {width: 1280, height: 900};
export const PHONE = {width: 390, height: 844};

export function launch() {
  return chromium.launch({
    executablePath: process.env.PENSTOCK_TEST_CHROMIUM ?? '/usr/bin/chromium',
    headless: true,
    chromiumSandbox: false, // the tests may run as root
    args: [
      '--disable-gpu',
      '--disable-dev-shm-usage',
      '--disable-background-networking',
      '--disable-component-update',
      '--no-first-run',
      '--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost',
    ],
  });
}

/** One visitor with one page. `errors` holds console errors, `hosts` every origin that was asked. */
export class Visit {
  static async begin(browser, {viewport = DESKTOP, colorScheme = 'light', storageState} = {}) {
    const visit = new Visit();
    visit.context = await browser.newContext({viewport, colorScheme, storageState, reducedMotion: 'reduce'});
    visit.context.setDefaultTimeout(WAIT_MS);
    visit.name = `${colorScheme}-${viewport.width}`;
    visit.errors = [];
    visit.hosts = new Set();
    visit.traceUrls = [];
    visit.page = await visit.context.newPage();
    visit.page.on('console', (message) => {
      if (message.type() === 'error') visit.errors.push(message.text());
    });
    visit.page.on('pageerror', (error) => visit.errors.push(String(error)));
    visit.context.on('request', (request) => {
      const url = new URL(request.url());
      if (url.protocol !== 'data:') visit.hosts.add(url.origin);
      if (url.pathname.endsWith('/traces')) visit.traceUrls.push(request.url());
    });
    return visit;
  }

  async open(target) {
    return this.page.goto(serverUrl + target);
  }

  /** GET with the page's own session, as JSON. */
  async api(target) {
    const response = await this.context.request.get(serverUrl + target, {headers: {accept: 'application/json'}});
    assert.equal(response.status(), 200, `GET ${target}`);
    return response.json();
  }

  /** Every item of a list. */
  async apiAll(target) {
    const items = [];
    let cursor = null;
    do {
      const join = target.includes('?') ? '&' : '?';
      const page = await this.api(`${target}${join}limit=200${cursor ? `&cursor=${encodeURIComponent(cursor)}` : ''}`);
      items.push(...page.items);
      cursor = page.next_cursor;
    } while (cursor);
    return items;
  }

  async fillSignIn({username, password}) {
    await this.page.fill('#username', username);
    await this.page.fill('#password', password);
    await this.page.click('button[type=submit]');
  }

  async signIn(role = 'clinician') {
    await this.open('/sign-in');
    await this.fillSignIn(demoUser(role));
    await this.page.waitForURL('**/today');
  }

  /** Opens a study and waits until each of its parts is drawn. */
  async openStudy(id) {
    await this.open(`/studies/${id}`);
    await this.page.waitForSelector('main[data-ready]');
    await this.settle();
  }

  /** Two frames: charts draw in the frame after their data changed. */
  async settle() {
    await this.page.evaluate(
      () => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve))),
    );
  }

  async screenshot(name) {
    await this.page.screenshot({path: path.join(artifacts, `${name}-${this.name}.png`), fullPage: true});
  }

  async assertFits(what) {
    const [content, window] = await this.page.evaluate(() => [
      document.documentElement.scrollWidth,
      document.documentElement.clientWidth,
    ]);
    assert.ok(content <= window, `${what} is ${content} px wide in a window of ${window} px (${this.name})`);
  }

  async assertAccessible(what) {
    const {violations} = await new AxeBuilder({page: this.page})
      .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'])
      .analyze();
    const told = violations.map(({id, impact, nodes}) => `${id} (${impact}): ${nodes[0].html.slice(0, 200)}`);
    assert.deepEqual(told, [], `${what} (${this.name})`);
  }

  /** Ends the visit; nothing may have been logged and nobody else asked. */
  async end({allowed = []} = {}) {
    const errors = this.errors.filter((error) => !allowed.some((pattern) => pattern.test(error)));
    await this.context.close();
    assert.deepEqual(errors, [], 'console errors');
    assert.deepEqual([...this.hosts], [new URL(serverUrl).origin], 'origins that were asked');
  }
}

/** What the browser itself logs when a request is refused for want of a session. */
export const REFUSED = /Failed to load resource.*\b401\b/;
