import assert from 'node:assert/strict';
import path from 'node:path';
import {after, before, test} from 'node:test';
import {marksOf} from '../report/forms.mjs';
import {launch, PHONE, Visit} from './lib/browser.mjs';
import {serverUrl} from './lib/environment.mjs';
import {lists, measures, plain, readable, stepsOf} from './lib/numbers.mjs';

const ORDER = ['pabd', 'pves', 'pdet', 'flow', 'vvoid', 'vinf', 'emg', 'pura', 'pvag', 'prect'];

let browser;
let storageState;
let studies; // every demo study with its recordings
let steps; // "section.code" -> step of rounding
let samples; // few studies that hold every type of recording, for the slower looks

/** Studies with the most types that no earlier one holds. */
function covering(all) {
  const seen = new Set();
  const typesOf = (study) => new Set(study.recordings.map(({type}) => type));
  const largestFirst = [...all].sort((one, other) => typesOf(other).size - typesOf(one).size);
  return largestFirst.filter((study) => {
    const fresh = [...typesOf(study)].filter((type) => !seen.has(type));
    fresh.forEach((type) => seen.add(type));
    return fresh.length > 0;
  });
}

before(async () => {
  browser = await launch();
  const visit = await Visit.begin(browser);
  await visit.signIn();
  storageState = await visit.context.storageState();
  studies = await visit.apiAll('/v1/studies');
  for (const study of studies) {
    study.recordings = (await visit.api(`/v1/studies/${study.id}/recordings`)).items;
  }
  samples = covering(studies);
  steps = stepsOf(await visit.api('/v1/parameters'));
  assert.ok(studies.some((study) => study.recordings.length > 0), 'the demo has recordings');
  await visit.end();
});
after(() => browser?.close());

const begin = (options) => Visit.begin(browser, {storageState, ...options});
const within = (recording, rest) => `[data-recording="${recording.id}"] ${rest}`;

/** What stands on the page for a recording. */
function readRecording(visit, recording) {
  return visit.page.$eval(`[data-recording="${recording.id}"]`, (node) => {
    const all = (selector) => [...node.querySelectorAll(selector)];
    return {
      values: all('.measures [data-code]').map((one) => ({
        path: one.dataset.code,
        value: one.dataset.value,
        cell: one.closest('td').textContent,
        label: one.closest('tr').querySelector('th').textContent,
      })),
      keys: all('.key-number [data-code]').map((one) => ({
        path: one.dataset.code,
        value: one.dataset.value,
        cell: one.closest('dd').textContent,
      })),
      lists: all('[data-list]').map((one) => ({
        path: one.dataset.list,
        count: one.querySelectorAll('tbody tr').length,
      })),
      missing: all('[data-missing]').map((one) => one.dataset.missing),
      quality: all('[data-quality]').length,
      suggestions: all('[data-suggestion]').length,
      marks: all('.track [data-event]').length,
      listed: all('.event-list li').length,
    };
  });
}

/** Numbers of the printed report for each recording: [label, value with unit]; of pulls side by side each one. */
async function readSummary(visit, id) {
  const html = await (
    await visit.context.request.get(`${serverUrl}/v1/studies/${id}/summary`, {headers: {accept: 'text/html'}})
  ).text();
  return visit.page.evaluate((text) => {
    const printed = new DOMParser().parseFromString(text, 'text/html');
    const recordings = [...printed.querySelectorAll('section')].filter((section) =>
      / UTC$/.test(section.querySelector('h2').textContent),
    );
    const withUnit = (value, unit) => (unit ? `${value} ${unit}` : value);
    const readRow = (row) => {
      const name = row.querySelector('th').textContent;
      const [value, unit] = [...row.querySelectorAll('td')].map((cell) => cell.textContent);
      if (row.querySelectorAll('td.number').length === 1 && row.cells.length === 4) {
        return [[name, withUnit(value, unit)]];
      }
      const comma = name.lastIndexOf(', ');
      const [label, unitOfPulls] = comma < 0 ? [name, ''] : [name.slice(0, comma), name.slice(comma + 2)];
      return [...row.querySelectorAll('td.number')].map((cell) => [
        label,
        withUnit(cell.textContent.replace('*', ''), unitOfPulls),
      ]);
    };
    return recordings.map((section) =>
      [...section.querySelectorAll('table')]
        .filter((table) => table.caption.textContent.startsWith('Values'))
        .flatMap((table) => [...table.tBodies[0].rows].flatMap(readRow)),
    );
  }, html);
}

