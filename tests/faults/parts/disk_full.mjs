// The database's disk fills up: first that of its tables, then that of its log too.
import assert from 'node:assert/strict';
import {closeSync, openSync, rmSync, statSync, writeSync} from 'node:fs';
import {Client} from '../../api/lib/client.mjs';
import {Clinic, PASSWORD, signIn} from '../../api/lib/clinic.mjs';
import {execute} from '../../api/lib/database.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {halves, isThere} from '../../api/lib/uploads.mjs';
import {audit} from '../lib/audit.mjs';
import {Room} from '../lib/room.mjs';
import {inParallel, until} from '../lib/wait.mjs';

const BEFORE = 10;
const REFUSED = 30;
const AT_A_TIME = 4;

/** Takes all the room that a file system has left. */
class Ballast {
  constructor(folder) {
    this.name = `${folder}/ballast`;
  }

  fill() {
    const file = openSync(this.name, 'a');
    for (let size = 1024 * 1024; size >= 512; ) {
      try {
        writeSync(file, Buffer.alloc(size));
      } catch (error) {
        assert.equal(error.code, 'ENOSPC');
        size /= 2;
      }
    }
    closeSync(file);
    assert.ok(statSync(this.name).size > 0, 'the disk was full already');
  }

  drop() {
    rmSync(this.name);
  }
}

async function nothingIsHalfThere(installation, room) {
  for (const study of await Promise.all(room.studies)) {
    assert.deepEqual(await halves(installation, study.id), []);
  }
}

/** Sends new uploads, each once, until `count` were told to come back. */
async function sendUntilRefused(room, count) {
  const before = room.toldToWait;
  const attempts = function* () {
    while (room.toldToWait < before + count) {
      assert.ok(room.attempts < 2000, 'the disk does not fill');
      yield room.make();
    }
  };
  await inParallel(attempts(), AT_A_TIME, async (upload) => {
    const answer = await room.attempt(await upload);
    assert.ok(answer, 'the connection broke');
  });
  return room.toldToWait - before;
}

const open = (room) => room.uploads.filter((upload) => !room.acknowledged.has(upload));

async function isWell(installation, room, session) {
  const anyone = new Client(installation.url);
  await anyone.get('/healthz');
  await anyone.get('/readyz');
  await session.get('/v1/sessions/current');
  const {room: client} = room.clinic;
  await client.get('/v1/patients?limit=1');
  await inParallel(room.uploads.filter((upload) => room.acknowledged.has(upload)), AT_A_TIME, (upload) =>
    isThere(client, upload, room.acknowledged.get(upload)),
  );
}

/** The rows are in a small file system, the database's log elsewhere: reading goes on. */
export async function tablesFull({clusters, scratch, report}) {
  clusters.main.use();
  const ballast = new Ballast(`${scratch}/tables`);
  const installation = await Installation.create('tables_full');
  try {
    await execute('postgres', `create tablespace small location '${scratch}/tables'`);
    await execute('postgres', `alter database ${installation.database} set tablespace small`);
    await installation.start();
    const pid = installation.process.pid;
    const clinic = await Clinic.open(installation, 'Clinic of the full tables');
    const {cookie} = await signIn(installation.url, clinic.username, PASSWORD);
    const session = Client.withSession(installation.url, cookie);
    const room = new Room(clinic, () => installation.url);
    await inParallel(await room.makeMany(BEFORE), AT_A_TIME, (upload) => room.send(upload));

    ballast.fill();
    report.fault('uploads refused with Retry-After', await sendUntilRefused(room, REFUSED), REFUSED);
    // Noting that a credential was used is a write, which must not stand in the way of reading.
    for (const table of ['api_token', 'session']) {
      await installation.execute(`update penstock.${table} set last_used_at = now() - interval '5 minutes'`);
    }
    await isWell(installation, room, session);
    await nothingIsHalfThere(installation, room);

    ballast.drop();
    await inParallel(open(room), AT_A_TIME, (upload) => room.send(upload));
    await isWell(installation, room, session);
    assert.ok(installation.isRunning() && installation.process.pid === pid, 'the server was the same all along');
    report.room(room, await audit(installation, room, report.problems));
  } finally {
    await installation.remove();
    await execute('postgres', 'drop tablespace if exists small');
  }
}

/** The database's log has no room either: PostgreSQL ends itself, and cannot come back before there is
 * room. */
export async function logFull({clusters, scratch, report}) {
  const cluster = clusters.small;
  await cluster.start();
  cluster.use();
  const ballast = new Ballast(`${scratch}/small`);
  const installation = await Installation.create('log_full');
  try {
    await installation.start();
    const clinic = await Clinic.open(installation, 'Clinic of the full log');
    const {cookie} = await signIn(installation.url, clinic.username, PASSWORD);
    const session = Client.withSession(installation.url, cookie);
    const room = new Room(clinic, () => installation.url);
    await inParallel(await room.makeMany(BEFORE), AT_A_TIME, (upload) => room.send(upload));

    ballast.fill();
    // The next segment of the log would be a new file.
    await execute('postgres', 'select pg_switch_wal()').catch(() => {});
    report.fault('uploads refused with Retry-After', await sendUntilRefused(room, REFUSED), REFUSED);
    const panics = cluster.count('PANIC');
    report.fault('PostgreSQL ended itself for want of room', panics, 1);
    await new Client(installation.url).get('/healthz');
    for (let i = 0; i < 6; i++) {
      await clinic.room.request('GET', '/v1/patients?limit=1'); // 200 or a 503 with Retry-After
    }

    ballast.drop();
    // It may still be at its own attempt to come back.
    await until('PostgreSQL is back or gone', async () => !cluster.isRunning() || cluster.answers());
    if (!cluster.isRunning()) {
      await cluster.start();
    }
    await nothingIsHalfThere(installation, room);
    await inParallel(open(room), AT_A_TIME, (upload) => room.send(upload));
    await isWell(installation, room, session);
    report.room(room, await audit(installation, room, report.problems));
  } finally {
    await installation.remove();
    await cluster.stop();
  }
}
