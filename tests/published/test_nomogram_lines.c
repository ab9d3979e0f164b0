/* The nomograms as they are drawn and as they classify: points 0.1 % to both sides of every line
 * lie in different zones, and the drawn lines are the published ones.
 *
 * ICS: Griffiths D et al. Neurourol Urodyn 1997;16:1-18, lines pdet = 2 Q + 20 and + 40. Composite:
 * Abrams P. BJU Int 1999;84:14-15, with pdet + 5 Q = 100 and 150. Solomon E et al. Neurourol Urodyn
 * 2018;37:368-378: pdet = 2.2 Q + 0, 5 and 18. Blaivas JG, Groutz A. Neurourol Urodyn
 * 2000;19:553-564: Q + 7, 57 and 107, from memory. Haylen BT et al. Br J Urol 1989;64:30-38:
 * coefficients from memory. */
#include "support/assert_close.h"

#include "analysis/nomogram/nomogram.h"
#include "analysis/nomogram/nomogram_chart.h"

#include <math.h>
#include <string.h>

static void open_chart(enum nomogram_code code, const struct analysis_choices *choices,
                       struct nomogram_chart *chart)
{
    assert_true(nomogram_chart(code, choices, 50.0, chart));
}

/* Walks along a line and looks to both sides of it. */
static void check_line(const struct nomogram_chart *chart, const struct nomogram_line *line)
{
    double points[64][2];
    const size_t count = nomogram_line_points(chart, line, points, 64);
    size_t checked = 0;

    assert_true(count >= 2);
    for (size_t i = 0; i < 50; i++) {
        const double x =
            points[0][0] + (points[count - 1][0] - points[0][0]) * ((double)i + 0.5) / 50.0;
        const double y = nomogram_line_y(chart, line, x);
        const size_t above = nomogram_band(chart, line->family, x, 1.001 * y);
        const size_t below = nomogram_band(chart, line->family, x, 0.999 * y);
        const size_t on = nomogram_band(chart, line->family, x, y);

        assert_true(y >= chart->y.from - 1e-9 && y <= chart->y.to + 1e-9);
        assert_int_equal(above, below + 1);
        assert_int_equal(on, line->above_owns ? above : below);
        assert_string_not_equal(nomogram_zone(chart, x, 1.001 * y)->code,
                                nomogram_zone(chart, x, 0.999 * y)->code);
        checked++;
    }
    assert_int_equal(checked, 50);
}

static void test_both_sides_of_every_line(void **state)
{
    size_t lines = 0;

    (void)state;
    for (int code = 0; code < NOMOGRAM_COUNT; code++) {
        struct nomogram_chart chart;

        open_chart((enum nomogram_code)code, NULL, &chart);
        assert_true(chart.line_count > 0 && chart.line_count <= NOMOGRAM_LINES_MAX);
        for (size_t i = 0; i < chart.line_count; i++) {
            check_line(&chart, &chart.lines[i]);
            lines++;
        }
    }
    assert_int_equal(lines, 2 + 4 + 3 + 3 + 7 + 7);
}

