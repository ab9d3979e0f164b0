/* Finished PDFs, judged by qpdf, poppler and pikepdf. */
#include "drawing/pdf_finish.h"
#include "drawings.h"
#include "support/outside.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const struct pdf_figure FIGURES[] = {
    {"A line, \"falling\" — and <é>", {20.0, 60.0, 100.0, 50.0}},
    {"A second one", {140.0, 60.0, 100.0, 50.0}},
};

static const struct pdf_facts FACTS = {.title = "Títle <of> & \"all\"",
                                       .language = "en-GB",
                                       .author = "The clinic",
                                       .subject = "A study",
                                       .made_at_us = 1764559800987654,
                                       .figures = FIGURES,
                                       .figure_count = 2};

static const struct canvas_style STYLE = {.size_pt = 10.0};

static void draw_tagged(struct canvas *canvas, enum canvas_tag tag, double x, double y,
                        const char *words)
{
    canvas_tag_begin(canvas, tag, NULL);
    (void)canvas_label(canvas, (struct canvas_point){x, y}, words, &STYLE, CANVAS_START, 0.0);
    canvas_tag_end(canvas, tag);
}

static void draw_figure(struct canvas *canvas, double x)
{
    const struct canvas_pen pen = {.width_pt = 1.0};
    canvas_tag_begin(canvas, CANVAS_TAG_FIGURE, "a text");
    canvas_line(canvas, (struct canvas_point){x, 60}, (struct canvas_point){x + 100, 110}, &pen);
    canvas_tag_end(canvas, CANVAS_TAG_FIGURE);
    draw_tagged(canvas, CANVAS_TAG_CAPTION, x, 112, "Caption");
}

static void draw_table(struct canvas *canvas)
{
    canvas_tag_begin(canvas, CANVAS_TAG_TABLE, NULL);
    for (int row = 0; row < 2; row++) {
        canvas_tag_begin(canvas, CANVAS_TAG_ROW, NULL);
        for (int column = 0; column < 2; column++) {
            draw_tagged(canvas, row == 0 ? CANVAS_TAG_HEADER_CELL : CANVAS_TAG_CELL,
                        20.0 + 50.0 * column, 130.0 + 15.0 * row, row == 0 ? "Head" : "Cell");
        }
        canvas_tag_end(canvas, CANVAS_TAG_ROW);
    }
    canvas_tag_end(canvas, CANVAS_TAG_TABLE);
}

static void steps_document(struct canvas *canvas)
{
    const struct canvas_pen pen = {.width_pt = 1.0};
    canvas_tag_begin(canvas, CANVAS_TAG_DOCUMENT, NULL);
    (void)canvas_label(canvas, (struct canvas_point){20, 2}, "A page's head שלום", &STYLE,
                       CANVAS_START, 0.0);
    canvas_bookmark(canvas, 1, "First", (struct canvas_point){0, 20});
    draw_tagged(canvas, CANVAS_TAG_H1, 20, 20, "Heading");
    canvas_line(canvas, (struct canvas_point){0, 40}, (struct canvas_point){300, 40}, &pen);
    draw_tagged(canvas, CANVAS_TAG_P, 20, 42, "Words αβγ Ж שלום العربية 漢字 cmH₂O fi");
    draw_figure(canvas, 20);
    draw_figure(canvas, 140);
    draw_table(canvas);
    canvas_link(canvas, (struct canvas_rect){20, 42, 100, 12}, "https://clinic.example/it's");
    canvas_next_page(canvas);
    (void)canvas_label(canvas, (struct canvas_point){20, 2}, "A page's head", &STYLE, CANVAS_START,
                       0.0);
    canvas_bookmark(canvas, 2, "Second שלום", (struct canvas_point){0, 20});
    draw_tagged(canvas, CANVAS_TAG_H2, 20, 20, "Second");
    canvas_tag_begin(canvas, CANVAS_TAG_LIST, NULL);
    canvas_tag_begin(canvas, CANVAS_TAG_LIST_ITEM, NULL);
    draw_tagged(canvas, CANVAS_TAG_LIST_LABEL, 20, 40, "•");
    draw_tagged(canvas, CANVAS_TAG_LIST_BODY, 30, 40, "An item");
    canvas_tag_end(canvas, CANVAS_TAG_LIST_ITEM);
    canvas_tag_end(canvas, CANVAS_TAG_LIST);
    canvas_tag_end(canvas, CANVAS_TAG_DOCUMENT);
}

