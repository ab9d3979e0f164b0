// A recording's traces: strips on one time axis, the shared span and cursor, and what moves them.
import {getBytes} from './api.js';
import {element, fill, refill} from './dom.js';
import {EventTrack, eventList} from './event-track.js';
import {clock, number, unitStep, unitSymbol} from './format.js';
import {inOrder, scaleOf, signalName, signalSymbol} from './signals.js';
import {RIGHT_PADDING, Strip, VALUE_AXIS_WIDTH} from './strip.js';
import {texts} from './texts.js';
import {readTraces} from './trace-binary.js';
import {extremes, isBinned, valueAt} from './trace-data.js';

const REFETCH_DELAY_MS = 150;
const POINTS_MOST = 4000;
const SPAN_LEAST_S = 1;
const ZOOM_STEP = 1.6;
const PAN_PART = 0.25;
const JUMP_SPAN_S = 60;
const MARGIN_PART = 0.5; // fetched on each side of what is shown, so that a short pan shows data at once
const PRINT_WIDTH = 590;

let plotNumber = 0;

/** Some room on both sides, so that a line along zero or along the top is seen whole. */
function niceRange(low, high, least) {
  const top = Math.max(high, least);
  const bottom = Math.min(low, 0);
  const room = (top - bottom) * 0.06 || 1;
  return [bottom - room, top + room];
}

export class Traces {
  constructor(recording) {
    this.recording = recording;
    this.syncKey = `recording-${++plotNumber}`;
    this.strips = [];
    this.noEvents = texts.events.none;
    this.view = {
      fromS: 0,
      toS: recording.duration_s,
      firstS: 0,
      lastS: recording.duration_s,
      cursorS: null,
      pinnedS: null,
      events: [],
      doubts: [],
      selectedEvent: -1,
      fit: false,
      valueRange: (trace) => this.valueRange(trace),
      labelOf: (trace) => this.labelOf(trace),
      restingText: (trace) => this.restingText(trace),
    };
    this.track = new EventTrack((index) => this.pickEvent(index));
    this.stack = element('div', {class: 'strips'});
    this.spanText = element('span', {class: 'span-text'});
    this.cursorText = element('span', {class: 'cursor-text'});
    this.spoken = element('p', {class: 'visually-hidden', 'aria-live': 'polite'});
    this.list = element('div', {class: 'event-place'});
    this.table = element('div', {class: 'trace-table'});
    this.group = element(
      'div',
      {class: 'trace-group', role: 'group', tabindex: '0', 'aria-label': `${texts.traces.group}. ${texts.traces.keys}`},
      this.track.element,
      this.stack,
    );
    this.element = element(
      'div',
      {class: 'traces'},
      element(
        'div',
        {class: 'trace-main'},
        this.tools(),
        this.group,
        element('p', {class: 'hint trace-hint'}, texts.traces.hint),
        this.spoken,
        this.table,
      ),
      element('div', {class: 'trace-side'}, element('h3', {}, texts.events.title), this.list),
    );
    this.listen();
  }

  tools() {
    const button = (label, action, symbol) =>
      element(
        'button',
        {type: 'button', class: 'button button-small', 'aria-label': symbol && label, title: symbol && label, on: {click: action}},
        symbol || label,
      );
    this.fitButton = button(texts.traces.fit, () => this.toggleFit());
    this.fitButton.setAttribute('aria-pressed', 'false');
    this.wholeButton = button(texts.traces.whole, () => this.reset());
    return element(
      'div',
      {class: 'trace-tools', role: 'group', 'aria-label': texts.traces.tools},
      button(texts.traces.earlier, () => this.pan(-1), '‹'),
      button(texts.traces.later, () => this.pan(1), '›'),
      button(texts.traces.zoomOut, () => this.zoom(ZOOM_STEP), '−'),
      button(texts.traces.zoomIn, () => this.zoom(1 / ZOOM_STEP), '+'),
      this.wholeButton,
      this.fitButton,
      element('p', {class: 'trace-where'}, this.spanText, this.cursorText),
    );
  }

  // ---- data

  async fetchTraces(fromS, toS, points, signal) {
    const span = fromS === null ? {} : {from_s: fromS.toFixed(3), to_s: toS.toFixed(3)};
    return readTraces(await getBytes(`/v1/recordings/${this.recording.id}/traces`, {...span, points}, signal));
  }

  /** Loads the whole recording and draws; the element must be in the document. */
  async load() {
    const answer = await this.fetchTraces(null, null, this.pointsFor(1));
    this.overview = inOrder(answer.traces);
    this.fetched = {fromS: answer.from_s, toS: answer.to_s, points: this.pointsFor(1)};
    this.fetchedWhole = this.fetched;
    this.complete = !this.overview.some(isBinned);
    Object.assign(this.view, {
      fromS: answer.from_s,
      toS: answer.to_s,
      firstS: answer.from_s,
      lastS: answer.to_s,
    });
    if (!this.overview.length) {
      fill(this.stack, element('p', {class: 'empty'}, texts.traces.empty));
      return;
    }
    this.buildStrips(this.overview);
    this.fillTable();
  }

