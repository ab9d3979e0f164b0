// Two people at one recording: a room that sends it piece by piece, and a clinician who watches it run.
import assert from 'node:assert/strict';
import {after, before, describe, test} from 'node:test';
import {launch, Visit} from './lib/browser.mjs';
import {Clinic} from './lib/clinic.mjs';
import {PIECE_S, RoomRecording, SIGNALS} from './lib/room.mjs';

const STARTED_AT = '2026-03-02T09:30:00+01:00';
const DAY = '2026-03-02';
const SEND_EVERY_MS = 300;
const TABLET = {width: 768, height: 1024};

/** What the browser itself logs when a request meets no network. */
const OFFLINE = /ERR_INTERNET_DISCONNECTED/;
/** What it logs when the room withdraws the recording, or completes it just as its numbers so far are asked for. */
const GONE = /Failed to load resource.*\b410\b/;
const COMPLETE = /Failed to load resource.*\b409\b/;

let browser;
let room;
let clinician;
let sessions; // the clinician's, and the room's
let silent; // {study, recording}: open since before(), and its room says nothing more
let abandoned; // another such one, with a piece missing

const pause = (milliseconds) => new Promise((resolve) => setTimeout(resolve, milliseconds));

async function sessionOf(person) {
  const visit = await Visit.begin(browser);
  await visit.open('/sign-in');
  await visit.fillSignIn(person);
  await visit.page.waitForURL('**/today');
  const state = await visit.context.storageState();
  await visit.end();
  return state;
}

before(async () => {
  browser = await launch();
  const clinic = await Clinic.create('Clinic that watches');
  room = await clinic.add('room');
  clinician = await clinic.add('clinician');
  silent = await openRecording();
  abandoned = await openRecording();
  await silent.recording.send(0);
  for (const number of [0, 1, 3]) await abandoned.recording.send(number);
  sessions = {room: await sessionOf(room), clinician: await sessionOf(clinician)};
});
after(() => browser?.close());

const begin = (options) => Visit.begin(browser, {storageState: sessions.clinician, ...options});
const within = (recording, rest) => `[data-recording="${recording.id}"] ${rest}`;

async function openRecording() {
  const study = await room.addStudy(STARTED_AT);
  return {study, recording: await RoomRecording.open(room, study)};
}

/** What a signal's plot is drawn from: [times, values]. */
const drawn = (visit, recording, signal) =>
  visit.page.$eval(within(recording, `[data-signal="${signal}"] .strip-plot`), ({plot}) => plot.data.map((column) => [...column]));

/** Waits until a plot is drawn up to a moment. */
const waitUntilDrawn = (visit, recording, untilS) =>
  visit.page.waitForFunction(
    ([selector, until]) => document.querySelector(selector)?.plot?.data[0].at(-1) >= until - 0.15,
    [within(recording, '[data-signal="pves"] .strip-plot'), untilS],
    {polling: 25},
  );

async function checkDrawn(visit, recording, what) {
  await visit.settle();
  for (const signal of SIGNALS) {
    const [times, values] = await drawn(visit, recording, signal);
    assert.deepEqual(values, recording.expected(signal), `${what}: ${signal}, every sample once, and gaps where nothing came`);
    times.forEach((time, index) => assert.ok(Math.abs(time - index / 10) < 1e-9, `${what}: place of sample ${index}`));
  }
  const [, pdet] = await drawn(visit, recording, 'pdet');
  const pabd = recording.expected('pabd');
  recording.expected('pves').forEach((pves, index) => {
    if (pves === null) assert.equal(pdet[index], null);
    else assert.ok(Math.abs(pdet[index] - (pves - pabd[index])) < 1e-9, `${what}: pdet at ${index}`);
  });
}

/** Sends pieces on the beat; how long each took from the room's sending until it was drawn. */
async function sendWatched(visit, recording, numbers) {
  const delays = [];
  for (const number of numbers) {
    const begun = Date.now();
    await recording.send(number, number === 4 ? [{at_s: number * PIECE_S, code: 'cough'}] : []);
    await waitUntilDrawn(visit, recording, (number + 1) * PIECE_S);
    delays.push(Date.now() - begun);
    await pause(Math.max(0, SEND_EVERY_MS - (Date.now() - begun)));
  }
  return delays.sort((one, other) => one - other);
}

