#include "store/store_verify.h"

#include "base/uuid.h"
#include "formats/packed_text.h"
#include "store/connection.h"
#include "store/store_samples.h"
#include "store/store_verify_blocks.h"

#include <jansson.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CHECKSUM_BYTES = 32,
    PAGE = 500, /* ids of one SELECT */
    LENGTH_BYTES = 8
};

_Static_assert(VERIFY_CHECKSUM_TEXT_SIZE == 2 * CHECKSUM_BYTES + 1, "hexadecimal");
_Static_assert(VERIFY_CHECKSUM_FORMAT == 2, "named in the prefix");
static const char prefix[] = "penstock recording checksum 2\n";

/* Everything as text but bytes, so that libpq's binary form, in which bytes are half as long, is
 * the text that is serialised. */
enum verify_statement {
    VERIFY_CLINIC,
    VERIFY_PAGE,
    VERIFY_RECORDING,
    VERIFY_CHANNELS,
    VERIFY_BLOCKS,
    VERIFY_REVISIONS,
    VERIFY_CHANGES,
    VERIFY_PIECES,
    VERIFY_INTERPRETATIONS,
    VERIFY_SIGNATURES,
    VERIFY_DOCUMENTS,
    VERIFY_LETTERS,
    VERIFY_SENT_LETTERS,
    VERIFY_STATEMENT_COUNT
};

#define SEE_CLINIC                                                                                 \
    "select set_config('penstock.clinic', $1, true), set_config('penstock.reach', 'clinic', true)"

#define OF_RECORDING " where clinic_id = $1::uuid and recording_id = $2::uuid"

/* Of the study of a recording. */
#define OF_STUDY                                                                                   \
    " where clinic_id = $1::uuid and study_id = (select r.study_id from penstock.recording r"      \
    " where r.clinic_id = $1::uuid and r.id = $2::uuid)"

