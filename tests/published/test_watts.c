/* Watts factor: Griffiths DJ, Constantinou CE, van Mastrigt R. Am J Physiol 1986;251:R225-R230. The
 * form was read in ICS 2026 abstract 417; a = 25 cmH2O, b = 6 mm/s and 10 mL of wall are from
 * memory, so the values below test the code, not the medicine. */
#include "support/assert_close.h"

#include "analysis/voiding/watts.h"

/* Worked example 5. */
static void test_table(void **state)
{
    static const struct {
        double pdet;
        double flow;
        double volume;
        double speed;
        double watts;
    } rows[] = {{100, 0, 300, 0.0, 9.3647},    {80, 6, 250, 1.9137, 10.6279},
                {45, 18, 300, 5.1058, 9.7924}, {40, 20, 200, 7.3549, 11.2075},
                {25, 22, 350, 5.6483, 6.7490}, {30, 12, 0, 33.590, 31.644}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_close(watts_shortening_mm_s(rows[i].flow, rows[i].volume), rows[i].speed,
                     1e-4 * rows[i].speed + 1e-9);
        assert_close(watts_factor(rows[i].pdet, rows[i].flow, rows[i].volume), rows[i].watts,
                     1e-4 * rows[i].watts);
    }
}

/* Test vectors: 80, 6, 250 gives 10.6279; 100, 0, 300 gives 9.36466; vdet of 18 at 300 is 5.10576.
 */
static void test_vectors(void **state)
{
    (void)state;
    assert_close(watts_factor(80.0, 6.0, 250.0), 10.6279, 1e-4);
    assert_close(watts_factor(100.0, 0.0, 300.0), 9.36466, 1e-5);
    assert_close(watts_shortening_mm_s(18.0, 300.0), 5.10576, 1e-5);
}

/* Without flow it is 0.093647 of the pressure, whatever the volume. */
static void test_isovolumetric(void **state)
{
    (void)state;
    for (int step = 0; step <= 4; step++) {
        assert_close(watts_factor(60.0, 0.0, 150.0 * step), 0.093647 * 60.0, 1e-4);
    }
    /* No work without pressure and flow. */
    assert_close(watts_factor(0.0, 0.0, 200.0), 0.0, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_table),
        cmocka_unit_test(test_vectors),
        cmocka_unit_test(test_isovolumetric),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
