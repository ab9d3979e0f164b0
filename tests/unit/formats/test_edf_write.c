/* Recordings written as EDF+: bytes worked out by hand, what must be refused, and that reading
 * gives back what was written, for channels, rates, gaps, encodings and events from a seeded
 * generator. */
#include "edf_files.h"

#include "documents.h"
#include "formats/edf_write.h"
#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const int64_t START_US = INT64_C(1772440265) * 1000000; /* 2026-03-02T08:31:05Z */

/* ---- documents ---- */

static struct samples int16_samples(const int16_t *codes, size_t count, double scale, double offset)
{
    struct samples samples = {.encoding = SAMPLES_INT16,
                              .scale = scale,
                              .offset = offset,
                              .count = count,
                              .codes = codes};
    for (size_t i = 0; i < count; i++) {
        samples.missing += codes[i] == INT16_MIN ? 1 : 0;
    }
    return samples;
}

static struct document_channel channel_of(enum signal_kind signal, double rate_hz,
                                          struct samples samples)
{
    return (struct document_channel){.signal = signal,
                                     .unit = signal_unit(signal),
                                     .to_canonical = 1.0,
                                     .rate_hz = rate_hz,
                                     .samples = samples};
}

static struct recording_document document_of(struct document_channel *channels, size_t count)
{
    return (struct recording_document){.type = RECORDING_PRESSURE_FLOW,
                                       .started_at_us = START_US,
                                       .channel_count = count,
                                       .channels = channels};
}

static struct edf_file write_sound(struct arena *arena, const struct recording_document *document)
{
    struct edf_file file;
    struct error error;
    if (!edf_write(arena, document, 60, &file, &error)) {
        fail_msg("unexpected error: %s", error.detail);
    }
    assert_int_equal(file.channel_count, document->channel_count);
    return file;
}

static const struct recording_document *read_again(struct arena *arena, const struct edf_file *file)
{
    struct edf_options options = edf_files_options();
    struct edf_bytes bytes = {.arena = arena, .length = file->length};
    bytes.bytes = arena_alloc(arena, file->length);
    memcpy(bytes.bytes, file->bytes, file->length);
    return edf_files_read_sound(arena, &bytes, &options, NULL);
}

static void assert_text(const struct edf_file *file, size_t offset, size_t width, const char *text)
{
    assert_true(offset + width <= file->length);
    if (memcmp(file->bytes + offset, text, strlen(text)) != 0) {
        fail_msg("bytes %zu: \"%.*s\" is not \"%s\"", offset, (int)width,
                 (const char *)file->bytes + offset, text);
    }
    for (size_t i = strlen(text); i < width; i++) {
        assert_int_equal(file->bytes[offset + i], ' ');
    }
}

/* ---- bytes ---- */

