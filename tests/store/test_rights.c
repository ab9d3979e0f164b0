/* What the database itself refuses to the server's role: tried, statement by statement. */
#include "recording_fixture.h"

#include "store/query.h"
#include "store/store_choices.h"
#include "store/store_chunk.h"
#include "store/store_device.h"
#include "store/store_erasure.h"
#include "store/store_idempotency.h"
#include "store/store_referral.h"
#include "store/store_retention.h"
#include "store/store_second_factor.h"
#include "store/store_study.h"

#include <string.h>

#define INSUFFICIENT_PRIVILEGE "42501"
#define STUDY_SIGNED           "PS001"
#define NEVER_CHANGED          "PS002"

static const char *const tables[] = {"clinic",
                                     "account",
                                     "session",
                                     "api_token",
                                     "patient",
                                     "study",
                                     "recording",
                                     "recording_channel",
                                     "sample_block",
                                     "recording_revision",
                                     "idempotency",
                                     "analysis_choices",
                                     "recording_change",
                                     "recording_chunk",
                                     "retention_rule",
                                     "referral",
                                     "emergency_access",
                                     "former_secret",
                                     "study_link",
                                     "legal_hold",
                                     "erasure_request",
                                     "erased_patient",
                                     "research_subject",
                                     "second_factor",
                                     "recovery_code",
                                     "interpretation",
                                     "signature",
                                     "signed_document",
                                     "device",
                                     "device_place",
                                     "device_verification",
                                     "letter_template",
                                     "letterhead",
                                     "letter",
                                     "letter_batch",
                                     "letter_batch_item",
                                     "letter_dispatch"};

enum { TABLE_COUNT = sizeof tables / sizeof tables[0] };

static const struct analysis_choices nothing_chosen;

static const struct session_origin origin = {
    .address = "192.0.2.7", .user_agent = "a browser", .by_provider = false};

static const unsigned char some_hash[SECRET_HASH_BYTES] = {1, 2, 3};

/* An open recording with a piece. */
static void open_one(struct fixture *fixture, const char *study)
{
    const int64_t at[] = {0, 0};
    const struct new_chunk chunk = {
        .number = 3, .channel_count = 2, .starts = at, .ends = at, .text = "a piece", .length = 7};
    const char *id = NULL;
    bool existed = false;
    bool repeated = false;
    CHECK(fixture,
          recording_open(fixture->store, fixture->arena, study, recording_fixture(fixture, NULL, 0),
                         "opening", &id, &existed, &fixture->error));
    CHECK(fixture, recording_put_chunk(fixture->store, fixture->arena, id, &chunk, &repeated,
                                       &fixture->error));
}

/* A device with a check. */
static void add_device(struct fixture *fixture, const char *clinic_id)
{
    struct device device = {.kind = EQUIPMENT_SCALE, .name = "x", .room = "x", .since_us = 1};
    struct device_verification check = {
        .verified_at_us = 1, .verified_by = "x", .words = "x", .judgement_json = "{}"};
    const char *id = NULL;
    fixture_begin(fixture, clinic_id);
    CHECK(fixture, device_create(fixture->store, fixture->arena, &device, &check.device_id,
                                 &fixture->error));
    CHECK(fixture,
          device_verification_create(fixture->store, fixture->arena, &check, &id, &fixture->error));
    fixture_commit(fixture);
}

