/* Parts of recordings: samples and overviews come back as a search through what was sent finds
 * them. */
#include "recording_fixture.h"

#include "formats/derived_pressure.h"
#include "formats/overview.h"
#include "store/query.h"

#include <math.h>
#include <string.h>

enum {
    COUNT = 300000,                 /* two overview levels, the first of three blocks */
    LONG_COUNT = 256 * 8192 + 5000, /* the third level too */
    CHANNELS = 5
};

struct sent {
    const char *id;
    struct recording_document *document;
    struct recording_row row;
};

static struct sent sent; /* made once, read by all */

static const struct shape {
    enum signal_kind signal;
    const char *unit;
    enum sample_encoding encoding;
    double scale;
    size_t count;
} shapes[CHANNELS] = {
    {SIGNAL_PVES, "cm[H2O]", SAMPLES_INT16, -0.05, LONG_COUNT},
    {SIGNAL_PABD, "cm[H2O]", SAMPLES_INT32, 0.001, LONG_COUNT},
    {SIGNAL_FLOW, "mL/s", SAMPLES_DECIMAL, 1, COUNT},
    {SIGNAL_EMG, "uV", SAMPLES_FLOAT32, 1, COUNT + 1},
    {SIGNAL_VINF, "mL", SAMPLES_FLOAT64, 1, COUNT - 1},
};

/* A wave with gaps from one sample to several stretches of the coarsest level. */
static bool is_missing(size_t i)
{
    return i % 1013 == 5 || i / 40 % 113 == 2 || (i > 100000 && i < 130000);
}

static void set_code(void *codes, enum sample_encoding encoding, size_t i)
{
    int32_t code = (int32_t)((i * 7919) % 20011) - 10000;
    switch (encoding) {
    case SAMPLES_INT16:
        ((int16_t *)codes)[i] = is_missing(i) ? INT16_MIN : (int16_t)code;
        return;
    case SAMPLES_FLOAT32:
        ((float *)codes)[i] = is_missing(i) ? (float)(double)NAN : (float)code / 7.0F;
        return;
    case SAMPLES_FLOAT64:
        ((double *)codes)[i] = is_missing(i) ? (double)NAN : (double)code / 3.0;
        return;
    case SAMPLES_DECIMAL:
    case SAMPLES_INT32:
    case SAMPLES_ENCODING_COUNT:
        break;
    }
    ((int32_t *)codes)[i] = is_missing(i) ? INT32_MIN : code;
}

static struct recording_document *make_document(struct fixture *fixture)
{
    struct recording_document *document = recording_fixture(fixture, NULL, 1);
    document->channel_count = CHANNELS;
    document->channels = arena_array(fixture->arena, CHANNELS, sizeof *document->channels);
    for (size_t c = 0; c < CHANNELS; c++) {
        const struct shape *shape = &shapes[c];
        void *codes =
            arena_array(fixture->arena, shape->count, sample_encoding_width(shape->encoding));
        struct samples samples = {.encoding = shape->encoding,
                                  .decimals = shape->encoding == SAMPLES_DECIMAL ? 2 : 0,
                                  .scale = shape->scale,
                                  .count = shape->count,
                                  .codes = codes};
        for (size_t i = 0; i < shape->count; i++) {
            set_code(codes, shape->encoding, i);
            samples.missing += is_missing(i) ? 1 : 0;
        }
        document->channels[c] = (struct document_channel){.signal = shape->signal,
                                                          .unit = shape->unit,
                                                          .to_canonical = 1,
                                                          .rate_hz = 1000,
                                                          .samples = samples};
    }
    return document;
}

static const char *store_document(struct fixture *fixture, const char *mrn,
                                  struct recording_document *document)
{
    const char *id = NULL;
    bool existed = true;
    fixture_begin(fixture, fixture->clinic_id);
    const char *study = fixture_study(fixture, fixture_patient(fixture, mrn));
    CHECK(fixture, recording_create(fixture->store, fixture->arena, study, document, "{}", &id,
                                    &existed, &fixture->error));
    assert_false(existed);
    fixture_commit(fixture);
    return id;
}

static void get_row(struct fixture *fixture, const char *id, struct recording_row *ret_row)
{
    CHECK(fixture, recording_get(fixture->store, fixture->arena, id, ret_row, &fixture->error));
}

