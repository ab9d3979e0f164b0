import {keyNumbers, numbers, quality, suggestions} from './analysis.js';
import {currentSession, get} from './api.js';
import {loadCatalogue} from './catalogue.js';
import {descriptionList, element, fill} from './dom.js';
import {
  ageAt, calendarDay, dayAndTime, duration, fullName, humanise, localDay, number, timeOfDay, withUnit,
} from './format.js';
import {LiveRecording} from './live.js';
import {nameAndTime, typeName, WithdrawnList, withdrawRecording} from './recording-state.js';
import {buildShell, notice} from './shell.js';
import {CONDITION_NAME, texts} from './texts.js';
import {Traces} from './traces.js';

const LOOK_AGAIN_MS = 5000;

const say = texts.study;

const studyId = () => decodeURIComponent(location.pathname.split('/').filter(Boolean)[1] ?? '');

function banner(status) {
  const [title, text] = texts.banner[status] ?? [humanise(status), ''];
  return element(
    'p',
    {class: `banner banner-${status}`, role: 'status'},
    element('strong', {}, title),
    text && ` – ${text}`,
  );
}

/** Each value in a block of its own: characters in it that turn the direction of reading turn no other's. */
function historyParts(history) {
  if (!history || typeof history !== 'object') return history || '';
  const parts = Object.entries(history).map(([name, value]) =>
    element('div', {}, `${humanise(name)}: ${typeof value === 'object' ? JSON.stringify(value) : value}`),
  );
  return parts.length > 0 ? parts : '';
}

const orNot = (value) => value || texts.notRecorded;

function patientHead(study, patient) {
  const age = patient.birth_date ? say.ageAtStudy(ageAt(patient.birth_date, study.started_at)) : '';
  return element(
    'section',
    {class: 'patient'},
    element(
      'div',
      {class: 'patient-main'},
      element('h1', {}, fullName(patient)),
      descriptionList('facts facts-patient', [
        [say.mrn, patient.mrn],
        [say.born, patient.birth_date && calendarDay(patient.birth_date)],
        [say.age, age],
        [say.sex, texts.sex[patient.sex] ?? patient.sex],
      ]),
    ),
    descriptionList('facts', [
      [say.when, dayAndTime(study.started_at)],
      [say.room, orNot(study.room)],
      [say.operator, orNot(study.operator)],
      [say.position, study.position ? (texts.words[study.position] ?? study.position) : texts.notRecorded],
      [say.catheters, orNot(study.catheters)],
      [say.history, historyParts(study.history)],
    ]),
  );
}

function conditionsList(conditions) {
  const entries = Object.entries(conditions ?? {}).map(([name, value]) => {
    const [label, unit] = CONDITION_NAME[name] ?? [humanise(name), null];
    const shown = typeof value === 'boolean' ? (value ? texts.yes : texts.no) : typeof value === 'number' ? withUnit(number(value, 0.1).replace(/\.0$/, ''), unit) : (texts.words[value] ?? value);
    return [label, shown];
  });
  if (!entries.length) return null;
  return element(
    'section',
    {class: 'conditions'},
    element('h3', {}, texts.analysis.conditions),
    descriptionList('facts', entries),
  );
}

/** Loads a part of a recording into its place; a failure there leaves the other parts usable. */
async function fillPart(place, sentence, load) {
  fill(place, element('p', {class: 'loading'}, texts.loading));
  try {
    await load();
  } catch (error) {
    fill(place, notice('error', `${sentence} ${error.message}`, () => fillPart(place, sentence, load)));
  }
}

/** What a clinician may do to a recording; nothing once the study is signed or cancelled. */
function recordingFooter(page, recording) {
  if (!page.mayChange) return null;
  return element(
    'div',
    {class: 'recording-foot'},
    element(
      'button',
      {
        type: 'button',
        class: 'button button-small button-quiet',
        'aria-label': texts.state.withdrawOf(nameAndTime(recording)),
        on: {click: () => withdraw(page, recording)},
      },
      texts.state.withdrawAsk,
    ),
  );
}