struct finished {
    struct drawing drawing;
    const unsigned char *bytes;
    size_t length;
};

static struct finished finish(const struct pdf_facts *facts)
{
    struct finished finished = {.drawing = drawing_make(CANVAS_PDF, steps_document)};
    struct error error = {0};
    if (!pdf_finish(finished.drawing.arena, finished.drawing.bytes, finished.drawing.length, facts,
                    &finished.bytes, &finished.length, &error)) {
        fail_msg("%s", error.detail);
    }
    return finished;
}

static void says(const char *command, const char *part)
{
    struct finished finished = finish(&FACTS);
    outside_says(finished.bytes, finished.length, command, part);
    drawing_free(&finished.drawing);
}

/* A program for pikepdf that ends with an assertion unless all is well. */
static void check_with_pikepdf(const char *program)
{
    char command[8000];
    int written =
        snprintf(command, sizeof command,
                 "/usr/bin/python3 -c 'import pikepdf, sys\np = pikepdf.open(sys.argv[1])\n%s\n"
                 "print(\"well\")' \"$FILE\"",
                 program);
    assert_in_range(written, 1, sizeof command - 1);
    says(command, "well");
}

static void test_the_file_is_sound(void **state)
{
    (void)state;
    says("qpdf --check \"$FILE\"", "No syntax or stream encoding errors found");
    says("pdfinfo \"$FILE\"", "Tagged:          yes");
    says("pdfinfo \"$FILE\"", "PDF version:     1.7");
    says("pdfinfo \"$FILE\"", "Title:           Títle <of> & \"all\"");
    says("pdfinfo \"$FILE\"", "Pages:           2");
}

static void test_metadata_agree(void **state)
{
    (void)state;
    check_with_pikepdf(
        "m = p.open_metadata()\n"
        "assert m.pdfa_status == \"2U\"\n"
        "assert m[\"{http://www.aiim.org/pdfua/ns/id/}part\"] == \"1\"\n"
        "i = p.docinfo\n"
        "assert m[\"dc:title\"] == str(i.Title) == \"Títle <of> & \\\"all\\\"\", m[\"dc:title\"]\n"
        "assert m[\"dc:creator\"] == [str(i.Author)] == [\"The clinic\"]\n"
        "assert m[\"dc:description\"] == str(i.Subject) == \"A study\"\n"
        "assert m[\"pdf:Producer\"] == str(i.Producer)\n"
        "assert m[\"xmp:CreateDate\"] == \"2025-12-01T03:30:00Z\"\n"
        "assert str(i.CreationDate) == str(i.ModDate) == \"D:20251201033000Z\"\n"
        "assert m[\"xmp:ModifyDate\"] == m[\"xmp:CreateDate\"]\n"
        "assert \"/Filter\" not in p.Root.Metadata");
}

static void test_the_catalogue(void **state)
{
    (void)state;
    check_with_pikepdf("r = p.Root\n"
                       "assert str(r.Lang) == \"en-GB\"\n"
                       "assert r.MarkInfo.Marked\n"
                       "assert r.ViewerPreferences.DisplayDocTitle\n"
                       "o = r.OutputIntents[0]\n"
                       "assert o.S == \"/GTS_PDFA1\"\n"
                       "b = o.DestOutputProfile.read_bytes()\n"
                       "assert b[36:40] == b\"acsp\" and b[16:20] == b\"RGB \"\n"
                       "assert len(b) == int.from_bytes(b[:4], \"big\")\n"
                       "assert o.DestOutputProfile.N == 3\n"
                       "assert all(q.Tabs == \"/S\" for q in p.pages)\n"
                       "assert len(p.trailer.ID) == 2");
}

/* ISO 14289-1, 7.1: pikepdf's own reader of contents finds every painted thing in a tag or an
 * artefact, never both, and every tag's number in the tree. */
