// A study that is signed by rows of the database alone: whatever words, signer and file a test wants.
import {execute} from './database.mjs';

const quoted = (text) => `'${String(text).replaceAll("'", "''")}'`;

/** Adds the next signature of a study, with its interpretation and the file that was signed, and sets the
 * study's status. */
export async function signWith(database, studyId, {interpretation, signer = 'Dr Robin Marsh', reason = '', report}) {
  const study = quoted(studyId);
  const number = `(select coalesce(max(number), 0) from penstock.signature where study_id = ${study})`;
  const revision = `(select coalesce(max(revision), 0) from penstock.interpretation where study_id = ${study})`;
  const insertInterpretation = (which) => `
    insert into penstock.interpretation (clinic_id, study_id, revision, document, recordings)
    select s.clinic_id, s.id, ${which}, ${quoted(JSON.stringify(interpretation))}, '[]'
      from penstock.study s where s.id = ${study};`;
  const insertSignature = (which) => `
    insert into penstock.signature (clinic_id, study_id, number, meaning, signed_by, signer_name, signer_role,
        reason, interpretation_revision, recordings, software, analysis_version)
    select s.clinic_id, s.id, ${number} + 1, ${quoted(reason === '' ? 'final' : 'amended')},
           (select a.id from penstock.account a where a.clinic_id = s.clinic_id order by a.id limit 1),
           ${quoted(signer)}, 'physician', ${quoted(reason)}, ${which}, '[]', 'penstock 0.1.0', '1'
      from penstock.study s where s.id = ${study};`;
  const hex = Buffer.from(report).toString('hex');
  await execute(
    database,
    `begin;
     ${
       reason === ''
         ? insertInterpretation(`${revision} + 1`) + insertSignature(revision)
         : insertSignature(`${revision} + 1`) + insertInterpretation(`${revision} + 1`)
     }
     update penstock.study set version = version + 1, status = ${quoted(reason === '' ? 'final' : 'amended')}
      where id = ${study};
     insert into penstock.signed_document (clinic_id, study_id, number, kind, media_type, content, sha256, length)
     select s.clinic_id, s.id, ${number}, 'report', 'application/pdf', c.bytes, sha256(c.bytes), octet_length(c.bytes)
       from penstock.study s, (select decode('${hex}', 'hex') as bytes) c where s.id = ${study};
     commit;`,
  );
}
