/* Withdrawn recordings: out of sight everywhere, never gone, and back again with a reason. */
#include "recording_fixture.h"

#include "store/store_chunk.h"
#include "store/store_recording_state.h"
#include "store/store_study.h"
#include "store/store_trend.h"

#include <pthread.h>
#include <string.h>

/* A study with one recording. */
static const char *stored_one(struct fixture *fixture, const char *mrn, const char **ret_study,
                              const char **ret_patient)
{
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, mrn);
    const char *study = fixture_study(fixture, patient);
    const char *id = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    *ret_study = study;
    if (ret_patient != NULL) {
        *ret_patient = patient;
    }
    return id;
}

static void withdraw(struct fixture *fixture, const char *id, int version, const char *reason)
{
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_withdraw(fixture->store, id, version, reason, &fixture->error));
    fixture_commit(fixture);
}

static void restore(struct fixture *fixture, const char *id, int version, const char *reason)
{
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_restore(fixture->store, id, version, reason, &fixture->error));
    fixture_commit(fixture);
}

static struct recording_row get(struct fixture *fixture, const char *id)
{
    struct recording_row row;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_get(fixture->store, fixture->arena, id, &row, &fixture->error));
    fixture_commit(fixture);
    return row;
}

static struct study get_study(struct fixture *fixture, const char *id)
{
    struct study study;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_get(fixture->store, fixture->arena, id, &study, &fixture->error));
    fixture_commit(fixture);
    return study;
}

static void withdrawn_and_restored(void **state)
{
    struct fixture *fixture = *state;
    const char *study = NULL;
    const char *id = stored_one(fixture, "there and back", &study, NULL);
    int study_version = get_study(fixture, study).version;
    withdraw(fixture, id, 1, "wrong \"patient\"");
    struct recording_row row = get(fixture, id);
    assert_int_equal(row.state, RECORDING_WITHDRAWN);
    assert_int_equal(row.version, 2);
    assert_int_equal(row.revision, 1);
    assert_int_equal(row.channel_count, 4);
    assert_int_equal(get_study(fixture, study).recording_count, 0);
    assert_int_equal(get_study(fixture, study).version, study_version + 1);
    restore(fixture, id, 2, "it was right");
    row = get(fixture, id);
    assert_int_equal(row.state, RECORDING_COMPLETE);
    assert_int_equal(row.version, 3);
    assert_int_equal(get_study(fixture, study).recording_count, 1);
    assert_int_equal(get_study(fixture, study).version, study_version + 2);

    struct recording_change_row *changes = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_changes(fixture->store, fixture->arena, id, &changes, &count, &fixture->error));
    assert_int_equal(count, 2);
    assert_string_equal(changes[0].change, "withdrawn");
    assert_string_equal(changes[0].reason, "wrong \"patient\"");
    assert_int_equal(changes[0].version, 2);
    assert_string_equal(changes[0].created_by, fixture->account_id);
    assert_string_equal(changes[0].created_by_name, "First Person");
    assert_true(changes[0].created_at_us >= row.received_at_us);
    assert_string_equal(changes[1].change, "restored");
    assert_string_equal(changes[1].reason, "it was right");
    assert_int_equal(changes[1].version, 3);
    fixture_commit(fixture);
}

static void changes_name_tokens_and_the_program(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = NULL;
    const char *id = stored_one(fixture, "who did it", &study, NULL);
    const unsigned char hash[SECRET_HASH_BYTES] = {7};
    fixture_begin(fixture, fixture->clinic_id);
    const char *token = fixture_token(fixture, "Room 3", hash, ROLE_ROOM);
    fixture_commit(fixture);
    CHECK(fixture, store_begin(fixture->store, fixture->clinic_id, token, error));
    CHECK(fixture, recording_withdraw(fixture->store, id, 1, "", error));
    fixture_commit(fixture);
    CHECK(fixture, store_begin(fixture->store, fixture->clinic_id, NULL, error));
    CHECK(fixture, recording_restore(fixture->store, id, 2, "", error));
    struct recording_change_row *changes = NULL;
    size_t count = 0;
    CHECK(fixture, recording_changes(fixture->store, fixture->arena, id, &changes, &count, error));
    fixture_commit(fixture);
    assert_int_equal(count, 2);
    assert_string_equal(changes[0].created_by_name, "Room 3");
    assert_string_equal(changes[0].reason, "");
    assert_null(changes[1].created_by);
    assert_null(changes[1].created_by_name);
}

