/* Erasing a patient: nothing is left, nobody else is touched, and nothing goes without the word of
 * two people, their patience, and the owner. Tried, as the server's role and as the owner. */
#include "recording_fixture.h"

#include "base/uuid.h"
#include "store/eraser.h"
#include "store/store_chunk.h"
#include "store/store_erasure.h"
#include "store/store_idempotency.h"
#include "store/store_recording_state.h"
#include "store/store_retention.h"
#include "store/store_study.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define INSUFFICIENT_PRIVILEGE "42501"
#define CHECK_VIOLATION        "23514"
#define NEVER_REMOVED          "PS002"
#define NOT_TO_BE_ERASED       "PS003"

static const char *text(struct fixture *fixture, const char *format, ...) PRINTF_LIKE(2, 3);

static const char *text(struct fixture *fixture, const char *format, ...)
{
    char buffer[4000];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(buffer, sizeof buffer, format, arguments);
    va_end(arguments);
    return arena_strdup(fixture->arena, buffer);
}

static void without_triggers(struct fixture *fixture, const char *sql)
{
    fixture_sql(fixture, "set session_replication_role = replica");
    fixture_sql(fixture, sql);
    fixture_sql(fixture, "set session_replication_role = origin");
}

/* ---- somebody with a row in every table ---- */

struct person {
    const char *patient;
    const char *signed_study;
    const char *study;
    const char *recording; /* of the signed study */
    const char *open;
};

static const char *open_one(struct fixture *fixture, const char *study)
{
    const int64_t at[] = {0, 0};
    const struct new_chunk chunk = {
        .number = 3, .channel_count = 2, .starts = at, .ends = at, .text = "a piece", .length = 7};
    const char *id = NULL;
    bool existed = false;
    bool repeated = false;
    CHECK(fixture,
          recording_open(fixture->store, fixture->arena, study, recording_fixture(fixture, NULL, 0),
                         "{}", &id, &existed, &fixture->error));
    CHECK(fixture, recording_put_chunk(fixture->store, fixture->arena, id, &chunk, &repeated,
                                       &fixture->error));
    return id;
}

static void remember_answer(struct fixture *fixture, const char *key, const char *body)
{
    const unsigned char digest[IDEMPOTENCY_DIGEST_BYTES] = {1};
    enum idempotency_state state = IDEMPOTENCY_REPEATED;
    struct remembered_answer answer = {
        .status = 201, .media_type = "a/b", .body = body, .body_length = strlen(body)};
    CHECK(fixture, idempotency_claim(fixture->store, fixture->arena, fixture->account_id, key,
                                     digest, &state, &answer, &fixture->error));
    CHECK(fixture,
          idempotency_remember(fixture->store, fixture->account_id, key, &answer, &fixture->error));
}

static void add_link(struct fixture *fixture, const char *study)
{
    fixture_sql(fixture,
                text(fixture,
                     "insert into penstock.study_link (clinic_id, id, study_id, purpose,"
                     " prefix, secret_hash, expires_at) select clinic_id, gen_random_uuid(),"
                     " id, 'summary', 'x', sha256(id::text::bytea), now()"
                     " from penstock.study where id = '%s'",
                     study));
}

static void add_visitors(struct fixture *fixture, const char *clinic, const char *patient)
{
    fixture_sql(
        fixture,
        text(fixture,
             "insert into penstock.account (clinic_id, id, username, display_name,"
             " password_hash, roles) values ('%s', gen_random_uuid(), md5('%s'), '', '', 8);"
             " insert into penstock.referral (clinic_id, patient_id, referrer_id)"
             " select clinic_id, '%s', id from penstock.account where username = md5('%s');"
             " insert into penstock.emergency_access (clinic_id, id, patient_id,"
             " account_id, reason, expires_at) select clinic_id, gen_random_uuid(), '%s',"
             " id, 'an emergency', now() from penstock.account where username = md5('%s')",
             clinic, patient, patient, patient, patient, patient));
}

static struct person make_person(struct fixture *fixture, const char *clinic, const char *mrn)
{
    struct person person = {0};
    fixture_begin(fixture, clinic);
    person.patient = fixture_patient(fixture, mrn);
    person.signed_study = fixture_study(fixture, person.patient);
    person.study = fixture_study(fixture, person.patient);
    person.recording = recording_fixture_store(fixture, person.signed_study, 9000);
    CHECK(fixture, recording_withdraw(fixture->store, person.recording, 1, "x", &fixture->error));
    CHECK(fixture, recording_restore(fixture->store, person.recording, 2, "y", &fixture->error));
    person.open = open_one(fixture, person.study);
    CHECK(fixture, legal_hold_place(fixture->store, person.patient, "a trial", &fixture->error));
    CHECK(fixture, legal_hold_lift(fixture->store, person.patient, "it is over", &fixture->error));
    remember_answer(fixture, text(fixture, "patient-%s", mrn),
                    text(fixture, "{\"id\":\"%s\"}", person.patient));
    remember_answer(fixture, text(fixture, "piece-%s", mrn),
                    text(fixture, "{\"of\":\"%s\"}", person.open));
    fixture_commit(fixture);
    add_visitors(fixture, clinic, person.patient);
    add_link(fixture, person.signed_study);
    fixture_set_status(fixture, person.signed_study, "final");
    fixture_send_letter(fixture, person.signed_study);
    return person;
}

