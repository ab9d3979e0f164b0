/* A database in use at version 6 becomes one of today's, with everything in it; and partitions. */
#include "recording_fixture.h"

#include "base/embedded.h"
#include "formats/sample_block.h"
#include "store/migrate.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { OLD_VERSION = 6, SAMPLES = 9000, CLINICS = 2, STUDIES = 2 };

/* ---- a database of before ---- */

static void run_or_fail(PGconn *connection, const char *sql)
{
    PGresult *result = PQexec(connection, sql);
    ExecStatusType status = PQresultStatus(result);
    PQclear(result);
    if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
        fail_msg("%s", PQerrorMessage(connection));
    }
}

static void note_applied(PGconn *connection, const struct embedded_file *file)
{
    const char *const values[] = {file->name, (const char *)file->data};
    PGresult *result =
        PQexecParams(connection,
                     "insert into penstock.schema_migration (version, name, sha256) values"
                     " (left($1, 4)::integer, $1,"
                     " encode(sha256(convert_to($2, 'UTF8')), 'hex'))",
                     2, NULL, values, NULL, NULL, 0);
    assert_int_equal(PQresultStatus(result), PGRES_COMMAND_OK);
    PQclear(result);
}

/* As the owner, who is no superuser, would have come there. */
static void make_old_database(struct fixture *fixture)
{
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "do $$ begin create role penstock_app nologin;"
                             " exception when duplicate_object or unique_violation then null;"
                             " end $$; grant penstock_app to %s",
                             fixture->owner_role));
    PGconn *owner = PQconnectdb(fixture->owner);
    run_or_fail(owner, "set search_path = pg_catalog, pg_temp;"
                       " create schema penstock;"
                       " create table penstock.schema_migration (version integer primary key,"
                       " name text not null, sha256 text not null,"
                       " applied_at timestamptz not null default now());"
                       " comment on table penstock.schema_migration is 'x'");
    for (const struct embedded_file *file = migration_files; file->name != NULL; file++) {
        if (strtol(file->name, NULL, 10) <= OLD_VERSION) {
            run_or_fail(owner, (const char *)file->data);
            note_applied(owner, file);
        }
    }
    PQfinish(owner);
}

static struct samples old_samples(struct arena *arena)
{
    int16_t *codes = arena_array(arena, SAMPLES, sizeof *codes);
    struct samples samples = {
        .encoding = SAMPLES_INT16, .scale = 0.1, .count = SAMPLES, .codes = codes};
    for (size_t i = 0; i < SAMPLES; i++) {
        codes[i] = i % 100 == 3 ? INT16_MIN : (int16_t)((i * 13) % 700);
        samples.missing += i % 100 == 3 ? 1 : 0;
    }
    return samples;
}

/* Rows of sample_block as a list of values: (block, count, checksum, data). */
static const char *old_blocks(struct arena *arena)
{
    const struct samples samples = old_samples(arena);
    struct sample_codec *codec = sample_codec_new();
    const char *list = "";
    for (size_t b = 0; b < sample_block_count(SAMPLES); b++) {
        struct sample_block block;
        struct error error;
        assert_true(sample_block_encode(codec, &samples, b, &block, &error));
        char *hex = arena_alloc(arena, 2 * block.length + 1);
        for (size_t i = 0; i < block.length; i++) {
            (void)snprintf(hex + 2 * i, 3, "%02x", block.data[i]);
        }
        list =
            arena_printf(arena, "%s%s(%zu, %u, %u, decode('%s', 'hex'))", list, b == 0 ? "" : ", ",
                         b, (unsigned)block.sample_count, (unsigned)block.checksum, hex);
    }
    sample_codec_free(codec);
    return list;
}

/* In each of two clinics two studies, one of them signed later, with a recording for each of these
 * moments: of a year before there were partitions, and on both sides of midnight UTC. */
