import {currentSession, get, getAll} from './api.js';
import {dayPicker} from './day-picker.js';
import {append, element, fill} from './dom.js';
import {calendarDay, dayAndTime, fullName, localDay, shiftDay, startOfDay, timeOfDay} from './format.js';
import {buildShell, notice, readsStudies} from './shell.js';
import {TYPE_NAME, texts} from './texts.js';

const KIND_REQUESTS = 4; // at a time, so that a long day does not fill the server's queue
const SEARCH_LIMIT = 50;
const LOOK_AGAIN_MS = 5000; // for recordings that run: one small request, and two more for each that does
const SILENT_AFTER_S = 10;
const AFTER_EVERY_PIECE = 200000; // there are not more: the answer tells how silent the room is, and no samples

function statusBadge(status) {
  return element('span', {class: `badge badge-${status}`}, texts.banner[status]?.[0] ?? status);
}

/** One study as a row; the whole row is the link's target area. */
function studyRow(study, withDate) {
  const kinds = element('span', {class: 'row-kinds'});
  const live = element('span', {class: 'row-live', 'aria-live': 'off'}); // counts up within a list that is read out
  const row = element(
    'li',
    {class: 'study-row', dataset: {study: study.id}},
    element(
      'span',
      {class: withDate ? 'row-time row-date' : 'row-time'},
      withDate ? dayAndTime(study.started_at) : timeOfDay(study.started_at),
    ),
    element('a', {class: 'row-name', href: `/studies/${study.id}`}, study.patient_name),
    element('span', {class: 'row-mrn'}, `${texts.today.mrn} ${study.patient_mrn}`),
    element('span', {class: 'row-what'}, live, kinds),
    statusBadge(study.status),
    element(
      'span',
      {class: 'row-count'},
      study.recording_count ? texts.today.recordings(study.recording_count) : texts.today.noRecordings,
    ),
  );
  return {study, row, kinds, live};
}

function showKinds(place, types) {
  fill(place, [...new Set(types)].map((type) => TYPE_NAME[type] ?? type).join(' · '));
}

/** The list does not carry the recordings' types, so they are asked for behind the first paint. */
async function loadKinds(rows, signal) {
  const waiting = rows.filter(({study}) => study.recording_count > 0);
  async function work() {
    for (let next = waiting.shift(); next && !signal.aborted; next = waiting.shift()) {
      try {
        const list = await get(`/v1/studies/${next.study.id}/recordings`, {}, signal);
        showKinds(next.kinds, list.items.map((recording) => recording.type));
      } catch {
        // the row is usable without its kinds
      }
    }
  }
  await Promise.all(Array.from({length: KIND_REQUESTS}, work));
}

/** The running recording that was heard of last: how long ago, in seconds; null when none runs. */
async function silenceOf(study, signal) {
  const list = await get(`/v1/studies/${study.id}/recordings`, {}, signal);
  const running = list.items.filter(({state}) => state === 'open');
  const answers = await Promise.all(
    running.map(({id}) => get(`/v1/recordings/${id}/live`, {after: AFTER_EVERY_PIECE}, signal)),
  );
  return answers.length ? Math.min(...answers.map((answer) => answer.silent_s)) : null;
}

function showLive(place, silentS) {
  const silent = silentS !== null && silentS >= SILENT_AFTER_S;
  const text = silent ? texts.live.markSilent(Math.floor(silentS)) : texts.live.now;
  fill(place, silentS !== null && element('span', {class: silent ? 'live-mark live-mark-silent' : 'live-mark'}, text));
}

async function markRow({study, live}, signal) {
  try {
    showLive(live, study.open_recording_count > 0 ? await silenceOf(study, signal) : null);
  } catch {
    // the mark stays as it was until the next look
  }
}

/** Marks the rows whose studies have a running recording, and looks again as long as the list is shown.
 *  Rooms record today: on another day only what runs already is looked after. */
async function followLive(rows, isToday, readStudies, signal) {
  await Promise.all(rows.filter(({study}) => study.open_recording_count > 0).map((row) => markRow(row, signal)));
  const again = async () => {
    if (signal.aborted || !(isToday || rows.some(({study}) => study.open_recording_count > 0))) return;
    if (!document.hidden) {
      try {
        const fresh = new Map((await readStudies()).map((study) => [study.id, study]));
        const changed = rows.filter(
          ({study}) => study.open_recording_count > 0 || fresh.get(study.id)?.open_recording_count > 0,
        );
        for (const row of changed) row.study = fresh.get(row.study.id) ?? row.study;
        await Promise.all(changed.map((row) => markRow(row, signal)));
      } catch {
        // the list is usable without its marks
      }
    }
    setTimeout(again, LOOK_AGAIN_MS);
  };
  setTimeout(again, LOOK_AGAIN_MS);
}

