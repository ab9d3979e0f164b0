// Labels of the event marks above the strips, laid out so that none covers another, and the list of
// events beside the traces.
import {element, fill} from './dom.js';
import {clock, humanise} from './format.js';
import {EVENT_NAME, texts} from './texts.js';

const LANE_HEIGHT = 26;
const GAP = 6;
const FULL_LABEL_LANES = 4; // beyond these only the number is shown
const FULL_LABEL_LANES_NARROW = 2;
const NARROW = 480;
const LANES_MOST = 9;

export function eventName(event) {
  const name = EVENT_NAME[event.code] ?? humanise(event.code);
  return typeof event.value === 'number' ? `${name} ${event.value} mL` : name;
}

/**
 * Places [x, x + width] intervals in lanes, first free lane first. `lanes` holds each lane's right end.
 * Returns the lane or -1.
 */
function freeLane(lanes, left, right, most) {
  for (let lane = 0; lane < most; lane++) {
    if ((lanes[lane] ?? -Infinity) + GAP <= left) {
      lanes[lane] = right;
      return lane;
    }
  }
  return -1;
}

/** The track of labels. `layout(events, toX, width)` places them; off-view events are hidden. */
export class EventTrack {
  constructor(onPick) {
    this.onPick = onPick;
    this.labels = [];
    this.note = element('p', {class: 'track-note'});
    this.lanes = element('div', {class: 'track-lanes', 'aria-hidden': 'true'});
    this.element = element('div', {class: 'track'}, this.lanes, this.note);
  }

  setEvents(events) {
    this.events = events;
    this.labels = events.map((event, index) =>
      element(
        'span',
        {class: 'mark', title: `${eventName(event)}, ${clock(event.at_s, 1)}`, dataset: {event: index}, on: {click: () => this.onPick(index)}},
        element('span', {class: 'mark-number'}, index + 1),
        element('span', {class: 'mark-name'}, eventName(event)),
      ),
    );
    this.stems = events.map(() => element('span', {class: 'mark-stem'}));
    fill(this.lanes, this.stems, this.labels);
  }

  layout(view, toX, leftEdge, rightEdge) {
    const lanes = [];
    let hidden = 0;
    this.labels.forEach((label, index) => {
      const {at_s: atS} = this.events[index];
      const stem = this.stems[index];
      stem.classList.add('mark-off');
      label.classList.remove('mark-short', 'mark-off', 'mark-selected');
      if (atS < view.fromS || atS > view.toS) {
        label.classList.add('mark-off');
        return;
      }
      label.classList.toggle('mark-selected', index === view.selectedEvent);
      const lane = this.place(label, toX(atS), {lanes, leftEdge, rightEdge});
      if (lane < 0) {
        label.classList.add('mark-off');
        hidden++;
      } else {
        stem.classList.remove('mark-off');
        stem.style.left = `${toX(atS)}px`;
        stem.style.top = `${(lane + 1) * LANE_HEIGHT - 3}px`;
      }
    });
    this.lanes.style.height = `${Math.max(1, lanes.length) * LANE_HEIGHT}px`;
    this.note.textContent = hidden ? texts.events.hidden(hidden) : '';
  }

  /** The whole label when a lane is free for it, else the number alone; returns its lane or -1. */
  place(label, x, {lanes, leftEdge, rightEdge}) {
    const full = rightEdge - leftEdge < NARROW ? FULL_LABEL_LANES_NARROW : FULL_LABEL_LANES;
    for (const [short, most] of [[false, full], [true, LANES_MOST]]) {
      label.classList.toggle('mark-short', short);
      const width = label.offsetWidth;
      const left = Math.max(leftEdge, Math.min(x - 11, rightEdge - width));
      const lane = freeLane(lanes, left, left + width, most);
      if (lane >= 0) {
        label.style.left = `${left}px`;
        label.style.top = `${lane * LANE_HEIGHT}px`;
        return lane;
      }
    }
    return -1;
  }
}

/** The list beside the traces, or the sentence `none`. A click shows the place. */
export function eventList(events, onPick, none) {
  if (!events.length) return element('p', {class: 'empty'}, none);
  return element(
    'ol',
    {class: 'event-list'},
    events.map((event, index) =>
      element(
        'li',
        {dataset: {event: index}},
        element(
          'button',
          {
            type: 'button',
            class: 'event-button',
            on: {click: () => onPick(index)},
          },
          element('span', {class: 'mark-number'}, index + 1),
          element('span', {class: 'event-time'}, clock(event.at_s, 1)),
          element('span', {class: 'event-name'}, eventName(event)),
          event.note && element('span', {class: 'event-note'}, event.note),
        ),
      ),
    ),
  );
}