static const struct statement statements[] = {
    [VERIFY_CLINIC] = {.name = "verify_clinic",
                       .sql =
                           "select clinic_id::text from penstock.clinic where clinic_id = $1::uuid"
                           " and $2::text is null"},
    [VERIFY_PAGE] = {.name = "verify_page",
                     .sql =
                         "select r.id::text from penstock.recording r where r.clinic_id = $1::uuid"
                         " and ($2::uuid is null or r.id > $2) order by r.id limit 500"},
    [VERIFY_RECORDING] = {.name = "verify_recording",
                          .sql = "select clinic_id::text, id::text, study_id::text, type,"
                                 " started_at::text, received_at::text, conditions::text,"
                                 " duration_s::text, revision::text, created_by::text,"
                                 " received_on::text, state, opening, version::text,"
                                 " has_overview::text from penstock.recording"
                                 " where clinic_id = $1::uuid and id = $2::uuid"},
    [VERIFY_CHANNELS] = {.name = "verify_channels",
                         .sql = "select number::text, signal, unit, rate_hz::text, start_s::text,"
                                " encoding, decimals::text, scale::text, value_offset::text,"
                                " sample_count::text, missing_count::text, recording_id::text"
                                " from penstock.recording_channel" OF_RECORDING
                                " order by recording_channel.number"},
    [VERIFY_BLOCKS] = {.name = "verify_blocks",
                       .sql = "select b.channel_number::text, b.level::text, b.block_number::text,"
                              " b.received_on::text, b.sample_count::text, b.checksum::text, b.data"
                              " from penstock.sample_block b" OF_RECORDING
                              " order by b.channel_number, b.level, b.block_number,"
                              " b.received_on"},
    [VERIFY_REVISIONS] = {.name = "verify_revisions",
                          .sql = "select v.revision::text, v.received_on::text, v.events::text,"
                                 " v.analysis, v.created_at::text, v.created_by::text,"
                                 " v.analysis_version, v.reason"
                                 " from penstock.recording_revision v" OF_RECORDING
                                 " order by v.revision, v.received_on"},
    [VERIFY_CHANGES] = {.name = "verify_changes",
                        .sql = "select s.version::text, s.change, s.reason, s.created_at::text,"
                               " s.created_by::text from penstock.recording_change s" OF_RECORDING
                               " order by s.version"},
    [VERIFY_PIECES] = {.name = "verify_pieces",
                       .sql =
                           "select p.number::text, p.arrival::text, p.received_on::text,"
                           " p.digest, p.starts::text, p.ends::text, p.event_total::text, p.data,"
                           " p.received_at::text, p.created_by::text"
                           " from penstock.recording_chunk p" OF_RECORDING
                           " order by p.arrival, p.number, p.received_on"},
    [VERIFY_INTERPRETATIONS] =
        {.name = "verify_interpretations",
         .sql = "select i.revision::text, i.document::text, i.recordings::text,"
                " i.created_at::text, i.created_by::text from penstock.interpretation i" OF_STUDY
                " order by i.revision"},
    [VERIFY_SIGNATURES] = {.name = "verify_signatures",
                           .sql =
                               "select g.number::text, g.meaning, g.signed_at::text,"
                               " g.signed_by::text, g.signer_name, g.signer_role, g.reason,"
                               " g.interpretation_revision::text, g.recordings::text, g.software,"
                               " g.analysis_version from penstock.signature g" OF_STUDY
                               " order by g.number"},
    [VERIFY_DOCUMENTS] = {.name = "verify_documents",
                          .sql = "select d.number::text, d.kind, d.media_type, d.content,"
                                 " d.sha256, d.length::text, d.detached_signature"
                                 " from penstock.signed_document d" OF_STUDY
                                 " order by d.number, d.kind"},
    [VERIFY_LETTERS] = {.name = "verify_letters",
                        .sql = "select l.version::text, l.template_name, l.language,"
                               " l.addressee_name, l.addressee_salutation,"
                               " l.addressee_address::text, l.referrer_id::text, l.copies::text,"
                               " l.question, l.remarks, l.created_at::text, l.created_by::text"
                               " from penstock.letter l" OF_STUDY " order by l.version"},
    [VERIFY_SENT_LETTERS] =
        {.name = "verify_sent_letters",
         .sql = "select d.id::text, d.signature_number::text, d.letter_version::text,"
                " d.template_name, d.language, d.template_version::text, d.way, d.recipient,"
                " d.referrer_id::text, d.repetition::text, d.sent_at::text, d.sent_by::text,"
                " d.batch_id::text, d.html, d.plain, d.pdf, d.sha256"
                " from penstock.letter_dispatch d" OF_STUDY " order by d.id"},
};

_Static_assert(PAGE == 500, "stands in VERIFY_PAGE");

struct verification {
    PGconn *connection;
    struct sample_codec *codec;
    const struct verify_listener *listener;
    struct verify_counts counts;
    const char *clinic_id;
    const char *recording_id;
    crypto_generichash_state *hash; /* its alignment is more than a stack may have */
};

/* What is known of the recording that is being read. */
struct recording_check {
    struct verification *work;
    struct arena *arena;
    bool found;
    bool is_open;
    struct recording_row row;
    struct block_check blocks;
    int last; /* number of the newest revision, version of the newest change, or newest arrival */
};

/* ---- telling ---- */

static void tell_block(void *context, int channel, int level, int64_t block, const char *detail)
{
    struct verification *work = context;
    const struct verify_damage damage = {.clinic_id = work->clinic_id,
                                         .recording_id = work->recording_id,
                                         .has_block = true,
                                         .channel = channel,
                                         .level = level,
                                         .block = block,
                                         .detail = detail};
    work->counts.damages++;
    work->listener->take_damage(work->listener->context, &damage);
}

static void tell(struct verification *work, const char *detail)
{
    const struct verify_damage damage = {
        .clinic_id = work->clinic_id, .recording_id = work->recording_id, .detail = detail};
    work->counts.damages++;
    work->listener->take_damage(work->listener->context, &damage);
}

/* ---- the database ---- */

/* Messages about damage name relations and places, never values. */
static bool connection_error(const PGconn *connection, const char *what, struct error *reterr)
{
    const char *message = PQerrorMessage(connection);
    return error_set(reterr, ERROR_UNAVAILABLE, "%s: %.*s", what, (int)strcspn(message, "\n"),
                     message);
}

