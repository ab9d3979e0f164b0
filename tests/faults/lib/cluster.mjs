// A PostgreSQL cluster that the tests start and kill themselves. tests/faults/run has made its files.
import assert from 'node:assert/strict';
import {execFile, execFileSync, spawn} from 'node:child_process';
import {once} from 'node:events';
import {closeSync, openSync, readFileSync, statSync} from 'node:fs';
import path from 'node:path';
import {promisify} from 'node:util';
import {until} from './wait.mjs';

const run = promisify(execFile);
const PROGRAMS = process.env.PENSTOCK_FAULTS_POSTGRES;

export class Cluster {
  constructor(folder) {
    this.data = path.join(folder, 'data');
    this.socket = path.join(folder, 'socket');
    this.log = `${process.env.PENSTOCK_FAULTS_SCRATCH}/${path.basename(folder)}.log`;
    const {uid, gid} = statSync(this.data);
    this.owner = {uid, gid};
  }

  /** Makes it the one that tests/api/lib works on. */
  use() {
    process.env.PENSTOCK_TEST_DATABASE = `host=${this.socket} user=postgres dbname=postgres`;
  }

  /** The postmaster is a child of ours, so that a killed one is reaped and its pid is free. */
  async start(environment = {}) {
    const log = openSync(this.log, 'a');
    this.process = spawn(path.join(PROGRAMS, 'postgres'), ['-D', this.data], {
      ...this.owner,
      cwd: '/',
      env: {PATH: process.env.PATH, LC_ALL: 'C.UTF-8', ...environment},
      stdio: ['ignore', log, log],
    });
    closeSync(log);
    this.ended = once(this.process, 'exit');
    await until(`PostgreSQL answers; its log ends on\n${this.logTail()}`, async () => {
      assert.equal(this.isRunning(), true, `PostgreSQL ended:\n${this.logTail()}`);
      return this.answers();
    });
  }

  isRunning() {
    return this.process !== undefined && this.process.exitCode === null && this.process.signalCode === null;
  }

  async answers() {
    return run(path.join(PROGRAMS, 'pg_isready'), ['-q', '-h', this.socket, '-U', 'postgres']).then(
      () => true,
      () => false,
    );
  }

  logTail() {
    return readFileSync(this.log, 'utf8').split('\n').slice(-15).join('\n');
  }

  /** How often a word stands in what PostgreSQL said. */
  count(word) {
    return readFileSync(this.log, 'utf8').split(word).length - 1;
  }

  /** Kills the postmaster and all its processes; how many died. */
  async kill() {
    const {pid} = this.process;
    const children = execFileSync('pgrep', ['-P', String(pid)], {encoding: 'utf8'}).split('\n').filter(Boolean);
    let killed = 0;
    for (const one of [pid, ...children.map(Number)]) {
      try {
        process.kill(one, 'SIGKILL');
        killed++;
      } catch (error) {
        assert.equal(error.code, 'ESRCH'); // a process that ended by itself meanwhile
      }
    }
    const [, signal] = await this.ended;
    assert.equal(signal, 'SIGKILL');
    return killed;
  }

  async stop() {
    if (this.isRunning()) {
      this.process.kill('SIGINT');
      await this.ended;
    }
  }
}
