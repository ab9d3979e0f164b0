/* Interpretations and signatures: what the store does, and what the database refuses whoever asks.
 */
#include "recording_fixture.h"

#include "store/store_interpretation.h"
#include "store/store_signature.h"
#include "store/store_study.h"

#include <string.h>

#define INSUFFICIENT_PRIVILEGE "42501"
#define CHECK_VIOLATION        "23514"
#define STUDY_SIGNED           "PS001"
#define NEVER_CHANGED          "PS002"

static const unsigned char pdf[] = "%PDF-1.4 a report";

enum { PDF_LENGTH = sizeof pdf - 1 };

struct visit {
    const char *patient;
    const char *study;
    const char *recording;
};

static struct visit make_visit(struct fixture *fixture, const char *mrn)
{
    struct visit visit = {0};
    fixture_begin(fixture, fixture->clinic_id);
    visit.patient = fixture_patient(fixture, mrn);
    visit.study = fixture_study(fixture, visit.patient);
    visit.recording = recording_fixture_store(fixture, visit.study, 10);
    fixture_commit(fixture);
    return visit;
}

static void interpret(struct fixture *fixture, const char *study, int revision)
{
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          interpretation_add(fixture->store, study, revision,
                             arena_printf(fixture->arena, "{\"conclusion\":\"%d\"}", revision),
                             &fixture->error));
    fixture_commit(fixture);
}

static struct new_signature new_signature(const char *study, int number)
{
    return (struct new_signature){.study_id = study,
                                  .number = number,
                                  .signer_name = "First Person",
                                  .signer_role = "physician",
                                  .reason = number == 1 ? "" : "a reason of some length",
                                  .interpretation_revision = number,
                                  .software = "penstock 0.0",
                                  .analysis_version = "0.0"};
}

static bool add_report(struct fixture *fixture, const char *study, int number)
{
    char sha256[2 * SIGNATURE_SHA256_BYTES + 1];
    const struct report_file file = {
        .media_type = "application/pdf", .bytes = pdf, .length = PDF_LENGTH};
    return signature_add_report(fixture->store, study, number, &file, sha256, &fixture->error);
}

/* Signs, or amends when `number` is not 1: then with its interpretation. */
static void sign(struct fixture *fixture, const char *study, int number)
{
    struct signature_ground ground = {0};
    const struct new_signature signature = new_signature(study, number);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, signature_lock(fixture->store, fixture->arena, study, &ground, &fixture->error));
    assert_int_equal(ground.number, number - 1);
    CHECK(fixture, signature_add(fixture->store, &signature, &fixture->error));
    if (number > 1) {
        CHECK(fixture, interpretation_add(fixture->store, study, number,
                                          "{\"conclusion\":\"amended\"}", &fixture->error));
    }
    assert_true(add_report(fixture, study, number));
    fixture_commit(fixture);
}

static struct study get_study(struct fixture *fixture, const char *id)
{
    struct study study = {0};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_get(fixture->store, fixture->arena, id, &study, &fixture->error));
    fixture_commit(fixture);
    return study;
}

/* ---- the store ---- */

static void interpretations_come_one_after_another(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    struct visit visit = make_visit(fixture, "revisions");
    struct interpretation_row row = {0};
    struct interpretation_row *rows = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                interpretation_get(store, fixture->arena, visit.study, 0, &row, error));
    CHECK_FAILS(fixture, ERROR_STALE, interpretation_add(store, visit.study, 2, "{}", error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, interpretation_add(store, visit.patient, 1, "{}", error));
    fixture_commit(fixture);
    interpret(fixture, visit.study, 1);
    interpret(fixture, visit.study, 2);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_STALE, interpretation_add(store, visit.study, 2, "{}", error));
    CHECK(fixture, interpretation_get(store, fixture->arena, visit.study, 0, &row, error));
    assert_int_equal(row.revision, 2);
    assert_string_equal(row.document, "{\"conclusion\":\"2\"}");
    assert_string_equal(row.created_by, fixture->account_id);
    assert_string_equal(row.created_by_name, "First Person");
    CHECK(fixture, interpretation_get(store, fixture->arena, visit.study, 1, &row, error));
    assert_string_equal(row.document, "{\"conclusion\":\"1\"}");
    CHECK(fixture, interpretation_list(store, fixture->arena, visit.study, &rows, &count, error));
    assert_int_equal(count, 2);
    assert_int_equal(rows[0].revision, 1);
    assert_null(rows[0].document);
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                interpretation_get(store, fixture->arena, visit.study, 0, &row, error));
    store_rollback(store);
}