/* What was made just now counts as made before whatever is decided from now on. */
static void make_old(struct fixture *fixture, const struct person *person)
{
    without_triggers(
        fixture, text(fixture,
                      "update penstock.study set created_at = created_at - interval '9 days'"
                      " where patient_id = '%s';"
                      " update penstock.patient set created_at = created_at - interval '9 days'"
                      " where id = '%s';"
                      " update penstock.recording set received_at = received_at - interval '9 days'"
                      " where id in ('%s', '%s')",
                      person->patient, person->patient, person->recording, person->open));
}

/* ---- requests ---- */

static const char *second_person;

static const char *request_erasure(struct fixture *fixture, const char *clinic, const char *patient)
{
    const char *id = NULL;
    fixture_begin(fixture, clinic);
    CHECK(fixture, erasure_create(fixture->store, fixture->arena, patient, "the patient asks", &id,
                                  &fixture->error));
    fixture_commit(fixture);
    return id;
}

static bool decide(struct fixture *fixture, const char *actor, const char *id,
                   struct erasure_decision decision)
{
    decision.reason = "looked into it";
    CHECK(fixture, store_begin(fixture->store, fixture->clinic_id, actor, &fixture->error));
    store_narrow(fixture->store, STORE_REACH_NOBODY);
    bool good = erasure_decide(fixture->store, id, 1, &decision, &fixture->error) &&
                store_commit(fixture->store, &fixture->error);
    store_rollback(fixture->store);
    return good;
}

static const struct erasure_decision approval = {.approved = true, .despite_retention = true};

static const char *approved_request(struct fixture *fixture, const struct person *person)
{
    const char *id = request_erasure(fixture, fixture->clinic_id, person->patient);
    CHECK(fixture, decide(fixture, second_person, id, approval));
    return id;
}

static void cool_off(struct fixture *fixture, const char *request)
{
    without_triggers(fixture, text(fixture,
                                   "update penstock.erasure_request set decided_at = decided_at"
                                   " - interval '24 hours' where id = '%s'",
                                   request));
}

static const char *due_request(struct fixture *fixture, const struct person *person)
{
    const char *id = approved_request(fixture, person);
    make_old(fixture, person);
    cool_off(fixture, id);
    return id;
}

/* A connection of the owner that works on the clinic and says it carries out a request. */
static PGconn *owner_erasing(struct fixture *fixture, const char *request)
{
    PGconn *owner = PQconnectdb(fixture->owner);
    assert_string_equal(
        fixture_sqlstate(fixture, owner,
                         text(fixture,
                              "select set_config('penstock.clinic', '%s', false),"
                              " set_config('penstock.reach', 'clinic', false),"
                              " set_config('penstock.erasing', '%s', false),"
                              " set_config('client_min_messages', 'warning', false)",
                              fixture->clinic_id, request)),
        "00000");
    return owner;
}

static const char *erase_as_owner(struct fixture *fixture, const char *request)
{
    PGconn *owner = PQconnectdb(fixture->owner);
    const char *state = fixture_sqlstate(
        fixture, owner,
        text(fixture, "select penstock.erase_patient('%s', '%s')", fixture->clinic_id, request));
    PQfinish(owner);
    return state;
}

/* ---- all tables, whatever they will be ---- */

enum { TABLES_MAX = 100 };

struct tables {
    int count;
    const char *names[TABLES_MAX];
    bool is_patients[TABLES_MAX]; /* has a column that names a patient, study or recording */
};

static struct tables find_tables(struct fixture *fixture)
{
    PGresult *rows =
        PQexec(fixture->admin,
               "select c.relname, exists (select from information_schema.columns i"
               " where i.table_schema = 'penstock' and i.table_name = c.relname"
               " and i.column_name in ('patient_id', 'study_id', 'recording_id'))"
               " or c.relname = 'patient'"
               " from pg_class c join pg_namespace n on n.oid = c.relnamespace"
               " where n.nspname = 'penstock' and c.relkind in ('r', 'p') and not c.relispartition"
               " order by 1");
    assert_int_equal(PQresultStatus(rows), PGRES_TUPLES_OK);
    struct tables tables = {.count = PQntuples(rows)};
    assert_true(tables.count > 20 && tables.count <= TABLES_MAX);
    for (int i = 0; i < tables.count; i++) {
        tables.names[i] = arena_strdup(fixture->arena, PQgetvalue(rows, i, 0));
        tables.is_patients[i] = PQgetvalue(rows, i, 1)[0] == 't';
    }
    PQclear(rows);
    return tables;
}

