/* Recordings: what comes back is what was uploaded, whole or in part, revision by revision. */
#include "recording_fixture.h"

#include "analysis/analysis.h"
#include "base/uuid.h"
#include "store/store_study.h"

#include <math.h>
#include <string.h>

enum { COUNT = 10000 }; /* three blocks, the last one short */

static const char *new_study(struct fixture *fixture, const char *mrn)
{
    fixture_begin(fixture, fixture->clinic_id);
    const char *study = fixture_study(fixture, fixture_patient(fixture, mrn));
    fixture_commit(fixture);
    return study;
}

static void assert_same_channel(const struct document_channel *got,
                                const struct document_channel *sent)
{
    assert_int_equal(got->signal, sent->signal);
    assert_string_equal(got->unit, sent->unit);
    assert_true(recording_fixture_same(&got->to_canonical, &sent->to_canonical, 1));
    assert_true(recording_fixture_same(&got->rate_hz, &sent->rate_hz, 1));
    assert_true(recording_fixture_same(&got->start_s, &sent->start_s, 1));
    assert_int_equal(got->samples.encoding, sent->samples.encoding);
    assert_int_equal(got->samples.decimals, sent->samples.decimals);
    assert_int_equal(got->samples.count, sent->samples.count);
    assert_int_equal(got->samples.missing, sent->samples.missing);
    assert_true(got->samples.missing > 0);
    assert_true(samples_equal(&got->samples, &sent->samples));
}

static void document_comes_back_as_uploaded(void **state)
{
    bool existed = false;
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "round trip");
    char chosen[UUID_TEXT_SIZE];
    uuid_new(chosen);
    const struct recording_document *sent = recording_fixture(fixture, chosen, COUNT);
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_create(fixture->store, fixture->arena, study, sent, "{ }", &id,
                                    &existed, error));
    fixture_commit(fixture);
    assert_string_equal(id, chosen);

    const struct recording_document *got = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_load(fixture->store, fixture->arena, id, 0, &got, error));
    assert_string_equal(got->id, chosen);
    assert_int_equal(got->type, sent->type);
    assert_true(got->started_at_us == sent->started_at_us);
    assert_int_equal(got->conditions.numbers.position, POSITION_SITTING);
    assert_true(got->conditions.numbers.initial_residual_ml.known);
    assert_false(got->conditions.numbers.post_void_residual_ml.known);
    assert_string_equal(got->conditions.zeroed, "atmosphere");
    assert_int_equal(got->channel_count, sent->channel_count);
    for (size_t i = 0; i < sent->channel_count; i++) {
        assert_same_channel(&got->channels[i], &sent->channels[i]);
    }
    assert_int_equal(got->event_count, 2);
    assert_string_equal(got->events[1].note, sent->events[1].note);
    assert_true(got->events[1].value.known);
    assert_true(recording_fixture_same(&got->events[1].at_s, &sent->events[1].at_s, 1));
}

static void rows_tell_the_shape(void **state)
{
    bool existed = false;
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "shape");
    fixture_begin(fixture, fixture->clinic_id);
    const char *first = recording_fixture_store(fixture, study, COUNT);
    struct recording_document *late = recording_fixture(fixture, NULL, 1);
    late->started_at_us += 1;
    late->type = RECORDING_UROFLOWMETRY;
    const char *second = NULL;
    CHECK(fixture, recording_create(fixture->store, fixture->arena, study, late, "{}", &second,
                                    &existed, error));
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->clinic_id);
    struct recording_row row;
    CHECK(fixture, recording_get(fixture->store, fixture->arena, first, &row, error));
    assert_string_equal(row.study_id, study);
    assert_int_equal(row.revision, 1);
    assert_true(row.started_at_us == INT64_C(1772440265250001));
    assert_true(row.received_at_us > row.started_at_us - INT64_C(1000000) * 86400 * 3650);
    assert_true(fabs(row.duration_s - 3000.0) < 1e-9); /* 10,000 samples at 10/3 Hz */
    assert_int_equal(row.channel_count, 4);
    assert_int_equal(row.channels[1].number, 1);
    assert_int_equal(row.channels[1].shape.encoding, SAMPLES_INT16);
    assert_int_equal(row.channels[2].shape.encoding, SAMPLES_FLOAT64);
    assert_int_equal(row.channels[3].shape.encoding, SAMPLES_FLOAT32);

    struct recording_row *rows = NULL;
    size_t count = 0;
    CHECK(fixture,
          recording_list(fixture->store, fixture->arena, study, false, &rows, &count, error));
    assert_int_equal(count, 2);
    assert_string_equal(rows[0].id, first);
    assert_string_equal(rows[1].id, second);
    assert_int_equal(rows[1].type, RECORDING_UROFLOWMETRY);
    const char **analyses = NULL;
    CHECK(fixture, recording_list_analysed(fixture->store, fixture->arena, study, &rows, &analyses,
                                           &count, error));
    assert_int_equal(count, 2);
    assert_string_equal(rows[0].id, first);
    assert_string_equal(analyses[0], "{\"revision\": 1}");
    assert_string_equal(analyses[1], "{}");
    struct study stored;
    CHECK(fixture, study_get(fixture->store, fixture->arena, study, &stored, error));
    assert_int_equal(stored.recording_count, 2);
    assert_string_equal(stored.status, "preliminary");
}