static void a_signature_keeps_what_was_signed(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct visit visit = make_visit(fixture, "signed");
    struct signature_row *rows = NULL;
    struct signature_row newest = {0};
    struct signed_report report = {0};
    size_t count = 0;
    interpret(fixture, visit.study, 1);
    int version = get_study(fixture, visit.study).version;
    sign(fixture, visit.study, 1);
    struct study study = get_study(fixture, visit.study);
    assert_string_equal(study.status, "final");
    assert_int_equal(study.version, version + 1);
    sign(fixture, visit.study, 2);
    sign(fixture, visit.study, 3);
    assert_string_equal(get_study(fixture, visit.study).status, "amended");

    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          signature_list(fixture->store, fixture->arena, visit.study, &rows, &count, error));
    assert_int_equal(count, 3);
    assert_string_equal(rows[0].meaning, "final");
    assert_string_equal(rows[0].reason, "");
    assert_string_equal(rows[0].signed_by, fixture->account_id);
    assert_string_equal(
        rows[0].recordings,
        arena_printf(fixture->arena, "[{\"id\" : \"%s\", \"revision\" : 1}]", visit.recording));
    assert_int_equal(rows[0].report_length, PDF_LENGTH);
    assert_false(rows[0].report_is_sealed);
    assert_string_equal(rows[1].meaning, "amended");
    assert_int_equal(rows[1].interpretation_revision, 2);
    CHECK(fixture, signature_get(fixture->store, fixture->arena, visit.study, 0, &newest, error));
    assert_int_equal(newest.number, 3);
    CHECK(fixture,
          signature_report_get(fixture->store, fixture->arena, visit.study, 1, &report, error));
    assert_int_equal(report.length, PDF_LENGTH);
    assert_memory_equal(report.bytes, pdf, PDF_LENGTH);
    assert_string_equal(report.sha256_text, rows[0].report_sha256);
    assert_null(report.seal);
    CHECK(fixture,
          signature_report_get(fixture->store, fixture->arena, visit.study, 0, &report, error));
    assert_int_equal(report.number, 3);
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        signature_report_get(fixture->store, fixture->arena, visit.study, 4, &report, error));
    fixture_commit(fixture);
}

static void the_ground_says_what_would_be_signed(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct visit visit = make_visit(fixture, "ground");
    struct signature_ground ground = {0};
    interpret(fixture, visit.study, 1);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, signature_lock(fixture->store, fixture->arena, visit.study, &ground, error));
    assert_int_equal(ground.complete_count, 1);
    assert_int_equal(ground.open_count, 0);
    assert_int_equal(ground.interpretation_revision, 1);
    assert_true(ground.is_interpreted_as_is);
    assert_int_equal(ground.number, 0);
    assert_string_equal(
        ground.recordings,
        arena_printf(fixture->arena, "[{\"id\" : \"%s\", \"revision\" : 1}]", visit.recording));
    CHECK(fixture,
          recording_add_revision(fixture->store, visit.recording, 2, NULL, 0, "{}", "", error));
    CHECK(fixture, signature_lock(fixture->store, fixture->arena, visit.study, &ground, error));
    assert_false(ground.is_interpreted_as_is);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                signature_lock(fixture->store, fixture->arena, visit.patient, &ground, error));
    fixture_commit(fixture);
}

static void a_spoilt_report_is_not_given_out(void **state)
{
    struct fixture *fixture = *state;
    struct visit visit = make_visit(fixture, "spoilt");
    struct signed_report report = {0};
    interpret(fixture, visit.study, 1);
    sign(fixture, visit.study, 1);
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "set session_replication_role = replica;"
                             "alter table penstock.signed_document"
                             " drop constraint signed_document_hash;"
                             "update penstock.signed_document"
                             " set content = set_byte(content, 3, 1) where study_id = '%s';"
                             "alter table penstock.signed_document add constraint"
                             " signed_document_hash check (sha256 = sha256(content)) not valid;"
                             "set session_replication_role = origin",
                             visit.study));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                signature_report_get(fixture->store, fixture->arena, visit.study, 1, &report,
                                     &fixture->error));
    store_rollback(fixture->store);
}

/* ---- what the database demands ---- */

