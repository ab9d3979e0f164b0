/* Decimals are read as strtod() reads them, bit for bit, and nothing else is taken. */
#include "tables.h"

#include "formats/decimal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void assert_as_strtod(const char *text)
{
    double value = 0.0;
    int decimals = 0;
    if (!decimal_parse(text, strlen(text), '.', &value, &decimals)) {
        fail_msg("refused: %s", text);
    }
    if (!tables_same(value, strtod(text, NULL))) {
        fail_msg("%s is read as %.17g", text, value);
    }
}

static void decimals_are_read_as_strtod_does(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "0",
        "-0",
        "-0.0",
        "+1.5",
        ".5",
        "5.",
        "00012.50",
        "0.1",
        "123.456",
        "9007199254740992",
        "9007199254740993", /* halfway between two doubles */
        "9007199254740993.0000000000000000000000000000000001",
        "1e22",
        "1e23", /* one power beyond the exact ones */
        "1e-22",
        "1e-23",
        "179769313486231570000e289",
        "4.9406564584124654e-324",
        "2e-324",
        "0e999999999",
        "0.000000000000000000000000000000000000000000001",
        "12345678901234567890123",
        "18446744073709551615",
        "18446744073709551616",
        "99999999999999999999",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        assert_as_strtod(texts[i]);
    }
}

static void random_decimals_are_read_as_strtod_does(void **state)
{
    (void)state;
    uint64_t seed = 11;
    for (int i = 0; i < 300000; i++) {
        char text[DECIMAL_TEXT_MAX];
        double value = 0.0;
        uint64_t bits = tables_random(&seed);
        int places = (int)tables_below(&seed, 25);
        switch (i % 4) {
        case 0: /* any double, shortened */
            memcpy(&value, &bits, sizeof value);
            (void)snprintf(text, sizeof text, "%.*g", places, value);
            if (strpbrk(text, "nN") != NULL) {
                continue;
            }
            break;
        case 1: /* what rooms send */
            (void)snprintf(text, sizeof text, "%s%u.%0*u", i % 3 == 0 ? "-" : "",
                           (unsigned)(bits % 1000), 1 + places % 4, (unsigned)(bits >> 40) % 10);
            break;
        case 2:
            (void)snprintf(text, sizeof text, "%llue%d", (unsigned long long)bits, places * 3 - 36);
            break;
        default:
            (void)snprintf(text, sizeof text, "%u.%llu", (unsigned)(bits % 100),
                           (unsigned long long)bits >> (places * 2));
            break;
        }
        assert_as_strtod(text);
    }
}

static void decimal_places_are_counted(void **state)
{
    (void)state;

    static const struct {
        const char *text;
        int decimals;
    } cases[] = {{"12", 0},     {"12.", 0},    {"0.10", 2}, {"1e-2", 2},
                 {"1.5e-2", 3}, {"1.25e1", 1}, {"3e4", 0}};

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double value = 0.0;
        int decimals = -1;
        assert_true(decimal_parse(cases[i].text, strlen(cases[i].text), '.', &value, &decimals));
        assert_int_equal(decimals, cases[i].decimals);
    }
}

static void the_mark_is_the_one_asked_for(void **state)
{
    (void)state;
    double value = 0.0;
    int decimals = 0;
    assert_true(decimal_parse("12,5", 4, ',', &value, &decimals));
    assert_true(tables_same(value, 12.5));
    assert_true(decimal_parse("0,12345678901234567891", 22, ',', &value, &decimals));
    assert_true(tables_same(value, 0.12345678901234567891));
    assert_false(decimal_parse("12.5", 4, ',', &value, &decimals));
    assert_false(decimal_parse("12,5", 4, '.', &value, &decimals));
}

static void all_else_is_refused(void **state)
{
    (void)state;
    static const char *const texts[] = {"",      ".",   "-",   "+-1", "1e",    "1e+",   "e5",
                                        " 1",    "1 ",  "nan", "inf", "0x10",  "1.2.3", "1,2",
                                        "1e5.0", "--1", "1-2", "1_0", "1e5e5", "\t1",   "Infinity"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        double value = 7.0;
        int decimals = 7;
        if (decimal_parse(texts[i], strlen(texts[i]), '.', &value, &decimals)) {
            fail_msg("accepted: %s", texts[i]);
        }
    }
    char longer[DECIMAL_TEXT_MAX + 2];
    memset(longer, '1', sizeof longer);
    double value = 0.0;
    int decimals = 0;
    assert_true(decimal_parse(longer, DECIMAL_TEXT_MAX, '.', &value, &decimals));
    assert_false(decimal_parse(longer, DECIMAL_TEXT_MAX + 1, '.', &value, &decimals));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(decimals_are_read_as_strtod_does),
        cmocka_unit_test(random_decimals_are_read_as_strtod_does),
        cmocka_unit_test(decimal_places_are_counted),
        cmocka_unit_test(the_mark_is_the_one_asked_for),
        cmocka_unit_test(all_else_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