/* Rows that hold one of the person's ids, as text or within bytes: an SQL condition on t. */
static const char *mentions(struct fixture *fixture, const struct person *person)
{
    const char *ids[] = {person->patient, person->signed_study, person->study, person->recording,
                         person->open};
    const char *condition = "false";
    for (size_t i = 0; i < sizeof ids / sizeof ids[0]; i++) {
        condition = text(fixture,
                         "%s or t::text like '%%%s%%'"
                         " or t::text like '%%' || encode('%s', 'hex') || '%%'",
                         condition, ids[i], ids[i]);
    }
    return condition;
}

static int count_mentions(struct fixture *fixture, const char *table, const struct person *person)
{
    const char *count =
        fixture_value(fixture, text(fixture, "select count(*) from penstock.%s t where %s", table,
                                    mentions(fixture, person)));
    return (int)strtol(count, NULL, 10);
}

/* A digest of all the other rows of a table. */
static const char *others(struct fixture *fixture, const char *table, const struct person *person)
{
    return fixture_value(fixture,
                         text(fixture,
                              "select coalesce(md5(string_agg(t::text, ';' order by t::text)), '')"
                              " from penstock.%s t where not (%s)",
                              table, mentions(fixture, person)));
}

/* Where an id may stay: it says that there was somebody, and who decided that nobody is any more.
 */
static bool is_audit(const char *table)
{
    return strncmp(table, "audit_", 6) == 0;
}

static bool may_stay(const char *table)
{
    return strcmp(table, "erasure_request") == 0 || strcmp(table, "erased_patient") == 0 ||
           is_audit(table);
}

static void nothing_is_left_and_nobody_else_is_touched(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "erased");
    (void)make_person(fixture, fixture->clinic_id, "another");
    (void)make_person(fixture, fixture->other_clinic_id, "erased");
    const char *request = due_request(fixture, &person);
    struct tables tables = find_tables(fixture);
    const char *before[TABLES_MAX];
    for (int i = 0; i < tables.count; i++) {
        before[i] = others(fixture, tables.names[i], &person);
        bool has_rows = count_mentions(fixture, tables.names[i], &person) > 0;
        /* A table that is new here must be filled by make_person(), and emptied by an erasure. */
        if (tables.is_patients[i] && !has_rows && !may_stay(tables.names[i])) {
            fail_msg("%s: this test puts nothing of the patient into it", tables.names[i]);
        }
    }
    assert_string_equal(erase_as_owner(fixture, request), "00000");
    for (int i = 0; i < tables.count; i++) {
        int left = count_mentions(fixture, tables.names[i], &person);
        if (left != 0 && !may_stay(tables.names[i])) {
            fail_msg("%s: %d rows are left", tables.names[i], left);
        }
        if (!is_audit(tables.names[i]) &&
            strcmp(before[i], others(fixture, tables.names[i], &person)) != 0) {
            fail_msg("%s: rows of others have changed", tables.names[i]);
        }
    }
    /* What stays names the patient's id and nothing else. */
    assert_string_equal(
        fixture_value(fixture, text(fixture,
                                    "select e.state || coalesce(e.reason, '-')"
                                    " || coalesce(e.decision_reason, '-') || d.request_id"
                                    " from penstock.erasure_request e join penstock.erased_patient"
                                    " d on d.patient_id = e.patient_id where e.id = '%s'",
                                    request)),
        text(fixture, "carried_out--%s", request));
    assert_string_equal(
        fixture_value(fixture, text(fixture,
                                    "select (counts ->> 'recording') || ' ' ||"
                                    " (counts ->> 'study') || ' ' || (counts ->> 'patient') || ' '"
                                    " || (counts ->> 'idempotency')"
                                    " from penstock.erased_patient where patient_id = '%s'",
                                    person.patient)),
        "2 2 1 2");
    assert_string_equal(
        fixture_value(fixture, text(fixture,
                                    "select count(*) from penstock.audit_entry"
                                    " where what = 'penstock-server erase'"
                                    " and actor_kind = 'program' and object_id = '%s'"
                                    " and patient_ids = array['%s'::uuid]",
                                    request, person.patient)),
        "1");
    assert_string_equal(erase_as_owner(fixture, request), NOT_TO_BE_ERASED);
}

/* How many of the patient's requests still say something, and all their states. */
static const char *words_of(struct fixture *fixture, const char *patient)
{
    return fixture_value(
        fixture, text(fixture,
                      "select count(*) filter (where num_nonnulls(reason, decision_reason) > 0)"
                      " || ' ' || string_agg(state, ' ' order by id)"
                      " from penstock.erasure_request where patient_id = '%s'",
                      patient));
}

static void withdraw(struct fixture *fixture, const char *id)
{
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, erasure_withdraw(fixture->store, id, &fixture->error));
    fixture_commit(fixture);
}