static int set_up(void **state)
{
    if (fixture_setup(state) != 0) {
        return -1;
    }
    struct fixture *fixture = *state;
    sent.document = make_document(fixture);
    sent.id = store_document(fixture, "parts", sent.document);
    fixture_begin(fixture, fixture->clinic_id);
    get_row(fixture, sent.id, &sent.row);
    fixture_commit(fixture);
    return 0;
}

/* ---- comparing with a search ---- */

static void assert_extremes(const struct samples *all, const struct recording_part *part)
{
    struct arena *arena = arena_new();
    const double *got = samples_all_values(&part->samples, arena);
    size_t stretch = overview_stretch(part->level);
    double *values = arena_array(arena, stretch, sizeof *values);
    bool least = part->extreme == SAMPLE_LEAST;
    for (size_t s = 0; s < part->count; s++) {
        size_t first = (part->first + s) * stretch;
        size_t count = all->count - first < stretch ? all->count - first : stretch;
        double wanted = (double)NAN;
        samples_values(all, first, count, values);
        for (size_t i = 0; i < count; i++) {
            bool further = least ? values[i] < wanted : values[i] > wanted;
            wanted = isnan(wanted) || further ? values[i] : wanted;
        }
        if (!recording_fixture_same(&got[s], &wanted, 1)) {
            fail_msg("channel %d, level %d, stretch %zu: %.17g instead of %.17g",
                     part->channel->number, part->level, part->first + s, got[s], wanted);
        }
    }
    arena_free(arena);
}

static void assert_part(const struct recording_part *part)
{
    const struct samples *all = &sent.document->channels[part->channel->number].samples;
    assert_int_equal(part->samples.count, part->count);
    assert_ptr_equal(part->samples.codes, part->codes);
    if (part->level == 0) {
        struct samples wanted = samples_slice(all, part->first, part->count);
        assert_true(samples_equal(&part->samples, &wanted));
    } else {
        assert_extremes(all, part);
    }
}

static void read_parts(struct fixture *fixture, struct recording_part *parts, size_t count)
{
    CHECK(fixture, recording_read_parts(fixture->store, fixture->arena, &sent.row, parts, count,
                                        &fixture->error));
}

static void whole_levels_are_the_extremes(void **state)
{
    struct fixture *fixture = *state;
    size_t levels = 0;
    fixture_begin(fixture, fixture->clinic_id);
    assert_true(sent.row.has_overview);
    for (size_t c = 0; c < CHANNELS; c++) {
        size_t samples = shapes[c].count;
        for (int level = 0; level <= OVERVIEW_LEVELS; level++) {
            if (level > 0 && !overview_exists(samples, level)) {
                continue;
            }
            struct recording_part parts[2] = {
                {.channel = &sent.row.channels[c],
                 .level = level,
                 .count = overview_count(samples, level)},
            };
            parts[1] = parts[0];
            parts[1].extreme = SAMPLE_GREATEST;
            read_parts(fixture, parts, 2);
            assert_part(&parts[0]);
            assert_part(&parts[1]);
            levels++;
        }
    }
    assert_int_equal(levels, 4 + 4 + 3 * 3);
}

/* Spans whose ends fall on, before and behind the borders of blocks. */
static void spans_of_levels_are_read(void **state)
{
    struct fixture *fixture = *state;
    static const size_t spans[][2] = {{0, 1},       {4095, 1}, {4096, 1}, {4095, 2}, {4000, 5000},
                                      {8191, 1184}, {1, 9000}, {9374, 1}, {9375, 0}, {0, 0}};
    fixture_begin(fixture, fixture->clinic_id);
    for (size_t c = 0; c < CHANNELS; c++) {
        for (size_t s = 0; s < sizeof spans / sizeof spans[0]; s++) {
            struct recording_part part = {.channel = &sent.row.channels[c],
                                          .level = 1,
                                          .extreme = s % 2 == 0 ? SAMPLE_LEAST : SAMPLE_GREATEST,
                                          .first = spans[s][0],
                                          .count = spans[s][1]};
            read_parts(fixture, &part, 1);
            assert_part(&part);
        }
    }
}