/** Beside the numbers too, because the banner at the top is soon out of sight. */
function unsignedMark(page) {
  if (!CHANGEABLE.includes(page.study.status)) return null;
  return element('span', {class: 'badge badge-preliminary'}, say.unsigned);
}

function recordingSection(page, recording) {
  const heading = `recording-${recording.id}`;
  const places = {
    top: element('div', {class: 'recording-top'}),
    traces: element('div', {class: 'recording-traces'}),
    numbers: element('div', {class: 'recording-numbers'}),
  };
  const section = element(
    'section',
    {class: 'recording', 'aria-labelledby': heading, dataset: {recording: recording.id, state: recording.state}},
    element(
      'div',
      {class: 'recording-head'},
      element('h2', {id: heading, tabindex: '-1'}, typeName(recording.type), ' ', unsignedMark(page)),
      descriptionList('facts facts-inline', [
        [say.started, timeOfDay(recording.started_at)],
        [say.duration, duration(recording.duration_s)],
        [say.revision, recording.revision],
      ]),
    ),
    Object.values(places),
    recordingFooter(page, recording),
  );
  return {section, places, recording};
}

async function loadTraces(part, holder) {
  const {places, recording} = part;
  const full = recording.channels?.length ? recording : await get(`/v1/recordings/${recording.id}`);
  const traces = new Traces({...recording, channels: full.channels ?? []});
  fill(places.traces, element('h3', {class: 'visually-hidden'}, texts.traces.title), traces.element);
  await traces.load();
  holder.traces = traces;
  part.traces = traces;
}

async function loadEvents({recording}, holder) {
  if (!holder.traces) return;
  const place = holder.traces.list;
  await fillPart(place, say.eventsFailed, async () => {
    const answer = await get(`/v1/recordings/${recording.id}/events`);
    holder.traces.setEvents(answer.events);
  });
}

async function loadAnalysis({places, recording}, holder) {
  const analysis = await get(`/v1/recordings/${recording.id}/analysis`);
  const jumpTo = (atS) => holder.traces?.jumpTo(atS);
  holder.analysis = analysis;
  fill(places.top, keyNumbers(analysis), quality(analysis, jumpTo));
  fill(places.numbers, numbers(analysis, jumpTo), suggestions(analysis), conditionsList(recording.conditions));
}

async function loadRecording(part) {
  const holder = {traces: null, analysis: null};
  await Promise.all([
    fillPart(part.places.top, say.analysisFailed, () => loadAnalysis(part, holder)),
    fillPart(part.places.traces, say.tracesFailed, async () => {
      await loadTraces(part, holder);
      await loadEvents(part, holder);
    }),
  ]);
  holder.traces?.setDoubts(holder.analysis?.quality ?? []);
  part.section.dataset.ready = 'true';
}

function recordingIndex(parts) {
  if (parts.length < 2) return null;
  return element(
    'nav',
    {class: 'recording-index', 'aria-label': say.recordings},
    element(
      'ul',
      {},
      parts.map(({recording, live}) =>
        element(
          'li',
          {},
          element('a', {href: `#recording-${recording.id}`}, `${typeName(recording.type)} ${timeOfDay(recording.started_at)}`),
          live && element('span', {class: 'index-live'}, texts.live.now),
        ),
      ),
    ),
  );
}

// ---- the recordings of a page, which come and go while it is open

function emptyNotice(page) {
  return element(
    'div',
    {class: 'empty'},
    element('p', {class: 'empty-title'}, say.none),
    element('p', {}, say.noneHint),
    element('button', {type: 'button', class: 'button', on: {click: () => show(page.main)}}, say.reload),
  );
}

function showIndex(page) {
  fill(page.indexPlace, recordingIndex(page.parts));
  fill(page.emptyPlace, page.parts.length === 0 && emptyNotice(page));
}