function checkNumbers(shown, analysis, what) {
  const expected = measures(analysis);
  assert.deepEqual(
    shown.values.map(({path}) => path),
    expected.map(({section, code}) => `${section}.${code}`),
    `${what}: which numbers, in which order`,
  );
  expected.forEach(({section, code, entry}, index) => {
    const {value, cell} = shown.values[index];
    assert.deepEqual(JSON.parse(value), entry.value, `${what}: unrounded ${section}.${code}`);
    if (typeof entry.value === 'number') {
      assert.equal(plain(cell), readable(entry, steps.get(`${section}.${code}`)), `${what}: rounded ${section}.${code}`);
    }
  });
  for (const {path, value, cell} of shown.keys) {
    const [section, code] = path.split('.');
    const entry = analysis.sections[section][code];
    assert.deepEqual(JSON.parse(value), entry.value, `${what}: key number ${path}`);
    if (typeof entry.value === 'number') {
      assert.equal(plain(cell), readable(entry, steps.get(path)), `${what}: key number ${path}`);
    }
  }
}

function checkAgainstSummary(shown, printed, analysis, what) {
  const numeric = measures(analysis).filter(({entry}) => typeof entry.value === 'number');
  const onPage = numeric.map(({section, code}) => {
    const row = shown.values.find(({path}) => path === `${section}.${code}`);
    return [row.label, plain(row.cell)];
  });
  const onPaper = printed.map(([label, value]) => [label, plain(value)]);
  for (const row of onPage) {
    assert.ok(
      onPaper.some(([label, value]) => label === row[0] && value === row[1]),
      `${what}: “${row.join(': ')}” is not in the summary, which says ${JSON.stringify(onPaper.filter(([label]) => label === row[0]))}`,
    );
  }
}

/** Per strip: signal, plotted columns, and how much of the plot carries the signal's colour. */
function readStrips(visit, recording) {
  return visit.page.$$eval(`[data-recording="${recording.id}"] .strip`, (strips) =>
    strips.map((strip) => {
      const {plot} = strip.querySelector('.strip-plot');
      const {ctx, bbox} = plot;
      const {data: pixels, width, height} = ctx.getImageData(bbox.left, bbox.top, bbox.width, bbox.height);
      const probe = document.createElement('canvas').getContext('2d');
      probe.fillStyle = getComputedStyle(strip.querySelector('.strip-symbol')).color;
      probe.fillRect(0, 0, 1, 1);
      const wanted = probe.getImageData(0, 0, 1, 1).data;
      let columns = 0;
      for (let x = 0; x < width; x++) {
        for (let y = 0; y < height; y++) {
          const at = (y * width + x) * 4;
          const distance = [0, 1, 2].reduce((sum, part) => sum + Math.abs(pixels[at + part] - wanted[part]), 0);
          if (pixels[at + 3] > 150 && distance < 120) {
            columns++;
            break;
          }
        }
      }
      return {
        signal: strip.dataset.signal,
        data: plot.data.map((column) => [...column]),
        span: [plot.scales.x.min, plot.scales.x.max],
        drawnPart: columns / width,
        label: strip.querySelector('.strip-plot').getAttribute('aria-label'),
      };
    }),
  );
}

/** The columns that a trace of the API should be plotted as. */
/** As float32, which the pages draw. */
const drawn = (values) => values.map((value) => (value === null ? null : Math.fround(value)));

function expectedColumns(trace) {
  if (trace.samples) {
    return [trace.samples.map((_, index) => trace.start_s + index / trace.rate_hz), drawn(trace.samples)];
  }
  const times = trace.min.map((_, index) => trace.start_s + (index + 0.5) * trace.bin_s);
  return [times, drawn(trace.min), drawn(trace.max)];
}

/** Part of the axis for which the trace has a value. */
function coveredPart(trace, [fromS, toS]) {
  const [times, values] = expectedColumns(trace);
  const step = trace.bin_s ?? 1 / trace.rate_hz;
  const present = times.filter((time, index) => values[index] !== null && time >= fromS && time <= toS);
  return Math.min(1, (present.length * step) / (toS - fromS));
}

function checkOrder(signals, what) {
  const known = signals.filter((signal) => ORDER.includes(signal));
  assert.deepEqual(known, ORDER.filter((signal) => known.includes(signal)), `${what}: order of the strips`);
}

