/* Nomograms as they are drawn: the patient's point lies where its numbers say, and zones are named
 * where they are. */
#include "drawn.h"
#include "figure/figure_style.h"
#include "figure/zone_labels.h"
#include "sources.h"
#include "support/assert_close.h"
#include "svg_paths.h"

#include <math.h>
#include <string.h>

/* The charts' ranges as their publications draw them; not read from the code under test. */
struct chart_case {
    const char *code;
    enum patient_sex sex;
    const char *analysis;
    double x;
    double y;
    double from_x, to_x, from_y, to_y;
    const char *class; /* in the figure's words */
};

#define VOIDING(qmax, pdet)                                                                        \
    "\"sections\":{\"voiding\":{\"qmax\":{\"value\":" qmax "},\"pdet_qmax\":{\"value\":" pdet "}}" \
    "}"
#define CLASSES(code, class)                                                                       \
    "\"classifications\":[{\"code\":\"" code "\",\"class\":\"" class "\",\"basis\":{}}]"

static const struct chart_case cases[] = {
    {"ics_obstruction", SEX_MALE,
     "{" VOIDING("8.795", "85.8") "," CLASSES("ics_obstruction", "obstructed") "}", 8.795, 85.8, 0,
     30, 0, 150, "Obstructed"},
    {"composite", SEX_MALE,
     "{" VOIDING("14.25", "61") "," CLASSES("composite", "equivocal_normal") "}", 14.25, 61, 0, 30,
     0, 150, "Equivocal, normal"},
    {"female_obstruction", SEX_FEMALE,
     "{" VOIDING("22.2", "28.5") "," CLASSES("female_obstruction", "unlikely") "}", 22.2, 28.5, 0,
     40, 0, 100, "Unlikely"},
    {"blaivas_groutz", SEX_FEMALE,
     "{\"sections\":{},\"classifications\":[{\"code\":\"blaivas_groutz\",\"class\":\"moderate\","
     "\"basis\":{\"free_qmax\":9,\"pdet_max\":75}}]}",
     9, 75, 0, 50, 0, 150, "Moderate obstruction"},
    /* Expected: exp(0.511 + 0.505 ln 250) = 27.1; ln(21 / 27.1) / 0.340 = -0.75: 23 % lie below. */
    {"liverpool_women", SEX_FEMALE,
     "{\"sections\":{\"uroflow\":{\"qmax\":{\"value\":21},\"voided_volume\":{\"value\":250},"
     "\"qmax_centile\":{\"value\":23}}}}",
     250, 21, 15, 600, 0, 70, "10th to 25th centile"},
};

enum { CASES = sizeof cases / sizeof cases[0], DISCS_MAX = 8 };

static struct figure_source source_of(struct arena *arena, const struct chart_case *chart)
{
    return (struct figure_source){.type = RECORDING_PRESSURE_FLOW,
                                  .duration_s = 100.0,
                                  .analysis = sources_analysis(arena, chart->analysis),
                                  .sex = chart->sex,
                                  .age_years = 57.0};
}

static void the_point_lies_where_its_numbers_say(void **state)
{
    (void)state;
    for (size_t i = 0; i < CASES; i++) {
        const struct chart_case *chart = &cases[i];
        struct arena *arena = arena_new();
        struct canvas_rect frame;
        struct canvas_point discs[DISCS_MAX];
        const struct figure_source source = source_of(arena, chart);
        const struct figure figure = drawn_find(arena, &source, FIGURE_NOMOGRAM, chart->code);
        const struct drawn drawn = drawn_figure(arena, &source, &figure, CANVAS_SVG);
        const struct svg_paths paths =
            svg_paths_read(arena, arena_strndup(arena, (const char *)drawn.bytes, drawn.length));
        assert_int_equal(svg_paths_frames(&paths, &frame, 1), 1);
        /* One in the chart, one in the key below it. */
        assert_int_equal(svg_paths_discs(&paths, style_colour(STYLE_INK), discs, DISCS_MAX), 2);
        const struct canvas_point at = discs[0].y < frame.y + frame.height ? discs[0] : discs[1];
        assert_close(at.x,
                     frame.x +
                         frame.width * (chart->x - chart->from_x) / (chart->to_x - chart->from_x),
                     0.05);
        assert_close(
            at.y, frame.y + frame.height * (chart->to_y - chart->y) / (chart->to_y - chart->from_y),
            0.05);
        assert_non_null(strstr(figure_alternative(&source, &figure, arena),
                               arena_printf(arena, ": %s.", chart->class)));
        arena_free(arena);
    }
}