/* Rows of every table in both clinics. */
static int set_up(void **state)
{
    if (fixture_setup(state) != 0) {
        return -1;
    }
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct arena *arena = fixture->arena;
    const char *clinics[] = {fixture->clinic_id, fixture->other_clinic_id};
    for (unsigned char i = 0; i < 2; i++) {
        unsigned char hash[SECRET_HASH_BYTES] = {10, i};
        const char *account = NULL;
        enum idempotency_state idempotency = IDEMPOTENCY_REPEATED;
        struct remembered_answer answer = {
            .status = 201, .media_type = "a/b", .body = "x", .body_length = 1};
        fixture_begin(fixture, clinics[i]);
        const char *patient = fixture_patient(fixture, "1");
        const char *study = fixture_study(fixture, patient);
        recording_fixture_store(fixture, study, 10);
        open_one(fixture, study);
        struct emergency_access access;
        struct retention_rule rule = {.keep_years = {true, 10}};
        CHECK(fixture, retention_rule_replace(fixture->store, &rule, error));
        CHECK(fixture, account_create(fixture->store, arena, i == 0 ? "one" : "two", "", "hash",
                                      ROLE_REFERRER | ROLE_PHYSICIAN, &account, error));
        CHECK(fixture, referral_put(fixture->store, patient, account, error));
        fixture_commit(fixture);
        CHECK(fixture, store_begin(fixture->store, clinics[i], account, error));
        CHECK(fixture, emergency_access_take(fixture->store, arena, "1", "1961-04-05",
                                             "unconscious patient", &access, error));
        fixture_commit(fixture);
        fixture_begin(fixture, clinics[i]);
        int64_t expires_at_us = 0;
        CHECK(fixture,
              session_create(fixture->store, account, hash, &origin, 3600, &expires_at_us, error));
        unsigned char codes[RECOVERY_CODE_COUNT][SECRET_HASH_BYTES];
        for (int c = 0; c < RECOVERY_CODE_COUNT; c++) {
            memset(codes[c], c, sizeof codes[c]);
        }
        CHECK(fixture, second_factor_put(fixture->store, account, hash, sizeof hash, error));
        CHECK(fixture, second_factor_put_recovery_codes(fixture->store, account, codes, error));
        (void)fixture_token(fixture, "t", hash, ROLE_ROOM);
        CHECK(fixture, idempotency_claim(fixture->store, arena, account, "key", some_hash,
                                         &idempotency, &answer, error));
        CHECK(fixture, clinic_choices_replace(fixture->store, arena, 0, &nothing_chosen, error));
        CHECK(fixture, idempotency_remember(fixture->store, account, "key", &answer, error));
        const char *erasure = NULL;
        const char *held = fixture_patient(fixture, "2");
        const char *signed_study = fixture_study(fixture, fixture_patient(fixture, "3"));
        CHECK(fixture, legal_hold_place(fixture->store, held, "x", error));
        fixture_commit(fixture);
        CHECK(fixture, store_begin(fixture->store, clinics[i], account, error));
        CHECK(fixture, erasure_create(fixture->store, arena, held, "x", &erasure, error));
        fixture_commit(fixture);
        fixture_set_status(fixture, signed_study, "final");
        fixture_send_letter(fixture, signed_study);
        add_device(fixture, clinics[i]);
        fixture_sql(fixture, arena_printf(arena,
                                          "insert into penstock.erased_patient values"
                                          " ('%s', gen_random_uuid(), gen_random_uuid())",
                                          clinics[i]));
    }
    fixture_sql(fixture,
                "insert into penstock.letter_template (clinic_id, name, language, version, body)"
                " select clinic_id, 'standard', 'en', 1, 'x' from penstock.clinic;"
                "insert into penstock.letterhead (clinic_id, version, name, language)"
                " select clinic_id, 1, 'x', 'en' from penstock.clinic;"
                "insert into penstock.former_secret select clinic_id, sha256(id::text::bytea), id,"
                " now() + interval '1 hour' from penstock.api_token;"
                "insert into penstock.study_link (clinic_id, id, study_id, purpose, prefix,"
                " secret_hash, expires_at) select clinic_id, gen_random_uuid(), id, 'summary',"
                " 'psl_', sha256(id::text::bytea), now() + interval '1 hour' from penstock.study");
    return 0;
}

static const char *sql_for(struct fixture *fixture, const char *format, const char *table)
{
    const char *mark = strchr(format, '@');
    return arena_printf(fixture->arena, "%.*spenstock.%s%s", (int)(mark - format), format, table,
                        mark + 1);
}

static int visible_rows(struct fixture *fixture, PGconn *connection, const char *table,
                        const char *clinic_id)
{
    PGresult *rows = PQexec(
        connection, arena_printf(fixture->arena, "select clinic_id from penstock.%s", table));
    assert_int_equal(PQresultStatus(rows), PGRES_TUPLES_OK);
    int count = PQntuples(rows);
    for (int i = 0; i < count; i++) {
        assert_string_equal(PQgetvalue(rows, i, 0), clinic_id);
    }
    PQclear(rows);
    return count;
}

