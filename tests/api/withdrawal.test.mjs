// Recordings that are withdrawn and restored, what is told of them, and editors in each other's way.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';
import {changeState, complete, cut, open, send} from './lib/pieces.mjs';
import {Flow, uroflowmetry} from './lib/recordings.mjs';

const {document: FLOW} = uroflowmetry();
const PARTS = ['/traces', '/events', '/analysis'];

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('withdrawal');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic that errs');
});

after(() => installation.remove());

const target = (id, part = '') => `/v1/recordings/${id}${part}`;
const get = async (id, part = '') => (await clinic.room.get(target(id, part))).json;
const change = (id, what, json, etag, status) =>
  clinic.as('clinician').expect(status, 'POST', target(id, `/${what}`), {
    json,
    headers: etag === undefined ? {} : {'if-match': etag},
  });

/** A visit with a recording: {study, id}. */
async function visit(document = FLOW, patient = undefined) {
  const study = patient === undefined ? await clinic.addVisit() : await clinic.addStudy(patient.id);
  return {study, id: (await clinic.addRecording(study.id, document)).json.recording.id};
}

const listed = async (study, query = '') =>
  (await clinic.room.get(`/v1/studies/${study.id}/recordings${query}`)).json.items.map(({id, state}) => [id, state]);

describe('a recording that is withdrawn', () => {
  it('is not shown or used, and the answers say why', async () => {
    const {study, id} = await visit();
    const answer = await change(id, 'withdrawal', {reason: 'Fluß auf falschem Kanal'}, '"1"', 200);
    assert.deepEqual([answer.json.state, answer.json.version, answer.json.revision], ['withdrawn', 2, 1]);
    assert.equal(answer.headers.get('etag'), '"2"');
    for (const part of PARTS) {
      const {json} = await clinic.room.expect(410, 'GET', target(id, part));
      assert.equal(json.detail, 'This recording was withdrawn: Fluß auf falschem Kanal');
    }
    const events = {json: {events: []}, headers: {'if-match': '"1"'}};
    await installation.unchanged(() => clinic.room.expect(410, 'PUT', target(id, '/events'), events));
    assert.deepEqual(await listed(study), []);
    assert.deepEqual(await listed(study, '?withdrawn=false'), []);
    assert.deepEqual(await listed(study, '?withdrawn=true'), [[id, 'withdrawn']]);
    assert.equal((await get(id)).state, 'withdrawn');
  });

  it('keeps its id: who sends it again is not told of other content only', async () => {
    const study = await clinic.addVisit();
    const json = {...FLOW, id: randomUUID()};
    await clinic.addRecording(study.id, json);
    await change(json.id, 'withdrawal', {reason: 'wrong patient'}, '"1"', 200);
    await installation.unchanged(async () => {
      const again = await clinic.room.expect(409, 'POST', `/v1/studies/${study.id}/recordings`, {json});
      assert.match(again.json.detail, /id exists already: .*withdrawn/);
    });
  });

  it('is told the whole reason, however long', async () => {
    const {id} = await visit();
    const reason = 'ö'.repeat(500);
    await change(id, 'withdrawal', {reason}, '"1"', 200);
    const {json} = await clinic.room.expect(410, 'GET', target(id, '/events'));
    assert.ok(json.detail.endsWith(`: ${reason}`), json.detail.slice(-20));
  });

  it('is neither in the summary nor in the trend, until it is restored', async () => {
    const patient = await clinic.addPatient();
    const {study, id} = await visit(FLOW, patient);
    const summary = `/v1/studies/${study.id}/summary`;
    const page = async () =>
      (await clinic.room.get(summary, {accept: 'text/html'})).text.replace(/version \d+ of the study/, '');
    const pageOfOne = await page();
    const second = uroflowmetry({flow: new Flow(12, 5, 32)}).document;
    const {json} = await clinic.addRecording(study.id, {...second, started_at: '2026-03-02T10:00:00+01:00'});
    assert.notEqual(await page(), pageOfOne);
    const seen = async () => {
      const {json: told, headers} = await clinic.room.get(summary);
      const [item] = (await clinic.room.get(`/v1/patients/${patient.id}/trend`)).json.items;
      return {
        ids: told.recordings.map((one) => one.id),
        qmax: item.values.uroflow?.qmax,
        etag: headers.get('etag'),
        documents: await Promise.all(
          PARTS.map(async (part) => (await clinic.room.request('GET', target(json.recording.id, part))).text),
        ),
      };
    };
    const before = await seen();
    const qmax = json.analysis.sections.uroflow.qmax.value;
    assert.deepEqual([before.ids, before.qmax], [[id, json.recording.id], qmax]);

    await changeState(clinic.room, json.recording.id, 'withdrawal');
    const meanwhile = await seen();
    const first = (await get(id, '/analysis')).sections.uroflow.qmax.value;
    assert.deepEqual([meanwhile.ids, meanwhile.qmax], [[id], first]);
    assert.notEqual(meanwhile.etag, before.etag);
    assert.equal(await page(), pageOfOne);

    const restored = await changeState(clinic.as('physician'), json.recording.id, 'restoration');
    assert.deepEqual([restored.json.state, restored.json.version], ['complete', 3]);
    const {etag: _, ...again} = await seen();
    const {etag: __, ...expected} = before;
    assert.deepEqual(again, expected);
  });

  it('does not break the pages of a list, which keep what was asked for', async () => {
    const study = await clinic.addVisit();
    const ids = [];
    for (const minute of [0, 1, 2]) {
      const {json} = await clinic.addRecording(study.id, {...FLOW, started_at: `2026-03-02T10:0${minute}:00+01:00`});
      ids.push(json.recording.id);
    }
    await changeState(clinic.room, ids[0], 'withdrawal');
    await changeState(clinic.room, ids[1], 'withdrawal');
    const met = [];
    for (let next = `/v1/studies/${study.id}/recordings?limit=1&withdrawn=true`; next !== undefined;) {
      const {json, headers} = await clinic.room.get(next);
      met.push(...json.items.map(({id}) => id));
      [, next] = /^<(.*)>; rel="next"$/.exec(headers.get('link') ?? '') ?? [];
    }
    assert.deepEqual(met, ids);
    const shown = await clinic.addStudy((await clinic.addPatient()).id);
    const first = (await clinic.addRecording(shown.id, FLOW)).json.recording.id;
    const second = await clinic.addRecording(shown.id, {...FLOW, started_at: '2026-03-02T11:00:00+01:00'});
    const page = `/v1/studies/${shown.id}/recordings?limit=1`;
    const {next_cursor} = (await clinic.room.get(page)).json;
    await changeState(clinic.room, first, 'withdrawal');
    const rest = (await clinic.room.get(`${page}&cursor=${next_cursor}`)).json;
    assert.deepEqual([rest.items.map(({id}) => id), rest.next_cursor], [[second.json.recording.id], null]);
    const refused = await clinic.room.expect(422, 'GET', `/v1/studies/${study.id}/recordings?withdrawn=yes`);
    assert.deepEqual(pointers(refused), ['?withdrawn']);
  });

  it('takes no pieces, and goes on where it was once restored', async () => {
    const id = await open(clinic.room, (await clinic.addVisit()).id, FLOW);
    const pieces = cut(FLOW, 15);
    await send(clinic.room, id, 0, pieces[0]);
    await changeState(clinic.room, id, 'withdrawal', 'wrong room');
    await installation.unchanged(async () => {
      for (const answer of [
        await send(clinic.room, id, 0, pieces[0], 410),
        await send(clinic.room, id, 1, pieces[1], 410),
        await complete(clinic.room, id, {chunks: 1}, 410),
        await clinic.room.expect(410, 'GET', target(id, '/live')),
        await clinic.room.expect(410, 'GET', target(id, '/live/analysis')),
      ]) {
        assert.match(answer.json.detail, /withdrawn: wrong room$/);
      }
    });
    const {json} = await changeState(clinic.as('clinician'), id, 'restoration');
    assert.deepEqual([json.state, json.version], ['open', 3]);
    assert.equal((await get(id, '/live?after=0')).chunks.length, 1);
    await send(clinic.room, id, 1, pieces[1]);
    await send(clinic.room, id, 2, pieces[2]);
    const whole = await complete(clinic.room, id, {chunks: 3});
    assert.deepEqual([whole.json.recording.state, whole.json.recording.version], ['complete', 4]);
  });
});