static void test_everything_is_tagged_or_an_artefact(void **state)
{
    (void)state;
    check_with_pikepdf(
        "paint = set(\"S s f F f* B B* b b* sh Do Tj TJ\".split()) | {chr(39), chr(34)}\n"
        "kinds = {}\n"
        "for q in p.pages:\n"
        "    stack, ids = [], []\n"
        "    for operands, operator in pikepdf.parse_content_stream(q):\n"
        "        o = str(operator)\n"
        "        if o in (\"BMC\", \"BDC\"):\n"
        "            tag = len(operands) > 1 and \"/MCID\" in operands[1]\n"
        "            if tag: ids.append(int(operands[1].MCID))\n"
        "            stack.append(\"tag\" if tag else str(operands[0]))\n"
        "        elif o == \"EMC\": stack.pop()\n"
        "        elif o in paint:\n"
        "            marks = [s for s in stack if s in (\"tag\", \"/Artifact\")]\n"
        "            assert len(marks) == 1, stack\n"
        "            kinds[marks[0]] = kinds.get(marks[0], 0) + 1\n"
        "    assert stack == []\n"
        "    assert ids == list(range(len(ids)))\n"
        "    nums = p.Root.StructTreeRoot.ParentTree.Nums\n"
        "    parents = [nums[i + 1] for i in range(0, len(nums), 2) if nums[i] == "
        "q.StructParents]\n"
        "    assert len(parents) == 1 and len(parents[0]) == len(ids)\n"
        "assert kinds[\"tag\"] > 10 and kinds[\"/Artifact\"] > 2, kinds");
}

static void test_the_structure(void **state)
{
    (void)state;
    check_with_pikepdf(
        "def names(e):\n"
        "    k = e.get(\"/K\")\n"
        "    k = list(k) if isinstance(k, pikepdf.Array) else [k]\n"
        "    for c in k:\n"
        "        if isinstance(c, pikepdf.Dictionary) and \"/S\" in c:\n"
        "            assert c.P.objgen == e.objgen\n"
        "    return [str(e.S)[1:]] + [names(c) for c in k if isinstance(c, pikepdf.Dictionary)"
        " and \"/S\" in c]\n"
        "d = p.Root.StructTreeRoot.K[0]\n"
        "n = names(d)\n"
        "row = lambda c: [\"TR\", [c], [c]]\n"
        "want = [\"Document\", [\"H1\"], [\"P\"], [\"Figure\", [\"Caption\"]],"
        " [\"Figure\", [\"Caption\"]], [\"Table\", row(\"TH\"), row(\"TD\")], [\"Link\"], [\"H2\"],"
        " [\"L\", [\"LI\", [\"Lbl\"], [\"LBody\"]]]]\n"
        "assert n == want, n\n"
        "f = d.K[2]\n"
        "assert str(f.Alt) == \"A line, \\\"falling\\\" — and <é>\", f.Alt\n"
        "assert str(d.K[3].Alt) == \"A second one\"\n"
        "assert [float(x) for x in f.A.BBox] == [20, 90, 120, 140], f.A.BBox\n"
        "assert d.K[4].K[0].K[0].A.Scope == \"/Column\"\n");
}

static void test_links_and_outline(void **state)
{
    (void)state;
    check_with_pikepdf("a = p.pages[0].Annots[0]\n"
                       "assert a.F == 4\n"
                       "assert str(a.Contents) == str(a.A.URI) == "
                       "\"https://clinic.example/it\" + chr(39) + \"s\"\n"
                       "assert [float(x) for x in a.Rect] == [20, 146, 120, 158], a.Rect\n"
                       "with p.open_outline() as o:\n"
                       "    assert [i.title for i in o.root] == [\"First\"]\n"
                       "    second = o.root[0].children[0]\n"
                       "    assert second.title == \"Second שלום\", second.title\n"
                       "    assert second.destination[0].objgen == p.pages[1].objgen");
}

/* ISO 19005-2, 6.2.11: embedded, mapped to Unicode, with glyph maps and the encodings of the kind.
 */
static void test_fonts(void **state)
{
    (void)state;
    struct finished finished = finish(&FACTS);
    char *fonts = outside_run(finished.bytes, finished.length,
                              "pdffonts \"$FILE\" | tail -n +3 | grep -vc 'yes yes yes' || true");
    assert_string_equal(fonts, "0\n");
    free(fonts);
    drawing_free(&finished.drawing);
    check_with_pikepdf(
        "kinds = set()\n"
        "for o in p.objects:\n"
        "    if not isinstance(o, pikepdf.Dictionary) or o.get(\"/Type\") != \"/Font\": continue\n"
        "    kinds.add(str(o.Subtype))\n"
        "    if o.Subtype == \"/CIDFontType2\": assert o.CIDToGIDMap == \"/Identity\"\n"
        "    if o.Subtype == \"/TrueType\": assert o.Encoding == \"/WinAnsiEncoding\" and"
        " o.FontDescriptor.Flags & 36 == 32\n"
        "    if o.Subtype == \"/Type0\": assert o.Encoding == \"/Identity-H\" and \"/ToUnicode\" "
        "in o\n"
        "assert {\"/TrueType\", \"/Type0\", \"/CIDFontType2\"} <= kinds, kinds");
}

