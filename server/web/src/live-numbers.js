// The numbers of a running recording: computed of what has come so far, read again now and then while
// more comes, and marked as what they are.
import {keyNumbers, numberSections, quality} from './analysis.js';
import {get} from './api.js';
import {element, refill} from './dom.js';
import {clock} from './format.js';
import {texts} from './texts.js';

const PAUSE_MS = 4000; // between two readings: each computes the whole recording, so a long one is read less often
const PAUSE_PER_TAKEN = 3;
const PAUSE_FAILED_MS = 10_000;

// The analysis takes what is not over as if it ended now. Large numbers at the top must not: before the
// filling has ended there is no capacity, a leak is no voiding, and half a voiding has no index. Everything
// stays among all numbers.
const FILLING_ENDS = new Set(['permission_to_void', 'void_start']);
const AFTER_FILLING = new Set(['filling', 'voiding']);
const AFTER_VOIDING = new Set(['uroflow.voiding_efficiency', 'voiding.booi']);

/** Whether a number may stand at the top, by the events so far. */
export function isKnownBy(events) {
  const isFilled = events.some(({code}) => FILLING_ENDS.has(code));
  return (section, code) => (isFilled || !AFTER_FILLING.has(section)) && !AFTER_VOIDING.has(`${section}.${code}`);
}

const say = texts.live;

const newestFirst = (findings) => [...findings].sort((one, other) => (other.to_s ?? 0) - (one.to_s ?? 0));

export class LiveNumbers {
  /** `data`: LiveData; found(findings): the quality findings so far; jumpTo(atS) shows a moment. */
  constructor(recordingId, data, {found, jumpTo}) {
    Object.assign(this, {recordingId, data, found, jumpTo});
    this.until = element('span', {class: 'so-far-until'});
    this.keys = element('div', {class: 'so-far-keys'}, element('p', {class: 'hint'}, say.noKeyNumbers));
    this.quality = element(
      'div',
      {class: 'so-far-quality', tabindex: '0', role: 'group', 'aria-label': say.quality},
    );
    this.head = element(
      'section',
      {class: 'so-far'},
      element(
        'div',
        {class: 'so-far-head'},
        element('h3', {}, say.soFar),
        element('span', {class: 'badge badge-suggestion'}, say.provisional),
        this.until,
      ),
      this.keys,
      this.quality,
    );
    this.all = element('div', {});
    this.element = element(
      'details',
      {class: 'so-far-all'},
      element('summary', {}, say.allNumbers),
      element('p', {class: 'hint'}, say.allNumbersHint),
      this.all,
    );
    this.readMs = -Infinity;
    this.pauseMs = PAUSE_MS;
  }

  /** Something new has come. */
  news() {
    this.isStale = true;
    this.schedule();
  }

  stop() {
    this.stopped = true;
    clearTimeout(this.timer);
    this.running?.abort();
  }

  schedule() {
    if (this.timer || this.running || this.stopped || !this.isStale) return;
    const waitMs = Math.max(0, this.readMs + this.pauseMs - performance.now());
    this.timer = setTimeout(() => this.read(), waitMs);
  }

  async read() {
    this.timer = null;
    this.isStale = false;
    this.running = new AbortController();
    const untilS = this.data.endS;
    const begunMs = performance.now();
    try {
      const analysis = await get(`/v1/recordings/${this.recordingId}/live/analysis`, {}, this.running.signal);
      this.pauseMs = Math.max(PAUSE_MS, PAUSE_PER_TAKEN * (performance.now() - begunMs));
      if (!this.stopped) this.show(analysis, untilS);
    } catch (error) {
      // Refused: nothing can be made of it yet. Else the connection is lost, which is said elsewhere.
      this.isStale ||= error.kind !== 'refused';
      this.pauseMs = PAUSE_FAILED_MS;
    }
    this.running = null;
    this.readMs = performance.now();
    this.schedule();
  }

  show(analysis, untilS) {
    this.head.dataset.untilS = String(untilS);
    this.until.textContent = say.until(clock(untilS));
    refill(this.keys, keyNumbers(analysis, isKnownBy(this.data.events)) ?? element('p', {class: 'hint'}, say.noKeyNumbers));
    refill(this.quality, quality({...analysis, quality: newestFirst(analysis.quality)}, this.jumpTo));
    const sections = numberSections(analysis, this.jumpTo);
    refill(this.all, sections.length ? element('div', {class: 'numbers-grid'}, sections) : element('p', {class: 'hint'}, say.noNumbers));
    this.found(analysis.quality);
  }
}
