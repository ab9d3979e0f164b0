/* How far a transaction sees within its clinic: what schema/0008_access.sql promises, asked through
 * the store and, with SQL of our own, as the server's role. */
#include "recording_fixture.h"

#include "store/query.h"
#include "store/store_referral.h"
#include "store/store_study.h"

#include <string.h>

/* Of one clinic: a patient with a signed study, one with an open study, one without a study. */
static const char *signed_patient;
static const char *signed_study;
static const char *signed_recording;
static const char *open_patient;
static const char *open_study;
static const char *lone_patient;
static const char *room_account;
static const char *referrer_account;

static int set_up(void **state)
{
    if (fixture_setup(state) != 0) {
        return -1;
    }
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    fixture_begin(fixture, fixture->clinic_id);
    signed_patient = fixture_patient(fixture, "signed");
    signed_study = fixture_study(fixture, signed_patient);
    signed_recording = recording_fixture_store(fixture, signed_study, 10);
    open_patient = fixture_patient(fixture, "open");
    open_study = fixture_study(fixture, open_patient);
    recording_fixture_store(fixture, open_study, 10);
    lone_patient = fixture_patient(fixture, "lone");
    CHECK(fixture, account_create(fixture->store, fixture->arena, "of-a-room", "", "hash",
                                  ROLE_ROOM, &room_account, error));
    CHECK(fixture, account_create(fixture->store, fixture->arena, "of-a-referrer", "", "hash",
                                  ROLE_REFERRER, &referrer_account, error));
    fixture_commit(fixture);
    fixture_set_status(fixture, signed_study, "final");
    return 0;
}

/* Begins a transaction of the clinic that is narrowed. */
static void begin_within(struct fixture *fixture, const char *actor, unsigned reach)
{
    CHECK(fixture, store_begin(fixture->store, fixture->clinic_id, actor, &fixture->error));
    store_narrow(fixture->store, reach);
}

static bool sees_patient(struct fixture *fixture, const char *id)
{
    struct patient patient = {0};
    bool found = patient_get(fixture->store, fixture->arena, id, &patient, &fixture->error);
    assert_true(found || fixture->error.kind == ERROR_NOT_FOUND);
    return found;
}

static bool sees_study(struct fixture *fixture, const char *id)
{
    struct study study = {0};
    bool found = study_get(fixture->store, fixture->arena, id, &study, &fixture->error);
    assert_true(found || fixture->error.kind == ERROR_NOT_FOUND);
    return found;
}

static bool sees_recording(struct fixture *fixture, const char *id)
{
    struct recording_row row = {0};
    bool found = recording_get(fixture->store, fixture->arena, id, &row, &fixture->error);
    assert_true(found || fixture->error.kind == ERROR_NOT_FOUND);
    return found;
}

static void sees(struct fixture *fixture, bool signed_one, bool open_one, bool lone_one)
{
    assert_int_equal(sees_patient(fixture, signed_patient), signed_one);
    assert_int_equal(sees_study(fixture, signed_study), signed_one);
    assert_int_equal(sees_recording(fixture, signed_recording), signed_one);
    assert_int_equal(sees_patient(fixture, open_patient), open_one);
    assert_int_equal(sees_study(fixture, open_study), open_one);
    assert_int_equal(sees_patient(fixture, lone_patient), lone_one);
}

static void a_clinic_reaches_all_and_nobody_nothing(void **state)
{
    struct fixture *fixture = *state;
    begin_within(fixture, fixture->account_id, STORE_REACH_CLINIC);
    sees(fixture, true, true, true);
    fixture_commit(fixture);
    begin_within(fixture, fixture->account_id, STORE_REACH_NOBODY);
    sees(fixture, false, false, false);
    fixture_commit(fixture);
}

static void open_work_is_what_is_not_signed(void **state)
{
    struct fixture *fixture = *state;
    begin_within(fixture, room_account, STORE_REACH_OPEN);
    sees(fixture, false, true, false);
    fixture_commit(fixture);
}

static size_t listed(struct fixture *fixture, const struct patient_filter *filter)
{
    const struct store_page page = {.limit = 10};
    struct patient *items = NULL;
    size_t count = 0;
    const char *next = NULL;
    CHECK(fixture, patient_list(fixture->store, fixture->arena, filter, &page, &items, &count,
                                &next, &fixture->error));
    return count;
}