const byStart = (one, other) => Date.parse(one.started_at) - Date.parse(other.started_at);

function roomSections(studies) {
  const rooms = new Map();
  for (const study of [...studies].sort(byStart)) {
    const room = study.room || texts.today.noRoom;
    rooms.set(room, [...(rooms.get(room) ?? []), study]);
  }
  const rows = [];
  const sections = [...rooms.keys()]
    .sort((one, other) => one.localeCompare(other, 'en', {numeric: true}))
    .map((room) => {
      const own = rooms.get(room).map((study) => studyRow(study, false));
      rows.push(...own);
      return element(
        'section',
        {class: 'room'},
        element(
          'h2',
          {},
          room,
          element('span', {class: 'room-count'}, texts.today.studies(own.length)),
        ),
        element('ul', {class: 'study-list'}, own.map(({row}) => row)),
      );
    });
  return {sections, rows};
}

function dayList() {
  const place = element('div', {class: 'day-list', 'aria-live': 'polite'});
  let running = new AbortController();

  async function show(day) {
    running.abort();
    running = new AbortController();
    const {signal} = running;
    fill(place, element('p', {class: 'loading'}, texts.loading));
    try {
      // The clinic's own day, not the UTC day that `date` means: they differ by up to 14 hours.
      const span = {from: startOfDay(day), to: startOfDay(shiftDay(day, 1))};
      const readStudies = () => getAll('/v1/studies', span);
      const studies = await readStudies();
      if (signal.aborted) return;
      const {sections, rows} = roomSections(studies);
      fill(
        place,
        studies.length
          ? sections
          : element(
              'div',
              {class: 'empty'},
              element('p', {class: 'empty-title'}, texts.today.empty),
              element('p', {}, texts.today.emptyHint),
            ),
      );
      await Promise.all([loadKinds(rows, signal), followLive(rows, day === localDay(), readStudies, signal)]);
    } catch (error) {
      if (!signal.aborted) fill(place, notice('error', error.message, () => show(day)));
    }
  }
  return {element: place, show};
}

async function patientStudies(patient, place) {
  fill(place, element('p', {class: 'loading'}, texts.loading));
  try {
    const studies = await getAll('/v1/studies', {patient_id: patient.id});
    const rows = studies.map((study) =>
      studyRow({patient_name: fullName(patient), patient_mrn: patient.mrn, ...study}, true),
    );
    fill(
      place,
      rows.length
        ? element('ul', {class: 'study-list'}, rows.map(({row}) => row))
        : element('p', {class: 'empty'}, texts.today.patientNoStudies),
    );
    const {signal} = new AbortController();
    await Promise.all([loadKinds(rows, signal), ...rows.map((row) => markRow(row, signal))]);
  } catch (error) {
    fill(place, notice('error', error.message, () => patientStudies(patient, place)));
  }
}

function patientRow(patient) {
  const place = element('div', {class: 'patient-studies'});
  const button = element(
    'button',
    {type: 'button', class: 'button', 'aria-expanded': 'false', 'aria-label': texts.today.patientStudiesOf(fullName(patient))},
    texts.today.patientStudies,
  );
  button.addEventListener('click', () => {
    const open = button.getAttribute('aria-expanded') !== 'true';
    button.setAttribute('aria-expanded', String(open));
    if (open) patientStudies(patient, place);
    else fill(place);
  });
  return element(
    'li',
    {class: 'patient-row', dataset: {patient: patient.id}},
    element(
      'div',
      {class: 'patient-line'},
      element('span', {class: 'row-name'}, fullName(patient)),
      element('span', {class: 'row-mrn'}, `${texts.today.mrn} ${patient.mrn}`),
      patient.birth_date &&
        element('span', {class: 'row-born'}, `${texts.today.born} ${calendarDay(patient.birth_date)}`),
      button,
    ),
    place,
  );
}

