// deploy/room-uploader: what a room's device wrote is stored once and only once, whatever happens.
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {createHash, randomUUID} from 'node:crypto';
import {chmodSync, existsSync, mkdirSync, renameSync, rmSync, symlinkSync, utimesSync, writeFileSync} from 'node:fs';
import path from 'node:path';
import {after, before, describe, it} from 'node:test';
import {Clinic} from '../api/lib/clinic.mjs';
import {Installation} from '../api/lib/installation.mjs';
import {readSource} from '../api/lib/environment.mjs';
import {uroflowmetry} from '../api/lib/recordings.mjs';
import {problem, Room, StandIn, until, wait} from './lib/room.mjs';

const STUDY = '0190a5c4-7d00-7abc-8def-000000000001';
const OTHER_STUDY = '0190a5c4-7d00-7abc-8def-000000000002';
const {document: FLOW} = uroflowmetry({grid: {rate_hz: 10, duration_s: 45}});

/** A recording that its start tells from the others. */
const flowNumber = (number) =>
  JSON.stringify({...FLOW, started_at: new Date(Date.UTC(2026, 2, 2, 9, 0, number)).toISOString()});

describe('with a server', () => {
  let installation;
  let clinic;

  before(async () => {
    installation = await Installation.create('room');
    await installation.start();
    clinic = await Clinic.open(installation, 'Clinic of the rooms');
  });

  after(() => installation.remove());

  const open = (settings) => new Room(installation.url, settings, clinic.tokens.room);
  const recordings = async (id) => (await clinic.room.get(`/v1/studies/${id}/recordings?limit=200`)).json.items;

  it('a recording is stored, and moved with its answer beside it', async () => {
    const room = open();
    const {id} = await clinic.addVisit();
    room.put(id, 'flow.json', flowNumber(1));
    const {code, stdout, stderr} = await room.run('--once');
    assert.equal(code, 0, stderr);
    assert.match(stdout, /^waiting 0, sent 1 today, refused 0, misplaced 0, last success 2.*, last error none\n$/);
    assert.deepEqual(room.list(id), []);
    assert.deepEqual(room.list('.sent', id), ['flow.json', 'flow.json.answer']);
    assert.equal(room.read('.sent', id, 'flow.json'), flowNumber(1));
    const [stored] = await recordings(id);
    assert.equal(JSON.parse(room.read('.sent', id, 'flow.json.answer')).recording.id, stored.id);
    assert.equal(room.read('.status'), stdout);
    await room.remove();
  });

  it('the same content again, under whatever name, is the same recording', async () => {
    const room = open();
    const {id} = await clinic.addVisit();
    for (const name of ['flow.json', 'flow.json', 'copy.json']) {
      room.put(id, name, flowNumber(2));
      assert.equal((await room.run('--once')).code, 0);
    }
    assert.equal((await recordings(id)).length, 1);
    const names = ['copy.json', 'flow-2.json', 'flow.json'];
    assert.deepEqual(room.list('.sent', id), names.flatMap((name) => [name, `${name}.answer`]));
    const answers = names.map((name) => room.read('.sent', id, `${name}.answer`));
    assert.equal(new Set(answers).size, 1);
    await room.remove();
  });

  it('what the server refuses is set aside with all its faults, and holds nothing up', async () => {
    const room = open();
    const {id} = await clinic.addVisit();
    const cancelled = await clinic.addVisit();
    await clinic.room.patch(`/v1/studies/${cancelled.id}`, {status: 'cancelled'}, '"1"');
    const signed = await clinic.addVisit();
    await clinic.sign(signed.id);
    const unknown = randomUUID();
    const faulty = {...FLOW, conditions: {position: 7}, channels: [{...FLOW.channels[0], unit: 'furlong'}]};
    room.put(id, 'a-broken.json', '{"type": ');
    room.put(id, 'b-faulty.json', JSON.stringify(faulty));
    room.put(id, 'c-good.json', flowNumber(3));
    room.put(cancelled.id, 'd.json', flowNumber(4));
    room.put(unknown, 'e.json', flowNumber(5));
    room.put(signed.id, 'f.json', flowNumber(5));
    const {code, stdout, stderr} = await room.run('--once');
    assert.equal(code, 1);
    assert.match(stdout, /^waiting 0, sent 1 today, refused 5, /);
    assert.deepEqual(room.list('.sent', id), ['c-good.json', 'c-good.json.answer']);
    assert.deepEqual(
      room.list('.refused', id),
      ['a-broken.json', 'b-faulty.json'].flatMap((name) => [name, `${name}.problem`]),
    );
    assert.equal(JSON.parse(room.read('.refused', id, 'a-broken.json.problem')).status, 400);
    const {status, errors} = JSON.parse(room.read('.refused', id, 'b-faulty.json.problem'));
    assert.equal(status, 422);
    assert.ok(errors.length >= 2);
    const said = stderr.split('\n').find((line) => line.includes("'b-faulty.json'"));
    for (const {pointer, detail} of errors.slice(0, 5)) {
      assert.ok(said.includes(`${pointer}: ${detail.replace(/\.$/, '')}`), said);
    }
    assert.equal(JSON.parse(room.read('.refused', cancelled.id, 'd.json.problem')).status, 409);
    assert.equal(JSON.parse(room.read('.refused', unknown, 'e.json.problem')).status, 404);
    assert.equal(JSON.parse(room.read('.refused', signed.id, 'f.json.problem')).status, 404);
    assert.equal((await recordings(id)).length, 1);

    // Corrected and moved back it goes.
    room.put(id, 'b-faulty.json', flowNumber(6));
    assert.equal((await room.run('--once')).code, 0);
    assert.equal((await recordings(id)).length, 2);
    await room.remove();
  });

  /** A recording as the server writes it into a file. */
  const fileOf = async (recording, type) => {
    const headers = {accept: type, authorization: `Bearer ${clinic.tokens.room}`};
    return Buffer.from(await (await fetch(`${installation.url}/v1/recordings/${recording.id}/traces`, {headers})).arrayBuffer());
  };

  /** EDF with other labels; each has 16 bytes from byte 256 on. */
  const relabelled = (edf, labels) => {
    const copy = Buffer.from(edf);
    labels.forEach((label, index) => copy.write(label.padEnd(16), 256 + 16 * index, 'latin1'));
    return copy;
  };

  const addPressures = async () => {
    const channel = (signal, unit, value) => ({signal, unit, rate_hz: 10, samples: new Array(100).fill(value)});
    const channels = [channel('pves', 'cm[H2O]', 31.5), channel('pabd', 'cm[H2O]', 30), channel('emg', 'uV', 4)];
    const study = await clinic.addVisit();
    return (await clinic.addRecording(study.id, {...FLOW, type: 'pressure_flow', channels})).json.recording;
  };

  it('EDF and CSV go with the queries that README.md shows', async () => {
    const queries = [...readSource('deploy/room-uploader/README.md').matchAll(/^\| (EDF|CSV).* \| `(type=\S+)` \|/gm)];
    assert.deepEqual(queries.map(([, kind]) => kind), ['EDF', 'EDF', 'CSV']);
    const [known, labelled, table] = queries.map(([, , query]) => query);
    const recording = await addPressures();
    const edf = await fileOf(recording, 'application/edf');
    const room = open();
    const {id} = await clinic.addVisit();
    const put = (name, content, query) => {
      room.put(id, `${name}.query`, `${query}\n`);
      room.put(id, name, content);
    };
    put('a.edf', edf, known);
    put('b.edf', relabelled(edf, ['Channel 1', 'Channel 2', 'Channel 9']), labelled);
    put('c.csv', await fileOf(recording, 'text/csv'), table);
    const {code, stderr} = await room.run('--once');
    assert.equal(code, 0, stderr);
    const signals = (await recordings(id)).map(({channels}) => channels.map(({signal}) => signal).sort().join());
    assert.deepEqual(signals.sort(), ['emg,pabd,pves', 'emg,pabd,pves', 'pabd,pves']);
    await room.remove();
  });

  it('the same file with a corrected query is another recording', async () => {
    const edf = await fileOf(await addPressures(), 'application/edf');
    const room = open();
    const {id} = await clinic.addVisit();
    for (const type of ['cystometry', 'pressure_flow', 'pressure_flow']) {
      room.put(id, 'a.edf.query', `type=${type}&utc_offset_min=60`);
      room.put(id, 'a.edf', edf);
      const {code, stderr} = await room.run('--once');
      assert.equal(code, 0, stderr);
    }
    assert.deepEqual((await recordings(id)).map(({type}) => type).sort(), ['cystometry', 'pressure_flow']);
    await room.remove();
  });

  it('a killed uploader leaves each recording stored once and acknowledged once', async (t) => {
    const KILLS = 40;
    const ALWAYS_WAITING = 12;
    const room = open();
    const studies = [(await clinic.addVisit()).id, (await clinic.addVisit()).id];
    const left = () => studies.flatMap((id) => room.list(id)).length;
    let count = 0;
    let halves = 0;
    for (let kills = 0; kills < KILLS; kills++) {
      for (; left() < ALWAYS_WAITING; count++) {
        room.put(studies[count % 2], `recording ${count}.json`, flowNumber(count));
      }
      const run = room.spawn();
      await wait(40 + Math.random() * 400);
      // By turns a power cut, and the death of the shell alone, which its curl survives.
      process.kill(kills % 2 === 0 ? -run.child.pid : run.child.pid, 'SIGKILL');
      assert.equal((await run.ended).signal, 'SIGKILL', run.stderr);
      halves += existsSync(path.join(room.folder, '.moving')) ? 1 : 0;
    }
    t.diagnostic(`${KILLS} kills, ${halves} in the middle of a move; ${count - left()} of ${count} sent meanwhile`);
    const last = await room.run('--once');
    assert.equal(last.code, 0, last.stderr);
    let acknowledgedCount = 0;
    for (const id of studies) {
      assert.deepEqual(room.list(id), []);
      const names = room.list('.sent', id);
      const sent = names.filter((name) => name.endsWith('.json'));
      assert.deepEqual(names, sent.flatMap((name) => [name, `${name}.answer`]).sort());
      const stored = await recordings(id);
      const acknowledged = sent.map((name) => {
        const {recording} = JSON.parse(room.read('.sent', id, `${name}.answer`));
        assert.equal(Date.parse(recording.started_at), Date.parse(JSON.parse(room.read('.sent', id, name)).started_at));
        return recording.id;
      });
      acknowledgedCount += sent.length;
      assert.deepEqual(acknowledged.sort(), stored.map((recording) => recording.id).sort());
    }
    assert.deepEqual(room.list().filter((name) => name.startsWith('.mov')), []);
    assert.deepEqual(room.list('.work'), []);
    assert.equal(acknowledgedCount, count);
    await room.remove();
  });
});

