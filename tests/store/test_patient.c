#include "fixture.h"

#include "base/uuid.h"
#include "store/store_patient.h"

#include <string.h>

static struct patient example(const char *mrn)
{
    return (struct patient){.mrn = mrn,
                            .family_name = "Fellside",
                            .given_name = "Ada",
                            .birth_date = "1958-02-28",
                            .sex = "other",
                            .weight_kg = {true, 68.25}};
}

static const char *create(struct fixture *fixture, const struct patient *patient)
{
    const char *id = NULL;
    CHECK(fixture, patient_create(fixture->store, fixture->arena, patient, &id, &fixture->error));
    return id;
}

static void sexes_have_names(void **state)
{
    (void)state;
    assert_int_equal(patient_sex_from_name("female"), SEX_FEMALE);
    assert_int_equal(patient_sex_from_name("male"), SEX_MALE);
    assert_int_equal(patient_sex_from_name("other"), SEX_OTHER);
    assert_int_equal(patient_sex_from_name("unknown"), SEX_UNKNOWN);
}

static void patient_comes_back(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    struct patient sent = example("back");
    sent.family_name = "Ó Dálaigh; '\"\\";
    const char *id = create(fixture, &sent);
    struct patient got;
    CHECK(fixture, patient_get(fixture->store, fixture->arena, id, &got, &fixture->error));
    assert_string_equal(got.id, id);
    assert_string_equal(got.mrn, "back");
    assert_string_equal(got.family_name, sent.family_name);
    assert_string_equal(got.given_name, "Ada");
    assert_string_equal(got.birth_date, "1958-02-28");
    assert_string_equal(got.sex, "other");
    assert_true(got.weight_kg.known);
    assert_memory_equal(&got.weight_kg.value, &sent.weight_kg.value, sizeof(double));
    assert_int_equal(got.version, 1);
    sent = example("no weight");
    sent.weight_kg.known = false;
    CHECK(fixture, patient_get(fixture->store, fixture->arena, create(fixture, &sent), &got,
                               &fixture->error));
    assert_false(got.weight_kg.known);
}

static void conflicts_say_what_is_taken(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    char chosen[UUID_TEXT_SIZE];
    uuid_new(chosen);
    fixture_begin(fixture, fixture->clinic_id);
    struct patient patient = example("taken");
    patient.id = chosen;
    assert_string_equal(create(fixture, &patient), chosen);
    const char *id = NULL;
    patient.mrn = "free";
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                patient_create(fixture->store, fixture->arena, &patient, &id, error));
    assert_string_equal(error->detail, "id");
    patient = example("taken");
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                patient_create(fixture->store, fixture->arena, &patient, &id, error));
    assert_string_equal(error->detail, "mrn");
    patient.id = "not an id";
    CHECK_FAILS(fixture, ERROR_INVALID,
                patient_create(fixture->store, fixture->arena, &patient, &id, error));
    fixture_commit(fixture); /* a conflict does not end the transaction */
    /* Both are unique in the clinic only. */
    fixture_begin(fixture, fixture->other_clinic_id);
    patient.id = chosen;
    create(fixture, &patient);
    fixture_commit(fixture);
}

static void changes_need_the_version(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    fixture_begin(fixture, fixture->clinic_id);
    const struct patient other = example("other's");
    create(fixture, &other);
    struct patient patient = example("changing");
    patient.id = create(fixture, &patient);
    patient.version = 1;
    patient.given_name = "Beth";
    patient.weight_kg.known = false;
    CHECK(fixture, patient_update(store, &patient, error));
    CHECK_FAILS(fixture, ERROR_STALE, patient_update(store, &patient, error));
    patient.version = 2;
    patient.mrn = "other's";
    CHECK_FAILS(fixture, ERROR_CONFLICT, patient_update(store, &patient, error));
    assert_string_equal(error->detail, "mrn");
    patient.mrn = "changed";
    CHECK(fixture, patient_update(store, &patient, error));
    struct patient got;
    CHECK(fixture, patient_get(store, fixture->arena, patient.id, &got, error));
    assert_string_equal(got.mrn, "changed");
    assert_string_equal(got.given_name, "Beth");
    assert_false(got.weight_kg.known);
    assert_int_equal(got.version, 3);
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->other_clinic_id);
    patient.version = 3;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, patient_update(store, &patient, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                patient_get(store, fixture->arena, patient.id, &got, error));
}

