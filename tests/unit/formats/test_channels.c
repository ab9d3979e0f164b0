/* The channels of a recording document: units, limits, and the three ways to send samples. */
#include "documents.h"

#include "base/text.h"
#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define PVES    "\"signal\":\"pves\",\"unit\":\"cm[H2O]\",\"rate_hz\":10"
#define SAMPLES "\"samples\":[1,2]"

static const struct document_channel *read_one(struct arena *arena, const char *channel)
{
    struct document_parts parts = {.channels = arena_printf(arena, "[%s]", channel)};
    const struct recording_document *document = documents_read_sound(arena, &parts);
    assert_int_equal(document->channel_count, 1);
    return &document->channels[0];
}

static const struct fault_case channel_faults[] = {
    {"no signal",
     RECORDING_JSON_STORE,
     {.channels = "[{\"unit\":\"mL\",\"rate_hz\":10," SAMPLES "}]"},
     "/channels/0/signal",
     "Required."},
    {"unknown signal",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pressure\",\"unit\":\"mL\",\"rate_hz\":10," SAMPLES "}]"},
     "/channels/0/signal",
     "pves, pabd, pdet, pura, flow, vvoid, vinf, emg, puller, prect,"},
    {"no unit",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pves\",\"rate_hz\":10," SAMPLES "}]"},
     "/channels/0/unit",
     "Required."},
    {"unit of another quantity",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pves\",\"unit\":\"mL\",\"rate_hz\":10," SAMPLES "}]"},
     "/channels/0/unit",
     "Must be a UCUM unit that fits pves: cm[H2O], kPa, mm[Hg]."},
    {"unit in words",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"flow\",\"unit\":\"ml/s\",\"rate_hz\":10," SAMPLES "}]"},
     "/channels/0/unit",
     "Must be a UCUM unit that fits flow: mL/s, L/min, mL/min."},
    {"no rate",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pves\",\"unit\":\"kPa\"," SAMPLES "}]"},
     "/channels/0/rate_hz",
     "Required."},
    {"rate 0",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pves\",\"unit\":\"kPa\",\"rate_hz\":0," SAMPLES "}]"},
     "/channels/0/rate_hz",
     "Must be greater than 0."},
    {"rate too high",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pves\",\"unit\":\"kPa\",\"rate_hz\":20001," SAMPLES "}]"},
     "/channels/0/rate_hz",
     "Must be between 0 and 20000."},
    {"start before 0",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"start_s\":-0.1," SAMPLES "}]"},
     "/channels/0/start_s",
     "Must be between 0 and 172800."},
    {"end too late",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"start_s\":172799.9," SAMPLES "}]"},
     "/channels/0",
     "Must end within 172800 s of the recording's start."},
    {"rate so low that it ends too late",
     RECORDING_JSON_STORE,
     {.channels = "[{\"signal\":\"pves\",\"unit\":\"kPa\",\"rate_hz\":1e-300," SAMPLES "}]"},
     "/channels/0",
     "Must end within"},
    {"unknown member",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"gain\":1," SAMPLES "}]"},
     "/channels/0/gain",
     "Unknown member."},
    {"no channels", RECORDING_JSON_STORE, {.channels = "null"}, "/channels", "Required."},
    {"channels empty",
     RECORDING_JSON_ANALYSE,
     {.channels = "[]"},
     "/channels",
     "at least one channel"},
    {"channels no array",
     RECORDING_JSON_STORE,
     {.channels = "{}"},
     "/channels",
     "Must be an array"},
    {"channel no object",
     RECORDING_JSON_STORE,
     {.channels = "[\"pves\"]"},
     "/channels/0",
     "Must be an object."},
    {"signal twice",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES "," SAMPLES "},{" PVES "," SAMPLES "}]"},
     "/channels/1/signal",
     "Channel 0 carries pves already"},
};

static void test_faults_of_a_channel(void **state)
{
    (void)state;
    documents_check_faults(channel_faults, sizeof channel_faults / sizeof channel_faults[0]);
}