async function checkTraces(visit, recording, what) {
  const url = visit.traceUrls.filter((one) => one.includes(recording.id)).at(-1);
  const answer = await visit.api(url.slice(serverUrl.length));
  const strips = await readStrips(visit, recording);
  assert.deepEqual(
    strips.map(({signal}) => signal).sort(),
    answer.traces.map(({signal}) => signal).sort(),
    `${what}: a strip for each trace`,
  );
  checkOrder(strips.map(({signal}) => signal), what);
  for (const strip of strips) {
    const trace = answer.traces.find(({signal}) => signal === strip.signal);
    assert.deepEqual(strip.data, expectedColumns(trace), `${what}: plotted data of ${strip.signal}`);
    const covered = coveredPart(trace, strip.span);
    assert.ok(
      strip.drawnPart >= covered * 0.85 - 0.02,
      `${what}: ${strip.signal} is drawn over ${strip.drawnPart.toFixed(2)} of the axis, has values for ${covered.toFixed(2)}`,
    );
    assert.ok(strip.label.length > 20, `${what}: text alternative of ${strip.signal}`);
  }
}

test('every demo study shows the numbers, marks and traces that the API gives', {timeout: 1_500_000}, async () => {
  const visit = await begin();
  for (const study of studies) {
    visit.traceUrls = [];
    await visit.openStudy(study.id);
    const printed = await readSummary(visit, study.id);
    assert.equal(await visit.page.locator('[data-recording]').count(), study.recordings.length);
    for (const [index, recording] of study.recordings.entries()) {
      const what = `${recording.type} of ${study.patient_mrn}`;
      const analysis = await visit.api(`/v1/recordings/${recording.id}/analysis`);
      const {events} = await visit.api(`/v1/recordings/${recording.id}/events`);
      const shown = await readRecording(visit, recording);
      checkNumbers(shown, analysis, what);
      checkAgainstSummary(shown, printed[index], analysis, what);
      assert.deepEqual(shown.lists, lists(analysis), `${what}: lists`);
      assert.deepEqual(
        shown.missing,
        analysis.not_computed.map(({section, code}) => `${section}.${code}`),
        `${what}: not computed`,
      );
      assert.equal(shown.quality, analysis.quality.length, `${what}: quality findings`);
      assert.equal(
        shown.suggestions,
        analysis.classifications.length + analysis.findings.length,
        `${what}: suggestions`,
      );
      assert.equal(shown.marks, events.length, `${what}: event marks`);
      assert.equal(shown.listed, events.length, `${what}: listed events`);
      await checkTraces(visit, recording, what);
    }
  }
  await visit.end();
});

test('patient, study and status stand at the head, the caution at the foot', async () => {
  const visit = await begin();
  const study = studies.find((one) => one.recordings.length > 0);
  const patient = await visit.api(`/v1/patients/${study.patient_id}`);
  await visit.openStudy(study.id);
  assert.equal(await visit.page.textContent('h1'), `${patient.family_name}, ${patient.given_name}`);
  assert.match(await visit.page.textContent('.facts-patient'), new RegExp(patient.mrn));
  assert.match(await visit.page.textContent('.banner'), /Preliminary – not reviewed or signed/);
  const marks = await visit.page.$$eval('.recording-head .badge', (nodes) => nodes.map((node) => node.textContent));
  assert.deepEqual(marks, study.recordings.map(() => 'Preliminary, unsigned'), 'beside the numbers of each recording');
  assert.match(await visit.page.textContent('footer'), /preliminary until a clinician/);
  assert.equal(
    await visit.page.getAttribute('.actions a:last-child', 'href'),
    `/v1/studies/${study.id}/summary`,
  );
  await visit.end();
});

/** The longest recording: zooming it must ask for finer data. */
function longest() {
  const all = studies.flatMap((study) => study.recordings.map((recording) => ({study, recording})));
  return all.sort((one, other) => other.recording.duration_s - one.recording.duration_s)[0];
}

const spanOf = (visit, recording) =>
  visit.page.$eval(within(recording, '.strip-plot'), ({plot}) => [plot.scales.x.min, plot.scales.x.max]);

async function waitForSpan(visit, recording, condition, argument) {
  await visit.page.waitForFunction(
    ([selector, source, value]) => {
      const {plot} = document.querySelector(selector);
      return new Function('span', 'value', `return ${source}`)(plot.scales.x.max - plot.scales.x.min, value);
    },
    [within(recording, '.strip-plot'), condition, argument],
  );
}