static void each_clinic_sees_its_own_rows(void **state)
{
    struct fixture *fixture = *state;
    const char *clinics[] = {fixture->clinic_id, fixture->other_clinic_id};
    for (int c = 0; c < 2; c++) {
        PGconn *connection = fixture_app_connection(fixture, clinics[c]);
        for (int t = 0; t < TABLE_COUNT; t++) {
            assert_true(visible_rows(fixture, connection, tables[t], clinics[c]) > 0);
        }
        PQfinish(connection);
    }
}

static void without_a_clinic_nothing_is_seen(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, "");
    PGconn *owner = PQconnectdb(fixture->owner);
    for (int t = 0; t < TABLE_COUNT; t++) {
        assert_int_equal(visible_rows(fixture, connection, tables[t], ""), 0);
        assert_int_equal(visible_rows(fixture, owner, tables[t], ""), 0); /* forced */
    }
    assert_string_equal(fixture_sqlstate(fixture, connection,
                                         "insert into penstock.clinic (clinic_id, name)"
                                         " values (gen_random_uuid(), 'x')"),
                        INSUFFICIENT_PRIVILEGE);
    PQfinish(owner);
    PQfinish(connection);
}

static void rows_of_another_clinic_cannot_be_written(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    const char *const inserts[] = {
        "insert into penstock.patient (clinic_id, id, mrn, family_name, given_name, birth_date, "
        "sex)"
        " values ('%s', gen_random_uuid(), 'x', 'x', 'x', '1990-01-01', 'female')",
        "insert into penstock.session (clinic_id, session_hash, account_id, expires_at)"
        " select '%s', decode(repeat('ab', 32), 'hex'), account_id, expires_at"
        " from penstock.session limit 1",
        "insert into penstock.idempotency (clinic_id, actor_id, key, digest)"
        " select '%s', actor_id, 'other', digest from penstock.idempotency limit 1",
        "insert into penstock.analysis_choices (clinic_id, version, numbers) values ('%s', 2, "
        "'{}')",
        "insert into penstock.recording_revision (clinic_id, recording_id, revision, received_on,"
        " events, analysis) select '%s', recording_id, 2, received_on, '[]', '{}' from "
        "penstock.recording_revision"
        " limit 1",
        "insert into penstock.recording_change (clinic_id, recording_id, version, change)"
        " select '%s', recording_id, 9, 'opened' from penstock.recording_change limit 1",
        "insert into penstock.recording_chunk (clinic_id, recording_id, number, received_on,"
        " arrival, digest, starts, ends, event_total) select '%s', recording_id, 9, received_on, 9,"
        " digest, starts, ends, 0 from penstock.recording_chunk limit 1",
        "insert into penstock.sample_block (clinic_id, recording_id, channel_number, level,"
        " block_number, received_on, sample_count, checksum, data) select '%s', recording_id, 0,"
        " 0, 9, received_on, 1, 1, '' from penstock.sample_block limit 1",
        "insert into penstock.retention_rule (clinic_id, version, keep_years) values ('%s', 2, 1)",
        "insert into penstock.study_link (clinic_id, id, study_id, purpose, prefix, secret_hash,"
        " expires_at) select '%s', gen_random_uuid(), study_id, 'summary', 'x', sha256('x'),"
        " expires_at from penstock.study_link limit 1",
        "insert into penstock.device (clinic_id, id, kind, name)"
        " values ('%s', gen_random_uuid(), 'scale', 'x')",
        "insert into penstock.device_place (clinic_id, device_id, number, from_at, room, in_use)"
        " select '%s', device_id, 2, now(), 'x', true from penstock.device_place limit 1",
        "insert into penstock.device_verification (clinic_id, id, device_id, verified_at,"
        " verified_by, verdict, words, judgement) select '%s', gen_random_uuid(), device_id, now(),"
        " 'x', 'passed', '', '{}' from penstock.device_verification limit 1",
    };
    for (size_t i = 0; i < sizeof inserts / sizeof inserts[0]; i++) {
        const char *mark = strstr(inserts[i], "%s");
        const char *sql = arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - inserts[i]),
                                       inserts[i], fixture->other_clinic_id, mark + 2);
        assert_string_equal(fixture_sqlstate(fixture, connection, sql), INSUFFICIENT_PRIVILEGE);
    }
    assert_string_equal(
        fixture_sqlstate(fixture, connection, "update penstock.study set version = version"),
        "00000");
    PGresult *result = PQexec(connection, arena_printf(fixture->arena,
                                                       "update penstock.study set version = 99"
                                                       " where clinic_id = '%s'",
                                                       fixture->other_clinic_id));
    assert_string_equal(PQcmdTuples(result), "0");
    PQclear(result);
    PQfinish(connection);
}

