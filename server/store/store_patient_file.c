#include "store/store_patient_file.h"

#include "store/query.h"

enum file_statement {
    FILE_SIZE,
    FILE_PATIENT,
    FILE_STUDIES,
    FILE_RECORDINGS,
    FILE_STATEMENT_COUNT
};

/* The recordings of the patient $2. */
#define RECORDINGS_OF_PATIENT                                                                      \
    " penstock.study s join penstock.recording r"                                                  \
    " on r.clinic_id = s.clinic_id and r.study_id = s.id"                                          \
    " where s.clinic_id = $1 and s.patient_id = $2"

#define ACTOR(table, column) "penstock.actor(" table ".clinic_id, " table "." column ")"

/* What was made of a study s, and what was signed. The reports themselves are files beside. */
#define SIGNED_OF_STUDY                                                                            \
    "'interpretations', coalesce((select json_agg(json_build_object('revision', i.revision,"       \
    " 'created_at', i.created_at, 'created_by', " ACTOR(                                           \
        "i", "created_by") ", 'interpretation', i.document) order by i.revision)"                  \
                           " from penstock.interpretation i where i.clinic_id = s.clinic_id"       \
                           " and i.study_id = s.id), '[]'),"                                       \
                           " 'signatures', coalesce((select json_agg(json_build_object("           \
                           "'number', g.number, 'meaning', g.meaning, 'signed_at', g.signed_at,"   \
                           " 'signed_by', g.signed_by, 'signer_name', g.signer_name,"              \
                           " 'role', g.signer_role, 'reason', g.reason,"                           \
                           " 'interpretation_revision', g.interpretation_revision,"                \
                           " 'recordings', g.recordings, 'software', g.software,"                  \
                           " 'analysis_version', g.analysis_version,"                              \
                           " 'report', '/v1/studies/' || s.id || '/signatures/' || g.number"       \
                           " || '/report', 'report_sha256', (select encode(d.sha256, 'hex')"       \
                           " from penstock.signed_document d where d.clinic_id = g.clinic_id"      \
                           " and d.study_id = g.study_id and d.number = g.number"                  \
                           " and d.kind = 'report')) order by g.number) from penstock.signature g" \
                           " where g.clinic_id = s.clinic_id and g.study_id = s.id), '[]')"

/* Letters about a study s, and those that were sent. The files themselves stand beside. */
#define LETTERS_OF_STUDY                                                                           \
    "'letters', coalesce((select json_agg(json_build_object('version', l.version,"                 \
    " 'template', l.template_name, 'language', l.language, 'addressee', l.addressee_name,"         \
    " 'salutation', l.addressee_salutation, 'address', l.addressee_address,"                       \
    " 'copies', l.copies, 'question', l.question, 'remarks', l.remarks,"                           \
    " 'created_at', l.created_at, 'created_by', " ACTOR(                                           \
        "l", "created_by") ") order by l.version)"                                                 \
                           " from penstock.letter l where l.clinic_id = s.clinic_id"               \
                           " and l.study_id = s.id), '[]'),"                                       \
                           " 'letter_dispatches', coalesce((select json_agg(json_build_object("    \
                           "'id', d.id, 'signature_number', d.signature_number, 'way', d.way,"     \
                           " 'recipient', d.recipient, 'sent_at', d.sent_at, 'sent_by', " ACTOR(   \
                               "d", "sent_by") ", 'text', d.plain,"                                \
                                               " 'file', '/v1/letter-dispatches/' || d.id,"        \
                                               " 'sha256', encode(d.sha256, 'hex'))"               \
                                               " order by d.sent_at, d.id)"                        \
                                               " from penstock.letter_dispatch d"                  \
                                               " where d.clinic_id = s.clinic_id"                  \
                                               " and d.study_id = s.id), '[]')"

