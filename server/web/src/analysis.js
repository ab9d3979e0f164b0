// The analysis document for people: quality, key numbers, numbers by section, what is missing, suggestions.
import {anyRow, className, codeName, membersOf, pathName, sectionName, stepOf} from './catalogue.js';
import {descriptionList, element} from './dom.js';
import {clock, humanise, nameAndUnit, number, shortNumber, unitSymbol, valueText, withUnit} from './format.js';
import {signalSymbol} from './signals.js';
import {KEY_NUMBERS, PART_IN_ITS_UNIT, PART_NAME, texts} from './texts.js';

const KEY_NUMBERS_MOST = 6;
const say = texts.analysis;

const isMeasure = (entry) => entry !== null && typeof entry === 'object' && 'value' in entry;

function jumpButton(name, atS, jumpTo, text = say.at) {
  const time = clock(atS, 1);
  return element(
    'button',
    {type: 'button', class: 'jump', 'aria-label': say.showAt(name, time), on: {click: () => jumpTo(atS)}},
    text(time),
  );
}

/** The rounded value; the API's own stands in data-value and in the title. */
function valueNode(section, code, entry, className) {
  return element(
    'span',
    {
      class: className,
      title: typeof entry.value === 'number' ? say.unrounded(withUnit(String(entry.value), entry.unit)) : null,
      dataset: {code: `${section}.${code}`, value: JSON.stringify(entry.value)},
    },
    valueText(entry.value, stepOf(section, code)),
  );
}

/** `isKnown(section, code)`: false for what is not to be shown although it was computed. */
export function keyNumbers(analysis, isKnown = () => true) {
  const shown = KEY_NUMBERS.map(([path, name]) => [...path.split('.'), name])
    .map(([section, code, name]) => ({section, code, name, entry: analysis.sections[section]?.[code]}))
    .filter(({section, code, entry}) => isMeasure(entry) && isKnown(section, code))
    .slice(0, KEY_NUMBERS_MOST);
  if (!shown.length) return null;
  return element(
    'dl',
    {class: 'key-numbers', 'aria-label': say.keyNumbers},
    shown.map(({section, code, name, entry}) =>
      element(
        'div',
        {class: 'key-number'},
        element('dt', {}, name),
        element(
          'dd',
          {},
          valueNode(section, code, entry, 'key-value'),
          ' ',
          element('span', {class: 'key-unit'}, unitSymbol(entry.unit)),
        ),
      ),
    ),
  );
}

const NO_PARTS = new Set(['value', 'unit', 'at_s', 'source', 'method', 'reason', 'quality']);

function partText(section, code, entry, part) {
  const value = entry[part];
  if (PART_IN_ITS_UNIT[part]) {
    return `${PART_IN_ITS_UNIT[part]} ${withUnit(number(value, stepOf(section, code)), entry.unit)}`;
  }
  const {name, unit} = nameAndUnit(part);
  return `${PART_NAME[part] ?? name} ${withUnit(shortNumber(value), unit)}`;
}

/** What is told beside a value, e.g. the baseline of a leak point pressure. */
const partsText = (section, code, entry) =>
  Object.keys(entry)
    .filter((part) => !NO_PARTS.has(part) && typeof entry[part] === 'number')
    .map((part) => partText(section, code, entry, part))
    .join(', ');

function measureRow(section, code, entry, jumpTo) {
  const parts = partsText(section, code, entry);
  const how = [
    element('span', {class: `source source-${entry.source}`}, say.source[entry.source] ?? entry.source ?? ''),
    typeof entry.at_s === 'number' && jumpButton(codeName(section, code), entry.at_s, jumpTo),
    parts && element('span', {class: 'parts'}, parts),
    entry.quality?.length && element('span', {class: 'doubt'}, say.doubt(entry.quality.map(humanise).join(', '))),
    entry.reason && element('span', {class: 'method'}, entry.reason),
  ];
  return element(
    'tr',
    {},
    element('th', {scope: 'row'}, codeName(section, code)),
    element(
      'td',
      {class: 'number-cell'},
      valueNode(section, code, entry, 'number'),
      ' ',
      element('span', {class: 'unit'}, unitSymbol(entry.unit)),
    ),
    element('td', {class: 'how-cell'}, how),
  );
}