static void fill_old_database(struct fixture *fixture)
{
    fixture_sql(
        fixture,
        "insert into penstock.clinic (clinic_id, name) select gen_random_uuid(), 'Clinic ' || n"
        " from generate_series(1, 2) n;"
        " insert into penstock.patient (clinic_id, id, mrn, family_name, given_name, birth_date,"
        " sex) select clinic_id, gen_random_uuid(), '1', 'Example', 'Person', '1961-04-05',"
        " 'female' from penstock.clinic;"
        " insert into penstock.study (clinic_id, id, patient_id, room, started_at)"
        " select clinic_id, gen_random_uuid(), id, 'Room ' || n, '2025-03-04'"
        " from penstock.patient, generate_series(1, 2) n;"
        " insert into penstock.recording (clinic_id, id, study_id, type, started_at, received_at,"
        " conditions, duration_s, revision, created_by)"
        " select s.clinic_id, gen_random_uuid(), s.id, 'cystometry', '2025-03-04', m.moment, '{}',"
        " 90, m.revision, gen_random_uuid() from penstock.study s, (values"
        " ('2024-06-01 12:00+00'::timestamptz, 1), ('2025-12-31 23:30-05', 3),"
        " ('2026-01-01 00:30+02', 2), ('2026-07-01 12:00+00', 1)) m (moment, revision)");
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "insert into penstock.recording_channel (clinic_id, recording_id,"
                             " number, signal, unit, rate_hz, start_s, encoding, decimals, scale,"
                             " value_offset, sample_count, missing_count) select clinic_id, id, 0,"
                             " 'pves', 'cm[H2O]', 100, 0, 'int16', 0, 0.1, 0, %d, 90"
                             " from penstock.recording;"
                             " insert into penstock.sample_block (clinic_id, recording_id,"
                             " channel_number, block_number, sample_count, checksum, data)"
                             " select r.clinic_id, r.id, 0, b.* from penstock.recording r,"
                             " (values %s) b",
                             SAMPLES, old_blocks(fixture->arena)));
    fixture_sql(
        fixture,
        "insert into penstock.recording_revision (clinic_id, recording_id, revision, events,"
        " analysis, created_at, created_by, analysis_version, reason)"
        " select clinic_id, id, n, '[ ]', '{\"revision\":  ' || n || '}',"
        " received_at + n * interval '1 day', created_by, case when n > 1 then '0.2.0' else '' end,"
        " case when n = 3 then 'made anew' else '' end"
        " from penstock.recording, generate_series(1, revision) n;"
        " update penstock.study set status = 'final' where room = 'Room 1'");
}

/* ---- what must be the same before and after ---- */

static const char *const fingerprints[] = {
    "select count(*) || md5(string_agg(concat_ws('|', clinic_id, recording_id, channel_number,"
    " block_number, sample_count, checksum, data), ',' order by clinic_id, recording_id,"
    " channel_number, block_number)) from penstock.sample_block",
    "select count(*) || md5(string_agg(concat_ws('|', clinic_id, recording_id, revision, events,"
    " analysis, created_at, created_by, analysis_version, reason), ',' order by clinic_id,"
    " recording_id, revision)) from penstock.recording_revision",
    "select count(*) || md5(string_agg(concat_ws('|', clinic_id, id, study_id, type, started_at,"
    " received_at, conditions, duration_s, revision, created_by), ',' order by clinic_id, id))"
    " from penstock.recording",
    ("select count(*) || md5(string_agg(c::text, ',' order by c::text))"
     " from penstock.recording_channel c"),
    "select count(*) || md5(string_agg(s::text, ',' order by s::text)) from penstock.study s",
    "select count(*) || md5(string_agg(p::text, ',' order by p::text)) from penstock.patient p",
};

enum { FINGERPRINTS = sizeof fingerprints / sizeof fingerprints[0] };

static void old_database_keeps_everything(void **state)
{
    struct fixture *fixture = *state;
    const char *before[FINGERPRINTS];
    make_old_database(fixture);
    fill_old_database(fixture);
    for (size_t i = 0; i < FINGERPRINTS; i++) {
        before[i] = fixture_value(fixture, fingerprints[i]);
    }
    assert_int_equal(strncmp(before[0], "48", 2), 0); /* 16 recordings of 3 blocks */
    assert_int_equal(strncmp(before[1], "28", 2), 0); /* 4 times 1 + 3 + 2 + 1 revisions */
    int applied = 0;
    CHECK(fixture, migrate_run(fixture->owner, &applied, &fixture->error));
    assert_int_equal(applied, migrate_newest_version() - OLD_VERSION);
    for (size_t i = 0; i < FINGERPRINTS; i++) {
        assert_string_equal(fixture_value(fixture, fingerprints[i]), before[i]);
    }
    CHECK(fixture, store_ready(fixture->store, &fixture->error));
}

/* Rows with a property, of all there are. */
static void assert_all(struct fixture *fixture, const char *from, const char *property)
{
    assert_string_equal(fixture_value(fixture, arena_printf(fixture->arena,
                                                            "select count(*) > 0 and"
                                                            " bool_and(%s) from %s",
                                                            property, from)),
                        "t");
}