/* Their ids are in another order than they themselves. */
static void every_recording_of_a_study_has_its_own_channels(void **state)
{
    enum { RECORDINGS = 24 };

    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "channels of many");
    fixture_begin(fixture, fixture->clinic_id);
    for (size_t i = 0; i < RECORDINGS; i++) {
        struct recording_document *document = recording_fixture(fixture, NULL, i + 1);
        const char *id = NULL;
        bool existed = true;
        document->started_at_us += (int64_t)i;
        document->channel_count = i % 5; /* also none */
        CHECK(fixture, recording_create(fixture->store, fixture->arena, study, document, "{}", &id,
                                        &existed, error));
    }
    fixture_commit(fixture);
    struct recording_row *rows = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_list(fixture->store, fixture->arena, study, false, &rows, &count, error));
    assert_int_equal(count, RECORDINGS);
    for (size_t i = 0; i < RECORDINGS; i++) {
        assert_int_equal(rows[i].channel_count, i % 5);
        for (size_t c = 0; c < rows[i].channel_count; c++) {
            assert_int_equal(rows[i].channels[c].number, c);
            assert_int_equal(rows[i].channels[c].shape.count, i + 1);
        }
    }
}

static void spans_across_blocks_are_read(void **state)
{
    struct fixture *fixture = *state;
    static const size_t spans[][2] = {{0, 1},    {4095, 1},  {4096, 1},    {4095, 2},
                                      {0, 4096}, {1, 4096},  {4000, 5000}, {8191, 2},
                                      {9999, 1}, {0, COUNT}, {5, 0},       {COUNT, 0}};
    const char *study = new_study(fixture, "spans");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, COUNT);
    const struct recording_document *sent = recording_fixture(fixture, NULL, COUNT);
    struct recording_row row;
    CHECK(fixture, recording_get(fixture->store, fixture->arena, id, &row, &fixture->error));
    for (size_t c = 0; c < row.channel_count; c++) {
        for (size_t s = 0; s < sizeof spans / sizeof spans[0]; s++) {
            struct samples wanted =
                samples_slice(&sent->channels[c].samples, spans[s][0], spans[s][1]);
            struct samples got;
            CHECK(fixture, recording_samples(fixture->store, fixture->arena, &row, &row.channels[c],
                                             spans[s][0], spans[s][1], &got, &fixture->error));
            assert_true(samples_equal(&got, &wanted));
        }
    }
    struct samples none;
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_samples(fixture->store, fixture->arena, &row, &row.channels[0], COUNT, 1,
                                  &none, &fixture->error));
}

static void change_block(struct fixture *fixture, const char *id, const char *change)
{
    fixture_sql(fixture,
                arena_printf(fixture->arena,
                             "set session_replication_role = replica; %s where recording_id = '%s'"
                             " and channel_number = 0 and block_number = 1;"
                             " reset session_replication_role",
                             change, id));
}

