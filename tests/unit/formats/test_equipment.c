/* Checks of equipment: their limits as JSON and as merge patches, and every sentence about them. */
#include "documents.h"

#include "formats/equipment_json.h"
#include "formats/equipment_words.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

/* ---- limits ---- */

/* `stored` with `patch` applied, as JSON; the number of faults. */
static const char *patched(struct arena *arena, const char *stored, const char *patch,
                           size_t *ret_faults)
{
    struct equipment_own_limits limits;
    struct error error = {0};
    struct fault_list faults;
    struct text out;
    fault_list_init(&faults, arena);
    text_init(&out, arena, 4096);
    assert_true(equipment_limits_parse(arena, stored, EQUIPMENT_FLOWMETER, &limits, &error));
    const json_t *value = json_reader_parse(arena, patch, strlen(patch), &faults);
    equipment_limits_patch(value, "/limits", EQUIPMENT_FLOWMETER, &faults, &limits);
    equipment_limits_write(&limits, &out);
    *ret_faults = faults.count;
    return out.data;
}

static void test_limits_are_merged(void **state)
{
    static const char *const rows[][3] = {
        {"{}", "{}", "{}"},
        {"{}", "{\"flow\":{\"absolute\":0.5}}", "{\"flow\":{\"absolute\":0.5}}"},
        {"{\"flow\":{\"absolute\":0.5,\"percent\":2}}", "{}",
         "{\"flow\":{\"absolute\":0.5,\"percent\":2}}"},
        {"{\"flow\":{\"absolute\":0.5,\"percent\":2}}", "{\"flow\":{\"percent\":null,\"drift\":1}}",
         "{\"flow\":{\"absolute\":0.5,\"drift\":1}}"},
        {"{\"flow\":{\"absolute\":0.5},\"volume\":{\"percent\":2}}", "{\"flow\":null}",
         "{\"volume\":{\"percent\":2}}"},
        {"{\"volume\":{\"percent\":2}}",
         "{\"volume\":{\"hysteresis\":3,\"gain_low\":0.9,\"gain_high\":1.1,\"offset\":4}}",
         "{\"volume\":{\"percent\":2,\"hysteresis\":3,\"gain_low\":0.9,\"gain_high\":1.1,"
         "\"offset\":4}}"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        size_t faults = 0;
        assert_string_equal(patched(arena, rows[i][0], rows[i][1], &faults), rows[i][2]);
        assert_int_equal(faults, 0);
        arena_free(arena);
    }
}

static void test_limits_with_faults(void **state)
{
    static const char *const rows[] = {
        "[]",
        "{\"pressure\":{}}",
        "{\"flow\":1}",
        "{\"flow\":{\"absolute\":-1}}",
        "{\"flow\":{\"absolute\":0}}",
        "{\"flow\":{\"colour\":1}}",
        "{\"volume\":{\"percent\":0}}",
        "{\"volume\":{\"percent\":51}}",
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        size_t faults = 0;
        print_message("%s\n", rows[i]);
        (void)patched(arena, "{}", rows[i], &faults);
        assert_int_equal(faults, 1);
        arena_free(arena);
    }
}

static void test_damaged_limits(void **state)
{
    struct equipment_own_limits limits;
    struct error error = {0};
    struct arena *arena = arena_new();

    (void)state;
    assert_false(equipment_limits_parse(arena, "{\"mass\":{}}", EQUIPMENT_PULLER, &limits, &error));
    assert_int_equal(error.kind, ERROR_INTERNAL);
    arena_free(arena);
}

/* ---- words ---- */

static const struct equipment_point points[] = {
    {EQUIPMENT_PRESSURE, 100.0, 104.25, false},
    {EQUIPMENT_PRESSURE, 0.0, 0.0, false},
};

static const struct equipment_check check = {
    .kind = EQUIPMENT_PRESSURE_TRANSDUCER, .points = points, .point_count = 2};

static void test_every_rule_has_a_sentence(void **state)
{
    static const struct {
        struct equipment_note note;
        const char *words;
    } rows[] = {
        {{EQUIPMENT_RULE_POINT, EQUIPMENT_PRESSURE, 0, {true, 4.25}, {true, 3.0}},
         "100 cmH\u2082O applied was read as 104.25 cmH\u2082O: an error of 4.25 cmH\u2082O, of "
         "which 3 cmH\u2082O would pass."},
        {{EQUIPMENT_RULE_HYSTERESIS, EQUIPMENT_PRESSURE, 0, {true, 1.5}, {true, 1.0}},
         "Readings from above and below differ by 1.5 cmH\u2082O, which is more than 1."},
        {{EQUIPMENT_RULE_MISSING, EQUIPMENT_FLOW, 0, {0}, {0}}, "No flow was applied and read."},
        {{EQUIPMENT_RULE_COLUMN, EQUIPMENT_PRESSURE, 0, {0}, {0}},
         "Pressure has to be read at 0 and at 50 cmH\u2082O or more."},
        {{EQUIPMENT_RULE_NO_LIMIT, EQUIPMENT_AMPLITUDE, 0, {0}, {0}},
         "There is no limit for the amplitude that was applied."},
        {{EQUIPMENT_RULE_GAIN, EQUIPMENT_PRESSURE, 0, {true, 0.95}, {true, 0.97}},
         "The gain is 0.95, below 0.97: a calibration is needed."},
        {{EQUIPMENT_RULE_GAIN, EQUIPMENT_PRESSURE, 0, {true, 1.05}, {true, 1.03}},
         "The gain is 1.05, above 1.03: a calibration is needed."},
        {{EQUIPMENT_RULE_OFFSET, EQUIPMENT_PRESSURE, 0, {true, -2.0}, {true, 1.0}},
         "The offset is -2 cmH\u2082O, beyond 1: a calibration is needed."},
        {{EQUIPMENT_RULE_DRIFT, EQUIPMENT_PRESSURE, 0, {true, 1.4}, {true, 1.0}},
         "Zero moved by 1.4 cmH\u2082O; wanted is less than 1."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct text out;
        text_init(&out, arena, 4096);
        equipment_words_note(&check, &rows[i].note, &out);
        assert_string_equal(out.data, rows[i].words);
        arena_free(arena);
    }
}

static void test_verdicts(void **state)
{
    static const struct {
        enum equipment_verdict verdict;
        enum equipment_outcome first;
        enum equipment_outcome second;
        const char *words;
    } rows[] = {
        {EQUIPMENT_PASSED, EQUIPMENT_WITHIN, EQUIPMENT_WITHIN,
         "Passed. All 2 points are within their limits."},
        {EQUIPMENT_PASSED, EQUIPMENT_WITHIN, EQUIPMENT_NO_LIMIT,
         "Passed. The point is within its limits."},
        {EQUIPMENT_FAILED, EQUIPMENT_OUTSIDE, EQUIPMENT_WITHIN,
         "Failed. 1 of 2 points is outside the limits."},
        {EQUIPMENT_FAILED, EQUIPMENT_OUTSIDE, EQUIPMENT_OUTSIDE,
         "Failed. 2 of 2 points are outside the limits."},
        {EQUIPMENT_INCOMPLETE, EQUIPMENT_WITHIN, EQUIPMENT_WITHIN,
         "Incomplete. All 2 points are within their limits."},
        {EQUIPMENT_NOT_JUDGED, EQUIPMENT_NO_LIMIT, EQUIPMENT_NO_LIMIT, "Not judged."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        static struct equipment_judgement judgement;
        struct arena *arena = arena_new();
        struct text out;
        text_init(&out, arena, 4096);
        judgement.verdict = rows[i].verdict;
        judgement.points[0].outcome = rows[i].first;
        judgement.points[1].outcome = rows[i].second;
        equipment_words_append(&check, &judgement, &out);
        assert_string_equal(out.data, rows[i].words);
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_limits_are_merged), cmocka_unit_test(test_limits_with_faults),
        cmocka_unit_test(test_damaged_limits),    cmocka_unit_test(test_every_rule_has_a_sentence),
        cmocka_unit_test(test_verdicts),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
