/* Text: its room, its breaks, its order, its fonts. Poppler reads it back from PDFs. */
#include "drawings.h"
#include "support/outside.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static const struct canvas_style STYLE = {.size_pt = 10.0};

static const char LINES[] = "Words enough for some lines of text, of which each is as long as the "
                            "others, more or less, so that all of them are filled.";

static struct canvas_text text_of(const struct canvas_run *run, double width_pt)
{
    return (struct canvas_text){.runs = run, .run_count = 1, .style = STYLE, .width_pt = width_pt};
}

static void assert_near(double value, double expected, double within)
{
    if (!(fabs(value - expected) <= within)) {
        fail_msg("%f is not %f", value, expected);
    }
}

static struct canvas_size size_in(enum canvas_form form, const struct canvas_text *text)
{
    struct canvas *canvas = canvas_new(form, DRAWING_WIDTH, DRAWING_HEIGHT, 2.0);
    struct canvas_size size = canvas_text_size(canvas, text);
    canvas_free(canvas);
    return size;
}

static void test_text_takes_the_same_room_in_every_form(void **state)
{
    (void)state;
    const struct canvas_run runs[] = {
        {.words = LINES},
        {.words = " Strong ", .bold = true},
        {.words = "slanted, 12.5 cmH₂O, αβγ, Ж, שלום", .italic = true}};
    for (int width = 0; width <= 200; width += 50) {
        struct canvas_text text = {
            .runs = runs, .run_count = 3, .style = STYLE, .width_pt = (double)width};
        struct canvas_size svg = size_in(CANVAS_SVG, &text);
        struct canvas_size pdf = size_in(CANVAS_PDF, &text);
        struct canvas_size png = size_in(CANVAS_PNG, &text);
        assert_memory_equal(&svg, &pdf, sizeof svg);
        assert_memory_equal(&svg, &png, sizeof svg);
        assert_true(width == 0 || svg.width <= width);
        assert_true(svg.baseline > 5.0 && svg.baseline < svg.height);
    }
}

static void test_figures_are_of_one_width(void **state)
{
    (void)state;
    struct canvas_run ones = {.words = "1111"};
    struct canvas_run eights = {.words = "8080"};
    struct canvas_text narrow = text_of(&ones, 0.0);
    struct canvas_text wide = text_of(&eights, 0.0);
    assert_near(size_in(CANVAS_SVG, &narrow).width, size_in(CANVAS_SVG, &wide).width, 0.001);
}

static void test_leading_and_size(void **state)
{
    (void)state;
    struct canvas_run run = {.words = LINES};
    struct canvas_text text = text_of(&run, 150.0);
    struct canvas_size plain = size_in(CANVAS_SVG, &text);
    struct canvas_text one = text_of(&run, 0.0);
    double line = size_in(CANVAS_SVG, &one).height;
    text.leading = 1.5; // from the second line on
    assert_near((size_in(CANVAS_SVG, &text).height - line) / (plain.height - line), 1.5, 0.01);
    text = text_of(&run, 0.0);
    double width = size_in(CANVAS_SVG, &text).width;
    text.style.size_pt = 20.0;
    assert_near(size_in(CANVAS_SVG, &text).width, 2.0 * width, 0.5);
}

static void test_a_long_word_stays_within_its_width(void **state)
{
    (void)state;
    char word[301];
    memset(word, 'W', sizeof word - 1);
    word[sizeof word - 1] = '\0';
    struct canvas_run run = {.words = word, .from_person = true};
    struct canvas_text text = text_of(&run, 100.0);
    struct canvas_size all = size_in(CANVAS_PDF, &text);
    assert_true(all.width <= 100.0);
    assert_true(all.height > 300.0);
    text.lines_most = 2;
    struct canvas_size two = size_in(CANVAS_PDF, &text);
    text.lines_most = 1;
    struct canvas_size one = size_in(CANVAS_PDF, &text);
    assert_true(two.width <= 100.0 && one.width <= 100.0);
    assert_near(two.height, 2.0 * one.height, 0.01);
}

static void steps_cut_lines(struct canvas *canvas)
{
    struct canvas_run run = {.words = "first\nsecond\nthird, and more than a line has room for"};
    struct canvas_text text = text_of(&run, 100.0);
    text.lines_most = 2;
    (void)canvas_draw_text(canvas, (struct canvas_point){10, 10}, &text);
    text.lines_most = 1;
    (void)canvas_draw_text(canvas, (struct canvas_point){10, 100}, &text);
}