static void words_of_earlier_requests_go_too(void **state)
{
    struct fixture *fixture = *state;
    static const struct erasure_decision refusal = {.approved = false};
    struct person person = make_person(fixture, fixture->clinic_id, "asked before");
    const char *refused = request_erasure(fixture, fixture->clinic_id, person.patient);
    CHECK(fixture, decide(fixture, second_person, refused, refusal));
    const char *withdrawn = approved_request(fixture, &person);
    withdraw(fixture, withdrawn);
    withdraw(fixture, request_erasure(fixture, fixture->clinic_id, person.patient));
    const char *request = due_request(fixture, &person);
    /* While the patient is there nobody drops them, the owner neither. */
    PGconn *owner = owner_erasing(fixture, request);
    const char *drop = text(fixture,
                            "update penstock.erasure_request set reason = null,"
                            " decision_reason = null, version = version + 1 where id = '%s'",
                            refused);
    assert_string_equal(fixture_sqlstate(fixture, owner, drop), NEVER_REMOVED);
    PQfinish(owner);
    assert_string_equal(words_of(fixture, person.patient),
                        "4 refused withdrawn withdrawn approved");
    assert_string_equal(erase_as_owner(fixture, request), "00000");
    assert_string_equal(words_of(fixture, person.patient),
                        "0 refused withdrawn withdrawn carried_out");
    /* Nor do they get others. */
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    const char *put = text(fixture,
                           "update penstock.erasure_request set decision_reason = 'x',"
                           " version = version + 1 where id = '%s'",
                           refused);
    assert_string_equal(fixture_sqlstate(fixture, app, put), NEVER_REMOVED);
    PQfinish(app);
}

/* ---- who may not ---- */

static void app_role_cannot_erase_whatever_it_sets(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "app");
    const char *request = due_request(fixture, &person);
    const char *tries[] = {
        text(fixture, "select penstock.erase_patient('%s', '%s')", fixture->clinic_id, request),
        text(fixture, "select penstock.erase_again('%s', '%s', '%s', now())", fixture->clinic_id,
             person.patient, request),
        text(fixture, "select penstock.remove_patient('%s', '%s')", fixture->clinic_id,
             person.patient),
        text(fixture, "insert into penstock.erased_patient values ('%s', '%s', '%s')",
             fixture->clinic_id, person.patient, request),
        "delete from penstock.patient",
        "delete from penstock.study",
        "delete from penstock.recording",
        "delete from penstock.sample_block",
        "delete from penstock.recording_revision",
        "delete from penstock.legal_hold",
        "delete from penstock.research_subject",
        "delete from penstock.erasure_request",
        "truncate penstock.patient cascade",
        "set session_replication_role = replica",
        "update penstock.erasure_request set cooling_off = '24 hours'",
        "update penstock.erasure_request set requested_by = gen_random_uuid()",
        "update penstock.research_subject set shift_days = 1",
    };
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    assert_string_equal(
        fixture_sqlstate(
            fixture, app,
            text(fixture, "select set_config('penstock.erasing', '%s', false)", request)),
        "00000");
    for (size_t i = 0; i < sizeof tries / sizeof tries[0]; i++) {
        const char *got = fixture_sqlstate(fixture, app, tries[i]);
        if (strcmp(got, INSUFFICIENT_PRIVILEGE) != 0) {
            fail_msg("%s: %s", tries[i], got);
        }
    }
    PQfinish(app);
    assert_true(count_mentions(fixture, "sample_block", &person) > 0);
}

static void expect_removal_refused(struct fixture *fixture, PGconn *owner, const char *what)
{
    static const char *const tables[] = {"patient",
                                         "study",
                                         "recording",
                                         "recording_channel",
                                         "sample_block",
                                         "recording_change",
                                         "recording_revision",
                                         "recording_chunk",
                                         "legal_hold",
                                         "referral",
                                         "research_subject",
                                         "emergency_access",
                                         "retention_rule",
                                         "analysis_choices",
                                         "erased_patient",
                                         "erasure_request",
                                         "sample_block_rest",
                                         "sample_block_2025"};
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        const char *removal = text(fixture, "delete from penstock.%s", tables[i]);
        const char *got = fixture_sqlstate(fixture, owner, removal);
        if (strcmp(got, NEVER_REMOVED) != 0) {
            fail_msg("%s, %s: %s", what, removal, got);
        }
        got = fixture_sqlstate(fixture, owner,
                               text(fixture, "truncate penstock.%s cascade", tables[i]));
        if (strcmp(got, NEVER_REMOVED) != 0) {
            fail_msg("%s, truncate of %s: %s", what, tables[i], got);
        }
    }
}

static void owner_cannot_erase_without_an_approved_and_due_request(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "owner");
    make_old(fixture, &person);
    const char *request = request_erasure(fixture, fixture->clinic_id, person.patient);
    const char *nobody = "00000000-0000-7000-8000-000000000000";
    const char *said[] = {"", nobody, request};
    for (int i = 0; i < 3; i++) {
        PGconn *owner = owner_erasing(fixture, said[i]);
        expect_removal_refused(fixture, owner, "before approval");
        PQfinish(owner);
        if (i > 0) {
            assert_string_equal(erase_as_owner(fixture, said[i]), NOT_TO_BE_ERASED);
        }
    }
    CHECK(fixture, decide(fixture, second_person, request, approval));
    PGconn *owner = owner_erasing(fixture, request);
    expect_removal_refused(fixture, owner, "cooling off");
    PQfinish(owner);
    assert_string_equal(erase_as_owner(fixture, request), NOT_TO_BE_ERASED);
    cool_off(fixture, request);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, legal_hold_place(fixture->store, person.patient, "a trial", &fixture->error));
    fixture_commit(fixture);
    owner = owner_erasing(fixture, request);
    expect_removal_refused(fixture, owner, "held");
    PQfinish(owner);
    assert_string_equal(erase_as_owner(fixture, request), NOT_TO_BE_ERASED);
}