static bool run(PGconn *connection, const char *sql, struct error *reterr)
{
    PGresult *result = PQexec(connection, sql);
    bool good = connection_succeeded(result);
    PQclear(result);
    return good || connection_error(connection, "read the recordings", reterr);
}

static bool run_with(PGconn *connection, const char *sql, const char *value, struct error *reterr)
{
    PGresult *result = PQexecParams(connection, sql, 1, NULL, &value, NULL, NULL, 0);
    bool good = connection_succeeded(result);
    PQclear(result);
    return good || connection_error(connection, "read the recordings", reterr);
}

/* Corrupted data, values that cannot be, files that are not there or cannot be read. */
static bool means_damage(const char *state)
{
    return state != NULL && (strncmp(state, "XX", 2) == 0 || strncmp(state, "22", 2) == 0 ||
                             strncmp(state, "58", 2) == 0);
}

typedef void (*row_reader)(void *context, const struct rows *row);

/* Runs a statement of the clinic and of `id`, and gives its rows one by one as they arrive.
 * ERROR_INTERNAL: the database could not read them, but is still there. */
static bool each_row(struct verification *work, enum verify_statement statement, const char *id,
                     row_reader take, void *context, struct error *reterr)
{
    const char *const values[] = {work->clinic_id, id};
    if (PQsendQueryPrepared(work->connection, statements[statement].name, 2, values, NULL, NULL,
                            1) != 1 ||
        PQsetSingleRowMode(work->connection) != 1) {
        return connection_error(work->connection, statements[statement].name, reterr);
    }
    bool good = true;
    for (PGresult *result = PQgetResult(work->connection); result != NULL;
         result = PQgetResult(work->connection)) {
        ExecStatusType status = PQresultStatus(result);
        if (status == PGRES_SINGLE_TUPLE) {
            const struct rows row = {.result = result, .count = 1};
            take(context, &row);
        } else if (status != PGRES_TUPLES_OK) {
            const char *state = PQresultErrorField(result, PG_DIAG_SQLSTATE);
            const char *message = PQresultErrorField(result, PG_DIAG_MESSAGE_PRIMARY);
            good = error_set(reterr, means_damage(state) ? ERROR_INTERNAL : ERROR_UNAVAILABLE,
                             "%s: SQLSTATE %s, %s", statements[statement].name,
                             state != NULL ? state : "none",
                             message != NULL ? message : "the connection was lost");
        }
        PQclear(result);
    }
    return good;
}

/* ---- serialising ---- */

static void hash_length(crypto_generichash_state *hash, uint64_t length)
{
    unsigned char bytes[LENGTH_BYTES];
    for (size_t i = 0; i < LENGTH_BYTES; i++) {
        bytes[i] = (unsigned char)(length >> (8 * i));
    }
    (void)crypto_generichash_update(hash, bytes, sizeof bytes);
}

static void hash_row(crypto_generichash_state *hash, char letter, const struct rows *row)
{
    (void)crypto_generichash_update(hash, (const unsigned char *)&letter, 1);
    for (int column = 0; column < PQnfields(row->result); column++) {
        if (PQgetisnull(row->result, 0, column) != 0) {
            hash_length(hash, UINT64_MAX);
            continue;
        }
        size_t length = 0;
        const uint8_t *bytes = rows_bytes(row, 0, column, &length);
        hash_length(hash, length);
        (void)crypto_generichash_update(hash, bytes, length);
    }
}

/* ---- a recording ---- */

static void take_header(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    hash_row(check->work->hash, 'R', row);
    check->found = true;
    check->row = (struct recording_row){
        .id = rows_text(row, check->arena, 0, 1),
        .revision = rows_int(row, 0, 8),
        .received_on = rows_text(row, check->arena, 0, 10),
        .version = rows_int(row, 0, 13),
        .has_overview = rows_bool(row, 0, 14),
    };
    check->is_open =
        strcmp(rows_text(row, check->arena, 0, 11), recording_state_name(RECORDING_OPEN)) == 0;
}