/* Only blocks that the span touches are read: a damaged one does not hinder its neighbours. */
static void damaged_block_is_reported(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "damaged");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, COUNT);
    fixture_commit(fixture);
    change_block(fixture, id,
                 "update penstock.sample_block"
                 " set data = set_byte(data, 20, get_byte(data, 20) # 1)");
    fixture_begin(fixture, fixture->clinic_id);
    struct recording_row row;
    struct samples got;
    CHECK(fixture, recording_get(fixture->store, fixture->arena, id, &row, error));
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_samples(fixture->store, fixture->arena, &row, &row.channels[0], 4096, 1,
                                  &got, error));
    assert_non_null(strstr(error->detail, "channel 0, level 0, block 1"));
    assert_non_null(strstr(error->detail, id));
    CHECK(fixture, recording_samples(fixture->store, fixture->arena, &row, &row.channels[0], 0,
                                     4096, &got, error));
    CHECK(fixture, recording_samples(fixture->store, fixture->arena, &row, &row.channels[0], 8192,
                                     100, &got, error));
    store_rollback(fixture->store);

    change_block(fixture, id, "delete from penstock.sample_block");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_samples(fixture->store, fixture->arena, &row, &row.channels[0], 0, COUNT,
                                  &got, error));
    assert_non_null(strstr(error->detail, "block 1"));
}

static void many_blocks_go_in_batches(void **state)
{
    bool existed = false;
    struct fixture *fixture = *state;

    enum { MANY = 700 * 4096 + 1 };

    const char *study = new_study(fixture, "many");
    double *values = arena_array(fixture->arena, MANY, sizeof *values);
    for (size_t i = 0; i < MANY; i++) {
        values[i] = (double)(i % 5000) / 100.0;
    }
    struct recording_document *document = recording_fixture(fixture, NULL, 1);
    document->channel_count = 1;
    samples_from_values(values, MANY, fixture->arena, &document->channels[0].samples);
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_create(fixture->store, fixture->arena, study, document, "{}", &id,
                                    &existed, &fixture->error));
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    const struct recording_document *got = NULL;
    CHECK(fixture, recording_load(fixture->store, fixture->arena, id, 1, &got, &fixture->error));
    assert_true(samples_equal(&got->channels[0].samples, &document->channels[0].samples));
}

static void refusals_leave_the_transaction_usable(void **state)
{
    bool existed = false;
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "refusals");
    const char *id = NULL;
    fixture_begin(fixture, fixture->clinic_id);
    const char *taken = recording_fixture_store(fixture, study, 10);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                recording_create(fixture->store, fixture->arena, study,
                                 recording_fixture(fixture, taken, 11), "{}", &id, &existed,
                                 error));
    assert_string_equal(error->detail, "id");
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_create(fixture->store, fixture->arena, fixture->account_id,
                                 recording_fixture(fixture, NULL, 10), "{}", &id, &existed, error));
    CHECK_FAILS(fixture, ERROR_INVALID,
                recording_create(fixture->store, fixture->arena, study,
                                 recording_fixture(fixture, "x", 10), "{}", &id, &existed, error));
    struct recording_row row;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_get(fixture->store, fixture->arena, study, &row, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_get(fixture->store, fixture->arena, "not an id", &row, error));
    CHECK(fixture, recording_get(fixture->store, fixture->arena, taken, &row, error));
    fixture_commit(fixture);
}

/* Ids are unique in a clinic: another clinic's neither shows nor hinders. */
static void ids_of_other_clinics_do_not_show(void **state)
{
    bool existed = false;
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "ours");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->other_clinic_id);
    struct recording_row row;
    const char *json = NULL;
    int revision = 0;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_get(fixture->store, fixture->arena, id, &row, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_events(fixture->store, fixture->arena, id, 0, &json, &revision, error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_lock(fixture->store, id, 1, error));
    const char *same = NULL;
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_create(fixture->store, fixture->arena, study,
                                 recording_fixture(fixture, id, 10), "{}", &same, &existed, error));
    const char *theirs = fixture_study(fixture, fixture_patient(fixture, "theirs"));
    CHECK(fixture,
          recording_create(fixture->store, fixture->arena, theirs,
                           recording_fixture(fixture, id, 10), "{}", &same, &existed, error));
    assert_string_equal(same, id);
    fixture_commit(fixture);
}