  buildStrips(traces) {
    this.strips = traces.map(
      (trace, index) =>
        new Strip(trace, this.view, {
          syncKey: this.syncKey,
          hasTimeAxis: index === traces.length - 1,
          onSelect: (fromS, toS) => this.show(fromS, toS),
          onCursor: (atS) => this.setCursor(atS),
        }),
    );
    fill(this.stack, this.strips.map((strip) => strip.element));
    this.drawAll();
    new ResizeObserver(() => this.resize()).observe(this.stack);
  }

  pointsFor(spans) {
    return Math.min(POINTS_MOST, Math.ceil(Math.max(320, this.plotWidth()) * spans));
  }

  /** Asks for finer data when the view is finer than what is there, or shows what was not fetched. */
  scheduleFetch() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.refetch(), REFETCH_DELAY_MS);
  }

  needsFetch() {
    const {fromS, toS} = this.view;
    const {fetched} = this;
    const outside = fromS < fetched.fromS - 1e-6 || toS > fetched.toS + 1e-6;
    // Bins may be wider than was asked for, since they hold whole samples: what was asked for counts.
    const asked = (fetched.points * (toS - fromS)) / (fetched.toS - fetched.fromS);
    const coarse = this.strips.some(({trace}) => isBinned(trace)) && asked < this.plotWidth() * 0.8;
    return !this.complete && (outside || coarse);
  }

  async refetch() {
    if (!this.strips.length || !this.needsFetch()) return;
    this.running?.abort();
    this.running = new AbortController();
    const {fromS, toS, firstS, lastS} = this.view;
    const margin = (toS - fromS) * MARGIN_PART;
    const from = Math.max(firstS, fromS - margin);
    const to = Math.min(lastS, toS + margin);
    const points = this.pointsFor((to - from) / (toS - fromS));
    try {
      const answer = await this.fetchTraces(from, to, points, this.running.signal);
      this.fetched = {fromS: from, toS: to, points};
      this.takeTraces(answer.traces);
    } catch (error) {
      if (error.name !== 'AbortError') this.spoken.textContent = error.message;
    }
  }

  takeTraces(traces) {
    for (const strip of this.strips) {
      const trace = traces.find((one) => one.signal === strip.trace.signal);
      if (trace) strip.setTrace(trace);
    }
    this.stack.dataset.loads = String(Number(this.stack.dataset.loads ?? 0) + 1);
  }

  useOverview() {
    this.running?.abort();
    this.fetched = this.fetchedWhole;
    this.takeTraces(this.overview);
  }

  // ---- scales

  valueRange(trace) {
    const {shared, least} = scaleOf(trace.unit);
    if (this.view.fit) {
      const span = extremes(trace, this.view.fromS, this.view.toS);
      return span ? niceRange(span.low, span.high, 0) : [0, 1];
    }
    const group = shared
      ? this.overview.filter((one) => one.unit === trace.unit)
      : this.overview.filter((one) => one.signal === trace.signal);
    const spans = group.map((one) => this.wholeSpan(one)).filter(Boolean);
    if (!spans.length) return [0, least || 1];
    const low = Math.min(...spans.map((span) => span.low));
    const high = Math.max(...spans.map((span) => span.high));
    return niceRange(low, high, least);
  }

  /** Lowest and highest value of one of the overview, or null. */
  wholeSpan(trace) {
    return extremes(trace);
  }

  toggleFit() {
    this.view.fit = !this.view.fit;
    this.fitButton.setAttribute('aria-pressed', String(this.view.fit));
    this.applyView();
  }

  // ---- words

  /** Text alternative of a plot. */
  labelOf(trace) {
    const span = extremes(trace);
    const name = signalName(trace.signal);
    const {firstS, lastS} = this.view;
    if (!span) return texts.traces.labelEmpty(name);
    const [low, high] = [number(span.low, 1), number(span.high, 1)];
    return texts.traces.label(name, low, high, unitSymbol(trace.unit), clock(firstS), clock(lastS));
  }

  /** What stands beside a plot while there is no cursor. */
  restingText() {
    return texts.traces.none;
  }

  // ---- drawing

  plotWidth() {
    if (this.printing) return PRINT_WIDTH;
    const place = this.strips[0]?.plotPlace ?? this.stack;
    return Math.max(200, Math.floor(place.clientWidth));
  }

  stripHeight() {
    if (this.printing) return this.strips.length > 5 ? 62 : 84;
    return this.strips.length > 5 ? 96 : 124;
  }

  drawAll() {
    const width = this.plotWidth();
    this.width = width;
    for (const strip of this.strips) strip.draw(width, this.stripHeight());
    this.layoutTrack();
    this.showWhere();
  }

  resize() {
    const width = this.plotWidth();
    if (!this.strips.length || width === this.width) return;
    this.width = width;
    for (const strip of this.strips) strip.setSize(width, this.stripHeight());
    this.layoutTrack();
    this.scheduleFetch();
  }

  /** Colours have changed (dark, light, print): everything is drawn again. */
  repaint(printing = false) {
    this.printing = printing;
    if (this.strips.length) this.drawAll();
  }

  layoutTrack() {
    const plot = this.strips[0]?.plot;
    if (!plot) return;
    const offset = this.strips[0].plotPlace.offsetLeft - this.track.element.offsetLeft;
    const left = offset + VALUE_AXIS_WIDTH;
    const right = offset + this.width;
    const inner = this.width - VALUE_AXIS_WIDTH - RIGHT_PADDING;
    const {fromS, toS} = this.view;
    this.track.layout(this.view, (atS) => left + ((atS - fromS) / (toS - fromS)) * inner, offset, right);
  }

  showWhere() {
    const {fromS, toS, cursorS} = this.view;
    const decimals = toS - fromS < 20 ? 1 : 0;
    this.spanText.textContent = texts.traces.span(clock(fromS, decimals), clock(toS, decimals));
    this.cursorText.classList.toggle('cursor-none', cursorS === null);
    this.cursorText.textContent =
      cursorS === null ? texts.traces.cursorNone : texts.traces.cursorAt(clock(cursorS, 1));
  }

  applyView() {
    for (const strip of this.strips) strip.refresh();
    this.layoutTrack();
    this.showWhere();
    this.scheduleFetch();
  }

  // ---- moving

  show(fromS, toS) {
    const {firstS, lastS} = this.view;
    const whole = lastS - firstS;
    const span = Math.min(whole, Math.max(Math.min(SPAN_LEAST_S, whole), toS - fromS));
    const middle = (fromS + toS) / 2;
    const from = Math.min(lastS - span, Math.max(firstS, middle - span / 2));
    if (Math.abs(from - this.view.fromS) < 1e-9 && Math.abs(from + span - this.view.toS) < 1e-9) return;
    this.view.fromS = from;
    this.view.toS = from + span;
    this.applyView();
  }

  zoom(factor, aroundS = this.view.pinnedS) {
    const {fromS, toS} = this.view;
    const inside = aroundS !== null && aroundS >= fromS && aroundS <= toS;
    const centre = inside ? aroundS : (fromS + toS) / 2;
    this.show(centre - (centre - fromS) * factor, centre + (toS - centre) * factor);
  }

  pan(direction, part = PAN_PART) {
    const {fromS, toS} = this.view;
    const by = direction * part * (toS - fromS);
    this.show(fromS + by, toS + by);
  }

  reset() {
    this.show(this.view.firstS, this.view.lastS);
    if (this.strips.length && !this.complete) this.useOverview();
  }

  setCursor(atS) {
    const next = atS ?? this.view.pinnedS;
    if (next === this.view.cursorS) return;
    this.view.cursorS = next;
    for (const strip of this.strips) strip.showReading();
    this.showWhere();
  }

  /** Puts the cursor at a time that stays until the next one. */
  pin(atS) {
    const {firstS, lastS} = this.view;
    this.view.pinnedS = Math.min(lastS, Math.max(firstS, atS));
    this.view.cursorS = this.view.pinnedS;
    for (const strip of this.strips) strip.redraw();
    this.showWhere();
  }

  /** Shows a time in the middle, zoomed in when the view is wide. */
  jumpTo(atS) {
    const span = Math.min(this.view.toS - this.view.fromS, JUMP_SPAN_S);
    this.view.selectedEvent = this.view.events.findIndex((event) => event.at_s === atS);
    this.show(atS - span / 2, atS + span / 2);
    this.pin(atS);
    this.layoutTrack();
    this.markListed();
    this.group.scrollIntoView({block: 'nearest'});
    this.speak();
  }

  pickEvent(index) {
    this.jumpTo(this.view.events[index].at_s);
    this.view.selectedEvent = index;
    for (const strip of this.strips) strip.redraw();
    this.layoutTrack();
    this.markListed();
  }

  moveCursor(direction) {
    const {fromS, toS, pinnedS} = this.view;
    const inside = pinnedS !== null && pinnedS >= fromS && pinnedS <= toS;
    this.pin(inside ? pinnedS + (direction * (toS - fromS)) / 100 : (fromS + toS) / 2);
    if (this.view.pinnedS > toS || this.view.pinnedS < fromS) this.pan(direction);
    this.speak();
  }

  /** For screen readers: time and values where the keys or a jump went. */
  speak() {
    const atS = this.view.pinnedS;
    const values = this.strips.map((strip) => {
      const value = valueAt(strip.trace, atS);
      if (!value) return `${signalName(strip.trace.signal)} ${texts.traces.missing}`;
      const middle = number((value.low + value.high) / 2, unitStep(strip.trace.unit));
      return `${signalName(strip.trace.signal)} ${middle} ${unitSymbol(strip.trace.unit)}`;
    });
    this.spoken.textContent = `${texts.traces.cursorAt(clock(atS, 1))}: ${values.join(', ')}`;
  }

  // ---- input

  listen() {
    this.group.addEventListener('keydown', (event) => this.onKey(event));
    this.group.addEventListener('wheel', (event) => this.onWheel(event), {passive: false});
    this.stack.addEventListener('click', () => {
      this.group.focus({preventScroll: true});
      if (this.view.cursorS !== null) this.pin(this.view.cursorS);
    });
  }

  onKey(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const actions = {
      ArrowLeft: () => (event.shiftKey ? this.moveCursor(-1) : this.pan(-1)),
      ArrowRight: () => (event.shiftKey ? this.moveCursor(1) : this.pan(1)),
      '+': () => this.zoom(1 / ZOOM_STEP),
      '=': () => this.zoom(1 / ZOOM_STEP),
      '-': () => this.zoom(ZOOM_STEP),
      0: () => this.reset(),
      Home: () => this.reset(),
    };
    if (!actions[event.key]) return;
    event.preventDefault();
    actions[event.key]();
  }

  /** The page must stay scrollable, so a bare wheel zooms only after a click into the traces. */
  onWheel(event) {
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
    const asked = event.ctrlKey || event.shiftKey || document.activeElement === this.group;
    if (!asked && !sideways) return;
    event.preventDefault();
    if (event.shiftKey || sideways) {
      this.pan(Math.sign(event.deltaX || event.deltaY), 0.1);
    } else {
      this.zoom(event.deltaY > 0 ? 1.25 : 0.8, this.view.cursorS);
    }
  }

  // ---- events and table

  setEvents(events) {
    const selected = this.view.events[this.view.selectedEvent];
    this.view.events = [...events].sort((one, other) => one.at_s - other.at_s);
    this.view.selectedEvent = this.view.events.indexOf(selected);
    this.track.setEvents(this.view.events);
    refill(this.list, eventList(this.view.events, (index) => this.pickEvent(index), this.noEvents));
    for (const strip of this.strips) strip.redraw();
    this.layoutTrack();
    this.markListed();
  }

  /** Spans of quality findings, shaded in the strip of their signal, or in all when they name none. */
  setDoubts(findings) {
    this.view.doubts = findings.filter(({from_s: fromS, to_s: toS}) => toS > fromS);
    for (const strip of this.strips) strip.redraw();
  }

  markListed() {
    for (const item of this.list.querySelectorAll('li')) {
      const selected = Number(item.dataset.event) === this.view.selectedEvent;
      item.classList.toggle('selected', selected);
      if (selected) item.querySelector('button').setAttribute('aria-current', 'true');
      else item.querySelector('button').removeAttribute('aria-current');
    }
  }

  fillTable() {
    const missingOf = (signal) =>
      (this.recording.channels ?? []).find((channel) => channel.signal === signal)?.missing;
    const row = (trace) => {
      const span = extremes(trace);
      const step = unitStep(trace.unit);
      const shown = (value) => (span ? `${number(value, step)} ${unitSymbol(trace.unit)}` : texts.traces.none);
      return element(
        'tr',
        {},
        element('th', {scope: 'row'}, signalSymbol(trace.signal), ` ${signalName(trace.signal)}`),
        element('td', {}, shown(span?.low)),
        element('td', {}, shown(span?.high)),
        element('td', {}, `${trace.rate_hz} Hz`),
        element('td', {}, missingOf(trace.signal) ?? texts.traces.none),
      );
    };
    const heads = ['tableSignal', 'tableLowest', 'tableHighest', 'tableRate', 'tableMissing'];
    fill(
      this.table,
      element(
        'details',
        {},
        element('summary', {}, texts.traces.table),
        element(
          'div',
          {class: 'table-scroll', tabindex: '0', role: 'group', 'aria-label': texts.traces.table},
          element(
            'table',
            {},
            element('thead', {}, element('tr', {}, heads.map((head) => element('th', {scope: 'col'}, texts.traces[head])))),
            element('tbody', {}, this.overview.map(row)),
          ),
        ),
      ),
    );
  }
}
