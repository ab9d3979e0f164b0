/* The trend: numbers of several documents side by side, and what became of each. */
#include "base/arena.h"
#include "report/trend_json.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>

#include <cmocka.h>

#define WEEK_US INT64_C(604800000000)

static json_t *write_trend(struct arena *arena, const struct trend_row *rows, size_t count)
{
    const struct trend_summary summary = {
        .patient_id = "p", .row_count = count, .rows = rows, .truncated = true};
    struct text out;
    text_init(&out, arena, (size_t)1024 * 1024);
    trend_json_write(&summary, arena, &out);
    assert_false(out.overflowed);
    json_error_t error;
    json_t *value = json_loads(out.data, JSON_REJECT_DUPLICATES, &error);
    if (value == NULL) {
        fail_msg("%s: %s", error.text, out.data);
    }
    return value;
}

static void assert_json(const json_t *value, const char *expected)
{
    json_t *wanted = json_loads(expected, JSON_DECODE_ANY, NULL);
    assert_non_null(wanted);
    char *text = json_dumps(value, JSON_ENCODE_ANY);
    if (json_equal(value, wanted) != 1) {
        fail_msg("%s is not %s", text, expected);
    }
    free(text);
    json_decref(wanted);
}

static void test_numbers_and_trends(void **state)
{
    static const struct trend_row rows[] = {
        {"a", 0, "final",
         "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":10,\"quality\":[\"spike\"]},"
         "\"flow_pattern\":{\"value\":\"bell\"}},"
         "\"voiding\":{\"qmax\":{\"value\":8.1239}}}}"},
        {"a", 0, "final", "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":12}}}}"},
        {"b", WEEK_US, "registered", NULL},
        {"c", 2 * WEEK_US, "preliminary",
         "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":15,\"cv_percent\":5}},"
         "\"profiles\":[{\"functional_length\":{\"value\":30}}]}}"},
    };
    (void)state;
    struct arena *arena = arena_new();
    json_t *document = write_trend(arena, rows, 4);
    const json_t *items = json_object_get(document, "items");
    assert_int_equal(json_array_size(items), 3);
    /* The later recording of study a has the number; what only the earlier one has stays. */
    assert_json(json_array_get(items, 0),
                "{\"study_id\":\"a\",\"started_at\":\"1970-01-01T00:00:00Z\","
                "\"status\":\"final\",\"values\":{\"uroflow\":{\"qmax\":12},"
                "\"voiding\":{\"qmax\":8.124}},\"doubtful\":[]}");
    assert_json(json_array_get(items, 1),
                "{\"study_id\":\"b\",\"started_at\":\"1970-01-08T00:00:00Z\","
                "\"status\":\"registered\",\"values\":{},\"doubtful\":[]}");
    assert_json(json_object_get(json_array_get(items, 2), "values"), "{\"uroflow\":{\"qmax\":15}}");
    const json_t *trends = json_object_get(document, "trends");
    assert_int_equal(json_array_size(trends), 2);
    assert_json(json_array_get(trends, 0),
                "{\"section\":\"uroflow\",\"code\":\"qmax\",\"label\":\"Maximum flow rate (Qmax)\","
                "\"unit\":\"mL/s\",\"count\":2,\"first\":12,\"last\":15,\"change\":3,"
                "\"change_percent\":25,\"slope_per_week\":1.5,\"verdict\":\"beyond_variation\"}");
    assert_json(json_object_get(document, "truncated"), "true");
    json_decref(document);
    arena_free(arena);
}

static void test_doubtful(void **state)
{
    static const struct trend_row rows[] = {
        {"a", 0, "final",
         "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":10,\"quality\":[\"spike\"]},"
         "\"qave\":{\"value\":5,\"quality\":[]}}}}"},
    };
    (void)state;
    struct arena *arena = arena_new();
    json_t *document = write_trend(arena, rows, 1);
    assert_json(json_object_get(json_array_get(json_object_get(document, "items"), 0), "doubtful"),
                "[\"uroflow.qmax\"]");
    json_decref(document);
    arena_free(arena);
}

/* A change of less than twice what repeats differ by is said to be within it. */
static void test_verdict(void **state)
{
    static const struct {
        const char *last;
        const char *verdict;
    } cases[] = {{"10.9", "within_variation"}, {"11.1", "beyond_variation"}};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct arena *arena = arena_new();
        const struct trend_row rows[] = {
            {"a", 0, "final",
             "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":10,\"cv_percent\":5}}}}"},
            {"b", WEEK_US, "final",
             arena_printf(arena, "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":%s}}}}",
                          cases[i].last)},
        };
        json_t *document = write_trend(arena, rows, 2);
        const json_t *trend = json_array_get(json_object_get(document, "trends"), 0);
        assert_string_equal(json_string_value(json_object_get(trend, "verdict")), cases[i].verdict);
        json_decref(document);
        arena_free(arena);
    }
}

/* A list of a stored document may be longer than a stranger's document may be. */
static void test_long_documents(void **state)
{
    enum { ITEMS = 60000, ROOM = 1 << 20 };
    struct arena *arena = arena_new();
    struct text text;
    (void)state;
    text_init(&text, arena, ROOM);
    text_append(&text,
                "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":18.5}},\"filling\":{\"coughs\":[");
    for (int i = 0; i < ITEMS; i++) {
        text_append(&text, i == 0 ? "{}" : ",{}");
    }
    text_append(&text, "]}}}");
    assert_false(text.overflowed);
    const struct trend_row rows[] = {{"a", 0, "final", text.data}};
    json_t *document = write_trend(arena, rows, 1);
    assert_int_equal(json_array_size(json_object_get(document, "trends")), 1);
    json_decref(document);
    arena_free(arena);
}

static void test_damaged_documents(void **state)
{
    static const char *const texts[] = {
        "",
        "{",
        "7",
        "[]",
        "{\"sections\":[]}",
        "{\"sections\":{\"uroflow\":[]}}",
        "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":\"x\"},\"qave\":7,\"qmax2\":null}}}"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct arena *arena = arena_new();
        const struct trend_row rows[] = {{"a", 0, "final", texts[i]}};
        json_t *document = write_trend(arena, rows, 1);
        assert_int_equal(json_array_size(json_object_get(document, "items")), 1);
        assert_int_equal(json_array_size(json_object_get(document, "trends")), 0);
        json_decref(document);
        arena_free(arena);
    }
    struct arena *arena = arena_new();
    json_t *document = write_trend(arena, NULL, 0);
    assert_json(json_object_get(document, "items"), "[]");
    json_decref(document);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_and_trends),
        cmocka_unit_test(test_doubtful),
        cmocka_unit_test(test_verdict),
        cmocka_unit_test(test_long_documents),
        cmocka_unit_test(test_damaged_documents),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