static void refusals_say_why(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    const char *study = NULL;
    const char *id = stored_one(fixture, "refused", &study, NULL);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_STALE, recording_withdraw(store, id, 2, "", error));
    CHECK_FAILS(fixture, ERROR_STALE, recording_withdraw(store, id, 0, "", error));
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_restore(store, id, 1, "", error));
    assert_string_equal(error->detail, "state");
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_withdraw(store, study, 1, "", error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_withdraw(store, "x", 1, "", error));
    CHECK(fixture, recording_withdraw(store, id, 1, "", error));
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_withdraw(store, id, 2, "", error));
    assert_string_equal(error->detail, "state");
    CHECK_FAILS(fixture, ERROR_STALE, recording_restore(store, id, 1, "", error));
    fixture_commit(fixture);
    assert_int_equal(get(fixture, id).version, 2);
}

static void signed_recordings_stay(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    static const char *const signatures[] = {"final", "amended"};
    const char *study = NULL;
    const char *gone = stored_one(fixture, "signed", &study, NULL);
    fixture_begin(fixture, fixture->clinic_id);
    const char *kept = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    withdraw(fixture, gone, 1, "before the signature");
    for (int i = 0; i < 2; i++) {
        fixture_set_status(fixture, study, signatures[i]);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_withdraw(fixture->store, kept, 1, "", error));
        assert_string_equal(error->detail, "signed");
        CHECK_FAILS(fixture, ERROR_CONFLICT, recording_restore(fixture->store, gone, 2, "", error));
        assert_string_equal(error->detail, "signed");
        fixture_commit(fixture);
    }
    assert_int_equal(get(fixture, kept).state, RECORDING_COMPLETE);
    assert_int_equal(get(fixture, gone).state, RECORDING_WITHDRAWN);
}

static void cancelled_studies_let_recordings_go(void **state)
{
    struct fixture *fixture = *state;
    const char *study = NULL;
    const char *id = stored_one(fixture, "cancelled", &study, NULL);
    fixture_set_status(fixture, study, "cancelled");
    withdraw(fixture, id, 1, "never mind");
    assert_int_equal(get(fixture, id).state, RECORDING_WITHDRAWN);
    assert_string_equal(get_study(fixture, study).status, "cancelled");
}

static void open_recordings_come_back_open(void **state)
{
    struct fixture *fixture = *state;
    const char *study = NULL;
    (void)stored_one(fixture, "open", &study, NULL);
    struct recording_document *document = recording_fixture(fixture, NULL, 0);
    const char *id = NULL;
    bool existed = true;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_open(fixture->store, fixture->arena, study, document, "opening", &id,
                                  &existed, &fixture->error));
    fixture_commit(fixture);
    withdraw(fixture, id, 1, "");
    assert_int_equal(get(fixture, id).state, RECORDING_WITHDRAWN);
    restore(fixture, id, 2, "");
    struct recording_row row = get(fixture, id);
    assert_int_equal(row.state, RECORDING_OPEN);
    assert_int_equal(row.revision, 0);
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_complete(fixture->store, fixture->arena, &row,
                                      recording_fixture(fixture, NULL, 10), "{}", &fixture->error));
    fixture_commit(fixture);
    assert_int_equal(get(fixture, id).version, 4);
    withdraw(fixture, id, 4, "");
    restore(fixture, id, 5, "");
    assert_int_equal(get(fixture, id).state, RECORDING_COMPLETE);
}

/* ---- what no longer counts ---- */

