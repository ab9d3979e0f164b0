// A room's folder with the uploader, and a stand-in for the server that answers as a test says.
import assert from 'node:assert/strict';
import {spawn} from 'node:child_process';
import {once} from 'node:events';
import {existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync} from 'node:fs';
import http from 'node:http';
import os from 'node:os';
import path from 'node:path';
import {gunzipSync} from 'node:zlib';
import {SOURCE} from '../../api/lib/environment.mjs';

const PROGRAM = path.join(SOURCE, 'deploy/room-uploader/penstock-room-uploader');

export const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

/** Polls until `isTrue` holds. */
export async function until(isTrue, what, limit_ms = 20_000) {
  for (const end = Date.now() + limit_ms; !(await isTrue()); await wait(25)) {
    assert.ok(Date.now() < end, `never: ${what}`);
  }
}

export class Room {
  constructor(url, settings = {}, token = 'pst_stand-in') {
    this.base = mkdtempSync(path.join(os.tmpdir(), 'penstock-room-'));
    this.folder = path.join(this.base, 'spool folder');
    mkdirSync(this.folder);
    this.tokenFile = path.join(this.base, 'token');
    this.logFile = path.join(this.base, 'log');
    this.setToken(token);
    this.settings = {
      PENSTOCK_URL: url,
      PENSTOCK_ROOM_FOLDER: this.folder,
      PENSTOCK_ROOM_TOKEN_FILE: this.tokenFile,
      PENSTOCK_ROOM_LOG_FILE: this.logFile,
      PENSTOCK_ROOM_PROXY: 'off',
      PENSTOCK_ROOM_POLL_S: 1,
      PENSTOCK_ROOM_SETTLE_S: 0,
      PENSTOCK_ROOM_RETRY_MIN_S: 1,
      PENSTOCK_ROOM_RETRY_MAX_S: 2,
      PENSTOCK_ROOM_STALL_S: 3,
      ...settings,
    };
    this.children = new Set();
    this.path = process.env.PATH;
  }

  setToken(token) {
    writeFileSync(this.tokenFile, `${token}\n`, {mode: 0o600});
  }

  /** Starts the program in a process group of its own. */
  spawn(...options) {
    const file = path.join(this.base, 'settings.env');
    const lines = Object.entries(this.settings).map(([name, value]) => `${name}="${value}"\n`);
    writeFileSync(file, ['# a room\n\n', ...lines].join(''));
    const child = spawn(PROGRAM, ['--settings', file, ...options], {
      detached: true,
      stdio: ['ignore', 'pipe', 'pipe'],
      env: {PATH: this.path, TZ: 'UTC'},
    });
    const run = {child, stdout: '', stderr: ''};
    child.stdout.on('data', (data) => (run.stdout += data));
    child.stderr.on('data', (data) => (run.stderr += data));
    run.ended = once(child, 'close').then(([code, signal]) => {
      this.children.delete(child);
      return Object.assign(run, {code, signal});
    });
    this.children.add(child);
    return run;
  }

  run(...options) {
    return this.spawn(...options).ended;
  }

  async status() {
    return (await this.run('--status')).stdout.trim();
  }

  put(study, name, content) {
    mkdirSync(path.join(this.folder, study), {recursive: true});
    writeFileSync(path.join(this.folder, study, name), content);
  }

  /** Names in a folder of the spool folder, sorted. */
  list(...names) {
    const folder = path.join(this.folder, ...names);
    return existsSync(folder) ? readdirSync(folder).sort() : [];
  }

  read(...names) {
    return readFileSync(path.join(this.folder, ...names), 'utf8');
  }

  log() {
    return existsSync(this.logFile) ? readFileSync(this.logFile, 'utf8') : '';
  }

  async remove() {
    for (const child of this.children) {
      process.kill(-child.pid, 'SIGKILL');
    }
    rmSync(this.base, {recursive: true, force: true, maxRetries: 5});
  }
}

/** A server that keeps the first answer to an Idempotency-Key, as Penstock does. `trouble(request,
 * number)` may take a request's answer in hand, before anything is stored, by returning true; it is told
 * how many requests came before. `after` likewise, when the recording has been stored. */
export class StandIn {
  static async open({trouble = () => false, after = () => false} = {}) {
    const standIn = new StandIn();
    Object.assign(standIn, {trouble, after, requests: [], stored: new Map()});
    standIn.server = http.createServer((request, response) => standIn.serve(request, response));
    standIn.server.listen(0, '127.0.0.1');
    await once(standIn.server, 'listening');
    standIn.url = `http://127.0.0.1:${standIn.server.address().port}`;
    return standIn;
  }

  async serve(request, response) {
    const chunks = [];
    try {
      for await (const chunk of request) {
        chunks.push(chunk);
      }
    } catch {
      return; // the client was killed
    }
    const {headers} = request;
    const sent = Buffer.concat(chunks);
    const body = headers['content-encoding'] === 'gzip' ? gunzipSync(sent) : sent;
    const seen = {url: request.url, headers, body, at_ms: Date.now(), request, response};
    const number = this.requests.push(seen) - 1;
    if (this.trouble(seen, number)) {
      return;
    }
    const key = headers['idempotency-key'];
    const isNew = !this.stored.has(key);
    if (isNew) {
      this.stored.set(key, {id: `recording-${this.stored.size}`, url: request.url, body});
    }
    if (this.after(seen, number)) {
      return;
    }
    const study = request.url.split('/')[3];
    const answer = {recording: {id: this.stored.get(key).id, study_id: study}, analysis: {}};
    response.writeHead(201, {'content-type': 'application/json', ...(isNew ? {} : {'idempotent-replayed': 'true'})});
    response.end(JSON.stringify(answer));
  }

  /** Bodies of what is stored, sorted. */
  bodies() {
    return [...this.stored.values()].map(({body}) => body.toString()).sort();
  }

  close() {
    this.server.closeAllConnections();
    this.server.close();
  }
}

/** Answers with a problem document. */
export function problem(response, status, fields = {}, headers = {}) {
  response.writeHead(status, {'content-type': 'application/problem+json', ...headers});
  response.end(JSON.stringify({type: 'about:blank', title: 'No', status, detail: 'No.', ...fields}));
  return true;
}
