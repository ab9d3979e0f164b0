/* Detrusor pressure from two lines: pdet = pves - pabd (ICS, Drake et al. 2018), never from one. */
#include "formats/derived_pressure.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>
#include <string.h>

static bool same(double one, double other)
{
    uint64_t bits[2];
    memcpy(&bits[0], &one, sizeof one);
    memcpy(&bits[1], &other, sizeof other);
    return bits[0] == bits[1];
}

static void grids_have_to_be_the_same(void **state)
{
    (void)state;
    const struct pressure_grid grid = {
        .rate_hz = 10.0 / 3.0, .start_s = 0.125, .unit = "cm[H2O]", .count = 100};
    struct pressure_grid other = grid;
    char same_unit[] = "cm[H2O]"; /* equal by text, not by address */
    other.unit = same_unit;
    assert_true(derived_pressure_fits(&grid, &other));
    other.rate_hz = nextafter(grid.rate_hz, 9.0);
    assert_false(derived_pressure_fits(&grid, &other));
    other = grid;
    other.start_s = 0.0;
    assert_false(derived_pressure_fits(&grid, &other));
    other = grid;
    other.unit = "kPa";
    assert_false(derived_pressure_fits(&grid, &other));
    other = grid;
    other.count = 101;
    assert_false(derived_pressure_fits(&grid, &other));
}

static void differences_are_as_short_as_what_they_come_from(void **state)
{
    (void)state;

    static const struct {
        double pves;
        double pabd;
        double pdet;
    } rows[] = {{0.3, 0.1, 0.2},           /* 0.19999999999999998 in doubles */
                {100.1, 99.9, 0.2},        /* 0.19999999999998863 */
                {12.000001, 12, 0.000001}, /* the finest that a decimal code holds */
                {-3.25, 4.5, -7.75},       /* below zero is a value */
                {1e9, -1e9, 2e9},          /* the largest samples that are accepted */
                {999999999.123456, 0, 999999999.123456}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double pdet = -1;
        derived_pressure(&rows[i].pves, &rows[i].pabd, 1, &pdet);
        assert_true(same(pdet, rows[i].pdet));
    }
}

static void missing_on_either_side_is_missing(void **state)
{
    (void)state;
    const double pves[] = {1, (double)NAN, 3, (double)NAN, 5};
    const double pabd[] = {1, 2, (double)NAN, (double)NAN, 1};
    double pdet[5];
    derived_pressure(pves, pabd, 5, pdet);
    assert_true(same(pdet[0], 0.0));
    for (int i = 1; i <= 3; i++) {
        assert_true(isnan(pdet[i]) != 0);
    }
    assert_true(same(pdet[4], 4.0));
}

/* Longer than the portions in which it is made, of two different encodings. */
static void drawing_gets_the_same_to_four_decimals(void **state)
{
    (void)state;

    enum { COUNT = 2500 };

    struct arena *arena = arena_new();
    int16_t *codes = arena_array(arena, COUNT, sizeof *codes);
    double *decimals = arena_array(arena, COUNT, sizeof *decimals);
    double *differences = arena_array(arena, COUNT, sizeof *differences);
    for (size_t i = 0; i < COUNT; i++) {
        codes[i] = i % 50 == 7 ? INT16_MIN : (int16_t)((i * 37) % 3000);
        decimals[i] = i % 70 == 9 ? (double)NAN : (double)(i % 400) / 10.0;
    }
    const struct samples pves = {.encoding = SAMPLES_INT16,
                                 .scale = 0.05,
                                 .offset = -3,
                                 .count = COUNT,
                                 .missing = COUNT / 50,
                                 .codes = codes};
    struct samples pabd;
    samples_from_values(decimals, COUNT, arena, &pabd);
    derived_pressure(samples_all_values(&pves, arena), decimals, COUNT, differences);
    struct samples pdet;
    derived_pressure_for_drawing(&pves, &pabd, arena, &pdet);

    assert_int_equal(pdet.encoding, derived_pressure_shape().encoding);
    assert_int_equal(pdet.decimals, derived_pressure_shape().decimals);
    assert_int_equal(pdet.decimals, 4);
    assert_int_equal(pdet.count, COUNT);
    const double *drawn = samples_all_values(&pdet, arena);
    size_t missing = 0;
    for (size_t i = 0; i < COUNT; i++) {
        missing += isnan(drawn[i]) ? 1 : 0;
        assert_int_equal(isnan(drawn[i]) != 0, isnan(differences[i]) != 0);
        assert_true(isnan(drawn[i]) != 0 || fabs(drawn[i] - differences[i]) < 0.00005 + 1e-9);
    }
    assert_int_equal(pdet.missing, missing);
    assert_true(missing > COUNT / 50);
    arena_free(arena);
}

/* Never the code that means missing, and never the other sign. */
static void drawing_stays_at_its_limits(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const double pves[] = {1e9, -1e9, 214748.3647, -214748.3647, 214748.3648};
    const double pabd[] = {-1e9, 1e9, 0, 0, 0};
    const double wanted[] = {214748.3647, -214748.3647, 214748.3647, -214748.3647, 214748.3647};
    struct samples minuend;
    struct samples subtrahend;
    struct samples pdet;
    samples_from_values(pves, 5, arena, &minuend);
    samples_from_values(pabd, 5, arena, &subtrahend);
    derived_pressure_for_drawing(&minuend, &subtrahend, arena, &pdet);
    const double *drawn = samples_all_values(&pdet, arena);
    for (size_t i = 0; i < 5; i++) {
        assert_true(same(drawn[i], wanted[i]));
    }
    assert_int_equal(pdet.missing, 0);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grids_have_to_be_the_same),
        cmocka_unit_test(differences_are_as_short_as_what_they_come_from),
        cmocka_unit_test(missing_on_either_side_is_missing),
        cmocka_unit_test(drawing_gets_the_same_to_four_decimals),
        cmocka_unit_test(drawing_stays_at_its_limits),
    };
    return cmocka_run_group_tests_name("formats: derived pressure", tests, NULL, NULL);
}
