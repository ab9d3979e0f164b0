/* The numeric toolbox against the GNU Scientific Library, an independent implementation. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/nomogram/nomogram.h"
#include "analysis/signal/integrate.h"
#include "analysis/signal/level.h"
#include "analysis/signal/smooth.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_interp.h>
#include <gsl/gsl_movstat.h>
#include <gsl/gsl_statistics_double.h>

enum { COUNT = 997 };

static const double rate_hz = 12.5;

/* Flow-like noise: the values do not matter, only that they are not smooth. */
static double *noisy(struct synth *synth)
{
    static const struct half_sine shape = {10.0, 40.0, 25.0};
    const struct synth_sampling sampling = {
        .rate_hz = rate_hz, .end_s = (COUNT - 1) / rate_hz, .noise = 3.0};

    synth_open(synth, RECORDING_UROFLOWMETRY);
    return synth_channel(synth, SIGNAL_FLOW, sampling, half_sine_value, &shape);
}

static const double *moved(gsl_movstat_end_t ends, size_t window, const double *samples,
                           double *output, bool median)
{
    gsl_movstat_workspace *workspace = gsl_movstat_alloc(window);
    const gsl_vector_const_view in = gsl_vector_const_view_array(samples, COUNT);
    gsl_vector_view out = gsl_vector_view_array(output, COUNT);

    if (median) {
        gsl_movstat_median(ends, &in.vector, &out.vector, workspace);
    } else {
        gsl_movstat_mean(ends, &in.vector, &out.vector, workspace);
    }
    gsl_movstat_free(workspace);
    return output;
}

static void test_sliding_mean(void **state)
{
    static const size_t windows[] = {1, 3, 21, 201};
    struct synth synth;
    double *samples = noisy(&synth);
    const struct series series = {rate_hz, 0.0, COUNT, samples};
    double ours[COUNT];
    double theirs[COUNT];

    (void)state;
    for (size_t w = 0; w < sizeof windows / sizeof windows[0]; w++) {
        smooth_mean(&series, windows[w], SMOOTH_ENDS_ZERO, ours);
        moved(GSL_MOVSTAT_END_PADZERO, windows[w], samples, theirs, false);
        for (size_t i = 0; i < COUNT; i++) {
            assert_close(ours[i], theirs[i], 1e-9);
        }
        smooth_mean(&series, windows[w], SMOOTH_ENDS_SHORTEN, ours);
        moved(GSL_MOVSTAT_END_TRUNCATE, windows[w], samples, theirs, false);
        for (size_t i = 0; i < COUNT; i++) {
            assert_close(ours[i], theirs[i], 1e-9);
        }
    }
    synth_close(&synth);
}

static void test_sliding_median(void **state)
{
    static const size_t windows[] = {1, 5, 51};
    struct synth synth;
    double *samples = noisy(&synth);
    const struct series series = {rate_hz, 0.0, COUNT, samples};
    double sorted[51];
    double ours[COUNT];
    double theirs[COUNT];

    (void)state;
    for (size_t w = 0; w < sizeof windows / sizeof windows[0]; w++) {
        smooth_median(&series, windows[w], sorted, ours);
        moved(GSL_MOVSTAT_END_TRUNCATE, windows[w], samples, theirs, true);
        for (size_t i = 0; i < COUNT; i++) {
            assert_close(ours[i], theirs[i], 1e-12);
        }
    }
    synth_close(&synth);
}

static void test_median(void **state)
{
    struct synth synth;
    double *samples = noisy(&synth);

    (void)state;
    for (size_t count = 1; count < COUNT; count += 7) {
        double ours[COUNT];
        double theirs[COUNT];

        for (size_t i = 0; i < count; i++) {
            ours[i] = samples[i];
            theirs[i] = samples[i];
        }
        assert_close(level_median_of(ours, count), gsl_stats_median(theirs, 1, count), 1e-12);
    }
    synth_close(&synth);
}

/* The trapezium rule is the exact integral of the piecewise linear interpolant. */
static void test_integral(void **state)
{
    static const struct span spans[] = {{0.0, 79.68}, {3.3, 41.7}, {10.0, 10.05}, {50.01, 79.0}};
    struct synth synth;
    double *samples = noisy(&synth);
    const struct series series = {rate_hz, 0.0, COUNT, samples};
    gsl_interp *interp = gsl_interp_alloc(gsl_interp_linear, COUNT);
    double times[COUNT];

    (void)state;
    for (size_t i = 0; i < COUNT; i++) {
        times[i] = (double)i / rate_hz;
    }
    gsl_interp_init(interp, times, samples, COUNT);
    for (size_t i = 0; i < sizeof spans / sizeof spans[0]; i++) {
        double ours = 0.0;

        assert_true(integrate_span(&series, spans[i], 1.0, &ours));
        assert_close(
            ours,
            gsl_interp_eval_integ(interp, times, samples, spans[i].from_s, spans[i].to_s, NULL),
            1e-9);
    }
    for (size_t i = 0; i < 700; i++) {
        const double at_s = 0.113 * (double)i;

        assert_close(series_value(&series, at_s),
                     gsl_interp_eval(interp, times, samples, at_s, NULL), 1e-9);
    }
    gsl_interp_free(interp);
    synth_close(&synth);
}

/* The slope at a sample is the line of least squares through its window. */
static void test_slope(void **state)
{
    struct synth synth;
    double *samples = noisy(&synth);
    const struct series series = {rate_hz, 0.0, COUNT, samples};
    double slope[COUNT];
    double times[COUNT];
    const size_t half = 3; /* 0.25 s at 12.5 Hz */

    (void)state;
    integrate_slope(&series, 0.25, slope);
    for (size_t i = 0; i < COUNT; i++) {
        times[i] = (double)i / rate_hz;
    }
    for (size_t i = half; i + half < COUNT; i++) {
        double c0 = 0.0;
        double c1 = 0.0;
        double cov[3];
        double squares = 0.0;

        gsl_fit_linear(times + i - half, 1, samples + i - half, 1, 2 * half + 1, &c0, &c1, &cov[0],
                       &cov[1], &cov[2], &squares);
        assert_close(slope[i], c1, 1e-7);
    }
    synth_close(&synth);
}

/* Centiles of the normal distribution. */
static void test_normal_distribution(void **state)
{
    (void)state;
    for (int qmax = 1; qmax <= 70; qmax++) {
        const struct nomogram_answer answer = nomogram_liverpool(SEX_FEMALE, 40.0, 300.0, qmax);

        assert_true(answer.known);
        assert_close(answer.centile, 100.0 * gsl_cdf_ugaussian_P(answer.z), 1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sliding_mean), cmocka_unit_test(test_sliding_median),
        cmocka_unit_test(test_median),       cmocka_unit_test(test_integral),
        cmocka_unit_test(test_slope),        cmocka_unit_test(test_normal_distribution),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