static void take_channel(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    struct recording_row one = {.id = check->row.id};
    struct error error = {0};
    hash_row(check->work->hash, 'C', row);
    if (!samples_channels_read(row, check->arena, &one, &error)) {
        tell(check->work, error.detail);
        return;
    }
    if ((size_t)one.channels[0].number != check->row.channel_count ||
        check->row.channel_count >= LIMIT_CHANNELS) {
        tell(check->work, "the channels are not numbered from 0 without gaps");
        return;
    }
    check->row.channels[check->row.channel_count++] = one.channels[0];
}

static void take_block(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    hash_row(check->work->hash, 'B', row);
    check->work->counts.blocks++;
    block_check_take(&check->blocks, row);
}

static bool is_json(const struct rows *row, int column, json_type type)
{
    size_t length = 0;
    const uint8_t *text = rows_bytes(row, 0, column, &length);
    json_t *value = json_loadb((const char *)text, length, 0, NULL);
    bool good = value != NULL && json_typeof(value) == type;
    json_decref(value);
    return good;
}

static void check_date(const struct recording_check *check, const struct rows *row, int column,
                       const char *what)
{
    if (strcmp(PQgetvalue(row->result, 0, column), check->row.received_on) != 0) {
        tell(check->work, what);
    }
}

static void take_revision(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    char detail[BLOCK_DETAIL_SIZE];
    int revision = rows_int(row, 0, 0);
    hash_row(check->work->hash, 'V', row);
    check->work->counts.revisions++;
    if (revision != check->last + 1) {
        (void)snprintf(detail, sizeof detail, "revision %d comes behind revision %d", revision,
                       check->last);
        tell(check->work, detail);
    }
    check->last = revision;
    check_date(check, row, 1, "revision under another date than its recording");
    if (!is_json(row, 2, JSON_ARRAY)) {
        (void)snprintf(detail, sizeof detail, "the events of revision %d are no list", revision);
        tell(check->work, detail);
    }
    if (!is_json(row, 3, JSON_OBJECT)) {
        (void)snprintf(detail, sizeof detail, "the analysis of revision %d is no JSON object",
                       revision);
        tell(check->work, detail);
    }
}

static void take_change(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    hash_row(check->work->hash, 'S', row);
    check->last = rows_int(row, 0, 0);
}

/* Whether the content of a piece unpacks to what its digest says. */
static bool piece_is_whole(const struct rows *row)
{
    struct arena *arena = arena_new();
    struct error error = {0};
    size_t packed_length = 0;
    size_t digest_length = 0;
    size_t length = 0;
    const char *text = NULL;
    const uint8_t *digest = rows_bytes(row, 0, 3, &digest_length);
    const uint8_t *packed = rows_bytes(row, 0, 7, &packed_length);
    unsigned char actual[CHECKSUM_BYTES];
    bool good =
        packed_text_read(arena, packed, packed_length, LIMIT_BODY_BYTES, &text, &length, &error) &&
        digest_length == sizeof actual &&
        crypto_generichash(actual, sizeof actual, (const unsigned char *)text, length, NULL, 0) ==
            0 &&
        memcmp(actual, digest, sizeof actual) == 0;
    arena_free(arena);
    return good;
}

static void take_piece(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    char detail[BLOCK_DETAIL_SIZE];
    int number = rows_int(row, 0, 0);
    int arrival = rows_int(row, 0, 1);
    bool empty = PQgetisnull(row->result, 0, 7) != 0;
    hash_row(check->work->hash, 'P', row);
    check->work->counts.pieces++;
    check_date(check, row, 2, "piece under another date than its recording");
    if (arrival != check->last + 1) {
        (void)snprintf(detail, sizeof detail, "piece %d: arrival %d comes behind arrival %d",
                       number, arrival, check->last);
        tell(check->work, detail);
    }
    check->last = arrival;
    if (empty != (check->row.revision > 0)) {
        (void)snprintf(detail, sizeof detail, "piece %d %s", number,
                       empty ? "has no content, though the recording was never completed"
                             : "has content, though the recording was completed");
        tell(check->work, detail);
    } else if (!empty && !piece_is_whole(row)) {
        (void)snprintf(detail, sizeof detail, "piece %d does not unpack to what was sent", number);
        tell(check->work, detail);
    }
}

