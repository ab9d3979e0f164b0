// Which day a page is about.
import {element, fill} from './dom.js';
import {calendarDay, localDay, shiftDay} from './format.js';
import {texts} from './texts.js';

/** Date field, previous, next, today. Calls `show(day)` for the first and every chosen day. `path`: the page's own,
 *  which gets the day as `?date=`. `before`: words in the heading before the day. */
export function dayPicker(path, show, before = '') {
  const heading = element('h1', {});
  const input = element('input', {type: 'date', id: 'day', required: true});
  const button = (label, symbol, pick) =>
    element(
      'button',
      {type: 'button', class: 'button', 'aria-label': symbol && label, title: symbol && label, on: {click: pick}},
      symbol || label,
    );

  function choose(day) {
    input.value = day;
    fill(
      heading,
      before,
      calendarDay(day, true),
      day === localDay() && element('span', {class: 'day-mark'}, texts.today.todayMark),
    );
    const address = day === localDay() ? path : `${path}?date=${day}`;
    history.replaceState(null, '', address + location.hash);
    show(day);
  }

  input.addEventListener('change', () => input.value && choose(input.value));
  const head = element(
    'div',
    {class: 'day-head'},
    heading,
    element(
      'div',
      {class: 'day-tools'},
      button(texts.today.previous, '‹', () => choose(shiftDay(input.value, -1))),
      element('label', {for: 'day', class: 'visually-hidden'}, texts.today.day),
      input,
      button(texts.today.next, '›', () => choose(shiftDay(input.value, 1))),
      button(texts.today.today, '', () => choose(localDay())),
    ),
  );
  const asked = new URLSearchParams(location.search).get('date') ?? '';
  return {
    element: head,
    start: () => choose(/^\d{4}-\d{2}-\d{2}$/.test(asked) ? asked : localDay()),
  };
}
