// Which signal stands where, under which name, in which colour and on which scale.
import {element} from './dom.js';
import {SIGNAL_NAME} from './texts.js';

// As the trade stacks them: pressures first, then flow, volumes, EMG, and everything else.
const ORDER = [
  'pabd', 'pves', 'pdet', 'flow', 'vvoid', 'vinf', 'emg', 'pura', 'pvag', 'prect', 'panal', 'balloon', 'puller',
];

// Pressures of one unit share a scale, so that heights in neighbouring strips compare.
// `least`: the top of the scale is never below this, so that a quiet signal looks quiet.
const SCALES = {
  'cm[H2O]': {shared: true, least: 40},
  'mm[Hg]': {shared: true, least: 40},
  'mL/s': {shared: false, least: 15},
  mL: {shared: false, least: 100},
};

/** "panal7" -> ["panal", "7"] */
function split(signal) {
  const match = /^(.*?)(\d+)$/.exec(signal);
  return match ? [match[1], match[2]] : [signal, ''];
}

function rank(signal) {
  const [base, index] = split(signal);
  const place = ORDER.indexOf(base);
  return (place < 0 ? ORDER.length : place) * 100 + Number(index || 0);
}

/** Sorted copy of a list of traces or channels. */
export const inOrder = (items) => [...items].sort((one, other) => rank(one.signal) - rank(other.signal));

/** "Detrusor pressure" */
export function signalName(signal) {
  const [base, index] = split(signal);
  const name = SIGNAL_NAME[base]?.[2] ?? signal;
  return index ? `${name} ${index}` : name;
}

/** The ICS symbol, its index below the line. */
export function signalSymbol(signal) {
  const [base, index] = split(signal);
  const [letter, below] = SIGNAL_NAME[base] ?? [signal, ''];
  return element('span', {class: 'symbol'}, letter, (below || index) && element('sub', {}, below + index));
}

export const scaleOf = (unit) => SCALES[unit] ?? {shared: false, least: 0};

/** The custom property of penstock.css that holds the signal's colour. */
export const colourProperty = (signal) => {
  const [base] = split(signal);
  return ORDER.includes(base) ? `--signal-${base}` : '--signal-other';
};

/** Current value of a custom property; differs between light, dark and print. */
export const colour = (property) =>
  getComputedStyle(document.documentElement).getPropertyValue(property).trim();
