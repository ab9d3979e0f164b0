/* Pressure-flow indices and classes.
 *
 * BOOI = pdetQmax - 2 Qmax, BCI = pdetQmax + 5 Qmax: Abrams P. BJU Int 1999;84:14-15 (formulas, and
 * the limits 20, 40 and 100, read in secondary sources; 150 from memory). Bands: Griffiths D et al.
 * (ICS). Neurourol Urodyn 1997;16:1-18 (from memory). Obstruction coefficient: Schafer W, from
 * memory. URA: Griffiths D et al. Neurourol Urodyn 1989;8:17-27, constant from memory. A limit
 * itself belongs to the middle band: a choice of this project. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/nomogram/nomogram_chart.h"
#include "analysis/voiding/outlet.h"

#include <string.h>

static const char *zone(enum nomogram_code code, double pdet_qmax, double qmax)
{
    struct nomogram_chart chart;

    assert_true(nomogram_chart(code, NULL, 0.0, &chart));
    return nomogram_zone(&chart, qmax, pdet_qmax)->code;
}

static const char *strength(double bci)
{
    static const char *const names[] = {"weak", "normal", "strong"};
    struct nomogram_chart chart;

    assert_true(nomogram_chart(NOMOGRAM_COMPOSITE, NULL, 0.0, &chart));
    return names[nomogram_band(&chart, 1, 0.0, bci)];
}

/* Worked examples 4: index, class, obstruction coefficient and URA of the same seven points. */
static void test_index_table(void **state)
{
    static const struct {
        double pdet_qmax;
        double qmax;
        double booi;
        const char *obstruction;
        double oco;
        double ura;
        double bci;
        const char *contractility;
    } rows[] = {{80, 6, 68, "obstructed", 1.5385, 48.208, 110, "normal"},
                {60, 10, 40, "equivocal", 1.0000, 28.700, 110, "normal"},
                {45, 18, 9, "unobstructed", 0.5921, 15.4835, 135, "normal"},
                {30, 12, 6, "unobstructed", 0.4688, 15.997, 90, "weak"},
                {100, 8, 84, "obstructed", 1.7857, 46.780, 140, "normal"},
                {35, 4, 27, "equivocal", 0.7292, 29.654, 55, "weak"},
                {55, 14, 27, "equivocal", 0.8088, 21.278, 125, "normal"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double pdet = rows[i].pdet_qmax;
        const double qmax = rows[i].qmax;
        double ura = 0.0;

        assert_close(outlet_booi(pdet, qmax), rows[i].booi, 1e-9);
        assert_close(outlet_bci(pdet, qmax), rows[i].bci, 1e-9);
        assert_close(outlet_obstruction_coefficient(pdet, qmax), rows[i].oco, 5e-5);
        assert_true(outlet_ura(pdet, qmax, &ura));
        assert_close(ura, rows[i].ura, 5e-4);
        /* BCI - BOOI = 7 Qmax, whatever the pressure. */
        assert_close(outlet_bci(pdet, qmax) - outlet_booi(pdet, qmax), 7.0 * qmax, 1e-9);
        assert_string_equal(zone(NOMOGRAM_ICS_OBSTRUCTION, pdet, qmax), rows[i].obstruction);
        assert_string_equal(strength(rows[i].bci), rows[i].contractility);
    }
}

/* At no flow the index is the pressure itself. */
static void test_boundaries(void **state)
{
    static const enum nomogram_code ics = NOMOGRAM_ICS_OBSTRUCTION;

    (void)state;
    assert_string_equal(zone(ics, 39.99, 0.0), "equivocal");
    assert_string_equal(zone(ics, 40.0, 0.0), "equivocal");
    assert_string_equal(zone(ics, 40.01, 0.0), "obstructed");
    assert_string_equal(zone(ics, 19.99, 0.0), "unobstructed");
    assert_string_equal(zone(ics, 20.0, 0.0), "equivocal");
    assert_string_equal(zone(ics, 20.01, 0.0), "equivocal");
    assert_string_equal(strength(99.99), "weak");
    assert_string_equal(strength(100.0), "normal");
    assert_string_equal(strength(150.0), "normal");
    assert_string_equal(strength(150.01), "strong");
    /* Rounding noise of a computation does not move a value off its limit. */
    assert_string_equal(zone(ics, 40.0 + 1e-10, 0.0), "equivocal");
    assert_string_equal(zone(ics, 20.0 - 1e-10, 0.0), "equivocal");
    assert_string_equal(zone(ics, 40.0 + 4.9e-7, 0.0), "equivocal");
    assert_string_equal(zone(ics, 40.0 + 5.1e-7, 0.0), "obstructed");
}

/* The nine cells of the composite nomogram, each by a point within it. BJU Int 1999;84:14-15 gives
 * the three bands of each index; 150 from memory. */
static void test_composite_cells(void **state)
{
    static const struct {
        double booi;
        double bci;
        const char *cell;
    } rows[] = {{10, 80, "unobstructed_weak"},    {10, 120, "unobstructed_normal"},
                {10, 160, "unobstructed_strong"}, {30, 80, "equivocal_weak"},
                {30, 120, "equivocal_normal"},    {30, 160, "equivocal_strong"},
                {60, 80, "obstructed_weak"},      {60, 120, "obstructed_normal"},
                {60, 160, "obstructed_strong"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double qmax = (rows[i].bci - rows[i].booi) / 7.0;
        const double pdet = rows[i].booi + 2.0 * qmax;

        assert_close(outlet_booi(pdet, qmax), rows[i].booi, 1e-9);
        assert_close(outlet_bci(pdet, qmax), rows[i].bci, 1e-9);
        assert_string_equal(zone(NOMOGRAM_COMPOSITE, pdet, qmax), rows[i].cell);
    }
}

/* A voiding at a constant detrusor pressure, with Qmax held for a long time. */
static const struct analysis_result *run_void(struct synth *synth, double pdet, double qmax,
                                              enum patient_sex sex)
{
    const double points[][2] = {{20.0, 0.0}, {22.0, qmax}, {45.0, qmax}, {47.0, 0.0}};
    const struct polyline line = {4, points};
    const double pabd = 20.0;
    const double pves = pabd + pdet;
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};

    synth_open(synth, RECORDING_PRESSURE_FLOW);
    synth->recording.sex = sex;
    synth_event(synth, EVENT_PERMISSION_TO_VOID, 15.0);
    synth_channel(synth, SIGNAL_FLOW, sampling, polyline_value, &line);
    synth_channel(synth, SIGNAL_PVES, sampling, constant_value, &pves);
    synth_channel(synth, SIGNAL_PABD, sampling, constant_value, &pabd);
    return synth_run(synth);
}

static void test_boundaries_through_the_analysis(void **state)
{
    static const struct {
        double pdet;
        double qmax;
        const char *obstruction;
        const char *contractility;
    } rows[] = {{60.0, 10.0, "equivocal", "normal"},    {60.01, 10.0, "obstructed", "normal"},
                {40.0, 10.0, "equivocal", "weak"},      {39.99, 10.0, "unobstructed", "weak"},
                {50.0, 10.0, "equivocal", "normal"},    {49.99, 10.0, "equivocal", "weak"},
                {50.0, 20.0, "unobstructed", "normal"}, {50.01, 20.0, "unobstructed", "strong"}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        const struct analysis_result *result =
            run_void(&synth, rows[i].pdet, rows[i].qmax, SEX_MALE);
        const struct classification *obstruction = synth_class(result, "ics_obstruction");
        const struct classification *contractility = synth_class(result, "contractility");

        assert_non_null(obstruction);
        assert_non_null(contractility);
        assert_string_equal(obstruction->class, rows[i].obstruction);
        assert_string_equal(contractility->class, rows[i].contractility);
        assert_int_equal(obstruction->basis_count, 1);
        assert_string_equal(obstruction->basis[0].code, "booi");
        assert_close(obstruction->basis[0].value, result->voiding.booi.value, 0.0);
        assert_non_null(obstruction->method);
        assert_int_equal(synth_finding(result, "outlet_obstruction_suggested") != NULL,
                         strcmp(rows[i].obstruction, "obstructed") == 0);
        assert_int_equal(synth_finding(result, "weak_contraction_suggested") != NULL,
                         strcmp(rows[i].contractility, "weak") == 0);
        synth_close(&synth);
    }
}

/* Valid for men only: IUGA newsletter page, ICS 2022 abstract 148 on BCI in women. */
static void test_not_for_others(void **state)
{
    static const enum patient_sex sexes[] = {SEX_FEMALE, SEX_UNKNOWN, SEX_OTHER};

    (void)state;
    for (size_t i = 0; i < sizeof sexes / sizeof sexes[0]; i++) {
        struct synth synth;
        const struct analysis_result *result = run_void(&synth, 60.0, 10.0, sexes[i]);

        assert_close(result->voiding.pdet_qmax.value, 60.0, 1e-9);
        assert_int_equal(result->voiding.booi.state, MEASURE_ABSENT);
        assert_int_equal(result->voiding.bci.state, MEASURE_ABSENT);
        assert_non_null(strstr(result->voiding.booi.reason, "men only"));
        assert_null(synth_class(result, "ics_obstruction"));
        assert_null(synth_class(result, "contractility"));
        assert_null(synth_class(result, "composite"));
        assert_null(synth_class(result, "linear_purr_group"));
        synth_close(&synth);
    }
    struct synth boy;

    (void)run_void(&boy, 60.0, 10.0, SEX_MALE);
    boy.recording.age_years.value = 17.9;
    const struct analysis_result *result = synth_run(&boy);

    assert_int_equal(result->voiding.booi.state, MEASURE_ABSENT);
    assert_non_null(strstr(result->voiding.booi.reason, "children"));
    synth_close(&boy);
}

/* Worked example: pdet(t) = 60 - 1.5 (t - 10), recorded flow peak 11 mL/s at 12.0 s.
 * Delay 0: pdetQmax 57.0, BOOI 35.0; delay 0.8 s: 58.2 and 36.2. The flow reaches 11 mL/s at 11 s
 * and leaves it at 13 s, so that the 2 s average has its one maximum at 12.0 s. */
static void test_flow_delay(void **state)
{
    static const struct {
        struct optional_number delay;
        double pdet_qmax;
        double booi;
    } rows[] = {{{true, 0.0}, 57.0, 35.0}, {{true, 0.8}, 58.2, 36.2}, {{false, 0.0}, 58.2, 36.2}};

    static const double flow_points[][2] = {{5.0, 0.0}, {11.0, 11.0}, {13.0, 11.0}, {20.0, 0.0}};
    static const double pdet_points[][2] = {{0.0, 75.0}, {30.0, 30.0}};
    static const struct polyline flow = {4, flow_points};
    static const struct polyline pdet = {2, pdet_points};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 30.0};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;

        synth_open(&synth, RECORDING_PRESSURE_FLOW);
        synth.recording.conditions.flow_delay_s = rows[i].delay;
        synth_channel(&synth, SIGNAL_FLOW, sampling, polyline_value, &flow);
        synth_channel(&synth, SIGNAL_PDET, sampling, polyline_value, &pdet);
        const struct voiding_measures *voiding = &synth_run(&synth)->voiding;

        assert_close(voiding->flow.qmax.value, 11.0, 1e-9);
        assert_close(voiding->flow.qmax.at_s, 12.0, 1e-9);
        assert_close(voiding->pdet_qmax.value, rows[i].pdet_qmax, 1e-6);
        assert_close(voiding->pdet_qmax.at_s, 12.0 - voiding->flow_delay.value, 1e-9);
        assert_close(voiding->booi.value, rows[i].booi, 1e-6);
        assert_int_equal(voiding->flow_delay.source,
                         rows[i].delay.known ? SOURCE_ENTERED : SOURCE_COMPUTED);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_index_table),
        cmocka_unit_test(test_boundaries),
        cmocka_unit_test(test_composite_cells),
        cmocka_unit_test(test_boundaries_through_the_analysis),
        cmocka_unit_test(test_not_for_others),
        cmocka_unit_test(test_flow_delay),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
