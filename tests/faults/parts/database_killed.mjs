// PostgreSQL dies without warning, in the middle of uploads. The server stays, and says what to do.
import assert from 'node:assert/strict';
import {Clinic} from '../../api/lib/clinic.mjs';
import {Client} from '../../api/lib/client.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {audit} from '../lib/audit.mjs';
import {Room} from '../lib/room.mjs';
import {sleep, until} from '../lib/wait.mjs';

const KILLS = 10;
const AT_A_TIME = 6;

export async function databaseKilled({random, clusters, report}) {
  const cluster = clusters.main;
  cluster.use();
  const installation = await Installation.create('database_killed');
  try {
    await installation.start();
    const clinic = await Clinic.open(installation, 'Clinic of the dying database');
    const room = new Room(clinic, () => installation.url);
    const anyone = new Client(installation.url);
    const [{fsync}] = await installation.rows("select current_setting('fsync') as fsync");
    assert.equal(fsync, 'on');
    let killed = 0;
    let refused = 0;
    await room.sendDuring(AT_A_TIME, async () => {
      for (let i = 0; i < KILLS; i++) {
        const before = room.acknowledged.size;
        await until('an upload is acknowledged', () => room.acknowledged.size > before);
        await sleep(random.between(0, 300));
        await until('an upload is under way', () => room.underWay > 0);
        await cluster.kill();
        killed++;
        // Each worker has a connection of its own to lose; a client asks for Retry-After by itself.
        for (let j = 0; j < 6; j++) {
          await clinic.room.expect(503, 'GET', '/v1/patients?limit=1');
          await anyone.expect(503, 'GET', '/readyz');
          refused++;
        }
        await anyone.get('/healthz');
        await cluster.start();
        await clinic.room.get('/v1/patients?limit=1');
      }
    });
    report.count('kills', killed);
    report.fault('kill -9 of PostgreSQL during uploads', killed, KILLS);
    report.fault('requests answered 503 with Retry-After meanwhile', refused, 6 * KILLS);
    report.room(room, await audit(installation, room, report.problems));
  } finally {
    await installation.remove();
  }
}