/** By name and by MRN at once, because people type whichever they have at hand. */
async function findPatients(what) {
  const [byName, byMrn] = await Promise.all([
    get('/v1/patients', {name: what, limit: SEARCH_LIMIT}),
    get('/v1/patients', {mrn: what, limit: SEARCH_LIMIT}),
  ]);
  const found = new Map([...byMrn.items, ...byName.items].map((patient) => [patient.id, patient]));
  return {patients: [...found.values()], more: Boolean(byName.next_cursor)};
}

function search() {
  const results = element('div', {class: 'search-results', 'aria-live': 'polite'});
  const input = element('input', {type: 'search', id: 'search', autocomplete: 'off', 'aria-describedby': 'search-hint', maxlength: 100});

  async function submit(event) {
    event?.preventDefault();
    const what = input.value.trim();
    if (what.length < 2) {
      fill(results, element('p', {class: 'notice notice-info'}, texts.today.searchShort));
      return;
    }
    fill(results, element('p', {class: 'loading'}, texts.loading));
    try {
      const {patients, more} = await findPatients(what);
      const close = () => {
        input.value = '';
        fill(results);
        input.focus();
      };
      fill(
        results,
        element(
          'div',
          {class: 'search-head'},
          element(
            'h2',
            {},
            more ? texts.today.searchMany(patients.length) : texts.today.searchFound(patients.length),
          ),
          element('button', {type: 'button', class: 'button button-quiet', on: {click: close}}, texts.today.searchClear),
        ),
        patients.length
          ? element('ul', {class: 'patient-list'}, patients.map(patientRow))
          : element('p', {class: 'empty'}, texts.today.searchNone(what)),
      );
    } catch (error) {
      fill(results, notice('error', error.message, () => submit()));
    }
  }

  const form = element(
    'form',
    {class: 'search', role: 'search', on: {submit}},
    element('label', {for: 'search'}, texts.today.search),
    element(
      'div',
      {class: 'search-line'},
      input,
      element('button', {type: 'submit', class: 'button button-main'}, texts.today.searchSubmit),
    ),
    element('p', {id: 'search-hint', class: 'hint'}, texts.today.searchHint),
  );
  return [form, results];
}

function buildDay(main) {
  document.title = texts.pageTitle(texts.today.title);
  const list = dayList();
  const picker = dayPicker('/today', list.show);
  append(main, [picker.element, search(), list.element]);
  picker.start();
}

function summaryRow(summary) {
  return element(
    'li',
    {class: 'study-row', dataset: {study: summary.study_id}},
    element('span', {class: 'row-time row-date'}, dayAndTime(summary.started_at)),
    element('a', {class: 'row-name', href: `/referred/${summary.study_id}`}, summary.patient_name),
    element('span', {class: 'row-mrn'}, `${texts.today.mrn} ${summary.patient_mrn}`),
    element('span', {class: 'row-what'}),
    statusBadge(summary.status),
  );
}

async function showSummaries(place) {
  fill(place, element('p', {class: 'loading'}, texts.loading));
  try {
    const summaries = await getAll('/v1/summaries');
    const list = element('ul', {class: 'study-list'}, summaries.map(summaryRow));
    fill(place, summaries.length ? list : element('p', {class: 'empty'}, texts.start.noSummaries));
  } catch (error) {
    fill(place, notice('error', error.message, () => showSummaries(place)));
  }
}

/** For those who see no studies: what their account is for, and the ways there. */
function buildStart(main, roles) {
  const say = texts.start;
  document.title = texts.pageTitle(say.title);
  const link = (href, [name, what]) => element('li', {}, element('a', {href}, name), ` – ${what}`);
  append(main, [element('h1', {}, say.title), element('p', {}, say.lead)]);
  if (roles.includes('referrer')) {
    const place = element('div', {class: 'summaries', 'aria-live': 'polite'});
    append(main, [element('h2', {}, say.summaries), element('p', {class: 'hint'}, say.summariesHint), place]);
    showSummaries(place);
  }
  const links = [roles.includes('auditor') && link('/audit', say.audit), link('/account', say.account)];
  append(main, [
    element('h2', {}, say.more),
    roles.includes('administrator') && element('p', {}, say.administrator),
    element('ul', {class: 'start-links'}, links),
  ]);
}

async function build() {
  const main = buildShell('/today');
  const session = await currentSession().catch(() => null); // the shell says so, and the day list again
  if (session && !readsStudies(session)) buildStart(main, session.user.roles);
  else buildDay(main);
}

build();
