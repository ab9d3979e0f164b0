// Watching a recording while it runs: nothing is lost or doubled, and nobody is in another's way.
import assert from 'node:assert/strict';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {changeState, complete, cut, open, random, send, shuffled} from './lib/pieces.mjs';
import {asInt16, pressureFlow, uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();

/** How late news may be: the server looks four times a second, and the machine may be busy. */
const LATE_MS = 2000;

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('live');
  await installation.start({PENSTOCK_WORKERS: '2'});
  clinic = await Clinic.open(installation, 'Clinic that watches');
});

after(() => installation.remove());

const opened = async (document = FLOW) => open(clinic.room, (await clinic.addVisit()).id, document);
const target = (id, after, wait_s = 0) => `/v1/recordings/${id}/live?after=${after}&wait_s=${wait_s}`;
const look = async (id, after, wait_s = 0) => (await clinic.room.get(target(id, after, wait_s))).json;
const flowPiece = (first, samples) => ({channels: [{signal: 'flow', first, samples}]});
const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

/** What a promise gives, and how many milliseconds after `from` it did. */
async function timed(promise, from = Date.now()) {
  const value = await promise;
  return {value, ms: Date.now() - from};
}

describe('who watches', () => {
  it('gets what has arrived at once, in the order of arrival', async () => {
    const id = await opened();
    assert.deepEqual(
      {...(await look(id, 0)), silent_s: 0},
      {
        recording_id: id,
        state: 'open',
        after: 0,
        more: false,
        silent_s: 0,
        chunks: [],
      },
    );
    const {channel, values} = asInt16({samples: [4, null, 5.5]}, 0.5);
    await send(clinic.room, id, 2, flowPiece(9, [0.125, null]));
    await send(clinic.room, id, 0, {
      channels: [{signal: 'flow', first: 0, ...channel}],
      events: [{at_s: 0.1, code: 'comment', note: 'ä'}],
    });
    await send(clinic.room, id, 1, {channels: [{signal: 'flow', first: 5}]});
    const {value: news, ms} = await timed(look(id, 0, 20));
    assert.ok(ms < LATE_MS, `${ms} ms`);
    assert.deepEqual([news.after, news.more], [3, false]);
    const told = news.chunks.map(({received_at, ...chunk}) => chunk);
    assert.deepEqual(told, [
      {number: 2, arrival: 1, channels: [{signal: 'flow', first: 9, samples: [0.125, null]}], events: []},
      {
        number: 0,
        arrival: 2,
        channels: [{signal: 'flow', first: 0, samples: values}],
        events: [{at_s: 0.1, code: 'comment', note: 'ä'}],
      },
      {number: 1, arrival: 3, channels: [{signal: 'flow', first: 5, samples: []}], events: []},
    ]);
    assert.deepEqual(
      (await look(id, 1)).chunks.map(({arrival}) => arrival),
      [2, 3],
    );
    assert.deepEqual((await look(id, 3)).chunks, []);
  });

  it('is told how long the room has been silent', async () => {
    const id = await opened();
    await send(clinic.room, id, 0, flowPiece(0, [1]));
    await pause(300);
    const {silent_s} = await look(id, 1);
    assert.ok(silent_s >= 0.3 && silent_s < 60, String(silent_s));
  });

  it('waits as long as asked when there is nothing', async () => {
    const id = await opened();
    const {value: answer, ms} = await timed(clinic.room.get(target(id, 0, 1)));
    assert.ok(ms >= 950 && ms < 1000 + LATE_MS, `${ms} ms`);
    assert.deepEqual([answer.json.chunks, answer.json.after], [[], 0]);
    assert.equal(answer.headers.get('retry-after'), null, 'it has waited already');
    assert.equal((await clinic.room.get(target(id, 0))).headers.get('retry-after'), '1');
  });

  it('hears of a new piece, of completion and of withdrawal while waiting', async () => {
    const [piece, completion, withdrawal] = await Promise.all([opened(), opened(), opened()]);
    await send(clinic.room, completion, 0, flowPiece(0, [1]));
    const waiting = [
      timed(look(piece, 0, 20)),
      timed(look(completion, 1, 20)),
      timed(clinic.room.expect(410, 'GET', target(withdrawal, 0, 20))),
    ];
    await pause(400);
    await Promise.all([
      send(clinic.room, piece, 5, flowPiece(50, [1])),
      complete(clinic.room, completion, {chunks: 1}),
      changeState(clinic.room, withdrawal, 'withdrawal', 'the wrong patient'),
    ]);
    const sent = Date.now();
    const [first, second, third] = await Promise.all(waiting.map((one) => timed(one, sent)));
    for (const {ms, value} of [first, second, third]) {
      assert.ok(ms < LATE_MS, `${ms} ms after the news`);
      assert.ok(value.ms >= 350, 'it came before the news');
    }
    assert.deepEqual(
      first.value.value.chunks.map(({number}) => number),
      [5],
    );
    assert.deepEqual([second.value.value.state, second.value.value.chunks], ['complete', []]);
    assert.match(third.value.value.json.detail, /withdrawn: the wrong patient$/);
  });

  it('gets long pieces in portions, at least one at a time', async () => {
    const id = await opened();
    const long = Array.from({length: 120_000}, (_, i) => (i % 9) + 0.1234);
    for (const number of [0, 1, 2, 3]) {
      await send(clinic.room, id, number, flowPiece(number * long.length, long));
    }
    let [after, portions] = [0, []];
    for (let more = true; more;) {
      const news = await look(id, after, 20);
      [after, more] = [news.after, news.more];
      portions.push(news.chunks.map(({number}) => number));
    }
    assert.ok(portions.length > 1 && portions.every((portion) => portion.length > 0), JSON.stringify(portions));
    assert.deepEqual(portions.flat(), [0, 1, 2, 3]);
  });

  it('is refused what is not asked for well', async () => {
    const id = await opened();
    for (const [query, expected] of [
      ['after=-1', ['?after']],
      ['after=x&wait_s=26', ['?after', '?wait_s']],
      ['wait_s=0.5', ['?wait_s']],
      ['wait_s=1&wait_s=2', ['?wait_s']],
      ['since=1', ['?since']],
    ]) {
      const answer = await clinic.room.expect(422, 'GET', `/v1/recordings/${id}/live?${query}`);
      assert.deepEqual(pointers(answer), expected, query);
    }
    const whole = await clinic.addRecording((await clinic.addVisit()).id, FLOW);
    const {json} = await clinic.room.expect(409, 'GET', target(whole.json.recording.id, 0, 20));
    assert.match(json.detail, /one request/);
  });
});