static const struct statement statements[] = {
    [FILE_SIZE] =
        {.name = "file_size",
         .sql =
             "select (select coalesce(sum(octet_length(v.analysis)"
             " + octet_length(v.events::text)), 0) from penstock.recording_revision v"
             " where v.clinic_id = $1 and v.recording_id in (select r.id from" RECORDINGS_OF_PATIENT
             "))"
             " + (select coalesce(sum(octet_length(r.opening)), 0) from" RECORDINGS_OF_PATIENT
             ") + (select coalesce(sum(octet_length(s.history::text)"
             " + octet_length(s.catheters)), 0)"
             " from penstock.study s where s.clinic_id = $1 and s.patient_id = $2)"
             " + (select coalesce(sum(octet_length(d.plain)), 0) from penstock.letter_dispatch d"
             " join penstock.study s on s.clinic_id = d.clinic_id and s.id = d.study_id"
             " where d.clinic_id = $1 and s.patient_id = $2)"
             " + (select coalesce(sum(octet_length(i.document::text)), 0)"
             " from penstock.interpretation i join penstock.study s on s.clinic_id = i.clinic_id"
             " and s.id = i.study_id where s.clinic_id = $1 and s.patient_id = $2),"
             " (select coalesce(sum(c.sample_count), 0) from penstock.recording_channel c"
             " where c.clinic_id = $1 and c.recording_id in (select r.id from" RECORDINGS_OF_PATIENT
             "))"
             " from penstock.patient p where p.clinic_id = $1 and p.id = $2"},
    [FILE_PATIENT] =
        {.name = "file_patient",
         .sql =
             "select json_build_object('patient', json_build_object("
             "'id', p.id, 'mrn', p.mrn, 'family_name', p.family_name,"
             " 'given_name', p.given_name, 'birth_date', p.birth_date, 'sex', p.sex,"
             " 'weight_kg', p.weight_kg, 'version', p.version, 'created_at', p.created_at,"
             " 'created_by', " ACTOR(
                 "p",
                 "created_by") "),"
                               " 'referrals', coalesce((select json_agg(json_build_object("
                               "'referrer', " ACTOR(
                                   "f",
                                   "referrer_id") ", 'created_at', f.created_at,"
                                                  " 'created_by', " ACTOR(
                                                      "f",
                                                      "created_by") ", 'ended_at', f.ended_at)"
                                                                    " order by f.created_at, "
                                                                    "f.referrer_id) from "
                                                                    "penstock.referral f"
                                                                    " where f.clinic_id = $1 and "
                                                                    "f.patient_id = $2), '[]'),"
                                                                    " 'emergency_accesses', "
                                                                    "coalesce((select "
                                                                    "json_agg(json_build_object("
                                                                    "'id', e.id, 'account', " ACTOR(
                                                                        "e",
                                                                        "account_id") ", 'reason', "
                                                                                      "e.reason,"
                                                                                      " 'created_"
                                                                                      "at', "
                                                                                      "e.created_"
                                                                                      "at, "
                                                                                      "'expires_at'"
                                                                                      ", "
                                                                                      "e.expires_"
                                                                                      "at)"
                                                                                      " order by "
                                                                                      "e.created_"
                                                                                      "at, e.id) "
                                                                                      "from "
                                                                                      "penstock."
                                                                                      "emergency_"
                                                                                      "access e"
                                                                                      " where "
                                                                                      "e.clinic_id "
                                                                                      "= $1 and "
                                                                                      "e.patient_"
                                                                                      "id = $2), "
                                                                                      "'[]'),"
                                                                                      " 'legal_"
                                                                                      "holds', "
                                                                                      "coalesce(("
                                                                                      "select "
                                                                                      "json_agg("
                                                                                      "json_build_"
                                                                                      "object("
                                                                                      "'id', h.id, "
                                                                                      "'reason', "
                                                                                      "h.reason, "
                                                                                      "'placed_at',"
                                                                                      " h.placed_"
                                                                                      "at,"
                                                                                      " 'placed_by'"
                                                                                      ", " ACTOR(
                                                                                          "h",
                                                                                          "placed_"
                                                                                          "by") ", "
                                                                                                "'l"
                                                                                                "if"
                                                                                                "te"
                                                                                                "d_"
                                                                                                "at"
                                                                                                "',"
                                                                                                " h"
                                                                                                ".l"
                                                                                                "if"
                                                                                                "te"
                                                                                                "d_"
                                                                                                "at"
                                                                                                ","
                                                                                                " '"
                                                                                                "li"
                                                                                                "ft"
                                                                                                "ed"
                                                                                                "_b"
                                                                                                "y'"
                                                                                                ","
                                                                                                " " ACTOR(
                                                                                                    "h",
                                                                                                    "lifted_by") ", 'lift_reason', h.lift_reason)"
                                                                                                                 " order by h.placed_at, h.id) from penstock.legal_hold h"
                                                                                                                 " where h.clinic_id = $1 and h.patient_id = $2), '[]'),"
                                                                                                                 " 'erasure_requests', coalesce((select json_agg(json_build_object("
                                                                                                                 "'id', q.id, 'state', q.state, 'reason', q.reason,"
                                                                                                                 " 'requested_at', q.requested_at, 'requested_by', " ACTOR("q", "requested_by") ", 'decided_at', q.decided_at, 'decided_by', " ACTOR(
                                                                                                                     "q",
                                                                                                                     "decided_by") ", 'decision_reason', q.decision_reason,"
                                                                                                                                   " 'despite_retention', q.despite_retention, 'ended_at', q.ended_at,"
                                                                                                                                   " 'ended_by', " ACTOR(
                                                                                                                                       "q",
                                                                                                                                       "ended_by") ") order by q.requested_at, q.id)"
                                                                                                                                                   " from penstock.erasure_request q"
                                                                                                                                                   " where q.clinic_id = $1 and q.patient_id = $2), '[]'),"
                                                                                                                                                   " 'research', (select json_build_object('has_pseudonym', true)"
                                                                                                                                                   " from penstock.research_subject x"
                                                                                                                                                   " where x.clinic_id = $1 and x.patient_id = $2))"
                                                                                                                                                   " from penstock.patient p where p.clinic_id = $1 and p.id = $2"},
    [FILE_STUDIES] =
        {.name = "file_studies",
         .sql =
             "select s.id, json_build_object('id', s.id, 'room', s.room,"
             " 'started_at', s.started_at, 'operator', s.operator_name,"
             " 'position', s.position, 'catheters', s.catheters, 'history', s.history,"
             " 'status', s.status, 'version', s.version, 'created_at', s.created_at,"
             " 'created_by', " ACTOR(
                 "s",
                 "created_by") ", 'links', coalesce((select json_agg(json_build_object('id', l.id,"
                               " 'purpose', l.purpose, 'label', l.label, 'created_at', "
                               "l.created_at,"
                               " 'created_by', " ACTOR(
                                   "l",
                                   "created_by") ", 'expires_at', l.expires_at,"
                                                 " 'revoked_at', l.revoked_at, 'read_count', "
                                                 "l.read_count,"
                                                 " 'last_read_at', l.last_read_at) order by "
                                                 "l.created_at, l.id)"
                                                 " from penstock.study_link l where "
                                                 "l.clinic_id = s.clinic_id"
                                                 " and l.study_id = s.id), '[]'), " SIGNED_OF_STUDY
                                                 ", " LETTERS_OF_STUDY ") from "
                                                 "penstock.study s"
                                                 " where s.clinic_id = $1 and s.patient_id = "
                                                 "$2 order by s.started_at, s.id"},
    [FILE_RECORDINGS] =
        {.name = "file_recordings",
         .sql =
             "select r.id, r.study_id, json_build_object('id', r.id, 'type', r.type,"
             " 'state', r.state, 'started_at', r.started_at, 'received_at', r.received_at,"
             " 'created_by', " ACTOR(
                 "r",
                 "created_by") ", 'duration_s', r.duration_s,"
                               " 'conditions', r.conditions, 'opening', r.opening::json,"
                               " 'version', r.version, 'revision', r.revision,"
                               " 'channels', coalesce((select json_agg(json_build_object('signal', "
                               "c.signal,"
                               " 'unit', c.unit, 'rate_hz', c.rate_hz, 'start_s', c.start_s,"
                               " 'encoding', c.encoding, 'sample_count', c.sample_count,"
                               " 'missing', c.missing_count) order by c.number)"
                               " from penstock.recording_channel c where c.clinic_id = r.clinic_id"
                               " and c.recording_id = r.id), '[]'),"
                               " 'pieces', coalesce((select json_agg(json_build_object('number', "
                               "k.number,"
                               " 'received_at', k.received_at, 'created_by', " ACTOR(
                                   "k",
                                   "created_by") ") order by k.arrival) from "
                                                 "penstock.recording_chunk k"
                                                 " where k.clinic_id = r.clinic_id and "
                                                 "k.recording_id = r.id), '[]'),"
                                                 " 'changes', coalesce((select "
                                                 "json_agg(json_build_object('version', g.version,"
                                                 " 'change', g.change, 'reason', g.reason, "
                                                 "'created_at', g.created_at,"
                                                 " 'created_by', " ACTOR(
                                                     "g",
                                                     "created_by") ") order by g.version)"
                                                                   " from "
                                                                   "penstock.recording_change g "
                                                                   "where g.clinic_id = r.clinic_id"
                                                                   " and g.recording_id = r.id), "
                                                                   "'[]'),"
                                                                   " 'revisions', coalesce((select "
                                                                   "json_agg(json_build_object("
                                                                   "'revision', v.revision, "
                                                                   "'created_at', v.created_at,"
                                                                   " 'created_by', " ACTOR(
                                                                       "v",
                                                                       "created_by") ", 'reason', "
                                                                                     "v.reason,"
                                                                                     " 'analysis_"
                                                                                     "version', "
                                                                                     "v.analysis_"
                                                                                     "version, "
                                                                                     "'events', "
                                                                                     "v.events,"
                                                                                     " 'analysis', "
                                                                                     "v.analysis::"
                                                                                     "json) order "
                                                                                     "by "
                                                                                     "v.revision)"
                                                                                     " from "
                                                                                     "penstock."
                                                                                     "recording_"
                                                                                     "revision v "
                                                                                     "where "
                                                                                     "v.clinic_id "
                                                                                     "= r.clinic_id"
                                                                                     " and "
                                                                                     "v.recording_"
                                                                                     "id = r.id), "
                                                                                     "'[]')) "
                                                                                     "fro"
                                                                                     "m" RECORDINGS_OF_PATIENT
                                                                                     " order by "
                                                                                     "r.started_at,"
                                                                                     " r.id"},
};