static void app_role_cannot_change_the_schema(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const for_each_table[] = {
        "alter table @ add column x integer",
        "drop table @",
        "truncate @",
        "alter table @ disable row level security",
        "create policy everything on @ using (true)",
        "create index on @ (clinic_id)",
        "comment on table @ is 'x'",
    };
    for (int t = 0; t < TABLE_COUNT; t++) {
        for (size_t i = 0; i < sizeof for_each_table / sizeof for_each_table[0]; i++) {
            assert_string_equal(fixture_sqlstate(fixture, connection,
                                                 sql_for(fixture, for_each_table[i], tables[t])),
                                INSUFFICIENT_PRIVILEGE);
        }
    }
    static const char *const others[] = {
        "create table penstock.x (y integer)",
        "create table public.x (y integer)",
        "create temporary table x (y integer)",
        "create schema x",
        "create function penstock.x() returns int language sql as 'select 1'",
        "alter function penstock.unix_us(timestamptz) volatile",
        "drop trigger no_delete on penstock.patient",
        "drop function penstock.session_principal(bytea, boolean)",
        "alter function penstock.refuse_removal() owner to penstock_app",
        "drop schema penstock cascade",
        "create role x",
        "set session_replication_role = replica",
        "insert into penstock.schema_migration values (5000, 'x', 'x')",
        "update penstock.schema_migration set sha256 = 'x'",
        "delete from penstock.schema_migration",
    };
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, connection, others[i]),
                            INSUFFICIENT_PRIVILEGE);
    }
    PQfinish(connection);
}

static void app_role_cannot_delete_what_is_clinical(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    for (int t = 0; t < TABLE_COUNT; t++) {
        bool may = strstr(" session idempotency second_factor recovery_code ",
                          arena_printf(fixture->arena, " %s ", tables[t])) != NULL;
        const char *state_got =
            fixture_sqlstate(fixture, connection,
                             arena_printf(fixture->arena, "begin; %s",
                                          sql_for(fixture, "delete from @", tables[t])));
        assert_string_equal(state_got, may ? "00000" : INSUFFICIENT_PRIVILEGE);
        assert_string_equal(fixture_sqlstate(fixture, connection, "rollback"), "00000");
    }
    static const char *const updates[] = {
        "update penstock.sample_block set data = ''",
        "update penstock.recording_channel set scale = 2",
        "update penstock.recording_revision set analysis = ''",
        "update penstock.recording_revision set analysis_version = '9'",
        "update penstock.analysis_choices set numbers = '{}'",
        "update penstock.recording set opening = '{}'",
        "update penstock.recording_change set reason = ''",
        "update penstock.recording_chunk set digest = digest",
        "update penstock.retention_rule set keep_years = 1",
        "select from penstock.sample_block_rest",
        "select from penstock.recording_revision_rest",
        "select from penstock.recording_chunk_rest",
        "select penstock.make_partitions(2100)",
        "update penstock.study set patient_id = patient_id",
        "update penstock.patient set id = id",
        "update penstock.account set username = 'x'",
        "update penstock.session set expires_at = now() + interval '1 year'",
        "update penstock.api_token set expires_at = now() + interval '1 year'",
        "update penstock.clinic set name = 'x'",
        "select password_hash from penstock.account",
        "select token_hash from penstock.api_token",
        "select token_hash from penstock.former_secret",
        "update penstock.former_secret set expires_at = now() + interval '1 year'",
        "select secret_hash from penstock.study_link",
        "update penstock.study_link set expires_at = now() + interval '1 year'",
        "update penstock.interpretation set document = '{}'",
        "update penstock.signature set reason = ''",
        "update penstock.signed_document set content = ''",
        "update penstock.letter_dispatch set recipient = ''",
        "update penstock.letter set remarks = ''",
        "update penstock.letter_template set body = ''",
        "update penstock.letterhead set name = 'x'",
        "update penstock.letter_batch set way = 'post'",
        "update penstock.letter_batch_item set place = 2",
        "insert into penstock.letter_dispatch (sent_at) values (now())",
        "insert into penstock.signature (signed_at) values (now())",
        "insert into penstock.interpretation (created_at) values (now())",
        "select from penstock.link_miss",
        "select from penstock.attempt",
        "insert into penstock.attempt values (decode(repeat('ab', 32), 'hex'), 0, now())",
        "delete from penstock.attempt",
        "select from penstock.known_browser",
        "delete from penstock.known_browser",
        "update penstock.recovery_code set code_hash = code_hash",
        "update penstock.session set id = id",
        "update penstock.device set kind = kind",
        "update penstock.device_place set room = room",
        "update penstock.device_verification set verdict = 'passed'",
    };
    for (size_t i = 0; i < sizeof updates / sizeof updates[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, connection, updates[i]),
                            INSUFFICIENT_PRIVILEGE);
    }
    PQfinish(connection);
}