static size_t count_listed(struct fixture *fixture, const char *study, bool withdrawn_too)
{
    struct recording_row *rows = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_list(fixture->store, fixture->arena, study, withdrawn_too, &rows,
                                  &count, &fixture->error));
    fixture_commit(fixture);
    for (size_t i = 0; i < count; i++) {
        assert_true(withdrawn_too || rows[i].state != RECORDING_WITHDRAWN);
        assert_int_equal(rows[i].channel_count, 4);
    }
    return count;
}

static size_t count_analysed(struct fixture *fixture, const char *study)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_list_analysed(fixture->store, fixture->arena, study, &rows, &analyses,
                                           &count, &fixture->error));
    fixture_commit(fixture);
    return count;
}

/* Documents in the trend: a study without any has a row without a document. */
static size_t count_trend(struct fixture *fixture, const char *patient)
{
    struct trend_row *rows = NULL;
    size_t count = 0;
    size_t documents = 0;
    bool truncated = true;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, trend_list(fixture->store, fixture->arena, patient, 10, &rows, &count,
                              &truncated, &fixture->error));
    fixture_commit(fixture);
    assert_true(count >= 1);
    for (size_t i = 0; i < count; i++) {
        documents += rows[i].analysis_json != NULL ? 1 : 0;
    }
    return documents;
}

static size_t count_stale(struct fixture *fixture, const char *id)
{
    struct stale_recording *items = NULL;
    size_t count = 0;
    size_t found = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_list_stale(fixture->store, fixture->arena, NULL, 1000, &items, &count,
                                        &fixture->error));
    fixture_commit(fixture);
    for (size_t i = 0; i < count; i++) {
        found += strcmp(items[i].id, id) == 0 ? 1 : 0;
    }
    return found;
}

static int count_kept(struct fixture *fixture)
{
    int count = -1;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_count_kept(fixture->store, &count, &fixture->error));
    fixture_commit(fixture);
    return count;
}

static void lists_leave_withdrawn_ones_out(void **state)
{
    struct fixture *fixture = *state;
    const char *study = NULL;
    const char *patient = NULL;
    const char *id = stored_one(fixture, "lists", &study, &patient);
    fixture_begin(fixture, fixture->clinic_id);
    (void)recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "set session_replication_role = replica;"
                                      " update penstock.recording_revision set analysis_version ="
                                      " '' where recording_id = '%s';"
                                      " reset session_replication_role",
                                      id));
    for (int round = 0; round < 2; round++) {
        assert_int_equal(count_listed(fixture, study, false), 2);
        assert_int_equal(count_listed(fixture, study, true), 2);
        assert_int_equal(count_analysed(fixture, study), 2);
        assert_int_equal(count_trend(fixture, patient), 2);
        assert_int_equal(count_stale(fixture, id), 1);

        withdraw(fixture, id, 1 + 2 * round, "");
        assert_int_equal(count_listed(fixture, study, false), 1);
        assert_int_equal(count_listed(fixture, study, true), 2);
        assert_int_equal(count_analysed(fixture, study), 1);
        assert_int_equal(count_trend(fixture, patient), 1);
        assert_int_equal(count_stale(fixture, id), 0);
        restore(fixture, id, 2 + 2 * round, "");
    }
    withdraw(fixture, id, 5, "");
    int kept = count_kept(fixture);
    fixture_set_status(fixture, study, "cancelled");
    assert_int_equal(count_kept(fixture), kept); /* withdrawn: not even among those */
}

static void withdrawn_ones_get_no_revision(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = NULL;
    const char *id = stored_one(fixture, "no revision", &study, NULL);
    withdraw(fixture, id, 1, "");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock(fixture->store, id, 1, error));
    assert_string_equal(error->detail, "state");
    /* Without asking first it is the database that refuses. */
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_add_revision(fixture->store, id, 2, NULL, 0, "{}", "", error));
}

