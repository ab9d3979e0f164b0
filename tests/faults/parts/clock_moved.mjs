// The clock of the server, or of the whole machine, jumps forward and back, or runs a day slow.
import assert from 'node:assert/strict';
import {Client} from '../../api/lib/client.mjs';
import {Clinic, PASSWORD, signIn} from '../../api/lib/clinic.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {audit} from '../lib/audit.mjs';
import {Calendar, HOUR_S, MINUTE_S} from '../lib/calendar.mjs';
import {Room} from '../lib/room.mjs';
import {inParallel, sleep} from '../lib/wait.mjs';

const JUMPS = 12;
const AT_A_TIME = 4;
const PAGE = 7;
/** So that a key is never older than the 48 hours for which it is kept. */
const FARTHEST_S = 20 * HOUR_S;

/** Ids of a whole list, page by page. */
async function listed(client, target) {
  const ids = [];
  for (let cursor = ''; cursor !== null; ) {
    const {json} = await client.get(`${target}?limit=${PAGE}${cursor && `&cursor=${encodeURIComponent(cursor)}`}`);
    ids.push(...json.items.map(({id}) => id));
    cursor = json.next_cursor;
  }
  return ids.sort();
}

async function sendAgain(room, upload) {
  const answer = await room.attempt(upload);
  assert.equal(answer.status, 201);
  assert.equal(answer.headers.get('idempotent-replayed'), 'true');
}

/** Uploads while the calendars jump; after each jump an upload of before is sent again. */
async function jump(room, server, database, random) {
  const visits = [];
  let again = 0;
  const first = await room.make();
  await room.send(first);
  await room.sendDuring(AT_A_TIME, async () => {
    for (let i = 0; i < JUMPS; i++) {
      const shift_s = Math.round(random.between(-FARTHEST_S, FARTHEST_S));
      server.set(shift_s);
      if (i % 2 === 0) {
        database.set(shift_s); // the whole machine
      }
      await sleep(random.between(0, 200));
      await sendAgain(room, first);
      again++;
      visits.push(await room.clinic.addVisit());
    }
  });
  return {visits, again};
}

/** The session of someone who signs in now. */
async function newSession(installation, clinic) {
  const {cookie} = await signIn(installation.url, clinic.username, PASSWORD);
  return Client.withSession(installation.url, cookie);
}

/** A session is over after 30 idle minutes, and 12 hours after its beginning however busy it is; the
 * database's clock decides, whatever the server's shows. */
async function sessionsEndInTime(installation, clinic, database) {
  database.set(0);
  const busy = await newSession(installation, clinic);
  const idle = await newSession(installation, clinic);
  await idle.get('/v1/sessions/current');
  let lasted_s = 0;
  for (; lasted_s < 12 * HOUR_S - 5 * MINUTE_S; lasted_s += 25 * MINUTE_S) {
    database.set(lasted_s);
    await busy.get('/v1/sessions/current');
  }
  await idle.expect(401, 'GET', '/v1/sessions/current');
  database.set(12 * HOUR_S + MINUTE_S);
  await busy.expect(401, 'GET', '/v1/sessions/current');
  database.set(0);
}

/** Whether both clocks really moved: recordings whose id, made by the server of its time, and whose
 * time of receipt, which is the database's, lie more than an hour from the truth. */
async function movedRecordings(installation, clinic) {
  const off = (moment) => `abs(extract(epoch from ${moment} - now())) > ${HOUR_S}`;
  const idTime = "to_timestamp(('x0000' || left(replace(id::text, '-', ''), 12))::bit(64)::bigint / 1000.0)";
  const [row] = await installation.rows(`
    select count(*) filter (where substr(id::text, 15, 1) = '7' and ${off(idTime)}) as by_server,
           count(*) filter (where ${off('received_at')}) as by_database
      from penstock.recording where clinic_id = '${clinic.id}'`);
  return row;
}

async function listsAreComplete(installation, clinic, visits) {
  for (const [target, table, least] of [
    ['/v1/patients', 'patient', visits.map(({patient_id}) => patient_id)],
    ['/v1/studies', 'study', visits.map(({id}) => id)],
  ]) {
    const stored = await installation.rows(`select id from penstock.${table} where clinic_id = '${clinic.id}'`);
    const ids = await listed(clinic.room, target);
    assert.deepEqual(ids, stored.map(({id}) => id).sort());
    assert.ok(least.every((id) => ids.includes(id)));
  }
}

export async function clockMoved({random, clusters, scratch, report}) {
  const cluster = clusters.main;
  const [server, database] = ['server', 'database'].map((name) => new Calendar(`${scratch}/${name}.clock`));
  await cluster.stop();
  await cluster.start(database.environment);
  cluster.use();
  const installation = await Installation.create('clock_moved');
  try {
    await installation.start(server.environment);
    const clinic = await Clinic.open(installation, 'Clinic of the wandering clock');
    const room = new Room(clinic, () => installation.url);
    const {visits, again} = await jump(room, server, database, random);
    database.set(0);
    const moved = await movedRecordings(installation, clinic);
    report.fault('ids that a moved server made', moved.by_server, JUMPS / 4);
    report.fault('recordings that a moved database received', moved.by_database, JUMPS / 4);
    report.fault('jumps of the clock during uploads', server.moves - 1, JUMPS);
    report.fault('uploads repeated after a jump and recognised', again, JUMPS);

    let days = 0;
    for (const shift_s of [-24 * HOUR_S, 24 * HOUR_S]) {
      server.set(shift_s);
      database.set(0);
      const [now] = await installation.rows('select extract(epoch from now()) as s');
      assert.ok(Math.abs(now.s - Date.now() / 1000) < MINUTE_S, 'the database has the true time');
      await inParallel(await room.makeMany(AT_A_TIME), AT_A_TIME, (upload) => room.send(upload));
      visits.push(await clinic.addVisit());
      await sessionsEndInTime(installation, clinic, database);
      days++;
    }
    report.fault('a server a day slow or fast', days, 2);

    const acknowledged = [...room.acknowledged.values()].map(({recording}) => recording.id);
    assert.equal(new Set(acknowledged).size, room.uploads.length, 'no two uploads have one id');
    await listsAreComplete(installation, clinic, visits);
    report.room(room, await audit(installation, room, report.problems));

    database.set(49 * HOUR_S); // the key is forgotten, and the id still stands in the way of a second
    const {key, body, studyId} = room.uploads[0];
    await clinic.room.expect(409, 'POST', `/v1/studies/${studyId}/recordings`, {
      body,
      headers: {'content-type': 'application/json', 'idempotency-key': key},
    });
    report.fault('a key forgotten after 48 hours', 1, 1);
  } finally {
    await installation.remove();
    await cluster.stop();
    await cluster.start();
    server.close();
    database.close();
  }
}
