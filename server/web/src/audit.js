// For auditors: emergency accesses first, who has looked at one patient's data, and every entry by filter.
import {get} from './api.js';
import {append, element, fill} from './dom.js';
import {calendarDay, dayAndTime, shiftDay, startOfDay, timeOfDay} from './format.js';
import {buildShell, notice} from './shell.js';
import {texts} from './texts.js';

const words = texts.audit;
const EMERGENCIES = 20;
const PAGE = 50;

const roleNames = (roles) => roles.map((role) => texts.shell.roles[role] ?? role).join(', ');

function actorCell({name, kind, roles}) {
  return [
    element('span', {class: 'audit-actor'}, name || words.nobody),
    ' ',
    element('span', {class: 'audit-note'}, roleNames(roles) || (words.kinds[kind] ?? kind)),
  ];
}

/** A table that says what it is, and what each column holds. `rows`: lists of cells; the first heads its row. */
function table(caption, columns, rows) {
  return element(
    'div',
    {class: 'table-scroll', tabindex: '0', role: 'region', 'aria-label': caption},
    element(
      'table',
      {class: 'audit-table'},
      element('caption', {}, caption),
      element('thead', {}, element('tr', {}, columns.map((name) => element('th', {scope: 'col'}, name)))),
      element(
        'tbody',
        {},
        rows.map(({cells: [head, ...cells], emergency}) =>
          element(
            'tr',
            {class: emergency ? 'audit-emergency' : null},
            element('th', {scope: 'row'}, head),
            cells.map((cell) => element('td', {}, cell)),
          ),
        ),
      ),
    ),
  );
}

const mark = (emergency) => emergency && element('strong', {class: 'audit-mark'}, words.emergency);
const outcomeText = (item) => (item.outcome === 'done' ? words.outcomes.done : `${words.outcomes[item.outcome]} (${item.status})`);

function patientCell(ids) {
  if (ids.length > 1) return words.patients(ids.length);
  return ids.length === 1 ? element('code', {}, ids[0]) : '–';
}

function entryRow(item) {
  return {
    emergency: item.emergency,
    cells: [
      dayAndTime(item.recorded_at),
      actorCell(item.actor),
      [words.actions[item.action] ?? item.action, ' ', words.resources[item.resource] ?? item.resource],
      patientCell(item.patient_ids),
      [outcomeText(item), ' ', mark(item.emergency)],
      item.reason || '–',
      item.address || '–',
    ],
  };
}

/** Fills `place` with what `load` gives, or says what went wrong and offers to try again. */
async function show(place, load) {
  fill(place, element('p', {class: 'loading'}, texts.loading));
  try {
    fill(place, await load());
  } catch (error) {
    fill(place, notice('error', error.status === 422 ? words.unknown : error.message, error.status === 422 ? null : () => show(place, load)));
  }
}

function emergencies() {
  const place = element('div', {'aria-live': 'polite', id: 'emergencies'});
  const load = async () => {
    const list = await get('/v1/audit', {emergency: true, limit: EMERGENCIES});
    return list.items.length
      ? table(words.emergenciesCaption, words.entryColumns, list.items.map(entryRow))
      : element('p', {class: 'empty'}, words.noEmergencies);
  };
  show(place, load);
  return element('section', {'aria-labelledby': 'audit-emergencies'}, element('h2', {id: 'audit-emergencies'}, words.emergencies), place);
}

function dayRow(item) {
  const kinds = item.kinds.map((kind) => {
    const [action, resource] = kind.split(' ');
    return `${words.actions[action] ?? action} ${words.resources[resource] ?? resource}`;
  });
  return {
    emergency: item.emergency,
    cells: [
      calendarDay(item.day),
      actorCell(item.actor),
      [kinds.join(', ') || words.onlyRefused, ' ', mark(item.emergency)],
      [String(item.done), item.refused > 0 && ` (+ ${words.refusedCount(item.refused)})`],
      `${timeOfDay(item.first_at)} – ${timeOfDay(item.last_at)}`,
      item.addresses.join(', ') || '–',
    ],
  };
}

