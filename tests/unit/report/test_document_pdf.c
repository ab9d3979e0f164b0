/* Documents as pages: what stands where, judged by poppler, qpdf, zbar and pikepdf. */
#include "report/document.h"
#include "support/outside.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const char CODE[] = "https://clinic.example/reports/0b5d66aa";

static const struct document_facts FACTS = {.title = "Report of a study",
                                            .language = "en",
                                            .author = "A clinic",
                                            .head_start = "Headperson, born 1950",
                                            .head_end = "Headclinic",
                                            .foot = "Footware 1.0",
                                            .mark = "Preliminary",
                                            .code = CODE,
                                            .code_label = "codelabel",
                                            .made_at_us = 1764559800000000};

static const char SENTENCE[] = "Some words that fill a line of text, and then some more of them. ";

struct pages {
    struct arena *arena;
    struct document *document;
    const unsigned char *bytes;
    size_t length;
};

static struct pages begin(const struct document_facts *facts)
{
    struct pages pages = {.arena = arena_new()};
    pages.document = document_new(pages.arena, facts);
    return pages;
}

static void write_pages(struct pages *pages)
{
    struct error error = {0};
    if (!document_write_pdf(pages->document, pages->arena, &pages->bytes, &pages->length, &error)) {
        fail_msg("%s", error.detail);
    }
}

static char *run(const struct pages *pages, const char *command)
{
    return outside_run(pages->bytes, pages->length, command);
}

static long number_of(const struct pages *pages, const char *command)
{
    char *answer = run(pages, command);
    long number = strtol(answer, NULL, 10);
    free(answer);
    return number;
}

static long count_pages(const struct pages *pages)
{
    return number_of(pages, "pdfinfo \"$FILE\" | sed -n 's/^Pages: *//p'");
}

static char *repeat(struct arena *arena, const char *words, size_t times)
{
    char *out = arena_alloc(arena, times * strlen(words) + 1);
    char *end = out;
    for (size_t i = 0; i < times; i++) {
        end = stpcpy(end, words);
    }
    return out;
}

static void add_sentences(struct pages *pages, size_t paragraphs, size_t sentences)
{
    for (size_t i = 0; i < paragraphs; i++) {
        document_words(pages->document, DOCUMENT_PLAIN, repeat(pages->arena, SENTENCE, sentences));
    }
}

/* ---- where words are ---- */

struct box {
    double left;
    double top;
    double right;
    double bottom;
    int page;
};

static double attribute(const char *element, const char *name)
{
    const char *at = strstr(element, name);
    assert_non_null(at);
    return strtod(at + strlen(name), NULL);
}

typedef void visit_word(const struct box *box, const char *word, size_t length, void *context);

/* One line of `pdftotext -bbox` holds a page's start or a word. */
static void visit_line(const char *line, int *page, visit_word *visit, void *context)
{
    const char *page_start = strstr(line, "<page ");
    const char *start = strstr(line, "<word ");
    *page += page_start != NULL;
    if (start != NULL) {
        const char *word = strchr(start, '>') + 1;
        struct box box = {attribute(start, "xMin=\""), attribute(start, "yMin=\""),
                          attribute(start, "xMax=\""), attribute(start, "yMax=\""), *page};
        visit(&box, word, (size_t)(strchr(word, '<') - word), context);
    }
}

static void each_word(const char *boxes, visit_word *visit, void *context)
{
    char line[4096];
    int page = 0;
    const char *end = boxes + strlen(boxes);
    while (boxes < end) {
        const char *after = memchr(boxes, '\n', (size_t)(end - boxes));
        size_t length = (size_t)((after == NULL ? end : after) - boxes);
        assert_true(length < sizeof line);
        memcpy(line, boxes, length);
        line[length] = '\0';
        visit_line(line, &page, visit, context);
        boxes += length + 1;
    }
}

struct search {
    const char *word;
    struct box first;
    int count;
};

