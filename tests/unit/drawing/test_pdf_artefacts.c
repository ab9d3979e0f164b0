/* Content streams: what lies between tags is marked, and nothing else is changed. */
#include "drawing/pdf_parts.h"
#include "drawings.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void check(const char *content, const char *expected)
{
    struct arena *arena = arena_new();
    struct text out;
    text_init(&out, arena, 10000);
    bool good = pdf_mark_artefacts((const unsigned char *)content, strlen(content), &out);
    assert_int_equal(good, expected != NULL);
    if (expected != NULL) {
        assert_string_equal(out.data, expected);
    }
    arena_free(arena);
}

static void test_untagged_painting_is_an_artefact(void **state)
{
    (void)state;
    check("q 0 0 5 5 re f Q", "\n/Artifact BMC\nq 0 0 5 5 re f Q\nEMC\n");
    check("q /P << /MCID 0 >> BDC BT (x) Tj ET EMC 1 w 0 0 m 1 1 l S Q",
          "q /P << /MCID 0 >> BDC BT (x) Tj ET EMC\n/Artifact BMC\n 1 w 0 0 m 1 1 l S Q\nEMC\n");
    check("BT [(a)-3(b)]TJ ET/P<</MCID 0>>BDC f EMC/P<</MCID 1>>BDC f EMC",
          "\n/Artifact BMC\nBT [(a)-3(b)]TJ ET\nEMC\n/P<</MCID 0>>BDC f EMC/P<</MCID 1>>BDC f EMC");
}

static void test_what_paints_nothing_is_left_alone(void **state)
{
    (void)state;
    check("", "");
    check("q 1 w 0 0 1 rg Q", "q 1 w 0 0 1 rg Q");
    check("0 0 5 5 re W n true /f Do", "\n/Artifact BMC\n0 0 5 5 re W n true /f Do\nEMC\n");
    check("0 0 5 5 re W n", "0 0 5 5 re W n");
}

static void test_marks_within_a_tag_and_within_artefacts(void **state)
{
    (void)state;
    check("/P << /MCID 0 >> BDC BT /Span << /ActualText <feff0020> >> BDC (x) Tj EMC ET EMC",
          "/P << /MCID 0 >> BDC BT /Span << /ActualText <feff0020> >> BDC (x) Tj EMC ET EMC");
    check("BT /Span << /ActualText (y) >> BDC (x) Tj EMC ET",
          "\n/Artifact BMC\nBT /Span << /ActualText (y) >> BDC (x) Tj EMC ET\nEMC\n");
}

static void test_strings_are_no_operators(void **state)
{
    (void)state;
    check("/P << /MCID 0 >> BDC (EMC f \\) /P << /MCID 1 >> BDC (x) ) Tj EMC",
          "/P << /MCID 0 >> BDC (EMC f \\) /P << /MCID 1 >> BDC (x) ) Tj EMC");
    check("<45 4d 43> % f EMC\n q", "<45 4d 43> % f EMC\n q");
    check("/f /S /Tj gs", "/f /S /Tj gs");
}

static void test_unsound_nesting_is_refused(void **state)
{
    (void)state;
    check("EMC", NULL);
    check("/P << /MCID 0 >> BDC f", NULL);
    check("BT (x) Tj", NULL);
    check("BT /P << /MCID 0 >> BDC (x) Tj ET EMC", NULL);
    check("/P << /MCID 0 >> BDC BT (x) Tj EMC ET", NULL);
    check("/Artifact BMC /P << /MCID 0 >> BDC f EMC EMC", NULL);
    check("BI /W 1 ID x EI", NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_untagged_painting_is_an_artefact),
        cmocka_unit_test(test_what_paints_nothing_is_left_alone),
        cmocka_unit_test(test_marks_within_a_tag_and_within_artefacts),
        cmocka_unit_test(test_strings_are_no_operators),
        cmocka_unit_test(test_unsound_nesting_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
