// What people should read for a value of the analysis document: ICS asks for flow to 1 mL/s, volume to
// 10 mL and pressure to 1 cmH2O (Schafer W et al. Neurourol Urodyn 2002;21:261-274, from memory).
import assert from 'node:assert/strict';

const STEP = {'mL/s': 1, mL: 10, 'cm[H2O]': 1, 'mL/cm[H2O]': 1, 'mL/min': 1, s: 1, '%': 1, 1: 1};
const FINER = {qmax_corrected: 0.01, flow_delay_s: 0.1};
const SYMBOL = {'cm[H2O]': 'cmH₂O', 'mL/cm[H2O]': 'mL/cmH₂O', 1: ''};

/** "−2" and "-2", with any kind of space between number and unit, are the same to a reader. */
export const plain = (text) => text.replace(/\u2212/g, '-').replace(/\s+/g, ' ').trim();

/** "21 mL/s"; ties go away from zero. */
export function readable(code, {value, unit}) {
  const step = FINER[code] ?? STEP[unit];
  assert.ok(step, `no rounding is known for the unit ${unit} of ${code}`);
  const decimals = step === 0.01 ? 2 : step === 0.1 ? 1 : 0;
  const magnitude = Math.floor(Math.abs(value) / step + 0.5) * step;
  const sign = value < 0 && magnitude > 0 ? '-' : '';
  return plain(`${sign}${magnitude.toFixed(decimals)} ${SYMBOL[unit] ?? unit}`);
}

/** Every value of an analysis document: {section, code, entry}. */
export function measures(analysis) {
  return Object.entries(analysis.sections).flatMap(([section, content]) =>
    Object.entries(content)
      .filter(([, entry]) => entry !== null && typeof entry === 'object' && 'value' in entry)
      .map(([code, entry]) => ({section, code, entry})),
  );
}
