// The server dies without warning, in the middle of uploads, and is started again.
import {Clinic} from '../../api/lib/clinic.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {audit} from '../lib/audit.mjs';
import {Room} from '../lib/room.mjs';
import {sleep, until} from '../lib/wait.mjs';

const KILLS = 20;
const AT_A_TIME = 8;
/** Where nobody listens. A dead server's own port may be another program's meanwhile. */
const NOBODY = 'http://127.0.0.1:1';

export async function serverKilled({random, clusters, report}) {
  clusters.main.use();
  const installation = await Installation.create('server_killed');
  try {
    await installation.start();
    const clinic = await Clinic.open(installation, 'Clinic of the dying server');
    let url = installation.url;
    const room = new Room(clinic, () => url);
    let inTheMiddle = 0;
    await room.sendDuring(AT_A_TIME, async () => {
      for (let i = 0; i < KILLS; i++) {
        const before = room.acknowledged.size;
        await until('an upload is acknowledged', () => room.acknowledged.size > before);
        await sleep(random.between(0, 250));
        await until('an upload is under way', () => room.underWay > 0);
        inTheMiddle += room.underWay > 0 ? 1 : 0;
        url = NOBODY;
        await installation.kill();
        url = await installation.start();
      }
    });
    report.count('kills', KILLS);
    report.fault('kill -9 of the server during uploads', inTheMiddle, KILLS);
    report.room(room, await audit(installation, room, report.problems));
  } finally {
    await installation.remove();
  }
}
