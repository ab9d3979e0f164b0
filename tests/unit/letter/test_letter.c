/* Letters as blocks of a document: Markdown to blocks, languages, what is taken from where. */
#include "drawing/canvas.h"
#include "drawing/pdf_join.h"
#include "letter/letter.h"
#include "letter/markdown.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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

/* ---- a document as one line a block ---- */

static void show_spans(struct text *out, const struct document_spans *spans)
{
    for (size_t i = 0; i < spans->count; i++) {
        const struct document_span *span = &spans->spans[i];
        text_printf(out, "%s%s%s%s%s%s%s%s", span->strong ? "*" : "", span->emphasis ? "_" : "",
                    span->from_person ? "<" : "", span->words, span->from_person ? ">" : "",
                    span->emphasis ? "_" : "", span->strong ? "*" : "", span->ends_line ? "|" : "");
    }
}

static const char *show(struct arena *arena, const struct document *document)
{
    struct text out;
    text_init(&out, arena, 1000000);
    for (const struct document_block *block = document_first_block(document); block != NULL;
         block = block->next) {
        switch (block->kind) {
        case DOCUMENT_HEADING:
            text_printf(&out, "h%d ", block->level);
            show_spans(&out, &block->spans);
            break;
        case DOCUMENT_PARAGRAPH:
            text_printf(&out, "%s",
                        block->tone == DOCUMENT_ADDRESS ? "address "
                        : block->tone == DOCUMENT_NOTE  ? "note "
                                                        : "p ");
            show_spans(&out, &block->spans);
            break;
        case DOCUMENT_LIST:
            text_append(&out, "list");
            for (size_t i = 0; i < block->count; i++) {
                text_append(&out, " [");
                show_spans(&out, &block->items[i]);
                text_append(&out, "]");
            }
            break;
        case DOCUMENT_FACTS:
        case DOCUMENT_TABLE:
        case DOCUMENT_FIGURE:
        case DOCUMENT_PAGE_BREAK:
            fail_msg("a letter has no block of kind %d", (int)block->kind);
            break;
        }
        text_append(&out, "\n");
    }
    assert_false(out.overflowed);
    return out.data;
}

static const char *show_markdown(struct arena *arena, const char *markdown)
{
    struct document_facts facts = {.title = "t", .language = "en", .author = "a"};
    struct document *document = document_new(arena, &facts);
    struct error error = {0};
    assert_true(markdown_append(document, arena, markdown, &error));
    return show(arena, document);
}