static void test_words_come_out_as_they_went_in(void **state)
{
    (void)state;
    says("pdfinfo -struct-text \"$FILE\"", "\"Words αβγ Ж שלום العربية 漢字 cmH₂O fi\"");
}

/* ---- the same bytes ---- */

static void *finish_in_thread(void *slot)
{
    struct finished *finished = slot;
    *finished = finish(&FACTS);
    return NULL;
}

static void test_the_same_bytes_in_every_thread_and_order(void **state)
{
    (void)state;

    enum { THREADS = 3 };
    struct finished first = finish(&FACTS);
    drawing_check_repeats(CANVAS_SVG, steps_document); // something else in between
    struct finished others[THREADS];
    pthread_t threads[THREADS];
    for (int i = 0; i < THREADS; i++) {
        assert_int_equal(pthread_create(&threads[i], NULL, finish_in_thread, &others[i]), 0);
    }
    for (int i = 0; i < THREADS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_int_equal(others[i].length, first.length);
        assert_memory_equal(others[i].bytes, first.bytes, first.length);
        drawing_free(&others[i].drawing);
    }
    drawing_free(&first.drawing);
}

static void test_other_facts_give_another_file(void **state)
{
    (void)state;
    struct pdf_facts facts = FACTS;
    facts.made_at_us += 1000000;
    facts.subject = NULL;
    struct finished first = finish(&FACTS);
    struct finished other = finish(&facts);
    assert_false(first.length == other.length &&
                 memcmp(first.bytes, other.bytes, first.length) == 0);
    drawing_free(&first.drawing);
    drawing_free(&other.drawing);
}

/* ---- what cannot be finished ---- */

static void check_refused(const void *bytes, size_t length, const struct pdf_facts *facts,
                          const char *why)
{
    struct arena *arena = arena_new();
    struct error error = {0};
    const unsigned char *out = NULL;
    size_t out_length = 0;
    assert_false(pdf_finish(arena, bytes, length, facts, &out, &out_length, &error));
    assert_int_equal(error.kind, ERROR_INTERNAL);
    if (strstr(error.detail, why) == NULL) {
        fail_msg("%s", error.detail);
    }
    arena_free(arena);
}

static void test_what_cannot_be_finished(void **state)
{
    (void)state;
    struct drawing drawing = drawing_make(CANVAS_PDF, steps_document);
    struct pdf_facts facts = FACTS;
    facts.figure_count = 1;
    check_refused(drawing.bytes, drawing.length, &facts, "more tags of figures than figures");
    facts.figure_count = 3;
    const struct pdf_figure three[] = {FIGURES[0], FIGURES[1], FIGURES[1]};
    facts.figures = three;
    check_refused(drawing.bytes, drawing.length, &facts, "fewer tags of figures than figures");
    check_refused("no PDF", 6, &FACTS, "finishing a PDF: reading");
    check_refused("", 0, &FACTS, "finishing a PDF: reading");
    check_refused(drawing.bytes, drawing.length / 2, &FACTS, "finishing a PDF");
    drawing_free(&drawing);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_file_is_sound),
        cmocka_unit_test(test_metadata_agree),
        cmocka_unit_test(test_the_catalogue),
        cmocka_unit_test(test_everything_is_tagged_or_an_artefact),
        cmocka_unit_test(test_the_structure),
        cmocka_unit_test(test_links_and_outline),
        cmocka_unit_test(test_fonts),
        cmocka_unit_test(test_words_come_out_as_they_went_in),
        cmocka_unit_test(test_the_same_bytes_in_every_thread_and_order),
        cmocka_unit_test(test_other_facts_give_another_file),
        cmocka_unit_test(test_what_cannot_be_finished),
    };
    return cmocka_run_group_tests(tests, NULL, drawing_end);
}