static void a_point_beyond_the_chart_widens_it(void **state)
{
    struct arena *arena = arena_new();
    const struct chart_case beyond = {
        "ics_obstruction",
        SEX_MALE,
        "{" VOIDING("36", "190") "," CLASSES("ics_obstruction", "obstructed") "}",
        0,
        0,
        0,
        0,
        0,
        0,
        ""};
    const struct figure_source source = source_of(arena, &beyond);
    const struct figure figure = drawn_find(arena, &source, FIGURE_NOMOGRAM, NULL);
    const struct drawn drawn = drawn_figure(arena, &source, &figure, CANVAS_SVG);
    const struct svg_paths paths =
        svg_paths_read(arena, arena_strndup(arena, (const char *)drawn.bytes, drawn.length));
    struct canvas_rect frame;
    struct canvas_point discs[DISCS_MAX];
    (void)state;
    assert_int_equal(svg_paths_frames(&paths, &frame, 1), 1);
    assert_int_equal(svg_paths_discs(&paths, style_colour(STYLE_INK), discs, DISCS_MAX), 2);
    const struct canvas_point at = discs[0].y < discs[1].y ? discs[0] : discs[1];
    assert_close((at.x - frame.x) / frame.width, 1.0 / 1.05, 0.001);
    assert_close((frame.y + frame.height - at.y) / frame.height, 1.0 / 1.05, 0.001);
    arena_free(arena);
}

/* A chart's boundary as its publication states it: BOOI of 40 and 20. */
static void lines_lie_where_the_publication_puts_them(void **state)
{
    struct arena *arena = arena_new();
    const struct figure_source source = source_of(arena, &cases[0]);
    const struct figure figure = drawn_find(arena, &source, FIGURE_NOMOGRAM, NULL);
    const struct drawn drawn = drawn_figure(arena, &source, &figure, CANVAS_SVG);
    const struct svg_paths paths =
        svg_paths_read(arena, arena_strndup(arena, (const char *)drawn.bytes, drawn.length));
    struct canvas_rect frame;
    size_t found = 0;
    (void)state;
    assert_int_equal(svg_paths_frames(&paths, &frame, 1), 1);
    for (size_t i = 0; i < paths.count; i++) {
        const struct svg_path *path = &paths.paths[i];
        if (path->is_filled || path->count != 2 ||
            !svg_path_has_colour(path, style_colour(STYLE_INK))) {
            continue;
        }
        const double level = found == 0 ? 20.0 : 40.0; /* from below */
        for (size_t j = 0; j < 2; j++) {
            const double qmax = 30.0 * (path->points[j].x - frame.x) / frame.width;
            const double pdet = 150.0 * (frame.y + frame.height - path->points[j].y) / frame.height;
            assert_close(pdet - 2.0 * qmax, level, 0.1);
        }
        found++;
    }
    assert_int_equal(found, 2);
    arena_free(arena);
}

static bool overlap(const struct canvas_rect *one, const struct canvas_rect *other)
{
    return one->x < other->x + other->width && other->x < one->x + one->width &&
           one->y < other->y + other->height && other->y < one->y + one->height;
}

static void names_of_zones_stand_in_their_zones(void **state)
{
    static const enum nomogram_code CODES[] = {NOMOGRAM_ICS_OBSTRUCTION, NOMOGRAM_COMPOSITE,
                                               NOMOGRAM_BLAIVAS_GROUTZ};
    struct arena *arena = arena_new();
    struct canvas *canvas = canvas_new(CANVAS_SVG, 500.0, 260.0, 1.0);
    (void)state;
    for (size_t i = 0; i < sizeof CODES / sizeof CODES[0]; i++) {
        struct nomogram_chart chart;
        struct canvas_rect rects[16];
        struct zone_obstacles obstacles = {rects, 0};
        assert_true(nomogram_chart(CODES[i], NULL, 50.0, &chart));
        const struct plot plot = {
            {20.0, 10.0, 460.0, 200.0}, chart.x.from, chart.x.to, chart.y.from, chart.y.to};
        for (size_t zone = 0; zone < chart.zone_count; zone++) {
            const struct zone_label label =
                zone_label_place(canvas, &chart, zone, &plot, &obstacles, arena);
            assert_true(label.has_room);
            for (int corner = 0; corner < 4; corner++) {
                const bool is_right = corner % 2 == 1;
                const bool is_low = corner >= 2;
                const double x_pt = label.rect.x + (is_right ? label.rect.width : 0.0);
                const double y_pt = label.rect.y + (is_low ? label.rect.height : 0.0);
                const double x = plot.from_x + (plot.to_x - plot.from_x) * (x_pt - 20.0) / 460.0;
                const double y = plot.to_y - (plot.to_y - plot.from_y) * (y_pt - 10.0) / 200.0;
                assert_ptr_equal(nomogram_zone(&chart, x, y), &chart.zones[zone]);
            }
            for (size_t j = 0; j < obstacles.count; j++) {
                assert_false(overlap(&label.rect, &rects[j]));
            }
            rects[obstacles.count++] = label.rect;
        }
    }
    canvas_free(canvas);
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
        cmocka_unit_test(the_point_lies_where_its_numbers_say),
        cmocka_unit_test(a_point_beyond_the_chart_widens_it),
        cmocka_unit_test(lines_lie_where_the_publication_puts_them),
        cmocka_unit_test(names_of_zones_stand_in_their_zones),
    };
    return cmocka_run_group_tests(tests, NULL, forget_fonts);
}