/** Asks again and again from where it stopped, as after a lost connection, until it has been told
 * `count` pieces; all of them, in order. Some answers it forgets, as if they had not come through. */
async function watch(id, count, next) {
  const seen = [];
  for (let after = 0; seen.length < count;) {
    const news = await look(id, after, next() < 0.5 ? 0 : 1);
    assert.deepEqual(
      news.chunks.map(({arrival}) => arrival),
      news.chunks.map((_, i) => after + 1 + i),
    );
    assert.equal(news.after, after + news.chunks.length);
    if (next() < 0.8) {
      seen.push(...news.chunks);
      after = news.after;
    }
    await pause(10 * next());
  }
  return seen;
}

describe('watchers who connect anew', () => {
  for (const seed of [11, 12, 13]) {
    it(`lose and double nothing while pieces come out of order (seed ${seed})`, async () => {
      const next = random(seed);
      const id = await opened();
      const pieces = cut(FLOW, 1);
      const left = shuffled([...pieces.entries()], next);
      const watchers = [1, 2, 3].map((i) => watch(id, pieces.length, random(100 * seed + i)));
      const sender = async () => {
        for (let one = left.pop(); one !== undefined; one = left.pop()) {
          await send(clinic.room, id, ...one);
        }
      };
      await Promise.all([sender(), sender(), sender()]);
      const everything = (await look(id, 0)).chunks;
      for (const seen of await Promise.all(watchers)) {
        assert.deepEqual(seen, everything);
      }
      const sent = everything.map(({number, channels, events}) => [number, {channels, events}]);
      assert.deepEqual(
        sent.sort(([a], [b]) => a - b),
        [...pieces.entries()],
      );
    });
  }

  it('are not failed by a completion that comes between their two looks', async () => {
    const id = await opened();
    await send(clinic.room, id, 0, flowPiece(0, [1, 2]));
    // Holds the pieces back until the recording, which the server has seen open, is complete.
    const completion = installation.execute(`
      lock table penstock.recording_chunk in access exclusive mode;
      select pg_sleep(1);
      update penstock.recording set state = 'complete', revision = 1, version = version + 1 where id = '${id}';
      update penstock.recording_chunk set data = null where recording_id = '${id}';`);
    await pause(400);
    const [news, analysis] = await Promise.all([
      look(id, 0, 20),
      clinic.room.expect(409, 'GET', `/v1/recordings/${id}/live/analysis`),
      completion,
    ]);
    assert.deepEqual([news.state, news.after, news.more, news.chunks], ['complete', 0, false, []]);
    assert.match(analysis.json.detail, /is complete/);
  });
});