/* y of every straight line at two places, as published. */
static void test_straight_lines(void **state)
{
    static const struct {
        enum nomogram_code code;
        const char *line;
        double at_0;
        double at_10;
    } rows[] = {{NOMOGRAM_ICS_OBSTRUCTION, "obstruction_low", 20.0, 40.0},
                {NOMOGRAM_ICS_OBSTRUCTION, "obstruction_high", 40.0, 60.0},
                {NOMOGRAM_COMPOSITE, "obstruction_low", 20.0, 40.0},
                {NOMOGRAM_COMPOSITE, "obstruction_high", 40.0, 60.0},
                {NOMOGRAM_COMPOSITE, "contractility_low", 100.0, 50.0},
                {NOMOGRAM_COMPOSITE, "contractility_high", 150.0, 100.0},
                {NOMOGRAM_FEMALE_OBSTRUCTION, "female_obstruction_unlikely", 0.0, 22.0},
                {NOMOGRAM_FEMALE_OBSTRUCTION, "female_obstruction_likely", 5.0, 27.0},
                {NOMOGRAM_FEMALE_OBSTRUCTION, "female_obstruction_certain", 18.0, 40.0},
                {NOMOGRAM_BLAIVAS_GROUTZ, "blaivas_groutz_mild", 7.0, 17.0},
                {NOMOGRAM_BLAIVAS_GROUTZ, "blaivas_groutz_moderate", 57.0, 57.0},
                {NOMOGRAM_BLAIVAS_GROUTZ, "blaivas_groutz_severe", 107.0, 107.0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct nomogram_chart chart;
        size_t found = 0;

        open_chart(rows[i].code, NULL, &chart);
        for (size_t k = 0; k < chart.line_count; k++) {
            if (strcmp(chart.lines[k].code, rows[i].line) == 0) {
                assert_close(nomogram_line_y(&chart, &chart.lines[k], 0.0), rows[i].at_0, 1e-9);
                assert_close(nomogram_line_y(&chart, &chart.lines[k], 10.0), rows[i].at_10, 1e-9);
                found++;
            }
        }
        assert_int_equal(found, 1);
    }
}

/* A line's points lie on it, and within the chart: the lines of the composite leave it on the right
 * and at the top. */
static void test_drawn_ends(void **state)
{
    static const struct {
        size_t line;
        double from[2];
        double to[2];
    } rows[] = {{0, {0.0, 20.0}, {30.0, 80.0}},
                {1, {0.0, 40.0}, {30.0, 100.0}},
                {2, {0.0, 100.0}, {20.0, 0.0}},
                {3, {0.0, 150.0}, {30.0, 0.0}}};
    struct nomogram_chart chart;
    double points[2][2];

    (void)state;
    open_chart(NOMOGRAM_COMPOSITE, NULL, &chart);
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(nomogram_line_points(&chart, &chart.lines[rows[i].line], points, 2), 2);
        assert_close(points[0][0], rows[i].from[0], 1e-9);
        assert_close(points[0][1], rows[i].from[1], 1e-9);
        assert_close(points[1][0], rows[i].to[0], 1e-9);
        assert_close(points[1][1], rows[i].to[1], 1e-9);
    }
    assert_int_equal(nomogram_line_points(&chart, &chart.lines[0], points, 1), 0);
}

/* Tabulated centiles of the reference: women, and men of 50 years, at 300 mL; men of 30 and 70. */
static void test_centile_lines(void **state)
{
    static const double women[] = {16.98, 19.21, 23.62, 29.71, 37.37, 45.93, 51.97};
    static const double men[] = {12.90, 14.87, 18.47, 22.92, 27.86, 32.71, 35.80};
    static const double centiles[] = {5.0, 10.0, 25.0, 50.0, 75.0, 90.0, 95.0};
    struct nomogram_chart chart;

    (void)state;
    for (size_t i = 0; i < 7; i++) {
        open_chart(NOMOGRAM_LIVERPOOL_WOMEN, NULL, &chart);
        assert_close(nomogram_line_y(&chart, &chart.lines[i], 300.0), women[i], 0.006);
        assert_close(chart.lines[i].centile, centiles[i], 0.0);
        open_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, &chart);
        assert_close(nomogram_line_y(&chart, &chart.lines[i], 300.0), men[i], 0.006);
        assert_close(chart.lines[i].centile, centiles[i], 0.0);
    }
    assert_true(nomogram_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, 30.0, &chart));
    assert_close(nomogram_line_y(&chart, &chart.lines[3], 300.0), 25.68, 0.006);
    assert_true(nomogram_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, 70.0, &chart));
    assert_close(nomogram_line_y(&chart, &chart.lines[3], 300.0), 20.32, 0.006);
    assert_false(nomogram_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, 17.0, &chart));
    assert_true(nomogram_chart(NOMOGRAM_LIVERPOOL_MEN, NULL, 18.0, &chart));
    assert_false(nomogram_chart(NOMOGRAM_COUNT, NULL, 50.0, &chart));
}

