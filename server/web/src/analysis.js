// The analysis document for people: quality, key numbers, numbers by section, what is missing, suggestions.
import {descriptionList, element} from './dom.js';
import {clock, humanise, number, reportStep, unitSymbol, valueText, withUnit} from './format.js';
import {signalSymbol} from './signals.js';
import {CODE_NAME, KEY_NUMBERS, SECTION_NAME, texts} from './texts.js';

const KEY_NUMBERS_MOST = 6;
const say = texts.analysis;

const codeName = (code) => CODE_NAME[code] ?? humanise(code);
const sectionName = (section) => SECTION_NAME[section] ?? humanise(section);
const isMeasure = (entry) => entry !== null && typeof entry === 'object' && 'value' in entry;

function jumpButton(name, atS, jumpTo) {
  const time = clock(atS, 1);
  return element(
    'button',
    {type: 'button', class: 'jump', 'aria-label': say.showAt(name, time), on: {click: () => jumpTo(atS)}},
    say.at(time),
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
    valueText(code, entry),
  );
}

export function keyNumbers(analysis) {
  const shown = KEY_NUMBERS.map(([path, name]) => [...path.split('.'), name])
    .map(([section, code, name]) => ({section, code, name, entry: analysis.sections[section]?.[code]}))
    .filter(({entry}) => isMeasure(entry))
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

function measureRow(section, code, entry, jumpTo) {
  const how = [
    element('span', {class: `source source-${entry.source}`}, say.source[entry.source] ?? entry.source ?? ''),
    typeof entry.at_s === 'number' && jumpButton(codeName(code), entry.at_s, jumpTo),
    entry.reason && element('span', {class: 'method'}, entry.reason),
  ];
  return element(
    'tr',
    {},
    element('th', {scope: 'row'}, codeName(code)),
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
function methodList(measures) {
  const named = new Map();
  for (const [code, {method}] of measures) {
    if (method) named.set(method, [...(named.get(method) ?? []), codeName(code)]);
  }
  if (!named.size) return null;
  return element(
    'details',
    {class: 'methods'},
    element('summary', {}, say.methods),
    descriptionList('method-list', [...named].map(([method, names]) => [names.join(', '), method])),
  );
}

function plain(value) {
  if (typeof value === 'number') return number(value, 0.1);
  if (typeof value === 'boolean') return value ? texts.yes : texts.no;
  return value === null || value === undefined ? texts.traces.none : String(value);
}

/** Lists inside a section (contractions, coughs, pulls …): one row each, one column a member. */
function listTable(title, items) {
  const heads = [...new Set(items.flatMap((item) => Object.keys(item)))];
  const cell = (value) => plain(isMeasure(value) ? value.value : value);
  return element(
    'div',
    {class: 'table-scroll', tabindex: '0', role: 'group', 'aria-label': title},
    element(
      'table',
      {},
      element('caption', {}, title),
      element('thead', {}, element('tr', {}, heads.map((head) => element('th', {scope: 'col'}, codeName(head))))),
      element('tbody', {}, items.map((item) => element('tr', {}, heads.map((head) => element('td', {}, cell(item[head])))))),
    ),
  );
}

function sectionBlock(section, content, jumpTo) {
  if (Array.isArray(content)) {
    return content.length
      ? element('section', {class: 'numbers'}, element('h4', {}, sectionName(section)), listTable(sectionName(section), content))
      : null;
  }
  const entries = Object.entries(content);
  const measures = entries.filter(([, entry]) => isMeasure(entry));
  const lists = entries.filter(([, entry]) => Array.isArray(entry) && entry.length);
  if (!measures.length && !lists.length) return null;
  return element(
    'section',
    {class: 'numbers', dataset: {section}},
    element('h4', {}, sectionName(section)),
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
    methodList(measures),
    lists.map(([code, items]) => listTable(codeName(code), items)),
  );
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
      notComputed.map(({section, code, reason}) =>
        element(
          'li',
          {dataset: {missing: `${section}.${code}`}},
          element('span', {class: 'missing-name'}, `${sectionName(section)}: ${codeName(code)}`),
          ' – ',
          reason,
        ),
      ),
    ),
  );
}

export function numbers(analysis, jumpTo) {
  const blocks = Object.entries(analysis.sections)
    .map(([section, content]) => sectionBlock(section, content, jumpTo))
    .filter(Boolean);
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

function basisText(basis) {
  return Object.entries(basis ?? {})
    .map(([code, value]) =>
      typeof value === 'number' ? `${codeName(code)} ${number(value, reportStep(code, '1'))}` : codeName(code),
    )
    .join(', ');
}

/** "voiding.booi" -> "Voiding: Bladder outlet obstruction index (BOOI)" */
function pathName(path) {
  const [section, code] = path.split('.');
  return code ? `${sectionName(section)}: ${codeName(code)}` : codeName(path);
}

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
      suggestion(one.code, codeName(one.code), texts.words[one.class] ?? humanise(one.class), [
        [say.basis, basisText(one.basis)],
        [say.rule, one.method],
      ]),
    ),
    ...analysis.findings.map((one) =>
      suggestion(one.code, '', one.text, [[say.basis, (one.basis ?? []).map(pathName).join(', ')]]),
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