/* ---- lists, in a clinic of their own ---- */

static const struct {
    const char *mrn;
    const char *family;
    const char *given;
    const char *birth;
} listed[] = {
    {"1", "Beck", "Ann", "1960-01-01"},       {"2", "beck", "Zoe", "1960-01-01"},
    {"3", "Öberg", "Kim", "1970-05-05"},      {"4", "Olsen", "Kim", "1970-05-05"},
    {"5", "Olsen", "Kim", "1980-05-05"},      {"6", "Zeal", "Ångström", "1990-05-05"},
    {"7", "van Dale", "Per%_", "1990-05-05"},
};

enum { LISTED = sizeof listed / sizeof listed[0] };

static void make_list(struct fixture *fixture)
{
    CHECK(fixture, clinic_create(fixture->store, fixture->arena, "List", &fixture->other_clinic_id,
                                 &fixture->error));
    fixture_begin(fixture, fixture->other_clinic_id);
    for (size_t i = 0; i < LISTED; i++) {
        struct patient patient = example(listed[i].mrn);
        patient.family_name = listed[i].family;
        patient.given_name = listed[i].given;
        patient.birth_date = listed[i].birth;
        create(fixture, &patient);
    }
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->other_clinic_id);
}

/* The MRNs that a filter finds, in order, walked in pages of `limit`. */
static const char *found(struct fixture *fixture, struct patient_filter filter, int limit)
{
    const char *all = "";
    struct store_page page = {.limit = limit};
    do {
        struct patient *items = NULL;
        size_t count = 0;
        CHECK(fixture, patient_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                                    &page.cursor, &fixture->error));
        assert_true(count <= (size_t)limit);
        for (size_t i = 0; i < count; i++) {
            all = arena_printf(fixture->arena, "%s%s", all, items[i].mrn);
        }
    } while (page.cursor != NULL);
    return all;
}

static void filters_find(void **state)
{
    struct fixture *fixture = *state;
    make_list(fixture);
    for (int limit = 1; limit <= 8; limit++) {
        const char *all = found(fixture, (struct patient_filter){0}, limit);
        assert_int_equal(strlen(all), LISTED);
        /* In the order of people's alphabets: Öberg stands among the O, van Dale before Zeal. */
        assert_memory_equal(all, "213", 3);
        assert_string_equal(all + 5, "76");
    }
    assert_string_equal(found(fixture, (struct patient_filter){.name = "BEC"}, 5), "21");
    assert_string_equal(found(fixture, (struct patient_filter){.name = "ö"}, 5), "3");
    assert_string_equal(found(fixture, (struct patient_filter){.name = "åNG"}, 5), "6");
    assert_int_equal(strlen(found(fixture, (struct patient_filter){.name = "kim"}, 1)), 3);
    assert_string_equal(found(fixture, (struct patient_filter){.name = "eck"}, 5), "");
    assert_string_equal(found(fixture, (struct patient_filter){.name = "per%"}, 5), "7");
    assert_string_equal(found(fixture, (struct patient_filter){.name = "%"}, 5), "");
    assert_string_equal(found(fixture, (struct patient_filter){.mrn = "4"}, 5), "4");
    assert_string_equal(found(fixture, (struct patient_filter){.mrn = "4", .name = "ols"}, 5), "4");
    assert_string_equal(found(fixture, (struct patient_filter){.mrn = "4", .name = "x"}, 5), "");
    assert_string_equal(
        found(fixture, (struct patient_filter){.name = "kim", .birth_date = "1980-05-05"}, 5), "5");
    assert_string_equal(found(fixture, (struct patient_filter){.birth_date = "1990-05-05"}, 1),
                        "76");
}