describe('a withdrawal', () => {
  it('needs the version that was seen: 428 without, 412 with another', async () => {
    const {id} = await visit();
    const json = {reason: 'a test'};
    await installation.unchanged(async () => {
      await change(id, 'withdrawal', json, undefined, 428);
      await change(id, 'withdrawal', json, '"2"', 412);
    });
    await clinic.room.put(target(id, '/events'), {events: []}, '"1"');
    assert.equal((await get(id)).version, 2);
    await installation.unchanged(() => change(id, 'withdrawal', json, '"1"', 412));
    await change(id, 'withdrawal', json, '"2"', 200);
    await installation.unchanged(async () => {
      await change(id, 'restoration', json, undefined, 428);
      await change(id, 'restoration', json, '"2"', 412);
      await change(id, 'withdrawal', json, '"3"', 409);
    });
    await change(id, 'restoration', json, '"3"', 200);
    await installation.unchanged(() => change(id, 'restoration', json, '"4"', 409));
  });

  it('is one of many at a time', async () => {
    const {id} = await visit();
    const answers = await Promise.all(
      Array.from({length: 6}, (_, i) =>
        clinic.room.request('POST', target(id, '/withdrawal'), {json: {reason: `${i}`}, headers: {'if-match': '"1"'}}),
      ),
    );
    assert.deepEqual(answers.map(({status}) => status).sort(), [200, 412, 412, 412, 412, 412]);
    const winner = answers.findIndex(({status}) => status === 200);
    assert.deepEqual(
      (await get(id, '/history')).changes.map(({reason}) => reason),
      [`${winner}`],
    );
  });

  it('needs a reason', async () => {
    const {id} = await visit();
    await installation.unchanged(async () => {
      for (const [json, expected] of [
        [{}, ['/reason']],
        [{reason: ''}, ['/reason']],
        [{reason: ' \t'}, ['/reason']],
        [{reason: 7}, ['/reason']],
        [{reason: 'ö'.repeat(501)}, ['/reason']],
        [{reason: 'a\u0001b'}, ['/reason']],
        [{reason: 'a', why: 'b'}, ['/why']],
      ]) {
        assert.deepEqual(pointers(await change(id, 'withdrawal', json, '"1"', 422)), expected);
      }
    });
  });

  it('of a signed study is refused, both ways', async () => {
    const [one, other] = [await visit(), await visit()];
    await changeState(clinic.room, other.id, 'withdrawal');
    for (const {study} of [one, other]) {
      await clinic.signAnyway(`s.id = '${study.id}'`);
    }
    await installation.unchanged(async () => {
      const json = {reason: 'too late'};
      assert.match((await change(one.id, 'withdrawal', json, '"1"', 409)).json.detail, /signed/);
      assert.match((await change(other.id, 'restoration', json, '"2"', 409)).json.detail, /signed/);
    });
  });

  it('of another clinic’s recording is 404', async () => {
    const {id} = await visit();
    const stranger = (await Clinic.open(installation, 'Clinic across the river')).as('clinician');
    await installation.unchanged(async () => {
      for (const what of ['withdrawal', 'restoration']) {
        const options = {json: {reason: 'a'}, headers: {'if-match': '"1"'}};
        await stranger.expect(404, 'POST', target(id, `/${what}`), options);
      }
      await stranger.expect(404, 'GET', target(id, '/history'));
    });
  });
});