/* Who stands before the nurse says both; a number alone could be tried out. */
static void number_and_birth_date_together_name_a_patient(void **state)
{
    struct fixture *fixture = *state;

    static const struct {
        struct patient_filter filter;
        size_t count;
    } cases[] = {
        {{.mrn = "lone", .birth_date = "1961-04-05"}, 1},  {{.mrn = "lone"}, 0},
        {{.birth_date = "1961-04-05"}, 1 /* open work */}, {{.name = "Example"}, 1},
        {{.mrn = "lone", .birth_date = "1961-04-06"}, 0},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        begin_within(fixture, room_account, STORE_REACH_OPEN);
        assert_int_equal(listed(fixture, &cases[i].filter), cases[i].count);
        fixture_commit(fixture);
    }
}

static void work_begins_for_a_patient_made_or_named(void **state)
{
    struct fixture *fixture = *state;
    begin_within(fixture, room_account, STORE_REACH_OPEN);
    const char *made = fixture_patient(fixture, "made by the room");
    assert_true(sees_patient(fixture, made));
    fixture_commit(fixture);
    begin_within(fixture, fixture->account_id, STORE_REACH_OPEN);
    assert_false(sees_patient(fixture, made)); /* another's */
    fixture_commit(fixture);
    begin_within(fixture, room_account, STORE_REACH_OPEN);
    const char *study = fixture_study(fixture, lone_patient);
    fixture_commit(fixture);
    begin_within(fixture, room_account, STORE_REACH_OPEN);
    assert_true(sees_patient(fixture, lone_patient));
    assert_true(sees_study(fixture, study));
    fixture_commit(fixture);
    fixture_set_status(fixture, study, "final");
    begin_within(fixture, room_account, STORE_REACH_OPEN);
    assert_false(sees_patient(fixture, lone_patient));
    fixture_commit(fixture);
}

static void a_referrer_sees_signed_studies_of_the_referred(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    begin_within(fixture, referrer_account, STORE_REACH_REFERRED);
    sees(fixture, false, false, false);
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, referral_put(fixture->store, signed_patient, referrer_account, error));
    CHECK(fixture, referral_put(fixture->store, signed_patient, referrer_account, error));
    CHECK(fixture, referral_put(fixture->store, open_patient, referrer_account, error));
    CHECK_FAILS(fixture, ERROR_INVALID,
                referral_put(fixture->store, open_patient, room_account, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                referral_put(fixture->store, referrer_account, referrer_account, error));
    fixture_commit(fixture);

    begin_within(fixture, referrer_account, STORE_REACH_REFERRED);
    assert_true(sees_study(fixture, signed_study));
    assert_true(sees_patient(fixture, signed_patient));
    assert_true(sees_patient(fixture, open_patient));
    assert_false(sees_study(fixture, open_study));
    fixture_commit(fixture);
    begin_within(fixture, room_account, STORE_REACH_REFERRED);
    sees(fixture, false, false, false);
    fixture_commit(fixture);
    begin_within(fixture, referrer_account, STORE_REACH_REFERRED | STORE_REACH_OPEN);
    assert_true(sees_study(fixture, signed_study));
    assert_true(sees_study(fixture, open_study));
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, referral_end(fixture->store, signed_patient, referrer_account, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                referral_end(fixture->store, signed_patient, referrer_account, error));
    fixture_commit(fixture);
    begin_within(fixture, referrer_account, STORE_REACH_REFERRED);
    assert_false(sees_study(fixture, signed_study));
    fixture_commit(fixture);
}

static void emergency_access_opens_one_patient_to_one_person_for_an_hour(void **state)
{
    struct fixture *fixture = *state;
    struct emergency_access access = {0};
    begin_within(fixture, room_account, STORE_REACH_CLINIC);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                emergency_access_take(fixture->store, fixture->arena, "signed", "1961-04-06",
                                      "the wrong birth date", &access, &fixture->error));
    CHECK(fixture, emergency_access_take(fixture->store, fixture->arena, "signed", "1961-04-05",
                                         "needs the last study now", &access, &fixture->error));
    fixture_commit(fixture);
    assert_string_equal(access.patient_id, signed_patient);

    begin_within(fixture, room_account, STORE_REACH_OPEN);
    assert_true(sees_patient(fixture, signed_patient));
    assert_true(sees_study(fixture, signed_study));
    assert_true(sees_recording(fixture, signed_recording));
    fixture_commit(fixture);
    begin_within(fixture, fixture->account_id, STORE_REACH_OPEN);
    assert_false(sees_study(fixture, signed_study));
    fixture_commit(fixture);

    fixture_sql(fixture,
                "alter table penstock.emergency_access disable trigger no_update;"
                "update penstock.emergency_access set created_at = now() - interval '1 hour',"
                " expires_at = now() - interval '1 second';"
                "alter table penstock.emergency_access enable trigger no_update");
    begin_within(fixture, room_account, STORE_REACH_OPEN);
    assert_false(sees_study(fixture, signed_study));
    fixture_commit(fixture);
}

