/* A number over visits: points at their dates and heights, in words and drawn. */
#include "drawn.h"
#include "figure/figure_style.h"
#include "support/assert_close.h"
#include "svg_paths.h"

#include <math.h>
#include <string.h>

#define DAY_US (INT64_C(24) * 3600 * 1000000)

static const struct figure_limit limits[] = {{"BOOI above this: obstructed (men)", 40.0}};

static struct figure_trend trend_of(const struct figure_visit *visits, size_t count)
{
    return (struct figure_trend){.label = "Bladder outlet obstruction index (BOOI)",
                                 .unit = "1",
                                 .report_step = 1.0,
                                 .visit_count = count,
                                 .visits = visits,
                                 .limit_count = 1,
                                 .limits = limits};
}

static void points_lie_at_their_dates_and_heights(void **state)
{
    /* 2026-01-01 is day 20454; 0, 30 and 90 days. */
    const struct figure_visit visits[] = {
        {.at_us = 20454 * DAY_US, .value = 60.0, .is_signed = true},
        {.at_us = 20484 * DAY_US, .value = 20.0, .is_signed = true},
        {.at_us = 20544 * DAY_US, .value = 40.0, .is_signed = true},
    };
    struct arena *arena = arena_new();
    const struct figure_trend trend = trend_of(visits, 3);
    const struct drawn drawn = drawn_trend(arena, &trend, 400.0, 250.0, CANVAS_SVG);
    const struct svg_paths paths =
        svg_paths_read(arena, arena_strndup(arena, (const char *)drawn.bytes, drawn.length));
    struct canvas_point at[8];
    struct canvas_rect frame;
    (void)state;
    assert_int_equal(svg_paths_frames(&paths, &frame, 1), 1);
    assert_int_equal(svg_paths_discs(&paths, style_signal_colour(SIGNAL_PVES), at, 8), 3);
    assert_close((at[1].x - at[0].x) / (at[2].x - at[0].x), 30.0 / 90.0, 0.001);
    assert_close((at[1].y - at[0].y) / (at[2].y - at[0].y), 40.0 / 20.0, 0.01);
    /* The scale begins at 0 and ends with a step at or above 60: BOOI 60 is the highest. */
    assert_close((frame.y + frame.height - at[0].y) / (frame.y + frame.height - at[1].y), 3.0,
                 0.01);
    /* The limit of 40 is a line at the height of the third point. */
    size_t found = 0;
    for (size_t i = 0; i < paths.count; i++) {
        const struct svg_path *path = &paths.paths[i];
        if (!path->is_filled && path->count == 2 &&
            svg_path_has_colour(path, style_colour(STYLE_INK)) &&
            fabs(path->points[0].y - at[2].y) < 0.05) {
            found++;
        }
    }
    assert_int_equal(found, 1);
    assert_string_equal(figure_trend_alternative(&trend, arena),
                        "Bladder outlet obstruction index (BOOI) over 3 visits: 2026-01-01 60; "
                        "2026-01-31 20; 2026-04-01 40. BOOI above this: obstructed (men): 40.");
    arena_free(arena);
}

static void what_is_absent_or_doubtful_is_said(void **state)
{
    const struct figure_visit visits[] = {
        {.at_us = 20454 * DAY_US, .value = (double)NAN, .is_signed = true},
        {.at_us = 20484 * DAY_US, .value = 20.0, .doubtful = true},
    };
    struct arena *arena = arena_new();
    struct figure_trend trend = trend_of(visits, 2);
    (void)state;
    assert_string_equal(figure_trend_alternative(&trend, arena),
                        "Preliminary. Bladder outlet obstruction index (BOOI) over 2 visits: "
                        "2026-01-01 none; 2026-01-31 20 (doubtful). BOOI above this: obstructed "
                        "(men): 40.");
    trend.visit_count = 1;
    assert_string_equal(figure_trend_alternative(&trend, arena),
                        "Bladder outlet obstruction index (BOOI): no visit has this number.");
    assert_true(drawn_trend(arena, &trend, 300.0, 200.0, CANVAS_PNG).length > 0);
    trend.visit_count = 0;
    assert_true(drawn_trend(arena, &trend, 300.0, 200.0, CANVAS_PNG).length > 0);
    arena_free(arena);
}

static int forget_fonts(void **state)
{
    (void)state;
    canvas_forget_fonts();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(points_lie_at_their_dates_and_heights),
        cmocka_unit_test(what_is_absent_or_doubtful_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, forget_fonts);
}
