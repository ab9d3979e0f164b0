// An invented clinic with an administrator and a token for each role, made through the public ways.
import {randomBytes} from 'node:crypto';
import {Client} from './client.mjs';
import {readSource} from './environment.mjs';
import {FAMILY_NAME} from './installation.mjs';
import {amend, ensureRecording, interpret, sign, signBySql} from './signing.mjs';

export const ROLES = ['room', 'clinician', 'physician', 'referrer', 'integration', 'auditor', 'administrator'];

/** Every scope that a role may have: a column of api-docs/access.md. */
export function scopesOf(role) {
  const table = readSource('api-docs/access.md')
    .split('\n')
    .filter((line) => line.startsWith('|'))
    .map((line) => line.split('|').map((cell) => cell.trim()));
  const column = table[0].indexOf(role);
  return table.slice(2).flatMap((row) => {
    const [, resource] = /^`([a-z_]+)`/.exec(row[1]);
    return (row[column].match(/\b(read|create|change|remove|restore)\b/g) ?? []).map((one) => `${resource}:${one}`);
  });
}

export const PASSWORD = 'seven wet otters';

const unique = () => randomBytes(6).toString('hex');

/** The session's cookie of an answer, as a browser would send it back. */
export const sessionCookie = (answer) =>
  answer.headers
    .getSetCookie()
    .find((one) => one.startsWith('penstock_session='))
    ?.split(';')[0];

/** Signs in; the answer and the cookie. `proof` may hold the code of a second factor. */
export async function signIn(url, username, password, proof = {}) {
  const answer = await new Client(url).post('/v1/sessions', {username, password, ...proof});
  return {answer, cookie: sessionCookie(answer)};
}

export class Clinic {
  /** Needs a running server. */
  static async open(installation, name) {
    const clinic = new Clinic();
    clinic.installation = installation;
    clinic.id = await installation.addClinic(name);
    clinic.name = name;
    clinic.username = `admin-${unique()}`;
    await installation.addAdministrator(clinic.id, clinic.username, PASSWORD);
    const {cookie} = await signIn(installation.url, clinic.username, PASSWORD);
    clinic.administrator = Client.withSession(installation.url, cookie);
    clinic.tokens = {};
    for (const role of ROLES) {
      clinic.tokens[role] = (await clinic.makeToken([role])).token;
    }
    return clinic;
  }

  /** A token with these roles; the document of the API. */
  async makeToken(roles, fields = {}) {
    const scopes = roles.includes('integration') ? {scopes: [...new Set(roles.flatMap(scopesOf))]} : {};
    const name = `a ${roles.join(' and ')}`;
    return (await this.administrator.post('/v1/tokens', {name, roles, ...scopes, ...fields})).json;
  }

  /** A client with the role's token. */
  as(role) {
    return Client.withToken(this.installation.url, this.tokens[role]);
  }

  /** Somebody with the role who has signed in: a client, and `id` of the account. The same one each time. */
  async person(role) {
    this.people ??= {};
    if (!this.people[role]) {
      const user = await this.addUser([role]);
      const {cookie} = await signIn(this.installation.url, user.username, user.password);
      this.people[role] = Object.assign(Client.withSession(this.installation.url, cookie), {id: user.id});
    }
    return this.people[role];
  }

  get room() {
    return this.as('room');
  }

  async addUser(roles, fields = {}) {
    const user = {username: `user-${unique()}`, display_name: 'A user', password: PASSWORD, roles, ...fields};
    const {json, headers} = await this.administrator.post('/v1/users', user);
    return {...user, id: json.id, etag: headers.get('etag')};
  }

  async addDevice(fields = {}) {
    return (await this.administrator.post('/v1/devices', deviceDocument(fields))).json;
  }

  async addVerification(deviceId, fields = {}) {
    return (await this.room.post(`/v1/devices/${deviceId}/verifications`, verificationDocument(fields))).json;
  }

  async addPatient(fields = {}) {
    return (await this.room.post('/v1/patients', patientDocument(fields))).json;
  }

  async addStudy(patientId, fields = {}) {
    return (await this.room.post('/v1/studies', studyDocument(patientId, fields))).json;
  }

  /** A patient and a study of theirs. */
  async addVisit(patient = {}, study = {}) {
    return this.addStudy((await this.addPatient(patient)).id, study);
  }

  /** A physician who signs, with a session that no test ends; the same one each time. */
  async signer() {
    if (!this.signing) {
      const user = await this.addUser(['physician'], {display_name: 'Dr Signer'});
      const {cookie} = await signIn(this.installation.url, user.username, user.password);
      this.signing = Client.withSession(this.installation.url, cookie);
    }
    return this.signing;
  }

  /** Interprets and signs a study; one without recordings gets one. The signature. */
  async sign(studyId) {
    const signer = await this.signer();
    await ensureRecording(signer, studyId);
    await interpret(signer, studyId);
    return (await sign(signer, studyId, {current_password: PASSWORD})).json;
  }

  /** Amends what was signed. */
  async amend(studyId) {
    return (await amend(await this.signer(), studyId, {current_password: PASSWORD})).json;
  }

  /** Signs what the API would not let anybody sign. */
  async signAnyway(where) {
    await signBySql(this.installation.database, where);
  }

  async refer(patientId, referrerId) {
    await this.as('clinician').expect(204, 'POST', `/v1/patients/${patientId}/referrals`, {json: {referrer_id: referrerId}});
  }

  async addRecording(studyId, document, headers = {}) {
    return this.room.post(`/v1/studies/${studyId}/recordings`, document, headers);
  }
}

export function patientDocument(fields = {}) {
  return {
    mrn: `T-${unique()}`,
    family_name: FAMILY_NAME,
    given_name: 'Robin',
    birth_date: '1961-04-30',
    sex: 'male',
    weight_kg: 82,
    ...fields,
  };
}

export function studyDocument(patientId, fields = {}) {
  return {patient_id: patientId, room: 'Room 1', started_at: '2026-03-02T09:00:00+01:00', ...fields};
}

export function deviceDocument(fields = {}) {
  return {kind: 'pressure_transducer', name: 'Transducer A', room: 'Room 1', ...fields};
}

/** A static column upwards, within the limits. */
export function verificationDocument(fields = {}) {
  const unit = 'cm[H2O]';
  return {
    verified_at: '2026-03-02T07:30:00Z',
    verified_by: 'Robin Testcase',
    points: [
      {applied: 0, reading: 0.4, unit},
      {applied: 50, reading: 50.9, unit},
    ],
    ...fields,
  };
}