/* What migration 7 granted, and the columns beside it that it did not. Every statement is tried for
 * itself; row-level security lets each see one clinic's rows. */
static const struct attempt {
    const char *sql;
    const char *state;
} newest_grants[] = {
    /* a state may change, in its own way only */
    {"update penstock.recording set state = 'withdrawn', version = version + 1", "00000"},
    {"update penstock.recording set state = 'withdrawn'", NEVER_CHANGED},
    {"update penstock.recording set state = 'withdrawn', version = version + 2", NEVER_CHANGED},
    {"update penstock.recording set state = 'withdrawn', version = version + 1,"
     " revision = revision + 1",
     NEVER_CHANGED},
    {"update penstock.recording set state = 'open', version = version + 1"
     " where state = 'complete'",
     NEVER_CHANGED},
    {"update penstock.recording set state = 'complete', version = version + 1"
     " where state = 'open'",
     NEVER_CHANGED},
    {"update penstock.recording set state = 'complete', version = version + 1, revision = 1,"
     " conditions = '{}', duration_s = 3 where state = 'open'",
     "00000"},
    {"update penstock.recording set revision = 1, version = version + 1 where state = 'open'",
     NEVER_CHANGED},
    {"update penstock.recording set revision = revision + 1, version = version + 1"
     " where state = 'complete'",
     "00000"},
    {"update penstock.recording set conditions = '{}', version = version + 1", NEVER_CHANGED},
    {"update penstock.recording set duration_s = 3, version = version + 1", NEVER_CHANGED},
    {"update penstock.recording set has_overview = false", INSUFFICIENT_PRIVILEGE},
    {"update penstock.recording set received_at = now()", INSUFFICIENT_PRIVILEGE},
    {"update penstock.recording set study_id = study_id", INSUFFICIENT_PRIVILEGE},
    {"update penstock.recording set opening = 'x'", INSUFFICIENT_PRIVILEGE},
    /* parts have the date of their recording and are of a recording */
    {"insert into penstock.sample_block select clinic_id, recording_id, 0, 0, 9, received_on, "
     "1,"
     " 1, '' from penstock.sample_block limit 1",
     "00000"},
    {"insert into penstock.sample_block select clinic_id, recording_id, 0, 0, 9,"
     " received_on + 1, 1, 1, '' from penstock.sample_block limit 1",
     "23503"},
    {"insert into penstock.sample_block select clinic_id, gen_random_uuid(), 0, 0, 9,"
     " received_on, 1, 1, '' from penstock.sample_block limit 1",
     "23503"},
    {"insert into penstock.sample_block select * from penstock.sample_block limit 1", "23505"},
    {"insert into penstock.recording_revision select clinic_id, recording_id, 2, received_on,"
     " '[]', '{}' from penstock.recording_revision limit 1",
     "00000"},
    {"insert into penstock.recording_revision select clinic_id, recording_id, 1,"
     " received_on + 1, '[]', '{}' from penstock.recording_revision limit 1",
     NEVER_CHANGED},
    {"insert into penstock.recording_revision select clinic_id, gen_random_uuid(), 1,"
     " received_on, '[]', '{}' from penstock.recording_revision limit 1",
     INSUFFICIENT_PRIVILEGE},
    {"insert into penstock.recording_revision select clinic_id, id, 1, received_on, '[]', '{}'"
     " from penstock.recording where state = 'open'",
     NEVER_CHANGED},
    {"insert into penstock.recording_change (clinic_id, recording_id, version, change)"
     " select clinic_id, id, 9, 'withdrawn' from penstock.recording",
     "00000"},
    {"insert into penstock.recording_change (clinic_id, recording_id, version, change)"
     " select clinic_id, gen_random_uuid(), 9, 'withdrawn' from penstock.recording",
     "23503"},
    {"update penstock.recording_change set reason = 'x'", INSUFFICIENT_PRIVILEGE},
    {"insert into penstock.retention_rule (clinic_id, version, keep_years)"
     " select clinic_id, version + 1, 1 from penstock.retention_rule",
     "00000"},
    {"insert into penstock.retention_rule (clinic_id, version, keep_years)"
     " select clinic_id, version, 1 from penstock.retention_rule",
     "23505"},
    {"update penstock.retention_rule set keep_years = 1", INSUFFICIENT_PRIVILEGE},
    /* of a piece only its content goes, once the recording is complete */
    {"insert into penstock.recording_chunk select clinic_id, recording_id, 9, received_on, 9,"
     " digest, starts, ends, 0 from penstock.recording_chunk",
     "00000"},
    {"insert into penstock.recording_chunk select clinic_id, id, 9, received_on, 9, sha256(''),"
     " '{}', '{}', 0 from penstock.recording where state = 'complete'",
     NEVER_CHANGED},
    {"update penstock.recording_chunk set data = null", NEVER_CHANGED},
    {"update penstock.recording_chunk set data = 'x'", NEVER_CHANGED},
    {"update penstock.recording set state = 'complete', version = version + 1, revision = 1"
     " where state = 'open'; update penstock.recording_chunk set data = null",
     "00000"},
    {"update penstock.recording_chunk set number = 1", INSUFFICIENT_PRIVILEGE},
    {"update penstock.recording_chunk set starts = '{}'", INSUFFICIENT_PRIVILEGE},
    {"select penstock.retention_is_over(clinic_id, id) from penstock.study", "00000"},
    {"select penstock.guard_partition('a', 'b', 'c')", INSUFFICIENT_PRIVILEGE},
};

