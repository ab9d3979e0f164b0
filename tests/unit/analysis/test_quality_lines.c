/* Rules about pressure lines at their limits: movement, noise, steps, catheters, clipping. */
#include "support/assert_close.h"
#include "support/line_pair.h"

#include "analysis/signal/series.h"

#include <math.h>
#include <string.h>

/* Runs a changed study and says whether a line was told of a code. */
static bool is_told(const struct line_pair *how, const char *code, enum signal_kind signal)
{
    struct synth synth;

    line_pair_open(&synth, how);
    const bool told = line_pair_finding(synth_run(&synth), code, signal) != NULL;

    synth_close(&synth);
    return told;
}

static void test_nothing_is_told(void **state)
{
    const struct line_pair how = line_pair_sound();
    struct synth synth;

    (void)state;
    line_pair_open(&synth, &how);
    const struct analysis_result *result = synth_run(&synth);

    for (size_t i = 0; i < result->quality_count; i++) {
        fail_msg("%s", result->quality[i].code);
    }
    synth_close(&synth);
}

/* Replaces a stretch of a line by its value at the start and a square wave of 1 Hz: its robust
 * standard deviation within the band is 1.4826 times its half height. */
static void wave(struct synth *synth, enum signal_kind signal, struct span span, double half)
{
    double *samples = synth_writable(synth, signal);
    const struct channel *channel = recording_channel(&synth->recording, signal);
    const size_t first = (size_t)(span.from_s * channel->rate_hz);
    const size_t end = (size_t)(span.to_s * channel->rate_hz);
    const size_t period = (size_t)channel->rate_hz;
    const double held = samples[first];

    for (size_t i = first; i < end; i++) {
        samples[i] = held + ((i - first) % period < period / 2 ? half : -half);
    }
}

static size_t run_waves(double own, double other, struct span span)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    how.cough_count = 2;
    how.noise = 0.0;
    line_pair_open(&synth, &how);
    wave(&synth, SIGNAL_PVES, (struct span){0.0, 360.0}, 1.0);
    wave(&synth, SIGNAL_PABD, (struct span){0.0, 360.0}, 1.0);
    wave(&synth, SIGNAL_PVES, span, other);
    wave(&synth, SIGNAL_PABD, span, own);
    const size_t count = line_pair_count(synth_run(&synth), "dead_line");

    synth_close(&synth);
    return count;
}

/* 0.05 and three times that, for 20 s, on a grid of 10 s from the start. */
static void test_dead(void **state)
{
    const struct span span = {160.0, 220.0};
    const double unit = 0.05 / 1.4826;

    (void)state;
    assert_int_equal(run_waves(0.985 * unit, 4.0 * unit, span), 1);
    assert_int_equal(run_waves(1.015 * unit, 4.0 * unit, span), 0);
    assert_int_equal(run_waves(0.5 * unit, 3.03 * unit, span), 1);
    assert_int_equal(run_waves(0.5 * unit, 2.97 * unit, span), 0);
    assert_int_equal(run_waves(0.5 * unit, 4.0 * unit, (struct span){160.0, 170.0}), 0);
}

/* A resolution that is coarser than what the other line does explains that nothing moves. */
static void test_coarse_resolution(void **state)
{
    struct line_pair how = line_pair_sound();

    (void)state;
    for (int i = 0; i < 2; i++) {
        struct synth synth;

        how.noise = 0.12;
        line_pair_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_PABD);

        for (size_t k = 0; k < synth.channels[1].sample_count; k++) {
            const bool still = k >= 8000 && k < 9400;

            samples[k] = still ? 22.0 : samples[k];
            samples[k] = i == 0 ? samples[k] : 2.0 * round(0.5 * samples[k]);
        }
        const struct analysis_result *result = synth_run(&synth);

        assert_int_equal(line_pair_count(result, "dead_line"), 0);
        synth_close(&synth);
    }
}

/* Noise of more than 2 cmH2O from sample to sample, for 20 s. */
static void test_noise(void **state)
{
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct line_pair how = line_pair_sound();
        struct synth synth;

        how.noise = 0.0;
        line_pair_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_PVES);

        /* Up and down from one sample to the next by `half`: the bend is twice that. */
        const double half = (i == 0 ? 1.985 : 2.015) * sqrt(1.5) / (2.0 * 1.4826);

        for (size_t k = 8500; k < 10500; k++) {
            samples[k] += k % 2 == 0 ? half : -half;
        }
        const struct quality_finding *finding =
            line_pair_finding(synth_run(&synth), "noisy_line", SIGNAL_PVES);

        assert_int_equal(finding != NULL, i == 1);
        if (finding != NULL) {
            assert_close(finding->from_s, 180.0, 20.0);
            assert_close(finding->to_s, 200.0, 20.0);
        }
        synth_close(&synth);
    }
}

