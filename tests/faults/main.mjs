// Runs the parts, prints what happened as counts, and fails unless nothing was lost, doubled or half
// there, and every planned fault really happened. tests/faults/run starts it.
import {randomInt} from 'node:crypto';
import {Cluster} from './lib/cluster.mjs';
import {Random} from './lib/random.mjs';
import {Report, printTable} from './lib/report.mjs';
import {clockMoved} from './parts/clock_moved.mjs';
import {databaseKilled} from './parts/database_killed.mjs';
import {logFull, tablesFull} from './parts/disk_full.mjs';
import {network} from './parts/network.mjs';
import {serverKilled} from './parts/server_killed.mjs';
import {spoolFull} from './parts/spool_full.mjs';

const PARTS = {
  network,
  server_killed: serverKilled,
  database_killed: databaseKilled,
  tables_full: tablesFull,
  log_full: logFull,
  spool_full: spoolFull,
  clock_moved: clockMoved,
};

const wanted = process.argv.slice(2);
const unknown = wanted.filter((name) => !(name in PARTS));
if (unknown.length > 0) {
  throw new Error(`no such part: ${unknown}; there are ${Object.keys(PARTS)}`);
}

const seed = Number(process.env.PENSTOCK_FAULTS_SEED || randomInt(2 ** 31));
console.log(`seed ${seed} (PENSTOCK_FAULTS_SEED=${seed} draws the same again)`);

const scratch = process.env.PENSTOCK_FAULTS_SCRATCH;
const clusters = {main: new Cluster(`${scratch}/main`), small: new Cluster(`${scratch}/small`)};
const reports = [];
try {
  await clusters.main.start();
  for (const [index, name] of (wanted.length > 0 ? wanted : Object.keys(PARTS)).entries()) {
    const report = new Report(name);
    reports.push(report);
    await report.run(() => PARTS[name]({random: new Random(seed + index), clusters, scratch, report}));
  }
} finally {
  await clusters.main.stop();
  await clusters.small.stop();
}
process.exitCode = printTable(reports) ? 0 : 1;
