/* Indices of the outlet and the rules for men.
 *
 * URA: Griffiths D, van Mastrigt R, Bosch R. Neurourol Urodyn 1989;8:17-27; its constant and the
 * limit of 29 from memory. Obstruction coefficient and linear PURR: Schafer W. World J Urol
 * 1995;13:47-58; the coefficient and the line between II and III from memory, the line from
 * (0, pmuo) to (Qmax, pdetQmax) read in ICS 2026 abstract 146. Underactivity: Gammie A et al. Eur
 * Urol 2016;69:361-369, from memory. */
#include "support/assert_close.h"
#include "support/synth.h"

#include "analysis/voiding/outlet.h"
#include "analysis/voiding/voiding_classes.h"

#include <math.h>

static double ura(double pdet, double qmax)
{
    double value = 0.0;

    assert_true(outlet_ura(pdet, qmax, &value));
    return value;
}

/* Test vectors of the reference, tolerance 1e-3 relative; then the inverse: u = 29 gives p at Q. */
static void test_ura(void **state)
{
    static const double inverse[][3] = {
        {29.0, 5.0, 36.990}, {29.0, 10.0, 60.958}, {29.0, 15.0, 100.906}, {21.0, 10.0, 37.758}};

    (void)state;
    assert_close(ura(80.0, 6.0), 48.2078, 1e-3 * 48.2);
    assert_close(ura(60.0, 10.0), 28.6999, 1e-3 * 28.7);
    assert_close(ura(50.0, 0.0), 50.0, 1e-12);
    assert_close(ura(25.0, 12.0), 14.108, 5e-4);
    assert_close(ura(20.0, 20.0), 8.644, 5e-4);
    assert_close(ura(30.0, 10.0), 17.868, 5e-4);
    for (size_t i = 0; i < sizeof inverse / sizeof inverse[0]; i++) {
        assert_close(ura(inverse[i][2], inverse[i][1]), inverse[i][0], 1e-3);
    }
}

/* The root is exact where the usual form loses its digits, and refuses what has none. */
static void test_ura_numerics(void **state)
{
    double value = 0.0;

    (void)state;
    for (int power = -9; power < -2; power++) {
        const double q = pow(10.0, power);

        /* p = u + d u^2 Q^2, so u = p - d p^2 Q^2 to first order. */
        assert_close(ura(60.0, q), 60.0 - 3.8e-4 * 3600.0 * q * q, 1e-7);
    }
    for (int i = 0; i < 10; i++) {
        for (int k = 0; k < 8; k++) {
            const double p = pow(1.7, i);
            const double q = 0.5 * pow(1.9, k);
            const double u = ura(p, q);

            assert_close(u + 3.8e-4 * u * u * q * q, p, 1e-9 * p);
        }
    }
    assert_false(outlet_ura(0.0, 10.0, &value));
    assert_false(outlet_ura(-5.0, 10.0, &value));
    assert_false(outlet_ura(60.0, -0.1, &value));
    assert_false(outlet_ura((double)NAN, 10.0, &value));
    assert_false(outlet_ura(60.0, (double)NAN, &value));
}

/* Identity: the coefficient is 1 exactly where BOOI is 40. Test vector: 80, 6 gives 1.53846. */
static void test_obstruction_coefficient(void **state)
{
    (void)state;
    assert_close(outlet_obstruction_coefficient(80.0, 6.0), 1.53846, 1e-5);
    for (int step = 0; step <= 12; step++) {
        const double q = 2.5 * step;

        assert_close(outlet_obstruction_coefficient(40.0 + 2.0 * q, q), 1.0, 1e-12);
        assert_true(outlet_obstruction_coefficient(40.01 + 2.0 * q, q) > 1.0);
        assert_true(outlet_obstruction_coefficient(39.99 + 2.0 * q, q) < 1.0);
    }
}

/* Worked: 80, 35, 6 gives 7.500; 45, 15, 18 gives 1.667 cmH2O per mL/s. */
static void test_purr(void **state)
{
    (void)state;
    assert_close(outlet_purr_slope(80.0, 35.0, 6.0), 7.5, 1e-9);
    assert_close(outlet_purr_slope(45.0, 15.0, 18.0), 1.667, 5e-4);
    assert_string_equal(voiding_purr_group(19.99), "0-I");
    assert_string_equal(voiding_purr_group(20.0), "II");
    assert_string_equal(voiding_purr_group(40.0), "II");
    assert_string_equal(voiding_purr_group(40.01), "III-VI");
}

