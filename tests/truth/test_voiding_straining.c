/* Straining during the flow: found when the abdominal press drives it, and not for a cough, a rise
 * that stays small or one that does nothing to the flow. */
#include "support/assert_close.h"
#include "support/error_table.h"
#include "support/voiding_case.h"

#include <math.h>

static const double rates_hz[] = {1.0, 4.0, 10.0, 50.0, 100.0};

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static struct measure straining(struct voiding_case how)
{
    struct synth synth;

    voiding_case_open(&synth, how);
    const struct analysis_result *result = synth_run(&synth);
    const struct measure measure = result->voiding.straining;

    assert_int_equal(measure.state, MEASURE_PRESENT);
    assert_int_equal(synth_finding(result, "straining_during_voiding") != NULL,
                     measure.value > 0.5);
    synth_close(&synth);
    return measure;
}

/* Three presses of 15 to 60 cmH2O that each add flow; without them; and presses with no effect. */
static void test_found(void **state)
{
    struct detection_row driven = {.truth = 0};
    struct error_table table;

    (void)state;
    error_table_open(&table, "straining");
    for (size_t r = 0; r < COUNT(rates_hz); r++) {
        for (int step = 1; step <= 4; step++) {
            const double press = 15.0 * step;
            const struct voiding_case how = {.rate_hz = rates_hz[r],
                                             .noise = rates_hz[r] < 5.0 ? 0.2 : 0.5,
                                             .flow_noise = 0.15,
                                             .delay_s = 0.8,
                                             .strain_cmh2o = press,
                                             .strain_flow_ml_s = 0.2 * press};
            struct voiding_case idle = how;
            struct voiding_case none = how;

            idle.strain_flow_ml_s = 0.0;
            none.strain_cmh2o = 0.0;
            none.strain_flow_ml_s = 0.0;
            const bool found = straining(how).value > 0.5;

            driven.truth++;
            driven.found += found ? 1 : 0;
            driven.right += found ? 1 : 0;
            driven.claims += found ? 1 : 0;
            driven.claims += straining(none).value > 0.5 ? 1 : 0;
            /* A press beyond the detrusor pressure drives the flow by its size. */
            driven.claims += press <= 30.0 && straining(idle).value > 0.5 ? 1 : 0;
        }
    }
    error_table_detect(&table, "straining", driven);
    error_table_print(&table);
    assert_true(error_table_sensitivity(&table, "straining") >= 0.98);
    assert_true(error_table_precision(&table, "straining") >= 0.98);
    error_table_close(&table);
}

/* Its share and size, as told beside the answer: presses of 30 cmH2O, at 10 cmH2O or more for
 * 4.33 s each, of a flow of 34.5 s. */
static void test_parts(void **state)
{
    const struct measure measure = straining((struct voiding_case){
        .rate_hz = 50.0, .delay_s = 0.8, .strain_cmh2o = 30.0, .strain_flow_ml_s = 6.0});

    (void)state;
    assert_int_equal(measure.part_count, 3);
    assert_string_equal(measure.parts[0].code, "share_percent");
    assert_close(measure.parts[0].value, 100.0 * 3.0 * (5.0 - 2.0 / 3.0) / 34.5, 1.0);
    assert_string_equal(measure.parts[1].code, "correlation");
    assert_true(measure.parts[1].value > 0.5 && measure.parts[1].value <= 1.0);
    assert_string_equal(measure.parts[2].code, "pabd_rise");
    assert_close(measure.parts[2].value, 27.0, 1.5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_found), cmocka_unit_test(test_parts)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