describe('the history', () => {
  const event = (at_s, code = 'cough') => ({at_s, code});

  it('tells who changed the state, when and why', async () => {
    const begun = Date.now();
    const id = await open(clinic.room, (await clinic.addVisit()).id, FLOW);
    await send(clinic.room, id, 0, cut(FLOW, 45)[0]);
    await complete(clinic.as('clinician'), id, {chunks: 1});
    await changeState(clinic.room, id, 'withdrawal', 'first');
    await changeState(clinic.as('physician'), id, 'restoration', 'second');
    const {changes} = await get(id, '/history');
    assert.deepEqual(
      changes.map((one) => [one.version, one.change, one.reason, one.created_by.name]),
      [
        [1, 'opened', '', 'a room'],
        [2, 'completed', '', 'a clinician'],
        [3, 'withdrawn', 'first', 'a room'],
        [4, 'restored', 'second', 'a physician'],
      ],
    );
    const times = changes.map(({created_at}) => Date.parse(created_at));
    assert.deepEqual(
      times,
      [...times].sort((a, b) => a - b),
    );
    assert.ok(times[0] > begun - 60_000 && times[3] < Date.now() + 60_000);
  });

  it('tells which events were added and removed, and by whom', async () => {
    const {id} = await visit({...FLOW, events: [event(1), event(2), event(2)]});
    const user = await clinic.addUser(['clinician'], {display_name: 'Dr A. Reader'});
    const second = [event(1), event(2), event(3, 'leak')];
    await clinic.room.put(target(id, '/events'), {events: second}, '"1"');
    await clinic.room.put(target(id, '/events'), {events: second}, '"2"');
    await clinic.as('physician').put(target(id, '/events'), {events: [{...event(1), note: 'seen'}]}, '"3"');
    const {changes, revisions} = await get(id, '/history');
    assert.deepEqual(changes, [], user.display_name);
    assert.deepEqual(
      revisions.map((one) => [one.revision, one.reason, one.created_by.name, one.events_added, one.events_removed]),
      [
        [1, '', 'a room', [event(1), event(2), event(2)], []],
        [2, '', 'a room', [event(3, 'leak')], [event(2)]],
        [3, '', 'a room', [], []],
        [4, '', 'a physician', [{...event(1), note: 'seen'}], [event(1), event(2), event(3, 'leak')]],
      ],
    );
    assert.match(revisions[0].analysis_version, /^\d+([.]\d+)*$/);
  });

  it('of an open recording has no revisions, and of a withdrawn one all', async () => {
    const id = await open(clinic.room, (await clinic.addVisit()).id, FLOW);
    assert.deepEqual((await get(id, '/history')).revisions, []);
    const whole = await visit();
    await changeState(clinic.room, whole.id, 'withdrawal');
    const {changes, revisions} = await get(whole.id, '/history');
    assert.deepEqual([changes.length, revisions.length], [1, 1]);
  });
});

