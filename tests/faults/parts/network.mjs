// A network that cuts, delays and repeats, between the rooms and the server.
import {Clinic} from '../../api/lib/clinic.mjs';
import {Installation} from '../../api/lib/installation.mjs';
import {audit} from '../lib/audit.mjs';
import {Proxy} from '../lib/proxy.mjs';
import {Room} from '../lib/room.mjs';
import {inParallel} from '../lib/wait.mjs';

const UPLOADS = 1000;
const AT_A_TIME = 24;
/** With 1,000 uploads the rarest fault is expected about 50 times. */
const AT_LEAST = 15;

export async function network({random, clusters, report}) {
  clusters.main.use();
  const installation = await Installation.create('network');
  try {
    await installation.start();
    const clinic = await Clinic.open(installation, 'Clinic behind a bad network');
    const proxy = await Proxy.open(random, () => installation.url);
    const room = new Room(clinic, () => proxy.url);
    await inParallel(await room.makeMany(UPLOADS), AT_A_TIME, (upload) => room.send(upload));
    await proxy.close();
    const faults = Object.entries(proxy.injected).filter(([fault]) => fault !== 'none');
    for (const [fault, count] of faults) {
      report.fault(fault, count, AT_LEAST);
      report.count('cuts', fault.startsWith('cut_') ? count : 0);
    }
    report.room(room, await audit(installation, room, report.problems));
  } finally {
    await installation.remove();
  }
}