static void test_every_byte_of_a_small_file(void **state)
{
    (void)state;
    static const int16_t pves[] = {0, 1, INT16_MIN, -1000, 1000};
    static const int16_t flow[] = {100, 200};
    static const unsigned char record[] = {
        0,   0,   1,    0,   0,    0x80, 0x18, 0xFC, /* pves: 0, 1, missing, -1000 */
        100, 0,   200,  0,                           /* flow */
        '+', '0', '.',  '5', 0x14, 0x14, 0,    '+',  '0',  '.',
        '7', '5', 0x14, 'c', 'o',  'u',  'g',  'h',  0x14, 0};
    struct arena *arena = arena_new();
    struct document_channel channels[] = {
        channel_of(SIGNAL_PVES, 4.0, int16_samples(pves, 5, 0.1, 0.0)),
        channel_of(SIGNAL_FLOW, 2.0, int16_samples(flow, 2, 0.05, -10.0))};
    struct document_event event = {.at_s = 0.25, .code = "cough", .note = ""};
    struct recording_document document = document_of(channels, 2);
    document.started_at_us += 500000;
    document.events = &event;
    document.event_count = 1;
    struct edf_file file = write_sound(arena, &document);
    assert_text(&file, 0, 8, "0");
    assert_text(&file, 8, 80, "X X X X");
    assert_text(&file, 88, 80, "Startdate 02-MAR-2026 X X Penstock");
    assert_text(&file, 168, 8, "02.03.26");
    assert_text(&file, 176, 8, "09.31.05");
    assert_text(&file, 184, 8, "1024");
    assert_text(&file, 192, 44, "EDF+C");
    assert_text(&file, 236, 8, "2");
    assert_text(&file, 244, 8, "1");
    assert_text(&file, 252, 4, "3");
    assert_text(&file, 256, 16, "Press pves");
    assert_text(&file, 272, 16, "Flow");
    assert_text(&file, 288, 16, "EDF Annotations");
    assert_text(&file, 304, 240, "");
    assert_text(&file, 544, 8, "cmH2O");
    assert_text(&file, 552, 8, "mL/s");
    assert_text(&file, 568, 8, "-3276.7");
    assert_text(&file, 576, 8, "-1648.35");
    assert_text(&file, 592, 8, "3276.7");
    assert_text(&file, 600, 8, "1628.35");
    assert_text(&file, 616, 8, "-32767");
    assert_text(&file, 640, 8, "32767");
    assert_text(&file, 656, 8, "32767");
    assert_text(&file, 904, 8, "4");
    assert_text(&file, 912, 8, "2");
    assert_text(&file, 928, 96, "");
    assert_memory_equal(file.bytes + 1024, record, sizeof record);
    assert_int_equal(file.record_count, 2);
    assert_int_equal(file.channels[0].padded, 3);
    assert_int_equal(file.channels[1].padded, 2);
    assert_true(file.channels[0].is_exact && file.channels[1].is_exact);
    arena_free(arena);
}

