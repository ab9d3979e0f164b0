/* The float32 layout, taken apart as a reader of another language would. */
#include "tables.h"

#include "formats/traces_binary.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static uint32_t word_at(const char *bytes)
{
    const unsigned char *at = (const unsigned char *)bytes;
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

/* Checks the frame; returns the heading (to be released) and where the numbers begin. */
static json_t *open_answer(const struct text *text, size_t *ret_numbers)
{
    assert_true(text->length > 4);
    size_t heading = word_at(text->data);
    assert_int_equal(heading % 4, 0);
    assert_true(4 + heading <= text->length);
    json_t *json = json_loadb(text->data + 4, heading, 0, NULL);
    assert_non_null(json);
    *ret_numbers = 4 + heading;
    return json;
}

static size_t member(const json_t *trace, const char *name)
{
    const json_t *value = json_object_get(trace, name);
    assert_true(json_is_integer(value));
    return (size_t)json_integer_value(value);
}

static void assert_numbers(const struct text *text, size_t at, const float *expected, size_t count)
{
    assert_true(at + 4 * count <= text->length);
    for (size_t i = 0; i < count; i++) {
        uint32_t bits = 0x7FC00000;
        if (!isnan(expected[i])) {
            memcpy(&bits, &expected[i], sizeof bits);
        }
        assert_int_equal(word_at(text->data + at + 4 * i), bits);
    }
}

static const struct traces_span span = {
    .recording_id = "0190a6f0-0000-7000-8000-000000000001", .from_s = 0.5, .to_s = 2};

static void samples_stand_where_the_heading_says(void **state)
{
    (void)state;
    static const double pves[] = {12.5, (double)NAN, 0.1};
    static const float flow[] = {1.5F, -2.25F};
    static const float pves_rounded[] = {12.5F, (float)NAN, 0.1F};
    struct arena *arena = arena_new();
    struct traces_channel channels[] = {
        {.signal = SIGNAL_PVES,
         .unit = "cm[H2O]",
         .rate_hz = 2,
         .start_s = 0.5,
         .sample_count = 3,
         .count = 3,
         .samples = {.doubles = pves}},
        {.signal = SIGNAL_FLOW,
         .unit = "mL/s",
         .rate_hz = 1,
         .start_s = 1,
         .sample_count = 2,
         .count = 2,
         .is_derived = true,
         .samples = {.floats = flow}},
    };
    struct text text;
    size_t numbers = 0;
    text_init(&text, arena, 10000);
    traces_binary_write(&span, channels, 2, &text);
    assert_false(text.overflowed);
    json_t *heading = open_answer(&text, &numbers);
    assert_string_equal(json_string_value(json_object_get(heading, "recording_id")),
                        span.recording_id);
    const json_t *traces = json_object_get(heading, "traces");
    assert_int_equal(json_array_size(traces), 2);
    const json_t *one = json_array_get(traces, 0);
    const json_t *two = json_array_get(traces, 1);
    assert_string_equal(json_string_value(json_object_get(one, "signal")), "pves");
    assert_string_equal(json_string_value(json_object_get(two, "unit")), "mL/s");
    assert_null(json_object_get(one, "derived"));
    assert_true(json_is_true(json_object_get(two, "derived")));
    assert_true(tables_same(json_number_value(json_object_get(one, "start_s")), 0.5));
    assert_int_equal(member(one, "count"), 3);
    assert_int_equal(member(two, "count"), 2);
    assert_numbers(&text, numbers + member(one, "samples_at"), pves_rounded, 3);
    assert_numbers(&text, numbers + member(two, "samples_at"), flow, 2);
    assert_int_equal(text.length, numbers + 20);
    json_decref(heading);
    arena_free(arena);
}

static void bins_have_two_arrays(void **state)
{
    (void)state;

    enum { BINS = 1000 };

    static double least[BINS];
    static double greatest[BINS];
    static float least_rounded[BINS];
    static float greatest_rounded[BINS];
    for (size_t i = 0; i < BINS; i++) {
        least[i] = i % 7 == 0 ? (double)NAN : -(double)i / 3.0;
        greatest[i] = i % 7 == 0 ? (double)NAN : (double)i / 3.0;
        least_rounded[i] = (float)least[i];
        greatest_rounded[i] = (float)greatest[i];
    }
    struct arena *arena = arena_new();
    struct traces_channel channel = {.signal = SIGNAL_EMG,
                                     .unit = "uV",
                                     .rate_hz = 1000,
                                     .start_s = 0.5,
                                     .sample_count = 50000,
                                     .bin_s = 0.0015,
                                     .count = BINS,
                                     .least = {.doubles = least},
                                     .greatest = {.doubles = greatest}};
    struct text text;
    size_t numbers = 0;
    text_init(&text, arena, 10000);
    traces_binary_write(&span, &channel, 1, &text);
    assert_false(text.overflowed);
    json_t *heading = open_answer(&text, &numbers);
    const json_t *trace = json_array_get(json_object_get(heading, "traces"), 0);
    assert_true(tables_same(json_number_value(json_object_get(trace, "bin_s")), 0.0015));
    assert_int_equal(member(trace, "sample_count"), 50000);
    assert_null(json_object_get(trace, "samples_at"));
    assert_numbers(&text, numbers + member(trace, "min_at"), least_rounded, BINS);
    assert_numbers(&text, numbers + member(trace, "max_at"), greatest_rounded, BINS);
    assert_int_equal(text.length, numbers + (size_t)8 * BINS);
    json_decref(heading);

    text_init(&text, arena, 4000);
    traces_binary_write(&span, &channel, 1, &text);
    assert_true(text.overflowed);
    arena_free(arena);
}

/* Numbers begin at a multiple of 4, whatever the length of the heading. */
static void numbers_are_aligned(void **state)
{
    (void)state;
    static const char letters[] = "0123456789";
    static const float value = 1.0F;
    for (size_t i = 0; i < sizeof letters; i++) {
        struct arena *arena = arena_new();
        struct traces_span other = span;
        struct traces_channel channel = {.signal = SIGNAL_PVES,
                                         .unit = "kPa",
                                         .rate_hz = 1,
                                         .sample_count = 1,
                                         .count = 1,
                                         .samples = {.floats = &value}};
        struct text text;
        size_t numbers = 0;
        other.recording_id = letters + i;
        text_init(&text, arena, 1000);
        traces_binary_write(&other, &channel, 1, &text);
        json_decref(open_answer(&text, &numbers));
        assert_int_equal(numbers % 4, 0);
        assert_numbers(&text, numbers, &value, 1);
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(samples_stand_where_the_heading_says),
        cmocka_unit_test(bins_have_two_arrays),
        cmocka_unit_test(numbers_are_aligned),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