static const struct fault_case sample_faults[] = {
    {"neither samples nor encoding",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES "}]"},
     "/channels/0/samples",
     "Required, unless encoding and data are given."},
    {"samples empty",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"samples\":[]}]"},
     "/channels/0/samples",
     "at least one sample"},
    {"samples no array",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"samples\":\"1\"}]"},
     "/channels/0/samples",
     "Must be an array of numbers and null."},
    {"sample no number",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"samples\":[1,null,\"3\"]}]"},
     "/channels/0/samples/2",
     "Must be null or a number"},
    {"sample too large",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"samples\":[1,-1000000001]}]"},
     "/channels/0/samples/1",
     "between -1000000000 and 1000000000."},
    {"encoding beside samples",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES "," SAMPLES ",\"encoding\":\"float32\"}]"},
     "/channels/0/encoding",
     "Must be left out beside samples."},
    {"data beside samples",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES "," SAMPLES ",\"data\":\"AAA=\"}]"},
     "/channels/0/data",
     "Belongs to an encoding"},
    {"offset beside samples",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES "," SAMPLES ",\"offset\":1}]"},
     "/channels/0/offset",
     "Belongs to the encoding int16 only."},
    {"unknown encoding",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"int24\",\"scale\":1,\"data\":\"AAA=\"}]"},
     "/channels/0/encoding",
     "Must be one of: int16, float32."},
    {"encoding without data",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\"}]"},
     "/channels/0/data",
     "Required."},
    {"data no string",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"data\":[1]}]"},
     "/channels/0/data",
     "Must be a string of base64."},
    {"data empty",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"data\":\"\"}]"},
     "/channels/0/data",
     "at least one sample"},
    {"data not base64",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"data\":\"AAAAAA-=\"}]"},
     "/channels/0/data",
     "the fault is at character 6."},
    {"padding left out",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"int16\",\"scale\":1,\"data\":\"AAA\"}]"},
     "/channels/0/data",
     "Must be base64"},
    {"half a sample",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"int16\",\"scale\":1,\"data\":\"AAAA\"}]"},
     "/channels/0/data",
     "whole samples of 2 bytes; these are 3 bytes."},
    {"float32 of 6 bytes",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"data\":\"AAAAAAAA\"}]"},
     "/channels/0/data",
     "whole samples of 4 bytes; these are 6 bytes."},
    {"no scale",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"int16\",\"data\":\"AAA=\"}]"},
     "/channels/0/scale",
     "Required."},
    {"scale 0",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"int16\",\"scale\":0,\"data\":\"AAA=\"}]"},
     "/channels/0/scale",
     "Must not be 0."},
    {"scale too large",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"int16\",\"scale\":31000,\"data\":\"AAA=\"}]"},
     "/channels/0/scale",
     "after scale and offset."},
    {"scale of float32",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"scale\":1,\"data\":\"AAAAAA==\"}]"},
     "/channels/0/scale",
     "Belongs to the encoding int16 only."},
    {"infinite float32",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"data\":\"AAAAAAAAgP8=\"}]"},
     "/channels/0/data",
     "Sample 1 is infinite"},
    {"float32 too large",
     RECORDING_JSON_STORE,
     {.channels = "[{" PVES ",\"encoding\":\"float32\",\"data\":\"//9/fw==\"}]"},
     "/channels/0/data",
     "Sample 0 is out of range"},
};

static void test_faults_of_samples(void **state)
{
    (void)state;
    documents_check_faults(sample_faults, sizeof sample_faults / sizeof sample_faults[0]);
}

static void test_units_and_factors(void **state)
{
    static const struct {
        const char *signal;
        const char *unit;
        double factor;
    } rows[] = {
        {"pves", "mm[Hg]", 133.322387415 / 98.0665}, /* conventional values, SI brochure */
        {"vvoid", "L", 1000.0},
        {"flow", "L/min", 1000.0 / 60.0},
        {"emg", "mV", 1000.0},
        {"puller", "cm", 10.0},
        {"panal12", "mm[Hg]", 1.0},
        {"balloon", "mL", 1.0},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        const struct document_channel *channel = read_one(
            arena,
            arena_printf(arena, "{\"signal\":\"%s\",\"unit\":\"%s\",\"rate_hz\":1," SAMPLES "}",
                         rows[i].signal, rows[i].unit));
        documents_assert_close(channel->to_canonical, rows[i].factor, 1e-12 * rows[i].factor);
        arena_free(arena);
    }
}

