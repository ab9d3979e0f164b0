/* Leaks during filling: what makes one, its cause, its pressures. */
#include "support/assert_close.h"
#include "support/leak_case.h"

#include <math.h>
#include <string.h>

static const struct leak *only(const struct filling_measures *filling)
{
    assert_int_equal(filling->leaks.state, MEASURE_PRESENT);
    assert_int_equal(filling->leaks.count, 1);
    return filling->leaks.items;
}

/* Runs a case with one marker (below 0: none). */
static const struct filling_measures *run(struct synth *synth, const struct leak_case *how,
                                          double marker_s)
{
    leak_case_open(synth, how);
    if (marker_s >= 0.0) {
        synth_event(synth, EVENT_LEAK, marker_s);
    }
    return &synth_run(synth)->filling;
}

/* 1 mL within 2 s, or 2 mL within 10 s. */
static void test_least_volume(void **state)
{
    static const struct {
        double ml;
        double length_s;
        size_t count;
    } rows[] = {{1.03, 0.8, 1}, {0.97, 0.8, 0}, {2.04, 7.0, 1}, {1.96, 7.0, 0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        leak_case_loss(&how, 200.0, rows[i].ml, rows[i].length_s);
        assert_int_equal(run(&synth, &how, -1.0)->leaks.count, rows[i].count);
        synth_close(&synth);
    }
}

/* A fixed resolution of the vessel asks for more than one step of it. */
static void test_resolution(void **state)
{
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        how.meter_step_ml = 1.0;
        leak_case_loss(&how, 200.0, i == 0 ? 1.2 : 2.2, 0.8);
        assert_int_equal(run(&synth, &how, -1.0)->leaks.count, i);
        synth_close(&synth);
    }
}

static void test_only_while_filling(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_loss(&how, 20.0, 5.0, 1.0);
    leak_case_loss(&how, 520.0, 5.0, 1.0);
    leak_case_loss(&how, 529.0, 5.0, 3.0);
    assert_close(only(run(&synth, &how, -1.0))->at_s, 520.8, 0.3);
    synth_close(&synth);
}

static void test_marker_and_meter_are_one(void **state)
{
    static const struct {
        double marker_s;
        size_t count;
    } rows[] = {{197.9, 1}, {197.6, 2}, {206.7, 1}, {207.0, 2}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        /* On the meter from 200.8 to 201.8 s. */
        leak_case_loss(&how, 200.0, 5.0, 1.0);
        assert_int_equal(run(&synth, &how, rows[i].marker_s)->leaks.count, rows[i].count);
        synth_close(&synth);
    }
}

static void test_markers_alone(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    how.meter = LEAK_METER_NONE;
    leak_case_open(&synth, &how);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_int_equal(filling->leaks.state, MEASURE_ABSENT);
    assert_non_null(strstr(filling->leaks.reason, "no leak was marked"));
    assert_non_null(strstr(filling->abdominal_leak_point_pressure.reason, "no leak was marked"));
    synth_event(&synth, EVENT_LEAK, 200.0);
    synth_event(&synth, EVENT_LEAK, 201.98);
    synth_event(&synth, EVENT_LEAK, 204.0);
    synth_event(&synth, EVENT_LEAK, 535.0); /* after the end of filling */
    filling = &synth_run(&synth)->filling;
    assert_int_equal(filling->leaks.count, 2);
    const struct leak *leaks = filling->leaks.items;

    assert_close(leaks[0].at_s, 200.0, 1e-9);
    assert_close(leaks[1].at_s, 204.0, 1e-9);
    assert_true(isnan(leaks[0].lost_ml));
    assert_string_equal(leaks[0].cause, "unclear");
    assert_close(leaks[0].volume_ml, 50.0 / 60.0 * 170.0, 0.01);
    synth.recording.conditions.initial_residual_ml = (struct optional_number){true, 30.0};
    leaks = synth_run(&synth)->filling.leaks.items;
    assert_close(leaks[0].volume_ml, 30.0 + 50.0 / 60.0 * 170.0, 0.01);
    synth_close(&synth);
}