static void test_what_does_not_fit_ends_in_an_ellipsis(void **state)
{
    (void)state;
    struct drawing pdf = drawing_make(CANVAS_PDF, steps_cut_lines);
    char *words = outside_run(pdf.bytes, pdf.length, "pdftotext -layout \"$FILE\" -");
    assert_non_null(strstr(words, "first\n"));
    assert_non_null(strstr(words, "second third, and …\n"));
    assert_non_null(strstr(words, "first second third, a…\n"));
    free(words);
    drawing_free(&pdf);
}

/* ---- parts ---- */

static void test_lines_in_parts_are_all_lines(void **state)
{
    (void)state;
    struct canvas *canvas = canvas_new(CANVAS_PDF, DRAWING_WIDTH, DRAWING_HEIGHT, 1.0);
    struct canvas_run run = {.words = LINES};
    struct canvas_text text = text_of(&run, 80.0);
    double whole = canvas_text_size(canvas, &text).height;
    size_t next = 0;
    double taken = 0.0;
    assert_false(canvas_draw_lines(canvas, (struct canvas_point){0, 0}, &text, 0, (double)INFINITY,
                                   true, &next, &taken));
    size_t count = next;
    assert_true(count > 6);
    assert_near(taken, whole, 0.01);
    double line = whole / (double)count;
    assert_true(canvas_draw_lines(canvas, (struct canvas_point){0, 0}, &text, 0, 2.5 * line, true,
                                  &next, &taken));
    assert_int_equal(next, 2);
    assert_near(taken, 2.0 * line, 0.01);
    assert_true(
        canvas_draw_lines(canvas, (struct canvas_point){0, 0}, &text, 2, 0.0, true, &next, &taken));
    assert_int_equal(next, 3); // at least one
    assert_false(canvas_draw_lines(canvas, (struct canvas_point){0, 0}, &text, 3, whole, true,
                                   &next, &taken));
    assert_int_equal(next, count);
    assert_near(taken, whole - 3.0 * line, 0.01);
    assert_false(canvas_draw_lines(canvas, (struct canvas_point){0, 0}, &text, count, whole, true,
                                   &next, &taken));
    assert_near(taken, 0.0, 0.0);
    canvas_free(canvas);
}

static void steps_whole(struct canvas *canvas)
{
    struct canvas_run run = {.words = LINES};
    struct canvas_text text = text_of(&run, 80.0);
    (void)canvas_draw_text(canvas, (struct canvas_point){20, 10}, &text);
}

static void steps_parts(struct canvas *canvas)
{
    struct canvas_run run = {.words = LINES};
    struct canvas_text text = text_of(&run, 80.0);
    double y = 10.0;
    size_t next = 0;
    bool is_left = true;
    while (is_left) {
        double taken = 0.0;
        is_left = canvas_draw_lines(canvas, (struct canvas_point){20, y}, &text, next, 45.0, false,
                                    &next, &taken);
        y += taken;
    }
}

static void test_parts_look_like_the_whole(void **state)
{
    (void)state;
    struct drawing whole = drawing_make(CANVAS_PNG, steps_whole);
    struct drawing parts = drawing_make(CANVAS_PNG, steps_parts);
    assert_int_equal(whole.length, parts.length);
    assert_memory_equal(whole.bytes, parts.bytes, whole.length);
    drawing_free(&whole);
    drawing_free(&parts);
}

/* ---- place ---- */

static enum canvas_align align_to_draw;
static double angle_to_draw;

static void steps_label(struct canvas *canvas)
{
    (void)canvas_label(canvas, (struct canvas_point){150, 100}, "Label of words", &STYLE,
                       align_to_draw, angle_to_draw);
}

static struct canvas_rect ink_of_label(enum canvas_align align, double angle)
{
    align_to_draw = align;
    angle_to_draw = angle;
    struct drawing png = drawing_make(CANVAS_PNG, steps_label);
    struct canvas_rect ink = drawing_ink(&png);
    drawing_free(&png);
    return ink;
}

static void test_labels_hang_on_their_point(void **state)
{
    (void)state;
    struct canvas_rect start = ink_of_label(CANVAS_START, 0.0);
    struct canvas_rect centre = ink_of_label(CANVAS_CENTRE, 0.0);
    struct canvas_rect end = ink_of_label(CANVAS_END, 0.0);
    assert_near(start.x, 150.0, 2.0);
    assert_near(centre.x + centre.width / 2.0, 150.0, 1.0);
    assert_near(end.x + end.width, 150.0, 2.0);
    assert_true(start.y > 100.0 && start.width > 4.0 * start.height);
}

