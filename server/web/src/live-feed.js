// Follows a running recording: one waiting request after the other, each for what came after the last
// piece that is here. A lost connection is tried again until it is back or stop() is called.
import {Failure, get} from './api.js';
import {texts} from './texts.js';

const WAIT_S = 10; // short enough to tell a silent room from a connection that died without a word
const ANSWER_LATE_MS = 20_000;
const PAUSE_FIRST_MS = 500;
const PAUSE_MOST_MS = 10_000;
const PAUSE_UNASKED_MS = 1_000; // the server did not wait, as when too many do
const PAUSE_HIDDEN_MS = 10_000;
const WAITING_MOST = 2; // a browser has six connections for all pages of a server: others must get through

const ENDING = new Set(['withdrawn', 'missing', 'forbidden', 'refused']);

const feeds = [];

export class LiveFeed {
  /**
   * take(answer): pieces in the order of arrival, none twice; lost(failure) and found(): the connection;
   * ended(state, failure): "complete", "withdrawn" or "failed". Nothing is called after it.
   */
  constructor(recordingId, {take, lost, found, ended}) {
    this.path = `/v1/recordings/${recordingId}/live`;
    this.calls = {take, lost, found, ended};
    this.after = 0;
    this.failures = 0;
    this.stopped = false;
    this.wake = () => this.interrupt();
  }

  start() {
    feeds.push(this);
    addEventListener('online', this.wake);
    addEventListener('offline', this.wake);
    document.addEventListener('visibilitychange', this.wake);
    return this.run();
  }

  stop() {
    if (this.stopped) return;
    this.stopped = true;
    feeds.splice(feeds.indexOf(this), 1);
    removeEventListener('online', this.wake);
    removeEventListener('offline', this.wake);
    document.removeEventListener('visibilitychange', this.wake);
    this.interrupt();
  }

  /** Ends a pause or a waiting request, whose place in the order of pieces is not lost by it. */
  interrupt() {
    this.running?.abort();
    this.endPause?.();
  }

  pause(milliseconds) {
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, milliseconds);
      this.endPause = () => {
        clearTimeout(timer);
        resolve();
      };
    });
  }

  async ask(waitS) {
    this.running = new AbortController();
    let isLate = false;
    const late = setTimeout(() => {
      isLate = true;
      this.running.abort();
    }, ANSWER_LATE_MS);
    try {
      return await get(this.path, {after: this.after, wait_s: waitS}, this.running.signal);
    } catch (error) {
      throw isLate ? new Failure('away', texts.failures.away) : error;
    } finally {
      clearTimeout(late);
      this.running = null;
    }
  }

  async run() {
    while (!this.stopped) {
      const waits = !document.hidden && feeds.indexOf(this) < WAITING_MOST;
      const begunMs = performance.now();
      try {
        const answer = await this.ask(waits && this.failures === 0 ? WAIT_S : 0);
        if (this.stopped) return;
        this.receive(answer);
        if (this.stopped || answer.more) continue;
        if (document.hidden) await this.pause(PAUSE_HIDDEN_MS);
        else if (!answer.chunks.length && performance.now() - begunMs < PAUSE_UNASKED_MS) await this.pause(PAUSE_UNASKED_MS);
      } catch (error) {
        if (this.stopped) return;
        await this.fail(error);
      }
    }
  }

  receive(answer) {
    if (this.failures > 0) {
      this.failures = 0;
      this.calls.found();
    }
    const fresh = answer.chunks.filter(({arrival}) => arrival > this.after);
    this.after = Math.max(this.after, answer.after);
    this.calls.take({...answer, chunks: fresh});
    if (answer.state !== 'open') this.end(answer.state, null);
  }

  /** The browser says when it goes offline; else a request was interrupted to be asked anew. */
  async fail(error) {
    if (ENDING.has(error.kind)) {
      this.end(error.kind === 'withdrawn' ? 'withdrawn' : 'failed', error);
      return;
    }
    if (error.name === 'AbortError' && navigator.onLine && this.failures === 0) return;
    this.failures++;
    this.calls.lost(error);
    const pauseMs = Math.min(PAUSE_MOST_MS, PAUSE_FIRST_MS * 2 ** (this.failures - 1));
    await this.pause(Math.max(pauseMs, (error.retryAfterS ?? 0) * 1000));
  }

  end(state, failure) {
    this.stop();
    this.calls.ended(state, failure);
  }
}