static void due_request_is_for_its_patient_only(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "mine");
    struct person other = make_person(fixture, fixture->clinic_id, "not mine");
    const char *request = due_request(fixture, &person);
    const char *refused[] = {
        text(fixture, "delete from penstock.sample_block where recording_id = '%s'",
             other.recording),
        text(fixture, "delete from penstock.recording_change where recording_id = '%s'",
             other.open),
        text(fixture, "delete from penstock.recording where id = '%s'", other.open),
        text(fixture, "delete from penstock.study where patient_id = '%s'", other.patient),
        text(fixture, "delete from penstock.patient where id = '%s'", other.patient),
        text(fixture, "delete from penstock.referral where patient_id = '%s'", other.patient),
        text(fixture, "delete from penstock.legal_hold where patient_id = '%s'", other.patient),
        "delete from penstock.research_subject",
        "delete from penstock.sample_block",
        "delete from penstock.sample_block_rest",
        "delete from penstock.retention_rule",
        "delete from penstock.analysis_choices",
        "delete from penstock.erased_patient",
        "delete from penstock.erasure_request",
        "truncate penstock.patient cascade",
    };
    PGconn *owner = owner_erasing(fixture, request);
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        const char *got = fixture_sqlstate(fixture, owner, refused[i]);
        if (strcmp(got, NEVER_REMOVED) != 0) {
            fail_msg("%s: %s", refused[i], got);
        }
    }
    /* Signed though it is, the patient's own row may go. */
    assert_string_equal(fixture_sqlstate(fixture, owner,
                                         text(fixture,
                                              "begin; delete from penstock.sample_block"
                                              " where recording_id = '%s'; rollback",
                                              person.recording)),
                        "00000");
    PQfinish(owner);
}

/* ---- two people ---- */

static void another_person_decides(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "four eyes");
    const char *id = request_erasure(fixture, fixture->clinic_id, person.patient);
    assert_false(decide(fixture, fixture->account_id, id, approval));
    assert_int_equal(fixture->error.kind, ERROR_CONFLICT);
    const char *nobody = "00000000-0000-7000-8000-000000000000";
    assert_false(decide(fixture, nobody, id, approval)); /* a token is no person */
    assert_int_equal(fixture->error.kind, ERROR_CONFLICT);
    /* Nor does the database take it from the server's role by itself. */
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    const char *same = text(fixture,
                            "update penstock.erasure_request set state = 'approved',"
                            " decided_by = requested_by, decision_reason = 'x', version = 2,"
                            " despite_retention = true where id = '%s'",
                            id);
    assert_string_equal(fixture_sqlstate(fixture, app, same), CHECK_VIOLATION);
    const char *backdated = text(fixture,
                                 "update penstock.erasure_request set state = 'approved',"
                                 " decided_by = '%s', decision_reason = 'x', version = 2,"
                                 " despite_retention = true, decided_at = '2020-01-01'"
                                 " where id = '%s' returning decided_at",
                                 second_person, id);
    PGresult *rows = PQexec(app, backdated);
    assert_int_equal(PQresultStatus(rows), PGRES_TUPLES_OK);
    assert_true(strcmp(PQgetvalue(rows, 0, 0), "2021") > 0); /* the database's own clock */
    PQclear(rows);
    static const char *const again[] = {"state = 'requested'", "state = 'carried_out'",
                                        "decided_at = '2020-01-01'"};
    for (int i = 0; i < 3; i++) {
        const char *sql = text(fixture,
                               "update penstock.erasure_request set %s, version = 3"
                               " where id = '%s'",
                               again[i], id);
        assert_string_equal(fixture_sqlstate(fixture, app, sql), NEVER_REMOVED);
    }
    PQfinish(app);
}

static void set_account(struct fixture *fixture, const char *id, const char *change)
{
    fixture_sql(fixture, text(fixture,
                              "update penstock.account set %s, version = version + 1"
                              " where id = '%s'",
                              change, id));
}

