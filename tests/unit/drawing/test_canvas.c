/* Lines, areas, markers and clips: where they are in an SVG's paths and in a PNG's dots. */
#include "drawings.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static const struct canvas_pen THIN = {.width_pt = 1.0};

static struct canvas_point at(double x, double y)
{
    return (struct canvas_point){x, y};
}

static void steps_line(struct canvas *canvas)
{
    canvas_line(canvas, at(10.0, 20.0), at(110.5, 70.25), &THIN);
}

static void test_points_are_where_they_were_put(void **state)
{
    (void)state;
    struct drawing svg = drawing_make(CANVAS_SVG, steps_line);
    drawing_holds(&svg, "width=\"300pt\" height=\"200pt\" viewBox=\"0 0 300 200\"");
    drawing_holds(&svg, "d=\"M 10 20 L 110.5 70.25 \"");
    drawing_free(&svg);
    struct drawing png = drawing_make(CANVAS_PNG, steps_line);
    assert_true(drawing_darkness(&png, 60.0, 45.0) > 150);
    assert_int_equal(drawing_darkness(&png, 60.0, 48.0), 0);
    drawing_free(&png);
}

static void steps_gap(struct canvas *canvas)
{
    const struct canvas_point points[] = {
        at(10, 50),  at(50, 50),  at((double)NAN, 50), at(90, 50), at(100, (double)INFINITY),
        at(130, 50), at(170, 50), at(200, (double)NAN)};
    const struct canvas_pen pen = {.width_pt = 4.0};
    canvas_polyline(canvas, points, 8, &pen);
}

static void test_what_is_missing_is_not_drawn(void **state)
{
    (void)state;
    struct drawing png = drawing_make(CANVAS_PNG, steps_gap);
    assert_true(drawing_darkness(&png, 30, 50) > 200);
    assert_int_equal(drawing_darkness(&png, 70, 50), 0);
    assert_true(drawing_darkness(&png, 90, 50) > 200); // alone: a dot
    assert_int_equal(drawing_darkness(&png, 87, 50), 0);
    assert_int_equal(drawing_darkness(&png, 110, 50), 0);
    assert_true(drawing_darkness(&png, 150, 50) > 200);
    assert_int_equal(drawing_darkness(&png, 185, 50), 0);
    drawing_free(&png);
    struct drawing svg = drawing_make(CANVAS_SVG, steps_gap);
    drawing_holds(&svg, "M 10 50 L 50 50 M 130 50 L 170 50");
    drawing_lacks(&svg, "nan");
    drawing_lacks(&svg, "inf");
    drawing_free(&svg);
}

static void steps_nothing(struct canvas *canvas)
{
    const struct canvas_point points[] = {at((double)NAN, (double)NAN), at((double)NAN, 1.0)};
    canvas_polyline(canvas, points, 2, &THIN);
    canvas_polyline(canvas, points, 0, &THIN);
    canvas_fill_polygon(canvas, points, 2, drawing_black);
    canvas_marker(canvas, CANVAS_MARKER_DISC, at((double)NAN, 5.0), 5.0, drawing_black);
}

static void test_nothing_but_missing_points(void **state)
{
    (void)state;
    struct drawing svg = drawing_make(CANVAS_SVG, steps_nothing);
    drawing_lacks(&svg, "<path");
    drawing_free(&svg);
}

static void steps_areas(struct canvas *canvas)
{
    const struct canvas_point triangle[] = {at(100, 10), at(140, 50), at(60, 50)};
    canvas_fill_polygon(canvas, triangle, 3, (struct canvas_colour){1.0, 0.0, 0.0});
    canvas_fill_rect(canvas, (struct canvas_rect){10, 100, 40, 30}, drawing_black);
    const struct canvas_pen pen = {.width_pt = 2.0, .dash_pt = 4.0};
    canvas_stroke_rect(canvas, (struct canvas_rect){100, 100, 60, 40}, &pen);
}

static void test_areas(void **state)
{
    (void)state;
    struct drawing svg = drawing_make(CANVAS_SVG, steps_areas);
    drawing_holds(&svg, "d=\"M 100 10 L 140 50 L 60 50 Z");
    drawing_holds(&svg, "fill:rgb(100%,0%,0%)");
    drawing_holds(&svg, "d=\"M 10 100 L 50 100 L 50 130 L 10 130 Z");
    drawing_holds(&svg, "stroke-dasharray:4");
    drawing_free(&svg);
    struct drawing png = drawing_make(CANVAS_PNG, steps_areas);
    assert_int_equal(drawing_darkness(&png, 30, 115), 255);
    assert_int_equal(drawing_darkness(&png, 9, 115), 0);
    assert_int_equal(drawing_darkness(&png, 100, 40), 170); // red
    assert_int_equal(drawing_darkness(&png, 130, 120), 0);  // within the frame
    drawing_free(&png);
}

