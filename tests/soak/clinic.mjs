// The clinic that is soaked: made over HTTP before anything is measured.
import {readFileSync} from 'node:fs';
import http from 'node:http';
import {uroflowmetry} from '../api/lib/recordings.mjs';

const PASSWORD = 'seven wet otters';
const STUDIES = 40;
const EDITED = 8;
const TRACE_RATE_HZ = 100;
const TRACE_LENGTH_S = 600;

/** Sends a request and gives the answer whole: {status, headers, body}. */
export function ask(url, method, path, {headers = {}, body, agent, timeoutMs = 30_000} = {}) {
  return new Promise((resolve, reject) => {
    const length = body === undefined ? {} : {'content-length': Buffer.byteLength(body)};
    const request = http.request(url + path, {agent, method, headers: {...length, ...headers}}, (response) => {
      const parts = [];
      response.on('data', (part) => parts.push(part));
      response.on('error', reject);
      response.on('end', () =>
        resolve({status: response.statusCode, headers: response.headers, body: Buffer.concat(parts)}));
    });
    request.setTimeout(timeoutMs, () => request.destroy(new Error(`no answer for ${timeoutMs} ms`)));
    request.on('error', reject);
    request.end(body);
  });
}

/** Pressure and flow that a strip can show, as float32. */
function longRecording(startedAt) {
  const count = TRACE_RATE_HZ * TRACE_LENGTH_S;
  const channel = (signal, unit, valueAt) => {
    const values = Float32Array.from({length: count}, (_, i) => valueAt(i / TRACE_RATE_HZ));
    return {signal, unit, rate_hz: TRACE_RATE_HZ, encoding: 'float32', data: Buffer.from(values.buffer).toString('base64')};
  };
  return {
    type: 'cystometry',
    started_at: startedAt,
    channels: [
      channel('pves', 'cm[H2O]', (t) => 12 + t / 60 + 2 * Math.sin(t)),
      channel('pabd', 'cm[H2O]', (t) => 8 + Math.sin(t)),
    ],
  };
}

export class Clinic {
  constructor(url) {
    this.url = url;
  }

  async expect(status, method, path, document, headers) {
    const answer = await ask(this.url, method, path, {
      headers: {'content-type': 'application/json', ...headers},
      body: document === undefined ? undefined : JSON.stringify(document),
    });
    if (answer.status !== status) {
      throw new Error(`${method} ${path}: ${answer.status} ${answer.body.toString().slice(0, 500)}`);
    }
    return {...answer, json: JSON.parse(answer.body)};
  }

  withToken(status, method, path, document) {
    return this.expect(status, method, path, document, {authorization: `Bearer ${this.token}`});
  }

  async make(passwordFile) {
    const password = readFileSync(passwordFile, 'utf8').trim();
    const session = await this.expect(201, 'POST', '/v1/sessions', {username: 'administrator', password});
    const administrator = {cookie: session.headers['set-cookie'][0].split(';')[0], origin: this.url};
    const token = {name: 'soak', roles: ['room', 'clinician']};
    this.token = (await this.expect(201, 'POST', '/v1/tokens', token, administrator)).json.token;
    this.honest = {username: 'honest-clinician', password: PASSWORD};
    this.victim = 'attacked-clinician';
    for (const username of [this.honest.username, this.victim]) {
      const user = {username, display_name: 'A clinician', password: PASSWORD, roles: ['clinician']};
      await this.expect(201, 'POST', '/v1/users', user, administrator);
    }
    await this.makeStudies();
  }

  async makeStudies() {
    const patient = {mrn: 'SOAK-1', family_name: 'Test', given_name: 'Soak', birth_date: '1960-01-01', sex: 'female'};
    this.patient = (await this.withToken(201, 'POST', '/v1/patients', patient)).json.id;
    this.document = uroflowmetry().document;
    const study = {patient_id: this.patient, room: '1', started_at: this.document.started_at};
    const add = async () => (await this.withToken(201, 'POST', '/v1/studies', study)).json.id;
    this.read = await add();
    await this.withToken(201, 'POST', `/v1/studies/${this.read}/recordings`, this.document);
    const long = longRecording(this.document.started_at);
    this.drawn = (await this.withToken(201, 'POST', `/v1/studies/${await add()}/recordings`, long)).json.recording.id;
    this.edited = [];
    for (let i = 0; i < EDITED; i++) {
      const upload = await this.withToken(201, 'POST', `/v1/studies/${await add()}/recordings`, this.document);
      const {id} = upload.json.recording;
      const events = await this.withToken(200, 'GET', `/v1/recordings/${id}/events`);
      this.edited.push({id, etag: events.headers.etag});
    }
    this.studies = [];
    for (let i = 0; i < STUDIES; i++) {
      this.studies.push(await add());
    }
  }
}
