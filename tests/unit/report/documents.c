#include "documents.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#define TEN     "abcdefghij"
#define HUNDRED TEN TEN TEN TEN TEN TEN TEN TEN TEN TEN

const char *const DOCUMENTS_HOSTILE[] = {
    "<script>alert(1)</script>",
    "</dd></td></p></figure>\"'&amp;<!--",
    "\\input{/etc/passwd} $x^2$ %comment #1 \\end{document}",
    "{{patient.name}} {{{raw}}} {{#each}} {{/each}}",
    "\u202eevil\u202c \u2066left\u2069 \u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "bell \x07 null-ish \x01 escape \x1b[31m delete \x7f c1 \xc2\x85 tab\tend",
    "line one\nline two\r\nline three\u2028line four",
    ("\u65e5\u672c\u8a9e \u0939\u093f\u0928\u094d\u0926\u0940 \u0e44\u0e17\u0e22 "
     "\u03b5\u03bb\u03bb\u03b7\u03bd\u03b9\u03ba\u03ac \u0420\u0443\u0441 \U0001f600 a\u0301"),
    HUNDRED HUNDRED HUNDRED,
    "\xff\xfe broken \xc3 utf-8 \xf0\x9f",
    "",
    NULL,
};

static void draw(void *context, struct canvas *canvas, struct canvas_rect area)
{
    const struct canvas_pen pen = {.width_pt = 1.0};
    (void)context;
    canvas_stroke_rect(canvas, area, &pen);
}

struct document_facts documents_facts(void)
{
    return (struct document_facts){
        .title = "A document & more",
        .language = "en",
        .author = "Clinic <of> tests",
        .head_start = "Example, Pat",
        .head_end = "Clinic <of> tests, 2026-03-02",
        .foot = "Software 1, revision 2",
        .mark = "Preliminary",
    };
}

struct document *documents_begin(struct arena *arena)
{
    const struct document_facts facts = documents_facts();
    return document_new(arena, &facts);
}

static void add_figure(struct document *document, const char *words, bool is_half)
{
    const struct document_figure figure = {.caption = is_half ? "Half" : "Whole",
                                           .alternative = words,
                                           .height_pt = 60.0,
                                           .is_half = is_half,
                                           .draw = draw};
    document_figure(document, &figure);
}

static void add_table(struct document *document, const char *words)
{
    static const struct document_column columns[] = {
        {"Measure", false, 3.0}, {"Value", true, 0.0}, {"Remarks", false, 2.0}};
    const struct document_span row[] = {{.words = words, .from_person = true},
                                        {.words = "18"},
                                        {.words = "strong", .strong = true}};
    const struct document_span other[] = {
        {.words = "Voided volume"}, {.words = "340"}, {.words = NULL}};
    document_table(document, "Values", columns, 3);
    document_row(document, row);
    document_row(document, other);
}

struct document *documents_make(struct arena *arena, const char *words)
{
    struct document *document = documents_begin(arena);
    const struct document_span spans[] = {{.words = "Label: ", .strong = true},
                                          {.words = words, .from_person = true},
                                          {.words = " end", .emphasis = true}};
    document_heading(document, 1, "Title");
    document_heading(document, 2, "First part");
    document_paragraph(document, DOCUMENT_PLAIN, spans, 3);
    document_person_words(document, DOCUMENT_CAUTION, words);
    document_words(document, DOCUMENT_NOTE, "Small print.");
    document_person_words(document, DOCUMENT_ADDRESS, words);
    document_item(document, spans, 3);
    document_item(document, spans, 2);
    document_heading(document, 3, words);
    document_fact(document, "Name", &spans[1]);
    document_fact(document, "Age", &(struct document_span){.words = "64 years"});
    add_table(document, words);
    add_figure(document, words, false);
    document_page_break(document);
    document_heading(document, 2, "Second part");
    add_figure(document, "first half", true);
    add_figure(document, "second half", true);
    return document;
}

const char *documents_html(const struct document *document, struct arena *arena)
{
    struct text out;
    text_init(&out, arena, (size_t)4 * 1024 * 1024);
    document_write_html(document, &out);
    assert_false(out.overflowed);
    return out.data;
}

const char *documents_text(const struct document *document, struct arena *arena)
{
    struct text out;
    text_init(&out, arena, (size_t)4 * 1024 * 1024);
    document_write_text(document, &out);
    assert_false(out.overflowed);
    return out.data;
}
