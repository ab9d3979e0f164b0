import {keyNumbers, numbers, quality, suggestions} from './analysis.js';
import {get} from './api.js';
import {loadCatalogue} from './catalogue.js';
import {descriptionList, element, fill} from './dom.js';
import {
  ageAt, calendarDay, dayAndTime, duration, fullName, humanise, localDay, number, timeOfDay, withUnit,
} from './format.js';
import {buildShell, notice} from './shell.js';
import {CONDITION_NAME, TYPE_NAME, texts} from './texts.js';
import {Traces} from './traces.js';

const say = texts.study;
const shownTraces = [];

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

function historyText(history) {
  if (!history || typeof history !== 'object') return history || '';
  return Object.entries(history)
    .map(([name, value]) => `${humanise(name)}: ${typeof value === 'object' ? JSON.stringify(value) : value}`)
    .join('; ');
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
      [say.history, historyText(study.history)],
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

const typeName = (type) => TYPE_NAME[type] ?? humanise(type);

function recordingSection(recording) {
  const heading = `recording-${recording.id}`;
  const places = {
    top: element('div', {class: 'recording-top'}),
    traces: element('div', {class: 'recording-traces'}),
    numbers: element('div', {class: 'recording-numbers'}),
  };
  const section = element(
    'section',
    {class: 'recording', 'aria-labelledby': heading, dataset: {recording: recording.id}},
    element(
      'div',
      {class: 'recording-head'},
      element('h2', {id: heading, tabindex: '-1'}, typeName(recording.type)),
      descriptionList('facts facts-inline', [
        [say.started, timeOfDay(recording.started_at)],
        [say.duration, duration(recording.duration_s)],
        [say.revision, recording.revision],
      ]),
    ),
    Object.values(places),
  );
  return {section, places, recording};
}

async function loadTraces({places, recording}, holder) {
  const full = recording.channels?.length ? recording : await get(`/v1/recordings/${recording.id}`);
  const traces = new Traces({...recording, channels: full.channels ?? []});
  fill(places.traces, element('h3', {class: 'visually-hidden'}, texts.traces.title), traces.element);
  await traces.load();
  holder.traces = traces;
  shownTraces.push(traces);
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
      parts.map(({recording}) =>
        element(
          'li',
          {},
          element('a', {href: `#recording-${recording.id}`}, `${typeName(recording.type)} ${timeOfDay(recording.started_at)}`),
        ),
      ),
    ),
  );
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

async function show(main) {
  fill(main, element('p', {class: 'loading'}, texts.loading));
  const id = studyId();
  try {
    const [study, recordings, withoutNames] = await Promise.all([
      get(`/v1/studies/${encodeURIComponent(id)}`),
      get(`/v1/studies/${encodeURIComponent(id)}/recordings`),
      catalogueNotice(),
    ]);
    const patient = await get(`/v1/patients/${study.patient_id}`);
    document.title = texts.pageTitle(fullName(patient));
    const parts = recordings.items.map(recordingSection);
    fill(
      main,
      actions(study),
      banner(study.status),
      withoutNames,
      patientHead(study, patient),
      recordingIndex(parts),
      parts.length
        ? parts.map(({section}) => section)
        : element(
            'div',
            {class: 'empty'},
            element('p', {class: 'empty-title'}, say.none),
            element('p', {}, say.noneHint),
            element('button', {type: 'button', class: 'button', on: {click: () => show(main)}}, say.reload),
          ),
    );
    for (const part of parts) await loadRecording(part);
    main.dataset.ready = 'true';
  } catch (error) {
    fill(main, notice('error', error.message, () => show(main)));
  }
}

/** The plots are pictures: they are drawn again when the colours change, and light and narrow for print. */
function followColours() {
  const repaint = (printing) => shownTraces.forEach((traces) => traces.repaint(printing));
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
