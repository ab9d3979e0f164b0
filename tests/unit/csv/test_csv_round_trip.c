/* Whatever channels and events there are, reading what was written gives them back bit for bit. */
#include "tables.h"

#include "formats/csv_write.h"
#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { TABLES = 4000, SAMPLES_MOST = 120, CHANNELS_MOST = 5, EVENTS_MOST = 12 };

static double random_value(uint64_t *seed, size_t kind)
{
    double code = (double)tables_below(seed, 4000) - 1000.0;
    uint64_t bits = tables_random(seed);
    double value = 0.0;
    switch (kind) {
    case 0:
        return code / 10.0;
    case 1:
        return code / 1000.0;
    case 2:
        return (double)(float)(code / 7.0);
    case 3:
        return -0.0;
    case 4:
        memcpy(&value, &bits, sizeof value);
        return fabs(value) <= LIMIT_SAMPLE_MAGNITUDE ? value : code;
    default:
        return code;
    }
}

static void random_samples(struct arena *arena, uint64_t *seed, size_t count,
                           struct samples *ret_samples)
{
    double *values = arena_array(arena, count, sizeof *values);
    size_t kind = tables_below(seed, 6);
    size_t gaps = tables_below(seed, 4); /* 0: none; 1: some; 2: most; 3: nothing but */
    for (size_t i = 0; i < count; i++) {
        bool is_missing = gaps == 3 || (gaps > 0 && (tables_below(seed, 10) < 3) == (gaps == 1));
        values[i] = is_missing ? (double)NAN : random_value(seed, kind);
    }
    samples_from_values(values, count, arena, ret_samples);
}

static double random_rate(uint64_t *seed)
{
    static const double rates_hz[] = {1,    2,   4,   5,          8,           10,    12.5, 15,
                                      20,   24,  25,  30,         60,          64,    100,  1000,
                                      1024, 0.1, 7.5, 1000.0 / 3, 1000.0 / 33, 20000, 0.01};
    if (tables_below(seed, 5) == 0) {
        return 0.5 + (double)tables_below(seed, 100000) / 7919.0;
    }
    return rates_hz[tables_below(seed, sizeof rates_hz / sizeof rates_hz[0])];
}

static double random_start(uint64_t *seed, double rate_hz)
{
    switch (tables_below(seed, 6)) {
    case 0:
        return (double)tables_below(seed, 1000) / rate_hz; /* a span of a longer recording */
    case 1:
        return (double)tables_below(seed, 100000) / 1000.0;
    case 2:
        return (double)tables_below(seed, 100000) / 7919.0;
    default:
        return 0.0;
    }
}

struct table {
    size_t channel_count;
    struct document_channel channels[CHANNELS_MOST];
    size_t event_count;
    struct document_event events[EVENTS_MOST];
};

static void random_channels(struct arena *arena, uint64_t *seed, struct table *table)
{
    bool is_one_grid = tables_below(seed, 2) == 0;
    double rate_hz = random_rate(seed);
    double start_s = random_start(seed, rate_hz);
    size_t count = 1 + tables_below(seed, SAMPLES_MOST);
    table->channel_count = 1 + tables_below(seed, CHANNELS_MOST);
    for (size_t i = 0; i < table->channel_count; i++) {
        if (!is_one_grid) {
            rate_hz = tables_below(seed, 2) == 0 ? rate_hz : random_rate(seed);
            start_s = tables_below(seed, 2) == 0 ? start_s : random_start(seed, rate_hz);
            count = 1 + tables_below(seed, SAMPLES_MOST);
        }
        struct document_channel *channel = &table->channels[i];
        *channel = (struct document_channel){
            .signal = (enum signal_kind)i, .rate_hz = rate_hz, .start_s = start_s};
        channel->unit = signal_unit(channel->signal);
        random_samples(arena, seed, count, &channel->samples);
    }
}

static int compare_events(const void *left, const void *right)
{
    double a = ((const struct document_event *)left)->at_s;
    double b = ((const struct document_event *)right)->at_s;
    return a < b ? -1 : a > b;
}

static const char *random_note(struct arena *arena, uint64_t *seed)
{
    static const char *const pieces[] = {"a",        " ",   "|",   "\\",    "\"",  ",",
                                         ";",        "\n",  "[",   "]",     ":",   "\t",
                                         "\xC3\xA4", " | ", "\\|", "cough", "12.5"};
    size_t count = tables_below(seed, 8);
    const char *note = "";
    for (size_t i = 0; i < count; i++) {
        note = arena_printf(arena, "%s%s", note,
                            pieces[tables_below(seed, sizeof pieces / sizeof pieces[0])]);
    }
    return note;
}

/* At samples, beside them, before the first and after the last. */
static double random_event_s(uint64_t *seed, const struct table *table, double end_s)
{
    const struct document_channel *channel =
        &table->channels[tables_below(seed, table->channel_count)];
    double at_s = channel->start_s +
                  (double)tables_below(seed, channel->samples.count + 1) / channel->rate_hz;
    switch (tables_below(seed, 5)) {
    case 0:
        return (double)tables_below(seed, 1000) / 1000.0 * end_s;
    case 1:
        return fmax(0.0, at_s + ((double)tables_below(seed, 5) - 2.0) * 1e-10);
    case 2:
        return rint(at_s * 100.0) / 100.0;
    default:
        return at_s;
    }
}