static void new_columns_say_what_was_so(void **state)
{
    struct fixture *fixture = *state;
    assert_all(fixture, "penstock.recording",
               "state = 'complete' and version = revision and not has_overview and opening is null"
               " and received_on = (received_at at time zone 'UTC')::date");
    assert_string_equal(fixture_value(fixture,
                                      "select string_agg(distinct received_on::text, ' '"
                                      " order by received_on::text) from penstock.recording"),
                        "2024-06-01 2025-12-31 2026-01-01 2026-07-01");
    assert_all(fixture,
               "penstock.sample_block b join penstock.recording r on r.id = b.recording_id",
               "b.level = 0 and b.received_on = r.received_on");
    assert_all(fixture,
               "penstock.recording_revision v join penstock.recording r on r.id = v.recording_id",
               "v.received_on = r.received_on");
    static const char *const parents[] = {"sample_block", "recording_revision"};
    for (int i = 0; i < 2; i++) {
        assert_all(fixture,
                   arena_printf(fixture->arena,
                                "(select received_on, tableoid::regclass::text as"
                                " part from penstock.%s) rows",
                                parents[i]),
                   arena_printf(fixture->arena,
                                "part = 'penstock.%s_' || case when received_on < '2025-01-01'"
                                " then 'rest' else extract(year from received_on)::text end",
                                parents[i]));
    }
}

static void guards_are_back(void **state)
{
    struct fixture *fixture = *state;
    assert_string_equal(
        fixture_value(fixture, "select coalesce(string_agg(c.relname || '.' || t.tgname, ', '), '')"
                               " from pg_trigger t join pg_class c on c.oid = t.tgrelid"
                               " where c.relnamespace = 'penstock'::regnamespace"
                               " and t.tgenabled <> 'O'"),
        "");
    assert_string_equal(fixture_value(fixture,
                                      "select coalesce(string_agg(relname, ', '), '') from pg_class"
                                      " where relnamespace = 'penstock'::regnamespace"
                                      " and (relname like '%before%' or relkind in ('r', 'p')"
                                      " and relname <> 'schema_migration'"
                                      " and not (relrowsecurity and relforcerowsecurity))"),
                        "");
    PGconn *app = fixture_app_connection(
        fixture, fixture_value(fixture, "select clinic_id from penstock.clinic limit 1"));
    assert_string_equal(
        fixture_sqlstate(fixture, app,
                         "update penstock.recording r set revision = revision + 1,"
                         " version = version + 1 where exists (select from penstock.study s"
                         " where s.id = r.study_id and s.status = 'final')"),
        "PS001");
    PQfinish(app);
}

static void old_recordings_are_read(void **state)
{
    struct fixture *fixture = *state;
    const struct samples wanted = old_samples(fixture->arena);
    PGresult *rows = PQexec(fixture->admin, "select clinic_id, id, revision"
                                            " from penstock.recording order by clinic_id");
    assert_int_equal(PQntuples(rows), 16);
    const char *other = PQgetvalue(rows, 15, 1);
    for (int i = 0; i < PQntuples(rows); i++) {
        const struct recording_document *document = NULL;
        const char *json = NULL;
        int revision = 0;
        struct recording_row row;
        const char *id = PQgetvalue(rows, i, 1);
        CHECK(fixture, store_begin(fixture->store, PQgetvalue(rows, i, 0), NULL, &fixture->error));
        CHECK(fixture,
              recording_load(fixture->store, fixture->arena, id, 0, &document, &fixture->error));
        assert_true(samples_equal(&document->channels[0].samples, &wanted));
        CHECK(fixture, recording_analysis(fixture->store, fixture->arena, id, 0, &json, &revision,
                                          &fixture->error));
        assert_string_equal(json, arena_printf(fixture->arena, "{\"revision\":  %d}", revision));
        assert_int_equal(revision, (int)strtol(PQgetvalue(rows, i, 2), NULL, 10));
        if (i == 0) { /* of the other clinic */
            CHECK_FAILS(
                fixture, ERROR_NOT_FOUND,
                recording_get(fixture->store, fixture->arena, other, &row, &fixture->error));
        }
        store_rollback(fixture->store);
    }
    PQclear(rows);
}

/* ---- partitions, in the same database ---- */

static const char *count_partitions(struct fixture *fixture)
{
    return fixture_value(
        fixture,
        "select count(*) || ' ' || string_agg(inhrelid::regclass::text,"
        " ' ' order by inhrelid::regclass::text) from pg_inherits"
        " where inhparent::regclass::text in ('penstock.sample_block',"
        " 'penstock.recording_revision', 'penstock.recording_chunk', 'penstock.audit_entry')");
}

static void coming_years_have_partitions(void **state)
{
    struct fixture *fixture = *state;
    /* Of four tables: the rest, and each year from 2025 to two years ahead. */
    const char *wanted = fixture_value(
        fixture, "select 4 * (extract(year from now())::integer + 2 - 2025 + 2) || ' '");
    const char *got = count_partitions(fixture);
    assert_int_equal(strncmp(got, wanted, strlen(wanted)), 0);
    int applied = -1;
    CHECK(fixture, migrate_run(fixture->owner, &applied, &fixture->error));
    assert_int_equal(applied, 0);
    assert_string_equal(count_partitions(fixture), got);
    fixture_sql(fixture, "select penstock.make_partitions(2020)"); /* nothing to do */
    assert_string_equal(count_partitions(fixture), got);
    fixture_sql(fixture, "select penstock.make_partitions(extract(year from now())::integer + 3)");
    assert_string_not_equal(count_partitions(fixture), got);
}