static void a_physician_asks_and_an_administrator_decides(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "whose word");
    const char *ask = text(fixture,
                           "insert into penstock.erasure_request (clinic_id, id, patient_id,"
                           " reason, requested_by) values ('%s', gen_random_uuid(), '%s', 'x',"
                           " '%s')",
                           fixture->clinic_id, person.patient, second_person);
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    assert_string_equal(fixture_sqlstate(fixture, app, ask), NOT_TO_BE_ERASED);
    PQfinish(app);
    const char *id = request_erasure(fixture, fixture->clinic_id, person.patient);
    static const char *const unfit[] = {"roles = 7", "active = false"};
    for (int i = 0; i < 2; i++) {
        set_account(fixture, second_person, unfit[i]);
        assert_false(decide(fixture, second_person, id, approval));
        assert_int_equal(fixture->error.kind, ERROR_CONFLICT);
        set_account(fixture, second_person, "roles = 64, active = true");
    }
    /* Who asked has to be somebody still; to refuse, nobody has. */
    set_account(fixture, fixture->account_id, "active = false");
    assert_false(decide(fixture, second_person, id, approval));
    assert_int_equal(fixture->error.kind, ERROR_CONFLICT);
    CHECK(fixture, decide(fixture, second_person, id, (struct erasure_decision){0}));
    set_account(fixture, fixture->account_id, "active = true");
}

static void holds_and_retention_forbid_approval(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct person person = make_person(fixture, fixture->clinic_id, "kept");
    const char *id = request_erasure(fixture, fixture->clinic_id, person.patient);
    const struct erasure_decision plain = {.approved = true};
    struct erasure erasure = {0};
    assert_false(decide(fixture, second_person, id, plain)); /* no rule: kept for ever */
    assert_int_equal(error->kind, ERROR_CONFLICT);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, erasure_get(fixture->store, fixture->arena, id, &erasure, error));
    assert_int_equal(erasure.kept_studies, 2);
    assert_false(erasure.held);
    CHECK(fixture, legal_hold_place(fixture->store, person.patient, "a trial", error));
    CHECK(fixture, legal_hold_place(fixture->store, person.patient, "a trial", error));
    fixture_commit(fixture);
    assert_false(decide(fixture, second_person, id, approval));
    assert_int_equal(error->kind, ERROR_CONFLICT);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, legal_hold_place(fixture->store, person.patient, "another trial", error));
    CHECK(fixture, legal_hold_lift(fixture->store, person.patient, "both are over", error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                legal_hold_lift(fixture->store, person.patient, "again", error));
    struct legal_hold *holds = NULL;
    size_t count = 0;
    CHECK(fixture,
          legal_hold_list(fixture->store, fixture->arena, person.patient, &holds, &count, error));
    assert_int_equal(count, 3);
    /* Three years after the visit, with a rule of one, nothing is kept any more. */
    struct retention_rule rule = {.keep_years = {true, 1}};
    CHECK(fixture, retention_rule_replace(fixture->store, &rule, error));
    fixture_commit(fixture);
    without_triggers(fixture, text(fixture,
                                   "update penstock.study set started_at = now()"
                                   " - interval '3 years' where patient_id = '%s'",
                                   person.patient));
    CHECK(fixture, decide(fixture, second_person, id, plain));
}

static void new_data_after_approval_stop_it(void **state)
{
    struct fixture *fixture = *state;
    struct person person = make_person(fixture, fixture->clinic_id, "comes again");
    const char *request = due_request(fixture, &person);
    fixture_begin(fixture, fixture->clinic_id);
    (void)fixture_study(fixture, person.patient);
    struct erasure erasure = {0};
    CHECK(fixture, erasure_get(fixture->store, fixture->arena, request, &erasure, &fixture->error));
    assert_string_equal(erasure.obstacle, "new data");
    fixture_commit(fixture);
    assert_string_equal(erase_as_owner(fixture, request), NOT_TO_BE_ERASED);
}

