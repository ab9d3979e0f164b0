// The rooms' equipment: where it stands, how its checks are judged, and when one is overdue.
import assert from 'node:assert/strict';
import {randomUUID} from 'node:crypto';
import {after, before, describe, it} from 'node:test';
import {pointers} from './lib/client.mjs';
import {Clinic, deviceDocument, verificationDocument} from './lib/clinic.mjs';
import {Installation} from './lib/installation.mjs';

const UNIT = 'cm[H2O]';
const DAY_MS = 86_400_000;

let installation;
let clinic;

before(async () => {
  installation = await Installation.create('devices');
  await installation.start();
  clinic = await Clinic.open(installation, 'Clinic with equipment');
});

after(() => installation.remove());

const ago = (days) => new Date(Date.now() - days * DAY_MS).toISOString();
const verificationsOf = ({id}) => `/v1/devices/${id}/verifications`;
const get = async ({id}) => (await clinic.room.get(`/v1/devices/${id}`)).json;

async function patch(device, json, status = 200) {
  const {version} = await get(device);
  const headers = {'if-match': `"${version}"`};
  return (await clinic.administrator.expect(status, 'PATCH', `/v1/devices/${device.id}`, {json, headers})).json;
}

const faultsOf = async (client, method, path, json, headers = {}) =>
  pointers(await client.expect(422, method, path, {json, headers}));

