#include "recording_fixture.h"

#include "base/uuid.h"
#include "store/store_recording_state.h"
#include "store/store_study.h"

#include <string.h>

static const int64_t start_us = INT64_C(1772440265250000);
static const int64_t day_us = INT64_C(86400000000);

static struct study example(const char *patient_id)
{
    return (struct study){.patient_id = patient_id,
                          .room = "Room 2",
                          .started_at_us = start_us,
                          .operator_name = "N. Example",
                          .position = "supine",
                          .catheters = "8 Fr, two lumens",
                          .history = "{\"pad_test\":{\"loss_g\":  3}}",
                          .status = "registered"};
}

static const char *create(struct fixture *fixture, const struct study *study)
{
    const char *id = NULL;
    CHECK(fixture, study_create(fixture->store, fixture->arena, study, &id, &fixture->error));
    return id;
}

static void study_comes_back(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, "back");
    struct study sent = example(patient);
    const char *id = create(fixture, &sent);
    struct study got;
    CHECK(fixture, study_get(fixture->store, fixture->arena, id, &got, &fixture->error));
    assert_string_equal(got.id, id);
    assert_string_equal(got.patient_id, patient);
    assert_string_equal(got.room, "Room 2");
    assert_true(got.started_at_us == start_us);
    assert_string_equal(got.operator_name, "N. Example");
    assert_string_equal(got.position, "supine");
    assert_string_equal(got.catheters, "8 Fr, two lumens");
    assert_string_equal(got.history, sent.history); /* as given, to the last space */
    assert_string_equal(got.status, "registered");
    assert_int_equal(got.version, 1);
    assert_int_equal(got.recording_count, 0);

    const struct study bare = {.patient_id = patient, .room = "", .started_at_us = -1};
    CHECK(fixture,
          study_get(fixture->store, fixture->arena, create(fixture, &bare), &got, &fixture->error));
    assert_string_equal(got.operator_name, "");
    assert_string_equal(got.history, "{}");
    assert_string_equal(got.status, "registered");
    assert_true(got.started_at_us == -1);
}

static void check_counts(struct fixture *fixture, const char *study_id, int all, int open)
{
    struct study got;
    CHECK(fixture, study_get(fixture->store, fixture->arena, study_id, &got, &fixture->error));
    assert_int_equal(got.recording_count, all);
    assert_int_equal(got.open_recording_count, open);
}

static void recordings_are_counted_by_what_they_are(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    fixture_begin(fixture, fixture->clinic_id);
    struct study sent = example(fixture_patient(fixture, "counts"));
    const char *study = create(fixture, &sent);
    check_counts(fixture, study, 0, 0);
    const char *complete = recording_fixture_store(fixture, study, 10);
    check_counts(fixture, study, 1, 0);

    const char *open = NULL;
    bool existed = false;
    CHECK(fixture,
          recording_open(fixture->store, fixture->arena, study, recording_fixture(fixture, NULL, 0),
                         "{}", &open, &existed, error));
    check_counts(fixture, study, 2, 1);
    CHECK(fixture, recording_withdraw(fixture->store, open, 1, "Wrong patient", error));
    check_counts(fixture, study, 1, 0);
    CHECK(fixture, recording_restore(fixture->store, open, 2, "Right patient", error));
    check_counts(fixture, study, 2, 1);
    CHECK(fixture, recording_withdraw(fixture->store, complete, 1, "Wrong patient", error));
    check_counts(fixture, study, 1, 1);

    const struct study_filter filter = {.patient_id = sent.patient_id};
    const struct store_page page = {.limit = 10};
    struct study *items = NULL;
    size_t count = 0;
    const char *next = NULL;
    CHECK(fixture,
          study_list(fixture->store, fixture->arena, &filter, &page, &items, &count, &next, error));
    assert_int_equal(count, 1);
    assert_int_equal(items[0].recording_count, 1);
    assert_int_equal(items[0].open_recording_count, 1);
    assert_non_null(strstr(items[0].patient_name, ", "));
    assert_non_null(items[0].patient_mrn);
}