static void requests_are_one_at_a_time_and_may_be_withdrawn(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct person person = make_person(fixture, fixture->clinic_id, "twice");
    const char *id = request_erasure(fixture, fixture->clinic_id, person.patient);
    const char *second = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(
        fixture, ERROR_CONFLICT,
        erasure_create(fixture->store, fixture->arena, person.patient, "x", &second, error));
    store_rollback(fixture->store);
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(
        fixture, ERROR_NOT_FOUND,
        erasure_create(fixture->store, fixture->arena, person.patient, "x", &second, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, erasure_withdraw(fixture->store, id, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                legal_hold_place(fixture->store, person.patient, "x", error));
    store_rollback(fixture->store);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, erasure_withdraw(fixture->store, id, error));
    CHECK_FAILS(fixture, ERROR_CONFLICT, erasure_withdraw(fixture->store, id, error));
    fixture_commit(fixture);
    assert_false(decide(fixture, second_person, id, approval));
    assert_int_equal(error->kind, ERROR_STALE);
    (void)request_erasure(fixture, fixture->clinic_id, person.patient);
}

/* ---- the command's part ---- */

static struct eraser *open_eraser(struct fixture *fixture)
{
    struct eraser *eraser = NULL;
    CHECK(fixture, eraser_open(fixture->owner, &eraser, &fixture->error));
    return eraser;
}

static bool is_listed(struct fixture *fixture, struct eraser *eraser, const char *request,
                      const char *obstacle)
{
    struct erasure_due *items = NULL;
    size_t count = 0;
    bool found = false;
    CHECK(fixture, eraser_list_approved(eraser, fixture->arena, fixture->clinic_id, &items, &count,
                                        &fixture->error));
    for (size_t i = 0; i < count; i++) {
        bool same = obstacle == NULL
                        ? items[i].obstacle == NULL
                        : items[i].obstacle != NULL && strcmp(items[i].obstacle, obstacle) == 0;
        found = found || (same && strcmp(items[i].request_id, request) == 0);
    }
    return found;
}

static const char *days_ago(struct fixture *fixture, int days)
{
    return fixture_value(fixture, text(fixture, "select now() - interval '%d days'", days));
}

/* The list alone erases nobody who lives on. */
static void expect_not_erased_again(struct fixture *fixture, struct eraser *eraser,
                                    const struct person *person, const char *erased_at,
                                    const char *why)
{
    const char *request = "0195f1c0-0000-7000-8000-0000000000bb";
    const struct erased_patient told = {fixture->clinic_id, person->patient, request, erased_at};
    bool was_there = true;
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                eraser_erase_again(eraser, &told, &was_there, &fixture->error));
    assert_non_null(strstr(fixture->error.detail, why));
    assert_false(was_there);
    PGconn *owner = owner_erasing(fixture, request);
    const char *note =
        text(fixture, "insert into penstock.erased_patient values ('%s', '%s', '%s', '%s')",
             fixture->clinic_id, person->patient, request, erased_at);
    assert_string_equal(fixture_sqlstate(fixture, owner, note), NOT_TO_BE_ERASED);
    PQfinish(owner);
    assert_true(count_mentions(fixture, "sample_block", person) > 0);
}

static void whoever_lives_on_is_not_erased_again(void **state)
{
    struct fixture *fixture = *state;
    struct eraser *eraser = open_eraser(fixture);
    struct person person = make_person(fixture, fixture->clinic_id, "lives on");
    expect_not_erased_again(fixture, eraser, &person, days_ago(fixture, 5), "newer");
    expect_not_erased_again(fixture, eraser, &person, days_ago(fixture, -1), "future");
    make_old(fixture, &person);
    fixture_begin(fixture, fixture->clinic_id);
    const char *study = fixture_study(fixture, person.patient);
    fixture_commit(fixture);
    expect_not_erased_again(fixture, eraser, &person, days_ago(fixture, 5), "newer");
    without_triggers(fixture, text(fixture,
                                   "update penstock.study set created_at = now()"
                                   " - interval '9 days' where id = '%s';"
                                   " update penstock.recording set received_at = now()"
                                   " where id = '%s'",
                                   study, person.open));
    expect_not_erased_again(fixture, eraser, &person, days_ago(fixture, 5), "newer");
    make_old(fixture, &person);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, legal_hold_place(fixture->store, person.patient, "a trial", &fixture->error));
    fixture_commit(fixture);
    expect_not_erased_again(fixture, eraser, &person, days_ago(fixture, 5), "held");
    eraser_close(eraser);
}

static void copy_is_erased_again(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct eraser *eraser = open_eraser(fixture);
    struct person person = make_person(fixture, fixture->clinic_id, "comes back");
    const char *request = approved_request(fixture, &person);
    const char *counts = NULL;
    assert_true(is_listed(fixture, eraser, request, "cooling off"));
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                eraser_erase(eraser, fixture->arena, fixture->clinic_id, request, &counts, error));
    make_old(fixture, &person);
    cool_off(fixture, request);
    assert_true(is_listed(fixture, eraser, request, NULL));
    CHECK(fixture,
          eraser_erase(eraser, fixture->arena, fixture->clinic_id, request, &counts, error));
    assert_non_null(strstr(counts, "\"patient\": 1"));
    struct erased_patient *items = NULL;
    size_t count = 0;
    CHECK(fixture,
          eraser_list_erased(eraser, fixture->arena, fixture->clinic_id, &items, &count, error));
    assert_string_equal(items[count - 1].patient_id, person.patient);
    /* A copy from before knows nothing of it. */
    struct person copy = make_person(fixture, fixture->clinic_id, "in a copy");
    make_old(fixture, &copy);
    (void)request_erasure(fixture, fixture->clinic_id, copy.patient);
    const struct erased_patient told = {fixture->clinic_id, copy.patient,
                                        "0195f1c0-0000-7000-8000-0000000000aa",
                                        days_ago(fixture, 5)};
    bool was_there = false;
    CHECK(fixture, eraser_erase_again(eraser, &told, &was_there, error));
    assert_true(was_there);
    CHECK(fixture, eraser_erase_again(eraser, &told, &was_there, error));
    assert_false(was_there);
    assert_int_equal(count_mentions(fixture, "sample_block", &copy), 0);
    assert_int_equal(count_mentions(fixture, "patient", &copy), 0);
    assert_string_equal(words_of(fixture, copy.patient), "0 withdrawn");
    assert_string_equal(
        fixture_value(fixture, text(fixture,
                                    "select count(*) from penstock.audit_entry"
                                    " where what = 'penstock-server erase --again --restored'"
                                    " and patient_ids = array['%s'::uuid]",
                                    copy.patient)),
        "2");
    eraser_close(eraser);
}

