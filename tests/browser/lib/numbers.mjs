// What people should read for a value of the analysis document: the server says to which step each value
// is rounded; ICS asks for flow to 1 mL/s, volume to 10 mL and pressure to 1 cmH2O (Schafer W et al.
// Neurourol Urodyn 2002;21:261-274, from memory).
import assert from 'node:assert/strict';
import {rounded} from '../../report/expected.mjs';

const ICS_STEP = {'mL/s': 1, 'cm[H2O]': 1};
const SYMBOL = {
  'cm[H2O]': 'cmH₂O', 'mm[Hg]': 'mmHg', 'mL/cm[H2O]': 'mL/cmH₂O', 'mL/mm[Hg]': 'mL/mmHg', 'cm[H2O].cm': 'cmH₂O·cm',
  uV: 'µV', 'uV/min': 'µV/min', 'uW/mm2': 'µW/mm²', 'cm[H2O].s/mL': 'cmH₂O·s/mL', 1: '',
};

/** "−2" and "-2", with any kind of space between number and unit, are the same to a reader. */
export const plain = (text) => text.replace(/\u2212/g, '-').replace(/\s+/g, ' ').trim();

/** "section.code" -> step, from /v1/parameters. */
export function stepsOf(parameters) {
  const steps = new Map();
  for (const {code: section, values} of parameters.sections) {
    for (const {code, unit, report_step: step} of values) {
      steps.set(`${section}.${code}`, step);
      if (unit in ICS_STEP) assert.equal(step, ICS_STEP[unit], `${section}.${code} is rounded as the ICS asks`);
    }
  }
  return steps;
}

/** "21 mL/s"; ties go away from zero. */
export function readable({value, unit}, step) {
  assert.ok(step > 0, `no rounding is known for ${unit}`);
  return plain(`${rounded(value, step)} ${SYMBOL[unit] ?? unit}`);
}

const entriesOf = (content) => (Array.isArray(content) ? content : [content]);

/** Every value of an analysis document: {section, code, entry}; a repeated section gives those of each entry. */
export function measures(analysis) {
  return Object.entries(analysis.sections).flatMap(([section, content]) =>
    entriesOf(content).flatMap((instance) =>
      Object.entries(instance)
        .filter(([, entry]) => entry !== null && typeof entry === 'object' && 'value' in entry)
        .map(([code, entry]) => ({section, code, entry})),
    ),
  );
}

/** Every list: {path, count}. */
export function lists(analysis) {
  return Object.entries(analysis.sections).flatMap(([section, content]) =>
    entriesOf(content).flatMap((instance) =>
      Object.entries(instance)
        .filter(([, entry]) => Array.isArray(entry))
        .map(([code, items]) => ({path: `${section}.${code}`, count: items.length})),
    ),
  );
}
