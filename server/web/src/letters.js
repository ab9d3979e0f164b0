// The letters of a day: what is to be written, what is ready, what was sent; and sending them together.
import {get, getAll, post, put} from './api.js';
import {dayPicker} from './day-picker.js';
import {ask} from './dialog.js';
import {append, element, fill} from './dom.js';
import {dayAndTime, shiftDay, startOfDay} from './format.js';
import {buildShell, notice} from './shell.js';
import {texts} from './texts.js';

const STATES = ['to_write', 'ready', 'sent'];
const STEP_LETTERS = 5; // a step is sent as a whole: short enough to show that something happens
const say = texts.letters;

// ---- whom a letter goes to ----

let fieldNumber = 0;

/** A labelled field; `control(properties)` makes the control. */
function field(label, control, hint = null) {
  const id = `letter-field-${++fieldNumber}`;
  const hintId = hint && `${id}-hint`;
  return element(
    'div',
    {class: 'field'},
    element('label', {for: id}, label),
    control({id, 'aria-describedby': hintId}),
    hint && element('p', {class: 'hint', id: hintId}, hint),
  );
}

const line = (name, value, more = {}) => (properties) =>
  element('input', {name, value, maxlength: 200, autocomplete: 'off', ...more, ...properties});

const area = (name, value, rows, maxlength) => (properties) =>
  element('textarea', {name, rows, maxlength, ...properties}, value);

const choice = (name, options, chosen) => (properties) =>
  element(
    'select',
    {name, ...properties},
    options.map(([value, label]) => element('option', {value, selected: value === chosen}, label)),
  );

const linesOf = (text) =>
  text
    .split('\n')
    .map((one) => one.trim())
    .filter((one) => one !== '');

function settingsOf(form) {
  const referrer = form.get('referrer_id');
  return {
    template: form.get('template'),
    language: form.get('language'),
    addressee: {
      name: form.get('name').trim(),
      salutation: form.get('salutation').trim(),
      address: linesOf(form.get('address')),
      ...(referrer && {referrer_id: referrer}),
    },
    copies: linesOf(form.get('copies')),
    question: form.get('question').trim(),
    remarks: form.get('remarks').trim(),
  };
}

/** Asks whom a letter goes to; whether something was stored. */
async function address(letter) {
  const path = `/v1/studies/${letter.study_id}/letter/settings`;
  const [settings, templates, referrers] = await Promise.all([
    get(path),
    get('/v1/letter-templates'),
    get(`/v1/patients/${letter.patient_id}/referrals`),
  ]);
  const {form} = say;
  const names = [...new Set(templates.items.filter((one) => one.in_use || one.name === settings.template).map(({name}) => name))];
  const content = [
    field(form.name, line('name', settings.addressee.name, {required: true})),
    field(form.salutation, line('salutation', settings.addressee.salutation), form.salutationHint),
    field(form.address, area('address', settings.addressee.address.join('\n'), 4, 2000), form.addressHint),
    field(
      form.referrer,
      choice(
        'referrer_id',
        [['', form.noReferrer], ...referrers.items.map((one) => [one.id, one.display_name])],
        settings.addressee.referrer_id ?? '',
      ),
    ),
    field(form.language, choice('language', Object.entries(form.languages), settings.language)),
    field(form.template, choice('template', names.map((name) => [name, name]), settings.template)),
    field(form.copies, area('copies', settings.copies.join('\n'), 3, 4000), form.copiesHint),
    field(form.question, area('question', settings.question, 3, 4000)),
    field(form.remarks, area('remarks', settings.remarks, 3, 4000)),
  ];
  const stored = await ask({
    title: form.title,
    content,
    submit: form.submit,
    run: (answers) => put(path, settingsOf(answers), settings.version),
  });
  return stored !== null;
}

// ---- rows ----

function letterRow(letter, changed) {
  const isReady = letter.state === 'ready';
  const name = letter.patient_name;
  const problem = element('div', {});
  const pick =
    isReady &&
    element('input', {type: 'checkbox', 'aria-label': say.pick(name), dataset: {pick: letter.study_id}, on: {change: changed.picked}});
  const write = element('button', {type: 'button', class: 'button', 'aria-label': say.addressOf(name)}, say.address);
  write.addEventListener('click', async () => {
    fill(problem);
    try {
      if (await address(letter)) changed.reload(letter.study_id);
    } catch (error) {
      fill(problem, notice('error', error.message));
    }
  });
  const sent = letter.sent_at && say.sentLine(letter.way, dayAndTime(letter.sent_at), letter.sent_by_name);
  return element(
    'li',
    {class: 'letter-row', dataset: {study: letter.study_id, state: letter.state}},
    element('span', {class: 'letter-pick'}, pick),
    element(
      'span',
      {class: 'letter-who'},
      element('a', {href: `/studies/${letter.study_id}`}, name),
      element('span', {class: 'row-mrn'}, `${texts.today.mrn} ${letter.patient_mrn}`),
    ),
    element(
      'span',
      {class: 'letter-what'},
      element('span', {}, letter.addressee_name ? say.to(letter.addressee_name) : say.nobody),
      sent && element('span', {}, sent),
    ),
    element(
      'span',
      {class: 'letter-buttons'},
      element(
        'a',
        {class: 'button', href: `/v1/studies/${letter.study_id}/letter`, target: '_blank', rel: 'noopener', 'aria-label': say.readOf(name)},
        say.read,
      ),
      write,
    ),
    problem,
  );
}

// ---- sending ----