/* A flow on a drawn centile has that centile as its number. */
static void test_lines_and_numbers_agree(void **state)
{
    (void)state;
    for (int sex = SEX_FEMALE; sex <= SEX_MALE; sex++) {
        struct nomogram_chart chart;

        open_chart(sex == SEX_FEMALE ? NOMOGRAM_LIVERPOOL_WOMEN : NOMOGRAM_LIVERPOOL_MEN, NULL,
                   &chart);
        for (size_t i = 0; i < chart.line_count; i++) {
            for (int step = 1; step <= 6; step++) {
                const double volume = 100.0 * step;
                const double flow = nomogram_line_y(&chart, &chart.lines[i], volume);

                assert_close(
                    nomogram_liverpool((enum patient_sex)sex, 50.0, volume, fmin(flow, 70.0))
                        .centile,
                    flow <= 70.0
                        ? chart.lines[i].centile
                        : nomogram_liverpool((enum patient_sex)sex, 50.0, volume, 70.0).centile,
                    1e-6);
            }
        }
    }
    /* No flow is expected of the oldest at the smallest volumes. */
    assert_true(isnan(nomogram_liverpool_qmax(SEX_MALE, 125.0, 15.0, -2.0)));
    assert_true(isnan(nomogram_liverpool_qmax(SEX_FEMALE, 50.0, 0.0, 0.0)));
    assert_true(isnan(nomogram_liverpool_qmax(SEX_OTHER, 50.0, 300.0, 0.0)));
}

/* A clinic's limits move lines and classes alike. */
static void test_limits_of_the_clinic(void **state)
{
    struct analysis_choices choices;
    struct nomogram_chart chart;

    (void)state;
    choices_standard(&choices);
    choices.obstruction_high.value = 45.0;
    open_chart(NOMOGRAM_ICS_OBSTRUCTION, &choices, &chart);
    assert_close(nomogram_line_y(&chart, &chart.lines[1], 10.0), 65.0, 1e-9);
    assert_string_equal(nomogram_zone(&chart, 10.0, 64.9)->code, "equivocal");
    assert_string_equal(nomogram_zone(&chart, 10.0, 65.1)->code, "obstructed");
    /* One that the clinic left open is at its default. */
    choices.obstruction_low.known = false;
    open_chart(NOMOGRAM_ICS_OBSTRUCTION, &choices, &chart);
    assert_close(nomogram_line_y(&chart, &chart.lines[0], 0.0), 20.0, 1e-9);
}

/* Zones are as many as the bands make, each with a code of its own; charts say what they are. */
static void test_tables_are_complete(void **state)
{
    (void)state;
    for (int code = 0; code < NOMOGRAM_COUNT; code++) {
        struct nomogram_chart chart;
        size_t zones = 1;

        open_chart((enum nomogram_code)code, NULL, &chart);
        for (unsigned family = 0; family < chart.family_count; family++) {
            zones *= nomogram_band_count(&chart, family);
        }
        assert_int_equal(zones, chart.zone_count);
        assert_true(strlen(chart.code) > 0 && strlen(chart.title) > 0);
        assert_true(strlen(chart.source) > 0 && strlen(chart.mark) > 0);
        assert_true(chart.x.from < chart.x.to && chart.y.from < chart.y.to);
        for (size_t i = 0; i < zones; i++) {
            assert_true(strlen(chart.zones[i].label) > 0);
            for (size_t k = 0; k < i; k++) {
                assert_string_not_equal(chart.zones[i].code, chart.zones[k].code);
            }
        }
    }
}

/* What the charts show: common practice, no source; the Liverpool chart ends at 600 mL and 70 mL/s
 * (ICS 2023 abstract 202). */
static void test_ranges(void **state)
{
    static const double ranges[NOMOGRAM_COUNT][2] = {{30.0, 150.0}, {30.0, 150.0}, {40.0, 100.0},
                                                     {50.0, 150.0}, {600.0, 70.0}, {600.0, 70.0}};

    (void)state;
    for (int code = 0; code < NOMOGRAM_COUNT; code++) {
        struct nomogram_chart chart;

        open_chart((enum nomogram_code)code, NULL, &chart);
        assert_close(chart.x.to, ranges[code][0], 0.0);
        assert_close(chart.y.to, ranges[code][1], 0.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_both_sides_of_every_line),
        cmocka_unit_test(test_straight_lines),
        cmocka_unit_test(test_drawn_ends),
        cmocka_unit_test(test_centile_lines),
        cmocka_unit_test(test_lines_and_numbers_agree),
        cmocka_unit_test(test_limits_of_the_clinic),
        cmocka_unit_test(test_tables_are_complete),
        cmocka_unit_test(test_ranges),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
