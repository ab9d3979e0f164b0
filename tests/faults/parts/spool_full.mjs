// The folder for bodies that are not kept in memory is full, or takes no file.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {fileURLToPath} from 'node:url';
import {promisify} from 'node:util';
import {Client} from '../../api/lib/client.mjs';
import {Clinic} from '../../api/lib/clinic.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {audit} from '../lib/audit.mjs';
import {Room} from '../lib/room.mjs';
import {inParallel} from '../lib/wait.mjs';
import {whole} from '../lib/ways.mjs';

const run = promisify(execFile);
const SMALL_SPOOL = fileURLToPath(new URL('../small_spool', import.meta.url));
const MIB = 1024 * 1024;
const SPOOL_MIB = 2;
const AT_ONCE = 8;

/** New uploads, each in one request with a body of so many bytes: white space after a document is part
 * of none. */
async function padded(room, count, bytes) {
  const uploads = await room.makeMany(count);
  for (const upload of uploads) {
    Object.assign(upload, {way: whole, body: upload.body.padEnd(bytes)});
    assert.equal(Buffer.byteLength(upload.body), bytes);
  }
  return uploads;
}

export async function spoolFull({clusters, scratch, report}) {
  clusters.main.use();
  const installation = await Installation.create('spool_full');
  try {
    await installation.start({PENSTOCK_BODY_MEMORY: '1'}, [SMALL_SPOOL, `${SPOOL_MIB}m`, scratch]);
    const remount = (how) =>
      run('nsenter', ['-t', installation.process.pid, '-m', 'mount', '-o', `remount,${how}`, '/var/tmp']);
    const clinic = await Clinic.open(installation, 'Clinic of the full spool');
    const room = new Room(clinic, () => installation.url);

    // As long as the file system is large: not even the byte after the last has room.
    const [exact] = await padded(room, 1, SPOOL_MIB * MIB);
    const refusedExact = (await room.attempt(exact))?.status === 503 ? 1 : 0;
    report.fault('a body that fills the spool to its last byte refused with Retry-After', refusedExact, 1);
    const [large] = await padded(room, 1, 2 * SPOOL_MIB * MIB);
    const refusedLarge = (await room.attempt(large))?.status === 503 ? 1 : 0;
    report.fault('a body larger than the spool refused with Retry-After', refusedLarge, 1);
    await new Client(installation.url).get('/readyz');

    // One at a time has room; what is refused comes again.
    const before = room.toldToWait;
    await inParallel(await padded(room, AT_ONCE, 1.5 * MIB), AT_ONCE, (upload) => room.send(upload));
    report.fault('bodies that together are too large refused with Retry-After', room.toldToWait - before, 1);
    await room.send(await room.make());

    await remount('size=16m');
    await inParallel([exact, large], 2, (upload) => room.send(upload));
    await remount('ro');
    const [elsewhere] = await padded(room, 1, 2 * MIB);
    assert.equal((await room.attempt(elsewhere))?.status, 201, 'without a file it is kept in memory');
    report.fault('a body kept without a spool file', 1, 1);
    report.room(room, await audit(installation, room, report.problems));
  } finally {
    await installation.remove();
  }
}
