/* What a clinic chooses, as JSON: numbers by code, faults by pointer, and the description of all.
 */
#include "documents.h"

#include "formats/choices_json.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

/* Reads {"choices": <text>} and gives the faults. */
static struct fault_list take(struct arena *arena, const char *text,
                              struct analysis_choices *ret_chosen)
{
    struct fault_list faults;
    struct json_reader reader;
    fault_list_init(&faults, arena);
    const json_t *value = json_reader_parse(arena, text, strlen(text), &faults);
    assert_non_null(value);
    json_reader_open(&reader, value, "", &faults);
    choices_json_take(&reader, ret_chosen);
    json_reader_close(&reader);
    return faults;
}

static void test_sound_choices(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct analysis_choices chosen;
    const struct fault_list faults =
        take(arena,
             "{\"choices\":{\"obstruction_high\":35,\"obstruction_low\":null,"
             "\"anorectal_women.rest_lower_mmhg\":40.5,\"pip1_low\":40,\"pip1_high\":60}}",
             &chosen);
    assert_int_equal(faults.count, 0);
    documents_assert_close(chosen.obstruction_high.value, 35.0, 0.0);
    assert_true(chosen.obstruction_high.known);
    assert_false(chosen.obstruction_low.known);
    documents_assert_close(chosen.anorectal_women.rest_lower_mmhg.value, 40.5, 0.0);
    assert_false(chosen.flow_delay_s.known);
    arena_free(arena);
}

static void test_faults(void **state)
{
    static const struct {
        const char *text;
        const char *pointer;
        const char *detail;
    } rows[] = {
        {"{}", "/choices", "Required."},
        {"{\"choices\":[]}", "/choices", "Must be an object."},
        {"{\"choices\":{},\"version\":1}", "/version", "Unknown member."},
        {"{\"choices\":{\"no_such\":1}}", "/choices/no_such", "Unknown member."},
        {"{\"choices\":{\"a/b~c\":1}}", "/choices/a~1b~0c", "Unknown member."},
        {"{\"choices\":{\"pip1_low\":\"30\"}}", "/choices/pip1_low", "Must be a number."},
        {"{\"choices\":{\"pip1_low\":19.9}}", "/choices/pip1_low", "Must be between 20 and 40."},
        {"{\"choices\":{\"pip1_low\":40.1}}", "/choices/pip1_low", "Must be between 20 and 40."},
        {"{\"choices\":{\"stress_leak_low_cmh2o\":80,\"stress_leak_high_cmh2o\":70}}",
         "/choices/stress_leak_low_cmh2o",
         "Must not be above stress_leak_high_cmh2o, which is 70."},
        {"{\"choices\":{\"anorectal_men.rest_lower_mmhg\":90,"
         "\"anorectal_men.rest_upper_mmhg\":80}}",
         "/choices/anorectal_men.rest_lower_mmhg",
         "Must not be above anorectal_men.rest_upper_mmhg, which is 80."},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct analysis_choices chosen;
        const struct fault_list faults = take(arena, rows[i].text, &chosen);
        if (faults.count != 1) {
            fail_msg("%s: %zu faults", rows[i].text, faults.count);
        }
        assert_string_equal(faults.items[0].pointer, rows[i].pointer);
        assert_string_equal(faults.items[0].detail, rows[i].detail);
        arena_free(arena);
    }
}

/* Equal limits leave nothing between them, which is no contradiction. */
static void test_equal_limits(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct analysis_choices chosen;
    const struct fault_list faults =
        take(arena, "{\"choices\":{\"obstruction_high\":30,\"obstruction_low\":30}}", &chosen);
    assert_int_equal(faults.count, 0);
    arena_free(arena);
}

/* Every number of every choice, both ends of its range, comes back as it was. */
static void test_round_trip(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        const double numbers[] = {row->least, row->most, row->least + (row->most - row->least) / 3};
        for (size_t j = 0; j < 3; j++) {
            struct analysis_choices chosen = {0};
            struct analysis_choices read = {0};
            struct error error = {0};
            struct text out;
            choices_set(&chosen, row, (struct optional_number){true, numbers[j]});
            text_init(&out, arena, 4096);
            choices_json_write(&chosen, &out);
            assert_true(choices_json_read(arena, out.data, &read, &error));
            for (size_t k = 0; k < choices_count(); k++) {
                assert_int_equal(choices_get(&read, choices_row(k)).known, k == i);
            }
            documents_assert_close(choices_get(&read, row).value, numbers[j], 0.0);
        }
    }
    arena_free(arena);
}

static void test_damaged_column(void **state)
{
    static const char *const texts[] = {"", "[]", "{", "7"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct arena *arena = arena_new();
        struct analysis_choices chosen;
        struct error error = {0};
        assert_false(choices_json_read(arena, texts[i], &chosen, &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
        arena_free(arena);
    }
}

static void assert_number_or_null(const json_t *value, struct optional_number expected)
{
    if (expected.known) {
        documents_assert_close(json_number_value(value), expected.value, 0.0);
    } else {
        assert_true(json_is_null(value));
    }
}

static void test_description(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct analysis_choices chosen = {.watts_factor_low = {true, 7.5},
                                            .emg_burst_sd = {true, 4}};
    struct analysis_choices in_use;
    struct text out;
    choices_in_use(&chosen, &in_use);
    text_init(&out, arena, 65536);
    choices_json_describe(&chosen, &out);
    json_t *items = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
    assert_int_equal(json_array_size(items), choices_count());
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        const json_t *item = json_array_get(items, i);
        assert_int_equal(json_object_size(item), 9);
        assert_string_equal(json_string_value(json_object_get(item, "code")), row->code);
        assert_string_equal(json_string_value(json_object_get(item, "label")), row->label);
        assert_string_equal(json_string_value(json_object_get(item, "unit")), row->unit);
        assert_string_equal(json_string_value(json_object_get(item, "source")), row->source);
        documents_assert_close(json_number_value(json_object_get(item, "least")), row->least, 0.0);
        documents_assert_close(json_number_value(json_object_get(item, "most")), row->most, 0.0);
        assert_number_or_null(json_object_get(item, "standard"),
                              (struct optional_number){row->has_default, row->standard});
        assert_number_or_null(json_object_get(item, "value"), choices_get(&in_use, row));
        assert_int_equal(json_is_true(json_object_get(item, "chosen")),
                         choices_get(&chosen, row).known);
    }
    json_decref(items);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sound_choices),  cmocka_unit_test(test_faults),
        cmocka_unit_test(test_equal_limits),   cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_damaged_column), cmocka_unit_test(test_description),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