/* Men: BCI below 100, BOOI below 20 and emptying below 90 % together; each limit on both sides. */
static void test_underactivity_of_men(void **state)
{
    (void)state;
    assert_string_equal(voiding_underactive_man(99.9, 19.9, 89.9), "underactive");
    assert_string_equal(voiding_underactive_man(100.0, 19.9, 89.9), "not_underactive");
    assert_string_equal(voiding_underactive_man(99.9, 20.0, 89.9), "not_underactive");
    assert_string_equal(voiding_underactive_man(99.9, 19.9, 90.0), "not_underactive");
}

/* A man's voiding at constant pressure, flow held long enough, with a residual. */
static const struct analysis_result *run_man(struct synth *synth, double pdet, double qmax,
                                             double residual_ml)
{
    const double points[][2] = {{20.0, 0.0}, {22.0, qmax}, {45.0, qmax}, {47.0, 0.0}};
    const struct polyline line = {4, points};
    const struct synth_sampling sampling = {.rate_hz = 10.0, .end_s = 60.0};

    synth_open(synth, RECORDING_PRESSURE_FLOW);
    synth->recording.conditions.post_void_residual_ml = (struct optional_number){true, residual_ml};
    synth_channel(synth, SIGNAL_FLOW, sampling, polyline_value, &line);
    synth_channel(synth, SIGNAL_PDET, sampling, constant_value, &pdet);
    return synth_run(synth);
}

static const char *class_of(const struct analysis_result *result, const char *code)
{
    const struct classification *found = synth_class(result, code);

    assert_non_null(found);
    assert_true(found->basis_count > 0 && found->method != NULL);
    return found->class;
}

/* URA above 29 is obstructed in men, 29 itself is not: p = 60.958 at 10 mL/s has u = 29. */
static void test_through_the_analysis(void **state)
{
    static const struct {
        double pdet;
        double qmax;
        const char *ura;
        const char *group;
        const char *cell;
        const char *underactive;
        bool disagree;
    } rows[] = {
        {60.9, 10.0, "not_obstructed", "III-VI", "obstructed_normal", "not_underactive", true},
        {61.1, 10.0, "obstructed", "III-VI", "obstructed_normal", "not_underactive", false},
        {35.0, 4.0, "obstructed", "II", "equivocal_weak", "not_underactive", true},
        {30.0, 12.0, "not_obstructed", "0-I", "unobstructed_weak", "underactive", false},
        {45.0, 18.0, "not_obstructed", "0-I", "unobstructed_normal", "not_underactive", false},
        {80.0, 15.0, "not_obstructed", "III-VI", "obstructed_strong", "not_underactive", true}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct synth synth;
        const struct analysis_result *result = run_man(&synth, rows[i].pdet, rows[i].qmax, 200.0);

        assert_close(result->voiding.ura.value, ura(rows[i].pdet, rows[i].qmax), 1e-6);
        assert_close(result->voiding.obstruction_coefficient.value,
                     rows[i].pdet / (40.0 + 2.0 * rows[i].qmax), 1e-6);
        assert_string_equal(class_of(result, "ura_obstruction"), rows[i].ura);
        assert_string_equal(class_of(result, "linear_purr_group"), rows[i].group);
        assert_string_equal(class_of(result, "composite"), rows[i].cell);
        assert_string_equal(class_of(result, "underactivity"), rows[i].underactive);
        assert_int_equal(synth_finding(result, "obstruction_rules_disagree") != NULL,
                         rows[i].disagree);
        assert_null(synth_class(result, "female_obstruction"));
        assert_null(synth_class(result, "pip1_contractility"));
        assert_int_equal(result->voiding.pip1.state, MEASURE_ABSENT);
        synth_close(&synth);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ura),
        cmocka_unit_test(test_ura_numerics),
        cmocka_unit_test(test_obstruction_coefficient),
        cmocka_unit_test(test_purr),
        cmocka_unit_test(test_underactivity_of_men),
        cmocka_unit_test(test_through_the_analysis),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
