/* Units: conventional values of the BIPM SI brochure and ISO 80000-4. */
#include "support/assert_close.h"

#include "analysis/units.h"

static void test_factors(void **state)
{
    static const struct {
        const char *from;
        const char *to;
        double factor;
    } rows[] = {{"kPa", "cm[H2O]", 10.197162130},
                {"cm[H2O]", "kPa", 0.0980665},
                {"mm[Hg]", "cm[H2O]", 1.35951},
                {"cm[H2O]", "mm[Hg]", 0.735559135},
                {"kPa", "mm[Hg]", 7.500615758},
                {"L/min", "mL/s", 16.66666667},
                {"mL/min", "mL/s", 1.0 / 60.0},
                {"mL/s", "mL/min", 60.0},
                {"L", "mL", 1000.0},
                {"min", "s", 60.0},
                {"cm", "mm", 10.0},
                {"mV", "uV", 1000.0},
                {"%", "1", 0.01},
                {"mL", "mL", 1.0},
                {"kg", "kg", 1.0},
                {"kg", "g", 1000.0},
                {"cm/s", "mm/s", 10.0}};

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double factor = 0.0;

        assert_true(units_factor(rows[i].from, rows[i].to, &factor));
        assert_close(factor, rows[i].factor, 1e-9 * rows[i].factor);
    }
}

static void test_refusals(void **state)
{
    static const char *const pairs[][2] = {
        {"kPa", "mL"}, {"ml", "mL"},         {"mL", "ml"}, {"mL", "mL/s"}, {"", "mL"},
        {"mL", ""},    {"cmH2O", "cm[H2O]"}, {"s", "mm"},  {"kg", "1"},    {"mm/s", "mm"}};

    (void)state;
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        double factor = -7.0;

        assert_false(units_factor(pairs[i][0], pairs[i][1], &factor));
        assert_close(factor, -7.0, 0.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_factors),
        cmocka_unit_test(test_refusals),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
