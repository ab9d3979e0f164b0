// One signal's strip: name and value under the cursor beside a plot with its own scale.
import uPlot from 'uplot';
import {element} from './dom.js';
import {clock, number, unitStep, unitSymbol} from './format.js';
import {colour, colourProperty, signalName, signalSymbol} from './signals.js';
import {texts} from './texts.js';
import {columns, isBinned, valueAt} from './trace-data.js';

const TIME_AXIS_HEIGHT = 38;
export const VALUE_AXIS_WIDTH = 58;
export const RIGHT_PADDING = 28; // half of a label such as 2:55:50
const FONT = '14px system-ui, -apple-system, "Segoe UI", Roboto, "Helvetica Neue", Arial, sans-serif';

/** A value {low, high} of a trace; null: missing, undefined: none. */
export function readout({unit}, value) {
  if (value === undefined) return texts.traces.none;
  if (value === null) return texts.traces.missing;
  // The cursor reads one sample finer than the report does, except for whole units.
  const step = unit === 'mL' ? 1 : unitStep(unit);
  const [low, high] = [number(value.low, step), number(value.high, step)];
  return low === high ? low : texts.traces.between(low, high);
}

/**
 * `view`: {fromS, toS, cursorS, events, selectedEvent, valueRange(trace), labelOf(trace),
 * restingText(trace)} shared by all strips;
 * `onSelect(fromS, toS)` when a span was dragged, `onCursor(atS | null)` when the pointer moved.
 */
export class Strip {
  constructor(trace, view, {syncKey, hasTimeAxis, onSelect, onCursor}) {
    this.trace = trace;
    this.view = view;
    this.hasTimeAxis = hasTimeAxis;
    this.callbacks = {onSelect, onCursor};
    this.syncKey = syncKey;
    this.value = element('output', {class: 'strip-value'}, texts.traces.none);
    this.plotPlace = element('div', {class: 'strip-plot', role: 'img'});
    this.element = element(
      'div',
      {class: hasTimeAxis ? 'strip strip-last' : 'strip', dataset: {signal: trace.signal}},
      element(
        'div',
        {class: 'strip-head'},
        element('span', {class: 'strip-symbol'}, signalSymbol(trace.signal)),
        element(
          'span',
          {class: 'strip-name'},
          signalName(trace.signal),
          trace.derived && element('span', {class: 'strip-derived'}, texts.traces.derived),
        ),
        element(
          'span',
          {class: 'strip-reading'},
          this.value,
          element('span', {class: 'strip-unit'}, unitSymbol(trace.unit)),
        ),
      ),
      this.plotPlace,
    );
    this.element.style.setProperty('--signal', `var(${colourProperty(trace.signal)})`);
  }

  /** Draws into the element, which must be in the document. */
  draw(width, height) {
    this.plot?.destroy();
    this.plot = new uPlot(this.options(width, height), columns(this.trace), this.plotPlace);
    this.plotPlace.plot = this.plot; // tests/browser compares its data with the API's
    this.describe();
  }

  options(width, height) {
    const ink = colour('--ink-soft');
    const grid = {stroke: colour('--grid'), width: 1};
    const line = colour(colourProperty(this.trace.signal));
    const series = {stroke: line, width: 1.75, points: {show: false}, spanGaps: false};
    const axis = {stroke: ink, font: FONT, grid, ticks: {...grid, size: 5}};
    return {
      width,
      height: height + (this.hasTimeAxis ? TIME_AXIS_HEIGHT : 0),
      padding: [8, RIGHT_PADDING, this.hasTimeAxis ? 0 : 8, 0],
      legend: {show: false},
      scales: {
        x: {time: false, range: () => [this.view.fromS, this.view.toS]},
        y: {range: () => this.view.valueRange(this.trace)},
      },
      axes: [
        {
          ...axis,
          size: this.hasTimeAxis ? TIME_AXIS_HEIGHT : 0,
          incrs: [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600],
          space: 84,
          values: this.hasTimeAxis
            ? (plot, ticks, axisIndex, space, step) => ticks.map((at) => clock(at, step < 1 ? 1 : 0))
            : () => [],
        },
        {
          ...axis,
          size: VALUE_AXIS_WIDTH,
          space: 26,
          values: (plot, ticks) => ticks.map((value) => String(value).replace('-', '\u2212')),
        },
      ],
      series: isBinned(this.trace) ? [{}, series, series] : [{}, series],
      bands: isBinned(this.trace) ? [{series: [2, 1], fill: line}] : [],
      cursor: {
        y: false,
        points: {show: false},
        drag: {x: true, y: false, setScale: false, dist: 6},
        sync: {key: this.syncKey, setSeries: false, scales: ['x', null]},
      },
      hooks: {
        drawClear: [(plot) => this.drawDoubts(plot)],
        drawAxes: [(plot) => this.drawEvents(plot)],
        draw: [(plot) => this.drawCursorLine(plot)],
        setCursor: [(plot) => this.followCursor(plot)],
        setSelect: [(plot) => this.takeSelection(plot)],
      },
    };
  }