/* A line alone falls to `level` within `within_s` and stays there for `for_s`. */
static struct line_pair falling(double from, double level, double within_s, double for_s)
{
    struct line_pair how = line_pair_sound();

    how.noise = 0.0;
    how.pabd.points[0][1] = from;
    line_pair_to(&how.pabd, 230.0, within_s, level);
    line_pair_to(&how.pabd, 230.0 + within_s + for_s, 0.02, from);
    return how;
}

static void test_catheter_out(void **state)
{
    struct line_pair how = falling(22.0, 4.9, 0.5, 60.0);

    (void)state;
    assert_true(is_told(&how, "catheter_out", SIGNAL_PABD));
    how = falling(22.0, 5.1, 0.5, 60.0);
    assert_false(is_told(&how, "catheter_out", SIGNAL_PABD));
    how = falling(11.05, 3.0, 0.5, 60.0);
    assert_true(is_told(&how, "catheter_out", SIGNAL_PABD));
    how = falling(10.95, 3.0, 0.5, 60.0);
    assert_false(is_told(&how, "catheter_out", SIGNAL_PABD));
    how = falling(22.0, 2.0, 0.5, 3.0);
    assert_false(is_told(&how, "catheter_out", SIGNAL_PABD));
    how = falling(22.0, 2.0, 12.0, 60.0);
    assert_false(is_told(&how, "catheter_out", SIGNAL_PABD));
    /* pves follows with 29 % and with 31 % of it. */
    how = falling(22.0, 2.0, 0.5, 60.0);
    line_pair_to(&how.pves, 230.0, 0.5, 25.0 - 0.295 * 20.0);
    assert_true(is_told(&how, "catheter_out", SIGNAL_PABD));
    how = falling(22.0, 2.0, 0.5, 60.0);
    line_pair_to(&how.pves, 230.0, 0.5, 25.0 - 0.305 * 20.0);
    assert_false(is_told(&how, "catheter_out", SIGNAL_PABD));
}

/* Bladder pressure that falls by more than 20 and leaves pdet below -10, though above 5. */
static void test_bladder_line_out(void **state)
{
    static const struct {
        double before;
        double after;
        double pabd;
        bool told;
    } rows[] = {{40.0, 19.9, 30.0, true},
                {40.0, 20.1, 30.3, false},
                {45.0, 20.1, 30.0, false},
                {45.0, 19.9, 30.0, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = line_pair_sound();

        how.noise = 0.0;
        how.pves.points[0][1] = rows[i].before;
        how.pabd.points[0][1] = rows[i].pabd;
        line_pair_to(&how.pves, 230.0, 1.0, rows[i].after);
        assert_int_equal(is_told(&how, "catheter_out", SIGNAL_PVES), rows[i].told);
    }
}

/* A marker of what people do within 5 s explains a fall, one further away does not. */
static void test_explained(void **state)
{
    static const struct {
        double marker_s;
        bool told;
    } rows[] = {{224.9, true}, {225.2, false}, {234.9, false}, {235.2, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = falling(22.0, 2.0, 0.02, 60.0);
        struct synth synth;

        line_pair_open(&synth, &how);
        synth_event(&synth, EVENT_POSITION_CHANGE, rows[i].marker_s);
        assert_int_equal(line_pair_count(synth_run(&synth), "catheter_out") > 0, rows[i].told);
        synth_close(&synth);
    }
}

static void test_step(void **state)
{
    struct line_pair how = line_pair_sound();

    (void)state;
    how.noise = 0.0;
    line_pair_to(&how.pves, 230.0, 0.1, 45.2);
    assert_true(is_told(&how, "pressure_step", SIGNAL_PVES));
    how = line_pair_sound();
    how.noise = 0.0;
    line_pair_to(&how.pves, 230.0, 0.1, 44.8);
    assert_false(is_told(&how, "pressure_step", SIGNAL_PVES));
    /* Slower it is the bladder. */
    how = line_pair_sound();
    how.noise = 0.0;
    line_pair_to(&how.pves, 230.0, 8.0, 60.0);
    assert_false(is_told(&how, "pressure_step", SIGNAL_PVES));
    /* So it is when 20 cmH2O of it take longer than half a second. */
    static const double ways[][3] = {
        {0.57, 24.6, true}, {0.595, 24.6, false}, {0.93, 40.0, true}, {0.98, 40.0, false}};

    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        how = line_pair_sound();
        how.noise = 0.0;
        line_pair_to(&how.pves, 230.0, ways[i][0], 25.0 + ways[i][1]);
        assert_int_equal(is_told(&how, "pressure_step", SIGNAL_PVES), ways[i][2] > 0.0);
    }
    /* In both lines it is the patient. */
    how = line_pair_sound();
    how.noise = 0.0;
    line_pair_to(&how.pves, 230.0, 0.1, 50.0);
    line_pair_to(&how.pabd, 230.0, 0.1, 47.0);
    assert_false(is_told(&how, "pressure_step", SIGNAL_PVES));
}

/* Below -5 for 10 s. */
static void test_negative_pdet(void **state)
{
    static const struct {
        double pdet;
        double length_s;
        bool told;
    } rows[] = {
        {-5.08, 60.0, true}, {-4.92, 60.0, false}, {-8.0, 10.34, false}, {-8.0, 10.62, true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = line_pair_sound();

        how.noise = 0.0;
        how.cough_count = 2;
        line_pair_to(&how.pves, 230.0, 0.02, 22.0 + rows[i].pdet);
        line_pair_to(&how.pves, 230.0 + rows[i].length_s, 0.02, 25.0);
        assert_int_equal(is_told(&how, "negative_pdet", SIGNAL_PDET), rows[i].told);
    }
}

/* Cuts pves at a value. */
static size_t run_clipped(double top, double rate_hz, double rise)
{
    struct line_pair how = line_pair_sound();
    struct synth synth;

    how.rate_hz = rate_hz;
    how.noise = 0.05;
    for (size_t i = 0; i < how.cough_count; i++) {
        how.coughs[i].pves_rise = rise;
        how.coughs[i].pabd_rise = rise;
    }
    line_pair_open(&synth, &how);
    double *samples = synth_writable(&synth, SIGNAL_PVES);

    for (size_t k = 0; k < synth.channels[0].sample_count; k++) {
        samples[k] = fmin(samples[k], top);
    }
    const size_t count = line_pair_count(synth_run(&synth), "clipped");

    synth_close(&synth);
    return count;
}

static void test_clipped(void **state)
{
    (void)state;
    assert_int_equal(run_clipped(50.0, 50.0, 60.0), 6);
    assert_int_equal(run_clipped(50.0, 10.0, 60.0), 6);
    assert_int_equal(run_clipped(200.0, 50.0, 60.0), 0);
}

/* A resolution of 1 cmH2O makes round peaks flat, but not cut. */
static void test_round_peaks(void **state)
{
    const double rates_hz[] = {10.0, 25.0, 50.0, 100.0};

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        struct line_pair how = line_pair_sound();
        struct synth synth;

        how.rate_hz = rates_hz[i];
        line_pair_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_PVES);

        for (size_t k = 0; k < synth.channels[0].sample_count; k++) {
            samples[k] = round(samples[k]);
        }
        assert_int_equal(line_pair_count(synth_run(&synth), "clipped"), 0);
        synth_close(&synth);
    }
}