/* Pressure is read the flow delay before the meter shows it: within a strain that rises. */
static void test_flow_delay(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_stress(&how, 200.0, 60.0, 10.0);
    leak_case_loss(&how, 204.0, 5.0, 1.0);
    const struct leak *leak = only(run(&synth, &how, -1.0));
    const double early = leak->pves_leak_cmh2o;

    assert_string_equal(leak->cause, "valsalva");
    assert_close(leak->at_s, 204.8, 0.2);
    assert_close(leak->lost_ml, 5.0, 0.05);
    assert_close(early, leak_case_pves(&how, 204.0), 2.0);
    assert_close(leak->pves_baseline_cmh2o, 15.0, 1.0);
    assert_close(leak->pves_rise_cmh2o, early - leak->pves_baseline_cmh2o, 1e-9);
    assert_close(leak->pabd_leak_cmh2o, early - 5.0, 0.1);
    assert_close(leak->pdet_leak_cmh2o, 5.0, 0.1);
    synth.recording.conditions.flow_delay_s = (struct optional_number){true, 1.8};
    /* A second earlier, 10 cmH2O lower. */
    assert_close(only(&synth_run(&synth)->filling)->pves_leak_cmh2o, early - 10.0, 0.1);
    synth_close(&synth);
}

/* A cough leaks at its peak. */
static void test_cough(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_stress(&how, 200.0, 80.0, 0.0);
    leak_case_loss(&how, 199.9, 3.0, 0.6);
    const struct filling_measures *filling = run(&synth, &how, -1.0);
    const struct leak *leak = only(filling);

    assert_string_equal(leak->cause, "cough");
    assert_close(leak->pves_leak_cmh2o, 95.0, 0.1);
    assert_close(leak->pves_baseline_cmh2o, 15.0, 0.1);
    assert_close(leak->pabd_leak_cmh2o, 90.0, 0.1);
    assert_close(leak->pdet_leak_cmh2o, 5.0, 0.1);
    assert_close(filling->abdominal_leak_point_pressure.value, 95.0, 0.1);
    assert_close(filling->abdominal_leak_point_pressure.at_s, 200.0, 0.05);
    assert_non_null(strstr(filling->abdominal_leak_point_pressure.method, "CLPP"));
    assert_int_equal(filling->detrusor_leak_point_pressure.state, MEASURE_ABSENT);
    synth_close(&synth);
}