describe('many watchers', () => {
  it('are in nobody else’s way: twenty wait while two workers serve the rest', async () => {
    const id = await opened();
    await send(clinic.room, id, 0, flowPiece(0, [1]));
    const watchers = Array.from({length: 20}, () => timed(look(id, 1, 25)));
    await pause(600);
    const others = await Promise.all(
      Array.from({length: 10}, async (_, i) => {
        const asked = i % 2 === 0 ? clinic.room.get(`/v1/recordings/${id}`) : clinic.addVisit();
        return (await timed(asked)).ms;
      }),
    );
    assert.ok(Math.max(...others) < 5000, `others were answered after ${Math.max(...others)} ms`);
    await send(clinic.room, id, 1, flowPiece(1, [2]));
    const sent = Date.now();
    const answers = await Promise.all(watchers);
    assert.ok(Date.now() - sent < 2 * LATE_MS, `${Date.now() - sent} ms until all had the news`);
    for (const {value, ms} of answers) {
      assert.ok(ms >= 600);
      assert.deepEqual(
        value.chunks.map(({number}) => number),
        [1],
      );
    }
  });
});

describe('an analysis of what has arrived', () => {
  const partial = (id) => `/v1/recordings/${id}/live/analysis`;

  it('is partial while the recording runs, and nothing is stored of it', async () => {
    const {document} = pressureFlow();
    const id = await opened(document);
    const pieces = cut(document, 100);
    const early = await clinic.room.expect(409, 'GET', partial(id));
    assert.match(early.json.errors[0].detail, /no samples yet/);
    assert.match(early.headers.get('retry-after'), /^\d+$/);
    for (const [number, piece] of pieces.entries()) {
      await send(clinic.room, id, number, piece);
      await installation.unchanged(async () => {
        const {json} = await clinic.room.get(partial(id));
        assert.deepEqual([json.status, json.revision], ['partial', 0]);
        assert.equal('voiding' in json.sections && 'qmax' in json.sections.voiding, number === 3, `piece ${number}`);
      });
    }
    const {json: last} = await clinic.room.get(partial(id));
    const {json} = await complete(clinic.room, id, {chunks: pieces.length});
    assert.deepEqual({...last, status: 'preliminary', revision: 1}, json.analysis);
    const refused = await clinic.room.expect(409, 'GET', partial(id));
    assert.match(refused.json.detail, new RegExp(`complete: see /v1/recordings/${id}/analysis`));
  });

  it('counts what is missing in between as missing', async () => {
    const id = await opened();
    const pieces = cut(FLOW, 9);
    for (const number of [0, 2]) {
      await send(clinic.room, id, number, pieces[number]);
    }
    const {json} = await clinic.room.get(partial(id));
    const codes = json.quality.map(({code}) => code);
    assert.ok(
      codes.some((code) => /missing|gap/.test(code)),
      codes.join(),
    );
  });
});
