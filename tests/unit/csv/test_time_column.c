/* Printed times and the grid behind them: rounded as rooms round, and nothing looser. */
#include "tables.h"

#include "formats/decimal.h"
#include "formats/time_column.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

enum { ROWS_MAX = 4000 };

struct printed {
    struct time_column column;
    double times_s[ROWS_MAX];
    uint8_t decimals[ROWS_MAX];
    uint8_t is_loose[ROWS_MAX];
};

static void add(struct printed *printed, const char *text, size_t length)
{
    bool is_loose = text[length - 1] == '*';
    int decimals = 0;
    size_t row = printed->column.count++;
    assert_true(
        decimal_parse(text, length - (is_loose ? 1 : 0), '.', &printed->times_s[row], &decimals));
    printed->decimals[row] = (uint8_t)decimals;
    printed->is_loose[row] = is_loose ? 1 : 0;
}

static void begin(struct printed *printed)
{
    printed->column = (struct time_column){.count = 0,
                                           .times_s = printed->times_s,
                                           .decimals = printed->decimals,
                                           .is_loose = printed->is_loose};
}

/* Times separated by spaces; a row with * may stand beside the grid. */
static void print_words(struct printed *printed, const char *words)
{
    begin(printed);
    for (const char *at = words; *at != '\0';) {
        size_t length = strcspn(at, " ");
        add(printed, at, length);
        at += length + strspn(at + length, " ");
    }
    time_column_settle(&printed->column);
}

static void grids_are_found(void **state)
{
    (void)state;

    static const struct {
        const char *times;
        double rate_hz;
        double start_s;
    } cases[] = {
        {"0 0.1 0.2 0.3", 10, 0},
        {"0.0 0.1 0.2 0.3", 10, 0},
        {"0 1 2 3", 1, 0},
        {"0 3 6 9", 1.0 / 3.0, 0},
        {"0 0.04 0.08", 25, 0},
        {"0 0.033 0.067 0.1 0.133", 30, 0},
        {"0.000 0.033 0.066 0.099", 1000.0 / 33.0, 0}, /* a clock of whole milliseconds */
        {"0 0.03 0.07 0.1 0.13", 30, 0},
        {"0.0000 0.0167 0.0333 0.0500", 60, 0},
        {"0 0.042 0.083 0.125", 24, 0},
        {"0 0.133 0.267 0.4 0.533", 7.5, 0},
        {"0 0.016667 0.033333 0.05", 60, 0},
        {"99.9333 99.9667 100 100.033 100.067", 30, 2998.0 / 30.0},
        {"10.033 10.067 10.1 10.133 10.167", 30, 301.0 / 30.0}, /* 10.033 does not fit */
        {"0.5 0.6 0.7", 10, 0.5},
        {"0 0.00390625 0.0078125", 256, 0},
        {"0 0.0009765625 0.001953125", 1024, 0},
        {"0 1e-1 2e-1", 10, 0},
        {"0 0.05* 0.1 0.2 0.3", 10, 0},
        {"0 0.1* 0.2 0.3 0.4", 10, 0},
        {"0 0.1* 0.15* 0.2* 0.3 0.4", 10, 0},
        {"0.1* 0.2 0.3 0.4", 10, 0.1},
        {"0.1* 0.3 0.4 0.5", 10, 0.3},
        {"0.15* 0.2 0.3", 10, 0.2},
        {"0 0.1* 0.2", 5, 0},
        {"0 0.05* 0.1 0.2* 0.3", 10, 0},
        {"1 2", 1, 1},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct printed printed;
        struct time_grid grid = {0};
        size_t row = 0;
        print_words(&printed, cases[i].times);
        if (!time_column_grid(&printed.column, &grid, &row)) {
            fail_msg("%s: row %zu does not fit", cases[i].times, row);
        }
        if (!tables_same(grid.rate_hz, cases[i].rate_hz) ||
            !tables_same(grid.start_s, cases[i].start_s)) {
            fail_msg("%s: %.17g Hz from %.17g s", cases[i].times, grid.rate_hz, grid.start_s);
        }
    }
}

