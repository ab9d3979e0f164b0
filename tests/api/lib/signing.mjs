// Signing a study as a physician does: an interpretation, then the signature with the password.
import {execute} from './database.mjs';
import {uroflowmetry} from './recordings.mjs';

export const INTERPRETATION = {
  symptoms_reproduced: 'partly',
  findings: [{section: 'uroflow', text: 'The flow is slow.', basis: ['uroflow.qmax']}],
  diagnoses: [{text: 'Outlet obstruction is likely.'}],
  conclusion: 'A slow flow without residual urine.',
  plan: [{text: 'Pressure-flow study.'}],
};

/** Saves an interpretation as the next revision: the answer. */
export async function interpret(client, studyId, document = INTERPRETATION) {
  const target = `/v1/studies/${studyId}/interpretation`;
  return client.put(target, document, (await client.get(target)).headers.get('etag'));
}

const etagOf = async (client, studyId) => (await client.get(`/v1/studies/${studyId}`)).headers.get('etag');

/** The complete recordings with their newest revisions, as who signs says what was read. */
export async function readRecordings(client, studyId) {
  const {json} = await client.get(`/v1/studies/${studyId}/recordings`);
  return json.items.filter(({state}) => state === 'complete').map(({id, revision}) => ({id, revision}));
}

/** Signs what is saved; `proof` as in {current_password}. */
export async function sign(client, studyId, proof, status = 201) {
  const {json} = await client.get(`/v1/studies/${studyId}/interpretation`);
  return client.expect(status, 'POST', `/v1/studies/${studyId}/signature`, {
    json: {interpretation_revision: json.revision || 1, recordings: await readRecordings(client, studyId), ...proof},
    headers: {'if-match': await etagOf(client, studyId)},
  });
}

export async function amend(client, studyId, proof, fields = {}, status = 201) {
  return client.expect(status, 'POST', `/v1/studies/${studyId}/amendments`, {
    json: {reason: 'A finding was overlooked.', interpretation: INTERPRETATION, ...fields, ...proof},
    headers: {'if-match': await etagOf(client, studyId)},
  });
}

/** Gives the study a recording if it has none, since nothing else can be signed. */
export async function ensureRecording(client, studyId) {
  const {json} = await client.get(`/v1/studies/${studyId}`);
  if (json.recording_count === 0) {
    await client.post(`/v1/studies/${studyId}/recordings`, uroflowmetry().document);
  }
}

/** Signs studies without asking the server whether they may be, for what is only true of signed ones: of a
 * study that is signed already it makes an amended one. `where` is about penstock.study s. */
export async function signBySql(database, where) {
  await execute(
    database,
    `create temporary table signing as
       select s.clinic_id, s.id, (select count(*) from penstock.interpretation i where i.study_id = s.id) + 1 as revision,
              (select count(*) from penstock.signature g where g.study_id = s.id) + 1 as number,
              (select a.id from penstock.account a where a.clinic_id = s.clinic_id order by a.id limit 1) as signer
         from penstock.study s where ${where};
     update penstock.study s set status = case t.number when 1 then 'final' else 'amended' end
       from signing t where s.id = t.id;
     insert into penstock.signature (clinic_id, study_id, number, meaning, signed_by, signer_name, signer_role, reason,
                                     interpretation_revision, recordings, software, analysis_version)
       select clinic_id, id, number, case number when 1 then 'final' else 'amended' end, signer, 'A signer',
              'physician', case number when 1 then '' else 'for the sake of a test' end, revision, '[]', 'none', '0'
         from signing;
     insert into penstock.interpretation (clinic_id, study_id, revision, document, recordings)
       select clinic_id, id, revision, '{"findings":[],"diagnoses":[],"conclusion":"As expected.","plan":[]}', '[]'
         from signing;
     insert into penstock.signed_document (clinic_id, study_id, number, kind, media_type, content, sha256, length)
       select clinic_id, id, number, 'report', 'application/pdf', '%PDF-', sha256('%PDF-'), 5 from signing;`,
  );
}