/* A pressure of 95 or more that is exactly the same for half a second. */
static void test_saturated(void **state)
{
    static const struct {
        double value;
        double length_s;
        bool told;
    } rows[] = {{96.0, 20.0, true}, {94.0, 20.0, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct line_pair how = line_pair_sound();

        how.noise = 0.05;
        line_pair_to(&how.pves, 270.0, 30.0, 120.0);
        line_pair_to(&how.pves, 320.0, 30.0, 25.0);
        struct synth synth;

        line_pair_open(&synth, &how);
        double *samples = synth_writable(&synth, SIGNAL_PVES);

        for (size_t k = 0; k < synth.channels[0].sample_count; k++) {
            samples[k] = fmin(samples[k], rows[i].value);
        }
        assert_int_equal(line_pair_count(synth_run(&synth), "clipped") > 0, rows[i].told);
        synth_close(&synth);
    }
}

static bool is_doubted(const struct measure *measure, const char *code)
{
    for (size_t i = 0; i < measure->doubt_count; i++) {
        if (strcmp(measure->doubts[i], code) == 0) {
            return true;
        }
    }
    return false;
}

/* Values that were read in a bad span say so. */
static void test_doubts(void **state)
{
    struct line_pair how = falling(22.0, 2.0, 0.5, 200.0);
    struct synth synth;

    (void)state;
    line_pair_open(&synth, &how);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_true(is_doubted(&filling->pdet_end_fill, "catheter_out"));
    assert_false(is_doubted(&filling->pdet_baseline, "catheter_out"));
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_is_told),
        cmocka_unit_test(test_dead),
        cmocka_unit_test(test_coarse_resolution),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_catheter_out),
        cmocka_unit_test(test_bladder_line_out),
        cmocka_unit_test(test_explained),
        cmocka_unit_test(test_step),
        cmocka_unit_test(test_negative_pdet),
        cmocka_unit_test(test_clipped),
        cmocka_unit_test(test_round_peaks),
        cmocka_unit_test(test_saturated),
        cmocka_unit_test(test_doubts),
    };

    return cmocka_run_group_tests_name("quality lines", tests, NULL, NULL);
}
