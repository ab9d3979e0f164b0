#include "documents.h"
#include "page.h"

#include <locale.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

#include <cmocka.h>

enum { WIDTH = 78 };

static void test_blocks(void **state)
{
    static const char expected[] = "*** Preliminary ***\n"
                                   "Clinic <of> tests, 2026-03-02\n"
                                   "Example, Pat\n"
                                   "\n"
                                   "Title\n"
                                   "=====\n"
                                   "\n"
                                   "First part\n"
                                   "----------\n"
                                   "\n"
                                   "Label: words end\n"
                                   "\n"
                                   "! words\n"
                                   "\n"
                                   "Small print.\n"
                                   "\n"
                                   "words\n"
                                   "\n"
                                   "- Label: words end\n"
                                   "- Label: words\n"
                                   "\n"
                                   "words\n"
                                   "~~~~~\n"
                                   "\n"
                                   "Name:  words\n"
                                   "Age:   64 years\n"
                                   "\n"
                                   "Values\n"
                                   "\n"
                                   "Measure        Value  Remarks\n"
                                   "-------------  -----  -------\n"
                                   "words             18  strong\n"
                                   "Voided volume    340\n"
                                   "\n"
                                   "[Figure: Whole. words]\n"
                                   "\n"
                                   "Second part\n"
                                   "-----------\n"
                                   "\n"
                                   "[Figure: Half. first half]\n"
                                   "\n"
                                   "[Figure: Half. second half]\n"
                                   "\n"
                                   "Software 1, revision 2\n";
    (void)state;
    struct arena *arena = arena_new();
    assert_string_equal(documents_text(documents_make(arena, "words"), arena), expected);
    arena_free(arena);
}

/* Columns by the C library's own table, which is another than the writer's. */
static int width_of_line(const char *line, size_t length)
{
    mbstate_t shift = {0};
    int width = 0;
    while (length > 0) {
        wchar_t wide = 0;
        /* The program has one thread. NOLINTNEXTLINE(concurrency-mt-unsafe) */
        size_t taken = mbrtowc(&wide, line, length, &shift);
        assert_true(taken > 0 && taken <= length);
        int columns = wcwidth(wide);
        width += columns > 0 ? columns : 0;
        line += taken;
        length -= taken;
    }
    return width;
}

static void check_lines(const char *text)
{
    while (*text != '\0') {
        size_t length = strcspn(text, "\n");
        int width = width_of_line(text, length);
        if (width > WIDTH) {
            fail_msg("%d columns: %.*s", width, (int)length, text);
        }
        assert_true(length == 0 || text[length - 1] != ' ');
        text += length + 1;
    }
}

static void test_hostile_words(void **state)
{
    (void)state;
    /* The program has one thread. NOLINTNEXTLINE(concurrency-mt-unsafe) */
    assert_non_null(setlocale(LC_CTYPE, "C.UTF-8"));
    for (size_t i = 0; DOCUMENTS_HOSTILE[i] != NULL; i++) {
        struct arena *arena = arena_new();
        const char *text = documents_text(documents_make(arena, DOCUMENTS_HOSTILE[i]), arena);
        check_lines(text);
        page_lacks(text, "\x1b");
        page_lacks(text, "\u202e");
        page_lacks(text, "\u2066");
        assert_int_equal(page_count(text, "\u2068"), page_count(text, "\u2069"));
        arena_free(arena);
    }
}

/* What is written from the right stands isolated; what is not, as it was typed. */
static void test_right_to_left(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const char *text =
        documents_text(documents_make(arena, "\u202e\u05e9\u05dc\u05d5\u05dd 1\u202c"), arena);
    page_holds(text, "Label: \u2068\u05e9\u05dc\u05d5\u05dd 1\u2069 end");
    text = documents_text(documents_make(arena, "left"), arena);
    page_lacks(text, "\u2068");
    arena_free(arena);
}

static void test_lines_are_broken_at_spaces(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document *document = documents_begin(arena);
    document_item(document,
                  &(struct document_span){.words = "aaaaaaaaa bbbbbbbbb ccccccccc ddddddddd "
                                                   "eeeeeeeee fffffffff ggggggggg hhhhhhhhh iii"},
                  1);
    document_words(document, DOCUMENT_CAUTION, "one\ntwo\n\nfour");
    const char *text = documents_text(document, arena);
    page_holds(text, "- aaaaaaaaa bbbbbbbbb ccccccccc ddddddddd eeeeeeeee fffffffff ggggggggg\n"
                     "  hhhhhhhhh iii\n");
    page_holds(text, "! one\n! two\n\n! four\n");
    arena_free(arena);
}

static struct document *table_of(struct arena *arena, size_t columns, const char *label,
                                 const char *cell)
{
    struct document *document = documents_begin(arena);
    struct document_column *heads = arena_array(arena, columns, sizeof *heads);
    struct document_span *row = arena_array(arena, columns, sizeof *row);
    for (size_t i = 0; i < columns; i++) {
        heads[i] = (struct document_column){label, true, 0.0};
        row[i].words = cell;
    }
    document_table(document, "", heads, columns);
    document_row(document, row);
    return document;
}

/* Numbers are never broken: a table that cannot be narrow enough becomes pairs. */
static void test_wide_tables(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const char *narrow = documents_text(table_of(arena, 8, "Pressure at the end", "1234"), arena);
    page_holds(narrow, "Pressure");
    page_lacks(narrow, "- Pressure");
    check_lines(narrow);
    const char *wide =
        documents_text(table_of(arena, 9, "Pressure at the end", "1234567890"), arena);
    page_holds(wide, "- Pressure at the end: 1234567890\n  Pressure at the end: 1234567890\n");
    assert_int_equal(page_count(wide, "1234567890\n"), 9);
    const char *many = documents_text(table_of(arena, 30, "P", "1"), arena);
    assert_int_equal(page_count(many, "P: 1\n"), 30);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_blocks),        cmocka_unit_test(test_hostile_words),
        cmocka_unit_test(test_right_to_left), cmocka_unit_test(test_lines_are_broken_at_spaces),
        cmocka_unit_test(test_wide_tables),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