describe('two editors of one event list', () => {
  it('lose nothing: one gets 412, reads again and adds', async () => {
    const {id} = await visit();
    const add = async (client, code) => {
      for (let tries = 1; ; tries++) {
        const {json, headers} = await client.get(target(id, '/events'));
        const options = {
          json: {events: [...json.events, {at_s: 20, code}]},
          headers: {'if-match': headers.get('etag')},
        };
        const {status} = await client.request('PUT', target(id, '/events'), options);
        if (status === 200) {
          return tries;
        }
        assert.equal(status, 412);
      }
    };
    const tries = await Promise.all(['a', 'b', 'c', 'd'].map((code) => add(clinic.room, code)));
    assert.ok(Math.max(...tries) > 1, 'nobody was in the way of another');
    const {events, revision} = await get(id, '/events');
    assert.deepEqual(events.map(({code}) => code).sort(), ['a', 'b', 'c', 'd', 'permission_to_void']);
    assert.equal(revision, 5);
    const {revisions} = await get(id, '/history');
    assert.deepEqual(
      revisions.map(({events_added, events_removed}) => [events_added.length, events_removed.length]),
      [
        [1, 0],
        [1, 0],
        [1, 0],
        [1, 0],
        [1, 0],
      ],
    );
  });

  it('do not bring back what was withdrawn meanwhile', async () => {
    const {id} = await visit();
    const events = {json: {events: []}, headers: {'if-match': '"1"'}};
    const [edit, withdrawal] = await Promise.all([
      clinic.room.request('PUT', target(id, '/events'), events),
      change(id, 'withdrawal', {reason: 'a race'}, '*', 200).catch((error) => error),
    ]);
    if (withdrawal instanceof Error) {
      assert.match(withdrawal.message, /412/);
      await change(id, 'withdrawal', {reason: 'a race'}, '*', 200);
    }
    assert.ok([200, 409, 410].includes(edit.status), edit.what);
    const recording = await get(id);
    assert.equal(recording.state, 'withdrawn');
    assert.equal(recording.revision, edit.status === 200 ? 2 : 1);
  });
});