/** Definitions of a section's numbers, folded away: they are asked for now and then, the numbers always. */
function methodList(section, measures) {
  const named = new Map();
  for (const [code, {method}] of measures) {
    if (method) named.set(method, [...(named.get(method) ?? []), codeName(section, code)]);
  }
  if (!named.size) return null;
  return element(
    'details',
    {class: 'methods'},
    element('summary', {}, say.methods),
    descriptionList('method-list', [...named].map(([method, names]) => [names.join(', '), method])),
  );
}

/** Moments of an item are read as on the time axis; the first ones lead to their place there. */
const MOMENTS = ['at_s', 'start_s', 'peak_s', 'end_s'];
const LEADING = ['at_s', 'start_s'];

function memberCell(title, member, value, jumpTo) {
  if (value === null || value === undefined) return texts.traces.none;
  if (typeof value !== 'number') return valueText(value);
  if (LEADING.includes(member.code)) return jumpButton(title, value, jumpTo, (time) => time);
  return MOMENTS.includes(member.code) ? clock(value, 1) : number(value, member.report_step);
}

const memberUnit = ({code, unit}) => (MOMENTS.includes(code) ? '' : unitSymbol(unit));

/** Lists inside a section (contractions, coughs, leaks …): one row each, one column a member. */
function listTable(section, list, items, jumpTo) {
  const title = codeName(section, list);
  const members = membersOf(section, list, items);
  const head = (member) => element('th', {scope: 'col'}, member.label, memberUnit(member) && ` (${memberUnit(member)})`);
  return element(
    'div',
    {class: 'table-scroll', tabindex: '0', role: 'group', 'aria-label': title, dataset: {list: `${section}.${list}`}},
    element(
      'table',
      {class: 'items'},
      element('caption', {}, title),
      element('thead', {}, element('tr', {}, members.map(head))),
      element(
        'tbody',
        {},
        items.map((item) =>
          element('tr', {}, members.map((member) => element('td', {}, memberCell(title, member, item[member.code], jumpTo)))),
        ),
      ),
    ),
  );
}

/** One section's numbers and lists under a heading; null when it holds none. */
function sectionBlock(section, title, content, jumpTo) {
  const entries = Object.entries(content);
  const measures = entries.filter(([, entry]) => isMeasure(entry));
  const lists = entries.filter(([, entry]) => Array.isArray(entry));
  if (!measures.length && !lists.length) return null;
  return element(
    'section',
    {class: 'numbers', dataset: {section}},
    element('h4', {}, title),
    measures.length > 0 &&
      element(
        'table',
        {class: 'measures'},
        element(
          'thead',
          {class: 'visually-hidden'},
          element('tr', {}, [say.measure, say.value, say.how].map((head) => element('th', {scope: 'col'}, head))),
        ),
        element('tbody', {}, measures.map(([code, entry]) => measureRow(section, code, entry, jumpTo))),
      ),
    methodList(section, measures),
    lists.map(([code, items]) =>
      items.length
        ? listTable(section, code, items, jumpTo)
        : element('p', {class: 'hint', dataset: {list: `${section}.${code}`}}, say.noneFound(codeName(section, code))),
    ),
  );
}

/** A repeated section (pulls of a profile) has one block an entry. */
function sectionBlocks(section, content, jumpTo) {
  if (!Array.isArray(content)) return [sectionBlock(section, sectionName(section), content, jumpTo)];
  return content.map((entry, index) => sectionBlock(section, say.entry(sectionName(section), index + 1), entry, jumpTo));
}

/** "Not computed", by section. */
function missingBlock(notComputed) {
  if (!notComputed.length) return null;
  return element(
    'section',
    {class: 'not-computed'},
    element('h4', {}, say.notComputed),
    element(
      'ul',
      {},
      notComputed.map(({section, index, code, reason}) =>
        element(
          'li',
          {dataset: {missing: `${section}.${code}`}},
          element(
            'span',
            {class: 'missing-name'},
            `${index === undefined ? sectionName(section) : say.entry(sectionName(section), index + 1)}: ${codeName(section, code)}`,
          ),
          ' – ',
          reason,
        ),
      ),
    ),
  );
}

/** A block of numbers for each section that holds any. */
export const numberSections = (analysis, jumpTo) =>
  Object.entries(analysis.sections)
    .flatMap(([section, content]) => sectionBlocks(section, content, jumpTo))
    .filter(Boolean);