test('dragging and the wheel zoom all strips, with finer data; a key shows the whole again', async () => {
  const visit = await begin();
  const {study, recording} = longest();
  await visit.openStudy(study.id);
  const [fromS, toS] = await spanOf(visit, recording);
  const plot = visit.page.locator(within(recording, '.strip:nth-child(2) .u-over'));
  await plot.scrollIntoViewIfNeeded();
  const box = await plot.boundingBox();
  const before = visit.traceUrls.length;
  await visit.page.mouse.move(box.x + box.width * 0.4, box.y + 20);
  await visit.page.mouse.down();
  await visit.page.mouse.move(box.x + box.width * 0.5, box.y + 20, {steps: 5});
  await visit.page.mouse.up();
  await waitForSpan(visit, recording, 'span < value', (toS - fromS) * 0.15);
  const spans = await visit.page.$$eval(within(recording, '.strip-plot'), (nodes) =>
    nodes.map(({plot}) => [plot.scales.x.min, plot.scales.x.max]),
  );
  for (const span of spans) assert.deepEqual(span, spans[0], 'one time axis');
  await visit.page.waitForFunction((selector) => document.querySelector(selector), within(recording, '.strips[data-loads]'));
  assert.ok(visit.traceUrls.length > before, 'finer data was asked for');
  await visit.settle();
  await checkTraces(visit, recording, 'zoomed');

  const zoomed = spans[0][1] - spans[0][0];
  await visit.page.mouse.click(box.x + box.width / 2, box.y + 20);
  await visit.page.mouse.wheel(0, 200);
  await waitForSpan(visit, recording, 'span > value', zoomed * 1.1);
  await visit.page.keyboard.press('0');
  await waitForSpan(visit, recording, 'Math.abs(span - value) < 1e-6', toS - fromS);
  await visit.end();
});

test('the cursor reads every signal at the same time', async () => {
  const visit = await begin();
  const {study, recording} = longest();
  await visit.openStudy(study.id);
  const group = visit.page.locator(within(recording, '.trace-group'));
  await group.focus();
  await visit.page.keyboard.press('Shift+ArrowRight');
  const values = await visit.page.$$eval(within(recording, '.strip-value'), (nodes) => nodes.map((node) => node.textContent));
  for (const value of values) assert.match(value, /\d|missing/);
  assert.match(await visit.page.textContent(within(recording, '.cursor-text')), /at \d+:\d\d/);
  await visit.end();
});

test('an event in the list brings its place into view', async () => {
  const visit = await begin();
  const {study, recording} = longest();
  const {events} = await visit.api(`/v1/recordings/${recording.id}/events`);
  assert.ok(events.length > 0, 'the longest demo recording has events');
  const sorted = [...events].sort((one, other) => one.at_s - other.at_s);
  await visit.openStudy(study.id);
  await visit.page.click(within(recording, '.event-list li:last-child button'));
  const [fromS, toS] = await spanOf(visit, recording);
  assert.ok(fromS <= sorted.at(-1).at_s && sorted.at(-1).at_s <= toS);
  assert.ok(await visit.page.isVisible(within(recording, '.event-list li:last-child [aria-current]')));
  await visit.end();
});

test('labels of event marks do not cover one another', async () => {
  for (const viewport of [undefined, PHONE]) {
    const visit = await begin({viewport});
    for (const study of samples) {
      await visit.openStudy(study.id);
      const overlaps = await visit.page.$$eval('.track', (tracks) =>
        tracks.flatMap((track) => {
          const boxes = [...track.querySelectorAll('.mark')]
            .map((mark) => mark.getBoundingClientRect())
            .filter(({width}) => width > 0);
          return boxes.flatMap((one, index) =>
            boxes
              .slice(index + 1)
              .filter((other) => one.left < other.right && other.left < one.right && one.top < other.bottom && other.top < one.bottom)
              .map(() => track.textContent),
          );
        }),
      );
      assert.deepEqual(overlaps, []);
    }
    await visit.end();
  }
});

test('a study that does not exist says what to do', async () => {
  const visit = await begin();
  await visit.open('/studies/00000000-0000-7000-8000-000000000000');
  await visit.page.waitForSelector('main .notice-error');
  assert.match(await visit.page.textContent('main .notice-error'), /Check the address/);
  await visit.end({allowed: [/Failed to load resource.*\b404\b/]});
});

test('each kind of study is accessible and fits in light and dark, wide and narrow', {timeout: 1_200_000}, async () => {
  for (const colorScheme of ['light', 'dark']) {
    for (const viewport of [undefined, PHONE]) {
      const visit = await begin({colorScheme, viewport});
      for (const study of samples) {
        const name = study.recordings.map(({type}) => type).join('-') || 'no-recordings';
        await visit.openStudy(study.id);
        await visit.assertAccessible(`study with ${name}`);
        await visit.assertFits(`study with ${name}`);
        await visit.screenshot(`study-${name}`);
      }
      await visit.end();
    }
  }
});