/* Whatever is asked for at once: like and unlike spans, levels, and the same channel repeatedly. */
static void parts_of_all_kinds_are_read_together(void **state)
{
    struct fixture *fixture = *state;

    enum { MANY = 60 };

    struct recording_part parts[MANY];
    fixture_begin(fixture, fixture->clinic_id);
    for (size_t round = 0; round < 4; round++) {
        for (size_t i = 0; i < MANY; i++) {
            size_t c = (i * 7 + round) % CHANNELS;
            int level = (int)((i / 3 + round) % 3);
            size_t all = overview_count(shapes[c].count, level);
            size_t first = i % 4 == 0 ? i * 3 : (i * 7919) % all;
            size_t most = all - first;
            size_t count = i % 11 == 0 ? 0 : (i * 977) % 9000;
            parts[i] = (struct recording_part){.channel = &sent.row.channels[c],
                                               .level = level,
                                               .extreme = (enum sample_extreme)(i % 2),
                                               .first = first,
                                               .count = count < most ? count : most};
        }
        read_parts(fixture, parts, MANY);
        for (size_t i = 0; i < MANY; i++) {
            assert_part(&parts[i]);
        }
    }
}

static void one_channel_may_be_asked_for_twice(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    struct recording_part parts[3] = {
        {.channel = &sent.row.channels[0], .first = 10, .count = 20},
        {.channel = &sent.row.channels[0], .first = 15, .count = 4000},
        {.channel = &sent.row.channels[0], .first = 10, .count = 20},
    };
    read_parts(fixture, parts, 3);
    for (size_t i = 0; i < 3; i++) {
        assert_part(&parts[i]);
    }
}

static void nothing_is_asked_of_the_database_for_nothing(void **state)
{
    struct fixture *fixture = *state;
    fixture_begin(fixture, fixture->clinic_id);
    struct recording_part parts[2] = {
        {.channel = &sent.row.channels[0], .first = LONG_COUNT, .count = 0},
        {.channel = &sent.row.channels[1], .level = 3, .first = 0, .count = 0},
    };
    read_parts(fixture, parts, 2);
    assert_int_equal(parts[0].samples.count, 0);
    assert_int_equal(parts[1].samples.count, 0);
    read_parts(fixture, parts, 0);
}

static void check_refused(struct fixture *fixture, const struct recording_row *row,
                          struct recording_part part, const char *says)
{
    CHECK_FAILS(
        fixture, ERROR_INTERNAL,
        recording_read_parts(fixture->store, fixture->arena, row, &part, 1, &fixture->error));
    assert_non_null(strstr(fixture->error.detail, says));
}

static void what_is_not_there_is_refused(void **state)
{
    struct fixture *fixture = *state;
    const struct recording_channel_row *flow = &sent.row.channels[2];
    fixture_begin(fixture, fixture->clinic_id);
    check_refused(fixture, &sent.row, (struct recording_part){.channel = flow, .first = COUNT + 1},
                  "beyond the end of channel 2");
    check_refused(fixture, &sent.row,
                  (struct recording_part){.channel = flow, .level = 1, .first = 9375, .count = 1},
                  "beyond the end");
    check_refused(fixture, &sent.row,
                  (struct recording_part){.channel = flow, .first = 1, .count = SIZE_MAX},
                  "beyond the end");
    check_refused(fixture, &sent.row,
                  (struct recording_part){.channel = flow, .level = 3, .count = 1},
                  "no overview level 3");
    check_refused(fixture, &sent.row,
                  (struct recording_part){.channel = flow, .level = 4, .count = 1},
                  "no overview level 4");
    check_refused(fixture, &sent.row,
                  (struct recording_part){.channel = flow, .level = -1, .count = 1},
                  "no overview level -1");
}

/* ---- detrusor pressure that was not recorded ---- */

