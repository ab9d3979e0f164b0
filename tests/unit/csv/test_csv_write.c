/* The text that csv_write() makes, to the byte. */
#include "tables.h"

#include "formats/csv_write.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define MISSING ((double)NAN)

static struct document_channel channel_of(struct arena *arena, enum signal_kind signal,
                                          double rate_hz, double start_s, const double *values,
                                          size_t count)
{
    struct document_channel channel = {.signal = signal,
                                       .unit = signal_unit(signal),
                                       .to_canonical = 1,
                                       .rate_hz = rate_hz,
                                       .start_s = start_s};
    samples_from_values(values, count, arena, &channel.samples);
    return channel;
}

static void assert_text(struct arena *arena, const struct document_channel *channels, size_t count,
                        const struct document_event *events, size_t event_count,
                        const char *expected)
{
    struct text text;
    text_init(&text, arena, 10000);
    csv_write(channels, count, events, event_count, &text);
    assert_false(text.overflowed);
    assert_string_equal(text.data, expected);
}

static const double three[] = {12.5, MISSING, -0.25};

static void one_grid_has_plain_headings(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_channel channels[] = {channel_of(arena, SIGNAL_PVES, 10, 0, three, 3),
                                          channel_of(arena, SIGNAL_FLOW, 10, 0, three, 3)};
    assert_text(arena, channels, 2, NULL, 0,
                "time_s,pves [cm[H2O]],flow [mL/s]\r\n0,12.5,12.5\r\n0.1,,\r\n0.2,-0.25,-0.25\r\n");
    channels[0].start_s = 30.5;
    channels[0].rate_hz = 4;
    assert_text(arena, channels, 1, NULL, 0,
                "time_s,pves [cm[H2O]]\r\n30.5,12.5\r\n30.75,\r\n31,-0.25\r\n");
    arena_free(arena);
}

static void different_grids_are_named_and_merged(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_channel channels[] = {channel_of(arena, SIGNAL_PVES, 10, 0, three, 3),
                                          channel_of(arena, SIGNAL_FLOW, 8, 0.1, three, 3)};
    assert_text(arena, channels, 2, NULL, 0,
                "time_s,pves [cm[H2O]] @ 10 Hz from 0 s for 3 samples,"
                "flow [mL/s] @ 8 Hz from 0.1 s for 3 samples\r\n"
                "0,12.5,\r\n0.1,,12.5\r\n0.2,-0.25,\r\n0.225,,\r\n0.35,,-0.25\r\n");
    arena_free(arena);
}

static void a_rate_that_times_do_not_tell_is_named(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_channel channel = channel_of(arena, SIGNAL_PVES, 10.00000001, 0, three, 3);
    assert_text(arena, &channel, 1, NULL, 0,
                "time_s,pves [cm[H2O]] @ 10.00000001 Hz from 0 s for 3 samples\r\n"
                "0,12.5\r\n0.0999999999,\r\n0.1999999998,-0.25\r\n");
    channel.rate_hz = 10;
    channel.samples.count = 1;
    assert_text(arena, &channel, 1, NULL, 0,
                "time_s,pves [cm[H2O]] @ 10 Hz from 0 s for 1 samples\r\n0,12.5\r\n");
    arena_free(arena);
}

static void events_stand_in_their_rows(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_channel channel = channel_of(arena, SIGNAL_PVES, 10, 0, three, 3);
    static const struct document_event events[] = {
        {.at_s = 0, .code = "cough", .note = ""},
        {.at_s = 0, .code = "comment", .note = "a, \"b\" | c\\"},
        {.at_s = 0.125, .code = "balloon", .note = "", .value = {true, 40.5}},
        {.at_s = 0.2, .code = "leak", .note = "drop", .value = {true, -1}},
    };
    assert_text(arena, &channel, 1, events, 4,
                "time_s,pves [cm[H2O]],events\r\n"
                "0,12.5,\"cough | comment: a, \"\"b\"\" \\| c\\\\\"\r\n"
                "0.1,,\r\n0.125,,balloon [40.5]\r\n0.2,-0.25,leak [-1]: drop\r\n");
    arena_free(arena);
}

/* An event on the grid's next place would be read as a missing sample. */
static void an_event_that_looks_like_a_sample_names_the_grid(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_channel channel = channel_of(arena, SIGNAL_PVES, 10, 0, three, 3);
    struct document_event event = {.at_s = 0.3, .code = "cough", .note = ""};
    assert_text(arena, &channel, 1, &event, 1,
                "time_s,pves [cm[H2O]] @ 10 Hz from 0 s for 3 samples,events\r\n"
                "0,12.5,\r\n0.1,,\r\n0.2,-0.25,\r\n0.3,,cough\r\n");
    event.at_s = 0.35;
    assert_text(
        arena, &channel, 1, &event, 1,
        "time_s,pves [cm[H2O]],events\r\n0,12.5,\r\n0.1,,\r\n0.2,-0.25,\r\n0.35,,cough\r\n");
    arena_free(arena);
}

static void a_text_that_is_too_long_says_so(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document_channel channel = channel_of(arena, SIGNAL_PVES, 10, 0, three, 3);
    struct text text;
    text_init(&text, arena, 40);
    csv_write(&channel, 1, NULL, 0, &text);
    assert_true(text.overflowed);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_grid_has_plain_headings),
        cmocka_unit_test(different_grids_are_named_and_merged),
        cmocka_unit_test(a_rate_that_times_do_not_tell_is_named),
        cmocka_unit_test(events_stand_in_their_rows),
        cmocka_unit_test(an_event_that_looks_like_a_sample_names_the_grid),
        cmocka_unit_test(a_text_that_is_too_long_says_so),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