  /** New data for the same signal, e.g. at a finer resolution. */
  setTrace(trace) {
    const sameShape = isBinned(trace) === isBinned(this.trace);
    this.trace = trace;
    if (!this.plot) return;
    if (sameShape) {
      this.plot.setData(columns(trace), false);
      this.refresh();
    } else {
      this.draw(this.plot.width, this.plot.height - (this.hasTimeAxis ? TIME_AXIS_HEIGHT : 0));
    }
    this.showReading();
  }

  setSize(width, height) {
    this.plot?.setSize({width, height: height + (this.hasTimeAxis ? TIME_AXIS_HEIGHT : 0)});
  }

  /** Applies the view's span; the value scale follows. */
  refresh() {
    this.plot?.batch(() => {
      this.plot.setScale('x', {min: this.view.fromS, max: this.view.toS});
      this.plot.setScale('y', {min: null, max: null});
      this.plot.redraw(false, true);
    });
  }

  redraw() {
    this.plot?.redraw(false, false);
    this.showReading();
  }

  showReading() {
    const {cursorS} = this.view;
    this.value.textContent =
      cursorS === null ? this.view.restingText(this.trace) : readout(this.trace, valueAt(this.trace, cursorS));
  }

  describe() {
    this.plotPlace.setAttribute('aria-label', this.view.labelOf(this.trace));
  }

  verticalLine(plot, atS, style, width, dash) {
    if (atS < this.view.fromS || atS > this.view.toS) return;
    const x = Math.round(plot.valToPos(atS, 'x', true)) + 0.5;
    const {ctx, bbox} = plot;
    ctx.save();
    ctx.strokeStyle = style;
    ctx.lineWidth = width * devicePixelRatio;
    ctx.setLineDash(dash.map((length) => length * devicePixelRatio));
    ctx.beginPath();
    // Through the padding as well, so that a mark runs on from strip to strip.
    ctx.moveTo(x, 0);
    ctx.lineTo(x, bbox.top + bbox.height + (this.hasTimeAxis ? 0 : bbox.top));
    ctx.stroke();
    ctx.restore();
  }

  drawDoubts(plot) {
    const {ctx, bbox} = plot;
    for (const {signal, severity, from_s: fromS, to_s: toS} of this.view.doubts) {
      const from = Math.max(fromS, this.view.fromS);
      const to = Math.min(toS, this.view.toS);
      if (to <= from || (signal && signal !== this.trace.signal)) continue;
      const left = plot.valToPos(from, 'x', true);
      ctx.fillStyle = colour(severity === 'error' ? '--error-ground' : '--caution-ground');
      ctx.fillRect(left, bbox.top, Math.max(2, plot.valToPos(to, 'x', true) - left), bbox.height);
    }
  }

  drawEvents(plot) {
    const style = colour('--event');
    this.view.events.forEach((event, index) => {
      const selected = index === this.view.selectedEvent;
      this.verticalLine(plot, event.at_s, style, selected ? 3 : 1.25, selected ? [] : [5, 4]);
    });
  }

  /** Where the keys or a jump have put the cursor; the pointer has its own line. */
  drawCursorLine(plot) {
    const {pinnedS} = this.view;
    if (pinnedS !== null) this.verticalLine(plot, pinnedS, colour('--cursor'), 1.5, []);
  }

  followCursor(plot) {
    const {left} = plot.cursor;
    this.callbacks.onCursor(left === undefined || left < 0 ? null : plot.posToVal(left, 'x'));
  }

  takeSelection(plot) {
    const {left, width} = plot.select;
    if (width <= 0) return;
    const [fromS, toS] = [plot.posToVal(left, 'x'), plot.posToVal(left + width, 'x')];
    plot.setSelect({left: 0, width: 0, top: 0, height: 0}, false);
    this.callbacks.onSelect(fromS, toS);
  }
}