/* Codes 1, -2, missing, 32767, -32767 as little-endian base64. */
static void test_int16(void **state)
{
    static const double expected[] = {10.5, 9.0, (double)NAN, 16393.5, -16373.5};
    static const int16_t codes[] = {1, -2, INT16_MIN, 32767, -32767};
    (void)state;
    struct arena *arena = arena_new();
    const struct document_channel *channel =
        read_one(arena, "{" PVES ",\"encoding\":\"int16\",\"scale\":0.5,\"offset\":10,"
                        "\"data\":\"AQD+/wCA/38BgA==\"}");
    assert_int_equal(channel->samples.encoding, SAMPLES_INT16);
    assert_int_equal(channel->samples.count, 5);
    assert_int_equal(channel->samples.missing, 1);
    documents_assert_close(channel->samples.scale, 0.5, 0.0);
    documents_assert_close(channel->samples.offset, 10.0, 0.0);
    assert_memory_equal(channel->samples.codes, codes, sizeof codes);
    const double *values = samples_all_values(&channel->samples, arena);
    for (size_t i = 0; i < 5; i++) {
        assert_int_equal(isnan(values[i]), isnan(expected[i]));
        if (!isnan(expected[i])) {
            documents_assert_close(values[i], expected[i], 0.0);
        }
    }
    arena_free(arena);
}

/* 1.5, NaN, -0.0, 12.1 rounded to a float. */
static void test_float32(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct document_channel *channel = read_one(
        arena, "{" PVES ",\"encoding\":\"float32\",\"data\":\"AADAPwAAwH8AAACAmplBQQ==\"}");
    const double *values = samples_all_values(&channel->samples, arena);
    assert_int_equal(channel->samples.encoding, SAMPLES_FLOAT32);
    assert_int_equal(channel->samples.count, 4);
    assert_int_equal(channel->samples.missing, 1);
    documents_assert_close(values[0], 1.5, 0.0);
    assert_true(isnan(values[1]));
    assert_true(signbit(values[2]) != 0);
    documents_assert_close(values[2], 0.0, 0.0);
    documents_assert_close(values[3], (double)12.1F, 0.0);
    arena_free(arena);
}

/* JSON numbers come back as the doubles that strtod() gives, awkward ones too. */
static void test_numbers_are_exact(void **state)
{
    static const struct {
        const char *text;
        double value;
    } rows[] = {
        {"0.1", 0.1},           {"-0.0", -0.0},
        {"1e-7", 1e-7},         {"123456789.12345678", 123456789.12345678},
        {"1000000000", 1e9},    {"-1E+9", -1e9},
        {"4.9e-324", 4.9e-324}, {"0.30000000000000004", 0.30000000000000004},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        const struct document_channel *channel =
            read_one(arena, arena_printf(arena, "{" PVES ",\"samples\":[%s]}", rows[i].text));
        assert_memory_equal(samples_all_values(&channel->samples, arena), &rows[i].value,
                            sizeof rows[i].value);
        arena_free(arena);
    }
}

static void test_boundaries_are_inside(void **state)
{
    static const char *const channels[] = {
        "{\"signal\":\"emg\",\"unit\":\"uV\",\"rate_hz\":20000," SAMPLES "}",
        "{" PVES ",\"start_s\":172799.8," SAMPLES "}",
        "{" PVES ",\"samples\":[null]}",
        "{" PVES ",\"encoding\":\"int16\",\"scale\":-30000,\"data\":\"AAA=\"}",
    };
    (void)state;
    for (size_t i = 0; i < sizeof channels / sizeof channels[0]; i++) {
        struct arena *arena = arena_new();
        assert_true(read_one(arena, channels[i])->samples.count > 0);
        arena_free(arena);
    }
}

