// The client in the examination room: it sends a recording again until it is acknowledged, as api-docs says.
import assert from 'node:assert/strict';
import {makeUpload, LONG, SHORT} from '../../api/lib/uploads.mjs';
import {sleep, until} from './wait.mjs';
import {Broken, isAcknowledgement, WAYS} from './ways.mjs';

const RECONNECT_MS = 100;
const GIVE_UP_MS = 240_000;
const STUDY_HOLDS = 100;
const LONG_EVERY = 23; // prime, so that every way gets some

/** The answers that tell a client to come back, each with Retry-After. */
const COME_BACK = [503, 507];

export class Room {
  /** `url` gives the address to send to at that moment. */
  constructor(clinic, url) {
    this.clinic = clinic;
    this.url = url;
    this.uploads = [];
    this.acknowledged = new Map();
    this.underWay = 0;
    Object.assign(this, {attempts: 0, broken: 0, toldToWait: 0, replayed: 0});
  }

  /** A new upload: one in LONG_EVERY has several blocks, and every second has no id but the key alone. */
  async make() {
    const number = this.uploads.length;
    const index = Math.floor(number / STUDY_HOLDS);
    this.studies ??= [];
    this.studies[index] ??= this.addVisit();
    const counts = number % LONG_EVERY === 0 ? LONG : SHORT;
    const upload = makeUpload('', number, {counts, hasId: number % 2 === 0});
    this.uploads.push(upload);
    upload.studyId = (await this.studies[index]).id;
    return upload;
  }

  /** A study for the uploads; the server may just be dead. */
  async addVisit() {
    let study;
    await until('a study is made', async () => {
      study = await this.clinic.addVisit().catch(() => undefined);
      return study?.id;
    });
    return study;
  }

  async makeMany(count) {
    const uploads = [];
    for (let i = 0; i < count; i++) {
      uploads.push(await this.make());
    }
    return uploads;
  }

  /** One attempt: its answer, or undefined when the connection broke. Any other answer than an
   * acknowledgement and those that say when to come back is a failure of the server. */
  async attempt(upload) {
    this.attempts++;
    this.underWay++;
    try {
      const way = upload.way ?? WAYS[upload.number % WAYS.length];
      const answer = await way(this.url(), this.clinic.tokens.room, upload);
      this.note(upload, answer);
      return answer;
    } catch (error) {
      if (!(error instanceof Broken)) {
        throw error;
      }
      this.broken++;
      return undefined;
    } finally {
      this.underWay--;
    }
  }

  note(upload, answer) {
    if (isAcknowledgement(answer)) {
      this.replayed += answer.headers.get('idempotent-replayed') === 'true' ? 1 : 0;
      const before = this.acknowledged.get(upload);
      assert.ok(before === undefined || before.recording.id === answer.json.recording.id, 'two ids for one upload');
      this.acknowledged.set(upload, answer.json);
      return;
    }
    assert.ok(COME_BACK.includes(answer.status), `${answer.what}: ${answer.text}`);
    assert.match(answer.headers.get('retry-after') ?? '', /^\d+$/, `${answer.what} lacks Retry-After`);
    this.toldToWait++;
  }

  /** Sends it until it is acknowledged, and waits in between as long as it is told to. */
  async send(upload) {
    for (const began = Date.now(); Date.now() - began < GIVE_UP_MS; ) {
      const answer = await this.attempt(upload);
      if (answer !== undefined && isAcknowledgement(answer)) {
        return;
      }
      await sleep(answer === undefined ? RECONNECT_MS : 1000 * Number(answer.headers.get('retry-after')));
    }
    throw new Error(`upload ${upload.number} was never acknowledged`);
  }

  /** Sends new uploads, `width` at a time, for as long as `disturb` runs, and to their end. */
  async sendDuring(width, disturb) {
    let isOver = false;
    const disturbed = disturb().finally(() => {
      isOver = true;
    });
    const worker = async () => {
      while (!isOver) {
        await this.send(await this.make());
      }
    };
    // All of them to their end, so that nothing is disturbed any more when a failure is told; a client's
    // first, because without clients the disturbance waits in vain.
    const ends = await Promise.allSettled([...Array.from({length: width}, worker), disturbed]);
    const failed = ends.find(({status}) => status === 'rejected');
    if (failed) {
      throw failed.reason;
    }
  }
}