static void newest_grants_reach_as_far_as_needed(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    for (size_t i = 0; i < sizeof newest_grants / sizeof newest_grants[0]; i++) {
        const struct attempt *attempt = &newest_grants[i];
        const char *got = fixture_sqlstate(fixture, connection,
                                           arena_printf(fixture->arena, "begin; %s", attempt->sql));
        assert_string_equal(fixture_sqlstate(fixture, connection, "rollback"), "00000");
        if (strcmp(got, attempt->state) != 0) {
            fail_msg("%s: %s instead of %s", attempt->sql, got, attempt->state);
        }
    }
    PQfinish(connection);
}

/* Even the superuser has to disable a trigger first. */
static void nobody_deletes_or_rewrites_by_mistake(void **state)
{
    struct fixture *fixture = *state;
    static const char *const refused[] = {
        "delete from penstock.patient",
        "delete from penstock.study",
        "delete from penstock.recording",
        "delete from penstock.recording_channel",
        "delete from penstock.sample_block",
        "delete from penstock.recording_revision",
        "delete from penstock.analysis_choices",
        "truncate penstock.analysis_choices",
        "update penstock.analysis_choices set numbers = '{}'",
        "update penstock.recording_revision set analysis_version = '9'",
        "truncate penstock.patient cascade",
        "truncate penstock.sample_block",
        "truncate penstock.recording_revision",
        "update penstock.sample_block set data = ''",
        "update penstock.recording_channel set scale = 2",
        "update penstock.recording_revision set analysis = ''",
        "update penstock.recording set conditions = '{}'",
        "update penstock.recording set revision = revision + 2",
        "update penstock.recording set has_overview = has_overview",
        "delete from penstock.recording_change",
        "truncate penstock.recording_change",
        "update penstock.recording_change set reason = 'x'",
        "delete from penstock.recording_chunk",
        "truncate penstock.recording_chunk",
        "update penstock.recording_chunk set number = 7",
        "delete from penstock.retention_rule",
        "truncate penstock.retention_rule",
        "update penstock.retention_rule set keep_years = 1",
    };
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, fixture->admin, refused[i]), NEVER_CHANGED);
    }
}