static void faults_are_told_apart(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    fixture_begin(fixture, fixture->clinic_id);
    const char *patient = fixture_patient(fixture, "faults");
    char chosen[UUID_TEXT_SIZE];
    uuid_new(chosen);
    struct study study = example(patient);
    study.id = chosen;
    assert_string_equal(create(fixture, &study), chosen);
    const char *id = NULL;
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                study_create(fixture->store, fixture->arena, &study, &id, error));
    assert_string_equal(error->detail, "id");
    study.id = NULL;
    study.patient_id = chosen;
    CHECK_FAILS(fixture, ERROR_INVALID,
                study_create(fixture->store, fixture->arena, &study, &id, error));
    assert_string_equal(error->detail, "patient_id");
    study.patient_id = "x";
    CHECK_FAILS(fixture, ERROR_INVALID,
                study_create(fixture->store, fixture->arena, &study, &id, error));
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->other_clinic_id);
    study.patient_id = patient; /* another clinic's: as unknown as none */
    CHECK_FAILS(fixture, ERROR_INVALID,
                study_create(fixture->store, fixture->arena, &study, &id, error));
    assert_string_equal(error->detail, "patient_id");
    struct study got;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                study_get(fixture->store, fixture->arena, chosen, &got, error));
}

static void changes_need_the_version(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    fixture_begin(fixture, fixture->clinic_id);
    struct study study = example(fixture_patient(fixture, "changing"));
    study.id = create(fixture, &study);
    study.version = 1;
    study.room = "Room 3";
    study.history = "{}";
    study.status = "preliminary";
    CHECK(fixture, study_update(store, &study, error));
    CHECK_FAILS(fixture, ERROR_STALE, study_update(store, &study, error));
    struct study unknown = study;
    unknown.id = study.patient_id;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, study_update(store, &unknown, error));
    fixture_commit(fixture);
    fixture_set_status(fixture, study.id, "final");

    fixture_begin(fixture, fixture->clinic_id);
    struct study got;
    CHECK(fixture, study_get(store, fixture->arena, study.id, &got, error));
    assert_string_equal(got.room, "Room 3");
    assert_string_equal(got.status, "final");
    assert_int_equal(got.version, 3);
    got.room = "Room 4";
    CHECK_FAILS(fixture, ERROR_CONFLICT, study_update(store, &got, error));
    assert_string_equal(error->detail, "signed");
    store_rollback(store);
    fixture_set_status(fixture, study.id, "amended");
}

static void two_changes_at_once_do_not_both_win(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    fixture_begin(fixture, fixture->clinic_id);
    struct study study = example(fixture_patient(fixture, "twice"));
    study.id = create(fixture, &study);
    study.version = 1;
    fixture_commit(fixture);
    struct store *other = store_new(fixture->owner);
    struct study read;
    CHECK(fixture, store_begin(other, fixture->clinic_id, NULL, error));
    CHECK(fixture, study_get(other, fixture->arena, study.id, &read, error));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, study_update(fixture->store, &study, error));
    fixture_commit(fixture);
    CHECK_FAILS(fixture, ERROR_STALE, study_update(other, &read, error));
    store_rollback(other);
    store_free(other);
}

/* ---- lists ---- */

struct list {
    const char *patients[2];
    const char *ids[12];
};

/* A clinic of its own: 12 studies, two a day, of two patients in two rooms. */
static struct list make_list(struct fixture *fixture)
{
    struct list list;
    CHECK(fixture, clinic_create(fixture->store, fixture->arena, "List", &fixture->other_clinic_id,
                                 &fixture->error));
    fixture_begin(fixture, fixture->other_clinic_id);
    list.patients[0] = fixture_patient(fixture, "p0");
    list.patients[1] = fixture_patient(fixture, "p1");
    for (int i = 0; i < 12; i++) {
        struct study study = example(list.patients[i % 2]);
        study.room = i % 3 == 0 ? "A" : "B";
        study.status = i < 4 ? "preliminary" : "registered";
        study.started_at_us = start_us + i / 2 * day_us;
        list.ids[i] = create(fixture, &study);
    }
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->other_clinic_id);
    return list;
}

/* How many a filter finds; checks the order, and that no page repeats. */
static size_t found(struct fixture *fixture, struct study_filter filter, int limit)
{
    struct store_page page = {.limit = limit};
    size_t total = 0;
    int64_t before_us = INT64_MAX;
    const char *before_id = "~";
    do {
        struct study *items = NULL;
        size_t count = 0;
        CHECK(fixture, study_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                                  &page.cursor, &fixture->error));
        assert_true(count <= (size_t)limit);
        for (size_t i = 0; i < count; i++) {
            assert_true(
                items[i].started_at_us < before_us ||
                (items[i].started_at_us == before_us && strcmp(items[i].id, before_id) < 0));
            before_us = items[i].started_at_us;
            before_id = items[i].id;
            assert_string_equal(items[i].patient_name, "Example, Person");
            assert_int_equal(items[i].patient_mrn[0], 'p');
        }
        total += count;
    } while (page.cursor != NULL);
    return total;
}

