// What the server holds, every second or two: memory, descriptors, threads, connections to the database.
import {execFile} from 'node:child_process';
import {readdirSync, readFileSync} from 'node:fs';

const EVERY_MS = 1500;
const CONNECTIONS = "select count(*) from pg_stat_activity where usename = 'penstock_app'";

const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

function connections(database) {
  return new Promise((resolve, reject) => {
    execFile('psql', ['-X', '-tA', '-d', database, '-c', CONNECTIONS], (error, out) =>
      (error ? reject(error) : resolve(Number(out))));
  });
}

/** Milliseconds of processor that all threads have had (they stay the same ones). */
function processorMs(pid) {
  const times = readdirSync(`/proc/${pid}/task`).map((task) => readFileSync(`/proc/${pid}/task/${task}/schedstat`, 'utf8'));
  return times.reduce((sum, text) => sum + Number(text.split(' ')[0]) / 1e6, 0);
}

/** What it holds now. */
export async function sample(pid, database) {
  const status = readFileSync(`/proc/${pid}/status`, 'utf8');
  const field = (name) => Number(new RegExp(`^${name}:\\s+(\\d+)`, 'm').exec(status)[1]);
  return {
    'memory, MiB': field('VmRSS') / 1024,
    'descriptors': readdirSync(`/proc/${pid}/fd`).length,
    'threads': field('Threads'),
    'database connections': await connections(database),
  };
}

/** Samples until `untilMs`; `windowOf()` says what was going on. A server that is gone ends it. */
export async function watch(pid, database, untilMs, windowOf) {
  const samples = [];
  while (performance.now() < untilMs) {
    const atMs = performance.now();
    samples.push({atMs, window: windowOf(), processorMs: processorMs(pid), holds: await sample(pid, database)});
    await pause(EVERY_MS);
  }
  return samples;
}
