// A running recording on the study page: traces that grow, numbers so far, and what one must know about
// the room and the connection.
import {get} from './api.js';
import {descriptionList, element, fill} from './dom.js';
import {clock, timeOfDay} from './format.js';
import {LiveData} from './live-data.js';
import {LiveFeed} from './live-feed.js';
import {LiveNumbers} from './live-numbers.js';
import {LiveTraces} from './live-traces.js';
import {completeRecording, lastWithdrawal, typeName} from './recording-state.js';
import {notice} from './shell.js';
import {signalName} from './signals.js';
import {texts} from './texts.js';

const SILENT_AFTER_S = 10;
const TICK_MS = 1000;

const say = texts.live;

export class LiveRecording {
  /**
   * `mayComplete`: whether the user is a clinician; `announce(text)` reads it out; `ended()` when the
   * recording is complete; `withdrawn()` when it was withdrawn, which is said here.
   */
  constructor(recording, {mayComplete, announce, ended, withdrawn, footer}) {
    Object.assign(this, {recording, mayComplete, announce, ended, withdrawn});
    this.heading = `recording-${recording.id}`;
    this.soFarText = element('span', {class: 'running-time'}, clock(0));
    this.mark = element('span', {class: 'live-mark'}, say.now);
    this.places = {
      connection: element('div', {class: 'live-notice'}),
      silence: element('div', {class: 'live-notice'}),
      top: element('div', {class: 'recording-top'}),
      traces: element('div', {class: 'recording-traces'}, element('p', {class: 'loading'}, texts.loading)),
      numbers: element('div', {class: 'recording-numbers'}),
    };
    this.section = element(
      'section',
      {class: 'recording recording-live', 'aria-labelledby': this.heading, dataset: {recording: recording.id, state: 'open'}},
      element(
        'div',
        {class: 'recording-head'},
        element(
          'h2',
          {id: this.heading, tabindex: '-1'},
          typeName(recording.type),
          ' ',
          this.mark,
        ),
        descriptionList('facts facts-inline', [
          [texts.study.started, timeOfDay(recording.started_at)],
          [say.running, this.soFarText],
        ]),
      ),
      Object.values(this.places),
      footer,
    );
    this.silentSinceMs = performance.now();
    this.lostSinceMs = null;
    this.isSilent = false;
    this.told = new Set(); // findings that were read out
  }

  /** Begins; the section must be in the document. */
  async start() {
    try {
      const {announced} = await get(`/v1/recordings/${this.recording.id}`);
      this.data = new LiveData(announced);
    } catch (error) {
      fill(this.places.traces, notice('error', `${texts.study.tracesFailed} ${error.message}`, () => this.start()));
      return;
    }
    this.traces = new LiveTraces(this.recording, this.data);
    this.numbers = new LiveNumbers(this.recording.id, this.data, {
      found: (findings) => this.takeFindings(findings),
      jumpTo: (atS) => this.traces.jumpTo(atS),
    });
    fill(this.places.traces, element('h3', {class: 'visually-hidden'}, texts.traces.title), this.traces.element);
    fill(this.places.top, this.numbers.head);
    fill(this.places.numbers, this.numbers.element);
    this.traces.load();
    this.traces.setEvents([]);
    this.feed = new LiveFeed(this.recording.id, {
      take: (answer) => this.take(answer),
      lost: () => this.loseConnection(),
      found: () => this.findConnection(),
      ended: (state, failure) => this.end(state, failure),
    });
    this.ticker = setInterval(() => this.tick(), TICK_MS);
    this.feed.start();
  }

  stop() {
    clearInterval(this.ticker);
    this.feed?.stop();
    this.traces?.stop();
    this.numbers?.stop();
  }

  // ---- what comes