describe('a device', () => {
  it('comes back as it was given, with what nobody said left open', async () => {
    const since = '2026-01-05T08:00:00Z';
    const json = {
      ...deviceDocument({name: 'Flow meter by the window', kind: 'flowmeter', maker: 'Own workshop', serial: 'F-17'}),
      signals: ['flow', 'vvoid'],
      limits: {flow: {absolute: 0.5}, volume: {percent: 2, absolute: 1}},
      due_every_days: 7,
      since,
    };
    const made = await clinic.administrator.post('/v1/devices', json);
    const {id} = made.json;
    assert.equal(made.headers.get('location'), `/v1/devices/${id}`);
    assert.deepEqual(made.json, {
      ...json,
      id,
      in_use: true,
      state: 'not_verified',
      overdue: false,
      last_verification: null,
      version: 1,
    });
    const bare = await clinic.addDevice();
    assert.deepEqual([bare.maker, bare.serial, bare.signals, bare.limits], ['', '', [], {}]);
    assert.ok(!('due_every_days' in bare) && !('due_at' in bare));
    assert.ok(Math.abs(Date.parse(bare.since) - Date.now()) < 60_000);
  });

  it('may have an id of the sender, once', async () => {
    const json = deviceDocument({id: randomUUID()});
    await clinic.administrator.expect(201, 'POST', '/v1/devices', {json});
    await clinic.administrator.expect(409, 'POST', '/v1/devices', {json});
  });

  it('names every fault of what is sent', async () => {
    const json = {
      kind: 'kettle',
      name: ' ',
      maker: 3,
      signals: ['pves', 'pves', 'nothing', 4],
      limits: {pressure: {absolute: 1}},
      in_use: 'yes',
      due_every_days: 0.5,
      since: ago(-1),
      colour: 'red',
    };
    assert.deepEqual((await faultsOf(clinic.administrator, 'POST', '/v1/devices', json)), [
      '/colour',
      '/due_every_days',
      '/in_use',
      '/kind',
      '/maker',
      '/name',
      '/room',
      '/signals/1',
      '/signals/2',
      '/signals/3',
      '/since',
    ]);
    const limits = {flow: {absolute: 1}, pressure: {absolute: 0, percent: 0, gain_low: 1.1, drift: 0}};
    assert.deepEqual(
      (await faultsOf(clinic.administrator, 'POST', '/v1/devices', deviceDocument({limits}))),
      ['/limits/flow', '/limits/pressure', '/limits/pressure/drift', '/limits/pressure/gain_low'],
    );
  });

  it('is changed by a merge patch; null removes', async () => {
    const device = await clinic.addDevice({
      maker: 'M',
      serial: 'S',
      signals: ['pves'],
      due_every_days: 7,
      limits: {pressure: {absolute: 2, percent: 0}},
    });
    let changed = await patch(device, {serial: null, limits: {pressure: {percent: null, drift: 2}}});
    assert.deepEqual(
      [changed.maker, changed.serial, changed.limits, changed.signals, changed.since],
      ['M', '', {pressure: {absolute: 2, drift: 2}}, ['pves'], device.since],
    );
    changed = await patch(device, {name: 'B', signals: null, due_every_days: null, limits: null, in_use: false});
    assert.deepEqual(
      [changed.name, changed.signals, changed.due_every_days, changed.limits, changed.in_use, changed.version],
      ['B', [], undefined, {}, false, 3],
    );
    assert.ok(Date.parse(changed.since) > Date.parse(device.since));
  });

  it('keeps what it is', async () => {
    const device = await clinic.addDevice();
    await installation.unchanged(async () => {
      const faults = async (json) =>
        faultsOf(clinic.administrator, 'PATCH', `/v1/devices/${device.id}`, json, {'if-match': '"1"'});
      const faulty = {kind: 'scale', name: null, room: ' ', in_use: null, since: null, id: device.id};
      assert.deepEqual(await faults(faulty), ['/id', '/in_use', '/kind', '/name', '/room', '/since']);
      const json = {name: 'x'};
      await clinic.administrator.expect(428, 'PATCH', `/v1/devices/${device.id}`, {json});
      await clinic.administrator.expect(412, 'PATCH', `/v1/devices/${device.id}`, {json, headers: {'if-match': '"2"'}});
    });
  });

  it('is found by room and use, a page at a time', async () => {
    const room = 'Room of the list & more';
    for (const name of ['c', 'a', 'b']) {
      await clinic.addDevice({room, name, in_use: name !== 'b'});
    }
    const list = async (query) => (await clinic.room.get(`/v1/devices?room=${encodeURIComponent(room)}${query}`)).json.items;
    const names = async (query) => (await list(query)).map(({name}) => name);
    assert.deepEqual(await names(''), ['a', 'b', 'c']);
    assert.deepEqual(await names('&in_use=true'), ['a', 'c']);
    assert.deepEqual(await names('&in_use=false'), ['b']);
    let next = `/v1/devices?in_use=true&limit=1&room=${encodeURIComponent(room)}`;
    const seen = [];
    while (next !== undefined) {
      const {json, headers} = await clinic.room.get(next);
      seen.push(...json.items.map(({name}) => name));
      next = /<([^>]*)>; rel="next"/.exec(headers.get('link') ?? '')?.[1];
    }
    assert.deepEqual(seen, ['a', 'c']);
    assert.deepEqual(await faultsOf(clinic.room, 'GET', '/v1/devices?in_use=perhaps&cursor=x&kind=scale'), ['?in_use', '?kind']);
    assert.deepEqual(await faultsOf(clinic.room, 'GET', '/v1/devices?cursor=x'), ['?cursor']);
  });

  it('is of one clinic', async () => {
    const device = await clinic.addDevice();
    const other = await Clinic.open(installation, 'Clinic beside it');
    await other.room.expect(404, 'GET', `/v1/devices/${device.id}`);
    await other.room.expect(404, 'GET', verificationsOf(device));
    await other.room.expect(404, 'POST', verificationsOf(device), {json: verificationDocument()});
    assert.deepEqual((await other.room.get('/v1/devices')).json.items, []);
  });
});