async function sendBlind(recording, numbers) {
  for (const number of numbers) {
    await recording.send(number);
    await pause(SEND_EVERY_MS);
  }
}

// They wait more than they work, so two at a time.
describe('a running recording', {concurrency: 2}, () => {
  test('a recording is watched while it runs, through a lost connection and a silent room, until it is complete', async (t) => {
    const visit = await begin();
    const {study, recording} = await openRecording();
    await recording.send(0, [{at_s: 1, code: 'filling_start'}]);
    await recording.send(1);
    let readings = 0; // of the numbers so far
    visit.page.on('request', (request) => {
      if (request.url().endsWith('/live/analysis')) readings++;
    });
    await visit.openStudy(study.id);
    await visit.page.evaluate(() => {
      window.loadedOnce = true;
    });
    assert.match(await visit.page.textContent(within(recording, '.live-mark')), /Recording now/);

    // what comes is drawn at once
    const delays = await sendWatched(visit, recording, [2, 3, 4, 5, 6, 7, 8, 9]);
    const middle = delays[Math.floor(delays.length / 2)];
    t.diagnostic(`drawn ${delays[0]} to ${delays.at(-1)} ms after being sent`);
    assert.ok(middle < 2000, `half of the pieces were drawn within ${middle} ms of being sent`);
    await checkDrawn(visit, recording, 'watched');
    const listed = await visit.page.$$eval(within(recording, '.event-name'), (nodes) => nodes.map((node) => node.textContent));
    assert.deepEqual(listed, ['Filling starts', 'Cough']);

    // numbers so far, marked as what they are
    await visit.page.waitForSelector(within(recording, '.so-far[data-until-s] .so-far-quality .quality'));
    assert.match(await visit.page.textContent(within(recording, '.so-far-head')), /So far.*Provisional, unsigned.*from the first 0:\d\d/);
    const analysis = await visit.api(`/v1/recordings/${recording.id}/live/analysis`);
    assert.equal(analysis.status, 'partial');

    // a piece that overtakes another, and one that never comes
    await sendBlind(recording, [11, 10, 13]);
    await waitUntilDrawn(visit, recording, 14 * PIECE_S);
    await checkDrawn(visit, recording, 'with a gap');

    // the browser loses its connection, the room does not
    await visit.context.setOffline(true);
    await visit.page.waitForSelector(within(recording, '.notice-error'));
    assert.match(await visit.page.textContent(within(recording, '.notice-error')), /No connection to the server for \d+ s/);
    await sendBlind(recording, [14, 15, 16, 17]);
    await visit.context.setOffline(false);
    await waitUntilDrawn(visit, recording, 18 * PIECE_S);
    assert.equal(await visit.page.locator(within(recording, '.notice-error')).count(), 0);
    await checkDrawn(visit, recording, 'after a lost connection');
    assert.equal(await visit.page.locator(within(recording, '.event-list li')).count(), 2, 'no event twice');

    // the axis follows, until somebody moves it
    await visit.page.click(within(recording, 'button:text("Last minute")'));
    const span = () => visit.page.$eval(within(recording, '.strip-plot'), ({plot}) => [plot.scales.x.min, plot.scales.x.max]);
    await sendBlind(recording, [18, 19, 20, 21]);
    await waitUntilDrawn(visit, recording, 22 * PIECE_S);
    await visit.settle();
    assert.deepEqual((await span()).map(Math.round), [10, 70], 'with little motion the axis moves by ten seconds');
    await visit.page.click(within(recording, 'button[aria-label="Zoom in"]'));
    await visit.page.waitForSelector(within(recording, 'button:text-is("Follow")'));
    const held = await span();
    await recording.send(22);
    await waitUntilDrawn(visit, recording, 22 * PIECE_S);
    await pause(600);
    assert.deepEqual(await span(), held, 'nobody moves the axis who was told to leave it');

    await visit.page.waitForSelector(within(recording, `.so-far[data-until-s="${23 * PIECE_S}"]`));
    const enough = readings;

    // the room goes silent, which is counted up and said aloud once
    await visit.page.waitForSelector(within(recording, '.notice-caution'));
    const counted = await visit.page.textContent(within(recording, '.notice-caution'));
    assert.match(counted, /Nothing has come from the room for 1\d s\. The recording stays open/);
    await visit.page.waitForFunction(
      ([selector, before]) => document.querySelector(selector).textContent !== before,
      [within(recording, '.notice-caution'), counted],
    );
    assert.match(await visit.page.textContent('main > [aria-live=polite]'), /Nothing comes from the room at present/);

    assert.equal(readings, enough, 'no numbers are read when nothing new comes');
    const begun = await visit.page.evaluate(() =>
      performance
        .getEntriesByType('resource')
        .filter(({name}) => name.endsWith('/live/analysis'))
        .map(({startTime}) => startTime),
    ); // by the page's clock: this process may be late to hear of a request
    assert.ok(begun.length > 1, `${begun.length} readings`);
    begun.slice(1).forEach((at, index) => assert.ok(at - begun[index] > 3500, `numbers are read every few seconds: ${begun}`));

    // completed elsewhere: the page turns to the finished recording by itself
    await visit.page.focus(within(recording, '.trace-group'));
    await recording.complete(true);
    await visit.page.waitForSelector(`[data-recording="${recording.id}"][data-state="complete"][data-ready]`);
    assert.equal(await visit.page.evaluate(() => window.loadedOnce), true, 'the page was not loaded again');
    assert.equal(await visit.page.locator(within(recording, '.so-far')).count(), 0);
    assert.equal(await visit.page.evaluate(() => document.activeElement.id), `recording-${recording.id}`);
    const [, values] = await drawn(visit, recording, 'pves');
    const inFloats = recording.expected('pves').map((value) => (value === null ? null : Math.fround(value)));
    assert.deepEqual(values, inFloats, 'drawn from float32 now, every sample');
    await visit.end({allowed: [OFFLINE, COMPLETE]});
  });

  test('the day list marks running recordings until they are complete, and says which rooms are silent', async () => {
    const {study, recording} = await openRecording();
    await recording.send(0);
    const visit = await begin();
    await visit.open(`/today?date=${DAY}`);
    const mark = `[data-study="${study.id}"] .live-mark`;
    await visit.page.waitForSelector(mark);
    assert.equal(await visit.page.textContent(mark), 'Recording now');
    const silentMark = `[data-study="${silent.study.id}"] .live-mark`;
    await visit.page.waitForFunction((selector) => /^Silent for \d+ (s|min)$/.test(document.querySelector(selector)?.textContent), silentMark);
    await visit.assertAccessible('day list with a running recording');
    await visit.screenshot('today-live');
    await recording.complete();
    await visit.page.waitForSelector(mark, {state: 'detached'});
    await visit.end();
  });

  test('a clinician completes a recording whose room is silent, and is told what is missing', async () => {
    const visit = await begin();
    const {study, recording} = abandoned;
    await visit.openStudy(study.id);
    await visit.page.click(within(recording, '.notice-caution button'));
    const dialog = visit.page.locator('dialog');
    assert.match(await dialog.textContent(), /The room cannot add to it afterwards/);
    assert.match(await dialog.textContent(), /These pieces have not arrived: 2\./);
    await visit.screenshot('live-complete');
    await visit.page.keyboard.press('Escape');
    await dialog.waitFor({state: 'detached'});
    assert.match(await visit.page.evaluate(() => document.activeElement.textContent), /Complete recording/, 'the focus is back');
    await visit.page.click(within(recording, '.notice-caution button'));
    await visit.page.click('dialog button[type=submit]');
    assert.equal(await dialog.count(), 1, 'not without accepting the gaps');
    await visit.page.check('dialog input[name=gaps]');
    await visit.page.fill('dialog input[name=residual]', '35');
    await visit.page.click('dialog button[type=submit]');
    await visit.page.waitForSelector(`[data-recording="${recording.id}"][data-state="complete"][data-ready]`);
    assert.match(await visit.page.textContent('.banner'), /Preliminary/);
    const {conditions} = await recording.person.ask('GET', recording.path);
    assert.equal(conditions.post_void_residual_ml, 35);
    await visit.end({allowed: [COMPLETE]});
  });

  test('a recording is withdrawn with a reason, listed with who, when and why, and restored', async () => {
    const visit = await begin();
    const {study, recording} = await openRecording();
    await recording.send(0);
    await recording.complete();
    await visit.openStudy(study.id);
    assert.equal(await visit.page.locator('.withdrawn').count(), 0);
    await visit.page.click(within(recording, '.recording-foot button'));
    await visit.page.click('dialog button[type=submit]');
    assert.equal(await visit.page.locator('dialog').count(), 1, 'not without a reason');
    await visit.assertAccessible('question why to withdraw');
    await visit.page.fill('dialog textarea', 'Wrong patient chosen in the room');
    await visit.page.click('dialog button[type=submit]');
    await visit.page.waitForSelector('.withdrawn');
    assert.equal(await visit.page.locator('[data-recording]').count(), 0);
    assert.equal(await visit.page.locator('.withdrawn[open]').count(), 0, 'closed');
    await visit.page.click('.withdrawn summary');
    const row = await visit.page.innerText(`[data-withdrawn="${recording.id}"]`);
    assert.match(row, /^Reason: Wrong patient chosen in the room$/m);
    assert.match(row, new RegExp(`^by ${clinician.display_name}, .*${new Date().getFullYear()}`, 'm'));
    await visit.assertAccessible('withdrawn recordings');
    await visit.screenshot('withdrawn');
    await visit.page.click(`[data-withdrawn="${recording.id}"] button`);
    await visit.page.fill('dialog textarea', 'The patient was right after all');
    await visit.page.click('dialog button[type=submit]');
    await visit.page.waitForSelector(`[data-recording="${recording.id}"][data-ready]`);
    assert.equal(await visit.page.locator('.withdrawn').count(), 0);
    await visit.end();
  });

  test('a recording that begins while the study is open appears by itself', async () => {
    const visit = await begin();
    const study = await room.addStudy(STARTED_AT);
    await visit.openStudy(study.id);
    assert.match(await visit.page.textContent('.empty'), /No recordings\./);
    const recording = await RoomRecording.open(room, study);
    await recording.send(0);
    await waitUntilDrawn(visit, recording, PIECE_S);
    assert.equal(await visit.page.locator('.empty-title').count(), 0);
    await recording.complete();
    await visit.page.waitForSelector(`[data-recording="${recording.id}"][data-state="complete"][data-ready]`);
    await visit.end({allowed: [COMPLETE]});
  });

  test('a running recording that the room withdraws says so and why; a room is offered no withdrawal here', async () => {
    const visit = await begin({storageState: sessions.room});
    const {study, recording} = await openRecording();
    await recording.send(0);
    await visit.openStudy(study.id);
    assert.equal(await visit.page.locator('.recording-foot').count(), 0);
    await recording.withdraw('Catheter came out');
    await visit.page.waitForSelector('.recordings .notice-info');
    assert.match(await visit.page.textContent('.recordings .notice-info'), /withdrawn while it ran: Catheter came out/);
    await visit.page.waitForSelector('.withdrawn');
    assert.equal(await visit.page.locator('.withdrawn button').count(), 0);
    await visit.end({allowed: [GONE]});
  });

  test('a running recording is accessible and fits in light and dark, wide and on a tablet', async () => {
    const {study, recording} = await openRecording();
    for (const number of [0, 1, 2, 3, 5, 6, 7, 8, 9, 10]) {
      await recording.send(number, number === 5 ? [{at_s: 16, code: 'first_sensation'}] : []);
    }
    for (const look of [{colorScheme: 'light'}, {colorScheme: 'dark', viewport: TABLET}]) {
      const visit = await begin(look);
      await visit.openStudy(study.id);
      await visit.page.waitForSelector(within(recording, '.so-far-quality .quality'));
      await waitUntilDrawn(visit, recording, 11 * PIECE_S);
      await visit.assertAccessible('running recording');
      await visit.assertFits('running recording');
      await visit.screenshot('live');
      await visit.end();
    }
    await recording.withdraw('End of the test');
  });
});
