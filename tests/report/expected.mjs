// What a report has to show of an analysis document, made from the document and /v1/parameters alone: rows
// of words as a reader sees them. Rounding is done on the decimal digits, so that it owes nothing to the
// server's arithmetic.

const UNITS = {
  1: '',
  'cm[H2O]': 'cmH₂O',
  'mm[Hg]': 'mmHg',
  'mL/cm[H2O]': 'mL/cmH₂O',
  'mL/mm[Hg]': 'mL/mmHg',
  'cm[H2O].cm': 'cmH₂O·cm',
  'cm[H2O].s/mL': 'cmH₂O·s/mL',
  uV: 'µV',
  'uV/min': 'µV/min',
  'uW/mm2': 'µW/mm²',
};
const unitOf = (unit) => UNITS[unit] ?? unit ?? '';

const SHOWN_MOST = 200; // items of a list

/** Digits of a decimal as a whole number of thousandths. */
const thousandths = (value) => {
  const [, sign, whole, fraction = ''] = /^(-?)(\d+)(?:\.(\d{1,3}))?$/.exec(String(value));
  return (sign ? -1n : 1n) * (BigInt(whole) * 1000n + BigInt(fraction.padEnd(3, '0')));
};

/** The nearest multiple of a step, ties away from zero, with the decimals of the step. */
export function rounded(value, step) {
  const number = thousandths(value);
  const unit = thousandths(step);
  const size = number < 0n ? -number : number;
  const multiple = ((2n * size + unit) / (2n * unit)) * unit;
  const decimals = `${step}`.split('.')[1]?.length ?? 0;
  const text = `${multiple / 1000n}.${String(multiple % 1000n).padStart(3, '0')}`;
  const shown = decimals === 0 ? text.split('.')[0] : text.slice(0, text.indexOf('.') + 1 + decimals);
  return number < 0n && multiple !== 0n ? `-${shown}` : shown;
}

/** "2:05" or "2:05.3", as the figures tell places on the time axis; beyond an hour "1:02:05". */
export function clock(at_s, step) {
  const hasTenths = step < 1;
  const text = rounded(Math.abs(at_s), hasTenths ? 0.1 : 1);
  const [whole, tenth] = text.split('.').map(Number);
  const two = (number) => String(number).padStart(2, '0');
  const minutes = whole >= 3600 ? `${Math.floor(whole / 3600)}:${two(Math.floor((whole % 3600) / 60))}` : `${Math.floor(whole / 60)}`;
  const sign = at_s < 0 && Number(text) > 0 ? '\u2212' : '';
  return `${sign}${minutes}:${two(whole % 60)}${hasTenths ? `.${tenth}` : ''}`;
}

/** Members of a list that are places on the time axis. */
const MOMENTS = ['at_s', 'start_s', 'end_s', 'peak_s'];

function words(value, step) {
  if (typeof value === 'number') return rounded(value, step);
  if (typeof value === 'boolean') return value ? 'yes' : 'no';
  return value === undefined ? '–' : value.replaceAll('_', ' ');
}

/** What is told beside a value in its own unit, and when it was read. */
function besideValue(measure, step) {
  const names = {baseline: 'before it', over_rest: 'over rest', rise: 'rise', spread: 'SD'};
  return [
    ...(measure.at_s === undefined ? [] : [`at ${clock(measure.at_s, 1)}`]),
    ...Object.entries(names)
      .filter(([code]) => typeof measure[code] === 'number')
      .map(([code, name]) => `${name} ${rounded(measure[code], step)}`),
  ];
}

/** A number that a class rests on, as the tables have it; what is no value of the document is not told. */
function basisWords(parameters, sections, code, value) {
  const name = Object.keys(sections).find((one) => sections[one][code] !== undefined);
  const row = parameters.sections.find((one) => one.code === name)?.values.find((one) => one.code === code);
  return row === undefined ? [] : [`${row.label} ${rounded(value, row.report_step)} ${unitOf(row.unit)}`.trim()];
}

/** The numbers of each class and the places of each finding about quality, in words as they are told. */
export function remarks(parameters, recordings) {
  return recordings.flatMap(({analysis}) => [
    ...analysis.classifications.flatMap(({basis}) =>
      Object.entries(basis).flatMap(([code, value]) => basisWords(parameters, analysis.sections, code, value)),
    ),
    ...analysis.quality
      .filter(({from_s}) => from_s !== undefined)
      .map(({from_s, to_s}) => {
        const [from, to] = [clock(from_s, 1), clock(to_s, 1)];
        return from === to ? from : `${from} to ${to}`;
      }),
  ]);
}

/** [label, value, unit] of each value. */
function valueRows(parameters, section) {
  return parameters.values
    .filter(({code}) => section[code] !== undefined)
    .map(({code, label, unit, report_step: step}) => ({
      code: `${parameters.code}.${code}`,
      cells: [label, words(section[code].value, step), typeof section[code].value === 'number' ? unitOf(unit) : ''],
      beside: besideValue(section[code], step),
    }));
}

/** One row a value, one column a pull, six of them beside one another; doubtful ones with a star. */
function pullRows(parameters, entries) {
  const rows = [];
  for (let first = 0; first < entries.length; first += 6) {
    const shown = entries.slice(first, first + 6);
    for (const {code, label, unit, report_step: step} of parameters.values) {
      if (!entries.some((entry) => entry[code] !== undefined)) continue;
      rows.push({
        code: `${parameters.code}.${code}`,
        cells: [
          unitOf(unit) === '' ? label : `${label}, ${unitOf(unit)}`,
          ...shown.map((entry) =>
            entry[code] === undefined
              ? '–'
              : words(entry[code].value, step) + (entry[code].quality?.length > 0 ? '*' : ''),
          ),
        ],
      });
    }
  }
  return rows;
}

function listRows(parameters, section) {
  return (parameters.lists ?? []).flatMap(({code, members}) =>
    (section[code] ?? []).slice(0, SHOWN_MOST).map((item) => ({
      code: `${parameters.code}.${code}`,
      cells: members.map(({code: member, report_step: step}) =>
        MOMENTS.includes(member) && typeof item[member] === 'number' ? clock(item[member], step) : words(item[member], step),
      ),
    })),
  );
}

/** Every row of every recording: {code, cells: [words, …]}. */
export function expectedRows(parameters, recordings) {
  return recordings.flatMap(({analysis}) =>
    parameters.sections.flatMap((section) => {
      const found = analysis.sections[section.code];
      if (found === undefined) return [];
      if (Array.isArray(found)) {
        return [...pullRows(section, found), ...found.flatMap((entry) => listRows(section, entry))];
      }
      return [...valueRows(section, found), ...listRows(section, found)];
    }),
  );
}

/** The reporting line of each free flow. */
export function voidLines(parameters, recordings) {
  const {values} = parameters.sections.find(({code}) => code === 'uroflow');
  const step = (code) => values.find((one) => one.code === code).report_step;
  return recordings.flatMap(({analysis}) => {
    const {uroflow} = analysis.sections;
    if (!uroflow?.qmax && !uroflow?.voided_volume) return [];
    const parts = ['qmax', 'voided_volume', 'post_void_residual'].map((code) =>
      uroflow[code] === undefined ? '-' : rounded(uroflow[code].value, step(code)),
    );
    return [`VOID: ${parts.join('/')}`];
  });
}
