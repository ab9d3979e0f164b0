/* Templates of letters: every fault with its place, values that are only ever text, and bombs. */
#include "base/clock.h"
#include "base/text.h"
#include "letter/fields.h"
#include "letter/letter.h"
#include "letter/template.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static int begin(void **state)
{
    *state = arena_new();
    return 0;
}

static int end(void **state)
{
    arena_free(*state);
    return 0;
}

/* ---- checking ---- */

struct fault_case {
    const char *body;
    int line;
    int column;
    const char *words; /* within the detail */
};

static void test_each_fault_has_its_place_and_words(void **state)
{
    static const struct fault_case cases[] = {
        {"{{patient.name", 1, 1, "}} is missing"},
        {"a\nb {{patient.name\n{{study.date}}", 2, 3, "}} is missing"},
        {"a }} b", 1, 3, "was not begun"},
        {"{{}}", 1, 1, "names no field"},
        {"{{ }}", 1, 1, "names no field"},
        {"\n\n{{#has_plan}}\nx", 3, 1, "{{/has_plan}} is missing"},
        {"x\n{{/has_plan}}", 2, 1, "was not begun"},
        {"{{#has_plan}}\n{{#plan}}\n{{/has_plan}}", 3, 1, "{{#plan}} of line 2 is still open"},
        {"{{patient.nam}}", 1, 1, "Is \"patient.name\" meant?"},
        {"\xC3\xA4\xC3\xA4 {{conclusio}}", 1, 4, "Is \"conclusion\" meant?"},
        {"{{birth_date}}", 1, 1, "Is \"patient.birth_date\" meant?"},
        {"{{#has_plann}}x{{/has_plann}}", 1, 1, "Is \"has_plan\" meant?"},
        {"{{zebra}}", 1, 1, "There is no field \"zebra\"."},
        {"{{constructor}}", 1, 1, "There is no field"},
        {"{{__proto__}}", 1, 1, "There is no field"},
        {"{{.}}", 1, 1, "There is no field"},
        {"{{patient.name.length}}", 1, 1, "There is no field"},
        {"{{text}}", 1, 1, "only within a list"},
        {"{{findings}}", 1, 1, "is a list"},
        {"{{has_findings}}", 1, 1, "is a condition"},
        {"{{{patient.name}}}", 1, 1, "write two"},
        {"{{&patient.name}}", 1, 1, "leave the & out"},
        {"{{ & patient.name}}", 1, 1, "leave the & out"},
        {"{{> other}}", 1, 1, "cannot take in another"},
        {"{{=<% %>=}}", 1, 1, "cannot be changed"},
        {"{{#findings}}{{#plan}}{{text}}{{/plan}}{{/findings}}", 1, 14, "within another"},
        {"{{#findings}}{{#findings}}{{text}}{{/findings}}{{/findings}}", 1, 14, "within another"},
        {"{{#has_plan}}{{#has_findings}}{{#remarks}}{{#question}}{{#conclusion}}x"
         "{{/conclusion}}{{/question}}{{/remarks}}{{/has_findings}}{{/has_plan}}",
         1, 56, "4 deep"},
        {"x <b>y</b>", 1, 3, "HTML is not possible"},
        {"line\n<!-- {{conclusion}} -->", 2, 1, "HTML is not possible"},
        {"</p>", 1, 1, "HTML is not possible"},
        {"<?x", 1, 1, "HTML is not possible"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct template_faults faults;
        if (template_check(*state, cases[i].body, &faults)) {
            fail_msg("accepted: %s", cases[i].body);
        }
        assert_true(faults.count >= 1);
        if (faults.items[0].line != cases[i].line || faults.items[0].column != cases[i].column ||
            strstr(faults.items[0].detail, cases[i].words) == NULL) {
            fail_msg("%s: %d:%d %s", cases[i].body, faults.items[0].line, faults.items[0].column,
                     faults.items[0].detail);
        }
    }
}

static void test_every_fault_is_told_in_order(void **state)
{
    struct template_faults faults;
    assert_false(template_check(*state,
                                "{{#plan}}\n{{zebra}}\n{{#has_plan}}\n{{&conclusion}}\n"
                                "{{/has_plan}}\n<i>\n",
                                &faults));
    assert_int_equal(faults.count, 4);
    for (size_t i = 0; i < faults.count; i++) {
        static const int lines[] = {1, 2, 4, 6};
        assert_int_equal(faults.items[i].line, lines[i]);
    }
}

static void test_what_may_be_written(void **state)
{
    static const char *const bodies[] = {
        "",
        "{{! a note, {{ and all }}x",
        "{{ # plan }}{{ text }}{{ / plan }}",
        "{{^has_plan}}none{{/has_plan}}",
        "{{#numbers}}{{label}} {{value}} {{unit}} {{patient.name}}{{/numbers}}",
        "<https://example.org> a < b, 3 <4, \\<b>, \\\\ { } {x}",
        ("{{#has_plan}}{{#has_findings}}{{#remarks}}{{#plan}}{{text}}{{/plan}}{{/remarks}}"
         "{{/has_findings}}{{/has_plan}}"),
    };
    for (size_t i = 0; i < sizeof bodies / sizeof bodies[0]; i++) {
        struct template_faults faults;
        if (!template_check(*state, bodies[i], &faults)) {
            fail_msg("%s: %s", bodies[i], faults.items[0].detail);
        }
    }
}

static const char *repeated(struct arena *arena, const char *what, size_t times)
{
    struct text text;
    text_init(&text, arena, strlen(what) * times + 1);
    for (size_t i = 0; i < times; i++) {
        text_append(&text, what);
    }
    return text.data;
}

static void test_bombs_are_refused_before_they_are_run(void **state)
{
    struct template_faults faults;
    assert_false(template_check(*state, repeated(*state, "x", TEMPLATE_BYTES_MAX + 1), &faults));
    assert_non_null(strstr(faults.items[0].detail, "bytes at most"));
    assert_true(template_check(*state, repeated(*state, "x", TEMPLATE_BYTES_MAX), &faults));
    assert_false(
        template_check(*state, repeated(*state, "{{remarks}}", TEMPLATE_TAGS_MAX + 1), &faults));
    assert_int_equal(faults.items[0].column, 11 * TEMPLATE_TAGS_MAX + 1);
    assert_true(
        template_check(*state, repeated(*state, "{{remarks}}", TEMPLATE_TAGS_MAX), &faults));
    assert_false(template_check(*state, repeated(*state, "{{#remarks}}", 400), &faults));
    assert_int_equal(faults.count, 1 + TEMPLATE_NESTING_MAX); /* and four that do not end */
    char *spaces = arena_printf(*state, "{{%s}}", repeated(*state, " ", TEMPLATE_TAG_BYTES_MAX));
    assert_false(template_check(*state, spaces, &faults));
    assert_non_null(strstr(faults.items[0].detail, "A tag may have"));
}

/* ---- filling in ---- */

static const char *fill(struct arena *arena, const char *body, const char *data)
{
    struct template_faults faults;
    struct error error = {0};
    const char *markdown = NULL;
    if (!template_check(arena, body, &faults)) {
        fail_msg("%s: %s", body, faults.items[0].detail);
    }
    if (!template_fill(arena, body, data, &markdown, &error)) {
        fail_msg("%.200s: %s", body, error.detail);
    }
    return markdown;
}

#define VALUE(words) "\xE2\x81\xA8" words "\xE2\x81\xA9"

static void test_values_are_only_text(void **state)
{
    static const struct {
        const char *json;
        const char *markdown;
    } cases[] = {
        {"\"plain\"", VALUE("plain")},
        {"\"{{patient.name}}\"", VALUE("\\{\\{patient\\.name\\}\\}")},
        {"\"<b>&amp;</b>\"", VALUE("\\<b\\>\\&amp\\;\\<\\/b\\>")},
        {"\"\\\\input{x} $1$ %\"", VALUE("\\\\input\\{x\\} \\$1\\$ \\%")},
        {"\"a\\n\\n# b\"", VALUE("a\\\n\\# b")},
        {"\"a \\t b\\n\"", VALUE("a b")},
        {"\"   \\n  \"", ""},
        {"\"\"", ""},
        {"\"Zo\xC3\xAB \xF0\x9F\x98\x80\"", VALUE("Zo\xC3\xAB \xF0\x9F\x98\x80")},
        {"\"in \xE2\x81\xA9 out \xE2\x81\xA8 in\"", VALUE("in  out  in")},
        {"\"$& $1 $`\"", VALUE("\\$\\& \\$1 \\$\\`")},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *data = arena_printf(*state, "{\"remarks\":%s}", cases[i].json);
        assert_string_equal(fill(*state, "{{remarks}}", data), cases[i].markdown);
    }
}

static void test_sections_lists_and_comments(void **state)
{
    const char *data =
        "{\"plan\":[{\"text\":\"a\"},{\"text\":\"b\"}],\"has_plan\":true,"
        "\"has_findings\":false,\"findings\":[],\"remarks\":\"r\",\"question\":\"\"}";
    assert_string_equal(fill(*state, "{{#plan}}\n- {{text}}\n{{/plan}}\nend", data),
                        "- " VALUE("a") "\n- " VALUE("b") "\nend");
    assert_string_equal(fill(*state,
                             "{{#has_findings}}x{{/has_findings}}{{^has_findings}}y"
                             "{{/has_findings}}{{! z }}",
                             data),
                        "y");
    assert_string_equal(fill(*state,
                             "{{#remarks}}[{{remarks}}]{{/remarks}}{{^question}}none"
                             "{{/question}}",
                             data),
                        "[" VALUE("r") "]none");
    assert_string_equal(fill(*state, "{{ # plan }}{{ text }}{{remarks}}{{ / plan }}", data),
                        VALUE("a") VALUE("r") VALUE("b") VALUE("r"));
}

static void test_the_longest_template_is_filled_in(void **state)
{
    double began_s = clock_monotonic_s();
    const char *body = repeated(*state, "word \xC3\xA4, line\n", TEMPLATE_BYTES_MAX / 16);
    assert_true(strlen(fill(*state, body, "{}")) > 14000);
    const char *tags =
        repeated(*state, "{{! a b c d e f g h i j k l m n }}{{remarks}} ", TEMPLATE_TAGS_MAX / 2);
    assert_true(strlen(fill(*state, tags, "{\"remarks\":\"x\"}")) >= TEMPLATE_TAGS_MAX);
    assert_true(clock_monotonic_s() - began_s < 60.0);
    print_message("filled in within %.2f s\n", clock_monotonic_s() - began_s);
}

/* Everything that passes the check ends soon, as a letter or as a refusal. */
static void test_what_grows_is_stopped(void **state)
{
    struct arena *arena = *state;
    struct error error = {0};
    const char *markdown = NULL;
    struct text data;
    text_init(&data, arena, (size_t)4 * 1024 * 1024);
    text_append(&data, "{\"plan\":[{\"text\":\"x\"}");
    for (size_t i = 1; i < TEMPLATE_LIST_ITEMS_MAX; i++) {
        text_append(&data, ",{\"text\":\"x\"}");
    }
    text_printf(&data, "],\"remarks\":\"%s\"}", repeated(arena, "(", 20000));
    char *body = arena_printf(arena, "{{#plan}}%s{{/plan}}",
                              repeated(arena, "{{remarks}}", TEMPLATE_TAGS_MAX - 2));
    struct template_faults faults;
    assert_true(template_check(arena, body, &faults));
    double began_s = clock_monotonic_s();
    assert_false(template_fill(arena, body, data.data, &markdown, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
    assert_null(markdown);
    assert_true(clock_monotonic_s() - began_s < 60.0);
    print_message("stopped after %.2f s\n", clock_monotonic_s() - began_s);

    body = arena_printf(arena, "{{#plan}}%s{{/plan}}", repeated(arena, "0123456789", 1000));
    assert_true(template_check(arena, body, &faults));
    assert_false(template_fill(arena, body, data.data, &markdown, &error));
    assert_non_null(strstr(error.detail, "more than"));
}

static void test_broken_data_is_an_error(void **state)
{
    struct error error = {0};
    const char *markdown = NULL;
    assert_false(template_fill(*state, "x", "{", &markdown, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
}

static void test_default_templates_pass_the_check(void **state)
{
    for (const char *const *language = LETTER_LANGUAGES; *language != NULL; language++) {
        struct template_faults faults;
        const char *body = letter_default_template(*language);
        if (!template_check(*state, body, &faults)) {
            fail_msg("%s:%d %s", *language, faults.items[0].line, faults.items[0].detail);
        }
        double began_s = clock_monotonic_s();
        struct letter_content content;
        struct text data;
        letter_example(*language, &content);
        text_init(&data, *state, 100000);
        letter_content_write(&content, &data);
        const char *markdown = fill(*state, body, data.data);
        assert_non_null(strstr(markdown, "Alex Example"));
        assert_null(strstr(markdown, "{{"));
        print_message("%s filled in within %.1f ms\n", *language,
                      1000.0 * (clock_monotonic_s() - began_s));
    }
}

/* A field that the list names has a value in the data, so that templates can rely on the list. */
static void test_every_field_has_a_value(void **state)
{
    struct letter_content content;
    struct text data;
    letter_example("en", &content);
    content.study_status = "amended";
    text_init(&data, *state, 100000);
    letter_content_write(&content, &data);
    for (size_t i = 0; i < LETTER_FIELD_COUNT; i++) {
        const struct letter_field *field = &LETTER_FIELDS[i];
        const char *list = field->list;
        char *body = list == NULL
                         ? arena_printf(*state, "{{#%s}}x{{/%s}}", field->name, field->name)
                         : arena_printf(*state, "{{#%s}}{{#%s}}x{{/%s}}{{/%s}}", list, field->name,
                                        field->name, list);
        const char *markdown = fill(*state, body, data.data);
        bool expected = strcmp(field->name, "patient.is_female") != 0;
        if ((strchr(markdown, 'x') != NULL) != expected) {
            fail_msg("%s has no value", field->name);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_each_fault_has_its_place_and_words, begin, end),
        cmocka_unit_test_setup_teardown(test_every_fault_is_told_in_order, begin, end),
        cmocka_unit_test_setup_teardown(test_what_may_be_written, begin, end),
        cmocka_unit_test_setup_teardown(test_bombs_are_refused_before_they_are_run, begin, end),
        cmocka_unit_test_setup_teardown(test_values_are_only_text, begin, end),
        cmocka_unit_test_setup_teardown(test_sections_lists_and_comments, begin, end),
        cmocka_unit_test_setup_teardown(test_the_longest_template_is_filled_in, begin, end),
        cmocka_unit_test_setup_teardown(test_what_grows_is_stopped, begin, end),
        cmocka_unit_test_setup_teardown(test_broken_data_is_an_error, begin, end),
        cmocka_unit_test_setup_teardown(test_default_templates_pass_the_check, begin, end),
        cmocka_unit_test_setup_teardown(test_every_field_has_a_value, begin, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
