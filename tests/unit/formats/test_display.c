/* Units, numbers, signals and events as people read them. */
#include "formats/display.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static const char *rounded(struct arena *arena, double step, double value)
{
    struct text text;
    text_init(&text, arena, 100);
    display_rounded(&text, step, value);
    return text.data;
}

static const char *event_text(struct arena *arena, const struct document_event *event)
{
    struct text text;
    text_init(&text, arena, 100);
    display_event(&text, event);
    return text.data;
}

static void test_units(void **state)
{
    (void)state;
    assert_string_equal(display_unit("cm[H2O]"), "cmH\u2082O");
    assert_string_equal(display_unit("1"), "");
    assert_string_equal(display_unit(NULL), "");
    assert_string_equal(display_unit("furlong"), "furlong");
}

static void test_numbers(void **state)
{
    struct arena *arena = arena_new();
    (void)state;
    assert_string_equal(rounded(arena, 10.0, 234.9), "230");
    assert_string_equal(rounded(arena, 0.1, 2.25), "2.3");
    assert_string_equal(rounded(arena, 1.0, -0.2), "0");
    arena_free(arena);
}

static void test_every_signal_has_words(void **state)
{
    (void)state;
    for (int i = 0; i < SIGNAL_COUNT; i++) {
        const enum signal_kind signal = (enum signal_kind)i;
        assert_non_null(display_signal_symbol(signal));
        assert_true(strlen(display_signal_name(signal)) > 3);
    }
    assert_string_equal(display_signal_symbol(SIGNAL_FLOW), "Q");
    assert_string_equal(display_signal_name(SIGNAL_PANAL12), "Anal canal pressure 12");
}

static void test_every_event_has_a_name(void **state)
{
    (void)state;
    for (int i = 0; i < EVENT_OTHER; i++) {
        assert_non_null(display_event_name(event_code_name((enum event_code)i)));
    }
    assert_null(display_event_name("our_own_mark"));
    assert_null(display_event_name(NULL));
}

static void test_events(void **state)
{
    struct arena *arena = arena_new();
    (void)state;
    assert_string_equal(event_text(arena, &(struct document_event){.code = "first_desire"}),
                        "First desire");
    assert_string_equal(event_text(arena, &(struct document_event){.code = "our_own_mark"}),
                        "Our own mark");
    assert_string_equal(
        event_text(arena, &(struct document_event){.code = "balloon", .value = {true, 40.0}}),
        "Balloon 40\u00a0mL");
    assert_string_equal(
        event_text(arena, &(struct document_event){.code = "leak", .value = {true, 2.5}}),
        "Leak 2.5");
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_units),
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_every_signal_has_words),
        cmocka_unit_test(test_every_event_has_a_name),
        cmocka_unit_test(test_events),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