static void other_clinics_see_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = NULL;
    const char *id = stored_one(fixture, "ours", &study, NULL);
    withdraw(fixture, id, 1, "secret");
    fixture_begin(fixture, fixture->other_clinic_id);
    struct recording_change_row *changes = NULL;
    struct recording_row *rows = NULL;
    size_t count = 1;
    CHECK(fixture, recording_changes(fixture->store, fixture->arena, id, &changes, &count, error));
    assert_int_equal(count, 0);
    CHECK(fixture,
          recording_list(fixture->store, fixture->arena, study, true, &rows, &count, error));
    assert_int_equal(count, 0);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_restore(fixture->store, id, 2, "", error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_withdraw(fixture->store, id, 2, "", error));
    fixture_commit(fixture);
    assert_int_equal(get(fixture, id).version, 2);
}

/* ---- at once ---- */

struct changer {
    struct fixture *fixture;
    const char *id;
    bool good;
    struct error error;
};

static void *withdraw_it(void *argument)
{
    struct changer *changer = argument;
    struct store *store = store_new(changer->fixture->owner);
    changer->good = store_begin(store, changer->fixture->clinic_id, NULL, &changer->error) &&
                    recording_withdraw(store, changer->id, 1, "", &changer->error) &&
                    store_commit(store, &changer->error);
    store_free(store);
    return NULL;
}

/* Two of one study: each changes the study too, and neither may lock the other out. */
static void two_recordings_go_at_once(void **state)
{
    struct fixture *fixture = *state;
    for (int round = 0; round < 5; round++) {
        const char *study = NULL;
        const char *mrn = arena_printf(fixture->arena, "at once %d", round);
        struct changer changers[2] = {{.fixture = fixture}, {.fixture = fixture}};
        pthread_t threads[2];
        changers[0].id = stored_one(fixture, mrn, &study, NULL);
        fixture_begin(fixture, fixture->clinic_id);
        changers[1].id = recording_fixture_store(fixture, study, 10);
        fixture_commit(fixture);
        int version = get_study(fixture, study).version;
        for (int i = 0; i < 2; i++) {
            assert_int_equal(pthread_create(&threads[i], NULL, withdraw_it, &changers[i]), 0);
        }
        for (int i = 0; i < 2; i++) {
            assert_int_equal(pthread_join(threads[i], NULL), 0);
        }
        for (int i = 0; i < 2; i++) {
            fixture->error = changers[i].error;
            CHECK(fixture, changers[i].good);
        }
        assert_int_equal(get_study(fixture, study).version, version + 2);
        assert_int_equal(get_study(fixture, study).recording_count, 0);
    }
}

static void one_recording_goes_once(void **state)
{
    struct fixture *fixture = *state;
    const char *study = NULL;
    struct changer changers[2] = {{.fixture = fixture}, {.fixture = fixture}};
    pthread_t threads[2];
    changers[0].id = stored_one(fixture, "once", &study, NULL);
    changers[1].id = changers[0].id;
    for (int i = 0; i < 2; i++) {
        assert_int_equal(pthread_create(&threads[i], NULL, withdraw_it, &changers[i]), 0);
    }
    for (int i = 0; i < 2; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
    }
    assert_int_equal(changers[0].good + changers[1].good, 1);
    assert_int_equal(changers[changers[0].good ? 1 : 0].error.kind, ERROR_STALE);
    assert_int_equal(get(fixture, changers[0].id).version, 2);
}

int main(void)
{
#define STATE_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        STATE_TEST(withdrawn_and_restored),
        STATE_TEST(changes_name_tokens_and_the_program),
        STATE_TEST(refusals_say_why),
        STATE_TEST(signed_recordings_stay),
        STATE_TEST(cancelled_studies_let_recordings_go),
        STATE_TEST(open_recordings_come_back_open),
        STATE_TEST(lists_leave_withdrawn_ones_out),
        STATE_TEST(withdrawn_ones_get_no_revision),
        STATE_TEST(other_clinics_see_nothing),
        STATE_TEST(two_recordings_go_at_once),
        STATE_TEST(one_recording_goes_once),
    };
    return cmocka_run_group_tests_name("store: states of recordings", tests, fixture_setup,
                                       fixture_teardown);
}