static void filters_find(void **state)
{
    struct fixture *fixture = *state;
    struct list list = make_list(fixture);

    const struct {
        struct study_filter filter;
        size_t count;
    } cases[] = {
        {{0}, 12},
        {{.patient_id = list.patients[1]}, 6},
        {{.room = "A"}, 4},
        {{.patient_id = list.patients[0], .room = "A"}, 2},
        {{.room = "C"}, 0},
        {{.status = "preliminary"}, 4},
        {{.status = "preliminary", .room = "B"}, 2},
        {{.from_us = start_us + day_us}, 10},
        {{.to_us = start_us + day_us}, 2},
        {{.from_us = start_us + day_us, .to_us = start_us + 3 * day_us}, 4},
        {{.from_us = start_us, .to_us = start_us}, 0},
        {{.patient_id = fixture->account_id}, 0},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        for (int limit = 1; limit <= 13; limit += 4) {
            assert_int_equal(found(fixture, cases[i].filter, limit), cases[i].count);
        }
    }
    struct study *items = NULL;
    size_t count = 0;
    struct store_page page = {.limit = 5, .cursor = "bad"};
    const struct study_filter all = {0};
    CHECK_FAILS(fixture, ERROR_INVALID,
                study_list(fixture->store, fixture->arena, &all, &page, &items, &count,
                           &page.cursor, &fixture->error));
    assert_string_equal(fixture->error.detail, "cursor");
}

static void pages_neither_miss_nor_repeat_under_inserts(void **state)
{
    struct fixture *fixture = *state;
    struct list list = make_list(fixture);
    struct store_page page = {.limit = 5};
    const struct study_filter all = {0};
    int seen[12] = {0};
    do {
        struct study *items = NULL;
        size_t count = 0;
        CHECK(fixture, study_list(fixture->store, fixture->arena, &all, &page, &items, &count,
                                  &page.cursor, &fixture->error));
        for (size_t i = 0; i < count; i++) {
            for (int k = 0; k < 12; k++) {
                seen[k] += strcmp(items[i].id, list.ids[k]) == 0 ? 1 : 0;
            }
        }
        struct study newer = example(list.patients[0]);
        newer.started_at_us = start_us + 100 * day_us;
        create(fixture, &newer);
    } while (page.cursor != NULL);
    for (int k = 0; k < 12; k++) {
        assert_int_equal(seen[k], 1);
    }
}

/* Row-level security must not keep the planner from the index that gives the order. */
static void lists_walk_their_index(void **state)
{
    struct fixture *fixture = *state;
    struct list list = make_list(fixture);
    store_rollback(fixture->store);
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "insert into penstock.study (clinic_id, id, patient_id, room,"
                             " started_at) select '%s', gen_random_uuid(), '%s', 'R' || n %% 7,"
                             " now() - n * interval '1 hour' from generate_series(1, 5000) n;"
                             " analyze penstock.study",
                             fixture->other_clinic_id, list.patients[0]));
    PGconn *connection = fixture_app_connection(fixture, fixture->other_clinic_id);
    PGresult *plan =
        PQexec(connection,
               "set plan_cache_mode = force_generic_plan;"
               "prepare s(timestamptz, uuid, text) as select id from penstock.study where room = $3"
               " and (started_at, id) < ($1, $2) order by started_at desc, id desc limit 10;"
               " explain execute s(now(), gen_random_uuid(), 'R1')");
    const char *all = "";
    for (int i = 0; i < PQntuples(plan); i++) {
        all = arena_printf(fixture->arena, "%s\n%s", all, PQgetvalue(plan, i, 0));
    }
    PQclear(plan);
    PQfinish(connection);
    assert_non_null(strstr(all, "study_by_room"));
    assert_null(strstr(all, "Sort"));
}

int main(void)
{
#define STUDY_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        STUDY_TEST(study_comes_back),
        STUDY_TEST(recordings_are_counted_by_what_they_are),
        STUDY_TEST(faults_are_told_apart),
        STUDY_TEST(changes_need_the_version),
        STUDY_TEST(two_changes_at_once_do_not_both_win),
        STUDY_TEST(filters_find),
        STUDY_TEST(pages_neither_miss_nor_repeat_under_inserts),
        STUDY_TEST(lists_walk_their_index),
    };
    return cmocka_run_group_tests_name("store: studies", tests, fixture_setup, fixture_teardown);
}
