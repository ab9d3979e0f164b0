// Numbers, units and times as people read them. The API's own values stay untouched beside them.
import {STEP_OF_UNIT, UNIT_SYMBOL, texts} from './texts.js';

const NO_BREAK_SPACE = '\u00a0';
const MINUS = '\u2212';
const TIE = 1e-12; // how far a tie of decimals may be from one of doubles, relatively

/** "cm[H2O]" -> "cmH₂O"; counts and indices ("1") have none. */
export function unitSymbol(unit) {
  return unit ? (UNIT_SYMBOL[unit] ?? unit) : '';
}

/** Nearest multiple of the step; ties go away from zero, as in the server's summary. A step below 1
 *  counts as its inverse, since 22.95 / 0.1 comes out below the tie that it is; so does 1.015 * 100. */
export function roundTo(value, step) {
  const parts = step < 1 ? Math.round(1 / step) : 1;
  const whole = step < 1 ? 1 : step;
  const multiple = Math.floor(((Math.abs(value) * parts) / whole) * (1 + TIE) + 0.5);
  return multiple === 0 ? 0 : (Math.sign(value) * multiple * whole) / parts;
}

function decimalsOf(step) {
  return Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
}

/** The step to which samples of a unit are read. */
export const unitStep = (unit) => STEP_OF_UNIT[unit] ?? 0.1;

export function number(value, step) {
  return roundTo(value, step).toFixed(decimalsOf(step)).replace('-', MINUS);
}

/** A value of the analysis document without its unit: number, word or yes/no. */
export function valueText(value, step) {
  if (typeof value === 'number') return number(value, step);
  if (typeof value === 'boolean') return value ? texts.yes : texts.no;
  return texts.words[value] ?? humanise(String(value));
}

export function withUnit(text, unit) {
  const symbol = unitSymbol(unit);
  return symbol ? text + NO_BREAK_SPACE + symbol : text;
}

/** Words that are written in capitals: symbols of the trade, and numerals such as those of "type_ii". */
const CAPITALS = /\b(emg|rms|bci|booi|ura|purr|pip1|rair|ii|iii|iv)\b|(?<=type )i\b/gi;

/** "first_desire" -> "First desire", for codes that the catalogue of texts does not know. */
export function humanise(code) {
  const words = code.replace(/_/g, ' ').trim();
  return (words.charAt(0).toUpperCase() + words.slice(1)).replace(CAPITALS, (word) => word.toUpperCase());
}

/** Endings by which a code says its unit; the longer before those that they end in. */
const UNIT_BY_ENDING = [
  ['_ml_cmh2o', 'mL/cm[H2O]'], ['_ml_s', 'mL/s'], ['_cmh2o', 'cm[H2O]'], ['_mmhg', 'mm[Hg]'], ['_ml', 'mL'],
  ['_mm', 'mm'], ['_percent', '%'], ['_hz', 'Hz'], ['_uv', 'uV'], ['_s', 's'],
];

/** "anorectal_women.rest_lower_mmhg" -> {name: "Anorectal women: rest lower", unit: "mm[Hg]"} */
export function nameAndUnit(code) {
  const [ending, unit] = UNIT_BY_ENDING.find(([one]) => code.endsWith(one)) ?? ['', ''];
  return {name: humanise(code.slice(0, code.length - ending.length).replace('.', ': ')), unit};
}

/** Three digits are enough for a number whose step nobody says. */
export function stepOfSize(value) {
  if (Math.abs(value) >= 100) return 1;
  return Math.abs(value) >= 10 ? 0.1 : 0.01;
}

/** A number whose step nobody says: "1.50" -> "1.5". */
export const shortNumber = (value) => number(value, stepOfSize(value)).replace(/(\.\d*?)0+$/, '$1').replace(/\.$/, '');

/** Seconds on a recording's axis -> "1:02.5" or "1:02:03". `decimals` as the zoom asks for. */
export function clock(seconds, decimals = 0) {
  const scale = 10 ** decimals;
  const ticks = Math.round(Math.abs(seconds) * scale);
  const whole = Math.floor(ticks / scale);
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  const rest = ((ticks - (hours * 3600 + minutes * 60) * scale) / scale).toFixed(decimals);
  const padded = rest.padStart(decimals ? decimals + 3 : 2, '0');
  const sign = seconds < 0 && ticks > 0 ? MINUS : '';
  return hours
    ? `${sign}${hours}:${String(minutes).padStart(2, '0')}:${padded}`
    : `${sign}${minutes}:${padded}`;
}

export function duration(seconds) {
  return seconds < 60 ? texts.seconds(number(seconds, 1)) : texts.minutes(clock(seconds));
}

const TIME = new Intl.DateTimeFormat('en-GB', {hour: '2-digit', minute: '2-digit'});
const DAY = new Intl.DateTimeFormat('en-GB', {day: 'numeric', month: 'long', year: 'numeric'});
const WEEKDAY = new Intl.DateTimeFormat('en-GB', {weekday: 'long', day: 'numeric', month: 'long', year: 'numeric'});

export const timeOfDay = (moment) => TIME.format(new Date(moment));
export const dayAndTime = (moment) => `${DAY.format(new Date(moment))}, ${timeOfDay(moment)}`;

/** "2026-03-02" -> "2 March 2026", without moving through a time zone. */
export function calendarDay(day, withWeekday = false) {
  const [year, month, date] = day.split('-').map(Number);
  return (withWeekday ? WEEKDAY : DAY).format(new Date(year, month - 1, date));
}

/** The browser's own day as YYYY-MM-DD. */
export function localDay(moment = new Date()) {
  const two = (value) => String(value).padStart(2, '0');
  return `${moment.getFullYear()}-${two(moment.getMonth() + 1)}-${two(moment.getDate())}`;
}

export function shiftDay(day, days) {
  const [year, month, date] = day.split('-').map(Number);
  return localDay(new Date(year, month - 1, date + days));
}

/** First moment of the browser's day, as RFC 3339. */
export function startOfDay(day) {
  const [year, month, date] = day.split('-').map(Number);
  return new Date(year, month - 1, date).toISOString();
}

/** Completed years at a moment. */
export function ageAt(birthDate, moment) {
  const [year, month, date] = birthDate.split('-').map(Number);
  const then = new Date(moment);
  const before =
    then.getMonth() + 1 < month || (then.getMonth() + 1 === month && then.getDate() < date);
  return then.getFullYear() - year - (before ? 1 : 0);
}

export const fullName = (patient) => `${patient.family_name}, ${patient.given_name}`;
