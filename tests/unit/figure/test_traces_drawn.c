/* Traces as they are drawn: places read back from the SVG. What is expected is computed from the
 * frame of the strip and from two values of the trace itself, not by the code under test. */
#include "drawn.h"
#include "figure/figure_style.h"
#include "figure/trace_line.h"
#include "sources.h"
#include "support/assert_close.h"
#include "svg_paths.h"

#include <math.h>
#include <string.h>

enum { SAMPLES = 60000, FRAMES_MAX = 8 };

static const double RATE_HZ = 100.0;
static const double DURATION_S = 600.0;
static const double COUGH_S = 314.0;
static const double STEP_S = 450.0; /* from here on 50 in place of 0 */

/* A quarter of a point: half of the width of the line. */
static const double NEAR_PT = 0.4;

struct fixture {
    struct arena *arena;
    double pabd[SAMPLES];
    double pves[SAMPLES];
    struct traces_channel channels[2];
    struct figure_source source;
};

/* Nothing, one sample of 120 at COUGH_S, and a step to 50. */
static int open_fixture(void **state)
{
    struct arena *arena = arena_new();
    struct fixture *fixture = arena_alloc(arena, sizeof *fixture);
    fixture->arena = arena;
    for (int i = 0; i < SAMPLES; i++) {
        fixture->pabd[i] = (double)i / RATE_HZ >= STEP_S ? 50.0 : 0.0;
        fixture->pves[i] = 0.0;
    }
    fixture->pabd[(int)(COUGH_S * RATE_HZ)] = 120.0;
    *state = fixture;
    return 0;
}

static int close_fixture(void **state)
{
    struct fixture *fixture = *state;
    arena_free(fixture->arena);
    return 0;
}

/* With bins of `width` samples; 1: every sample. */
static struct svg_paths draw(struct fixture *fixture, size_t width, struct canvas_rect *frames)
{
    const double *samples[] = {fixture->pabd, fixture->pves};

    const enum signal_kind signals[] = {SIGNAL_PABD, SIGNAL_PVES};

    for (size_t i = 0; i < 2; i++) {
        fixture->channels[i] =
            width > 1
                ? sources_binned(fixture->arena, signals[i], RATE_HZ, samples[i], SAMPLES, width)
                : sources_channel(signals[i], RATE_HZ, samples[i], SAMPLES);
    }
    fixture->source =
        sources_of_traces(fixture->arena, RECORDING_CYSTOMETRY, DURATION_S, fixture->channels, 2);
    const struct figure figure = drawn_find(fixture->arena, &fixture->source, FIGURE_TRACES, NULL);
    const struct drawn drawn = drawn_figure(fixture->arena, &fixture->source, &figure, CANVAS_SVG);
    const char *svg = arena_strndup(fixture->arena, (const char *)drawn.bytes, drawn.length);
    const struct svg_paths paths = svg_paths_read(fixture->arena, svg);
    assert_int_equal(svg_paths_frames(&paths, frames, FRAMES_MAX), 2);
    return paths;
}

static struct svg_point highest(const struct svg_path *path)
{
    struct svg_point best = path->points[0];
    for (size_t i = 0; i < path->count; i++) {
        best = path->points[i].y < best.y ? path->points[i] : best;
    }
    return best;
}

static double x_of(const struct canvas_rect *frame, double at_s)
{
    return frame->x + frame->width * at_s / DURATION_S;
}

static void check_peak(struct fixture *fixture, size_t width)
{
    struct canvas_rect frames[FRAMES_MAX];
    const struct svg_paths paths = draw(fixture, width, frames);
    const struct svg_path *line = svg_paths_line(&paths, style_signal_colour(SIGNAL_PABD));
    assert_non_null(line);
    const struct svg_point peak = highest(line);
    const double y_zero = line->points[0].y;
    const double y_fifty = line->points[line->count - 1].y;
    assert_close(peak.x, x_of(&frames[0], COUGH_S), NEAR_PT);
    assert_true(y_zero - y_fifty > 10.0);
    assert_close(y_zero - peak.y, (y_zero - y_fifty) * 120.0 / 50.0, NEAR_PT);
    assert_true(peak.y >= frames[0].y && y_zero <= frames[0].y + frames[0].height);
    /* The step is at its time. */
    for (size_t i = 1; i < line->count; i++) {
        if (line->points[i].x > x_of(&frames[0], STEP_S) + 1.0) {
            assert_close(line->points[i].y, y_fifty, NEAR_PT);
        } else if (fabs(line->points[i].x - peak.x) > 1.0 &&
                   line->points[i].x < x_of(&frames[0], STEP_S) - 1.0) {
            assert_close(line->points[i].y, y_zero, NEAR_PT);
        }
    }
}

static void a_peak_is_at_its_time_and_height(void **state)
{
    check_peak(*state, 1);
}

static void a_peak_of_one_sample_survives_reduction(void **state)
{
    check_peak(*state, 7);
    check_peak(*state, 53);
    check_peak(*state, 100);
}