  take(answer) {
    this.silentSinceMs = performance.now() - answer.silent_s * 1000;
    const withEvents = answer.chunks.filter((piece) => this.data.take(piece)).length > 0;
    if (answer.chunks.length) {
      this.traces.update();
      this.soFarText.textContent = clock(this.data.endS);
    }
    this.hasNews ||= answer.chunks.length > 0;
    if (this.hasNews && !answer.more) {
      // The server computes of all that it has: while there is more, the page could not say of how much.
      this.hasNews = false;
      this.numbers.news();
    }
    if (withEvents) this.traces.setEvents(this.data.events);
    if (!answer.more) this.section.dataset.ready = 'true';
    this.showSilence();
  }

  takeFindings(findings) {
    this.traces.setDoubts(findings);
    const keyOf = ({code, signal}) => `${code} ${signal ?? ''}`;
    const fresh = findings.filter((one) => one.severity !== 'info' && !this.told.has(keyOf(one)));
    if (!fresh.length) return;
    for (const one of fresh) this.told.add(keyOf(one));
    this.announce(say.newFindings(fresh.map(({signal, text}) => (signal ? `${signalName(signal)}: ${text}` : text))));
  }

  // ---- room and connection

  tick() {
    this.showSilence();
    if (this.lostSinceMs !== null) this.lostFor.textContent = say.lostFor(this.secondsSince(this.lostSinceMs));
  }

  secondsSince(ms) {
    return Math.floor((performance.now() - ms) / 1000);
  }

  /** Counts up on the page, and is read out once. */
  showSilence() {
    const seconds = this.secondsSince(this.silentSinceMs);
    const silent = seconds >= SILENT_AFTER_S && this.lostSinceMs === null;
    if (silent !== this.isSilent) {
      this.isSilent = silent;
      this.mark.classList.toggle('live-mark-silent', silent);
      this.mark.textContent = silent ? say.silentMark : say.now;
      fill(this.places.silence, silent && this.silenceNotice());
      if (silent) this.announce(say.silentSpoken);
      else if (this.lostSinceMs === null) this.announce(say.sendsAgain);
    }
    if (silent) this.silentFor.textContent = say.silentFor(seconds);
  }

  silenceNotice() {
    this.silentFor = element('strong', {});
    return element(
      'div',
      {class: 'notice notice-caution'},
      element('p', {}, this.silentFor, ' ', say.staysOpen),
      this.mayComplete &&
        element('button', {type: 'button', class: 'button', on: {click: () => this.complete()}}, say.complete),
    );
  }

  async complete() {
    if (this.asking) return;
    this.asking = true;
    try {
      await completeRecording(this.recording.id);
      this.feed.interrupt();
    } catch (error) {
      fill(this.places.connection, notice('error', error.message));
    }
    this.asking = false;
  }

  loseConnection() {
    if (this.lostSinceMs !== null) return;
    this.lostSinceMs = performance.now();
    this.lostFor = element('strong', {}, say.lostFor(0));
    fill(
      this.places.connection,
      element(
        'div',
        {class: 'notice notice-error'},
        element('p', {}, this.lostFor, ' ', say.triesAgain),
        element('button', {type: 'button', class: 'button', on: {click: () => this.feed.interrupt()}}, say.tryNow),
      ),
    );
    this.announce(say.lostSpoken);
    this.showSilence();
  }

  findConnection() {
    this.lostSinceMs = null;
    fill(this.places.connection);
    this.announce(say.foundSpoken);
  }

  // ---- the end

  end(state, failure) {
    this.stop();
    if (state === 'complete') {
      this.announce(say.completed);
      this.ended();
    } else if (state === 'withdrawn') {
      this.sayWithdrawn();
    } else {
      fill(this.places.connection, notice('error', `${say.failed} ${failure.message}`, () => location.reload()));
    }
  }

  async sayWithdrawn() {
    let reason = '';
    try {
      ({reason} = await lastWithdrawal(this.recording.id));
    } catch {
      // that it was withdrawn is said all the same
    }
    this.withdrawn(reason);
  }
}