static bool read_revisions(struct recording_check *check, struct error *reterr)
{
    check->last = 0;
    if (!each_row(check->work, VERIFY_REVISIONS, check->row.id, take_revision, check, reterr)) {
        return false;
    }
    if (check->last != check->row.revision || (check->is_open && check->last != 0)) {
        char detail[BLOCK_DETAIL_SIZE];
        (void)snprintf(detail, sizeof detail, "its newest revision is %d, not %d", check->last,
                       check->row.revision);
        tell(check->work, detail);
    }
    return true;
}

static bool read_changes(struct recording_check *check, struct error *reterr)
{
    check->last = 0;
    if (!each_row(check->work, VERIFY_CHANGES, check->row.id, take_change, check, reterr)) {
        return false;
    }
    if (check->last > check->row.version) {
        tell(check->work, "a change of its state is newer than the recording");
    }
    return true;
}

static bool read_pieces(struct recording_check *check, struct error *reterr)
{
    check->last = 0;
    return each_row(check->work, VERIFY_PIECES, check->row.id, take_piece, check, reterr);
}

static void take_interpretation(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    hash_row(check->work->hash, 'I', row);
}

static void take_signature(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    hash_row(check->work->hash, 'G', row);
}

/* Whether the column `content` of a row still is what the column `hash` was made of. */
static bool is_whole(const struct rows *row, int content, int hash)
{
    unsigned char actual[crypto_hash_sha256_BYTES];
    size_t length = 0;
    size_t kept_length = 0;
    const uint8_t *bytes = rows_bytes(row, 0, content, &length);
    const uint8_t *kept = rows_bytes(row, 0, hash, &kept_length);
    (void)crypto_hash_sha256(actual, bytes, length);
    return kept_length == sizeof actual && memcmp(kept, actual, sizeof actual) == 0;
}

static void take_document(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    char detail[BLOCK_DETAIL_SIZE];
    hash_row(check->work->hash, 'D', row);
    if (!is_whole(row, 3, 4)) {
        (void)snprintf(detail, sizeof detail,
                       "the report of signature %d of its study is not the one that was signed",
                       rows_int(row, 0, 0));
        tell(check->work, detail);
    }
}

static void take_letter(void *context, const struct rows *row)
{
    struct recording_check *check = context;
    hash_row(check->work->hash, 'L', row);
}

static void take_sent_letter(void *context, const struct rows *row)
{
    enum { PDF_COLUMN = 15, HASH_COLUMN = 16 };

    struct recording_check *check = context;
    hash_row(check->work->hash, 'T', row);
    if (!is_whole(row, PDF_COLUMN, HASH_COLUMN)) {
        tell(check->work, "a letter of its study is not the one that was sent");
    }
}

/* What was made of its study: the same for each recording of it. */
static bool read_signatures(struct recording_check *check, struct error *reterr)
{
    const char *id = check->row.id;
    return each_row(check->work, VERIFY_INTERPRETATIONS, id, take_interpretation, check, reterr) &&
           each_row(check->work, VERIFY_SIGNATURES, id, take_signature, check, reterr) &&
           each_row(check->work, VERIFY_DOCUMENTS, id, take_document, check, reterr);
}

static bool read_letters(struct recording_check *check, struct error *reterr)
{
    const char *id = check->row.id;
    return each_row(check->work, VERIFY_LETTERS, id, take_letter, check, reterr) &&
           each_row(check->work, VERIFY_SENT_LETTERS, id, take_sent_letter, check, reterr);
}

/* Every part, in the order of the serialisation. */
static bool read_parts(struct recording_check *check, struct error *reterr)
{
    struct verification *work = check->work;
    const char *id = work->recording_id;
    if (!each_row(work, VERIFY_RECORDING, id, take_header, check, reterr)) {
        return false;
    }
    if (!check->found) {
        return error_set(reterr, ERROR_INTERNAL, "the recording is in the index, but not there");
    }
    check->row.channels = arena_array(check->arena, LIMIT_CHANNELS, sizeof *check->row.channels);
    if (!each_row(work, VERIFY_CHANNELS, id, take_channel, check, reterr)) {
        return false;
    }
    block_check_begin(&check->blocks, &check->row, work->codec, tell_block, work);
    if (!each_row(work, VERIFY_BLOCKS, id, take_block, check, reterr)) {
        return false;
    }
    block_check_end(&check->blocks);
    return read_revisions(check, reterr) && read_changes(check, reterr) &&
           read_pieces(check, reterr) && read_signatures(check, reterr) &&
           read_letters(check, reterr);
}