static void steps_clips(struct canvas *canvas)
{
    canvas_clip_begin(canvas, (struct canvas_rect){0, 0, 100, 200});
    canvas_clip_begin(canvas, (struct canvas_rect){50, 50, 200, 50});
    canvas_fill_rect(canvas, (struct canvas_rect){0, 0, 300, 200}, drawing_black);
    canvas_clip_end(canvas);
    canvas_fill_rect(canvas, (struct canvas_rect){80, 150, 100, 10}, drawing_black);
    canvas_clip_end(canvas);
    canvas_fill_rect(canvas, (struct canvas_rect){200, 10, 10, 10}, drawing_black);
}

static void test_clips_nest_and_end(void **state)
{
    (void)state;
    struct drawing png = drawing_make(CANVAS_PNG, steps_clips);
    assert_int_equal(drawing_darkness(&png, 75, 75), 255);
    assert_int_equal(drawing_darkness(&png, 120, 75), 0);
    assert_int_equal(drawing_darkness(&png, 25, 75), 0);
    assert_int_equal(drawing_darkness(&png, 90, 155), 255);
    assert_int_equal(drawing_darkness(&png, 120, 155), 0);
    assert_int_equal(drawing_darkness(&png, 205, 15), 255);
    drawing_free(&png);
}

static enum canvas_marker marker_to_draw;

static void steps_marker(struct canvas *canvas)
{
    canvas_marker(canvas, marker_to_draw, at(100.0, 100.0), 40.0, drawing_black);
}

static void test_markers_are_in_place_and_differ(void **state)
{
    (void)state;
    struct drawing drawings[CANVAS_MARKER_CROSS + 1];
    for (int i = 0; i <= CANVAS_MARKER_CROSS; i++) {
        marker_to_draw = (enum canvas_marker)i;
        drawings[i] = drawing_make(CANVAS_PNG, steps_marker);
        struct canvas_rect ink = drawing_ink(&drawings[i]);
        assert_true(ink.x >= 79.0 && ink.y >= 79.0);
        assert_true(ink.x + ink.width <= 121.0 && ink.y + ink.height <= 121.0);
        assert_true(ink.width > 30.0 && ink.height > 30.0);
        for (int other = 0; other < i; other++) {
            assert_false(drawings[i].length == drawings[other].length &&
                         memcmp(drawings[i].bytes, drawings[other].bytes, drawings[i].length) == 0);
        }
    }
    assert_int_equal(drawing_darkness(&drawings[CANVAS_MARKER_RING], 100, 100), 0);
    assert_int_equal(drawing_darkness(&drawings[CANVAS_MARKER_DISC], 100, 100), 255);
    for (int i = 0; i <= CANVAS_MARKER_CROSS; i++) {
        drawing_free(&drawings[i]);
    }
}

static void steps_everything(struct canvas *canvas)
{
    steps_gap(canvas);
    steps_areas(canvas);
    steps_clips(canvas);
    steps_marker(canvas);
    const struct canvas_style style = {.size_pt = 10.0};
    (void)canvas_label(canvas, at(20, 20), "Some words, 123", &style, CANVAS_START, 30.0);
}

static void test_the_same_bytes_each_time(void **state)
{
    (void)state;
    drawing_check_repeats(CANVAS_SVG, steps_everything);
    drawing_check_repeats(CANVAS_PNG, steps_everything);
}

static void test_failure_is_told_at_the_end(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct error error = {0};
    const unsigned char *bytes = NULL;
    size_t length = 0;
    struct canvas *canvas = canvas_new(CANVAS_PNG, 1e6, 1e6, 1.0);
    steps_everything(canvas);
    assert_false(canvas_finish(canvas, arena, &bytes, &length, &error));
    assert_int_equal(error.kind, ERROR_INTERNAL);
    assert_non_null(strstr(error.detail, "drawing: "));
    canvas_free(canvas);
    arena_free(arena);
}

static void test_a_canvas_that_is_never_finished(void **state)
{
    (void)state;
    for (int form = CANVAS_PDF; form <= CANVAS_PNG; form++) {
        struct canvas *canvas = canvas_new((enum canvas_form)form, 100.0, 100.0, 1.0);
        steps_everything(canvas);
        canvas_free(canvas);
    }
    canvas_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_points_are_where_they_were_put),
        cmocka_unit_test(test_what_is_missing_is_not_drawn),
        cmocka_unit_test(test_nothing_but_missing_points),
        cmocka_unit_test(test_areas),
        cmocka_unit_test(test_clips_nest_and_end),
        cmocka_unit_test(test_markers_are_in_place_and_differ),
        cmocka_unit_test(test_the_same_bytes_each_time),
        cmocka_unit_test(test_failure_is_told_at_the_end),
        cmocka_unit_test(test_a_canvas_that_is_never_finished),
    };
    return cmocka_run_group_tests(tests, NULL, drawing_end);
}