test('the printed summary is accessible and fits', async () => {
  for (const viewport of [undefined, PHONE]) {
    const visit = await begin({viewport});
    for (const study of samples) {
      await visit.open(`/v1/studies/${study.id}/summary`);
      await visit.page.waitForSelector('body.document');
      await visit.assertAccessible('summary');
      await visit.assertFits('summary');
      await visit.screenshot(`summary-${study.recordings.map(({type}) => type).join('-') || 'no-recordings'}`);
    }
    await visit.end({allowed: [/favicon\.ico/, /Failed to load resource.*\b404\b/]});
  }
});

test('the report prints with its mark on every page, and no figure is cut', async () => {
  const visit = await begin();
  for (const study of samples.filter(({recordings}) => recordings.length > 0)) {
    await visit.open(`/v1/studies/${study.id}/summary`);
    const file = path.join(process.env.PENSTOCK_TEST_ARTIFACTS, `printed-${study.id}.pdf`);
    await visit.page.pdf({path: file, preferCSSPageSize: true});
    const marks = await marksOf(file);
    assert.ok(marks.length > 1);
    assert.deepEqual(new Set(marks), new Set(['Preliminary']));
    await visit.page.emulateMedia({media: 'print'});
    const breaks = await visit.page.$$eval('figure, tr', (all) => all.map((one) => getComputedStyle(one).breakInside));
    assert.deepEqual(new Set(breaks), new Set(['avoid']));
  }
  await visit.end({allowed: [/favicon\.ico/, /Failed to load resource.*\b404\b/]});
});

test('no page holds a script or style of its own, and the policy forbids them', async () => {
  const visit = await begin();
  const {id} = studies[0];
  for (const target of ['/sign-in', '/today', '/', `/studies/${id}`, `/v1/studies/${id}/summary`]) {
    const response = await visit.context.request.get(serverUrl + target, {headers: {accept: 'text/html'}});
    assert.equal(response.status(), 200, target);
    const html = await response.text();
    assert.doesNotMatch(html, /<script(?![^>]*\ssrc=)/i, target);
    assert.doesNotMatch(html, /<style|\sstyle\s*=|\son[a-z]+\s*=/i, target);
    assert.doesNotMatch(html, /(?:src|href)="(?:https?:)?\/\//i, target);
    const policy = response.headers()['content-security-policy'] ?? '';
    assert.match(policy, /default-src 'none'/, target);
    assert.doesNotMatch(policy, /unsafe-|\*/, target);
  }
  await visit.open('/sign-in');
  await visit.end();
});

test('without the catalogue every number is still there, and the page says what is missing', async () => {
  const visit = await begin();
  await visit.context.route('**/v1/parameters', (route) => route.fulfill({status: 500, body: ''}));
  const [study] = samples;
  await visit.openStudy(study.id);
  const [recording] = study.recordings;
  const analysis = await visit.api(`/v1/recordings/${recording.id}/analysis`);
  const shown = await readRecording(visit, recording);
  assert.deepEqual(
    shown.values.map(({path, value}) => [path, value]),
    measures(analysis).map(({section, code, entry}) => [`${section}.${code}`, JSON.stringify(entry.value)]),
  );
  assert.equal(shown.missing.length, analysis.not_computed.length);
  assert.match(await visit.page.textContent('.notice-info'), /could not be loaded; all numbers are shown/);
  await visit.end({allowed: [/500/]});
});

test('moments in lists are read as on the axis; units of limits and numbers beside a value stand apart', async () => {
  const visit = await begin();
  for (const study of samples) {
    await visit.openStudy(study.id);
    const texts = await visit.page.$$eval('.items td, .items th, .parts, .suggestion-details dd', (nodes) =>
      nodes.map((node) => node.textContent),
    );
    assert.ok(texts.length > 0);
    for (const text of texts) assert.doesNotMatch(text, /\b(cmh2o|mmhg)\b| (ml|percent|hz|uv) \d|\bEmg\b/, text);
    const moments = await visit.page.$$eval('.items .jump', (nodes) => nodes.map((node) => node.textContent));
    for (const moment of moments) assert.match(moment, /^(\d+:)?\d+:\d\d\.\d$/);
  }
  await visit.end();
});