static void a_status_does_not_sign(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct visit visit = make_visit(fixture, "by status");
    interpret(fixture, visit.study, 1);
    struct study study = get_study(fixture, visit.study);
    study.status = "final";
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_update(fixture->store, &study, error));
    assert_false(store_commit(fixture->store, error));
    store_rollback(fixture->store);

    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const refused[] = {
        "update penstock.study set status = 'final' where id = '%s'",
        "update penstock.study set status = 'amended' where id = '%s'",
        "insert into penstock.study (clinic_id, id, patient_id, room, started_at, status)"
        " select clinic_id, gen_random_uuid(), patient_id, room, started_at, 'final'"
        " from penstock.study where id = '%s'",
    };
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        const char *mark = strstr(refused[i], "%s");
        const char *sql = arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - refused[i]),
                                       refused[i], visit.study, mark + 2);
        assert_string_equal(fixture_sqlstate(fixture, connection, sql), NEVER_CHANGED);
        assert_string_equal(fixture_sqlstate(fixture, fixture->admin, sql), NEVER_CHANGED);
    }
    PQfinish(connection);
    assert_string_equal(get_study(fixture, visit.study).status, "preliminary");
}

static void nothing_of_a_signature_comes_alone(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct visit visit = make_visit(fixture, "parts");
    const struct new_signature signature = new_signature(visit.study, 1);
    interpret(fixture, visit.study, 1);

    fixture_begin(fixture, fixture->clinic_id); /* no report */
    CHECK(fixture, signature_add(fixture->store, &signature, error));
    assert_false(store_commit(fixture->store, error));
    store_rollback(fixture->store);

    fixture_begin(fixture, fixture->clinic_id); /* no signature */
    assert_false(add_report(fixture, visit.study, 1));
    store_rollback(fixture->store);

    struct new_signature without = signature; /* no interpretation */
    without.interpretation_revision = 2;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, signature_add(fixture->store, &without, error));
    assert_true(add_report(fixture, visit.study, 1));
    assert_false(store_commit(fixture->store, error));
    store_rollback(fixture->store);

    fixture_begin(fixture, fixture->clinic_id); /* no status */
    CHECK(fixture, signature_add(fixture->store, &signature, error));
    assert_true(add_report(fixture, visit.study, 1));
    store_rollback(fixture->store);
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    assert_string_equal(
        fixture_sqlstate(
            fixture, connection,
            arena_printf(fixture->arena,
                         "insert into penstock.signature (clinic_id, study_id, number, meaning,"
                         " signed_by, signer_name, signer_role, interpretation_revision,"
                         " recordings, software, analysis_version) values ('%s', '%s', 1, 'final',"
                         " '%s', 'x', 'x', 1, '[]', 'x', 'x'); insert into penstock.signed_document"
                         " select clinic_id, study_id, 1, 'report', 'a/b', 'x', sha256('x'), 1"
                         " from penstock.signature where study_id = '%s'",
                         fixture->clinic_id, visit.study, fixture->account_id, visit.study)),
        NEVER_CHANGED);
    PQfinish(connection);

    fixture_begin(fixture, fixture->clinic_id); /* an amendment of nothing */
    const struct new_signature second = new_signature(visit.study, 2);
    assert_false(signature_add(fixture->store, &second, error));
    store_rollback(fixture->store);
    sign(fixture, visit.study, 1);
    fixture_begin(fixture, fixture->clinic_id); /* later */
    assert_false(add_report(fixture, visit.study, 1));
    store_rollback(fixture->store);
}

static void signed_studies_take_no_interpretation_but_an_amendment(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct visit visit = make_visit(fixture, "closed");
    interpret(fixture, visit.study, 1);
    sign(fixture, visit.study, 1);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                interpretation_add(fixture->store, visit.study, 2, "{}", error));
    assert_string_equal(error->detail, "signed");
    store_rollback(fixture->store);
    sign(fixture, visit.study, 2);
    const struct visit cancelled = make_visit(fixture, "cancelled");
    fixture_set_status(fixture, cancelled.study, "cancelled");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                interpretation_add(fixture->store, cancelled.study, 1, "{}", error));
    store_rollback(fixture->store);
    const struct new_signature signature = new_signature(cancelled.study, 1);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, signature_add(fixture->store, &signature, error));
    store_rollback(fixture->store);
}