/* How far a cough and a leak may be apart: 1 s on the meter, 5 s before a marker. */
static void test_cause_window(void **state)
{
    static const struct {
        double loss_s; /* below 0: a marker at the negative of it */
        const char *cause;
    } rows[] = {{203.5, "unclear"}, {-204.0, "cough"}, {-206.5, "unclear"}, {-198.0, "unclear"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        leak_case_stress(&how, 200.0, 80.0, 0.0);
        if (rows[i].loss_s > 0.0) {
            leak_case_loss(&how, rows[i].loss_s, 3.0, 0.6);
        }
        assert_string_equal(only(run(&synth, &how, -rows[i].loss_s))->cause, rows[i].cause);
        synth_close(&synth);
    }
}

/* During a contraction: the cause is the detrusor, the contraction has a leak, and neither leak
 * point is told from it. */
static void test_contraction(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_contraction(&how, 250.0, 40.0, 50.0);
    leak_case_loss(&how, 272.0, 10.0, 4.0);
    const struct filling_measures *filling = run(&synth, &how, -1.0);
    const struct leak *leak = only(filling);
    const struct involuntary_contraction *contraction = filling->involuntary_contractions.items;

    assert_int_equal(filling->involuntary_contractions.count, 1);
    assert_true(contraction->leak);
    assert_string_equal(leak->cause, "detrusor");
    assert_close(leak->pdet_leak_cmh2o, leak_case_pves(&how, 272.0) - 10.0, 1.5);
    assert_close(leak->pves_baseline_cmh2o, 15.0, 3.0);
    assert_int_equal(filling->detrusor_leak_point_pressure.state, MEASURE_ABSENT);
    assert_non_null(
        strstr(filling->detrusor_leak_point_pressure.reason, "with a contraction only"));
    assert_int_equal(filling->abdominal_leak_point_pressure.state, MEASURE_ABSENT);
    synth_close(&synth);
}

static void test_dry_contraction(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_contraction(&how, 250.0, 40.0, 50.0);
    leak_case_loss(&how, 400.0, 10.0, 4.0);
    const struct filling_measures *filling = run(&synth, &how, -1.0);
    const struct involuntary_contraction *contraction = filling->involuntary_contractions.items;

    assert_int_equal(filling->involuntary_contractions.count, 1);
    assert_false(contraction->leak);
    synth_close(&synth);
}

/* A cough within a contraction that is under way: which of the two it was cannot be said. */
static void test_both(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_contraction(&how, 250.0, 40.0, 50.0);
    leak_case_stress(&how, 275.0, 60.0, 0.0);
    leak_case_loss(&how, 275.0, 5.0, 0.6);
    const struct filling_measures *filling = run(&synth, &how, -1.0);

    assert_string_equal(only(filling)->cause, "unclear");
    assert_int_equal(filling->abdominal_leak_point_pressure.state, MEASURE_ABSENT);
    synth_close(&synth);
}

/* pdet raised by 10 cmH2O or more, without the abdomen: low compliance. */
static void test_low_compliance(void **state)
{
    static const struct {
        double pdet;
        double pabd;
        const char *cause;
    } rows[] = {{10.1, 0.0, "detrusor"},
                {9.9, 0.0, "unclear"},
                {30.0, 13.8, "detrusor"},
                {30.0, 17.2, "unclear"},
                {30.0, -8.0, "detrusor"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        how.pdet_end = rows[i].pdet;
        how.pabd_end = rows[i].pabd;
        leak_case_loss(&how, 470.0, 5.0, 2.0);
        const struct filling_measures *filling = run(&synth, &how, -1.0);

        assert_string_equal(only(filling)->cause, rows[i].cause);
        assert_int_equal(filling->detrusor_leak_point_pressure.state == MEASURE_PRESENT,
                         strcmp(rows[i].cause, "detrusor") == 0);
        synth_close(&synth);
    }
}

/* The lowest counts, whatever came first. */
static void test_lowest(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_stress(&how, 120.0, 90.0, 0.0);
    leak_case_loss(&how, 120.0, 3.0, 0.6);
    leak_case_stress(&how, 180.0, 65.0, 0.0);
    leak_case_loss(&how, 180.0, 3.0, 0.6);
    leak_case_stress(&how, 240.0, 75.0, 0.0);
    leak_case_loss(&how, 240.0, 3.0, 0.6);
    leak_case_stress(&how, 300.0, 50.0, 0.0); /* dry */
    const struct filling_measures *filling = run(&synth, &how, -1.0);

    assert_int_equal(filling->leaks.count, 3);
    assert_close(filling->abdominal_leak_point_pressure.value, 80.0, 0.1);
    assert_close(filling->abdominal_leak_point_pressure.at_s, 180.0, 0.1);
    synth_close(&synth);
}

/* On a meter of flow alone, a jolt just after a cough is a leak; without one, or too short, it is
 * a knock. */
static void test_knock(void **state)
{
    static const struct {
        double cough_s;
        double length_s;
        size_t count;
    } rows[] = {{299.2, 0.4, 1}, {290.0, 0.4, 0}, {299.2, 0.2, 0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct leak_case how = leak_case_quiet();
        struct synth synth;

        how.meter = LEAK_METER_FLOW;
        leak_case_stress(&how, rows[i].cough_s, 80.0, 0.0);
        leak_case_loss(&how, 400.0, 40.0, 20.0); /* so that the jolt is not all there is */
        leak_case_open(&synth, &how);
        double *flow = synth_writable(&synth, SIGNAL_FLOW);

        for (size_t k = 0; k < (size_t)(rows[i].length_s * 50.0); k++) {
            flow[15000 + k] += 15.0;
        }
        assert_int_equal(synth_run(&synth)->filling.leaks.count, 1 + rows[i].count);
        synth_close(&synth);
    }
}

/* Without pressures the leak is there all the same; its pressures are not known. */
static void test_no_pressures(void **state)
{
    struct leak_case how = leak_case_quiet();
    struct synth synth;

    (void)state;
    leak_case_stress(&how, 200.0, 80.0, 0.0);
    leak_case_loss(&how, 200.0, 3.0, 0.6);
    leak_case_open(&synth, &how);
    synth_lose(&synth, SIGNAL_PVES, 0.0, 600.0);
    const struct filling_measures *filling = &synth_run(&synth)->filling;

    assert_true(isnan(only(filling)->pves_leak_cmh2o));
    assert_int_equal(filling->abdominal_leak_point_pressure.state, MEASURE_ABSENT);
    synth_close(&synth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_least_volume),
        cmocka_unit_test(test_resolution),
        cmocka_unit_test(test_only_while_filling),
        cmocka_unit_test(test_marker_and_meter_are_one),
        cmocka_unit_test(test_markers_alone),
        cmocka_unit_test(test_flow_delay),
        cmocka_unit_test(test_cough),
        cmocka_unit_test(test_cause_window),
        cmocka_unit_test(test_contraction),
        cmocka_unit_test(test_dry_contraction),
        cmocka_unit_test(test_both),
        cmocka_unit_test(test_low_compliance),
        cmocka_unit_test(test_lowest),
        cmocka_unit_test(test_knock),
        cmocka_unit_test(test_no_pressures),
    };

    return cmocka_run_group_tests_name("leaks", tests, NULL, NULL);
}
