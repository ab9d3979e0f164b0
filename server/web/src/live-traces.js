// The traces of a running recording: the strips grow with what comes, and the time axis follows until
// somebody moves it.
import {element} from './dom.js';
import {clock, number, unitSymbol} from './format.js';
import {signalName} from './signals.js';
import {readout} from './strip.js';
import {texts} from './texts.js';
import {Traces} from './traces.js';

const DRAW_PAUSE_MS = 250;
const PAUSE_PER_DRAWING = 4; // a slow device draws less often rather than do nothing else
const LABEL_PAUSE_MS = 5000; // text alternatives are for reading, not for every sample
const MARGIN_PART = 0.5; // drawn on each side of what is shown, so that a short move shows data at once

const STEPS_CALM = 6;
const LITTLE_MOTION = matchMedia('(prefers-reduced-motion: reduce)');

const ALL = Infinity;
const SPANS = [
  [ALL, texts.live.all],
  [300, texts.live.fiveMinutes],
  [60, texts.live.minute],
];

/** An end of the axis that stays where it is for a while: the next of some round steps. */
function axisEnd(endS) {
  const step = [10, 30, 60, 120].find((one) => endS < one * 12) ?? 300;
  return Math.max(step, Math.ceil((endS + 1e-9) / step) * step);
}

export class LiveTraces extends Traces {
  /** `data`: LiveData, which grows behind; say so with update(). */
  constructor(recording, data) {
    super({...recording, duration_s: axisEnd(0)});
    this.data = data;
    this.overview = data.channels;
    this.noEvents = texts.live.noEvents;
    this.complete = true; // nothing is fetched
    this.drawnMs = -Infinity; // when it was drawn last
    this.drawingMs = 0; // how long that took
    this.labelledMs = -Infinity;
  }

  tools() {
    const bar = super.tools();
    this.followedS = ALL;
    this.following = true;
    this.followButton = element(
      'button',
      {type: 'button', class: 'button button-small', on: {click: () => this.setFollowing(!this.following)}},
      texts.live.stopFollowing,
    );
    this.spanButtons = SPANS.map(([spanS, label]) =>
      element(
        'button',
        {type: 'button', class: 'button button-small', 'aria-pressed': String(spanS === ALL), on: {click: () => this.follow(spanS)}},
        label,
      ),
    );
    this.wholeButton.replaceWith(
      element('span', {class: 'tool-group', role: 'group', 'aria-label': texts.live.spans}, this.spanButtons, this.followButton),
    );
    return bar;
  }

  /** Draws what there is; the element must be in the document. */
  load() {
    this.placeView();
    this.buildStrips(this.slices());
  }

  stop() {
    clearTimeout(this.drawTimer);
    this.stopped = true;
  }

  // ---- following

  follow(spanS) {
    this.followedS = spanS;
    this.setFollowing(true);
  }

  setFollowing(following) {
    this.following = following;
    this.followButton.textContent = following ? texts.live.stopFollowing : texts.live.follow;
    SPANS.forEach(([spanS], index) =>
      this.spanButtons[index].setAttribute('aria-pressed', String(following && spanS === this.followedS)),
    );
    if (following) this.update();
  }

  /** Whoever moves the axis wants to look at a place. */
  show(fromS, toS) {
    this.setFollowing(false);
    super.show(fromS, toS);
  }

  reset() {
    this.follow(ALL);
  }

  placeView() {
    const {endS} = this.data;
    const {view} = this;
    view.lastS = Math.max(view.lastS, axisEnd(endS));
    if (!this.following) return;
    if (this.followedS === ALL) {
      Object.assign(view, {fromS: 0, toS: view.lastS});
      return;
    }
    view.toS = Math.max(this.followedS, this.stepped(endS));
    view.fromS = view.toS - this.followedS;
    view.lastS = Math.max(view.lastS, view.toS);
  }

  /** Who wants little motion sees the axis stand, and move on in a few steps a minute. */
  stepped(endS) {
    const stepS = this.followedS / STEPS_CALM;
    return LITTLE_MOTION.matches ? Math.ceil(endS / stepS) * stepS : endS;
  }

  // ---- drawing

  scheduleFetch() {
    this.update();
  }

  /** Draws soon, at most four times a second: nobody reads faster. */
  update() {
    if (this.drawTimer || this.stopped) return;
    const pauseMs = Math.max(0, this.drawnMs + Math.max(DRAW_PAUSE_MS, PAUSE_PER_DRAWING * this.drawingMs) - performance.now());
    this.drawTimer = setTimeout(() => requestAnimationFrame(() => this.drawNow()), pauseMs);
  }

  /** What is drawn of each channel. */
  slices() {
    const {fromS, toS} = this.view;
    const margin = (toS - fromS) * MARGIN_PART;
    const points = this.pointsFor(2);
    return this.data.channels.map((channel) => channel.trace(fromS - margin, toS + margin, points));
  }

  drawNow() {
    this.drawTimer = null;
    if (this.stopped) return;
    this.drawnMs = performance.now();
    this.placeView();
    const relabel = this.drawnMs - this.labelledMs > LABEL_PAUSE_MS;
    if (relabel) this.labelledMs = this.drawnMs;
    const slices = this.slices();
    this.strips.forEach((strip, index) => {
      strip.setTrace(slices[index]);
      if (relabel) strip.describe();
    });
    this.layoutTrack();
    this.showWhere();
    this.drawingMs = performance.now() - this.drawnMs;
  }

  wholeSpan({low, high}) {
    return low <= high ? {low, high} : null;
  }

  // ---- words

  labelOf({signal, unit}) {
    const span = this.wholeSpan(this.data.bySignal.get(signal));
    const name = signalName(signal);
    if (!span) return texts.live.labelEmpty(name);
    return texts.live.label(name, number(span.low, 1), number(span.high, 1), unitSymbol(unit), clock(this.data.endS));
  }

  restingText(trace) {
    const {newest} = this.data.bySignal.get(trace.signal);
    return readout(trace, typeof newest === 'number' ? {low: newest, high: newest} : newest);
  }
}
