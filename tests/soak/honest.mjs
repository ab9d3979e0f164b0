// Honest clients: a fixed mix of requests, each kind at its own pace whatever the server does. How long one
// took counts from the moment at which it was due, so that a server that stalls cannot hide it.
import {randomUUID} from 'node:crypto';
import http from 'node:http';
import {ask} from './clinic.mjs';

/** How often a second each kind is due. */
const KINDS = {
  'patient': {perSecond: 4, act: (mix) => mix.get(`/v1/patients/${mix.clinic.patient}`)},
  'study list': {perSecond: 2, act: (mix) => mix.get('/v1/studies?limit=20')},
  'summary': {perSecond: 3, act: (mix) => mix.get(`/v1/studies/${mix.clinic.read}/summary`)},
  'traces': {perSecond: 3, act: (mix) => mix.traces()},
  'upload': {perSecond: 0.5, act: (mix) => mix.upload()},
  'event edit': {perSecond: 0.5, act: (mix) => mix.edit()},
  'sign-in': {perSecond: 0.5, act: (mix) => mix.signIn()},
};

/** Those that read, of which no password and no analysis is the greater part. */
export const READING = ['patient', 'study list', 'summary', 'traces'];

const IDLE_MS = 20_000; // shorter than the server's patience, so that none is closed under a request
const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

export class Mix {
  constructor(clinic) {
    this.clinic = clinic;
    this.agent = new http.Agent({keepAlive: true, maxSockets: 24, timeout: IDLE_MS, scheduling: 'lifo'});
    this.took = {quiet: {}, hostile: {}};
    for (const name of Object.keys(KINDS)) {
      this.took.quiet[name] = [];
      this.took.hostile[name] = [];
    }
    this.failures = [];
    this.sent = 0;
    this.open = 0;
    this.turn = 0;
    this.window = undefined; // 'quiet' or 'hostile'; undefined: not counted
  }

  async expect(status, method, path, headers, body, agent = this.agent) {
    const id = `honest-${++this.sent}`;
    const answer = await ask(this.clinic.url, method, path, {agent, body, headers: {'x-request-id': id, ...headers}});
    if (answer.status !== status) {
      throw new Error(`${id}: ${method} ${path}: ${answer.status} ${answer.body.toString().slice(0, 300)}`);
    }
    return answer;
  }

  get authorization() {
    return {authorization: `Bearer ${this.clinic.token}`};
  }

  get(path) {
    return this.expect(200, 'GET', path, this.authorization);
  }

  traces() {
    const part = this.turn++ % 2 === 0 ? '' : '&from_s=300&to_s=310';
    return this.expect(200, 'GET', `/v1/recordings/${this.clinic.drawn}/traces?points=1000${part}`,
      {...this.authorization, accept: 'application/octet-stream'});
  }

  upload() {
    const study = this.clinic.studies[this.turn++ % this.clinic.studies.length];
    const startedAt = new Date(Date.parse(this.clinic.document.started_at) + 1000 * this.turn).toISOString();
    return this.expect(201, 'POST', `/v1/studies/${study}/recordings`,
      {...this.authorization, 'content-type': 'application/json', 'idempotency-key': randomUUID()},
      JSON.stringify({...this.clinic.document, started_at: startedAt}));
  }

  async edit() {
    const recording = this.clinic.edited.shift(); // nobody else edits it meanwhile
    const events = [{at_s: 1 + (this.turn++ % 50) / 10, code: 'cough', note: 'soak'}];
    const answer = await this.expect(200, 'PUT', `/v1/recordings/${recording.id}/events`,
      {...this.authorization, 'content-type': 'application/json', 'if-match': recording.etag},
      JSON.stringify({events}));
    this.clinic.edited.push({...recording, etag: answer.headers.etag});
  }

  /** Over a connection of its own. */
  signIn() {
    return this.expect(201, 'POST', '/v1/sessions', {'content-type': 'application/json'},
      JSON.stringify(this.clinic.honest), false);
  }

  async one(name, dueMs) {
    const window = this.window;
    this.open++;
    try {
      await KINDS[name].act(this);
      if (window !== undefined) {
        this.took[window][name].push(performance.now() - dueMs);
      }
    } catch (error) {
      this.failures.push(`${name}: ${error.message}`);
    }
    this.open--;
  }

  /** Sends until `untilMs` (performance.now()). Kinds begin apart from each other. */
  async run(untilMs) {
    const begin = performance.now();
    const plan = Object.entries(KINDS).map(([name, {perSecond}], i) =>
      ({name, everyMs: 1000 / perSecond, dueMs: begin + 37 * (i + 1)}));
    while (performance.now() < untilMs) {
      const next = plan.reduce((soonest, one) => (one.dueMs < soonest.dueMs ? one : soonest));
      const waitMs = next.dueMs - performance.now();
      if (waitMs > 0) {
        await pause(waitMs);
      }
      this.one(next.name, next.dueMs);
      next.dueMs += next.everyMs;
    }
    while (this.open > 0) {
      await pause(10);
    }
    this.agent.destroy();
  }
}