static void signed_studies_stay(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    const char *study = fixture_study(fixture, fixture_patient(fixture, "to be signed"));
    const char *recording = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const refused[] = {
        "update penstock.study set room = 'x' where id = $s",
        "update penstock.study set history = '{\"a\":1}' where id = $s",
        "update penstock.study set status = 'preliminary' where id = $s",
        "update penstock.study set status = 'registered' where id = $s",
        "update penstock.study set status = 'cancelled' where id = $s",
        "update penstock.recording set revision = 2 where id = $r",
        "insert into penstock.recording_revision (clinic_id, recording_id, revision, received_on,"
        " events, analysis) select clinic_id, id, 2, received_on, '[]', '{}'"
        " from penstock.recording where id = $r",
        "update penstock.recording set state = 'withdrawn', version = 2 where id = $r",
        "insert into penstock.sample_block (clinic_id, recording_id, channel_number, level,"
        " block_number, received_on, sample_count, checksum, data)"
        " select clinic_id, id, 0, 0, 9, received_on, 1, 1, '' from penstock.recording"
        " where id = $r",
        "insert into penstock.recording_channel select clinic_id, recording_id, 9, 'pvag', unit,"
        " rate_hz, start_s, encoding, decimals, scale, value_offset, sample_count, missing_count"
        " from penstock.recording_channel where recording_id = $r and number = 0",
        "insert into penstock.recording select clinic_id, gen_random_uuid(), study_id, type,"
        " started_at, received_at, conditions, duration_s, 1, created_by from penstock.recording"
        " where id = $r",
    };
    static const char *const signatures[] = {"final", "amended"};
    for (int s = 0; s < 2; s++) {
        fixture_set_status(fixture, study, signatures[s]);
        for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
            const char *mark = strchr(refused[i], '$');
            const char *sql =
                arena_printf(fixture->arena, "%.*s'%s'%s", (int)(mark - refused[i]), refused[i],
                             mark[1] == 's' ? study : recording, mark + 2);
            assert_string_equal(fixture_sqlstate(fixture, connection, sql), STUDY_SIGNED);
            assert_string_equal(fixture_sqlstate(fixture, fixture->admin, sql), STUDY_SIGNED);
        }
    }
    assert_string_equal(
        fixture_sqlstate(fixture, connection,
                         arena_printf(fixture->arena,
                                      "update penstock.study set status = 'final' where id = '%s'",
                                      study)),
        STUDY_SIGNED);
    PQfinish(connection);
}

/* The functions for sign-in reveal what was asked for and leave no door open. */
static void look_ups_leave_nothing_behind(void **state)
{
    struct fixture *fixture = *state;
    PGconn *connection = fixture_app_connection(fixture, "");
    assert_string_equal(fixture_sqlstate(fixture, connection, "begin"), "00000");
    PGresult *rows = PQexec(connection, "select name from penstock.account_for_sign_in('ONE')");
    assert_int_equal(PQntuples(rows), 1);
    assert_string_equal(PQgetvalue(rows, 0, 0), "one");
    PQclear(rows);
    rows = PQexec(connection, "select name from penstock.session_principal(decode('0a00' ||"
                              " repeat('00', 30), 'hex'))");
    assert_int_equal(PQntuples(rows), 1);
    PQclear(rows);
    rows = PQexec(connection, "select current_setting('penstock.clinic', true) ||"
                              " coalesce(current_setting('penstock.lookup', true), '')");
    assert_string_equal(PQgetvalue(rows, 0, 0), "");
    PQclear(rows);
    for (int t = 0; t < TABLE_COUNT; t++) {
        assert_int_equal(visible_rows(fixture, connection, tables[t], ""), 0);
    }
    /* The setting that opens a row to the owner's functions opens nothing to others. */
    assert_string_equal(
        fixture_sqlstate(fixture, connection, "select set_config('penstock.lookup', 'one', true)"),
        "00000");
    assert_int_equal(visible_rows(fixture, connection, "account", ""), 0);
    PQfinish(connection);

    PGconn *stranger = PQconnectdb(fixture->superuser);
    fixture_sql(fixture, "drop role if exists penstock_test_stranger");
    fixture_sql(fixture, "create role penstock_test_stranger");
    assert_string_equal(fixture_sqlstate(fixture, stranger, "set role penstock_test_stranger"),
                        "00000");
    assert_string_equal(
        fixture_sqlstate(fixture, stranger, "select * from penstock.account_for_sign_in('one')"),
        INSUFFICIENT_PRIVILEGE);
    PQfinish(stranger);
    fixture_sql(fixture, "drop role penstock_test_stranger");
}