/* Nothing comes in between, and nothing is half there. */
static void running_upload_is_waited_for(void **state)
{
    struct fixture *fixture = *state;
    struct eraser *eraser = open_eraser(fixture);
    struct person person = make_person(fixture, fixture->clinic_id, "in use");
    const char *request = due_request(fixture, &person);
    const char *counts = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    (void)recording_fixture_store(fixture, person.study, 10);
    CHECK_FAILS(fixture, ERROR_UNAVAILABLE,
                eraser_erase(eraser, fixture->arena, fixture->clinic_id, request, &counts,
                             &fixture->error));
    store_rollback(fixture->store);
    assert_true(count_mentions(fixture, "sample_block", &person) > 0);
    CHECK(fixture, eraser_erase(eraser, fixture->arena, fixture->clinic_id, request, &counts,
                                &fixture->error));
    eraser_close(eraser);
}

static void only_the_owner_opens_an_eraser(void **state)
{
    struct fixture *fixture = *state;
    struct eraser *eraser = NULL;
    CHECK_FAILS(fixture, ERROR_INVALID,
                eraser_open(fixture_conninfo(fixture, "penstock_app"), &eraser, &fixture->error));
    eraser = open_eraser(fixture);
    struct erasure_due *items = NULL;
    size_t count = 0;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                eraser_list_approved(eraser, fixture->arena, "00000000-0000-7000-8000-000000000000",
                                     &items, &count, &fixture->error));
    eraser_close(eraser);
}

static void erased_id_is_not_given_again(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct person person = make_person(fixture, fixture->clinic_id, "gone");
    assert_string_equal(erase_as_owner(fixture, due_request(fixture, &person)), "00000");
    struct patient patient = {.id = person.patient,
                              .mrn = "gone",
                              .family_name = "Example",
                              .given_name = "Person",
                              .birth_date = "1961-04-05",
                              .sex = "female"};
    const char *id = NULL;
    bool erased = false;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, erasure_has_been(fixture->store, person.patient, &erased, error));
    assert_true(erased);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                patient_create(fixture->store, fixture->arena, &patient, &id, error));
    store_rollback(fixture->store);
    /* In another clinic it says nothing. */
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK(fixture, erasure_has_been(fixture->store, person.patient, &erased, error));
    assert_false(erased);
    CHECK(fixture, patient_create(fixture->store, fixture->arena, &patient, &id, error));
    fixture_commit(fixture);
}

/* ---- pseudonyms ---- */

static void offsets_are_spread_and_never_zero(void **state)
{
    struct fixture *fixture = *state;
    assert_string_equal(
        fixture_value(fixture, "select count(*) filter (where d = 0 or d < -183 or d > 182)"
                               " || ' ' || min(d) || ' ' || max(d) || ' ' || count(distinct d)"
                               " from (select penstock.random_shift_days() as d"
                               " from generate_series(1, 20000)) drawn"),
        "0 -183 182 365");
}

static int set_up(void **state)
{
    if (fixture_setup(state) != 0) {
        return -1;
    }
    struct fixture *fixture = *state;
    CHECK(fixture, store_begin(fixture->store, fixture->clinic_id, NULL, &fixture->error));
    CHECK(fixture, account_create(fixture->store, fixture->arena, "second", "", "hash",
                                  ROLE_ADMINISTRATOR, &second_person, &fixture->error));
    fixture_commit(fixture);
    fixture_sql(fixture, text(fixture,
                              "update penstock.account set roles = roles | 4,"
                              " version = version + 1 where id = '%s'",
                              fixture->account_id));
    return 0;
}

int main(void)
{
#define ERASURE_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        ERASURE_TEST(nothing_is_left_and_nobody_else_is_touched),
        ERASURE_TEST(words_of_earlier_requests_go_too),
        ERASURE_TEST(app_role_cannot_erase_whatever_it_sets),
        ERASURE_TEST(owner_cannot_erase_without_an_approved_and_due_request),
        ERASURE_TEST(due_request_is_for_its_patient_only),
        ERASURE_TEST(another_person_decides),
        ERASURE_TEST(a_physician_asks_and_an_administrator_decides),
        ERASURE_TEST(holds_and_retention_forbid_approval),
        ERASURE_TEST(new_data_after_approval_stop_it),
        ERASURE_TEST(requests_are_one_at_a_time_and_may_be_withdrawn),
        ERASURE_TEST(copy_is_erased_again),
        ERASURE_TEST(whoever_lives_on_is_not_erased_again),
        ERASURE_TEST(running_upload_is_waited_for),
        ERASURE_TEST(only_the_owner_opens_an_eraser),
        ERASURE_TEST(erased_id_is_not_given_again),
        ERASURE_TEST(offsets_are_spread_and_never_zero),
    };
    return cmocka_run_group_tests_name("store: erasure", tests, set_up, fixture_teardown);
}