/* The owner too has to disable a trigger of a partition before anything of it goes. */
static void partitions_guard_themselves(void **state)
{
    struct fixture *fixture = *state;
    static const char *const refused[] = {
        "delete from penstock.sample_block_2026",
        "delete from penstock.sample_block_rest",
        "delete from penstock.recording_revision_2025",
        "delete from penstock.recording_chunk_2025",
        "truncate penstock.sample_block_2026",
        "truncate penstock.recording_revision_rest",
        "truncate penstock.recording_chunk_rest",
        "update penstock.sample_block_2026 set data = ''",
        "update penstock.recording_revision_rest set analysis = ''",
    };
    PGconn *owner = PQconnectdb(fixture->owner);
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        assert_string_equal(fixture_sqlstate(fixture, fixture->admin, refused[i]), "PS002");
        assert_string_equal(fixture_sqlstate(fixture, owner, refused[i]), "PS002");
    }
    PGresult *rows = PQexec(owner, "select from penstock.sample_block_2026");
    assert_int_equal(PQresultStatus(rows), PGRES_TUPLES_OK);
    assert_int_equal(PQntuples(rows), 0); /* of no clinic */
    PQclear(rows);
    PQfinish(owner);
    assert_string_equal(fixture_value(fixture, "select count(*) from penstock.sample_block"), "48");
}

/* A server that nobody migrated for years: nothing is refused, and nothing gets in the way later.
 */
static void years_without_a_partition_go_to_the_rest(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *year = fixture_value(fixture, "select extract(year from now())");
    const char *clinic = NULL;
    CHECK(fixture, clinic_create(fixture->store, fixture->arena, "Third", &clinic, error));
    CHECK(fixture, store_begin(fixture->store, clinic, NULL, error));
    CHECK(fixture, account_create(fixture->store, fixture->arena, "third", "", "hash", 1,
                                  &fixture->account_id, error));
    fixture_commit(fixture);
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "begin;"
                                      " alter table penstock.sample_block detach partition"
                                      " penstock.sample_block_%s;"
                                      " alter table penstock.sample_block_%s rename to away_1;"
                                      " alter table penstock.recording_revision detach partition"
                                      " penstock.recording_revision_%s;"
                                      " alter table penstock.recording_revision_%s rename to"
                                      " away_2; commit",
                                      year, year, year, year));
    fixture_begin(fixture, clinic);
    const char *study = fixture_study(fixture, fixture_patient(fixture, "rest"));
    const char *id = recording_fixture_store(fixture, study, SAMPLES);
    fixture_commit(fixture);
    const char *where_it_is = arena_printf(
        fixture->arena,
        "select string_agg(distinct tableoid::regclass::text, ' ') from penstock.sample_block"
        " where recording_id = '%s'",
        id);
    assert_string_equal(fixture_value(fixture, where_it_is), "penstock.sample_block_rest");

    int applied = -1;
    CHECK(fixture, migrate_run(fixture->owner, &applied, error));
    assert_string_equal(fixture_value(fixture, where_it_is), "penstock.sample_block_rest");
    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select to_regclass('penstock.sample_block_%s') is null"
                                            " and to_regclass('penstock.sample_block_2025') is not"
                                            " null",
                                            year)),
        "t");
    const struct recording_document *document = NULL;
    const struct recording_document *sent = recording_fixture(fixture, NULL, SAMPLES);
    fixture_begin(fixture, clinic);
    CHECK(fixture, recording_load(fixture->store, fixture->arena, id, 1, &document, error));
    for (size_t c = 0; c < 4; c++) {
        assert_true(document_channel_same(&document->channels[c], &sent->channels[c]));
    }
    CHECK(fixture, recording_add_revision(fixture->store, id, 2, NULL, 0, "{}", "", error));
    fixture_commit(fixture);
}

int main(void)
{
#define UPGRADE_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        UPGRADE_TEST(old_database_keeps_everything),
        UPGRADE_TEST(new_columns_say_what_was_so),
        UPGRADE_TEST(guards_are_back),
        UPGRADE_TEST(old_recordings_are_read),
        UPGRADE_TEST(coming_years_have_partitions),
        UPGRADE_TEST(partitions_guard_themselves),
        UPGRADE_TEST(years_without_a_partition_go_to_the_rest),
    };
    return cmocka_run_group_tests_name("store: upgrade", tests, fixture_setup_empty,
                                       fixture_teardown);
}