static void test_local_dates(void **state)
{
    (void)state;
    static const int16_t codes[] = {1};

    static const struct {
        int64_t at_s;
        int offset_min;
        const char *date;
        const char *time;
        const char *recording;
    } cases[] = {
        {946684799, 60, "01.01.00", "00.59.59", "Startdate 01-JAN-2000 X X Penstock"},
        {1772440265, -720, "01.03.26", "20.31.05", "Startdate 01-MAR-2026 X X Penstock"},
        {3629318399, 0, "02.01.yy", "23.59.59", "Startdate 02-JAN-2085 X X Penstock"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct edf_file file;
        struct error error;
        struct document_channel channel =
            channel_of(SIGNAL_PVES, 1.0, int16_samples(codes, 1, 0.1, 0.0));
        struct recording_document document = document_of(&channel, 1);
        document.started_at_us = cases[i].at_s * 1000000;
        assert_true(edf_write(arena, &document, cases[i].offset_min, &file, &error));
        assert_text(&file, 168, 8, cases[i].date);
        assert_text(&file, 176, 8, cases[i].time);
        assert_text(&file, 88, 80, cases[i].recording);
        arena_free(arena);
    }
}

/* ---- rates, starts, scales ---- */

static void test_length_of_a_record(void **state)
{
    (void)state;
    static const int16_t codes[] = {1, 2, 3};

    static const struct {
        double one_hz;
        double other_hz;
        const char *duration;
        size_t one;
        size_t other;
    } cases[] = {
        {10.0, 4.0, "1", 10, 4},
        {0.5, 10.0, "2", 1, 20},
        {12.5, 0.2, "10", 125, 2},
        {100.0 / 3.0, 1.0, "3", 100, 3},
        {20000.0, 0.1, "10", 200000, 1},
        {1.0 / 60.0, 1.0, "60", 1, 60},
        {100.0 / 0.37, 1.0 / 0.37, "37", 10000, 100},
        {1.0 / 0.125, 2.0, "1", 8, 2},
        {1.0 / 59.99, 1.0 / 59.99, "59.99", 1, 1},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct document_channel channels[] = {
            channel_of(SIGNAL_PVES, cases[i].one_hz, int16_samples(codes, 3, 0.1, 0.0)),
            channel_of(SIGNAL_PABD, cases[i].other_hz, int16_samples(codes, 3, 0.1, 0.0))};
        struct recording_document document = document_of(channels, 2);
        struct edf_file file = write_sound(arena, &document);
        assert_text(&file, 244, 8, cases[i].duration);
        assert_text(&file, 904, 8, arena_printf(arena, "%zu", cases[i].one));
        assert_text(&file, 912, 8, arena_printf(arena, "%zu", cases[i].other));
        const struct recording_document *again = read_again(arena, &file);
        documents_assert_close(again->channels[0].rate_hz, cases[i].one_hz, 0.0);
        documents_assert_close(again->channels[1].rate_hz, cases[i].other_hz, 0.0);
        arena_free(arena);
    }
}

static void check_refused(const struct recording_document *document, const char *detail)
{
    struct arena *arena = arena_new();
    struct edf_file file;
    struct error error;
    assert_false(edf_write(arena, document, 60, &file, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
    if (strstr(error.detail, detail) == NULL) {
        fail_msg("%s", error.detail);
    }
    arena_free(arena);
}

static void test_refusals(void **state)
{
    (void)state;
    static const int16_t codes[] = {1, 2, 3};
    static const float large[] = {5e8F, 1.0F};
    struct document_channel channels[] = {
        channel_of(SIGNAL_PVES, 10.0, int16_samples(codes, 3, 0.1, 0.0)),
        channel_of(SIGNAL_PABD, 10.01, int16_samples(codes, 3, 0.1, 0.0))};
    struct recording_document document = document_of(channels, 2);
    check_refused(&document, "samples of pabd at 10.01 Hz");
    channels[0].rate_hz = 1.0 / 59.0;
    channels[1].rate_hz = 1.0 / 58.0;
    check_refused(&document, "samples of pves at 0.0169491525423729 Hz, pabd at");
    channels[0].rate_hz = 20000.0;
    channels[1].rate_hz = 1.0;
    channels[1].start_s = 3600.0;
    check_refused(&document, "pves would have 72060000 samples");
    channels[1].start_s = -1.0;
    check_refused(&document, "pabd begins -1 s after");
    channels[1].start_s = 0.0;
    channels[1].samples = (struct samples){.encoding = SAMPLES_FLOAT32, .count = 2, .codes = large};
    check_refused(&document, "the values of pabd are too large");
    document.channel_count = 0;
    check_refused(&document, "no channel");
    struct document_channel many[] = {
        channel_of(SIGNAL_PVES, 20000.0, int16_samples(codes, 3, 0.1, 0.0)),
        channel_of(SIGNAL_PABD, 20000.0, int16_samples(codes, 3, 0.1, 0.0)),
        channel_of(SIGNAL_EMG, 20000.0, int16_samples(codes, 3, 0.1, 0.0))};
    document = document_of(many, 3);
    many[2].start_s = 800.0;
    check_refused(&document, "the channels would have 48060000 samples");
}

/* More rates than an error holds: as many as fit are named, whole. */
static void test_many_rates_that_do_not_fit(void **state)
{
    (void)state;
    static const int16_t codes[] = {1};
    struct document_channel channels[SIGNAL_COUNT];
    for (int i = 0; i < SIGNAL_COUNT; i++) {
        channels[i] = channel_of((enum signal_kind)i, 1000.0 / (2003.0 + 2 * i),
                                 int16_samples(codes, 1, 0.1, 0.0));
    }
    struct recording_document document = document_of(channels, SIGNAL_COUNT);
    check_refused(&document, "pves at 0.499251123315027 Hz, pabd at 0.498753117206983 Hz,");
}

static void test_starts_become_missing_samples(void **state)
{
    (void)state;
    static const int16_t codes[] = {1, 2, 3};
    struct arena *arena = arena_new();
    struct document_channel channels[] = {
        channel_of(SIGNAL_PVES, 10.0, int16_samples(codes, 3, 0.1, 0.0)),
        channel_of(SIGNAL_PABD, 10.0, int16_samples(codes, 3, 0.1, 0.0))};
    channels[1].start_s = 1.23;
    struct recording_document document = document_of(channels, 2);
    struct edf_file file = write_sound(arena, &document);
    const struct recording_document *again = read_again(arena, &file);
    const int16_t *read = again->channels[1].samples.codes;
    documents_assert_close(file.channels[0].shift_s, 0.0, 0.0);
    documents_assert_close(file.channels[1].shift_s, -0.03, 1e-12);
    assert_int_equal(again->channels[1].samples.count, 20);
    assert_int_equal(again->channels[1].samples.missing, 17);
    assert_int_equal(read[11], INT16_MIN);
    assert_int_equal(read[12], 1);
    assert_int_equal(read[14], 3);
    assert_int_equal(read[15], INT16_MIN);
    arena_free(arena);
}

/* Scales of converters and of people: the code and the double of the scale come back. */
static void test_scales_come_back(void **state)
{
    (void)state;
    static const int16_t codes[] = {-1000, 0, 1000};
    static const double scales[] = {0.1,           0.01,
                                    0.05,          1.0,
                                    0.001,         0.25,
                                    0.5,           1e-6,
                                    1.0 / 3.0,     1000.0 / 4095.0,
                                    2.0 / 65535.0, 10.0 / 32767.0,
                                    -0.1,          100.0};
    for (size_t i = 0; i < sizeof scales / sizeof scales[0]; i++) {
        struct arena *arena = arena_new();
        struct document_channel channel =
            channel_of(SIGNAL_PVES, 1.0, int16_samples(codes, 3, scales[i], 0.0));
        if (i == 9) {
            channel.samples.offset = 500.0 / 4095.0; /* -500 to 500 in 12 bits */
        } else if (i == 10) {
            channel.samples.offset = 1.0 / 65535.0; /* -1 to 1 in 16 bits */
        }
        struct recording_document document = document_of(&channel, 1);
        struct edf_file file = write_sound(arena, &document);
        const struct recording_document *again = read_again(arena, &file);
        documents_assert_close(again->channels[0].samples.scale, scales[i], 0.0);
        documents_assert_close(again->channels[0].samples.offset, channel.samples.offset, 0.0);
        assert_memory_equal(again->channels[0].samples.codes, codes, sizeof codes);
        assert_true(file.channels[0].is_exact);
        documents_assert_close(file.channels[0].greatest_error, 0.0, 0.0);
        arena_free(arena);
    }
}

/* pi/1000 a code fits no eight characters: the codes stay, and the error of the values is told. */
static void test_error_of_a_scale_is_told(void **state)
{
    (void)state;
    static const int16_t codes[] = {-3000, 0, 3000};
    struct arena *arena = arena_new();
    struct document_channel channel =
        channel_of(SIGNAL_PVES, 1.0, int16_samples(codes, 3, 3.14159265358979e-3, 0.0));
    struct recording_document document = document_of(&channel, 1);
    struct edf_file file = write_sound(arena, &document);
    const struct recording_document *again = read_again(arena, &file);
    const double *was = samples_all_values(&channel.samples, arena);
    const double *is = samples_all_values(&again->channels[0].samples, arena);
    double error = fmax(fabs(was[0] - is[0]), fabs(was[2] - is[2]));
    assert_memory_equal(again->channels[0].samples.codes, codes, sizeof codes);
    assert_false(file.channels[0].is_exact);
    assert_true(error > 0.0 && error < 1e-5); /* -9.42478 holds five decimals */
    documents_assert_close(file.channels[0].greatest_error, error, 1e-12);
    arena_free(arena);
}

static void test_decimals_keep_their_codes(void **state)
{
    (void)state;
    static const double small[] = {12.34, -0.01, (double)NAN, 327.67};
    static const double shifted[] = {1000.25, 1200.5, 1327.75};
    static const double wide[] = {0.0, 1000.25, 0.125, 999.999};
    struct arena *arena = arena_new();
    struct document_channel channel = channel_of(SIGNAL_PVES, 1.0, (struct samples){.count = 0});
    struct recording_document document = document_of(&channel, 1);
    samples_from_values(small, 4, arena, &channel.samples);
    struct edf_file file = write_sound(arena, &document);
    const struct samples *again = &read_again(arena, &file)->channels[0].samples;
    const int16_t *codes = again->codes;
    documents_assert_close(again->scale, 0.01, 0.0);
    assert_int_equal(codes[0], 1234);
    assert_int_equal(codes[1], -1);
    assert_int_equal(codes[2], INT16_MIN);
    assert_int_equal(codes[3], 32767);
    assert_true(file.channels[0].is_exact);
    samples_from_values(shifted, 3, arena, &channel.samples);
    file = write_sound(arena, &document);
    const double *values =
        samples_all_values(&read_again(arena, &file)->channels[0].samples, arena);
    assert_true(file.channels[0].is_exact);
    for (size_t i = 0; i < 3; i++) {
        documents_assert_close(values[i], shifted[i], 1e-9);
    }
    samples_from_values(wide, 4, arena, &channel.samples);
    file = write_sound(arena, &document);
    values = samples_all_values(&read_again(arena, &file)->channels[0].samples, arena);
    assert_false(file.channels[0].is_exact);
    assert_true(file.channels[0].greatest_error <= 0.5 * 1000.25 / 65534.0 * 1.001);
    for (size_t i = 0; i < 4; i++) {
        documents_assert_close(values[i], wide[i], file.channels[0].greatest_error);
    }
    arena_free(arena);
}

/* The header's range is never narrower than the values, which may have more digits than fit. */
static void test_rounded_range_holds_all_values(void **state)
{
    (void)state;
    static const double low[] = {-1000.124, -1000.00000012345};
    static const double high[] = {10000.00000012345, 10000.124};
    static const double *const cases[] = {low, high};
    for (size_t i = 0; i < 2; i++) {
        struct arena *arena = arena_new();
        struct document_channel channel = channel_of(
            SIGNAL_PVES, 2.0,
            (struct samples){.encoding = SAMPLES_FLOAT64, .count = 2, .codes = cases[i]});
        struct recording_document document = document_of(&channel, 1);
        struct edf_file file = write_sound(arena, &document);
        assert_true(file.channels[0].greatest_error < 2e-6); /* of 0.13 in 65534 steps */
        arena_free(arena);
    }
}

static void test_channels_without_a_range(void **state)
{
    (void)state;
    static const double constant[] = {-7e-8, -7e-8};
    static const double nothing[] = {(double)NAN, (double)NAN};
    static const double *const cases[] = {constant, nothing};
    for (size_t i = 0; i < 2; i++) {
        struct arena *arena = arena_new();
        struct document_channel channel = channel_of(SIGNAL_PVES, 2.0,
                                                     (struct samples){.encoding = SAMPLES_FLOAT64,
                                                                      .count = 2,
                                                                      .missing = i == 1 ? 2 : 0,
                                                                      .codes = cases[i]});
        struct recording_document document = document_of(&channel, 1);
        struct edf_file file = write_sound(arena, &document);
        const double *values =
            samples_all_values(&read_again(arena, &file)->channels[0].samples, arena);
        if (i == 0) {
            documents_assert_close(values[0], constant[0], file.channels[0].greatest_error);
            assert_true(file.channels[0].greatest_error < 1e-4);
        } else {
            assert_true(isnan(values[0]) && isnan(values[1]));
        }
        arena_free(arena);
    }
}

/* ---- events ---- */

static const struct document_event events[] = {
    {0.0, "first_desire", "", {false, 0.0}},
    {0.1, "cough", "strong: twice", {false, 0.0}},
    {0.1, "balloon", "", {true, 50.5}},
    {0.3, "balloon", "held", {true, -1e-9}},
    {0.123456789, "saline_stopped", "own code", {true, 3.0}},
    {1.5, "other", "", {false, 0.0}},
    {1.5, "comment", "plain words", {false, 0.0}},
    {1.5, "comment", "cough", {false, 0.0}},
    {1.5, "comment", "#hash", {false, 0.0}},
    {1.5, "comment", "pain: severe", {false, 0.0}},
    {1.5, "comment", "pain [", {false, 0.0}},
    {1.5, "comment", "", {false, 0.0}},
    {1.5, "comment", "", {true, 2.0}},
    {1.5, "leak", "two\nlines\tand \xC3\xA9\xE2\x82\xAC", {false, 0.0}},
    {2.75, "leak", " blank before", {false, 0.0}},
    {3.9, "comment", "after the last sample", {false, 0.0}},
};

enum { EVENT_COUNT = sizeof events / sizeof events[0] };

static void assert_same_events(const struct recording_document *was,
                               const struct recording_document *is)
{
    assert_int_equal(is->event_count, was->event_count);
    for (size_t i = 0; i < was->event_count; i++) {
        documents_assert_close(is->events[i].at_s, was->events[i].at_s, 0.0);
        assert_string_equal(is->events[i].code, was->events[i].code);
        assert_string_equal(is->events[i].note, was->events[i].note);
        assert_int_equal(is->events[i].value.known, was->events[i].value.known);
        if (was->events[i].value.known) {
            documents_assert_close(is->events[i].value.value, was->events[i].value.value, 0.0);
        }
    }
}

static void test_events_come_back(void **state)
{
    (void)state;
    static const int16_t codes[30] = {1};
    struct arena *arena = arena_new();
    struct document_channel channel =
        channel_of(SIGNAL_PVES, 10.0, int16_samples(codes, 30, 0.1, 0.0));
    struct recording_document document = document_of(&channel, 1);
    document.started_at_us += 123457;
    document.events = arena_array(arena, EVENT_COUNT, sizeof events[0]);
    memcpy(document.events, events, sizeof events);
    document.event_count = EVENT_COUNT;
    /* 0.123456789 stands before 0.3 in time. */
    struct document_event swap = document.events[3];
    document.events[3] = document.events[4];
    document.events[4] = swap;
    struct edf_file file = write_sound(arena, &document);
    const struct recording_document *again = read_again(arena, &file);
    assert_true(again->started_at_us == document.started_at_us);
    assert_same_events(&document, again);
    arena_free(arena);
}

/* Notes as long as they may be, more of them than records: the annotations grow, not the records.
 */
static void test_long_notes(void **state)
{
    (void)state;

    enum { COUNT = 20 };

    static const int16_t codes[30] = {1};
    static char note[LIMIT_NOTE_BYTES + 1];
    struct arena *arena = arena_new();
    struct document_channel channel =
        channel_of(SIGNAL_PVES, 10.0, int16_samples(codes, 30, 0.1, 0.0));
    struct recording_document document = document_of(&channel, 1);
    struct document_event many[COUNT];
    memset(note, 'n', LIMIT_NOTE_BYTES);
    for (size_t i = 0; i < COUNT; i++) {
        many[i] =
            (struct document_event){(double)i / 10.0, "first_sensation", note, {true, 1e-300}};
    }
    document.events = many;
    document.event_count = COUNT;
    struct edf_file file = write_sound(arena, &document);
    assert_int_equal(file.record_count, 3);
    assert_same_events(&document, read_again(arena, &file));
    arena_free(arena);
}

/* A night with one long note: records grow longer, so that the file does not grow by the note a
 * second. */
static void test_one_long_note_in_a_long_recording(void **state)
{
    (void)state;

    enum { COUNT = 36000 };

    static const int16_t codes[COUNT] = {1};
    static char note[LIMIT_NOTE_BYTES + 1];
    struct arena *arena = arena_new();
    struct document_channel channel =
        channel_of(SIGNAL_PVES, 1.0, int16_samples(codes, COUNT, 0.1, 0.0));
    struct recording_document document = document_of(&channel, 1);
    struct document_event event = {5.0, "comment", note, {false, 0.0}};
    memset(note, 'n', LIMIT_NOTE_BYTES);
    document.events = &event;
    document.event_count = 1;
    struct edf_file file = write_sound(arena, &document);
    assert_true(file.length < (size_t)4 * 1024 * 1024);
    assert_same_events(&document, read_again(arena, &file));
    arena_free(arena);
}

/* ---- round trip ---- */

enum { ROUNDS = 120, SAMPLES_MOST = 700 };

/* xorshift64, Marsaglia 2003: the same numbers in every run */
static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static size_t below(uint64_t *seed, size_t limit)
{
    return (size_t)(next_random(seed) % limit);
}

static double share(uint64_t *seed)
{
    return (double)below(seed, 1000001) / 1e6;
}

/* What is written of these is without loss, so that the codes must be the same. */
static void random_int16(uint64_t *seed, struct arena *arena, struct samples *samples)
{
    static const double scales[] = {0.1, 0.01, 0.05, 0.25, 1.0, -0.1, 0.001, 0.02};
    static const double offsets[] = {0.0, -10.0, 100.5, 20.0};
    int16_t *codes = arena_array(arena, samples->count, sizeof *codes);
    for (size_t i = 0; i < samples->count; i++) {
        codes[i] = (int16_t)((int)below(seed, 65535) - 32767);
        codes[i] = below(seed, 9) == 0 ? INT16_MIN : codes[i];
    }
    *samples =
        int16_samples(codes, samples->count, scales[below(seed, 8)], offsets[below(seed, 4)]);
}

static void random_int32(uint64_t *seed, struct arena *arena, struct samples *samples)
{
    int32_t *codes = arena_array(arena, samples->count, sizeof *codes);
    samples->encoding = SAMPLES_INT32;
    samples->scale = 0.1;
    for (size_t i = 0; i < samples->count; i++) {
        codes[i] = (int32_t)below(seed, 65000) - 32768;
        if (below(seed, 9) == 0) {
            codes[i] = INT32_MIN;
            samples->missing++;
        }
    }
    codes[0] = -32768;
    samples->missing = 0;
    for (size_t i = 0; i < samples->count; i++) {
        samples->missing += codes[i] == INT32_MIN ? 1 : 0;
    }
    samples->codes = codes;
}

/* Values with 0 to 6 decimals, doubles, or floats, with gaps. */
static void random_values(uint64_t *seed, struct arena *arena, struct samples *samples)
{
    double *values = arena_array(arena, samples->count, sizeof *values);
    double size = pow(10.0, (double)below(seed, 7) - 2.0);
    double step = pow(10.0, (double)below(seed, 7));
    bool is_decimal = below(seed, 2) == 0;
    for (size_t i = 0; i < samples->count; i++) {
        double value = size * (share(seed) - 0.3);
        values[i] = is_decimal ? rint(value * step) / step : value * 1.0000001;
        values[i] = below(seed, 11) == 0 ? (double)NAN : values[i];
    }
    if (below(seed, 3) > 0) {
        samples_from_values(values, samples->count, arena, samples);
        return;
    }
    float *floats = arena_array(arena, samples->count, sizeof *floats);
    samples->encoding = SAMPLES_FLOAT32;
    for (size_t i = 0; i < samples->count; i++) {
        floats[i] = (float)values[i];
        samples->missing += isnan(values[i]) ? 1 : 0;
    }
    samples->codes = floats;
}

static void random_channel(uint64_t *seed, struct arena *arena, enum signal_kind signal,
                           struct document_channel *channel)
{
    static const double rates[] = {10.0, 4.0, 1.0, 0.5, 12.5, 100.0, 100.0 / 3.0, 0.1, 33.0, 250.0};
    struct samples samples = {.count = 1 + below(seed, SAMPLES_MOST)};
    switch (below(seed, 4)) {
    case 0:
        random_int16(seed, arena, &samples);
        break;
    case 1:
        random_int32(seed, arena, &samples);
        break;
    default:
        random_values(seed, arena, &samples);
        break;
    }
    *channel = channel_of(signal, rates[below(seed, 10)], samples);
    channel->start_s = below(seed, 3) == 0 ? (double)below(seed, 50) / channel->rate_hz : 0.0;
}

static void random_document(uint64_t *seed, struct arena *arena,
                            struct recording_document *document)
{
    size_t count = 1 + below(seed, 8);
    size_t first = below(seed, SIGNAL_COUNT - 8);
    *document = document_of(arena_array(arena, count, sizeof *document->channels), count);
    document->started_at_us += (int64_t)below(seed, 4000000);
    for (size_t i = 0; i < count; i++) {
        random_channel(seed, arena, (enum signal_kind)(first + i), &document->channels[i]);
    }
    document->event_count = below(seed, 40);
    document->events = arena_array(arena, document->event_count, sizeof *document->events);
    double at_s = 0.0;
    double end_s = recording_document_duration_s(document);
    for (size_t i = 0; i < document->event_count; i++) {
        document->events[i] = events[below(seed, EVENT_COUNT)];
        at_s = fmin(end_s, at_s + end_s * share(seed) / 20.0);
        document->events[i].at_s = rint(at_s * 1e9) / 1e9;
        at_s = document->events[i].at_s;
    }
}

static bool holds_codes(const struct samples *samples)
{
    return samples->encoding == SAMPLES_INT16 || samples->encoding == SAMPLES_INT32;
}

static int64_t code_at(const struct samples *samples, size_t index)
{
    return samples->encoding == SAMPLES_INT16 ? ((const int16_t *)samples->codes)[index]
                                              : ((const int32_t *)samples->codes)[index];
}

static void check_channel(struct arena *arena, const struct document_channel *was,
                          const struct document_channel *is,
                          const struct edf_written_channel *written)
{
    size_t first = (size_t)rint(was->start_s * was->rate_hz);
    const double *before = samples_all_values(&was->samples, arena);
    const double *after = samples_all_values(&is->samples, arena);
    double greatest = 0.0;
    assert_int_equal(is->signal, was->signal);
    assert_string_equal(is->unit, was->unit);
    documents_assert_close(is->rate_hz, was->rate_hz, 0.0);
    documents_assert_close(written->shift_s, 0.0, 1e-9);
    assert_int_equal(is->samples.count, was->samples.count + written->padded);
    assert_int_equal(is->samples.missing, was->samples.missing + written->padded);
    for (size_t i = 0; i < is->samples.count; i++) {
        if (i < first || i >= first + was->samples.count) {
            assert_true(isnan(after[i]));
            continue;
        }
        assert_int_equal(isnan(before[i - first]), isnan(after[i]));
        if (isnan(after[i])) {
            continue;
        }
        greatest = fmax(greatest, fabs(after[i] - before[i - first]));
        if (holds_codes(&was->samples)) {
            assert_true(code_at(&is->samples, i) == code_at(&was->samples, i - first));
        }
    }
    documents_assert_close(greatest, written->greatest_error,
                           1e-12 + 1e-9 * written->greatest_error +
                               1e-11 * fabs(is->samples.scale) * 65536.0);
    if (holds_codes(&was->samples)) {
        assert_true(written->is_exact);
        documents_assert_close(is->samples.scale, was->samples.scale, 0.0);
        documents_assert_close(is->samples.offset, was->samples.offset, 0.0);
    }
}

static void test_random_recordings_come_back(void **state)
{
    (void)state;
    uint64_t seed = 88172645463325252u;
    size_t exact = 0;
    size_t rounded = 0;
    for (int round = 0; round < ROUNDS; round++) {
        struct arena *arena = arena_new();
        struct recording_document document;
        random_document(&seed, arena, &document);
        struct edf_file file = write_sound(arena, &document);
        const struct recording_document *again = read_again(arena, &file);
        assert_true(again->started_at_us == document.started_at_us);
        assert_int_equal(again->channel_count, document.channel_count);
        for (size_t i = 0; i < document.channel_count; i++) {
            check_channel(arena, &document.channels[i], &again->channels[i], &file.channels[i]);
            exact += file.channels[i].is_exact ? 1 : 0;
            rounded += file.channels[i].is_exact ? 0 : 1;
        }
        assert_same_events(&document, again);
        /* The same file once more, bit for bit, when nothing was rounded and nothing added. */
        struct edf_file second = write_sound(arena, again);
        const struct recording_document *third = read_again(arena, &second);
        for (size_t i = 0; i < document.channel_count; i++) {
            if (file.channels[i].is_exact) {
                assert_int_equal(third->channels[i].samples.count,
                                 again->channels[i].samples.count);
            }
        }
        arena_free(arena);
    }
    assert_true(exact > 50 && rounded > 50);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_byte_of_a_small_file),
        cmocka_unit_test(test_local_dates),
        cmocka_unit_test(test_length_of_a_record),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_many_rates_that_do_not_fit),
        cmocka_unit_test(test_starts_become_missing_samples),
        cmocka_unit_test(test_scales_come_back),
        cmocka_unit_test(test_error_of_a_scale_is_told),
        cmocka_unit_test(test_decimals_keep_their_codes),
        cmocka_unit_test(test_rounded_range_holds_all_values),
        cmocka_unit_test(test_channels_without_a_range),
        cmocka_unit_test(test_events_come_back),
        cmocka_unit_test(test_long_notes),
        cmocka_unit_test(test_one_long_note_in_a_long_recording),
        cmocka_unit_test(test_random_recordings_come_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