/* Triggers look at the recording, which is out of reach here, and foreign keys are not bound. */
static void what_is_out_of_reach_cannot_be_added_to(void **state)
{
    struct fixture *fixture = *state;
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    const char *key =
        arena_printf(fixture->arena, "'%s', '%s'", fixture->clinic_id, signed_recording);
    const char *day = fixture_value(
        fixture,
        arena_printf(fixture->arena, "select received_on from penstock.recording where id = '%s'",
                     signed_recording));
    const char *attempts[] = {
        arena_printf(fixture->arena,
                     "insert into penstock.recording_revision (clinic_id, recording_id, revision,"
                     " received_on, events, analysis) values (%s, 2, '%s', '[]', '{}')",
                     key, day),
        arena_printf(fixture->arena,
                     "insert into penstock.recording_channel values (%s, 9, 'other', 'mL', 1, 0,"
                     " 'decimal', 0, 1, 0, 0, 0)",
                     key),
        arena_printf(fixture->arena,
                     "insert into penstock.sample_block values (%s, 0, 0, 99, '%s', 1, 1, '')", key,
                     day),
    };
    for (size_t r = 0; r < 3; r++) {
        const char *reach = ((const char *[]){"open", "referred", "nobody"})[r];
        fixture_sqlstate(fixture, app,
                         arena_printf(fixture->arena,
                                      "select set_config('penstock.reach', '%s', false)", reach));
        for (size_t i = 0; i < sizeof attempts / sizeof attempts[0]; i++) {
            const char *got = fixture_sqlstate(fixture, app, attempts[i]);
            if (strcmp(got, "42501") != 0 && strcmp(got, "23503") != 0) {
                fail_msg("%s, %s: %s", reach, attempts[i], got);
            }
        }
    }
    PQfinish(app);
}

static void parts_of_recordings_are_reached_as_those_are(void **state)
{
    struct fixture *fixture = *state;
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const tables[] = {"recording_channel", "recording_revision", "sample_block"};
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        PGresult *rows =
            PQexec(app, arena_printf(fixture->arena,
                                     "select set_config('penstock.reach', 'open', false);"
                                     "select count(*), count(*) filter (where recording_id = '%s')"
                                     " from penstock.%s",
                                     signed_recording, tables[i]));
        assert_string_not_equal(PQgetvalue(rows, 0, 0), "0");
        assert_string_equal(PQgetvalue(rows, 0, 1), "0");
        PQclear(rows);
    }
    PQfinish(app);
}

static void without_a_reach_nothing_is_seen(void **state)
{
    struct fixture *fixture = *state;
    PGconn *app = fixture_app_connection(fixture, fixture->clinic_id);
    static const char *const reaches[] = {"", "everything", "CLINIC", "open clinic"};
    static const char *const tables[] = {
        "patient", "study", "recording", "recording_channel", "recording_revision", "sample_block"};
    for (size_t i = 0; i < sizeof reaches / sizeof reaches[0]; i++) {
        for (size_t t = 0; t < sizeof tables / sizeof tables[0]; t++) {
            PGresult *rows =
                PQexec(app, arena_printf(fixture->arena,
                                         "select set_config('penstock.reach', '%s', false);"
                                         "select count(*) from penstock.%s",
                                         reaches[i], tables[t]));
            assert_string_equal(PQgetvalue(rows, 0, 0), "0");
            PQclear(rows);
        }
    }
    PQfinish(app);
}

int main(void)
{
#define REACH_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        REACH_TEST(a_clinic_reaches_all_and_nobody_nothing),
        REACH_TEST(open_work_is_what_is_not_signed),
        REACH_TEST(number_and_birth_date_together_name_a_patient),
        REACH_TEST(a_referrer_sees_signed_studies_of_the_referred),
        REACH_TEST(emergency_access_opens_one_patient_to_one_person_for_an_hour),
        REACH_TEST(what_is_out_of_reach_cannot_be_added_to),
        REACH_TEST(parts_of_recordings_are_reached_as_those_are),
        REACH_TEST(without_a_reach_nothing_is_seen),
        REACH_TEST(work_begins_for_a_patient_made_or_named),
    };
    return cmocka_run_group_tests_name("store: reach", tests, set_up, fixture_teardown);
}
