/* A meter whose zero is off: what it adds stays small, and is told. */
#include "support/assert_close.h"
#include "support/synth.h"

#include <string.h>

/* A minute of rest, then a flow of 382 mL. */
static const struct half_sine shape = {.start_s = 60.0, .length_s = 30.0, .peak = 20.0};

static double offset_value(double at_s, const void *context)
{
    const double *offset = context;

    return half_sine_value(at_s, &shape) + *offset;
}

static const struct analysis_result *run_offset(struct synth *synth, double offset, double end_s,
                                                double noise)
{
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = end_s, .noise = noise};

    synth_open(synth, RECORDING_UROFLOWMETRY);
    synth_channel(synth, SIGNAL_FLOW, sampling, offset_value, &offset);
    return synth_run(synth);
}

/* The offset counts only while the flow runs, however long the recording is. */
static void test_offset_below_the_threshold(void **state)
{
    static const struct {
        double offset;
        double end_s;
        double noise;
        bool told;
    } rows[] = {{0.28, 600.0, 0.0, true}, {0.2, 180.0, 0.0, true},   {0.2, 180.0, 0.1, true},
                {0.3, 94.0, 0.0, true},   {-0.29, 180.0, 0.0, true}, {0.08, 180.0, 0.0, false},
                {0.0, 180.0, 0.4, false}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double area_ml = half_sine_area(&shape) + rows[i].offset * shape.length_s;
        struct synth synth;
        const struct analysis_result *result =
            run_offset(&synth, rows[i].offset, rows[i].end_s, rows[i].noise);
        const struct quality_finding *finding = synth_quality(result, "flow_zero");

        print_message("offset %g\n", rows[i].offset);
        assert_close(result->uroflow.voided_volume.value, area_ml, 0.01 * area_ml);
        assert_int_equal(finding != NULL, rows[i].told);
        if (finding != NULL) {
            assert_int_equal(finding->severity, QUALITY_WARNING);
            assert_int_equal(finding->signal, SIGNAL_FLOW);
            assert_non_null(strstr(finding->text, "zero the meter"));
        }
        synth_close(&synth);
    }
}

/* Above it all of the recording is flow: nothing can be right, and that is said. */
static void test_offset_above_the_threshold(void **state)
{
    static const double noises[] = {0.0, 0.15};

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct synth synth;
        const struct analysis_result *result = run_offset(&synth, 0.6, 180.0, noises[i]);
        const struct quality_finding *finding = synth_quality(result, "flow_zero");

        assert_non_null(finding);
        assert_int_equal(finding->severity, QUALITY_ERROR);
        assert_non_null(strstr(finding->text, "too large"));
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_offset_below_the_threshold),
        cmocka_unit_test(test_offset_above_the_threshold),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