static void revisions_follow_one_another(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    struct store *store = fixture->store;
    const char *study = new_study(fixture, "revisions");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, 10);
    const struct document_event events[] = {{.at_s = 3, .code = "leak", .note = ""}};
    CHECK(fixture, recording_lock(store, id, 1, error));
    CHECK(fixture,
          recording_add_revision(store, id, 2, events, 1, "{\"revision\":  2}", "", error));
    CHECK_FAILS(fixture, ERROR_STALE, recording_lock(store, id, 1, error));
    CHECK_FAILS(fixture, ERROR_STALE,
                recording_add_revision(store, id, 2, events, 1, "{}", "", error));
    CHECK_FAILS(fixture, ERROR_STALE,
                recording_add_revision(store, id, 4, events, 1, "{}", "", error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, recording_lock(store, study, 1, error));
    fixture_commit(fixture);

    fixture_begin(fixture, fixture->clinic_id);
    const char *json = NULL;
    int revision = 0;
    CHECK(fixture, recording_analysis(store, fixture->arena, id, 0, &json, &revision, error));
    assert_int_equal(revision, 2);
    assert_string_equal(json, "{\"revision\":  2}"); /* exactly as rendered */
    CHECK(fixture, recording_analysis(store, fixture->arena, id, 1, &json, &revision, error));
    assert_int_equal(revision, 1);
    assert_string_equal(json, "{\"revision\": 1}");
    CHECK(fixture, recording_events(store, fixture->arena, id, 2, &json, &revision, error));
    assert_non_null(strstr(json, "leak"));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                recording_events(store, fixture->arena, id, 3, &json, &revision, error));
    const struct recording_document *first = NULL;
    CHECK(fixture, recording_load(store, fixture->arena, id, 1, &first, error));
    assert_int_equal(first->event_count, 2);
    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select count(*) from penstock.recording_revision"
                                            " where recording_id = '%s' and created_by = '%s'",
                                            id, fixture->account_id)),
        "2");
}

static void cancelled_studies_keep_their_revisions(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "cancelled later");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    fixture_set_status(fixture, study, "cancelled");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock(fixture->store, id, 1, &fixture->error));
}

static void signed_studies_take_nothing_more(void **state)
{
    bool existed = false;
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    static const char *const signatures[] = {"final", "amended"};
    const char *study = new_study(fixture, "signed");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    for (int i = 0; i < 2; i++) {
        fixture_set_status(fixture, study, signatures[i]);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK_FAILS(fixture, ERROR_CONFLICT, recording_lock(fixture->store, id, 1, error));
        assert_string_equal(error->detail, "signed");
        const char *more = NULL;
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_create(fixture->store, fixture->arena, study,
                                     recording_fixture(fixture, NULL, 10), "{}", &more, &existed,
                                     error));
        assert_string_equal(error->detail, "signed");
        CHECK_FAILS(fixture, ERROR_CONFLICT,
                    recording_add_revision(fixture->store, id, 2, NULL, 0, "{}", "", error));
        assert_string_equal(error->detail, "signed");
        store_rollback(fixture->store);
    }
}

/* ---- documents of an older analysis ---- */

static void set_version(struct fixture *fixture, const char *id, int revision, const char *version)
{
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "set session_replication_role = replica;"
                                      " update penstock.recording_revision"
                                      " set analysis_version = '%s'"
                                      " where recording_id = '%s' and revision = %d;"
                                      " reset session_replication_role",
                                      version, id, revision));
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

static void versions_are_compared_number_by_number(void **state)
{
    struct fixture *fixture = *state;

    static const struct {
        const char *version;
        size_t stale;
    } rows[] = {
        {ANALYSIS_VERSION, 0}, {"", 1},        {"0.1.99", 1},
        {"0.0.10000", 1},      {"999.0.0", 0}, {"10000.1", 0},
    };

    const char *study = new_study(fixture, "versions");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, 10);
    fixture_commit(fixture);
    assert_int_equal(count_stale(fixture, id), 0); /* just made */
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        set_version(fixture, id, 1, rows[i].version);
        assert_int_equal(count_stale(fixture, id), rows[i].stale);
    }
}