static void test_labels_turn_counter_clockwise(void **state)
{
    (void)state;
    struct canvas_rect up = ink_of_label(CANVAS_START, 90.0);
    assert_true(up.height > 4.0 * up.width);
    assert_near(up.y + up.height, 100.0, 2.0); // it began at the point and went up
    assert_true(up.x > 150.0);
    struct canvas_rect down = ink_of_label(CANVAS_START, -90.0);
    assert_near(down.y, 100.0, 2.0);
    assert_true(down.x + down.width < 150.0);
}

static void steps_alignments(struct canvas *canvas)
{
    struct canvas_run run = {.words = "x"};
    struct canvas_text text = text_of(&run, 100.0);
    text.align = CANVAS_END;
    (void)canvas_draw_text(canvas, (struct canvas_point){100, 50}, &text);
}

static void test_text_with_a_width_is_aligned_within_it(void **state)
{
    (void)state;
    struct drawing png = drawing_make(CANVAS_PNG, steps_alignments);
    struct canvas_rect ink = drawing_ink(&png);
    assert_near(ink.x + ink.width, 200.0, 1.0);
    drawing_free(&png);
}

/* ---- what people type ---- */

static double left_of(const char *boxes, const char *word)
{
    char end[64];
    (void)snprintf(end, sizeof end, ">%s</word>", word);
    const char *found = strstr(boxes, end);
    if (found == NULL) {
        fail_msg("%s is not in\n%s", word, boxes);
        return 0.0;
    }
    while (strncmp(found, "xMin=\"", 6) != 0) {
        found--;
    }
    return strtod(found + 6, NULL);
}

static void steps_hebrew(struct canvas *canvas)
{
    const struct canvas_run runs[] = {{.words = "Name: "},
                                      {.words = "שלום", .from_person = true},
                                      {.words = " 1960 "},
                                      {.words = "אב", .from_person = true},
                                      {.words = "."}};
    struct canvas_text text = {.runs = runs, .run_count = 5, .style = STYLE};
    (void)canvas_draw_text(canvas, (struct canvas_point){10, 10}, &text);
}

static void test_a_persons_words_do_not_reorder_what_stands_around_them(void **state)
{
    (void)state;
    struct drawing pdf = drawing_make(CANVAS_PDF, steps_hebrew);
    char *boxes = outside_run(pdf.bytes, pdf.length, "pdftotext -bbox \"$FILE\" -");
    assert_true(left_of(boxes, "Name:") < left_of(boxes, "1960"));
    free(boxes);
    char *words = outside_run(pdf.bytes, pdf.length, "pdftotext \"$FILE\" -");
    assert_non_null(strstr(words, "שלום"));
    assert_null(strstr(words, "\u2068"));
    assert_null(strstr(words, "\u2069"));
    free(words);
    drawing_free(&pdf);
}

static void steps_hostile(struct canvas *canvas)
{
    const struct canvas_run runs[] = {
        {.words = "A \u202Egnirts\u2069\u2066 B\x01\x1b[31m C\tD \xff\xc3 E", .from_person = true},
        {.words = " after\u200Bwards"}};
    struct canvas_text text = {.runs = runs, .run_count = 2, .style = STYLE};
    (void)canvas_draw_text(canvas, (struct canvas_point){10, 10}, &text);
}

static void test_nothing_typed_turns_words_around_or_breaks_them(void **state)
{
    (void)state;
    struct drawing pdf = drawing_make(CANVAS_PDF, steps_hostile);
    char *words = outside_run(pdf.bytes, pdf.length, "pdftotext -raw \"$FILE\" -");
    assert_non_null(strstr(words, "A gnirts B"));
    assert_non_null(strstr(words, "[31m C D \uFFFD\uFFFD E after"));
    assert_null(strstr(words, "\x1b"));
    assert_null(strstr(words, "\u202E"));
    free(words);
    drawing_free(&pdf);
}

static void steps_paragraph(struct canvas *canvas)
{
    struct canvas_run run = {.words = LINES};
    struct canvas_text text = text_of(&run, 90.0);
    canvas_tag_begin(canvas, CANVAS_TAG_P, NULL);
    (void)canvas_draw_text(canvas, (struct canvas_point){10, 10}, &text);
    canvas_tag_end(canvas, CANVAS_TAG_P);
}