static void derived_pressure_has_an_overview(void **state)
{
    struct fixture *fixture = *state;
    struct arena *arena = fixture->arena;
    struct recording_channel_row pdet;
    assert_true(recording_derived_pdet(&sent.row, &pdet));
    assert_int_equal(pdet.signal, SIGNAL_PDET);
    assert_string_equal(pdet.unit, "cm[H2O]");
    assert_int_equal(pdet.shape.count, LONG_COUNT);

    struct samples whole;
    derived_pressure_for_drawing(&sent.document->channels[0].samples,
                                 &sent.document->channels[1].samples, arena, &whole);
    fixture_begin(fixture, fixture->clinic_id);
    for (int level = 1; level <= OVERVIEW_LEVELS; level++) {
        size_t count = overview_count(LONG_COUNT, level);
        struct recording_part parts[3] = {
            {.channel = &pdet, .level = level, .count = count},
            {.channel = &pdet,
             .level = level,
             .extreme = SAMPLE_GREATEST,
             .first = count / 3,
             .count = count / 2},
            {.channel = &sent.row.channels[0], .level = level, .count = count},
        };
        read_parts(fixture, parts, 3); /* with another channel of the same span */
        assert_extremes(&whole, &parts[0]);
        assert_extremes(&whole, &parts[1]);
        assert_part(&parts[2]);
    }
    /* Its samples are computed by who wants them. */
    check_refused(fixture, &sent.row, (struct recording_part){.channel = &pdet, .count = 1},
                  "channel -1, level 0, block 0");
}

static void derived_pressure_needs_a_fitting_pair(void **state)
{
    struct fixture *fixture = *state;
    struct recording_channel_row pdet;
    for (int i = 0; i < 4; i++) {
        struct recording_document *document = make_document(fixture);
        document->channel_count = i == 0 ? 1 : 2;
        document->started_at_us += 1 + i;
        for (size_t c = 0; c < 2; c++) {
            document->channels[c].samples = samples_slice(&document->channels[c].samples, 0, 20000);
        }
        document->channels[1].rate_hz += i == 1 ? 1 : 0;
        document->channels[1].unit = i == 2 ? "kPa" : "cm[H2O]";
        document->channels[1].to_canonical = i == 2 ? 1000.0 / 98.0665 : 1.0;
        document->channels[1].signal = i == 3 ? SIGNAL_PDET : SIGNAL_PABD;
        const char *id =
            store_document(fixture, arena_printf(fixture->arena, "no pair %d", i), document);
        struct recording_row row;
        fixture_begin(fixture, fixture->clinic_id);
        get_row(fixture, id, &row);
        fixture_commit(fixture);
        assert_false(recording_derived_pdet(&row, &pdet));
        assert_string_equal(
            fixture_value(fixture, arena_printf(fixture->arena,
                                                "select count(*) from penstock.sample_block"
                                                " where recording_id = '%s'"
                                                " and channel_number = -1",
                                                id)),
            "0");
    }
}

/* ---- damage, and what was stored before ---- */

static void spoil(struct fixture *fixture, const char *change, const char *where)
{
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "set session_replication_role = replica;"
                                      " %s where recording_id = '%s' %s;"
                                      " reset session_replication_role",
                                      change, sent.id, where));
}

/* Runs last of those that read what was sent. */
static void damaged_block_of_an_overview_names_itself(void **state)
{
    struct fixture *fixture = *state;
    static const char where[] = "and channel_number = 4 and level = 2 and block_number = 1";
    static const char *const changes[] = {
        "update penstock.sample_block set data = set_byte(data, 20, get_byte(data, 20) # 1)",
        "update penstock.sample_block set sample_count = sample_count - 1",
        "delete from penstock.sample_block",
    };
    struct recording_part damaged = {.channel = &sent.row.channels[4],
                                     .level = 1,
                                     .extreme = SAMPLE_GREATEST,
                                     .first = 4000,
                                     .count = 1000};
    struct recording_part healthy[2] = {damaged, damaged};
    healthy[0].count = 96; /* of the block before */
    healthy[1].extreme = SAMPLE_LEAST;
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        spoil(fixture, changes[i], where);
        fixture_begin(fixture, fixture->clinic_id);
        check_refused(fixture, &sent.row, damaged, "channel 4, level 2, block 1");
        assert_non_null(strstr(fixture->error.detail, sent.id));
        read_parts(fixture, healthy, 2);
        assert_part(&healthy[0]);
        assert_part(&healthy[1]);
        fixture_commit(fixture);
    }
}