const field = (id, label, input) => element('p', {class: 'audit-field'}, element('label', {for: id}, label), input);

function whoHasLooked() {
  const place = element('div', {'aria-live': 'polite', id: 'lookers'});
  const input = element('input', {id: 'mrn', autocomplete: 'off', required: true, maxlength: 64});

  async function load(mrn) {
    const {patient_id: id} = await get('/v1/audit', {mrn, limit: 1});
    const items = [];
    let cursor = null;
    do {
      const page = await get(`/v1/patients/${id}/audit`, {limit: 200, cursor});
      items.push(...page.items);
      cursor = page.next_cursor;
    } while (cursor && items.length < 2000);
    return items.length
      ? table(words.lookersCaption(mrn), words.dayColumns, items.map(dayRow))
      : element('p', {class: 'empty'}, words.nobodyLooked);
  }

  const submit = (event) => {
    event.preventDefault();
    const mrn = input.value.trim();
    if (mrn) show(place, () => load(mrn));
  };
  return element(
    'section',
    {'aria-labelledby': 'audit-lookers'},
    element('h2', {id: 'audit-lookers'}, words.lookers),
    element(
      'form',
      {class: 'audit-form', on: {submit}},
      field('mrn', words.mrn, input),
      element('button', {type: 'submit', class: 'button button-main'}, words.show),
    ),
    place,
  );
}

const choice = (id, names) =>
  element(
    'select',
    {id},
    element('option', {value: ''}, words.all),
    Object.entries(names).map(([value, name]) => element('option', {value}, name)),
  );

function entries() {
  const place = element('div', {'aria-live': 'polite', id: 'entries'});
  const inputs = {
    from: element('input', {type: 'date', id: 'from'}),
    to: element('input', {type: 'date', id: 'to'}),
    mrn: element('input', {id: 'entry-mrn', autocomplete: 'off', maxlength: 64}),
    resource: choice('resource', words.resources),
    action: choice('action', words.actions),
    outcome: choice('outcome', words.outcomes),
  };

  const filters = () => ({
    from: inputs.from.value && startOfDay(inputs.from.value),
    to: inputs.to.value && startOfDay(shiftDay(inputs.to.value, 1)),
    mrn: inputs.mrn.value.trim(),
    resource: inputs.resource.value,
    action: inputs.action.value,
    outcome: inputs.outcome.value,
    limit: PAGE,
  });

  async function load(asked, cursor) {
    const list = await get('/v1/audit', {...asked, cursor});
    if (!list.items.length) return element('p', {class: 'empty'}, words.none);
    const older = element('button', {type: 'button', class: 'button', on: {click: () => show(place, () => load(asked, list.next_cursor))}}, words.older);
    return [table(words.entriesCaption, words.entryColumns, list.items.map(entryRow)), list.next_cursor && older];
  }

  const submit = (event) => {
    event?.preventDefault();
    const asked = filters();
    show(place, () => load(asked, null));
  };
  submit();
  return element(
    'section',
    {'aria-labelledby': 'audit-entries'},
    element('h2', {id: 'audit-entries'}, words.entries),
    element(
      'form',
      {class: 'audit-form', on: {submit}},
      field('from', words.from, inputs.from),
      field('to', words.to, inputs.to),
      field('entry-mrn', words.mrn, inputs.mrn),
      field('resource', words.resource, inputs.resource),
      field('action', words.action, inputs.action),
      field('outcome', words.outcome, inputs.outcome),
      element('button', {type: 'submit', class: 'button button-main'}, words.show),
    ),
    place,
  );
}

document.title = texts.pageTitle(words.title);
append(buildShell('/audit'), [
  element('h1', {}, words.title),
  element('p', {class: 'hint'}, words.lead),
  emergencies(),
  whoHasLooked(),
  entries(),
]);
