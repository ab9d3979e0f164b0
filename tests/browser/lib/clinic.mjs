// A clinic of its own on the server under test, so that what these tests store is seen by no other.
import assert from 'node:assert/strict';
import {execFile} from 'node:child_process';
import {randomBytes} from 'node:crypto';
import {uroflowmetry} from '../../api/lib/recordings.mjs';
import {INTERPRETATION} from '../../api/lib/signing.mjs';
import {ownerDatabase, serverProgram, serverUrl} from './environment.mjs';

const PASSWORD = 'seven wet otters';

const unique = () => randomBytes(5).toString('hex');

/** Runs a command of the program; what it prints. */
function program(options, input = '') {
  const env = {...process.env, PENSTOCK_OWNER_DATABASE: ownerDatabase(), PENSTOCK_DATABASE: ownerDatabase()};
  return new Promise((resolve, reject) => {
    const child = execFile(serverProgram(), options, {env}, (error, stdout, stderr) =>
      error ? reject(new Error(`${options.join(' ')}: ${error.message}\n${stderr}`)) : resolve(stdout.trim()),
    );
    child.stdin.end(input);
  });
}

/** Somebody with an account, who uses the API without a browser. */
export class Person {
  constructor(account) {
    Object.assign(this, account);
  }

  async signIn() {
    const response = await fetch(`${serverUrl}/v1/sessions`, {
      method: 'POST',
      headers: {'content-type': 'application/json'},
      body: JSON.stringify({username: this.username, password: this.password}),
    });
    assert.equal(response.status, 201, `signing in as ${this.username}`);
    this.cookie = response.headers.get('set-cookie').split(';')[0];
    return this;
  }

  /** The answer's JSON, null without one; its status must be one of the good ones. */
  async ask(method, target, json, headers = {}) {
    const response = await fetch(serverUrl + target, {
      method,
      headers: {cookie: this.cookie, origin: serverUrl, 'content-type': 'application/json', ...headers},
      body: json === undefined ? undefined : JSON.stringify(json),
    });
    const text = await response.text();
    this.etag = response.headers.get('etag');
    assert.ok(response.ok, `${method} ${target}: ${response.status} ${text.slice(0, 500)}`);
    return text === '' ? null : JSON.parse(text);
  }

  /** Uploads a recording to a study, interprets and signs it. */
  async sign(study) {
    const target = `/v1/studies/${study.id}`;
    const {recording} = await this.ask('POST', `${target}/recordings`, uroflowmetry().document);
    await this.ask('PUT', `${target}/interpretation`, INTERPRETATION, {'if-match': '"0"'});
    await this.ask('GET', target);
    const recordings = [{id: recording.id, revision: recording.revision}];
    const json = {interpretation_revision: 1, recordings, current_password: this.password};
    return this.ask('POST', `${target}/signature`, json, {'if-match': this.etag});
  }

  async addStudy(startedAt) {
    const patient = await this.ask('POST', '/v1/patients', {
      mrn: `L-${unique()}`,
      family_name: 'Quillfeather',
      given_name: 'Robin',
      birth_date: '1961-04-30',
      sex: 'male',
    });
    return this.ask('POST', '/v1/studies', {patient_id: patient.id, room: 'Room 1', started_at: startedAt});
  }
}

export class Clinic {
  static async create(name) {
    const clinic = new Clinic();
    clinic.id = await program(['clinic', 'add', name]);
    const account = {username: `admin-${unique()}`, password: PASSWORD};
    await program(['administrator', 'first', clinic.id, account.username], `${PASSWORD}\n`);
    clinic.administrator = await new Person(account).signIn();
    return clinic;
  }

  /** An account that nobody has signed in to yet. */
  async addAccount(role, fields = {}) {
    const account = {username: `${role}-${unique()}`, display_name: `A ${role}`, password: PASSWORD, ...fields};
    const {id} = await this.administrator.ask('POST', '/v1/users', {...account, roles: [role]});
    return new Person({...account, id});
  }

  async add(role) {
    return (await this.addAccount(role)).signIn();
  }
}