static const char *plan_mode(struct fixture *fixture)
{
    static const struct statement asked = {
        .name = "plan_mode",
        .sql = "select current_setting('plan_cache_mode') where $1::uuid is not null"};
    struct query query;
    query_start(&query, fixture->store, &asked);
    struct rows rows;
    CHECK(fixture, query_run(fixture->store, &query, &rows, &fixture->error));
    const char *mode = rows_text(&rows, fixture->arena, 0, 0);
    rows_clear(&rows);
    return mode;
}

/* Lists of patients want plans that know what is asked for. */
static void only_blocks_are_read_by_a_plan_for_all(void **state)
{
    struct fixture *fixture = *state;
    struct recording_part part = {.channel = &sent.row.channels[2], .count = 10};
    fixture_begin(fixture, fixture->clinic_id);
    assert_string_equal(plan_mode(fixture), "auto");
    read_parts(fixture, &part, 1);
    assert_string_equal(plan_mode(fixture), "force_generic_plan");
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    read_parts(fixture, &part, 1); /* with the beginning of the transaction in one go */
    assert_string_equal(plan_mode(fixture), "force_generic_plan");
    fixture_commit(fixture);
    fixture_begin(fixture, fixture->clinic_id);
    assert_string_equal(plan_mode(fixture), "auto");
    fixture_commit(fixture);
}

/* Among blocks of other channels with the same numbers. */
static void missing_block_of_a_channel_names_itself(void **state)
{
    struct fixture *fixture = *state;

    enum { FIRST = 4096, WANTED = 1000 };

    struct recording_part parts[CHANNELS];
    for (size_t c = 0; c < CHANNELS; c++) {
        parts[c] = (struct recording_part){
            .channel = &sent.row.channels[c], .first = FIRST, .count = WANTED};
    }
    spoil(fixture, "delete from penstock.sample_block",
          "and channel_number = 1 and level = 0 and block_number = 1");
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_INTERNAL,
                recording_read_parts(fixture->store, fixture->arena, &sent.row, parts, CHANNELS,
                                     &fixture->error));
    assert_non_null(strstr(fixture->error.detail, "channel 1, level 0, block 1"));
    assert_non_null(strstr(fixture->error.detail, "missing"));
    fixture_commit(fixture);
}

static void recordings_from_before_have_samples_only(void **state)
{
    struct fixture *fixture = *state;
    spoil(fixture, "delete from penstock.sample_block", "and level > 0");
    fixture_sql(fixture, arena_printf(fixture->arena,
                                      "set session_replication_role = replica;"
                                      " update penstock.recording set has_overview = false"
                                      " where id = '%s'; reset session_replication_role",
                                      sent.id));
    struct recording_row row;
    fixture_begin(fixture, fixture->clinic_id);
    get_row(fixture, sent.id, &row);
    assert_false(row.has_overview);
    check_refused(fixture, &row,
                  (struct recording_part){.channel = &row.channels[0], .level = 1, .count = 1},
                  "no overview level 1");
    struct recording_part part = {
        .channel = &row.channels[0], .first = LONG_COUNT - 5000, .count = 5000};
    CHECK(fixture,
          recording_read_parts(fixture->store, fixture->arena, &row, &part, 1, &fixture->error));
    assert_part(&part);
}

int main(void)
{
#define PARTS_TEST(name) cmocka_unit_test_teardown(name, fixture_after_test)
    const struct CMUnitTest tests[] = {
        PARTS_TEST(whole_levels_are_the_extremes),
        PARTS_TEST(spans_of_levels_are_read),
        PARTS_TEST(parts_of_all_kinds_are_read_together),
        PARTS_TEST(one_channel_may_be_asked_for_twice),
        PARTS_TEST(nothing_is_asked_of_the_database_for_nothing),
        PARTS_TEST(only_blocks_are_read_by_a_plan_for_all),
        PARTS_TEST(what_is_not_there_is_refused),
        PARTS_TEST(derived_pressure_has_an_overview),
        PARTS_TEST(derived_pressure_needs_a_fitting_pair),
        PARTS_TEST(damaged_block_of_an_overview_names_itself),
        PARTS_TEST(missing_block_of_a_channel_names_itself),
        PARTS_TEST(recordings_from_before_have_samples_only),
    };
    return cmocka_run_group_tests_name("store: parts", tests, set_up, fixture_teardown);
}