static void test_markdown_becomes_blocks(void **state)
{
    static const struct {
        const char *markdown;
        const char *blocks;
    } cases[] = {
        {"# One\n\n# Two\n\n### Three", "h1 One\nh2 Two\nh3 Three\n"},
        {"a\nb", "p a b\n"},
        {"a\\\nb  \nc", "p a|b|c\n"},
        {"**a** _b_ ***c***", "p *a* _b_ *_c_*\n"},
        {"- a\n- b\n\n  c", "list [a] [b] [c]\n"},
        {"3. a\n4. b", "list [3. a] [4. b]\n"},
        {"> quoted", "p quoted\n"},
        {"`a\\*b`", "p a*b\n"},
        {"    code\n    more", "p code|more|\n"},
        {"[words](https://example.org)", "p words (https://example.org)\n"},
        {"<https://example.org>", "p https://example.org\n"},
        {"![picture](x.png)", "p picture\n"},
        {"a <b>c</b>\n\n<div>\n\nd", "p a c\np d\n"},
        {"\n\n", ""},
        {"- \xE2\x81\xA8 \xE2\x81\xA9", ""},
        {"**\xE2\x81\xA8"
         "a\\*\xE2\x81\xA9** b",
         "p *<a*>* b\n"},
        {"\xE2\x81\xA8"
         "a\\\nb\xE2\x81\xA9 c",
         "p <a>|<b> c\n"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *shown = show_markdown(*state, cases[i].markdown);
        /* Spans of one style that meet are as good as one. */
        if (strcmp(shown, cases[i].blocks) != 0) {
            fail_msg("%s: %s", cases[i].markdown, shown);
        }
    }
}

/* ---- whole letters ---- */

static struct document *make(struct arena *arena, const char *body,
                             const struct letter_content *content)
{
    struct document *document = NULL;
    struct error error = {0};
    if (!letter_make(arena, body, content, 1, &document, &error)) {
        fail_msg("%s", error.detail);
    }
    return document;
}

static void holds(const char *shown, const char *part)
{
    if (strstr(shown, part) == NULL) {
        fail_msg("the letter lacks %s\n%s", part, shown);
    }
}

static void test_the_english_letter(void **state)
{
    struct letter_content content;
    letter_example("en", &content);
    struct document *document = make(*state, letter_default_template("en"), &content);
    const char *shown = show(*state, document);
    holds(shown, "note <Example Clinic>|<1 Invented Road>|<Example Town>|<Telephone: an example>\n"
                 "address <Dr Robin Example>|<Example Practice>|<2 Invented Street>|<Example "
                 "Town>\n");
    holds(shown, "h1 Urodynamic study of Alex Example\n");
    holds(shown, "born <8 July 1956>");
    holds(shown, "list [<uroflowmetry>] [<cystometry with pressure-flow study>]\n");
    holds(shown, "h2 Your question\np <Why is the stream slow?>\n");
    holds(shown, "h2 Diagnoses\nlist [*<Bladder outlet obstruction>*]\n");
    holds(shown, "list [<Qmax>: <9> <mL/s>] [<BOOI>: <58>]\n");
    holds(shown, "p <Dr Sam Example>|Signed electronically on <2 March 2026>\n");
    holds(shown, "p Copies to:\nlist [<Example Ward>]\n");
    assert_null(document_facts(document)->mark);
    assert_string_equal(document_facts(document)->title, "Letter about Alex Example");
    assert_string_equal(document_facts(document)->head_start, "Alex Example, born 8 July 1956");
}

static void test_the_german_letter_before_it_is_signed(void **state)
{
    struct letter_content content;
    letter_example("de", &content);
    content.study_status = "preliminary";
    content.signer_name = NULL;
    content.signed_at_us = 0;
    struct document *document = make(*state, letter_default_template("de"), &content);
    const char *shown = show(*state, document);
    holds(shown, "geboren am <8. Juli 1956>");
    holds(shown, "[<Zystometrie mit Druck-Fluss-Messung>]");
    holds(shown, "Noch nicht unterschrieben: diese Ergebnisse sind vorl\xC3\xA4ufig.");
    assert_null(strstr(shown, "Elektronisch"));
    assert_string_equal(document_facts(document)->mark, "Vorl\xC3\xA4ufig");
    assert_string_equal(document_facts(document)->language, "de");
}

static void test_hostile_values_stay_words(void **state)
{
    static const char hostile[] =
        "# <script>alert(1)</script> {{clinic.name}} **x** [a](javascript:1)"
        " \\input{y} - 1. `c` &lt; ![i](u) <!-- ";
    static const char *const items[] = {hostile};
    struct letter_content content;
    letter_example("en", &content);
    content.family_name = hostile;
    content.given_name = "two\nlines";
    content.conclusion = hostile;
    content.diagnoses = (struct letter_list){1, items};
    content.copies = content.diagnoses;
    content.addressee_salutation = hostile;
    const char *shown = show(*state, make(*state, letter_default_template("en"), &content));
    char *whole =
        arena_printf(*state, "h2 Conclusion\np <%.*s>\n", (int)sizeof hostile - 2, hostile);
    holds(shown, whole);
    holds(shown, "h1 Urodynamic study of two lines # <script>alert(1)</script>");
    assert_non_null(strstr(shown, "{{clinic.name}}"));
}

static void test_what_is_taken_from_an_interpretation(void **state)
{
    struct letter_content content = {.language = "en"};
    struct interpretation_finding findings[] = {{.text = "f1", .code = "x"}, {.text = "f2"}};
    struct interpretation_diagnosis diagnoses[] = {{.text = "d", .code = "N32.0"}};
    const char *plan[] = {"p"};
    const struct interpretation whole = {.finding_count = 2,
                                         .findings = findings,
                                         .diagnosis_count = 1,
                                         .diagnoses = diagnoses,
                                         .conclusion = "c",
                                         .plan_count = 1,
                                         .plan = plan};
    letter_take_interpretation(*state, &whole, &content);
    assert_int_equal(content.findings.count, 2);
    assert_string_equal(content.findings.items[1], "f2");
    assert_int_equal(content.diagnoses.count, 1);
    assert_string_equal(content.diagnoses.items[0], "d");
    assert_string_equal(content.conclusion, "c");
    assert_int_equal(content.plan.count, 1);
    assert_string_equal(content.plan.items[0], "p");
    letter_take_interpretation(*state, &(struct interpretation){0}, &content);
    assert_int_equal(content.findings.count, 0);
    assert_string_equal(content.conclusion, "");
}

static void test_key_numbers_are_rounded_and_doubted(void **state)
{
    static const char *const analyses[] = {
        ("{\"type\":\"uroflowmetry\",\"sections\":{\"uroflow\":{\"qmax\":{\"value\":11.46},"
         "\"voided_volume\":{\"value\":254.2,\"quality\":[\"flow_artefact\"]}}}}"),
        "damaged",
        "{\"type\":\"uroflowmetry\",\"sections\":{\"uroflow\":{\"qmax\":{\"value\":14.61}}}}",
        "{\"type\":\"pressure_flow\",\"sections\":{\"voiding\":{\"booi\":{\"value\":\"x\"}}}}",
    };
    struct letter_content content = {.language = "de"};
    letter_take_analyses(*state, analyses, 4, &content);
    assert_int_equal(content.study_kinds.count, 2);
    assert_int_equal(content.number_count, 2);
    assert_string_equal(content.numbers[0].label, "Maximale Flussrate (Qmax)");
    assert_string_equal(content.numbers[0].unit, "mL/s");
    assert_null(strchr(content.numbers[0].value, '.'));
    assert_true(strncmp(content.numbers[0].value, "14", 2) == 0 ||
                strncmp(content.numbers[0].value, "15", 2) == 0);
    assert_string_equal(content.numbers[1].label, "Miktionsvolumen (fraglich)");
}

static const char *repeated(struct arena *arena, const char *words, size_t count)
{
    struct text out;
    text_init(&out, arena, 1000000);
    for (size_t i = 0; i < count; i++) {
        text_append(&out, words);
    }
    return out.data;
}

static bool fits(struct arena *arena, const char *markdown)
{
    struct document_facts facts = {.title = "t", .language = "en", .author = "a"};
    struct error error = {0};
    bool good = markdown_append(document_new(arena, &facts), arena, markdown, &error);
    assert_int_equal(error.kind, good ? ERROR_NONE : ERROR_INVALID);
    return good;
}

/* Lines of whichever kind: each takes room on the paper, and time. */
static void test_letters_of_endless_lines_are_refused(void **state)
{
    assert_true(fits(*state, repeated(*state, "a\n\n", MARKDOWN_LINES_MAX)));
    assert_false(fits(*state, repeated(*state, "a\n\n", MARKDOWN_LINES_MAX + 1)));
    assert_false(fits(*state, repeated(*state, "# a\n", MARKDOWN_LINES_MAX + 1)));
    assert_false(fits(*state, repeated(*state, "- a\n", MARKDOWN_LINES_MAX + 1)));
    assert_false(fits(*state, repeated(*state, "a\\\n", MARKDOWN_LINES_MAX + 1)));
    assert_false(fits(*state, repeated(*state, "    a\n", MARKDOWN_LINES_MAX + 1)));
    assert_true(fits(*state, repeated(*state, "a\n", MARKDOWN_LINES_MAX + 1))); /* flows on */
}

/* ---- forms ---- */

/* What poppler reads in a PDF, without white space. */
static const char *read_pdf(struct arena *arena, const unsigned char *bytes, size_t length)
{
    char path[] = "/tmp/letter-XXXXXX";
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(write(file, bytes, length), (ssize_t)length);
    close(file);
    FILE *reader = popen(arena_printf(arena, "pdftotext -raw %s -", path), "r");
    assert_non_null(reader);
    struct text out;
    text_init(&out, arena, 1000000);
    for (int byte = fgetc(reader); byte != EOF; byte = fgetc(reader)) {
        if (strchr(" \n\f", byte) == NULL) {
            text_append_char(&out, (char)byte);
        }
    }
    assert_int_equal(pclose(reader), 0);
    unlink(path);
    return out.data;
}

static void test_three_forms_say_the_same_and_pdfs_are_joined(void **state)
{
    struct arena *arena = *state;
    struct error error = {0};
    struct pdf_part parts[2] = {0};
    for (size_t i = 0; i < 2; i++) {
        struct letter_content content;
        letter_example(LETTER_LANGUAGES[i], &content);
        content.study_status = "preliminary";
        struct document *document =
            make(arena, letter_default_template(LETTER_LANGUAGES[i]), &content);
        struct text html;
        struct text plain;
        text_init(&html, arena, 1000000);
        text_init(&plain, arena, 1000000);
        document_write_html(document, &html);
        document_write_text(document, &plain);
        assert_true(document_write_pdf(document, arena, &parts[i].bytes, &parts[i].length, &error));
        const char *mark = i == 0 ? "Preliminary" : "Vorl\xC3\xA4ufig";
        holds(html.data, mark);
        holds(plain.data, mark);
        holds(html.data, "Bladder outlet obstruction");
        holds(plain.data, "Bladder outlet obstruction");
        const char *words = read_pdf(arena, parts[i].bytes, parts[i].length);
        holds(words, "Bladderoutletobstruction");
        holds(words, mark);
    }
    const unsigned char *whole = NULL;
    size_t length = 0;
    assert_true(pdf_join(arena, parts, 2, &whole, &length, &error));
    const char *words = read_pdf(arena, whole, length);
    holds(words, "Keynumbers");
    holds(strstr(words, "Keynumbers"), "WichtigeWerte");
    const struct pdf_part damaged = {(const unsigned char *)"%PDF-nothing", 12};
    assert_false(pdf_join(arena, &damaged, 1, &whole, &length, &error));
    assert_int_equal(error.kind, ERROR_INTERNAL);
}

static void test_an_unknown_language_is_an_error(void **state)
{
    struct letter_content content;
    struct document *document = NULL;
    struct error error = {0};
    letter_example("xx", &content);
    assert_false(letter_language_is_known("xx"));
    assert_false(letter_make(*state, "x", &content, 1, &document, &error));
    assert_int_equal(error.kind, ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_markdown_becomes_blocks, begin, end),
        cmocka_unit_test_setup_teardown(test_the_english_letter, begin, end),
        cmocka_unit_test_setup_teardown(test_the_german_letter_before_it_is_signed, begin, end),
        cmocka_unit_test_setup_teardown(test_hostile_values_stay_words, begin, end),
        cmocka_unit_test_setup_teardown(test_what_is_taken_from_an_interpretation, begin, end),
        cmocka_unit_test_setup_teardown(test_key_numbers_are_rounded_and_doubted, begin, end),
        cmocka_unit_test_setup_teardown(test_letters_of_endless_lines_are_refused, begin, end),
        cmocka_unit_test_setup_teardown(test_three_forms_say_the_same_and_pdfs_are_joined, begin,
                                        end),
        cmocka_unit_test_setup_teardown(test_an_unknown_language_is_an_error, begin, end),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    canvas_forget_fonts();
    return failed;
}