const struct statement_table store_patient_file_statements = {statements, FILE_STATEMENT_COUNT};

bool patient_file_size(struct store *store, const char *patient_id,
                       struct patient_file_size *ret_size, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[FILE_SIZE]);
    query_id(&query, patient_id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "measure a patient's file");
    }
    bool found = rows.count == 1;
    if (found) {
        *ret_size = (struct patient_file_size){.bytes = rows_int64(&rows, 0, 0),
                                               .samples = rows_int64(&rows, 0, 1)};
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}

static void read_studies(const struct rows *rows, struct arena *arena, struct patient_file *file)
{
    file->study_count = (size_t)rows->count;
    file->studies = arena_array(arena, file->study_count, sizeof *file->studies);
    for (int i = 0; i < rows->count; i++) {
        file->studies[i] = (struct patient_file_study){.id = rows_text(rows, arena, i, 0),
                                                       .json = rows_text(rows, arena, i, 1)};
    }
}

static void read_recordings(const struct rows *rows, struct arena *arena, struct patient_file *file)
{
    file->recording_count = (size_t)rows->count;
    file->recordings = arena_array(arena, file->recording_count, sizeof *file->recordings);
    for (int i = 0; i < rows->count; i++) {
        file->recordings[i] =
            (struct patient_file_recording){.id = rows_text(rows, arena, i, 0),
                                            .study_id = rows_text(rows, arena, i, 1),
                                            .json = rows_text(rows, arena, i, 2)};
    }
}

bool patient_file_load(struct store *store, struct arena *arena, const char *patient_id,
                       struct patient_file *ret_file, struct error *reterr)
{
    struct query parts[3];
    struct query *const queries[] = {&parts[0], &parts[1], &parts[2]};
    for (int i = 0; i < 3; i++) {
        query_start(&parts[i], store, &statements[FILE_PATIENT + i]);
        query_id(&parts[i], patient_id);
    }
    struct rows rows[3];
    if (!query_run_all(store, queries, 3, rows, reterr)) {
        return error_context(reterr, "load a patient's file");
    }
    bool found = rows[0].count == 1;
    *ret_file = (struct patient_file){.json = found ? rows_text(&rows[0], arena, 0, 0) : NULL};
    read_studies(&rows[1], arena, ret_file);
    read_recordings(&rows[2], arena, ret_file);
    for (int i = 0; i < 3; i++) {
        rows_clear(&rows[i]);
    }
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such patient");
}