describe('a check of a device', () => {
  const column = (values, direction = 'up') =>
    values.map(([applied, reading]) => ({applied, reading, unit: UNIT, direction}));
  const UP = [[0, 0.4], [10, 10.6], [50, 50.9], [100, 101.3]];
  const DOWN = [[100, 101.3], [50, 51.4], [10, 10.9], [0, 0.6]];

  it('is judged point by point, with the line through them, hysteresis and drift', async () => {
    const device = await clinic.addDevice();
    const json = verificationDocument({
      method: 'Water column',
      remarks: 'New dome',
      points: [...column(UP), ...column(DOWN, 'down')],
      zero: {before: 0.4, after: 1.8, unit: UNIT, minutes: 45},
    });
    const answer = (await clinic.room.expect(201, 'POST', verificationsOf(device), {json})).json;
    assert.equal(answer.device_id, device.id);
    assert.deepEqual(
      ['verified_at', 'verified_by', 'method', 'remarks', 'verdict'].map((name) => answer[name]),
      [json.verified_at, json.verified_by, 'Water column', 'New dome', 'passed'],
    );
    assert.equal(
      answer.text,
      'Passed. All 8 points are within their limits. Zero moved by 1.4 cmH₂O; wanted is less than 1.',
    );
    const {points, quantities, zero, notes} = answer.judgement;
    assert.deepEqual(points[3], {
      quantity: 'pressure', unit: UNIT, applied: 100, reading: 101.3, direction: 'up',
      error: 1.3, error_percent: 1.3, limit: 3, outcome: 'within',
    });
    assert.deepEqual(points.map(({error}) => error), [0.4, 0.6, 0.9, 1.3, 1.3, 1.4, 0.9, 0.6]);
    assert.ok(!('error_percent' in points[0]));
    assert.deepEqual(quantities, {
      pressure: {
        unit: UNIT, gain: 1.008548, offset: 0.458065, hysteresis: 0.5,
        limits: {absolute: 1, percent: 3, hysteresis: 1, drift: 1, gain_low: 0.97, gain_high: 1.03, offset: 1},
      },
    });
    assert.deepEqual(zero, {unit: UNIT, before: 0.4, after: 1.8, minutes: 45, drift: 1.4, drift_per_hour: 1.867});
    assert.deepEqual(notes.map(({rule, value, limit}) => [rule, value, limit]), [['drift', 1.4, 1]]);
    assert.deepEqual((await clinic.as('clinician').get(verificationsOf(device))).json.items, [answer]);
  });

  it('is judged by the clinic’s own limits, as they were then', async () => {
    const device = await clinic.addDevice({limits: {pressure: {percent: 0}}});
    const json = verificationDocument({points: column(UP)});
    const failed = (await clinic.room.post(verificationsOf(device), json)).json;
    assert.equal(failed.verdict, 'failed');
    assert.equal(
      failed.text,
      'Failed. 1 of 4 points is outside the limits. 100 cmH₂O applied was read as 101.3 cmH₂O: an error of 1.3 cmH₂O, of which 1 cmH₂O would pass.',
    );
    assert.deepEqual(
      failed.judgement.notes.map(({rule, point, value, limit}) => [rule, point, value, limit]),
      [['point', 3, 1.3, 1]],
    );
    await patch(device, {limits: null});
    assert.equal((await clinic.room.post(verificationsOf(device), json)).json.verdict, 'passed');
    assert.equal((await clinic.room.get(verificationsOf(device))).json.items.at(-1).verdict, 'failed');
  });

  it('takes other units', async () => {
    const device = await clinic.addDevice();
    const points = [
      {applied: 0, reading: 0, unit: 'mm[Hg]'},
      {applied: 100, reading: 100.7, unit: 'mm[Hg]'},
    ];
    const {judgement} = (await clinic.room.post(verificationsOf(device), verificationDocument({points}))).json;
    assert.deepEqual([judgement.points[1].applied, judgement.points[1].error, judgement.points[1].unit], [135.951, 0.952, UNIT]);
  });

  it('says of each kind of device what it needs', async () => {
    const rows = [
      ['flowmeter', [[20, 19.6, 'mL/s'], [400, 412, 'mL']], 'passed'],
      ['flowmeter', [[20, 19.6, 'mL/s']], 'incomplete'],
      ['flowmeter', [[20, 18.9, 'mL/s'], [400, 400, 'mL']], 'failed'],
      ['infusion_pump', [[50, 48.6, 'mL/min']], 'passed'],
      ['infusion_pump', [[250, 237, 'mL']], 'failed'],
      ['puller', [[1, 1.05, 'mm/s']], 'passed'],
      ['puller', [[6, 6.31, 'cm']], 'failed'],
      ['emg_amplifier', [[0.1, 0.2, 'mV']], 'not_judged'],
      ['balloon_syringe', [[60, 62, 'mL']], 'passed'],
      ['scale', [[148.6, 149.7, 'g']], 'failed'],
      ['pressure_transducer', [[0, 0, UNIT], [40, 40, UNIT]], 'incomplete'],
    ];
    for (const [kind, values, verdict] of rows) {
      const device = await clinic.addDevice({kind});
      const points = values.map(([applied, reading, unit]) => ({applied, reading, unit}));
      const {json} = await clinic.room.post(verificationsOf(device), verificationDocument({points}));
      assert.equal(json.verdict, verdict, `${kind}: ${json.text}`);
    }
  });

  it('names every fault of what is sent', async () => {
    const device = await clinic.addDevice();
    const json = {
      verified_at: ago(-1),
      method: 7,
      points: [
        {applied: 1, reading: 1, unit: 'mL'},
        {applied: 'x', unit: UNIT, direction: 'left'},
        {applied: 0, reading: 2e6, unit: UNIT, colour: 1},
        5,
      ],
      zero: {after: 1, unit: 'mm[Hg]', minutes: 0},
      limits: {pressure: {absolute: 50}},
    };
    await installation.unchanged(async () => {
      assert.deepEqual((await faultsOf(clinic.room, 'POST', verificationsOf(device), json)), [
        '/limits',
        '/method',
        '/points/0/unit',
        '/points/1/applied',
        '/points/1/direction',
        '/points/1/reading',
        '/points/2/colour',
        '/points/2/reading',
        '/points/3',
        '/verified_at',
        '/verified_by',
        '/zero/before',
        '/zero/minutes',
      ]);
      for (const points of [[], {}, Array(65).fill({applied: 1, reading: 1, unit: UNIT})]) {
        assert.deepEqual(await faultsOf(clinic.room, 'POST', verificationsOf(device), verificationDocument({points})), ['/points']);
      }
      await clinic.room.expect(404, 'POST', verificationsOf({id: randomUUID()}), {json: verificationDocument()});
    });
    const syringe = await clinic.addDevice({kind: 'balloon_syringe'});
    const points = [{applied: -1, reading: 0, unit: 'mL'}];
    assert.deepEqual(
      await faultsOf(clinic.room, 'POST', verificationsOf(syringe), verificationDocument({points})),
      ['/points/0/applied'],
    );
  });

  it('is kept once for one key, and once for one id', async () => {
    const device = await clinic.addDevice();
    const json = verificationDocument({id: randomUUID()});
    const headers = {'idempotency-key': randomUUID()};
    const first = await clinic.room.post(verificationsOf(device), json, headers);
    const again = await clinic.room.post(verificationsOf(device), json, headers);
    assert.deepEqual(again.json, first.json);
    await clinic.room.expect(409, 'POST', verificationsOf(device), {json});
    assert.equal((await clinic.room.get(verificationsOf(device))).json.items.length, 1);
  });

  it('stands beside its device, which says how it is', async () => {
    const device = await clinic.addDevice({due_every_days: 7, since: ago(30)});
    const states = [];
    const check = async (days, reading) => {
      const points = column([[0, 0], [50, reading]]);
      const made = await clinic.addVerification(device.id, {verified_at: ago(days), points});
      const {state, overdue, last_verification, due_at} = await get(device);
      states.push([state, overdue]);
      return {made, last_verification, due_at};
    };
    await check(20, 53);
    const {made, last_verification, due_at} = await check(8, 50);
    assert.deepEqual(last_verification, {
      id: made.id,
      verified_at: made.verified_at,
      verified_by: made.verified_by,
      verdict: 'passed',
      text: made.text,
    });
    assert.equal(Date.parse(due_at), Date.parse(made.verified_at) + 7 * DAY_MS);
    await check(6, 50);
    await check(7, 58); // recorded later, done earlier
    await check(1, 58);
    assert.deepEqual(states, [
      ['failed', true],
      ['overdue', true],
      ['passed', false],
      ['passed', false],
      ['failed', false],
    ]);
  });

  it('is never changed, and leaves its entry in the audit', async () => {
    const device = await clinic.addDevice();
    const {id} = await clinic.addVerification(device.id);
    const {items} = (await clinic.as('auditor').get('/v1/audit?resource=verifications&action=create&limit=1')).json;
    assert.deepEqual([items[0].resource, items[0].object, items[0].detail], ['verifications', {type: 'devices', id: device.id}, id]);
  });
});