static void random_events(struct arena *arena, uint64_t *seed, struct table *table)
{
    const struct recording_document document = {.channel_count = table->channel_count,
                                                .channels = table->channels};
    double end_s = recording_document_duration_s(&document);
    table->event_count = tables_below(seed, 2) * tables_below(seed, EVENTS_MOST);
    for (size_t i = 0; i < table->event_count; i++) {
        struct document_event *event = &table->events[i];
        *event = (struct document_event){
            .at_s = fmin(random_event_s(seed, table, end_s), end_s + LIMIT_EVENT_SLACK_S),
            .code = tables_below(seed, 2) == 0 ? "cough" : "own_code_7",
            .note = random_note(arena, seed)};
        event->value.known = tables_below(seed, 2) == 0;
        event->value.value = event->value.known ? random_value(seed, tables_below(seed, 6)) : 0.0;
    }
    qsort(table->events, table->event_count, sizeof table->events[0], compare_events);
}

static void assert_same_channel(struct arena *arena, const struct document_channel *read,
                                const struct document_channel *written, const char *text)
{
    if (read->signal != written->signal || !tables_same(read->rate_hz, written->rate_hz) ||
        !tables_same(read->start_s, written->start_s) ||
        read->samples.count != written->samples.count || strcmp(read->unit, written->unit) != 0) {
        fail_msg("%s: %.17g Hz from %.17g s, %zu samples in\n%.2000s", signal_name(read->signal),
                 read->rate_hz, read->start_s, read->samples.count, text);
    }
    const double *values = samples_all_values(&read->samples, arena);
    const double *expected = samples_all_values(&written->samples, arena);
    for (size_t i = 0; i < read->samples.count; i++) {
        if (!tables_same(values[i], expected[i])) {
            fail_msg("%s, sample %zu: %.17g in\n%.2000s", signal_name(read->signal), i, values[i],
                     text);
        }
    }
}

static void assert_same_event(const struct document_event *read,
                              const struct document_event *written)
{
    assert_true(tables_same(read->at_s, written->at_s));
    assert_string_equal(read->code, written->code);
    assert_string_equal(read->note, written->note);
    assert_int_equal(read->value.known, written->value.known);
    assert_true(tables_same(read->value.value, written->value.value));
}

/* Returns whether the headings were plain. */
static bool check_table(struct arena *arena, const struct table *table)
{
    struct text text;
    text_init(&text, arena, (size_t)1 << 22);
    csv_write(table->channels, table->channel_count, table->events, table->event_count, &text);
    assert_false(text.overflowed);
    const struct recording_document *document = tables_read(arena, text.data);
    assert_int_equal(document->channel_count, table->channel_count);
    for (size_t i = 0; i < table->channel_count; i++) {
        assert_same_channel(arena, &document->channels[i], &table->channels[i], text.data);
    }
    assert_int_equal(document->event_count, table->event_count);
    for (size_t i = 0; i < table->event_count; i++) {
        assert_same_event(&document->events[i], &table->events[i]);
    }
    return strstr(text.data, " Hz from ") == NULL;
}

static void random_tables_come_back(void **state)
{
    (void)state;
    uint64_t seed = 20260302;
    int plain = 0;
    for (int i = 0; i < TABLES; i++) {
        struct arena *arena = arena_new();
        struct table table;
        random_channels(arena, &seed, &table);
        random_events(arena, &seed, &table);
        plain += check_table(arena, &table) ? 1 : 0;
        arena_free(arena);
    }
    /* Both forms are at work. */
    assert_in_range(plain, TABLES / 8, TABLES - TABLES / 8);
}

/* Samples as devices send them, in every encoding. */
static void encodings_come_back(void **state)
{
    (void)state;
    static const int16_t codes[] = {INT16_MIN, -32767, -1, 0, 1, 32767};
    static const float floats[] = {0.1F, -1e9F, (float)NAN, 1e-30F, 3.0F, 0.0F};
    struct arena *arena = arena_new();
    struct table table = {.channel_count = 2};
    table.channels[0] = (struct document_channel){.signal = SIGNAL_PVES,
                                                  .unit = "kPa",
                                                  .rate_hz = 10,
                                                  .samples = {.encoding = SAMPLES_INT16,
                                                              .scale = 0.0123,
                                                              .offset = -3.3,
                                                              .count = 6,
                                                              .codes = codes}};
    table.channels[1] = (struct document_channel){
        .signal = SIGNAL_EMG,
        .unit = "mV",
        .rate_hz = 10,
        .samples = {.encoding = SAMPLES_FLOAT32, .count = 6, .codes = floats}};
    assert_true(check_table(arena, &table));
    arena_free(arena);
}

/* Several portions of samples. */
static void long_channels_come_back(void **state)
{
    (void)state;
    uint64_t seed = 9;
    struct arena *arena = arena_new();
    struct table table = {.channel_count = 2};
    for (size_t i = 0; i < 2; i++) {
        table.channels[i] = (struct document_channel){
            .signal = (enum signal_kind)i, .rate_hz = i == 0 ? 30 : 60, .start_s = 0};
        table.channels[i].unit = signal_unit(table.channels[i].signal);
        random_samples(arena, &seed, 30001, &table.channels[i].samples);
    }
    assert_false(check_table(arena, &table));
    table.channels[1].rate_hz = 30;
    assert_true(check_table(arena, &table));
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_tables_come_back),
        cmocka_unit_test(encodings_come_back),
        cmocka_unit_test(long_channels_come_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