static void strips_of_one_unit_share_a_scale(void **state)
{
    struct fixture *fixture = *state;
    struct canvas_rect frames[FRAMES_MAX];
    for (int i = 0; i < SAMPLES; i++) {
        fixture->pves[i] = (double)i / RATE_HZ >= STEP_S ? 50.0 : 0.0;
    }
    const struct svg_paths paths = draw(fixture, 53, frames);
    const struct svg_path *pabd = svg_paths_line(&paths, style_signal_colour(SIGNAL_PABD));
    const struct svg_path *pves = svg_paths_line(&paths, style_signal_colour(SIGNAL_PVES));
    const double one = pabd->points[0].y - pabd->points[pabd->count - 1].y;
    const double other = pves->points[0].y - pves->points[pves->count - 1].y;
    assert_close(other, one, 0.05);
    assert_close(frames[0].height, frames[1].height, 0.05);
    /* Abdominal pressure stands above vesical pressure, on the same time axis. */
    assert_true(pabd->points[0].y < pves->points[0].y);
    assert_close(frames[0].x, frames[1].x, 0.01);
}

/* From where to where a path has no line, seconds. */
static bool find_gap(const struct svg_path *line, const struct canvas_rect *frame, double *ret_from,
                     double *ret_to)
{
    for (size_t i = 1; i < line->count; i++) {
        if (line->points[i].begins) {
            *ret_from = (line->points[i - 1].x - frame->x) / frame->width * DURATION_S;
            *ret_to = (line->points[i].x - frame->x) / frame->width * DURATION_S;
            return true;
        }
    }
    return false;
}

static void what_is_missing_is_a_gap(void **state)
{
    struct fixture *fixture = *state;
    static const size_t WIDTHS[] = {1, 53};
    for (int i = (int)(100.0 * RATE_HZ); i < (int)(130.0 * RATE_HZ); i++) {
        fixture->pabd[i] = (double)NAN;
    }
    for (size_t i = 0; i < sizeof WIDTHS / sizeof WIDTHS[0]; i++) {
        struct canvas_rect frames[FRAMES_MAX];
        double from_s = 0.0;
        double to_s = 0.0;
        const struct svg_paths paths = draw(fixture, WIDTHS[i], frames);
        const struct svg_path *line = svg_paths_line(&paths, style_signal_colour(SIGNAL_PABD));
        assert_true(find_gap(line, &frames[0], &from_s, &to_s));
        assert_close(from_s, 100.0, 1.0);
        assert_close(to_s, 130.0, 1.0);
        const struct figure figure =
            drawn_find(fixture->arena, &fixture->source, FIGURE_TRACES, NULL);
        assert_non_null(strstr(figure_alternative(&fixture->source, &figure, fixture->arena),
                               "Abdominal pressure from 0 to 120\u00a0cmH\u2082O, with missing "
                               "samples."));
        const struct svg_path *whole = svg_paths_line(&paths, style_signal_colour(SIGNAL_PVES));
        assert_false(find_gap(whole, &frames[1], &from_s, &to_s));
    }
}

static void bins_go_to_the_nearer_extreme_first(void **state)
{
    struct fixture *fixture = *state;
    static const double least[] = {0.0, 5.0, 3.0};
    static const double greatest[] = {2.0, 9.0, 8.0};
    static const double expected[] = {0.0, 2.0, 5.0, 9.0, 8.0, 3.0};
    const struct traces_channel channel = {.signal = SIGNAL_PVES,
                                           .unit = "cm[H2O]",
                                           .rate_hz = 10.0,
                                           .bin_s = 1.0,
                                           .count = 3,
                                           .least.doubles = least,
                                           .greatest.doubles = greatest};
    const struct plot plot = {{0.0, 0.0, 3.0, 10.0}, 0.0, 3.0, 0.0, 10.0};
    struct canvas_point *points = NULL;
    assert_int_equal(trace_points(&channel, &plot, fixture->arena, &points), 6);
    for (size_t i = 0; i < 6; i++) {
        assert_close(points[i].y, 10.0 - expected[i], 1e-9);
        /* In the middle of the bin's ten samples, 0 to 0.9 s. */
        const size_t bin = i / 2;
        assert_close(points[i].x, (double)bin + 0.45, 1e-9);
    }
}

static void means_are_those_of_the_samples(void **state)
{
    struct fixture *fixture = *state;
    double ramp[101];
    for (int i = 0; i <= 100; i++) {
        ramp[i] = i;
    }
    ramp[80] = (double)NAN;
    const struct traces_channel channel = sources_channel(SIGNAL_FLOW, 10.0, ramp, 101);
    (void)fixture;
    assert_close(trace_mean(&channel, 3.0, 2.0), 30.0, 1e-9);
    assert_close(trace_value(&channel, 3.05), 30.5, 1e-6);
    assert_true(isnan(trace_mean(&channel, 8.0, 2.0)));
    assert_true(isnan(trace_mean(&channel, 12.0, 2.0)));
    assert_true(isnan(trace_value(&channel, 8.0)));
    assert_true(isnan(trace_value(&channel, -0.5)));
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
        cmocka_unit_test_setup_teardown(a_peak_is_at_its_time_and_height, open_fixture,
                                        close_fixture),
        cmocka_unit_test_setup_teardown(a_peak_of_one_sample_survives_reduction, open_fixture,
                                        close_fixture),
        cmocka_unit_test_setup_teardown(strips_of_one_unit_share_a_scale, open_fixture,
                                        close_fixture),
        cmocka_unit_test_setup_teardown(what_is_missing_is_a_gap, open_fixture, close_fixture),
        cmocka_unit_test_setup_teardown(bins_go_to_the_nearer_extreme_first, open_fixture,
                                        close_fixture),
        cmocka_unit_test_setup_teardown(means_are_those_of_the_samples, open_fixture,
                                        close_fixture),
    };
    return cmocka_run_group_tests(tests, NULL, forget_fonts);
}