static void test_count_of_channels(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct text channels;
    text_init(&channels, arena, 4096);
    text_append(&channels, "[1");
    for (int i = 0; i < LIMIT_CHANNELS; i++) {
        text_append(&channels, ",1");
    }
    text_append(&channels, "]");
    const struct fault_case too_many = {"33 channels",
                                        RECORDING_JSON_STORE,
                                        {.channels = channels.data},
                                        "/channels",
                                        "At most 32 channels; these are 33."};
    documents_check_faults(&too_many, 1);
    arena_free(arena);
}

/* A channel of `count` int16 zeros. */
static void append_zeros(struct text *out, const char *signal, size_t count)
{
    size_t groups = count * sizeof(int16_t) / 3;
    size_t rest = count * sizeof(int16_t) % 3;
    text_printf(out, "{\"signal\":\"%s\",\"unit\":\"kPa\",\"rate_hz\":20000,", signal);
    text_append(out, "\"encoding\":\"int16\",\"scale\":1,\"data\":\"");
    char *digits = arena_alloc(out->arena, 4 * groups + 1);
    memset(digits, 'A', 4 * groups);
    text_append(out, digits);
    text_append(out, rest == 0 ? "\"}" : rest == 1 ? "AA==\"}" : "AAA=\"}");
}

/* The second row also shows that a channel may hold exactly its limit. */
static void test_count_of_samples(void **state)
{
    static const struct {
        size_t counts[3];
        const char *pointer;
        const char *detail;
    } rows[] = {
        {{1, LIMIT_CHANNEL_SAMPLES + 1, 0},
         "/channels/1/data",
         "At most 16777216 samples in a channel; these are 16777217."},
        {{LIMIT_CHANNEL_SAMPLES, LIMIT_CHANNEL_SAMPLES, 1},
         "/channels/2/data",
         "At most 33554432 samples in all channels"},
    };

    static const char *const signals[] = {"pves", "pabd", "pdet"};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct text channels;
        text_init(&channels, arena, (size_t)256 * 1024 * 1024);
        text_append(&channels, "[");
        for (size_t j = 0; j < 3 && rows[i].counts[j] > 0; j++) {
            text_append(&channels, j == 0 ? "" : ",");
            append_zeros(&channels, signals[j], rows[i].counts[j]);
        }
        text_append(&channels, "]");
        struct document_parts parts = {.channels = channels.data};
        const struct fault_case row = {"too many samples", RECORDING_JSON_STORE, parts,
                                       rows[i].pointer, rows[i].detail};
        documents_check_faults(&row, 1);
        arena_free(arena);
    }
}

/* More faults than the list keeps are counted, not lost. */
static void test_faults_beyond_the_list(void **state)
{
    enum { BAD_SAMPLES = 1000 };

    (void)state;
    struct arena *arena = arena_new();
    struct text channels;
    text_init(&channels, arena, 16384);
    text_append(&channels, "[{" PVES ",\"samples\":[\"\"");
    for (int i = 1; i < BAD_SAMPLES; i++) {
        text_append(&channels, ",\"\"");
    }
    text_append(&channels, "]}]");
    struct document_parts parts = {.channels = channels.data};
    const struct recording_document *document = NULL;
    struct fault_list faults;
    assert_int_equal(documents_read(arena, documents_text(arena, &parts), RECORDING_JSON_STORE,
                                    &document, &faults),
                     JSON_READ_INVALID);
    assert_int_equal(faults.count, FAULT_LIMIT);
    assert_int_equal(faults.dropped, BAD_SAMPLES - FAULT_LIMIT);
    assert_string_equal(faults.items[FAULT_LIMIT - 1].pointer, "/channels/0/samples/99");
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_faults_of_a_channel),
        cmocka_unit_test(test_faults_of_samples),
        cmocka_unit_test(test_units_and_factors),
        cmocka_unit_test(test_int16),
        cmocka_unit_test(test_float32),
        cmocka_unit_test(test_numbers_are_exact),
        cmocka_unit_test(test_boundaries_are_inside),
        cmocka_unit_test(test_count_of_channels),
        cmocka_unit_test(test_count_of_samples),
        cmocka_unit_test(test_faults_beyond_the_list),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