static void pages_neither_miss_nor_repeat_under_inserts(void **state)
{
    struct fixture *fixture = *state;
    make_list(fixture);
    struct store_page page = {.limit = 2};
    const struct patient_filter filter = {0};
    int seen[LISTED + 1] = {0};
    int number = 0;
    do {
        struct patient *items = NULL;
        size_t count = 0;
        CHECK(fixture, patient_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                                    &page.cursor, &fixture->error));
        for (size_t i = 0; i < count; i++) {
            if (strlen(items[i].mrn) == 1) {
                seen[items[i].mrn[0] - '0']++;
            }
        }
        /* One before and one after every place that the walk can have reached. */
        struct patient early = example(arena_printf(fixture->arena, "early %d", number));
        struct patient late = example(arena_printf(fixture->arena, "late %d", number++));
        early.family_name = "Aa";
        late.family_name = "Zz";
        create(fixture, &early);
        if (number < 3) {
            create(fixture, &late);
        }
    } while (page.cursor != NULL);
    for (int i = 1; i <= LISTED; i++) {
        assert_int_equal(seen[i], 1);
    }
}

static void malformed_cursors_are_refused(void **state)
{
    struct fixture *fixture = *state;
    make_list(fixture);
    struct store_page page = {.limit = 2};
    const struct patient_filter filter = {0};
    struct patient *items = NULL;
    size_t count = 0;
    const char *next = NULL;
    CHECK(fixture, patient_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                                &next, &fixture->error));
    assert_non_null(next);
    assert_null(strstr(next, "Beck"));
    const char *const bad[] = {
        "",
        "x",
        "%00",
        arena_printf(fixture->arena, "%sAAAA", next),
        arena_strndup(fixture->arena, next, strlen(next) - 4),
        arena_printf(fixture->arena, "A%s", next + 1),
        arena_printf(fixture->arena, "%.*sAA", (int)strlen(next) - 2, next),
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        page.cursor = bad[i];
        CHECK_FAILS(fixture, ERROR_INVALID,
                    patient_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                                 &next, &fixture->error));
        assert_string_equal(fixture->error.detail, "cursor");
    }
}

static void names_are_searched_by_index(void **state)
{
    struct fixture *fixture = *state;
    CHECK(fixture, clinic_create(fixture->store, fixture->arena, "Large", &fixture->other_clinic_id,
                                 &fixture->error));
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "insert into penstock.patient (clinic_id, id, mrn, family_name,"
                             " given_name, birth_date, sex) select '%s', gen_random_uuid(), n,"
                             " 'Family' || n, 'Given' || n, '1990-01-01', 'female'"
                             " from generate_series(1, 5000) n; analyze penstock.patient",
                             fixture->other_clinic_id));
    PGconn *connection = fixture_app_connection(fixture, fixture->other_clinic_id);
    PGresult *plan = PQexec(
        connection,
        "prepare p(text) as select id from penstock.patient where family_key >= lower($1)"
        " and family_key < lower($1) || chr(1114111) or given_key >= lower($1)"
        " and given_key < lower($1) || chr(1114111); set plan_cache_mode = force_generic_plan;"
        " explain execute p('family499')");
    const char *all = "";
    for (int i = 0; i < PQntuples(plan); i++) {
        all = arena_printf(fixture->arena, "%s\n%s", all, PQgetvalue(plan, i, 0));
    }
    PQclear(plan);
    PQfinish(connection);
    assert_non_null(strstr(all, "patient_by_family_key"));
    assert_non_null(strstr(all, "patient_by_given_key"));
}

int main(void)
{
#define PATIENT_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        PATIENT_TEST(sexes_have_names),
        PATIENT_TEST(patient_comes_back),
        PATIENT_TEST(conflicts_say_what_is_taken),
        PATIENT_TEST(changes_need_the_version),
        PATIENT_TEST(filters_find),
        PATIENT_TEST(pages_neither_miss_nor_repeat_under_inserts),
        PATIENT_TEST(malformed_cursors_are_refused),
        PATIENT_TEST(names_are_searched_by_index),
    };
    return cmocka_run_group_tests_name("store: patients", tests, fixture_setup, fixture_teardown);
}