/* What the database itself cannot read (a torn page, a lost row of a large value) is damage too;
 * the savepoint lets the run go on behind it. */
static bool verify_recording(struct verification *work, const char *id, struct error *reterr)
{
    if (!run(work->connection, "savepoint recording", reterr)) {
        return false;
    }
    struct arena *arena = arena_new();
    struct recording_check *check = arena_alloc(arena, sizeof *check);
    *check = (struct recording_check){.work = work, .arena = arena};
    struct error error = {0};
    work->recording_id = id;
    work->counts.recordings++;
    (void)crypto_generichash_init(work->hash, NULL, 0, CHECKSUM_BYTES);
    (void)crypto_generichash_update(work->hash, (const unsigned char *)prefix, sizeof prefix - 1);
    bool whole = read_parts(check, &error);
    arena_free(arena);
    if (!whole && error.kind != ERROR_INTERNAL) {
        *reterr = error;
        return false;
    }
    char checksum[VERIFY_CHECKSUM_TEXT_SIZE];
    unsigned char bytes[CHECKSUM_BYTES];
    (void)crypto_generichash_final(work->hash, bytes, sizeof bytes);
    (void)sodium_bin2hex(checksum, sizeof checksum, bytes, sizeof bytes);
    if (!whole) {
        tell(work, error.detail);
    }
    return run(work->connection,
               whole ? "release savepoint recording" : "rollback to savepoint recording", reterr) &&
           work->listener->take_recording(work->listener->context, work->clinic_id, id,
                                          whole ? checksum : NULL, reterr);
}

/* ---- a clinic ---- */

struct id_list {
    size_t count;
    char ids[PAGE][UUID_TEXT_SIZE];
};

static void take_id(void *context, const struct rows *row)
{
    struct id_list *list = context;
    if (list->count < PAGE) {
        (void)snprintf(list->ids[list->count++], UUID_TEXT_SIZE, "%s",
                       PQgetvalue(row->result, 0, 0));
    }
}

static bool verify_clinic(struct verification *work, const char *clinic_id, struct error *reterr)
{
    char after[UUID_TEXT_SIZE] = "";
    work->clinic_id = clinic_id;
    work->counts.clinics++;
    if (!run_with(work->connection, SEE_CLINIC, clinic_id, reterr)) {
        return false;
    }
    struct id_list list;
    bool good = true;
    do {
        list.count = 0;
        good = each_row(work, VERIFY_PAGE, after[0] == '\0' ? NULL : after, take_id, &list, reterr);
        for (size_t i = 0; good && i < list.count; i++) {
            good = verify_recording(work, list.ids[i], reterr);
        }
        if (list.count > 0) {
            memcpy(after, list.ids[list.count - 1], sizeof after);
        }
    } while (good && list.count == PAGE);
    return good;
}

/* ---- all of them ---- */

/* One row at least: may this role see all; and a clinic, or null when there is none. */
static const char clinics_sql[] =
    "select pg_has_role(current_user, n.nspowner, 'USAGE') or r.rolsuper or r.rolbypassrls,"
    " c.clinic_id from pg_catalog.pg_namespace n"
    " join pg_catalog.pg_roles r on r.rolname = current_user"
    " left join penstock.clinic c on true where n.nspname = 'penstock' order by c.clinic_id";

static bool verify_every_clinic(struct verification *work, struct error *reterr)
{
    if (!run(work->connection, "select set_config('penstock.lookup', 'every clinic', true)",
             reterr)) {
        return false;
    }
    PGresult *clinics = PQexec(work->connection, clinics_sql);
    bool good = PQresultStatus(clinics) == PGRES_TUPLES_OK;
    if (!good) {
        good = connection_error(work->connection, "list the clinics", reterr);
    } else if (PQntuples(clinics) == 0) {
        good = error_set(reterr, ERROR_INVALID, "the database has no schema penstock");
    } else if (strcmp(PQgetvalue(clinics, 0, 0), "t") != 0) {
        good = error_set(reterr, ERROR_INVALID,
                         "only the owner of the schema may see every clinic: set "
                         "PENSTOCK_OWNER_DATABASE, or name one clinic");
    }
    for (int i = 0; good && i < PQntuples(clinics); i++) {
        good = PQgetisnull(clinics, i, 1) != 0 ||
               verify_clinic(work, PQgetvalue(clinics, i, 1), reterr);
    }
    PQclear(clinics);
    return good;
}