static void uneven_times_are_refused_at_their_row(void **state)
{
    (void)state;

    static const struct {
        const char *times;
        size_t row;
    } cases[] = {
        {"0 0.1 0.2 0.4 0.5", 3},          /* a row is missing */
        {"0 0.1 0.2 0.25 0.3 0.4", 3},     /* one too many */
        {"0 0.10 0.20 0.31 0.40 0.50", 3}, /* beyond half a unit of the last digit */
        {"0 0.03 0.07 0.1 0.17 0.2", 4},   /* a missing row is no rounding */
        {"0 0.1 0.2 0.4 0.5 0.6 0.7", 3},
        {"0 0.02 0.03 0.05 0.07 0.08", 2}, /* 60 Hz, but too coarse to be sure */
        {"0 0.033 0.067 0.102 0.133", 3},
        {"0.000 0.033 0.067 0.100 0.133 0.168 0.200", 5},
        {"0 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8 0.9 1.1", 10},
        {"0", SIZE_MAX},
        {"0.1* 0.2 0.3*", SIZE_MAX},
        {"0.1* 0.2*", SIZE_MAX},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct printed printed;
        struct time_grid grid = {0};
        size_t row = 0;
        print_words(&printed, cases[i].times);
        if (time_column_grid(&printed.column, &grid, &row)) {
            fail_msg("%s: taken for %.17g Hz from %.17g s", cases[i].times, grid.rate_hz,
                     grid.start_s);
        }
        if (row != cases[i].row) {
            fail_msg("%s: row %zu", cases[i].times, row);
        }
    }
}

/* Whatever a room rounds to, the rate that it recorded with is found and every row fits. */
static void rounded_times_give_the_rate(void **state)
{
    (void)state;
    static const double rates_hz[] = {1,  2,  3,  4,  7,  10, 12.5, 15, 16,
                                      20, 25, 30, 50, 60, 64, 100,  128};

    static const struct {
        bool is_fixed; /* else significant digits */
        int digits;
    } forms[] = {{true, 3}, {true, 4}, {true, 6}, {true, 12}, {false, 6}, {false, 9}, {false, 17}};

    for (size_t r = 0; r < sizeof rates_hz / sizeof rates_hz[0]; r++) {
        for (size_t f = 0; f < sizeof forms / sizeof forms[0]; f++) {
            struct printed printed;
            begin(&printed);
            for (size_t i = 0; i < 2000; i++) {
                char text[40];
                double at_s = (double)i / rates_hz[r];
                int length = forms[f].is_fixed
                                 ? snprintf(text, sizeof text, "%.*f", forms[f].digits, at_s)
                                 : snprintf(text, sizeof text, "%.*g", forms[f].digits, at_s);
                add(&printed, text, (size_t)length);
            }
            time_column_settle(&printed.column);
            struct time_grid grid = {0};
            size_t row = 0;
            if (!time_column_grid(&printed.column, &grid, &row) ||
                !tables_same(grid.rate_hz, rates_hz[r]) || !tables_same(grid.start_s, 0.0)) {
                fail_msg("form %zu at %.17g Hz: %.17g Hz from %.17g s, row %zu", f, rates_hz[r],
                         grid.rate_hz, grid.start_s, row);
            }
            for (size_t i = 0; i < 2000; i++) {
                assert_true(time_column_fits(&printed.column, i, time_grid_at(&grid, i)));
            }
        }
    }
}

/* One time off by more than its rounding allows is found, wherever it stands, and named when the
 * rows before it leave no doubt. */
static void one_wrong_time_is_found(void **state)
{
    (void)state;
    uint64_t seed = 5;
    for (int round = 0; round < 400; round++) {
        double wrong_s = (round % 2 == 0 ? 1.0 : -1.0) * (round < 200 ? 0.0021 : 0.0041);
        struct printed printed;
        begin(&printed);
        size_t wrong = 2 + tables_below(&seed, 196);
        for (size_t i = 0; i < 200; i++) {
            char text[40];
            double at_s = (double)i / 30.0 + (i == wrong ? wrong_s : 0.0);
            int length = snprintf(text, sizeof text, "%.3f", at_s);
            add(&printed, text, (size_t)length);
        }
        time_column_settle(&printed.column);
        struct time_grid grid = {0};
        size_t row = 0;
        assert_false(time_column_grid(&printed.column, &grid, &row));
        assert_true(row >= wrong && row < 200);
        assert_true(round < 200 || row == wrong);
    }
}

static void a_row_beside_the_grid_yields_to_the_next(void **state)
{
    (void)state;
    struct printed printed;
    print_words(&printed, "0 0.0999999999* 0.1 0.2");
    assert_true(time_column_fits(&printed.column, 1, 0.1));
    assert_false(time_column_takes(&printed.column, 1, 0.1, true));
    assert_true(time_column_takes(&printed.column, 2, 0.1, true));
    assert_true(time_column_takes(&printed.column, 2, 0.1, false));
    assert_false(time_column_takes(&printed.column, 3, 0.1, false));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grids_are_found),
        cmocka_unit_test(uneven_times_are_refused_at_their_row),
        cmocka_unit_test(rounded_times_give_the_rate),
        cmocka_unit_test(one_wrong_time_is_found),
        cmocka_unit_test(a_row_beside_the_grid_yields_to_the_next),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
