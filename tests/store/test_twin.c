/* The same upload twice is one recording; whatever differs makes another. */
#include "recording_fixture.h"

#include "base/uuid.h"
#include "store/store_chunk.h"
#include "store/store_recording_state.h"

#include <pthread.h>
#include <string.h>

enum { COUNT = 5000, LAST_CHANNEL = 3 };

static const char *new_study(struct fixture *fixture, const char *mrn)
{
    fixture_begin(fixture, fixture->clinic_id);
    const char *study = fixture_study(fixture, fixture_patient(fixture, mrn));
    fixture_commit(fixture);
    return study;
}

/* Stores the document; gives whether it was there already. */
static bool existed(struct fixture *fixture, const char *study,
                    const struct recording_document *document, const char **ret_id)
{
    const char *id = NULL;
    bool found = false;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_create(fixture->store, fixture->arena, study, document, "{}", &id,
                                    &found, &fixture->error));
    fixture_commit(fixture);
    if (ret_id != NULL) {
        *ret_id = id;
    }
    return found;
}

static const char *count_of(struct fixture *fixture, const char *study)
{
    return fixture_value(fixture, arena_printf(fixture->arena,
                                               "select count(*) from penstock.recording"
                                               " where study_id = '%s'",
                                               study));
}

static void same_document_is_one(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "same");
    const char *first = NULL;
    const char *again = NULL;
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &first));
    assert_true(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &again));
    assert_string_equal(first, again);
    /* Also with the id that it got. */
    assert_true(existed(fixture, study, recording_fixture(fixture, first, COUNT), &again));
    assert_string_equal(first, again);
    assert_string_equal(count_of(fixture, study), "1");
    assert_string_equal(
        fixture_value(fixture,
                      arena_printf(fixture->arena,
                                   "select version from penstock.study where id = '%s'", study)),
        "2"); /* grown once */
}

static void same_document_without_channels_is_one(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "no channels");
    struct recording_document *document = recording_fixture(fixture, NULL, 0);
    document->channel_count = 0;
    document->event_count = 0;
    assert_false(existed(fixture, study, document, NULL));
    assert_true(existed(fixture, study, document, NULL));
}

static void another_id_is_another_recording(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "ids");
    char ids[2][UUID_TEXT_SIZE];
    const char *got = NULL;
    for (int i = 0; i < 2; i++) {
        uuid_new(ids[i]);
        assert_false(existed(fixture, study, recording_fixture(fixture, ids[i], COUNT), NULL));
    }
    for (int i = 0; i < 2; i++) {
        assert_true(existed(fixture, study, recording_fixture(fixture, ids[i], COUNT), &got));
        assert_string_equal(got, ids[i]);
    }
    /* Without an id it is one of them. */
    assert_true(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &got));
    assert_true(strcmp(got, ids[0]) == 0 || strcmp(got, ids[1]) == 0);
    /* The same id with something else in it is refused. */
    struct recording_document *other = recording_fixture(fixture, ids[0], COUNT);
    other->event_count = 1;
    const char *id = NULL;
    bool found = true;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                recording_create(fixture->store, fixture->arena, study, other, "{}", &id, &found,
                                 &fixture->error));
    assert_string_equal(fixture->error.detail, "id");
    fixture_commit(fixture);
    assert_string_equal(count_of(fixture, study), "2");
}

/* ---- what differs ---- */

static void change_sample(struct fixture *fixture, struct recording_document *document,
                          size_t channel, bool last)
{
    struct samples *samples = &document->channels[channel].samples;
    size_t length = samples->count * sample_encoding_width(samples->encoding);
    uint8_t *codes = arena_alloc(fixture->arena, length);
    memcpy(codes, samples->codes, length);
    codes[last ? length - 1 : 0] ^= 1;
    samples->codes = codes;
}

static void change(struct fixture *fixture, struct recording_document *document, int what)
{
    struct document_event *events = document->events;
    switch (what) {
    case 0:
        events[1].note = "another";
        return;
    case 1:
        events[0].at_s = 0.75;
        return;
    case 2:
        document->event_count = 1;
        return;
    case 3:
        document->conditions.numbers.initial_residual_ml.value = 13;
        return;
    case 4:
        document->conditions.zeroed = "";
        return;
    case 5:
        document->started_at_us++;
        return;
    case 6:
        document->type = RECORDING_CYSTOMETRY;
        return;
    case 7:
        document->channels[1].samples.offset = -3.5;
        return;
    case 8:
        document->channels[1].start_s = 0.25;
        return;
    case 9:
        document->channel_count = LAST_CHANNEL; /* without the last, which is no longer */
        return;
    case 10:
        document->channels[LAST_CHANNEL].signal = SIGNAL_PVAG;
        document->channels[LAST_CHANNEL].unit = "cm[H2O]";
        return;
    case 11:
        document->channels[2].samples.count--;
        return;
    default: /* the first sample, and the last, of each channel */
        change_sample(fixture, document, (size_t)(what - 12) / 2, what % 2 == 1);
    }
}

static void whatever_differs_is_another(void **state)
{
    struct fixture *fixture = *state;

    enum { CHANGES = 12 + 2 * (LAST_CHANNEL + 1) };

    for (int what = 0; what < CHANGES; what++) {
        const char *study = new_study(fixture, arena_printf(fixture->arena, "difference %d", what));
        assert_false(existed(fixture, study, recording_fixture(fixture, NULL, 200), NULL));
        struct recording_document *other = recording_fixture(fixture, NULL, 200);
        change(fixture, other, what);
        assert_false(existed(fixture, study, other, NULL));
        assert_true(existed(fixture, study, other, NULL));
        assert_string_equal(count_of(fixture, study), "2");
    }
}