static void rows_are_never_changed(void **state)
{
    struct fixture *fixture = *state;
    struct visit visit = make_visit(fixture, "for good");
    interpret(fixture, visit.study, 1);
    sign(fixture, visit.study, 1);
    static const char *const tables[] = {"interpretation", "signature", "signed_document"};
    static const char *const changes[] = {"update penstock.%s set clinic_id = clinic_id",
                                          "delete from penstock.%s",
                                          "truncate penstock.%s cascade"};
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    for (int t = 0; t < 3; t++) {
        for (int c = 0; c < 3; c++) {
            const char *mark = strstr(changes[c], "%s");
            const char *sql = arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - changes[c]),
                                           changes[c], tables[t], mark + 2);
            assert_string_equal(fixture_sqlstate(fixture, connection, sql), INSUFFICIENT_PRIVILEGE);
            assert_string_equal(fixture_sqlstate(fixture, fixture->admin, sql), NEVER_CHANGED);
        }
    }

    static const struct {
        const char *sql;
        const char *state;
    } inserts[] = {
        {"insert into penstock.interpretation (clinic_id, study_id, revision, document, recordings)"
         " select clinic_id, study_id, 3, '{}', '[]' from penstock.signature where study_id = '%s'",
         STUDY_SIGNED},
        {"insert into penstock.signature select * from penstock.signature where study_id = '%s'",
         INSUFFICIENT_PRIVILEGE},
        {"insert into penstock.signed_document select clinic_id, study_id, number, kind,"
         " media_type, content, sha256('other'), length, null from penstock.signed_document"
         " where study_id = '%s'",
         NEVER_CHANGED},
        {"update penstock.study set status = 'preliminary' where id = '%s'", STUDY_SIGNED},
        {"update penstock.study set status = 'amended' where id = '%s'", NEVER_CHANGED},
    };

    for (size_t i = 0; i < sizeof inserts / sizeof inserts[0]; i++) {
        const char *mark = strstr(inserts[i].sql, "%s");
        const char *sql = arena_printf(fixture->arena, "%.*s%s%s", (int)(mark - inserts[i].sql),
                                       inserts[i].sql, visit.study, mark + 2);
        assert_string_equal(fixture_sqlstate(fixture, connection, sql), inserts[i].state);
    }
    PQfinish(connection);
}

static void a_hash_fits_its_report(void **state)
{
    struct fixture *fixture = *state;
    struct visit visit = make_visit(fixture, "hash");
    interpret(fixture, visit.study, 1);
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const values[] = {"'x', sha256('y'), 1", "'x', sha256('x'), 2"};
    for (int i = 0; i < 2; i++) {
        assert_string_equal(
            fixture_sqlstate(
                fixture, connection,
                arena_printf(
                    fixture->arena,
                    "insert into penstock.signature (clinic_id, study_id, number, meaning,"
                    " signed_by, signer_name, signer_role, interpretation_revision, recordings,"
                    " software, analysis_version) values ('%s', '%s', 1, 'final', '%s', 'x', 'x',"
                    " 1, '[]', 'x', 'x'); insert into penstock.signed_document values ('%s', '%s',"
                    " 1, 'report', 'a/b', %s)",
                    fixture->clinic_id, visit.study, fixture->account_id, fixture->clinic_id,
                    visit.study, values[i])),
            CHECK_VIOLATION);
    }
    PQfinish(connection);
}

/* ---- who sees them ---- */

static const char *count_within(struct fixture *fixture, PGconn *connection, const char *reach,
                                const char *actor, const char *study)
{
    PGresult *rows = PQexec(
        connection,
        arena_printf(fixture->arena,
                     "select set_config('penstock.reach', '%s', false),"
                     " set_config('penstock.actor', '%s', false),"
                     " set_config('penstock.link_study', '%s', false);"
                     "select (select count(*) from penstock.interpretation where study_id = '%s')"
                     " || ' ' || (select count(*) from penstock.signature where study_id = '%s')"
                     " || ' ' || (select count(*) from penstock.signed_document"
                     " where study_id = '%s')",
                     reach, actor, study, study, study, study));
    assert_int_equal(PQresultStatus(rows), PGRES_TUPLES_OK);
    const char *counts = arena_strdup(fixture->arena, PQgetvalue(rows, 0, 0));
    PQclear(rows);
    return counts;
}