/** A running recording; what it becomes takes its place. */
function livePart(page, recording) {
  const live = new LiveRecording(recording, {
    mayComplete: page.isClinical,
    announce: (text) => announce(page, text),
    ended: () => replaceByFinished(page, part),
    withdrawn: (reason) => replaceByNotice(page, part, texts.live.withdrawn(reason)),
    footer: recordingFooter(page, recording),
  });
  const part = {recording, live, section: live.section};
  return part;
}

function makePart(page, recording) {
  return recording.state === 'open' ? livePart(page, recording) : recordingSection(page, recording);
}

function loadPart(part) {
  return part.live ? part.live.start() : loadRecording(part);
}

const byStart = (one, other) =>
  Date.parse(one.recording.started_at) - Date.parse(other.recording.started_at) || (one.recording.id < other.recording.id ? -1 : 1);

function addPart(page, recording) {
  const part = makePart(page, recording);
  page.changes++;
  page.parts = [...page.parts, part].sort(byStart);
  const next = page.parts[page.parts.indexOf(part) + 1];
  page.recordingsPlace.insertBefore(part.section, next?.section ?? null);
  showIndex(page);
  return loadPart(part);
}

/** Takes a recording off the page; `heir` takes its place, and the focus if it was there. */
function removePart(page, part, heir = null) {
  const hadFocus = part.section.contains(document.activeElement);
  part.live?.stop();
  page.changes++;
  page.parts = page.parts.filter((one) => one !== part);
  if (heir) part.section.replaceWith(heir);
  else part.section.remove();
  showIndex(page);
  return hadFocus;
}

async function replaceByFinished(page, part) {
  try {
    const recording = await get(`/v1/recordings/${part.recording.id}`);
    const finished = makePart(page, recording);
    const hadFocus = removePart(page, part, finished.section);
    page.parts = [...page.parts, finished].sort(byStart);
    showIndex(page);
    if (hadFocus) finished.section.querySelector('h2').focus();
    await Promise.all([loadPart(finished), showStatus(page)]);
  } catch (error) {
    part.section.append(notice('error', error.message, () => replaceByFinished(page, part)));
  }
}

function replaceByNotice(page, part, text) {
  const said = notice('info', `${nameAndTime(part.recording)}. ${text}`);
  removePart(page, part, said);
  page.withdrawn.load();
}

async function withdraw(page, recording) {
  if (!(await withdrawRecording(recording))) return;
  const part = page.parts.find((one) => one.recording.id === recording.id);
  if (part) removePart(page, part);
  await page.withdrawn.load();
  page.withdrawn.element.querySelector('summary')?.focus();
  announce(page, texts.state.withdrawnSaid(nameAndTime(recording)));
}

async function takeBack(page, recording) {
  announce(page, texts.state.restoredSaid(nameAndTime(recording)));
  const loaded = addPart(page, recording);
  page.parts.find((one) => one.recording.id === recording.id).section.querySelector('h2').focus();
  await loaded;
}

function announce(page, text) {
  page.spoken.textContent = text;
}

/** Recordings that the room begins or uploads while the page is open. */
async function lookForNew(page) {
  const goesOn = () => shownPage === page && CHANGEABLE.includes(page.study.status);
  while (goesOn()) {
    await new Promise((resolve) => setTimeout(resolve, LOOK_AGAIN_MS));
    if (document.hidden || !goesOn()) continue;
    const {changes} = page;
    try {
      const {items} = await get(`/v1/studies/${encodeURIComponent(page.study.id)}/recordings`);
      if (page.changes !== changes) continue; // the answer may be older than what was done here
      const fresh = items.filter(({id}) => !page.parts.some(({recording}) => recording.id === id));
      for (const recording of fresh) {
        announce(page, say.begun(nameAndTime(recording)));
        await addPart(page, recording);
      }
      if (fresh.length) await Promise.all([showStatus(page), page.withdrawn.load()]);
    } catch {
      // the page is usable without them; the next look may succeed
    }
  }
}

