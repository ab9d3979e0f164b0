/* An interpretation as JSON: what is taken, what is refused and where, what comes back. */
#include "documents.h"

#include "formats/interpretation_json.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { WRITTEN_MAX = 1 << 20 };

static struct fault_list take(struct arena *arena, const char *text,
                              struct interpretation *ret_interpretation)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const json_t *value = json_reader_parse(arena, text, strlen(text), &faults);
    assert_non_null(value);
    interpretation_json_take(value, "/interpretation", &faults, ret_interpretation);
    return faults;
}

static const char *written(struct arena *arena, const struct interpretation *interpretation)
{
    struct text text;
    text_init(&text, arena, WRITTEN_MAX);
    interpretation_json_write(interpretation, &text);
    return text.data;
}

static const char whole[] =
    "{\"symptoms_reproduced\":\"not_asked\",\"symptoms_comment\":\"a \\\"quote\\\"\","
    "\"representative\":{\"free_flow\":true,\"voiding\":false},\"findings\":[{\"section\":"
    "\"filling\",\"code\":\"low_compliance\",\"text\":\"Low.\",\"basis\":[\"filling.compliance\"]}"
    ",{\"text\":\"One's own.\"}],\"diagnoses\":[{\"text\":\"d\",\"coding\":{\"system\":\"urn:x\","
    "\"code\":\"1\",\"display\":\"One\"}},{\"text\":\"e\"}],\"conclusion\":\"c\",\"plan\":"
    "[{\"text\":\"p\"}],\"complications\":\"none\",\"comment\":\"k\"}";

static void test_whole_one_comes_back(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct interpretation read;
    struct interpretation again;
    struct error error = {0};
    assert_int_equal(take(arena, whole, &read).count, 0);
    assert_int_equal(read.representative_free_flow, ANSWER_YES);
    assert_int_equal(read.representative_voiding, ANSWER_NO);
    assert_int_equal(read.finding_count, 2);
    assert_string_equal(read.findings[0].basis[0], "filling.compliance");
    assert_null(read.findings[1].section);
    assert_string_equal(read.diagnoses[0].display, "One");
    assert_null(read.diagnoses[1].system);
    assert_string_equal(read.plan[0], "p");
    assert_string_equal(written(arena, &read), whole);
    assert_true(interpretation_json_read(arena, whole, &again, &error));
    assert_string_equal(written(arena, &again), whole);
    arena_free(arena);
}

static void test_least_one(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct interpretation read;
    const struct fault_list faults =
        take(arena, "{\"conclusion\":\"c\",\"comment\":\" \",\"representative\":{},\"plan\":null}",
             &read);
    assert_int_equal(faults.count, 0);
    assert_string_equal(written(arena, &read),
                        "{\"findings\":[],\"diagnoses\":[],\"conclusion\":\"c\",\"plan\":[]}");
    arena_free(arena);
}

static void test_faults_with_places(void **state)
{
    (void)state;

    static const struct {
        const char *text;
        const char *pointer;
    } cases[] = {
        {"3", "/interpretation"},
        {"{}", "/interpretation/conclusion"},
        {"{\"conclusion\":\"c\",\"more\":1}", "/interpretation/more"},
        {"{\"conclusion\":\"c\",\"findings\":[{\"text\":\"a\",\"basis\":[\"a\",\"A b\"]}]}",
         "/interpretation/findings/0/basis/1"},
        {"{\"conclusion\":\"c\",\"findings\":[{\"text\":\"a\",\"basis\":3}]}",
         "/interpretation/findings/0/basis"},
        {"{\"conclusion\":\"c\",\"findings\":[{\"text\":\"a\",\"section\":\"\"}]}",
         "/interpretation/findings/0/section"},
        {"{\"conclusion\":\"c\",\"diagnoses\":[{\"text\":\"a\",\"coding\":{\"system\":\"s\"}}]}",
         "/interpretation/diagnoses/0/coding/code"},
        {"{\"conclusion\":\"c\",\"plan\":[null]}", "/interpretation/plan/0"},
        {"{\"conclusion\":\"c\",\"representative\":{\"voiding\":\"yes\"}}",
         "/interpretation/representative/voiding"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct interpretation read;
        const struct fault_list faults = take(arena, cases[i].text, &read);
        assert_int_equal(faults.count, 1);
        assert_string_equal(faults.items[0].pointer, cases[i].pointer);
        arena_free(arena);
    }
}

static void test_damaged_ones_are_errors(void **state)
{
    (void)state;
    static const char *const damaged[] = {"", "{", "[]", "{}", "{\"conclusion\":7}"};
    for (size_t i = 0; i < sizeof damaged / sizeof damaged[0]; i++) {
        struct arena *arena = arena_new();
        struct interpretation read;
        struct error error = {0};
        assert_false(interpretation_json_read(arena, damaged[i], &read, &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_whole_one_comes_back),
        cmocka_unit_test(test_least_one),
        cmocka_unit_test(test_faults_with_places),
        cmocka_unit_test(test_damaged_ones_are_errors),
    };
    return cmocka_run_group_tests_name("formats: interpretation", tests, NULL, NULL);
}
