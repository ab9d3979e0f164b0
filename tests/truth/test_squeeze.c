/* Squeezes of the urethra on an otherwise known flow: Qmax stays that of the flow. */
#include "support/assert_close.h"
#include "support/error_table.h"
#include "support/synth.h"

#include <math.h>
#include <stdio.h>

/* A plain voiding with, at `at_s`, a dip for dip_s and a surge of surge_ml_s for surge_s after it.
 */
struct squeezed {
    struct half_sine flow;
    double at_s;
    double dip_s;
    double dip_share; /* of the flow that is left in the dip */
    double surge_s;
    double surge_ml_s;
};

static double squeezed_value(double at_s, const void *context)
{
    const struct squeezed *shape = context;
    const double flow = half_sine_value(at_s, &shape->flow);
    const double since = at_s - shape->at_s;

    if (since >= 0.0 && since < shape->dip_s) {
        return shape->dip_share * flow;
    }
    if (since >= shape->dip_s && since < shape->dip_s + shape->surge_s) {
        const double x = (since - shape->dip_s) / shape->surge_s;

        return flow + shape->surge_ml_s * sin(3.14159265358979323846 * x);
    }
    return flow;
}

static const struct squeezed plain = {.flow = {.start_s = 5.0, .length_s = 40.0, .peak = 15.0},
                                      .at_s = 14.0,
                                      .dip_s = 1.2,
                                      .dip_share = 0.1,
                                      .surge_s = 1.6,
                                      .surge_ml_s = 18.0};

static const struct analysis_result *run(struct synth *synth, const struct squeezed *shape,
                                         double rate_hz, double noise)
{
    synth_open(synth, RECORDING_UROFLOWMETRY);
    synth_channel(synth, SIGNAL_FLOW,
                  (struct synth_sampling){.rate_hz = rate_hz, .end_s = 55.0, .noise = noise},
                  squeezed_value, shape);
    return synth_run(synth);
}

/* Qmax within 0.3 mL/s of the flow without the squeeze, wherever the squeeze is but at the peak. */
static void test_qmax_is_that_of_the_flow(void **state)
{
    static const double rates_hz[] = {10.0, 25.0, 50.0, 100.0};
    struct error_table table;

    (void)state;
    error_table_open(&table, "Free flow with a squeeze");
    for (size_t r = 0; r < sizeof rates_hz / sizeof rates_hz[0]; r++) {
        for (int step = 0; step < 13; step++) {
            const double at_s = 11.0 + 0.7 * step;
            struct squeezed shape = plain;
            struct synth synth;

            shape.at_s = at_s;
            const struct analysis_result *result = run(&synth, &shape, rates_hz[r], 0.2);
            const struct quality_finding *finding = synth_quality(result, "squeeze");

            error_table_add(&table, "qmax, mL/s",
                            result->uroflow.qmax.value - half_sine_mean_2s(&shape.flow));
            error_table_detect(&table, "squeeze",
                               (struct detection_row){.truth = 1,
                                                      .found = finding != NULL,
                                                      .claims = finding != NULL,
                                                      .right = finding != NULL &&
                                                               finding->from_s <= at_s + 0.3 &&
                                                               finding->to_s >= at_s + 1.9});
            synth_close(&synth);
        }
    }
    error_table_print(&table);
    assert_true(error_table_p95(&table, "qmax, mL/s") <= 0.3);
    assert_true(error_table_sensitivity(&table, "squeeze") >= 0.98);
    assert_true(error_table_precision(&table, "squeeze") >= 0.98);
    error_table_close(&table);
}

/* Each limit on both sides: what is not deep, high, short or strong enough is the patient's flow.
 */
static void test_limits(void **state)
{
    static const struct {
        const char *what;
        double peak;
        double dip_s;
        double dip_share;
        double surge_s;
        double surge_ml_s;
        bool found;
    } rows[] = {
        {"plain", 15.0, 1.2, 0.1, 1.6, 18.0, true},
        {"no surge", 15.0, 1.2, 0.1, 1.6, 0.0, false},
        {"surge too low", 15.0, 1.2, 0.1, 1.6, 5.5, false},
        {"surge just enough", 15.0, 1.2, 0.1, 1.6, 6.5, true},
        {"dip not deep", 15.0, 1.2, 0.31, 1.6, 18.0, false},
        {"dip just deep", 15.0, 1.2, 0.29, 1.6, 18.0, true},
        {"dip too long", 15.0, 2.1, 0.1, 1.6, 18.0, false},
        {"dip just short", 15.0, 1.9, 0.1, 1.6, 18.0, true},
        {"surge too long", 15.0, 1.2, 0.1, 3.6, 18.0, false},
        {"just strong", 5.2, 1.2, 0.1, 1.6, 18.0, true},
        {"weak flow", 4.9, 1.2, 0.1, 1.6, 18.0, false},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct squeezed shape = plain;
        struct synth synth;

        shape.at_s = 24.0; /* where the flow itself hardly changes */
        shape.flow.peak = rows[i].peak;
        shape.dip_s = rows[i].dip_s;
        shape.dip_share = rows[i].dip_share;
        shape.surge_s = rows[i].surge_s;
        shape.surge_ml_s = rows[i].surge_ml_s;
        const struct analysis_result *result = run(&synth, &shape, 50.0, 0.0);

        if ((synth_quality(result, "squeeze") != NULL) != rows[i].found) {
            fail_msg("%s", rows[i].what);
        }
        synth_close(&synth);
    }
}

/* An ordinary flow, and a staccato one, hold no squeeze. */
static void test_none_in_ordinary_flow(void **state)
{
    struct squeezed shape = plain;
    struct synth synth;

    (void)state;
    shape.dip_share = 1.0;
    shape.surge_ml_s = 0.0;
    for (int seed = 0; seed < 5; seed++) {
        shape.flow.peak = 10.0 + 6.0 * seed;
        assert_null(synth_quality(run(&synth, &shape, 20.0, 0.5), "squeeze"));
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_qmax_is_that_of_the_flow),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_none_in_ordinary_flow),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