/** The study's status follows its recordings. */
async function showStatus(page) {
  try {
    page.study = await get(`/v1/studies/${encodeURIComponent(page.study.id)}`);
    fill(page.bannerPlace, banner(page.study.status));
  } catch {
    // the recordings are what matters; the next look asks again
  }
}

function actions(study) {
  const day = localDay(new Date(study.started_at));
  return element(
    'div',
    {class: 'actions'},
    element('a', {class: 'button', href: `/today?date=${day}`}, `‹ ${say.back}`),
    element('a', {class: 'button', href: `/v1/studies/${study.id}/summary`}, say.summary),
  );
}

/** Without the catalogue the numbers are shown all the same, under plainer names. */
async function catalogueNotice() {
  try {
    await loadCatalogue();
    return null;
  } catch (error) {
    return notice('info', `${say.catalogueFailed} ${error.message}`, () => location.reload());
  }
}

const CLINICAL = ['clinician', 'physician'];
const CHANGEABLE = ['registered', 'preliminary'];

function makePage(main, study, session) {
  const isClinical = session.user.roles.some((role) => CLINICAL.includes(role));
  const page = {
    main,
    study,
    isClinical,
    mayChange: isClinical && CHANGEABLE.includes(study.status),
    parts: [],
    changes: 0, // of parts
    bannerPlace: element('div', {}, banner(study.status)),
    indexPlace: element('div', {class: 'index-place'}),
    recordingsPlace: element('div', {class: 'recordings'}),
    emptyPlace: element('div', {class: 'empty-place'}),
    spoken: element('p', {class: 'visually-hidden', 'aria-live': 'polite'}),
  };
  page.withdrawn = new WithdrawnList(study.id, {
    mayRestore: page.mayChange,
    restored: (recording) => takeBack(page, recording),
  });
  return page;
}

let shownPage = null;

async function show(main) {
  for (const part of shownPage?.parts ?? []) part.live?.stop();
  fill(main, element('p', {class: 'loading'}, texts.loading));
  const id = studyId();
  try {
    const [study, recordings, session, withoutNames] = await Promise.all([
      get(`/v1/studies/${encodeURIComponent(id)}`),
      get(`/v1/studies/${encodeURIComponent(id)}/recordings`),
      currentSession(),
      catalogueNotice(),
    ]);
    const patient = await get(`/v1/patients/${study.patient_id}`);
    document.title = texts.pageTitle(fullName(patient));
    const page = makePage(main, study, session);
    shownPage = page;
    page.parts = recordings.items.map((recording) => makePart(page, recording));
    fill(page.recordingsPlace, page.parts.map(({section}) => section));
    showIndex(page);
    fill(
      main,
      actions(study),
      page.bannerPlace,
      withoutNames,
      patientHead(study, patient),
      page.indexPlace,
      page.recordingsPlace,
      page.emptyPlace,
      page.withdrawn.element,
      page.spoken,
    );
    // What runs does not wait for what is over.
    const [running, finished] = [page.parts.filter(({live}) => live), page.parts.filter(({live}) => !live)];
    await Promise.all(running.map(loadPart));
    for (const part of finished) await loadPart(part);
    await page.withdrawn.load();
    main.dataset.ready = 'true';
    lookForNew(page);
  } catch (error) {
    fill(main, notice('error', error.message, () => show(main)));
  }
}

/** The plots are pictures: they are drawn again when the colours change, and light and narrow for print. */
function followColours() {
  const repaint = (printing) =>
    shownPage?.parts.forEach(({traces, live}) => (traces ?? live?.traces)?.repaint(printing));
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => repaint(false));
  addEventListener('beforeprint', () => {
    document.documentElement.classList.add('printing');
    repaint(true);
  });
  addEventListener('afterprint', () => {
    document.documentElement.classList.remove('printing');
    repaint(false);
  });
}

function build() {
  document.title = texts.pageTitle(say.title);
  const main = buildShell('/studies');
  followColours();
  show(main);
}

build();