static void another_study_is_another(void **state)
{
    struct fixture *fixture = *state;
    const char *one = new_study(fixture, "one study");
    const char *other = new_study(fixture, "other study");
    assert_false(existed(fixture, one, recording_fixture(fixture, NULL, COUNT), NULL));
    assert_false(existed(fixture, other, recording_fixture(fixture, NULL, COUNT), NULL));
}

/* The events that it came with count, not those that somebody set since. */
static void later_revisions_do_not_hide_it(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "revised");
    const char *id = NULL;
    const struct document_event events[] = {{.at_s = 1, .code = "leak", .note = ""}};
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &id));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_add_revision(fixture->store, id, 2, events, 1, "{}", "", &fixture->error));
    fixture_commit(fixture);
    assert_true(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), NULL));
}

static void withdrawn_one_does_not_count(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "withdrawn");
    const char *id = NULL;
    const char *again = NULL;
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &id));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_withdraw(fixture->store, id, 1, "", &fixture->error));
    fixture_commit(fixture);
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &again));
    assert_string_not_equal(id, again);
}

static void open_one_does_not_count_before_it_is_complete(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "open");
    const char *id = NULL;
    bool found = true;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture,
          recording_open(fixture->store, fixture->arena, study, recording_fixture(fixture, NULL, 0),
                         "x", &id, &found, &fixture->error));
    struct recording_row row;
    CHECK(fixture, recording_get(fixture->store, fixture->arena, id, &row, &fixture->error));
    fixture_commit(fixture);
    const char *whole = NULL;
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &whole));
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, recording_withdraw(fixture->store, whole, 1, "", &fixture->error));
    CHECK(fixture,
          recording_complete(fixture->store, fixture->arena, &row,
                             recording_fixture(fixture, NULL, COUNT), "{}", &fixture->error));
    fixture_commit(fixture);
    const char *same = NULL;
    assert_true(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &same));
    assert_string_equal(same, id);
}

/* What cannot be read back must not keep the good document out. */
static void damaged_one_does_not_count(void **state)
{
    struct fixture *fixture = *state;
    const char *study = new_study(fixture, "damaged");
    const char *id = NULL;
    const char *again = NULL;
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &id));
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "set session_replication_role = replica;"
                                      " update penstock.sample_block set checksum ="
                                      " (checksum + 1) %% 4294967296 where recording_id = '%s';"
                                      " reset session_replication_role",
                                      id));
    assert_false(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &again));
    assert_string_not_equal(id, again);
    const char *same = NULL;
    assert_true(existed(fixture, study, recording_fixture(fixture, NULL, COUNT), &same));
    assert_string_equal(same, again);
}

/* ---- at once ---- */

struct uploader {
    const struct fixture *fixture;
    const char *study;
    const struct recording_document *document;
    struct arena *arena;
    const char *id;
    bool existed;
    bool good;
    struct error error;
};

static void *upload(void *argument)
{
    struct uploader *uploader = argument;
    struct store *store = store_new(uploader->fixture->owner);
    uploader->good = store_begin(store, uploader->fixture->clinic_id, NULL, &uploader->error) &&
                     recording_create(store, uploader->arena, uploader->study, uploader->document,
                                      "{}", &uploader->id, &uploader->existed, &uploader->error) &&
                     store_commit(store, &uploader->error);
    store_free(store);
    return NULL;
}

static void two_uploads_at_once_are_one(void **state)
{
    struct fixture *fixture = *state;
    for (int round = 0; round < 5; round++) {
        const char *study = new_study(fixture, arena_printf(fixture->arena, "at once %d", round));
        char chosen[UUID_TEXT_SIZE];
        uuid_new(chosen);
        struct uploader uploaders[2];
        pthread_t threads[2];
        for (int i = 0; i < 2; i++) {
            uploaders[i] = (struct uploader){
                .fixture = fixture,
                .study = study,
                .document = recording_fixture(fixture, round % 2 == 0 ? NULL : chosen, COUNT),
                .arena = arena_new()};
        }
        for (int i = 0; i < 2; i++) {
            assert_int_equal(pthread_create(&threads[i], NULL, upload, &uploaders[i]), 0);
        }
        for (int i = 0; i < 2; i++) {
            assert_int_equal(pthread_join(threads[i], NULL), 0);
        }
        for (int i = 0; i < 2; i++) {
            fixture->error = uploaders[i].error;
            CHECK(fixture, uploaders[i].good);
        }
        assert_int_equal(uploaders[0].existed + uploaders[1].existed, 1);
        assert_string_equal(uploaders[0].id, uploaders[1].id);
        assert_string_equal(count_of(fixture, study), "1");
        arena_free(uploaders[0].arena);
        arena_free(uploaders[1].arena);
    }
}

int main(void)
{
#define TWIN_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        TWIN_TEST(same_document_is_one),
        TWIN_TEST(same_document_without_channels_is_one),
        TWIN_TEST(another_id_is_another_recording),
        TWIN_TEST(whatever_differs_is_another),
        TWIN_TEST(another_study_is_another),
        TWIN_TEST(later_revisions_do_not_hide_it),
        TWIN_TEST(withdrawn_one_does_not_count),
        TWIN_TEST(open_one_does_not_count_before_it_is_complete),
        TWIN_TEST(damaged_one_does_not_count),
        TWIN_TEST(two_uploads_at_once_are_one),
    };
    return cmocka_run_group_tests_name("store: the same upload", tests, fixture_setup,
                                       fixture_teardown);
}