static void test_lines_do_not_run_into_each_other_for_a_reader(void **state)
{
    (void)state;
    struct drawing pdf = drawing_make(CANVAS_PDF, steps_paragraph);
    outside_says(pdf.bytes, pdf.length, "pdfinfo -struct-text \"$FILE\"", LINES);
    drawing_free(&pdf);
}

static void steps_empty(struct canvas *canvas)
{
    struct canvas_run run = {.words = "", .from_person = true};
    struct canvas_text text = text_of(&run, 50.0);
    struct canvas_size size = canvas_draw_text(canvas, (struct canvas_point){10, 10}, &text);
    assert_near(size.width, 0.0, 0.0);
    assert_true(size.height > 5.0);
    text.run_count = 0;
    assert_near(canvas_text_size(canvas, &text).width, 0.0, 0.0);
}

static void test_no_words(void **state)
{
    (void)state;
    struct drawing svg = drawing_make(CANVAS_SVG, steps_empty);
    drawing_lacks(&svg, "<use");
    drawing_free(&svg);
}

static void test_svg_needs_no_fonts(void **state)
{
    (void)state;
    struct drawing svg = drawing_make(CANVAS_SVG, steps_paragraph);
    drawing_lacks(&svg, "<text");
    drawing_lacks(&svg, "font-family");
    drawing_holds(&svg, "<symbol");
    drawing_free(&svg);
    drawing_check_repeats(CANVAS_SVG, steps_paragraph);
}

/* ---- fonts ---- */

static void test_the_fonts_are_here(void **state)
{
    (void)state;
    struct error error = {0};
    assert_true(canvas_check_fonts(&error));
}

static void test_missing_fonts_are_said(void **state)
{
    (void)state;
    static const char configuration[] =
        "<?xml version=\"1.0\"?><!DOCTYPE fontconfig SYSTEM \"fonts.dtd\">"
        "<fontconfig><dir>/usr/share/fonts/truetype/dejavu</dir></fontconfig>";
    char command[300];
    (void)snprintf(command, sizeof command,
                   "FONTCONFIG_FILE=\"$FILE\" XDG_CACHE_HOME=/nowhere /proc/%d/exe without-fonts",
                   (int)getpid());
    char *words = outside_run(configuration, strlen(configuration), command);
    assert_string_equal(words, "drawing: the font Noto Sans Regular is not installed "
                               "(Debian: fonts-noto-core)\n");
    free(words);
}

/* What the test above runs: a drawing without fonts fails as a whole. */
static int run_without_fonts(void)
{
    struct arena *arena = arena_new();
    struct error error = {0};
    const unsigned char *bytes = NULL;
    size_t length = 0;
    struct canvas *canvas = canvas_new(CANVAS_PDF, DRAWING_WIDTH, DRAWING_HEIGHT, 1.0);
    steps_paragraph(canvas);
    steps_whole(canvas);
    steps_parts(canvas);
    steps_label(canvas);
    bool good = canvas_finish(canvas, arena, &bytes, &length, &error);
    canvas_free(canvas);
    arena_free(arena);
    canvas_forget_fonts();
    puts(error.detail);
    return good ? 1 : 0;
}

int main(int count, char **arguments)
{
    if (count == 2 && strcmp(arguments[1], "without-fonts") == 0) {
        return run_without_fonts();
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_text_takes_the_same_room_in_every_form),
        cmocka_unit_test(test_figures_are_of_one_width),
        cmocka_unit_test(test_leading_and_size),
        cmocka_unit_test(test_a_long_word_stays_within_its_width),
        cmocka_unit_test(test_what_does_not_fit_ends_in_an_ellipsis),
        cmocka_unit_test(test_lines_in_parts_are_all_lines),
        cmocka_unit_test(test_parts_look_like_the_whole),
        cmocka_unit_test(test_labels_hang_on_their_point),
        cmocka_unit_test(test_labels_turn_counter_clockwise),
        cmocka_unit_test(test_text_with_a_width_is_aligned_within_it),
        cmocka_unit_test(test_a_persons_words_do_not_reorder_what_stands_around_them),
        cmocka_unit_test(test_nothing_typed_turns_words_around_or_breaks_them),
        cmocka_unit_test(test_lines_do_not_run_into_each_other_for_a_reader),
        cmocka_unit_test(test_no_words),
        cmocka_unit_test(test_svg_needs_no_fonts),
        cmocka_unit_test(test_the_fonts_are_here),
        cmocka_unit_test(test_missing_fonts_are_said),
    };
    return cmocka_run_group_tests(tests, NULL, drawing_end);
}