export function numbers(analysis, jumpTo) {
  const blocks = numberSections(analysis, jumpTo);
  return element(
    'div',
    {class: 'numbers-block'},
    element('h3', {}, say.title),
    blocks.length
      ? element('p', {class: 'hint'}, say.rounding)
      : element('p', {class: 'empty'}, say.empty),
    element('div', {class: 'numbers-grid'}, blocks, missingBlock(analysis.not_computed)),
    element(
      'p',
      {class: 'hint'},
      say.software(analysis.software.name, analysis.software.version, analysis.revision),
    ),
  );
}

function qualityItem(finding, jumpTo) {
  const span = typeof finding.from_s === 'number';
  return element(
    'li',
    {class: `quality-item quality-${finding.severity}`, dataset: {quality: finding.code}},
    element('span', {class: 'severity'}, say.severity[finding.severity] ?? finding.severity),
    element(
      'span',
      {class: 'quality-text'},
      finding.signal && [element('span', {class: 'quality-signal'}, signalSymbol(finding.signal)), ' '],
      finding.text,
      ' ',
      span && jumpButton(finding.text, (finding.from_s + (finding.to_s ?? finding.from_s)) / 2, jumpTo),
    ),
  );
}

const SEVERITIES = ['error', 'warning', 'info'];

export function quality(analysis, jumpTo) {
  const sorted = [...analysis.quality].sort(
    (one, other) => SEVERITIES.indexOf(one.severity) - SEVERITIES.indexOf(other.severity),
  );
  const counts = SEVERITIES.map((severity) => sorted.filter((one) => one.severity === severity).length);
  const worst = sorted[0]?.severity ?? 'good';
  return element(
    'section',
    {class: `quality quality-worst-${worst}`},
    element('h3', {}, say.quality, sorted.length > 0 && element('span', {class: 'quality-counts'}, say.qualityCounts(...counts))),
    sorted.length
      ? element('ul', {}, sorted.map((finding) => qualityItem(finding, jumpTo)))
      : element('p', {}, say.qualityGood),
  );
}

/** A number that a class rests on: a value of the document, or one that says its own unit. */
function numberText(code, value, present) {
  const row = anyRow(code, present);
  if (row) return `${row.label} ${withUnit(number(value, row.report_step), row.unit)}`;
  const {name, unit} = nameAndUnit(code);
  return `${name} ${withUnit(shortNumber(value), unit)}`;
}

const classBasisText = (basis, present) =>
  Object.entries(basis)
    .map(([code, value]) => numberText(code, value, present))
    .join(', ');

const limitsText = (limits) =>
  Object.entries(limits ?? {})
    .map(([code, value]) => {
      const {name, unit} = nameAndUnit(code);
      return `${name} ${withUnit(String(value), unit)}`;
    })
    .join(', ');

/** What rests on a doubtful value is as doubtful. */
const doubtDetail = ({quality}) => [
  say.doubtful,
  quality?.length ? element('span', {class: 'doubt'}, say.doubt(quality.map(humanise).join(', '))) : '',
];

function suggestion(key, title, text, details) {
  return element(
    'li',
    {dataset: {suggestion: key}},
    element('span', {class: 'badge badge-suggestion'}, say.suggestion),
    element(
      'div',
      {class: 'suggestion-text'},
      element('p', {}, title && [element('span', {class: 'suggestion-title'}, `${title}: `)], text),
      descriptionList('suggestion-details', details),
    ),
  );
}

export function suggestions(analysis) {
  const items = [
    ...analysis.classifications.map((one) =>
      suggestion(one.code, className(one.code), texts.words[one.class] ?? humanise(one.class), [
        [say.basis, classBasisText(one.basis, analysis.sections)],
        [say.limits, limitsText(one.limits)],
        [say.rule, one.method],
        doubtDetail(one),
      ]),
    ),
    ...analysis.findings.map((one) =>
      suggestion(one.code, '', one.text, [
        [say.basis, one.basis.map(pathName).join(', ')],
        [say.limits, limitsText(one.limits)],
        doubtDetail(one),
      ]),
    ),
  ];
  if (!items.length) return null;
  return element(
    'section',
    {class: 'suggestions'},
    element('h3', {}, say.suggestions),
    element('p', {class: 'hint'}, say.suggestionsHint),
    element('ul', {}, items),
  );
}