static void they_are_seen_with_their_study(void **state)
{
    struct fixture *fixture = *state;
    struct visit visit = make_visit(fixture, "within reach");
    struct visit other = make_visit(fixture, "out of reach");
    struct visit unsigned_one = make_visit(fixture, "not signed");
    const char *none = "00000000-0000-0000-0000-000000000000";
    interpret(fixture, visit.study, 1);
    interpret(fixture, visit.study, 2); /* what was signed is revision 2 */
    fixture_begin(fixture, fixture->clinic_id);
    struct new_signature signature = new_signature(visit.study, 1);
    signature.interpretation_revision = 2;
    CHECK(fixture, signature_add(fixture->store, &signature, &fixture->error));
    assert_true(add_report(fixture, visit.study, 1));
    fixture_commit(fixture);
    interpret(fixture, other.study, 1);
    sign(fixture, other.study, 1);
    interpret(fixture, unsigned_one.study, 1);
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "insert into penstock.referral (clinic_id, patient_id,"
                                      " referrer_id) values ('%s', '%s', '%s')",
                                      fixture->clinic_id, visit.patient, fixture->account_id));
    PGconn *connection = fixture_app_connection(fixture, fixture->clinic_id);

    static const struct {
        const char *reach;
        bool has_actor;
        const char *counts; /* of the visit, the other, the unsigned one */
    } expected[] = {
        {"clinic", false, "2 1 1|1 1 1|1 0 0"},  {"link", false, "1 1 1|0 0 0|0 0 0"},
        {"referred", true, "1 1 1|0 0 0|0 0 0"}, {"referred", false, "0 0 0|0 0 0|0 0 0"},
        {"open", false, "0 0 0|0 0 0|0 0 0"},    {"open referred", true, "1 1 1|0 0 0|0 0 0"},
        {"nobody", true, "0 0 0|0 0 0|0 0 0"},   {"", true, "0 0 0|0 0 0|0 0 0"},
    };

    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        const char *actor = expected[i].has_actor ? fixture->account_id : none;
        const char *seen[3];
        const char *studies[] = {visit.study, other.study, unsigned_one.study};
        for (int s = 0; s < 3; s++) {
            /* Of a link only one study is the one that it is of. */
            bool is_of_link = s == 0 || strcmp(expected[i].reach, "link") != 0;
            seen[s] = is_of_link
                          ? count_within(fixture, connection, expected[i].reach, actor, studies[s])
                          : "0 0 0";
        }
        assert_string_equal(arena_printf(fixture->arena, "%s|%s|%s", seen[0], seen[1], seen[2]),
                            expected[i].counts);
    }
    assert_string_equal(count_within(fixture, connection, "link", none, unsigned_one.study),
                        "0 0 0");
    static const char *const reaches[] = {"open", "referred", "open referred", "link", "nobody"};
    for (size_t i = 0; i < sizeof reaches / sizeof reaches[0]; i++) {
        (void)count_within(fixture, connection, reaches[i], fixture->account_id,
                           unsigned_one.study);
        assert_string_not_equal(
            fixture_sqlstate(
                fixture, connection,
                arena_printf(fixture->arena,
                             "insert into penstock.interpretation (clinic_id, study_id, revision,"
                             " document, recordings) values ('%s', '%s', 2, '{}', '[]')",
                             fixture->clinic_id, unsigned_one.study)),
            "00000");
    }
    PQfinish(connection);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(interpretations_come_one_after_another, fixture_after_test),
        cmocka_unit_test_teardown(a_signature_keeps_what_was_signed, fixture_after_test),
        cmocka_unit_test_teardown(the_ground_says_what_would_be_signed, fixture_after_test),
        cmocka_unit_test_teardown(a_spoilt_report_is_not_given_out, fixture_after_test),
        cmocka_unit_test_teardown(a_status_does_not_sign, fixture_after_test),
        cmocka_unit_test_teardown(nothing_of_a_signature_comes_alone, fixture_after_test),
        cmocka_unit_test_teardown(signed_studies_take_no_interpretation_but_an_amendment,
                                  fixture_after_test),
        cmocka_unit_test_teardown(rows_are_never_changed, fixture_after_test),
        cmocka_unit_test_teardown(a_hash_fits_its_report, fixture_after_test),
        cmocka_unit_test_teardown(they_are_seen_with_their_study, fixture_after_test),
    };
    return cmocka_run_group_tests(tests, fixture_setup, fixture_teardown);
}
