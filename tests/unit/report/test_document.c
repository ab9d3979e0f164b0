/* Documents as blocks: what the writers of forms see. */
#include "documents.h"

#include "base/utf8.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void test_facts_are_copied(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    char title[] = "Title\nof two";
    const struct document_facts facts = {.title = title, .mark = ""};
    const struct document *document = document_new(arena, &facts);
    title[0] = 'X';
    assert_string_equal(document_facts(document)->title, "Title of two");
    assert_string_equal(document_facts(document)->language, "en");
    assert_string_equal(document_facts(document)->foot, "");
    assert_null(document_facts(document)->mark);
    assert_null(document_facts(document)->subject);
    assert_null(document_facts(document)->code);
    assert_null(document_first_block(document));
    arena_free(arena);
}

static void test_what_belongs_together(void **state)
{
    static const enum document_block_kind kinds[] = {
        DOCUMENT_HEADING,   DOCUMENT_HEADING,   DOCUMENT_PARAGRAPH, DOCUMENT_PARAGRAPH,
        DOCUMENT_PARAGRAPH, DOCUMENT_PARAGRAPH, DOCUMENT_LIST,      DOCUMENT_HEADING,
        DOCUMENT_FACTS,     DOCUMENT_TABLE,     DOCUMENT_FIGURE,    DOCUMENT_PAGE_BREAK,
        DOCUMENT_HEADING,   DOCUMENT_FIGURE,    DOCUMENT_FIGURE};

    (void)state;
    struct arena *arena = arena_new();
    const struct document_block *block = document_first_block(documents_make(arena, "words"));
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++, block = block->next) {
        assert_non_null(block);
        assert_int_equal(block->kind, kinds[i]);
        if (block->kind == DOCUMENT_LIST || block->kind == DOCUMENT_FACTS ||
            block->kind == DOCUMENT_TABLE) {
            assert_int_equal(block->count, 2);
        }
    }
    assert_null(block);
    arena_free(arena);
}

static void test_long_blocks(void **state)
{
    enum { COUNT = 1000 };
    static const struct document_column column = {"Number", true, 0.0};
    (void)state;
    struct arena *arena = arena_new();
    struct document *document = documents_begin(arena);
    document_table(document, "", &column, 1);
    for (int i = 0; i < COUNT; i++) {
        document_row(document, &(struct document_span){.words = arena_printf(arena, "row %d", i)});
    }
    document_item(document, &(struct document_span){.words = "item"}, 1);
    const struct document_block *table = document_first_block(document);
    assert_int_equal(table->count, COUNT);
    assert_string_equal(table->rows[0][0].words, "row 0");
    assert_string_equal(table->rows[COUNT - 1][0].words, "row 999");
    assert_true(table->columns[0].weight >= 1.0 && table->columns[0].weight <= 1.0);
    arena_free(arena);
}

/* A row has no place but in the table before it. */
static void test_a_row_without_a_table(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document *document = documents_begin(arena);
    document_row(document, &(struct document_span){.words = "lost"});
    assert_null(document_first_block(document));
    document_words(document, DOCUMENT_PLAIN, "a");
    document_row(document, &(struct document_span){.words = "lost"});
    assert_null(document_first_block(document)->next);
    arena_free(arena);
}

static void assert_spans(const char *words, const char *const *lines, size_t count)
{
    struct arena *arena = arena_new();
    struct document *document = documents_begin(arena);
    document_person_words(document, DOCUMENT_PLAIN, words);
    const struct document_spans spans = document_first_block(document)->spans;
    assert_int_equal(spans.count, count);
    for (size_t i = 0; i < count; i++) {
        assert_string_equal(spans.spans[i].words, lines[i]);
        assert_true(spans.spans[i].from_person);
        assert_int_equal(spans.spans[i].ends_line, i + 1 < count);
    }
    arena_free(arena);
}

static void test_lines(void **state)
{
    (void)state;
    assert_spans("one\ntwo\r\nthree", (const char *const[]){"one", "two", "three"}, 3);
    assert_spans("one\u2028two\u2029", (const char *const[]){"one two "}, 1);
    assert_spans("\n", (const char *const[]){"", ""}, 2);
    assert_spans("a\tb\x01 c\x7f\xc2\x85 d", (const char *const[]){"a b\ufffd c\ufffd\ufffd d"}, 1);
    assert_spans("a\xff"
                 "b\xc3",
                 (const char *const[]){"a\ufffdb\ufffd"}, 1);
    assert_spans("", NULL, 0);
}

/* Cells and facts are one line. */
static void test_one_line(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct document *document = documents_begin(arena);
    document_fact(document, "Term",
                  &(struct document_span){.words = "one\ntwo\r\nthree\u2028four"});
    document_fact(document, "None", &(struct document_span){.words = NULL});
    const struct document_block *facts = document_first_block(document);
    assert_string_equal(facts->terms[0].value.words, "one two three four");
    assert_string_equal(facts->terms[1].value.words, "");
    arena_free(arena);
}

static void check_words(const char *words)
{
    assert_true(utf8_is_valid(words, strlen(words)));
    for (const char *at = words; *at != '\0'; at++) {
        assert_true((unsigned char)*at >= 0x20 && *at != 0x7f);
    }
}

static void test_hostile_words(void **state)
{
    (void)state;
    for (size_t i = 0; DOCUMENTS_HOSTILE[i] != NULL; i++) {
        struct arena *arena = arena_new();
        const struct document *document = documents_make(arena, DOCUMENTS_HOSTILE[i]);
        for (const struct document_block *block = document_first_block(document); block != NULL;
             block = block->next) {
            for (size_t j = 0; j < block->spans.count; j++) {
                check_words(block->spans.spans[j].words);
            }
            for (size_t j = 0; block->kind == DOCUMENT_FACTS && j < block->count; j++) {
                check_words(block->terms[j].value.words);
            }
        }
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_facts_are_copied),
        cmocka_unit_test(test_what_belongs_together),
        cmocka_unit_test(test_long_blocks),
        cmocka_unit_test(test_a_row_without_a_table),
        cmocka_unit_test(test_lines),
        cmocka_unit_test(test_one_line),
        cmocka_unit_test(test_hostile_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