static const char *role_of(struct fixture *fixture, const char *conninfo)
{
    struct store *store = store_new(conninfo);
    static const struct statement who = {.name = "who", .sql = "select current_user"};
    struct query query;
    query_start_alone(&query, &who);
    struct rows rows;
    CHECK(fixture, query_run(store, &query, &rows, &fixture->error));
    const char *role = rows_text(&rows, fixture->arena, 0, 0);
    rows_clear(&rows);
    store_free(store);
    return role;
}

static void privileged_logins_give_their_rights_up(void **state)
{
    struct fixture *fixture = *state;
    assert_string_equal(role_of(fixture, fixture->superuser), "penstock_app");
    assert_string_equal(role_of(fixture, fixture->owner), "penstock_app");
    fixture_sql(fixture, "drop role if exists penstock_test_login");
    fixture_sql(fixture, "create role penstock_test_login in role penstock_app");
    const char *login = fixture_conninfo(fixture, "penstock_test_login");
    const char *kept = role_of(fixture, login);
    fixture_sql(fixture, "alter role penstock_test_login noinherit");
    const char *changed = role_of(fixture, login);
    fixture_sql(fixture, "drop role penstock_test_login");
    assert_string_equal(kept, "penstock_test_login"); /* has the rights of the app, and no more */
    assert_string_equal(changed, "penstock_app");
}

static void harmful_app_role_is_refused(void **state)
{
    struct fixture *fixture = *state;
    static const char *const harms[][2] = {
        {"grant create on schema penstock to penstock_app",
         "revoke create on schema penstock from penstock_app"},
        {"grant create on database %s to penstock_app",
         "revoke create on database %s from penstock_app"},
        {"alter role penstock_app bypassrls", "alter role penstock_app nobypassrls"},
    };
    for (size_t i = 0; i < sizeof harms / sizeof harms[0]; i++) {
        const char *sql[2];
        for (int j = 0; j < 2; j++) {
            const char *mark = strstr(harms[i][j], "%s");
            sql[j] = mark == NULL
                         ? harms[i][j]
                         : arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - harms[i][j]),
                                        harms[i][j], fixture->database, mark + 2);
        }
        struct store *store = store_new(fixture->superuser);
        fixture_sql(fixture, sql[0]);
        bool ready = store_ready(store, &fixture->error);
        fixture_sql(fixture, sql[1]);
        assert_false(ready);
        assert_int_equal(fixture->error.kind, ERROR_INTERNAL);
        assert_non_null(strstr(fixture->error.detail, "row-level security"));
        CHECK(fixture, store_ready(store, &fixture->error));
        store_free(store);
    }
}

int main(void)
{
#define RIGHTS_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        RIGHTS_TEST(each_clinic_sees_its_own_rows),
        RIGHTS_TEST(without_a_clinic_nothing_is_seen),
        RIGHTS_TEST(rows_of_another_clinic_cannot_be_written),
        RIGHTS_TEST(app_role_cannot_change_the_schema),
        RIGHTS_TEST(app_role_cannot_delete_what_is_clinical),
        RIGHTS_TEST(newest_grants_reach_as_far_as_needed),
        RIGHTS_TEST(nobody_deletes_or_rewrites_by_mistake),
        RIGHTS_TEST(signed_studies_stay),
        RIGHTS_TEST(look_ups_leave_nothing_behind),
        RIGHTS_TEST(privileged_logins_give_their_rights_up),
        RIGHTS_TEST(harmful_app_role_is_refused),
    };
    return cmocka_run_group_tests_name("store: rights", tests, set_up, fixture_teardown);
}