static void match(const struct box *box, const char *word, size_t length, void *context)
{
    struct search *search = context;
    if (strlen(search->word) == length && memcmp(search->word, word, length) == 0) {
        if (search->count == 0) {
            search->first = *box;
        }
        search->count++;
    }
}

static struct search find(const char *boxes, const char *word)
{
    struct search search = {.word = word};
    each_word(boxes, match, &search);
    return search;
}

static struct box box_of(const char *boxes, const char *word)
{
    struct search search = find(boxes, word);
    if (search.count == 0) {
        fail_msg("%s is nowhere", word);
    }
    return search.first;
}

static void check_within(const struct box *box, const char *word, size_t length, void *context)
{
    (void)context;
    static const double LEFT = 50.0;
    static const double RIGHT = 545.0;
    if (length == strlen("Preliminary") && memcmp(word, "Preliminary", length) == 0) {
        return; // turned, across the page
    }
    if (!(box->left >= LEFT && box->right <= RIGHT && box->top >= 20.0 && box->bottom <= 822.0)) {
        fail_msg("on page %d %.*s runs out: %f to %f, %f to %f", box->page, (int)length, word,
                 box->left, box->right, box->top, box->bottom);
    }
}

static char *boxes_of(const struct pages *pages)
{
    return run(pages, "pdftotext -bbox \"$FILE\" -");
}

static void check_nothing_runs_out(const struct pages *pages)
{
    char *boxes = boxes_of(pages);
    each_word(boxes, check_within, NULL);
    free(boxes);
}

/* ---- pages ---- */