static bool verify_one_clinic(struct verification *work, const char *clinic_id,
                              struct error *reterr)
{
    struct id_list list = {.count = 0};
    work->clinic_id = clinic_id;
    if (!run_with(work->connection, SEE_CLINIC, clinic_id, reterr) ||
        !each_row(work, VERIFY_CLINIC, NULL, take_id, &list, reterr)) {
        return false;
    }
    return list.count == 1 ? verify_clinic(work, clinic_id, reterr)
                           : error_set(reterr, ERROR_NOT_FOUND, "no such clinic");
}

static const char session_sql[] =
    "select pg_catalog.set_config('search_path', 'pg_catalog, pg_temp', false),"
    " pg_catalog.set_config('statement_timeout', '0', false),"
    " pg_catalog.set_config('idle_in_transaction_session_timeout', '0', false),"
    " pg_catalog.set_config('TimeZone', 'UTC', false),"
    " pg_catalog.set_config('DateStyle', 'ISO, YMD', false),"
    " pg_catalog.set_config('extra_float_digits', '1', false)";

static bool begin(PGconn *connection, const char *snapshot, struct error *reterr)
{
    if (!run(connection, session_sql, reterr)) {
        return false;
    }
    if (!run(connection, "begin isolation level repeatable read read only", reterr)) {
        return false;
    }
    if (snapshot == NULL) {
        return true;
    }
    char sql[128];
    if (snapshot[0] == '\0' || strspn(snapshot, "0123456789ABCDEFabcdef-") != strlen(snapshot) ||
        (size_t)snprintf(sql, sizeof sql, "set transaction snapshot '%s'", snapshot) >=
            sizeof sql) {
        return error_set(reterr, ERROR_INVALID, "that is no name of a snapshot");
    }
    return run(connection, sql, reterr);
}

/* After the snapshot is taken: what the statements mean is found out within it. */
static bool prepare(PGconn *connection, struct error *reterr)
{
    for (size_t i = 0; i < VERIFY_STATEMENT_COUNT; i++) {
        PGresult *result = PQprepare(connection, statements[i].name, statements[i].sql, 0, NULL);
        bool good = connection_succeeded(result);
        PQclear(result);
        if (!good) {
            return connection_error(connection, statements[i].name, reterr);
        }
    }
    return true;
}

static bool verify(struct verification *work, const struct verify_options *options,
                   struct error *reterr)
{
    if (PQstatus(work->connection) != CONNECTION_OK) {
        return connection_error(work->connection, "connect to the database", reterr);
    }
    return begin(work->connection, options->snapshot, reterr) &&
           prepare(work->connection, reterr) &&
           (options->clinic_id == NULL ? verify_every_clinic(work, reterr)
                                       : verify_one_clinic(work, options->clinic_id, reterr));
}

bool verify_run(const struct verify_options *options, const struct verify_listener *listener,
                struct verify_counts *ret_counts, struct error *reterr)
{
    static const char *const keywords[] = {"connect_timeout", "application_name", "dbname",
                                           "client_encoding", NULL};
    const char *const values[] = {"5", "penstock-verify", options->conninfo, "UTF8", NULL};
    struct verification work = {
        .listener = listener,
        .codec = sample_codec_new(),
        .hash = aligned_alloc(_Alignof(crypto_generichash_state), crypto_generichash_statebytes()),
    };
    bool good = work.codec != NULL && work.hash != NULL;
    if (good) {
        work.connection = PQconnectdbParams(keywords, values, 1);
        good = verify(&work, options, reterr);
        PQfinish(work.connection);
    } else {
        good = error_set(reterr, ERROR_UNAVAILABLE, "no memory to read samples");
    }
    sample_codec_free(work.codec);
    free(work.hash);
    *ret_counts = work.counts;
    return good;
}