static void only_the_newest_revision_counts(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    const char *study = new_study(fixture, "newest");
    fixture_begin(fixture, fixture->clinic_id);
    const char *id = recording_fixture_store(fixture, study, 10);
    CHECK(fixture,
          recording_add_revision(fixture->store, id, 2, NULL, 0, "{}", "made anew", error));
    fixture_commit(fixture);
    set_version(fixture, id, 1, "");
    assert_int_equal(count_stale(fixture, id), 0);
    set_version(fixture, id, 2, "0.1");
    assert_int_equal(count_stale(fixture, id), 1);
    assert_string_equal(
        fixture_value(fixture, arena_printf(fixture->arena,
                                            "select string_agg('<' || reason || '>', ' '"
                                            " order by revision) from penstock.recording_revision"
                                            " where recording_id = '%s'",
                                            id)),
        "<> <made anew>");
}

static void signed_and_cancelled_studies_are_not_stale(void **state)
{
    struct fixture *fixture = *state;
    struct error *error = &fixture->error;
    static const char *const statuses[] = {"cancelled", "final", "amended"};
    for (int i = 0; i < 3; i++) {
        const char *study = new_study(fixture, statuses[i]);
        fixture_begin(fixture, fixture->clinic_id);
        const char *id = recording_fixture_store(fixture, study, 10);
        int before = 0;
        int after = 0;
        CHECK(fixture, recording_count_kept(fixture->store, &before, error));
        fixture_commit(fixture);
        set_version(fixture, id, 1, "");
        assert_int_equal(count_stale(fixture, id), 1);
        if (i == 2) {
            fixture_set_status(fixture, study, "final");
        }
        fixture_set_status(fixture, study, statuses[i]);
        assert_int_equal(count_stale(fixture, id), 0);
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture, recording_count_kept(fixture->store, &after, error));
        fixture_commit(fixture);
        assert_int_equal(after, before + 1);
    }
}

static void stale_ones_are_listed_page_by_page(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "pages");

    enum { MANY = 5 };

    size_t seen = 0;
    char after[UUID_TEXT_SIZE] = "";
    for (int i = 0; i < MANY; i++) {
        fixture_begin(fixture, fixture->clinic_id);
        const char *id = recording_fixture_store(fixture, study, 1);
        fixture_commit(fixture);
        set_version(fixture, id, 1, "");
    }
    for (;;) {
        struct stale_recording *items = NULL;
        size_t count = 0;
        fixture_begin(fixture, fixture->clinic_id);
        CHECK(fixture,
              recording_list_stale(fixture->store, fixture->arena, after[0] == '\0' ? NULL : after,
                                   2, &items, &count, &fixture->error));
        fixture_commit(fixture);
        assert_true(count <= 2);
        for (size_t i = 0; i < count; i++) {
            assert_true(strcmp(items[i].id, after) > 0);
            assert_true(items[i].revision >= 1);
            memcpy(after, items[i].id, sizeof after);
            seen++;
        }
        if (count < 2) {
            break;
        }
    }
    assert_true(seen >= MANY);
    fixture_begin(fixture, fixture->other_clinic_id);
    struct stale_recording *items = NULL;
    size_t count = 0;
    CHECK(fixture, recording_list_stale(fixture->store, fixture->arena, NULL, 1000, &items, &count,
                                        &fixture->error));
    assert_int_equal(count, 0);
}

int main(void)
{
#define RECORDING_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        RECORDING_TEST(document_comes_back_as_uploaded),
        RECORDING_TEST(rows_tell_the_shape),
        RECORDING_TEST(every_recording_of_a_study_has_its_own_channels),
        RECORDING_TEST(spans_across_blocks_are_read),
        RECORDING_TEST(damaged_block_is_reported),
        RECORDING_TEST(many_blocks_go_in_batches),
        RECORDING_TEST(refusals_leave_the_transaction_usable),
        RECORDING_TEST(ids_of_other_clinics_do_not_show),
        RECORDING_TEST(revisions_follow_one_another),
        RECORDING_TEST(signed_studies_take_nothing_more),
        RECORDING_TEST(versions_are_compared_number_by_number),
        RECORDING_TEST(only_the_newest_revision_counts),
        RECORDING_TEST(cancelled_studies_keep_their_revisions),
        RECORDING_TEST(signed_and_cancelled_studies_are_not_stale),
        RECORDING_TEST(stale_ones_are_listed_page_by_page),
    };
    return cmocka_run_group_tests_name("store: recordings", tests, fixture_setup, fixture_teardown);
}