static void test_every_page_has_head_foot_and_mark(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_heading(pages.document, 1, "Title");
    add_sentences(&pages, 40, 8);
    write_pages(&pages);
    long count = count_pages(&pages);
    assert_true(count >= 3);
    for (long page = 1; page <= count; page++) {
        char command[100];
        (void)snprintf(command, sizeof command, "pdftotext -f %ld -l %ld \"$FILE\" -", page, page);
        char *words = run(&pages, command);
        char expected[80];
        (void)snprintf(expected, sizeof expected, "Page %ld of %ld\n", page, count);
        assert_non_null(strstr(words, expected));
        assert_non_null(strstr(words, "Headperson, born 1950"));
        assert_non_null(strstr(words, "Headclinic"));
        assert_non_null(strstr(words, "Footware 1.0"));
        assert_int_equal(strstr(words, "codelabel") != NULL, page == 1);
        free(words);
    }
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

static void test_the_mark_is_below_and_only_where_asked_for(void **state)
{
    (void)state;
    static const char dark[] = "pdftoppm -r 20 -gray \"$FILE\" | tail -c +20 | od -An -v -tu1 | "
                               "tr -s ' ' '\\n' | awk '$1 != \"\" && $1 < 250' | wc -l";
    struct document_facts facts = FACTS;
    facts.code = NULL;
    struct pages marked = begin(&facts);
    document_words(marked.document, DOCUMENT_PLAIN, "Words");
    write_pages(&marked);
    facts.mark = NULL;
    struct pages plain = begin(&facts);
    document_words(plain.document, DOCUMENT_PLAIN, "Words");
    write_pages(&plain);
    assert_int_equal(count_pages(&plain), 1);
    assert_true(number_of(&marked, dark) > number_of(&plain, dark) + 800);
    char *content = run(&marked, "qpdf --qdf --object-streams=disable \"$FILE\" - | "
                                 "grep -a -m1 -A8 '^/Artifact BMC'");
    assert_non_null(strstr(content, "0.94 0.928 0.912 rg")); // the first thing on the page
    free(content);
    arena_free(marked.arena);
    arena_free(plain.arena);
}

static void test_the_code_is_read_from_paper(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_heading(pages.document, 1, "Title");
    add_sentences(&pages, 3, 8);
    write_pages(&pages);
    char *words = run(&pages, "pdftoppm -r 150 -png -singlefile \"$FILE\" \"$FILE\" && "
                              "zbarimg -q --raw \"$FILE.png\"; s=$?; rm -f \"$FILE.png\"; exit $s");
    assert_non_null(strstr(words, CODE));
    free(words);
    arena_free(pages.arena);
}

static void test_an_empty_document(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    write_pages(&pages);
    assert_int_equal(count_pages(&pages), 1);
    arena_free(pages.arena);
}

static void test_page_breaks(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_page_break(pages.document); // nothing before it
    document_words(pages.document, DOCUMENT_PLAIN, "one");
    document_page_break(pages.document);
    document_page_break(pages.document);
    document_words(pages.document, DOCUMENT_PLAIN, "two");
    write_pages(&pages);
    assert_int_equal(count_pages(&pages), 2);
    arena_free(pages.arena);
}

/* ---- what stays together ---- */

static void test_a_heading_stays_with_what_follows(void **state)
{
    (void)state;
    int turned = 0;
    for (size_t lines = 40; lines < 50; lines++) {
        struct pages pages = begin(&FACTS);
        document_words(pages.document, DOCUMENT_PLAIN, repeat(pages.arena, "line\n", lines));
        document_heading(pages.document, 2, "Headingtwo");
        document_heading(pages.document, 3, "Headingthree");
        document_words(pages.document, DOCUMENT_PLAIN,
                       repeat(pages.arena, "Follower of these headings in this line. ", 12));
        write_pages(&pages);
        char *boxes = boxes_of(&pages);
        struct box two = box_of(boxes, "Headingtwo");
        struct box three = box_of(boxes, "Headingthree");
        struct box follower = box_of(boxes, "Follower");
        assert_int_equal(two.page, three.page);
        assert_int_equal(two.page, follower.page);
        assert_true(two.bottom < three.bottom && three.bottom < follower.bottom);
        turned += two.page == 2;
        free(boxes);
        arena_free(pages.arena);
    }
    assert_in_range(turned, 2, 8); // both cases were there
}

static int lines_on_page(const struct pages *pages, int page)
{
    char command[120];
    (void)snprintf(command, sizeof command,
                   "pdftotext -f %d -l %d \"$FILE\" - | grep -c Divided || true", page, page);
    return (int)number_of(pages, command);
}

static void test_no_line_is_left_alone(void **state)
{
    (void)state;
    int divided = 0;
    for (size_t lines = 41; lines < 53; lines++) {
        struct pages pages = begin(&FACTS);
        document_words(pages.document, DOCUMENT_PLAIN, repeat(pages.arena, "line\n", lines));
        document_words(pages.document, DOCUMENT_PLAIN,
                       arena_printf(pages.arena, "%sDivided", repeat(pages.arena, "Divided\n", 7)));
        write_pages(&pages);
        int first = lines_on_page(&pages, 1);
        assert_true(first != 1 && first != 7);
        divided += first > 0 && first < 8;
        if (count_pages(&pages) == 2) {
            assert_int_equal(first + lines_on_page(&pages, 2), 8);
        }
        arena_free(pages.arena);
    }
    assert_true(divided > 2);
}

/* ---- tables ---- */

static const struct document_column COLUMNS[] = {
    {"Measurehead", false, 3.0}, {"Valuehead", true, 1.0}, {"Remarkhead", false, 2.0}};

static void test_a_tables_head_is_on_each_of_its_pages(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_table(pages.document, "Captionword", COLUMNS, 3);
    for (int i = 0; i < 120; i++) {
        char value[20];
        (void)snprintf(value, sizeof value, "%d.5", 1000 + i);
        const struct document_span row[] = {
            {.words = "A measure"}, {.words = value}, {.words = i % 3 == 0 ? SENTENCE : ""}};
        document_row(pages.document, row);
    }
    write_pages(&pages);
    long count = count_pages(&pages);
    assert_true(count > 2);
    char *boxes = boxes_of(&pages);
    assert_int_equal(find(boxes, "Valuehead").count, count);
    assert_int_equal(find(boxes, "Captionword").count, 1);
    struct box head = box_of(boxes, "Valuehead");
    for (int i = 0; i < 120; i++) {
        char value[20];
        (void)snprintf(value, sizeof value, "%d.5", 1000 + i);
        struct search found = find(boxes, value);
        assert_int_equal(found.count, 1);
        assert_true(fabs(found.first.right - head.right) < 0.2); // at the column's end
    }
    free(boxes);
    check_nothing_runs_out(&pages);
    long heads = number_of(&pages, "pdfinfo -struct \"$FILE\" | grep -c ' TH'");
    assert_int_equal(heads, 3); // the other pages' heads are artefacts
    arena_free(pages.arena);
}

static void test_a_row_higher_than_a_page_is_whole(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_words(pages.document, DOCUMENT_PLAIN, "before");
    document_table(pages.document, "", COLUMNS, 3);
    const struct document_span row[] = {{.words = repeat(pages.arena, "Cellword ", 3000)},
                                        {.words = "12.5"},
                                        {.words = repeat(pages.arena, "Otherword ", 500)}};
    document_row(pages.document, row);
    write_pages(&pages);
    char *boxes = boxes_of(&pages);
    assert_int_equal(find(boxes, "Cellword").count, 3000);
    assert_int_equal(find(boxes, "Otherword").count, 500);
    assert_int_equal(find(boxes, "12.5").count, 1);
    assert_int_equal(box_of(boxes, "before").page, box_of(boxes, "Cellword").page);
    free(boxes);
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

static void test_numbers_are_never_broken(void **state)
{
    (void)state;
    static const struct document_column columns[] = {
        {"A", false, 30.0}, {"B", true, 1.0}, {"C", true, 1.0}};
    struct pages pages = begin(&FACTS);
    document_table(pages.document, "", columns, 3);
    const struct document_span row[] = {{.words = repeat(pages.arena, SENTENCE, 5)},
                                        {.words = "1234567890.12345678"},
                                        {.words = "−98765432109876.5"}};
    document_row(pages.document, row);
    write_pages(&pages);
    char *boxes = boxes_of(&pages);
    struct box one = box_of(boxes, "1234567890.12345678");
    struct box other = box_of(boxes, "−98765432109876.5");
    assert_true(one.right < other.left);
    free(boxes);
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

/* ---- long words ---- */

static void test_nothing_runs_out_however_long(void **state)
{
    (void)state;
    struct document_facts facts = FACTS;
    struct pages pages = begin(&facts);
    char *word = repeat(pages.arena, "W", 300);
    facts.head_start = facts.head_end = facts.foot = facts.code_label = word;
    facts.title = word;
    pages.document = document_new(pages.arena, &facts);
    struct document_span span = {.words = word, .from_person = true};
    document_heading(pages.document, 1, word);
    document_heading(pages.document, 2, word);
    document_paragraph(pages.document, DOCUMENT_PLAIN, &span, 1);
    document_paragraph(pages.document, DOCUMENT_CAUTION, &span, 1);
    document_paragraph(pages.document, DOCUMENT_NOTE, &span, 1);
    document_paragraph(pages.document, DOCUMENT_ADDRESS, &span, 1);
    document_item(pages.document, &span, 1);
    document_fact(pages.document, word, &span);
    document_fact(pages.document, "Name", &span);
    document_table(pages.document, word, COLUMNS, 3);
    const struct document_span row[] = {span, span, span};
    document_row(pages.document, row);
    write_pages(&pages);
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

static void test_everything_over_pages_is_whole(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    struct document_span item = {.words = repeat(pages.arena, "Itemword ", 2500)};
    struct document_span value = {.words = repeat(pages.arena, "Factword ", 2500)};
    document_item(pages.document, &item, 1);
    document_fact(pages.document, "Term", &value);
    document_words(pages.document, DOCUMENT_CAUTION, repeat(pages.arena, "Boxword ", 2500));
    document_words(pages.document, DOCUMENT_NOTE, repeat(pages.arena, "Noteword ", 2500));
    write_pages(&pages);
    char *boxes = boxes_of(&pages);
    assert_int_equal(find(boxes, "Itemword").count, 2500);
    assert_int_equal(find(boxes, "Factword").count, 2500);
    assert_int_equal(find(boxes, "Boxword").count, 2500);
    assert_int_equal(find(boxes, "Noteword").count, 2500);
    free(boxes);
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

/* ---- folded tables ---- */

static void add_folded(struct pages *pages, int first, int rows, const char *remark)
{
    document_table(pages->document, "Folded", COLUMNS, 3);
    document_table_fold(pages->document);
    for (int i = first; i < first + rows; i++) {
        const struct document_span row[] = {{.words = arena_printf(pages->arena, "Row%03d", i)},
                                            {.words = "1.5"},
                                            {.words = remark}};
        document_row(pages->document, row);
    }
}

/* Rows run down the first column, then down the second: on every page, within one table. */
static void test_a_folded_table_runs_down_two_columns(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    add_folded(&pages, 1, 21, "B");
    document_words(pages.document, DOCUMENT_PLAIN, "Afterwards");
    add_folded(&pages, 101, 200, "B");
    write_pages(&pages);
    assert_int_equal(count_pages(&pages), 3);
    char *boxes = boxes_of(&pages);
    struct box first = box_of(boxes, "Row001");
    struct box eleventh = box_of(boxes, "Row011");
    struct box twelfth = box_of(boxes, "Row012");
    assert_true(fabs(first.top - twelfth.top) < 0.1);
    assert_true(first.right < 298.0 && twelfth.left > 298.0);
    assert_true(fabs(first.left - eleventh.left) < 0.1);
    assert_true(box_of(boxes, "Afterwards").top > eleventh.bottom);
    free(boxes);
    check_nothing_runs_out(&pages);
    outside_says(pages.bytes, pages.length,
                 "/usr/bin/python3 -c 'import pikepdf, sys\n"
                 "k = pikepdf.open(sys.argv[1]).Root.StructTreeRoot.K[0].K\n"
                 "assert [str(e.S)[1:] for e in k] == [\"Table\", \"P\", \"Table\"]\n"
                 "for table, rows in ((k[0], 22), (k[2], 201)):\n"
                 "    assert [str(e.S)[1:] for e in table.K] == [\"Caption\"] + [\"TR\"] * rows\n"
                 "    assert [str(e.S)[1:] for e in table.K[1].K] == [\"TH\"] * 3\n"
                 "print(\"well\")' \"$FILE\"",
                 "well");
    arena_free(pages.arena);
}

/* What is too long for half the width has all of it. */
static void test_long_rows_are_not_folded(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    add_folded(&pages, 1, 8, repeat(pages.arena, SENTENCE, 6));
    write_pages(&pages);
    char *boxes = boxes_of(&pages);
    assert_true(fabs(box_of(boxes, "Row001").left - box_of(boxes, "Row008").left) < 0.1);
    free(boxes);
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

/* ---- facts, figures, addresses ---- */

static void test_facts_stand_in_two_columns_where_they_fit(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_words(pages.document, DOCUMENT_PLAIN, repeat(pages.arena, "line\n", 9));
    for (int i = 0; i < 4; i++) {
        char value[20];
        (void)snprintf(value, sizeof value, "short%d", i);
        document_fact(pages.document, "Term", &(struct document_span){.words = value});
    }
    document_words(pages.document, DOCUMENT_PLAIN, "between");
    for (int i = 4; i < 8; i++) {
        char value[200];
        (void)snprintf(value, sizeof value, "long%d %s", i, SENTENCE);
        document_fact(pages.document, "Term", &(struct document_span){.words = value});
    }
    write_pages(&pages);
    char *boxes = boxes_of(&pages);
    assert_true(fabs(box_of(boxes, "short0").top - box_of(boxes, "short1").top) < 0.1);
    assert_true(box_of(boxes, "short0").right < box_of(boxes, "short1").left);
    assert_true(box_of(boxes, "short2").top > box_of(boxes, "short0").top + 5.0);
    assert_true(box_of(boxes, "long5").top > box_of(boxes, "long4").top + 5.0);
    assert_true(fabs(box_of(boxes, "long5").left - box_of(boxes, "long4").left) < 0.1);
    free(boxes);
    arena_free(pages.arena);
}

static struct canvas_rect drawn_area;

static void draw_box(void *context, struct canvas *canvas, struct canvas_rect area)
{
    static const struct canvas_style style = {.size_pt = 8.0};
    drawn_area = area;
    (void)canvas_label(canvas, (struct canvas_point){area.x + 5, area.y + 5}, context, &style,
                       CANVAS_START, 0.0);
}

static void add_figure(struct pages *pages, const char *name, double height_pt, bool is_half)
{
    document_figure(
        pages->document,
        &(struct document_figure){.caption = arena_printf(pages->arena, "Caption%s", name),
                                  .alternative = arena_printf(pages->arena, "Alternative %s", name),
                                  .height_pt = height_pt,
                                  .is_half = is_half,
                                  .draw = draw_box,
                                  .context = arena_strdup(pages->arena, name)});
}

static void test_figures_and_their_captions(void **state)
{
    (void)state;
    struct pages pages = begin(&FACTS);
    document_heading(pages.document, 1, "Title");
    add_figure(&pages, "Whole", 300.0, false);
    add_figure(&pages, "Left", 120.0, true);
    add_figure(&pages, "Right", 150.0, true);
    add_figure(&pages, "Alone", 100.0, true);
    add_figure(&pages, "High", 5000.0, false);
    write_pages(&pages);
    assert_true(drawn_area.height > 600.0 && drawn_area.y + drawn_area.height < 790.0);
    char *boxes = boxes_of(&pages);
    struct box left = box_of(boxes, "Left");
    struct box right = box_of(boxes, "Right");
    assert_int_equal(left.page, right.page);
    assert_true(fabs(left.top - right.top) < 0.1 && left.right < 300.0 && right.left > 300.0);
    assert_true(box_of(boxes, "CaptionWhole").top > box_of(boxes, "Whole").top + 280.0);
    assert_int_equal(box_of(boxes, "CaptionHigh").page, box_of(boxes, "High").page);
    assert_true(box_of(boxes, "CaptionAlone").top > box_of(boxes, "CaptionRight").top);
    free(boxes);
    check_nothing_runs_out(&pages);
    char *alternatives = run(&pages, "/usr/bin/python3 -c 'import pikepdf, sys\n"
                                     "d = pikepdf.open(sys.argv[1]).Root.StructTreeRoot.K[0]\n"
                                     "print([str(e.Alt) for e in d.K if e.S == \"/Figure\"])' "
                                     "\"$FILE\"");
    assert_string_equal(alternatives,
                        "['Alternative Whole', 'Alternative Left', 'Alternative Right', "
                        "'Alternative Alone', 'Alternative High']\n");
    free(alternatives);
    arena_free(pages.arena);
}

/* DIN 5008, form B: 20 to 105 mm from the left, 45 to 90 mm from the top. */
static void test_an_address_shows_in_the_window(void **state)
{
    (void)state;
    static const double MM = 72.0 / 25.4;
    struct document_facts facts = FACTS;
    facts.code = NULL;
    struct pages pages = begin(&facts);
    document_words(pages.document, DOCUMENT_ADDRESS,
                   "Recipient\nHouse\nStreet\nVillage\nTown\nPostcode");
    document_words(pages.document, DOCUMENT_PLAIN, "Afterwards");
    write_pages(&pages);
    char *boxes = boxes_of(&pages);
    struct box first = box_of(boxes, "Recipient");
    struct box last = box_of(boxes, "Postcode");
    assert_true(first.left >= 20.0 * MM && first.right <= 105.0 * MM);
    assert_true(first.top >= 45.0 * MM && last.bottom <= 90.0 * MM);
    assert_true(box_of(boxes, "Afterwards").top >= 98.0 * MM);
    free(boxes);
    arena_free(pages.arena);
}

/* ---- the file ---- */

static struct pages new_report(void)
{
    struct pages pages = begin(&FACTS);
    document_heading(pages.document, 1, "The title");
    document_words(pages.document, DOCUMENT_CAUTION, "Nobody has signed this.");
    document_heading(pages.document, 2, "Chapter one");
    document_fact(pages.document, "Name",
                  &(struct document_span){.words = "שלום Somebody", .from_person = true});
    document_item(pages.document, &(struct document_span){.words = "An item", .strong = true}, 1);
    add_figure(&pages, "Figure", 200.0, false);
    document_heading(pages.document, 2, "Chapter two");
    document_heading(pages.document, 3, "Part");
    document_table(pages.document, "Caption", COLUMNS, 3);
    for (int i = 0; i < 60; i++) {
        const struct document_span row[] = {{.words = "A"}, {.words = "1.5"}, {.words = "B"}};
        document_row(pages.document, row);
    }
    add_sentences(&pages, 4, 10);
    write_pages(&pages);
    return pages;
}

static void test_the_file_is_sound_and_tagged(void **state)
{
    (void)state;
    struct pages pages = new_report();
    outside_says(pages.bytes, pages.length, "qpdf --check \"$FILE\"", "No syntax or stream");
    outside_says(
        pages.bytes, pages.length,
        "/usr/bin/python3 -c 'import pikepdf, sys\n"
        "p = pikepdf.open(sys.argv[1])\n"
        "k = [str(e.S)[1:] for e in p.Root.StructTreeRoot.K[0].K]\n"
        "assert k == [\"H1\", \"P\", \"H2\", \"L\", \"L\", \"Figure\", \"H2\", \"H3\", \"Table\"]"
        " + [\"P\"] * (len(k) - 9) and len(k) > 12, k\n"
        "t = p.Root.StructTreeRoot.K[0].K[8]\n"
        "assert [str(e.S)[1:] for e in t.K] == [\"Caption\"] + [\"TR\"] * 61\n"
        "with p.open_outline() as o:\n"
        "    assert [i.title for i in o.root] == [\"The title\"]\n"
        "    assert [i.title for i in o.root[0].children] == [\"Chapter one\", \"Chapter two\"]\n"
        "print(\"well\")' \"$FILE\"",
        "well");
    check_nothing_runs_out(&pages);
    arena_free(pages.arena);
}

static void test_the_same_bytes_each_time(void **state)
{
    (void)state;
    struct pages one = new_report();
    struct pages other = new_report();
    assert_int_equal(one.length, other.length);
    assert_memory_equal(one.bytes, other.bytes, one.length);
    arena_free(one.arena);
    arena_free(other.arena);
}

static int end(void **state)
{
    (void)state;
    canvas_forget_fonts();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_page_has_head_foot_and_mark),
        cmocka_unit_test(test_the_mark_is_below_and_only_where_asked_for),
        cmocka_unit_test(test_the_code_is_read_from_paper),
        cmocka_unit_test(test_an_empty_document),
        cmocka_unit_test(test_page_breaks),
        cmocka_unit_test(test_a_heading_stays_with_what_follows),
        cmocka_unit_test(test_no_line_is_left_alone),
        cmocka_unit_test(test_a_tables_head_is_on_each_of_its_pages),
        cmocka_unit_test(test_a_row_higher_than_a_page_is_whole),
        cmocka_unit_test(test_numbers_are_never_broken),
        cmocka_unit_test(test_nothing_runs_out_however_long),
        cmocka_unit_test(test_everything_over_pages_is_whole),
        cmocka_unit_test(test_facts_stand_in_two_columns_where_they_fit),
        cmocka_unit_test(test_a_folded_table_runs_down_two_columns),
        cmocka_unit_test(test_long_rows_are_not_folded),
        cmocka_unit_test(test_figures_and_their_captions),
        cmocka_unit_test(test_an_address_shows_in_the_window),
        cmocka_unit_test(test_the_file_is_sound_and_tagged),
        cmocka_unit_test(test_the_same_bytes_each_time),
    };
    return cmocka_run_group_tests(tests, NULL, end);
}
