/* Numbers and long strings read without a tree: against Jansson, which is the reference, and
 * against values that IEEE 754 fixes (from memory). */
#include "documents.h"
#include "scan_check.h"
#include "scan_text.h"

#include "base/text.h"
#include "formats/document_scan.h"
#include "formats/json_reader.h"
#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static uint64_t bits_of(double value)
{
    uint64_t bits = 0;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* Scans a copy of exactly `length` bytes, so that reading one byte too far is seen; it lives as
 * long as the arena. */
static struct document_scan *scan_text(struct arena *arena, const char *text, size_t length)
{
    struct document_scan *scan = arena_alloc(arena, sizeof *scan);
    char *body = malloc(length > 0 ? length : 1);
    assert_non_null(body);
    memcpy(body, text, length);
    arena_defer(arena, free, body);
    document_scan_run(scan, arena, body, length);
    return scan;
}

static struct document_scan *scan_number(struct arena *arena, const char *number)
{
    const char *text = arena_printf(arena, "{\"channels\":[{\"samples\":[%s]}]}", number);
    return scan_text(arena, text, strlen(text));
}

static void test_awkward_numbers(void **state)
{
    static const struct {
        const char *text;
        uint64_t bits;
    } rows[] = {
        {"0", 0},
        {"-0", 0}, /* an integer, which has no negative zero */
        {"0.0", 0},
        {"-0.0", 0x8000000000000000},
        {"-0e0", 0x8000000000000000},
        {"-0.000", 0x8000000000000000},
        {"0e99", 0},
        {"1", 0x3ff0000000000000},
        {"1e0", 0x3ff0000000000000},
        {"100e-2", 0x3ff0000000000000},
        {"0.1", 0x3fb999999999999a},
        {"0.10", 0x3fb999999999999a},
        {"1E-1", 0x3fb999999999999a},
        {"-0.5", 0xbfe0000000000000},
        {"0.3", 0x3fd3333333333333},
        {"0.30000000000000004", 0x3fd3333333333334},
        {"0.1000000000000000055511151231257827021181583404541015625", 0x3fb999999999999a},
        {"1000000000", 0x41cdcd6500000000},
        {"-1e9", 0xc1cdcd6500000000},
        {"0.001e12", 0x41cdcd6500000000},
        {"9007199254740992e-16", 0x3fecd2b297d889bc},
        {"4.9e-324", 1},                                  /* the smallest above zero */
        {"2.4703282292062328e-324", 1},                   /* just above half of it */
        {"2.4703282292062327e-324", 0},                   /* just below */
        {"2.2250738585072014e-308", 0x0010000000000000},  /* the smallest normal one */
        {"2.2250738585072011e-308", 0x000fffffffffffff},  /* the largest below it */
        {"18446744073709551617e-20", 0x3fc79ca10c924223}, /* 2^64 + 1 */
        {"1e-400", 0},
        {"-1e-400", 0x8000000000000000},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        const struct document_scan *scan = scan_number(arena, rows[i].text);
        const struct scanned_channel *channel = document_scan_channel(scan, 0);
        json_t *array =
            json_loads(arena_printf(arena, "[%s]", rows[i].text), JSON_REJECT_DUPLICATES, NULL);
        assert_non_null(array);
        uint64_t reference = bits_of(json_number_value(json_array_get(array, 0)));
        json_decref(array);
        assert_true(channel->has_samples);
        assert_int_equal(channel->samples.count, 1);
        uint64_t bits = bits_of(samples_all_values(&channel->samples, arena)[0]);
        if (bits != rows[i].bits || reference != rows[i].bits) {
            fail_msg("%s: %016llx, by Jansson %016llx", rows[i].text, (unsigned long long)bits,
                     (unsigned long long)reference);
        }
        arena_free(arena);
    }
}

/* Random decimals, short and long, small exponents and large: the nearest double to the text, as
 * Jansson finds it. */
static void test_random_numbers(void **state)
{
    enum { NUMBERS = 100000, BATCH = 1000, SIZE = 64 };

    (void)state;
    uint64_t random = 0x2545f4914f6cdd1d;
    for (size_t round = 0; round < NUMBERS / BATCH; round++) {
        struct arena *arena = arena_new();
        struct text text;
        text_init(&text, arena, (size_t)BATCH * SIZE + SIZE);
        text_append(&text, "{\"channels\":[{\"samples\":[");
        for (size_t i = 0; i < BATCH; i++) {
            random = random * 6364136223846793005U + 1442695040888963407U;
            uint64_t digits = random >> (random >> 58 & 63);
            int decimals = (int)(random >> 3 & 31);
            text_printf(&text, "%s%s%llu.%llue%d", i == 0 ? "" : ",", (random & 1) != 0 ? "-" : "",
                        (unsigned long long)(digits % 1000000),
                        (unsigned long long)(digits >> decimals),
                        (int)(random >> 40 % 59 & 31) - 28);
        }
        text_append(&text, "]}]}");
        struct scan_check_counts counts = {0};
        const char *difference = scan_check(text.data, strlen(text.data), &counts);
        if (difference != NULL) {
            fail_msg("round %zu: %s", round, difference);
        }
        arena_free(arena);
    }
}

/* Not a number of JSON, or one that is refused: none of it may be cut out. */
static void test_what_is_left_to_jansson(void **state)
{
    static const char *const items[] = {
        "",           "01",
        "-01",        "00",
        "+1",         "1.",
        ".5",         "-.5",
        "1e",         "1e+",
        "-",          "--1",
        "1.e1",       "1.5.2",
        "NaN",        "nan",
        "nul",        "nulll",
        "Infinity",   "0x10",
        "1,",         ",1",
        "1,,2",       "1 2",
        "true",       "\"1\"",
        "[1]",        "{}",
        "1e400",      "-1e400",
        "1e10",       "1e9.5",
        "1000000001", "-1000000000.5",
        "1\f",        "99999999999999999999",
        "1//",        "1]",
        "\"]\"",      "\xef\xbb\xbf,1",
    };
    (void)state;
    for (size_t i = 0; i < sizeof items / sizeof items[0]; i++) {
        struct arena *arena = arena_new();
        const char *text = arena_printf(arena, "{\"channels\":[{\"samples\":[3,%s]}]}", items[i]);
        const struct document_scan *scan = scan_text(arena, text, strlen(text));
        if (strcmp(items[i], "1]") == 0) {
            assert_int_equal(scan->cut_count, 1); /* sound up to there, and only there */
        } else if (scan->cut_count != 0 || scan->reduced != scan->body) {
            fail_msg("%s was cut out", items[i]);
        }
        struct scan_check_counts counts = {0};
        const char *difference = scan_check(text, strlen(text), &counts);
        if (difference != NULL) {
            fail_msg("%s: %s", items[i], difference);
        }
        assert_int_equal(counts.sound, 0);
        arena_free(arena);
    }
}

static void test_what_is_cut_out(void **state)
{
    static const struct {
        const char *text;
        const char *reduced; /* NULL: nothing is cut out */
    } rows[] = {
        {"{\"channels\":[{\"samples\":[1,null, 2.5 ]}]}", "{\"channels\":[{\"samples\":[]}]}"},
        {" {\"a\":\"[\\\"\" , \"channels\"\n:\t[ {\"a\":1,\"samples\" : [ 1\r\n],\"b\":2}]}x",
         " {\"a\":\"[\\\"\" , \"channels\"\n:\t[ {\"a\":1,\"samples\" : [],\"b\":2}]}x"},
        {"{\"channels\":[5,{\"data\":\"AA==\"},[{\"samples\":[1]}],{\"samples\":[1],\"data\":\"B\"}"
         "]",
         "{\"channels\":[5,{\"data\":\"\"},[{\"samples\":[1]}],{\"samples\":[],\"data\":\"\"}]"},
        {"{\"channels\":[{\"samples\":[1],\"samples\":[2]}]}",
         "{\"channels\":[{\"samples\":[],\"samples\":[2]}]}"},
        {"{\"channels\":[{\"x\":{\"samples\":[1]}}]}", NULL},
        {"{\"x\":{\"channels\":[{\"samples\":[1]}]}}", NULL},
        {"{\"channels\":{\"samples\":[1]}}", NULL},
        {"[{\"channels\":[{\"samples\":[1]}]}]", NULL},
        {"{\"channels\":[{\"s\\u0061mples\":[1]}]}", NULL},
        {"{\"channels\":[{\"Samples\":[1],\"sample\":[1],\"samples2\":[1]}]}", NULL},
        {"{\"channels\":[{\"data\":\"A\\/A\"},{\"data\":\"\xc3\xa9\"},{\"data\":\"\n\"}]}", NULL},
        {"{\"channels\":[{\"samples\":[]},{\"samples\":[ ]},{\"samples\":{}},{\"data\":\"\"}]}",
         NULL},
        {"{\"channels\":[{\"samples\":[1", NULL},
        {"{\"channels\":[{\"samples\":[", NULL},
        {"{\"channels\":[{\"samples\":", NULL},
        {"{\"channels\":[{\"data\":\"AAA", NULL},
        {"{\"channels\":[{\"data\":\"", NULL},
        {"{\"channels\":[{\"dat", NULL},
        {"{\"a\":\"\\", NULL},
        {"{", NULL},
        {"", NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        const struct document_scan *scan = scan_text(arena, rows[i].text, strlen(rows[i].text));
        const char *expected = rows[i].reduced == NULL ? rows[i].text : rows[i].reduced;
        if (scan->reduced_length != strlen(expected) ||
            memcmp(scan->reduced, expected, strlen(expected)) != 0) {
            fail_msg("row %zu: %.*s", i, (int)scan->reduced_length, scan->reduced);
        }
        for (size_t at = 0; at < scan->reduced_length; at++) {
            assert_int_equal(scan->reduced[at], scan->body[document_scan_origin(scan, at)]);
        }
        arena_free(arena);
    }
}

static void test_channels_keep_their_places(void **state)
{
    static const char text[] = "{\"channels\":[{\"samples\":[1]},{},null,{\"data\":\"AAEC\"},"
                               "{\"samples\":[12.5,null]}]}";
    static const int32_t codes[] = {125, INT32_MIN};
    (void)state;
    struct arena *arena = arena_new();
    const struct document_scan *scan = scan_text(arena, text, sizeof text - 1);
    assert_true(document_scan_channel(scan, 0)->has_samples);
    assert_false(document_scan_channel(scan, 1)->has_samples);
    assert_false(document_scan_channel(scan, 2)->has_samples);
    assert_false(document_scan_channel(scan, 3)->has_samples);
    assert_int_equal(document_scan_channel(scan, 3)->data_length, 4);
    assert_memory_equal(document_scan_channel(scan, 3)->data, "AAEC", 4);
    const struct samples *samples = &document_scan_channel(scan, 4)->samples;
    assert_int_equal(samples->encoding, SAMPLES_DECIMAL);
    assert_int_equal(samples->decimals, 1);
    assert_int_equal(samples->count, 2);
    assert_int_equal(samples->missing, 1);
    assert_memory_equal(samples->codes, codes, sizeof codes);
    assert_null(document_scan_channel(scan, 4)->data);
    assert_false(document_scan_channel(scan, LIMIT_CHANNELS)->has_samples);
    arena_free(arena);
}

/* Lines and columns are those of the text that was sent, whatever was cut out of it. */
static void test_places_of_malformed_texts(void **state)
{
    static const struct {
        const char *text;
        size_t length;
        const char *detail;
    } rows[] = {
        {"{\"channels\":[{\"samples\":[1,\n2,3]}}", 0,
         "Line 2, column 6: the text is not valid JSON."},
        {"{\"channels\":[{\"samples\":[1,2,3]},\n{\"samples\":[4,5]},\n {\"samples\":[4,x]}]}", 0,
         "Line 3, column 16: the text is not valid JSON."},
        {"{\"channels\":[{\"data\":\"AAAA\",\"data\":\"AA\"}]}", 0,
         "Line 1, column 34: a member is repeated within its object."},
        {"{\"channels\":[{\"samples\":[1,2,3]}]", 0,
         "Line 1, column 33: the text ends before the value is complete."},
        {"{\"channels\":[{\"samples\":[1,2,3]}]}\n\xc3\xa9", 0,
         "Line 2, column 1: something follows the value."},
        {"{\"channels\":[{\"samples\":[1,2,3],\"a\":\"\0\"}]}", 42,
         "Line 1, column 38: the character NUL is not allowed."},
        {"{\"channels\":[{\"samples\":[1,2],\"n\":[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[", 0,
         "Line 1, column 64: the value is nested too deeply."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct fault_list faults;
        fault_list_init(&faults, arena);
        size_t length = rows[i].length > 0 ? rows[i].length : strlen(rows[i].text);
        const struct document_scan *scan = scan_text(arena, rows[i].text, length);
        assert_true(scan->cut_count > 0);
        assert_null(json_reader_load_reduced(scan, &faults));
        assert_int_equal(faults.count, 1);
        assert_string_equal(faults.items[0].pointer, "");
        assert_string_equal(faults.items[0].detail, rows[i].detail);

        struct fault_list plain;
        fault_list_init(&plain, arena);
        assert_null(json_reader_load(rows[i].text, length, &plain));
        assert_string_equal(plain.items[0].detail, rows[i].detail);
        arena_free(arena);
    }
}

/* "1,1,…,1" of `count` numbers. */
static void append_ones(struct text *out, size_t count)
{
    char *ones = arena_alloc(out->arena, 2 * count);
    for (size_t i = 0; i < count; i++) {
        ones[2 * i] = '1';
        ones[2 * i + 1] = i + 1 < count ? ',' : '\0';
    }
    text_append(out, ones);
}

static enum json_read_outcome read_ones(struct arena *arena, size_t count, const char *last,
                                        struct fault_list *faults)
{
    struct text channels;
    const struct recording_document *document = NULL;
    text_init(&channels, arena, (size_t)128 * 1024 * 1024);
    text_append(&channels,
                "[{\"signal\":\"pves\",\"unit\":\"kPa\",\"rate_hz\":20000,\"samples\":[");
    append_ones(&channels, count);
    text_append(&channels, last);
    text_append(&channels, "]}]");
    struct document_parts parts = {.channels = channels.data};
    return documents_read(arena, documents_text(arena, &parts), RECORDING_JSON_STORE, &document,
                          faults);
}

static void test_samples_do_not_count_as_values(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    assert_int_equal(read_ones(arena, LIMIT_JSON_VALUES + 1, "", &faults), JSON_READ_OK);
    assert_int_equal(read_ones(arena, LIMIT_JSON_VALUES, ",true", &faults), JSON_READ_MALFORMED);
    assert_non_null(strstr(faults.items[0].detail, ": there are more than 4,000,000 values;"));
    arena_free(arena);
}

static void test_limit_of_a_channel(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct fault_list faults;
    assert_int_equal(read_ones(arena, LIMIT_CHANNEL_SAMPLES, ",1", &faults), JSON_READ_INVALID);
    assert_int_equal(faults.count, 1);
    assert_string_equal(faults.items[0].pointer, "/channels/0/samples");
    assert_string_equal(faults.items[0].detail,
                        "At most 16777216 samples in a channel; these are 16777217.");
    arena_free(arena);
}

/* The first two channels hold exactly what a channel may. */
static void test_limit_of_a_recording(void **state)
{
    static const char *const signals[] = {"pves", "pabd", "pdet"};
    (void)state;
    struct arena *arena = arena_new();
    struct text channels;
    text_init(&channels, arena, (size_t)128 * 1024 * 1024);
    for (size_t i = 0; i < 3; i++) {
        text_printf(&channels,
                    "%s{\"signal\":\"%s\",\"unit\":\"kPa\",\"rate_hz\":20000,\"samples\":[",
                    i == 0 ? "[" : "},", signals[i]);
        append_ones(&channels, i < 2 ? LIMIT_CHANNEL_SAMPLES : 1);
        text_append(&channels, "]");
    }
    text_append(&channels, "}]");
    struct document_parts parts = {.channels = channels.data};
    const struct recording_document *document = NULL;
    struct fault_list faults;
    assert_int_equal(documents_read(arena, documents_text(arena, &parts), RECORDING_JSON_STORE,
                                    &document, &faults),
                     JSON_READ_INVALID);
    assert_int_equal(faults.count, 1);
    assert_string_equal(faults.items[0].pointer, "/channels/2/samples");
    assert_non_null(strstr(faults.items[0].detail, "At most 33554432 samples in all channels"));
    arena_free(arena);
}

/* Seeded documents, each read by Jansson alone and by the scan. */
static void test_against_jansson(void **state)
{
    enum { ROUNDS = 20000, CHOICES = 1024 };

    (void)state;
    struct scan_check_counts counts = {0};
    uint64_t random = 1;
    for (size_t round = 0; round < ROUNDS; round++) {
        uint8_t choices[CHOICES];
        for (size_t i = 0; i < CHOICES; i++) {
            random = random * 6364136223846793005U + 1442695040888963407U;
            choices[i] = (uint8_t)(random >> 56);
        }
        char made[SCAN_TEXT_MAX];
        size_t length = scan_text_make(choices, CHOICES, made);
        char *body = malloc(length > 0 ? length : 1);
        assert_non_null(body);
        memcpy(body, made, length);
        const char *difference = scan_check(body, length, &counts);
        if (difference != NULL) {
            fail_msg("round %zu: %s: %.*s", round, difference, (int)length, body);
        }
        free(body);
    }
    print_message(
        "sound %zu, faulty %zu, malformed %zu (%zu after a cut); %zu arrays, %zu strings, "
        "%zu numbers, %zu arrays of doubles\n",
        counts.sound, counts.faulty, counts.malformed, counts.malformed_after_cut, counts.arrays,
        counts.strings, counts.numbers, counts.doubles);
    /* Every kind must come often, or the test says little. */
    assert_true(counts.sound > ROUNDS / 20);
    assert_true(counts.faulty > ROUNDS / 10);
    assert_true(counts.malformed_after_cut > ROUNDS / 20);
    assert_true(counts.arrays > ROUNDS / 2);
    assert_true(counts.strings > ROUNDS / 10);
    assert_true(counts.doubles > ROUNDS / 10);
    assert_true(counts.numbers > 2 * (size_t)ROUNDS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_awkward_numbers),
        cmocka_unit_test(test_random_numbers),
        cmocka_unit_test(test_what_is_left_to_jansson),
        cmocka_unit_test(test_what_is_cut_out),
        cmocka_unit_test(test_channels_keep_their_places),
        cmocka_unit_test(test_places_of_malformed_texts),
        cmocka_unit_test(test_samples_do_not_count_as_values),
        cmocka_unit_test(test_limit_of_a_channel),
        cmocka_unit_test(test_limit_of_a_recording),
        cmocka_unit_test(test_against_jansson),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