describe('with a server that fails', {concurrency: 8}, () => {
  /** Runs `act` with a stand-in and a room for it. */
  async function stage(answers, settings, act) {
    const standIn = await StandIn.open(answers);
    const room = new Room(standIn.url, settings);
    try {
      await act(room, standIn);
    } finally {
      await room.remove();
      standIn.close();
    }
  }

  const isSent = (room, name, study = STUDY) => () => room.list('.sent', study).includes(`${name}.answer`);

  it('an answer that is cut after the recording was stored is asked for again', () =>
    stage(
      {
        after: ({response}, number) => {
          if (number > 2) {
            return false;
          }
          response.writeHead(201, {'content-type': 'application/json', 'content-length': 1000});
          response.write(`{"recording":{"id":"x","study_id":"${STUDY}"`);
          setTimeout(() => response.destroy(), 50);
          return true;
        },
      },
      {},
      async (room, standIn) => {
        room.put(STUDY, 'one.json', 'one');
        const run = room.spawn();
        await until(isSent(room, 'one.json'), 'acknowledged');
        assert.equal(standIn.requests.length, 4);
        assert.deepEqual(standIn.bodies(), ['one']);
        assert.match(run.stderr, /Not sent, kept: 'one\.json' .*connection broke before the whole answer/);
        process.kill(run.child.pid, 'SIGTERM');
        assert.equal((await run.ended).code, 0);
        assert.match(run.stderr, /Stopped\.\n$/);
      },
    ));

  it('a dropped connection loses nothing', () =>
    stage(
      {
        trouble: ({request}, number) => {
          if (number < 2) {
            request.socket.destroy();
          }
          return number < 2;
        },
      },
      {},
      async (room, standIn) => {
        const names = ['a.json', 'b.json', 'c.json', 'd.json'];
        names.forEach((name) => room.put(STUDY, name, name));
        room.spawn();
        await until(() => names.every((name) => isSent(room, name)()), 'all acknowledged');
        assert.deepEqual(standIn.bodies(), names);
      },
    ));

  it('a server that is off is waited for', async () => {
    const standIn = await StandIn.open();
    const {port} = standIn.server.address();
    standIn.close();
    const room = new Room(standIn.url);
    room.put(STUDY, 'one.json', 'one');
    const run = room.spawn();
    await until(() => /nobody answers there/.test(run.stderr), 'said');
    assert.equal((await room.run('--status')).code, 0);
    const back = await StandIn.open();
    back.server.close();
    await new Promise((resolve) => back.server.listen(port, '127.0.0.1', resolve));
    await until(isSent(room, 'one.json'), 'acknowledged');
    assert.match(await room.status(), /^running: waiting 0, sent 1 today, refused 0, misplaced 0, .*nobody answers/);
    await room.remove();
    back.close();
  });

  it('503 with Retry-After is honoured', () =>
    stage(
      {trouble: ({response}, number) => number === 0 && problem(response, 503, {}, {'retry-after': '4'})},
      {},
      async (room, standIn) => {
        room.put(STUDY, 'one.json', 'one');
        room.put(STUDY, 'two.json', 'two');
        room.spawn();
        await until(() => isSent(room, 'one.json')() && isSent(room, 'two.json')(), 'acknowledged');
        const [first, second] = standIn.requests.map(({at_ms}) => at_ms);
        assert.ok(second - first >= 4000, `asked again after ${second - first} ms`);
      },
    ));

  it('failures are repeated ever more slowly', () =>
    stage({trouble: ({response}) => problem(response, 500)}, {PENSTOCK_ROOM_RETRY_MAX_S: 4}, async (room, standIn) => {
      room.put(STUDY, 'one.json', 'one');
      const run = room.spawn();
      await until(() => standIn.requests.length >= 5, 'five tries', 40_000);
      // Waits of 1, 1 to 2, 2 to 4 and 2 to 4 s.
      for (const [i, least_ms] of [1000, 1000, 2000, 2000].entries()) {
        const gap_ms = standIn.requests[i + 1].at_ms - standIn.requests[i].at_ms;
        assert.ok(gap_ms >= least_ms, `try ${i + 2} came after ${gap_ms} ms`);
      }
      assert.match(run.stderr, /the server answered 500: No; next try in \d s/);
      assert.deepEqual(room.list(STUDY), ['one.json']);
    }));

  for (const status of [401, 403]) {
    it(`${status} stops the sending until the token file changes`, () =>
      stage(
        {
          trouble: ({headers, response}) =>
            headers.authorization !== 'Bearer pst_new' && problem(response, status, {detail: 'Sign in.'}),
        },
        {},
        async (room, standIn) => {
          room.put(STUDY, 'one.json', 'one');
          room.put(STUDY, 'two.json', 'two');
          const run = room.spawn();
          await until(() => /refuses the token/.test(run.stderr), 'said');
          await wait(3000);
          assert.equal(standIn.requests.length, 1, 'nothing was sent meanwhile');
          assert.match(await room.status(), /^running: waiting 2, .*the server refuses the token \(40.: Sign in\)/);
          room.setToken('pst_new');
          await until(() => isSent(room, 'one.json')() && isSent(room, 'two.json')(), 'acknowledged');
        },
      ));
  }

  it('one bad file does not hold up the others', () =>
    stage(
      {
        trouble: ({body, request, response}) => {
          if (body.toString() === 'cut') {
            request.socket.destroy();
          }
          return body.toString() === 'cut' || (body.toString() === 'fails' && problem(response, 500));
        },
      },
      {},
      async (room) => {
        room.put(STUDY, 'a.json', 'cut');
        room.put(STUDY, 'b.json', 'fails');
        room.put(STUDY, 'c.json', 'good');
        room.put(OTHER_STUDY, 'd.json', 'good');
        assert.equal((await room.run('--once')).code, 1);
        assert.deepEqual(room.list(STUDY), ['a.json', 'b.json']);
        assert.ok(isSent(room, 'c.json')() && isSent(room, 'd.json', OTHER_STUDY)());
      },
    ));

  it('a slow answer is waited for, an endless silence is not', () =>
    stage(
      {
        trouble: ({body}) => body.toString() === 'silence',
        after: ({response}) => {
          const send = response.end.bind(response);
          response.end = (text) => setTimeout(() => send(text), 1500);
          return false;
        },
      },
      {},
      async (room) => {
        room.put(STUDY, 'a.json', 'silence');
        room.put(STUDY, 'b.json', 'slow');
        const {code, stderr} = await room.run('--once');
        assert.equal(code, 1);
        assert.match(stderr, /'a\.json' .*did not answer, or the line stood still for 3 s/);
        assert.deepEqual(room.list(STUDY), ['a.json']);
        assert.ok(isSent(room, 'b.json')());
      },
    ));

  for (const [what, status, type, body] of [
    ['a page of success', 200, 'text/html', '<h1>Welcome to the network</h1>'],
    ['JSON of something else', 201, 'application/json', '{"recording":{"study_id":"another"}}'],
    ['an empty success', 204, 'application/json', ''],
    ['a way to elsewhere', 302, 'text/html', ''],
    ["a proxy's 404", 404, 'text/html', '<h1>Not found</h1>'],
  ]) {
    it(`${what} is neither an acknowledgement nor a refusal`, () =>
      stage(
        {
          trouble: ({response}) => {
            response.writeHead(status, {'content-type': type});
            response.end(body);
            return true;
          },
        },
        {},
        async (room, standIn) => {
          room.put(STUDY, 'one.json', 'one');
          room.put(STUDY, 'two.json', 'two');
          const {code, stderr} = await room.run('--once');
          assert.equal(code, 1);
          assert.match(stderr, /NOTHING IS SENT for 900 s, all is kept: .*check PENSTOCK_URL/);
          assert.deepEqual(room.list(STUDY), ['one.json', 'two.json']);
          assert.equal(standIn.requests.length, 1);
        },
      ));
  }

  it('EDF and CSV go with their query, and arrive byte for byte', () =>
    stage({}, {}, async (room, standIn) => {
      const edf = Buffer.from(Array.from({length: 70_000}, (_, i) => i % 256));
      room.put(STUDY, 'a.edf', edf);
      room.put(STUDY, 'a.edf.query', 'type=pressure_flow&utc_offset_min=60\n');
      room.put(STUDY, 'B.CSV', 'time;flow\r\n0;1\r\n');
      room.put(STUDY, 'query', '?type=uroflowmetry\r\n');
      room.put(OTHER_STUDY, 'c.csv', 'x');
      const {code, stderr} = await room.run('--once');
      assert.equal(code, 0, stderr);
      const target = (study) => `/v1/studies/${study}/recordings`;
      const seen = standIn.requests.map(({url, headers}) => [
        url,
        headers['content-type'],
        headers['content-encoding'] ?? null,
        headers.authorization,
      ]);
      const bearer = 'Bearer pst_stand-in';
      assert.deepEqual(seen, [
        [`${target(STUDY)}?type=uroflowmetry`, 'text/csv', 'gzip', bearer],
        [`${target(STUDY)}?type=pressure_flow&utc_offset_min=60`, 'application/edf', null, bearer],
        [target(OTHER_STUDY), 'text/csv', 'gzip', bearer],
      ]);
      assert.deepEqual(standIn.requests[0].body.toString(), 'time;flow\r\n0;1\r\n');
      assert.ok(standIn.requests[1].body.equals(edf));
      assert.deepEqual(room.list(STUDY), ['query']);
      assert.deepEqual(room.list('.sent', STUDY), [
        'B.CSV',
        'B.CSV.answer',
        'a.edf',
        'a.edf.answer',
        'a.edf.query',
      ]);
    }));

  it('a query that is none is said, and the file kept', () =>
    stage({}, {}, async (room, standIn) => {
      room.put(STUDY, 'a.csv', 'x');
      room.put(STUDY, 'a.csv.query', 'type="x"\nurl = "http://127.0.0.1:1/"');
      const {code, stderr} = await room.run('--once');
      assert.equal(code, 1);
      assert.match(stderr, /'a\.csv' .*'a\.csv\.query' is no query such as/);
      assert.equal(standIn.requests.length, 0);
      assert.deepEqual(room.list(STUDY), ['a.csv', 'a.csv.query']);
    }));

  it('odd names are nothing special', () =>
    stage({}, {}, async (room, standIn) => {
      const names = [
        ' a space .json',
        '-rf.json',
        '--once.json',
        "a'quote\"s`$(id)\\.json",
        'a\nline\n.json',
        '\n.json',
        '*?[a].json',
        'Größe µ.json',
        `${'x'.repeat(250)}.json`,
        'x.json.answer.json',
        'query.json',
      ];
      names.forEach((name) => room.put(STUDY, name, name));
      const {code, stdout, stderr} = await room.run('--once');
      assert.equal(code, 0, stderr);
      assert.match(stdout, /^waiting 0, sent 11 today, refused 0, misplaced 0, /);
      assert.deepEqual(standIn.bodies(), [...names].sort());
      assert.deepEqual(room.list(STUDY), []);
      const kept = names.map((name) => (name.length > 250 ? `${'x'.repeat(200)}.json` : name));
      assert.deepEqual(room.list('.sent', STUDY), kept.flatMap((name) => [name, `${name}.answer`]).sort());
      for (const line of stderr.trimEnd().split('\n')) {
        assert.match(line, /^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d /, 'a name cannot make lines of its own');
      }
    }));

  it('links are not followed, and what lies in the wrong place is said', () =>
    stage({}, {}, async (room, standIn) => {
      const outside = path.join(room.base, 'outside');
      mkdirSync(outside);
      writeFileSync(path.join(outside, 'secret.json'), 'secret');
      mkdirSync(path.join(room.folder, STUDY));
      symlinkSync(path.join(outside, 'secret.json'), path.join(room.folder, STUDY, 'link.json'));
      symlinkSync(outside, path.join(room.folder, OTHER_STUDY));
      execFileSync('mkfifo', [path.join(room.folder, STUDY, 'pipe.json')]);
      room.put('not a study', 'a.json', 'a');
      room.put(STUDY, 'notes.txt', 'a');
      writeFileSync(path.join(room.folder, 'lost.json'), 'a');
      const {code, stdout, stderr} = await room.run('--once');
      assert.equal(code, 0);
      assert.equal(standIn.requests.length, 0);
      assert.match(stdout, /^waiting 0, sent 0 today, refused 0, misplaced 6, /);
      for (const name of ['link.json', OTHER_STUDY, 'pipe.json', 'not a study', 'notes.txt', 'lost.json']) {
        assert.match(stderr, new RegExp(`'.*${name}' is not sent: `));
      }
    }));

  it('what is still being written is left alone', () =>
    stage({}, {PENSTOCK_ROOM_SETTLE_S: 5}, async (room, standIn) => {
      room.put(STUDY, '.hidden.json', 'x');
      room.put(STUDY, 'half.json.part', 'x');
      room.put(STUDY, 'half.tmp', 'x');
      const file = path.join(room.folder, STUDY, 'growing.json');
      const run = room.spawn();
      for (let i = 1; i <= 20; i++) {
        writeFileSync(file, 'x'.repeat(i));
        // The time that a copying program would set.
        utimesSync(file, 1e9, 1e9);
        await wait(300);
        assert.equal(standIn.requests.length, 0, `sent after ${i} writes: ${run.stderr}`);
      }
      await until(isSent(room, 'growing.json'), 'acknowledged');
      assert.deepEqual(standIn.bodies(), ['x'.repeat(20)]);
      assert.deepEqual(room.list(STUDY), ['.hidden.json', 'half.json.part', 'half.tmp']);
      renameSync(path.join(room.folder, STUDY, 'half.json.part'), path.join(room.folder, STUDY, 'half.json'));
      await until(isSent(room, 'half.json'), 'the renamed one too');
    }));

  it('what is changed while it is sent goes again', () =>
    stage({}, {}, async (room, standIn) => {
      room.put(STUDY, 'one.json', 'old');
      standIn.after = (_, number) => {
        if (number === 0) {
          room.put(STUDY, 'one.json', 'newer');
        }
        return false;
      };
      const run = room.spawn();
      await until(isSent(room, 'one.json'), 'acknowledged');
      assert.deepEqual(standIn.bodies(), ['newer', 'old']);
      assert.equal(room.read('.sent', STUDY, 'one.json'), 'newer');
      assert.match(run.stderr, /was changed while it was sent/);
    }));

  it('a move that was interrupted is completed without sending again', () =>
    stage({}, {}, async (room, standIn) => {
      room.put(STUDY, 'one\n.csv', 'one');
      room.put(STUDY, 'one\n.csv.query', 'type=x');
      assert.equal((await room.run('--once')).code, 0);
      assert.equal(standIn.requests.length, 1);
      const sent = (name) => path.join(room.folder, '.sent', STUDY, name);
      const key = createHash('sha256').update(`${STUDY}\none`).digest('hex'); // of study and content
      const fields = {to: 'sent', study: STUDY, name: 'one\n.csv', final: 'one\n.csv', key, answer: 'the answer'};
      const moving = path.join(room.folder, '.moving');
      /** As a power cut leaves it when `done` steps of the move were done. */
      const halve = (done) => {
        mkdirSync(moving);
        Object.entries(fields).forEach(([name, value]) => writeFileSync(path.join(moving, name), value));
        if (done < 2) {
          renameSync(sent('one\n.csv.query'), path.join(room.folder, STUDY, 'one\n.csv.query'));
        }
        if (done < 1) {
          renameSync(sent('one\n.csv'), path.join(room.folder, STUDY, 'one\n.csv'));
        }
      };
      for (const done of [0, 1, 2]) {
        halve(done);
        const {code, stderr} = await room.run('--once');
        assert.equal(code, 0, stderr);
        assert.match(stderr, /Completed the move of 'one\?\.csv'/);
        assert.equal(standIn.requests.length, 1, 'nothing was sent again');
        assert.deepEqual(room.list(STUDY), []);
        assert.deepEqual(room.list('.sent', STUDY), ['one\n.csv', 'one\n.csv.answer', 'one\n.csv.query']);
        assert.equal(room.read('.sent', STUDY, 'one\n.csv.answer'), 'the answer');
      }
      // Another file that has got the name meanwhile is not what was acknowledged.
      halve(2);
      room.put(STUDY, 'one\n.csv', 'another');
      assert.equal((await room.run('--once')).code, 0);
      assert.deepEqual(standIn.bodies(), ['another', 'one']);
      assert.equal(room.read('.sent', STUDY, 'one\n-2.csv'), 'another');
    }));

  it('what cannot be moved is not lost, and holds its place until it can', () =>
    stage({}, {PENSTOCK_ROOM_PAUSE_S: 1}, async (room, standIn) => {
      // No folder can be made where a file is.
      writeFileSync(path.join(room.folder, '.sent'), '');
      room.put(STUDY, 'one.json', 'one');
      const run = room.spawn();
      await until(() => /'one\.json' .* has its answer, but cannot be moved to \.sent/.test(run.stderr), 'said');
      assert.deepEqual(room.list(STUDY), ['one.json']);
      rmSync(path.join(room.folder, '.sent'));
      await until(isSent(room, 'one.json'), 'moved');
      assert.deepEqual(standIn.bodies(), ['one']);
    }));

  it('nothing is sent when the disk has no room for the answer', () =>
    stage({}, {PENSTOCK_ROOM_PAUSE_S: 1}, async (room, standIn) => {
      const bin = path.join(room.base, 'bin');
      mkdirSync(bin);
      const program = '#!/bin/sh\n[ "$1" != -f ] || { echo "100 4096"; exit; }\nexec /usr/bin/stat "$@"\n';
      writeFileSync(path.join(bin, 'stat'), program, {mode: 0o755});
      room.path = `${bin}:${process.env.PATH}`;
      room.put(STUDY, 'one.json', 'one');
      const {code, stderr} = await room.run('--once');
      assert.equal(code, 1);
      assert.match(stderr, /less than 16384 KiB are free/);
      assert.equal(standIn.requests.length, 0);
      assert.deepEqual(room.list(STUDY), ['one.json']);
    }));

  it('only what was acknowledged is deleted, when its days are over', () =>
    stage({}, {PENSTOCK_ROOM_KEEP_DAYS: 0}, async (room) => {
      const names = ['old.json', 'new.json'];
      names.forEach((name) => room.put(STUDY, name, name));
      await room.run('--once');
      const old_s = Date.now() / 1000 - 3 * 86400;
      const sent = (name) => path.join(room.folder, '.sent', STUDY, name);
      writeFileSync(sent('unknown.json'), 'put there by hand');
      room.put(path.join('.refused', STUDY), 'bad.json', 'bad');
      room.put(path.join('.refused', STUDY), 'bad.json.problem', '{}');
      for (const name of ['old.json', 'old.json.answer', 'new.json', 'unknown.json']) {
        utimesSync(sent(name), old_s, old_s);
      }
      utimesSync(path.join(room.folder, '.refused', STUDY, 'bad.json.problem'), old_s, old_s);
      const all = room.list('.sent', STUDY);
      await room.run('--once');
      assert.deepEqual(room.list('.sent', STUDY), all, '0 days: for ever');
      room.settings.PENSTOCK_ROOM_KEEP_DAYS = 2;
      const {stderr} = await room.run('--once');
      assert.match(stderr, /Deleted 1 files that were acknowledged more than 2 days ago/);
      assert.deepEqual(room.list('.sent', STUDY), ['new.json', 'new.json.answer', 'unknown.json']);
      assert.deepEqual(room.list('.refused', STUDY), ['bad.json', 'bad.json.problem']);
    }));

  it('one uploader works on a folder, tells how it goes, and shows its token to nobody', () =>
    stage({trouble: () => true}, {PENSTOCK_ROOM_LOG_KIB: 1, PENSTOCK_ROOM_STALL_S: 30}, async (room, standIn) => {
      assert.match(await room.status(), /^NOT RUNNING: waiting 0, .*last success never, last error none$/);
      room.put(STUDY, 'one.json', 'one');
      const run = room.spawn();
      await until(() => standIn.requests.length === 1, 'asked');
      const lines = execFileSync('ps', ['-eww', '-o', 'args'], {encoding: 'utf8'});
      assert.match(lines, /curl -q -K -/);
      assert.doesNotMatch(lines, /pst_stand-in/);
      const second = await room.run();
      assert.equal(second.code, 3);
      assert.match(second.stderr, /Another uploader is working on/);
      assert.match(await room.status(), /^running: waiting 1, /);
      process.kill(-run.child.pid, 'SIGTERM');
      assert.equal((await run.ended).code, 0);
      assert.deepEqual(room.list(STUDY), ['one.json']);
      assert.deepEqual(room.list('.work'), []);

      room.settings.PENSTOCK_URL = 'http://127.0.0.1:1';
      for (let i = 0; i < 12; i++) {
        assert.equal((await room.run('--once')).code, 1);
      }
      for (const name of [room.logFile, `${room.logFile}.1`]) {
        assert.ok(Number(execFileSync('stat', ['-c', '%s', name])) < 1500, name);
      }
      assert.doesNotMatch(room.log(), /pst_stand-in/);
    }));

  it('what a person has to correct is said in words', () =>
    stage({}, {}, async (room) => {
      for (const [settings, code, words] of [
        [{PENSTOCK_URL: ''}, 2, /PENSTOCK_URL is not set/],
        [{PENSTOCK_URL: 'penstock.example'}, 2, /must begin with https/],
        [{PENSTOCK_ROOM_POLL_S: 'often'}, 2, /PENSTOCK_ROOM_POLL_S is 'often': it must be a whole number/],
        [{PENSTOCK_ROOM_POL_S: 5}, 2, /settings\.env, line \d+: there is no setting PENSTOCK_ROOM_POL_S/],
        [{PENSTOCK_ROOM_FOLDER: '/nowhere'}, 1, /The folder \/nowhere is not there/],
        [{PENSTOCK_ROOM_CA_FILE: '/nowhere'}, 2, /\/nowhere \(PENSTOCK_ROOM_CA_FILE\) cannot be read/],
        [{PENSTOCK_ROOM_TOKEN_FILE: '/nowhere'}, 1, /the token file \/nowhere cannot be read/],
      ]) {
        const before = room.settings;
        room.settings = {...before, ...settings};
        room.put(STUDY, 'one.json', 'one');
        const run = await room.run('--once');
        assert.equal(run.code, code, run.stderr);
        assert.match(run.stderr, words);
        room.settings = before;
      }
      chmodSync(room.tokenFile, 0o644);
      assert.match((await room.run('--once')).stderr, /every user of this computer can read/);
      assert.deepEqual(room.list(STUDY), []);
    }));
});
