// A server with a database of its own, so that what one file of tests does is seen by no other.
import assert from 'node:assert/strict';
import {execFile, spawn} from 'node:child_process';
import {randomBytes} from 'node:crypto';
import {once} from 'node:events';
import {closeSync, mkdtempSync, openSync, readFileSync, rmSync, writeFileSync} from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import {connection, contents, createDatabase, dropDatabase, execute, rows} from './database.mjs';
import {serverProgram} from './environment.mjs';

const START_LIMIT_MS = 60_000;
const READY = /^penstock-server listening on (https?:\/\/\S+)$/m;

/** Family name of every invented patient of these tests: it must never stand in a log. */
export const FAMILY_NAME = 'Quillfeather';

export class Installation {
  static async create(theme) {
    const installation = new Installation();
    installation.database = `penstock_api_${theme}_${process.pid}`;
    installation.folder = mkdtempSync(path.join(os.tmpdir(), `penstock-api-${theme}-`));
    installation.log = path.join(installation.folder, 'server.log');
    installation.starts = 0;
    await createDatabase(installation.database);
    await installation.program(['migrate']);
    return installation;
  }

  environment(extra = {}) {
    return {
      ...process.env,
      PENSTOCK_ADDRESS: '127.0.0.1',
      PENSTOCK_PORT: '0',
      PENSTOCK_DATABASE: connection(this.database, 'penstock_app'),
      PENSTOCK_OWNER_DATABASE: connection(this.database, 'penstock_owner'),
      ...extra,
    };
  }

  /** Runs a command of the program; what it prints. */
  async program(options, input = '') {
    return new Promise((resolve, reject) => {
      const child = execFile(serverProgram(), options, {env: this.environment()}, (error, stdout, stderr) =>
        error ? reject(new Error(`${options.join(' ')}: ${error.message}\n${stderr}`)) : resolve(stdout.trim()),
      );
      child.stdin.on('error', () => {}); // a command that reads nothing may be gone before
      child.stdin.end(input);
    });
  }

  async addClinic(name) {
    return this.program(['clinic', 'add', name]);
  }

  async addAdministrator(clinicId, username, password) {
    return this.program(['administrator', 'first', clinicId, username], `${password}\n`);
  }

  /** A file for PENSTOCK_KEY_FILE: its path. */
  makeKey() {
    const file = path.join(this.folder, 'key');
    writeFileSync(file, `${randomBytes(32).toString('base64')}\n`, {mode: 0o600});
    return file;
  }

  /** `wrapper` is a command that becomes the server whose command line follows it. */
  async start(settings = {}, wrapper = []) {
    const out = path.join(this.folder, `out-${++this.starts}`);
    const files = ['/dev/null', out, this.log].map((name, index) => openSync(name, index === 0 ? 'r' : 'a'));
    const [command, ...options] = [...wrapper, serverProgram(), 'serve'];
    this.process = spawn(command, options, {env: this.environment(settings), stdio: files});
    files.forEach(closeSync);
    this.ended = once(this.process, 'exit');
    this.url = await this.waitForAddress(out);
    return this.url;
  }

  async waitForAddress(out) {
    const deadline = Date.now() + START_LIMIT_MS;
    while (Date.now() < deadline && this.process.exitCode === null) {
      const found = READY.exec(readFileSync(out, 'utf8'));
      if (found) {
        return found[1];
      }
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
    throw new Error(`the server did not start:\n${this.logTail()}`);
  }

  /** What the server has logged, an object a line. */
  logLines() {
    return readFileSync(this.log, 'utf8').split('\n').filter(Boolean).map((line) => JSON.parse(line));
  }

  logTail() {
    return readFileSync(this.log, 'utf8').split('\n').slice(-40).join('\n');
  }

  isRunning() {
    return this.process !== undefined && this.process.exitCode === null && this.process.signalCode === null;
  }

  /** The signal a power cut is nearest to. */
  async kill() {
    this.process.kill('SIGKILL');
    await this.ended;
  }

  /** Asks the server to end, and has it end well: exit code 0 also means that no sanitiser complained. */
  async stop() {
    this.process.kill('SIGTERM');
    const [code, signal] = await this.ended;
    assert.equal(code, 0, `the server ended with ${code ?? signal}:\n${this.logTail()}`);
  }

  /** Rows of a query as objects. */
  async rows(sql) {
    return rows(this.database, sql);
  }

  async execute(sql) {
    return execute(this.database, sql);
  }

  async contents() {
    return contents(this.database);
  }

  /** Runs `act`, which must leave the database as it was. */
  async unchanged(act) {
    const before = await this.contents();
    await act();
    assert.deepEqual(await this.contents(), before, 'refused requests left something behind');
  }

  /** For after(): stops the server, looks through its log, and removes database and files. */
  async remove() {
    try {
      if (this.isRunning()) {
        await this.stop();
      }
      this.checkLog();
    } finally {
      await dropDatabase(this.database);
      rmSync(this.folder, {recursive: true, force: true});
    }
  }

  /** A failure of the server that a test brings about: its line in the log. */
  expectFailure(pattern) {
    (this.expectedFailures ??= []).push(pattern);
  }

  checkLog() {
    for (const line of readFileSync(this.log, 'utf8').split('\n').filter(Boolean)) {
      assert.doesNotThrow(() => JSON.parse(line), `a line of the log is not JSON: ${line}`);
      const isExpected = this.expectedFailures?.some((pattern) => pattern.test(line));
      assert.ok(JSON.parse(line).level !== 'error' || isExpected, `the server failed: ${line}`);
      assert.ok(!line.includes(FAMILY_NAME), `the log names a patient: ${line}`);
      assert.ok(!/ps[tl]_[A-Za-z0-9_-]{20}/.test(line), `the log holds a secret: ${line}`);
    }
  }
}