/** Where a batch stands, and what failed and why. */
function batchView(batch, goOn) {
  const label = say.progress(batch.done, batch.of);
  const finished = batch.done === batch.of;
  return [
    element('h2', {tabindex: '-1'}, say.working),
    element('progress', {max: batch.of, value: batch.done, 'aria-label': say.working}, label),
    element('p', {role: 'status'}, finished ? say.finished(batch.sent.length) : label),
    batch.failed.length > 0 && [
      element('p', {}, say.failed(batch.failed.length)),
      element('ul', {class: 'letter-failed'}, batch.failed.map((one) => element('li', {}, `${one.patient_name}: ${one.reason}`))),
    ],
    finished &&
      batch.sent.length > 0 &&
      batch.way === 'printed' &&
      element('a', {class: 'button button-main', href: `/v1/letter-batches/${batch.id}/document`, target: '_blank', rel: 'noopener'}, say.file),
    goOn && [notice('error', say.interrupted), element('button', {type: 'button', class: 'button', on: {click: goOn}}, say.goOn)],
  ];
}

/** Sends a batch step by step. It stays in the address, so that a page that is loaded again goes on. */
async function work(batch, place, finished) {
  const path = `/v1/letter-batches/${batch.id}`;
  history.replaceState(null, '', `${location.pathname}${location.search}#batch=${batch.id}`);
  let state = batch;
  try {
    while (state.done < state.of) {
      fill(place, batchView(state));
      state = await post(`${path}/next`, {limit: STEP_LETTERS});
    }
    fill(place, batchView(state));
    history.replaceState(null, '', location.pathname + location.search);
    place.querySelector('h2').focus();
    finished();
  } catch {
    fill(place, batchView(state, () => work(state, place, finished)));
    place.querySelector('button').focus();
  }
}

/** What can be done with the letters that are chosen among the rows in `list`. */
function tools(list, progress, reload) {
  const picks = () => [...list.querySelectorAll('input[data-pick]')];
  const chosen = () => picks().filter((one) => one.checked);
  const count = element('span', {role: 'status'});
  const problem = element('div', {});
  const all = element('input', {type: 'checkbox'});

  function picked() {
    const number = chosen().length;
    all.checked = number > 0 && number === picks().length;
    all.indeterminate = number > 0 && number < picks().length;
    count.textContent = say.chosen(number);
  }

  all.addEventListener('change', () => {
    for (const one of picks()) one.checked = all.checked;
    picked();
  });

  async function send(way) {
    const study_ids = chosen().map((one) => one.dataset.pick);
    fill(problem, study_ids.length === 0 && notice('info', say.noneChosen));
    if (study_ids.length === 0) return;
    for (const button of buttons) button.disabled = true;
    try {
      await work(await post('/v1/letter-batches', {way, study_ids}), progress, reload);
    } catch (error) {
      fill(problem, notice('error', error.message));
    }
    for (const button of buttons) button.disabled = false;
  }

  const buttons = Object.entries(say.ways).map(([way, label]) =>
    element('button', {type: 'button', class: 'button', dataset: {way}, on: {click: () => send(way)}}, label),
  );
  const bar = element('div', {class: 'letter-tools'}, element('label', {}, all, say.pickAll), count, buttons);
  return {nodes: [bar, problem], picked};
}

// ---- the day ----

function stateSection(state, letters, progress, reload) {
  const [title, hint] = say.states[state];
  const list = element('ul', {class: 'letter-list'});
  const bar = state === 'ready' ? tools(list, progress, () => reload()) : {nodes: [], picked: () => {}};
  append(list, letters.map((one) => letterRow(one, {picked: bar.picked, reload})));
  bar.picked();
  return element(
    'section',
    {class: 'room', dataset: {state}},
    element('h2', {}, title, element('span', {class: 'room-count'}, say.count(letters.length))),
    hint && element('p', {class: 'hint'}, hint),
    bar.nodes,
    list,
  );
}

function dayList(progress) {
  const place = element('div', {class: 'day-list'});
  let shown = null;

  /** `focusOn`: the study whose row gets the focus back. */
  async function show(day, focusOn = null) {
    shown = day;
    if (focusOn === null && place.childElementCount === 0) fill(place, element('p', {class: 'loading', role: 'status'}, texts.loading));
    try {
      const span = {from: startOfDay(day), to: startOfDay(shiftDay(day, 1))};
      const letters = await getAll('/v1/letters', span);
      if (shown !== day) return;
      const sections = STATES.map((state) => [state, letters.filter((one) => one.state === state)])
        .filter(([, some]) => some.length > 0)
        .map(([state, some]) => stateSection(state, some, progress, (study = null) => show(day, study)));
      fill(
        place,
        sections.length
          ? sections
          : element('div', {class: 'empty', role: 'status'}, element('p', {class: 'empty-title'}, say.empty), element('p', {}, say.emptyHint)),
      );
      if (focusOn !== null) place.querySelector(`[data-study="${focusOn}"] button`)?.focus();
    } catch (error) {
      if (shown === day) fill(place, notice('error', error.message, () => show(day)));
    }
  }
  return {element: place, show: (day) => show(day), reload: () => show(shown)};
}

/** A batch that this page was sending when it was left. */
async function resume(progress, reload) {
  const [, id] = /^#batch=([0-9a-f-]{36})$/.exec(location.hash) ?? [];
  if (id === undefined) return;
  try {
    await work(await get(`/v1/letter-batches/${id}`), progress, reload);
  } catch (error) {
    fill(progress, notice('error', error.message));
  }
}

document.title = texts.pageTitle(say.title);
const main = buildShell('/letters');
const progress = element('div', {class: 'letter-progress'});
const list = dayList(progress);
const picker = dayPicker('/letters', list.show, say.before);
append(main, [picker.element, progress, list.element]);
picker.start();
resume(progress, list.reload);
