// An invented clinic with an administrator and a token for each role, made through the public ways.
import {randomBytes} from 'node:crypto';
import {Client} from './client.mjs';
import {FAMILY_NAME} from './installation.mjs';

export const ROLES = ['room', 'clinician', 'physician', 'referrer', 'integration', 'auditor', 'administrator'];

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
      const {json} = await clinic.administrator.post('/v1/tokens', {name: `a ${role}`, roles: [role]});
      clinic.tokens[role] = json.token;
    }
    return clinic;
  }

  /** A client with the role's token. */
  as(role) {
    return Client.withToken(this.installation.url, this.tokens[role]);
  }

  get room() {
    return this.as('room');
  }

  async addUser(roles, fields = {}) {
    const user = {username: `user-${unique()}`, display_name: 'A user', password: PASSWORD, roles, ...fields};
    const {json, headers} = await this.administrator.post('/v1/users', user);
    return {...user, id: json.id, etag: headers.get('etag')};
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
