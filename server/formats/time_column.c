#include "formats/time_column.h"

#include <math.h>

/* Times of more decimals than this are taken for quotients, not for decimals. */
enum { DECIMAL_STEP_MAX = 9, RATE_DECIMALS_MAX = 6 };

static void raise(uint8_t *decimals, int least)
{
    if (*decimals < least) {
        *decimals = (uint8_t)least;
    }
}

/* The place of the first digit: 2 for 345, -1 for 0.1. */
static int magnitude_of(double time_s)
{
    return time_s > 0.0 ? (int)floor(log10(time_s) + 1e-9) : 0;
}

void time_column_settle(struct time_column *column)
{
    int digits = 0; /* significant ones, less one */
    double next_s = 0.0;
    int magnitude = 0;
    for (size_t i = 0; i < column->count; i++) {
        if (column->times_s[i] >= next_s) {
            magnitude = magnitude_of(column->times_s[i]);
            next_s = column->times_s[i] > 0.0 ? pow(10.0, magnitude + 1.0) : 0.0;
        }
        raise(&column->decimals[i], digits - magnitude);
        if (!column->is_loose[i] && column->times_s[i] > 0.0) {
            digits = (int)fmax(digits, column->decimals[i] + magnitude);
        }
    }
    int decimals = 0;
    for (size_t i = column->count; i-- > 0;) {
        raise(&column->decimals[i], decimals);
        if (!column->is_loose[i]) {
            decimals = column->decimals[i];
        }
    }
}

static double power_of_ten(int exponent)
{
    static const double powers[] = {1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    return exponent < (int)(sizeof powers / sizeof powers[0]) ? powers[exponent]
                                                              : pow(10.0, (double)exponent);
}

static double tolerance_s(const struct time_column *column, size_t row)
{
    /* Finer ones vanish beside what counts as the same instant. */
    static const double half_units_s[] = {5e-1, 5e-2, 5e-3, 5e-4,  5e-5,  5e-6,
                                          5e-7, 5e-8, 5e-9, 5e-10, 5e-11, 5e-12};
    size_t decimals = column->decimals[row];
    bool is_fine = decimals >= sizeof half_units_s / sizeof half_units_s[0];
    return (is_fine ? 0.0 : half_units_s[decimals]) + TIME_COLUMN_SAME_S;
}

double time_grid_at(const struct time_grid *grid, size_t index)
{
    return grid->start_s + (double)index / grid->rate_hz;
}

bool time_column_fits(const struct time_column *column, size_t row, double at_s)
{
    return fabs(column->times_s[row] - at_s) <= tolerance_s(column, row);
}

bool time_column_takes(const struct time_column *column, size_t row, double at_s, bool is_optional)
{
    return time_column_fits(column, row, at_s) &&
           !(is_optional && row + 1 < column->count &&
             fabs(column->times_s[row + 1] - at_s) < fabs(column->times_s[row] - at_s));
}

/* ---- The rows that are not loose, each with its place on the grid ---- */

struct walk {
    const struct time_column *column;
    double step_s; /* about, for gaps that loose rows may fill */
    size_t row;
    size_t index;
};

static size_t next_firm(const struct time_column *column, size_t row)
{
    while (row < column->count && column->is_loose[row]) {
        row++;
    }
    return row;
}

/* Goes on to the next firm row; false after the last. */
static bool walk_on(struct walk *walk)
{
    size_t row = next_firm(walk->column, walk->row + 1);
    if (row >= walk->column->count) {
        return false;
    }
    size_t between = row - walk->row - 1;
    double steps = 1.0;
    if (between > 0) {
        double gap_s = walk->column->times_s[row] - walk->column->times_s[walk->row];
        steps = fmin(fmax(rint(gap_s / walk->step_s), 1.0), (double)(between + 1));
    }
    walk->index += (size_t)steps;
    walk->row = row;
    return true;
}

static struct walk walk_begin(const struct time_column *column, double step_s)
{
    return (struct walk){
        .column = column, .step_s = step_s, .row = next_firm(column, 0), .index = 0};
}

/* The mean step between neighbours, neither of them loose; without such, the least gap between rows
 * that are not. */
static double typical_step_s(const struct time_column *column)
{
    double sum_s = 0.0;
    double least_s = (double)INFINITY;
    size_t count = 0;
    size_t before = next_firm(column, 0);
    for (size_t row = before; row < column->count; row = next_firm(column, row + 1)) {
        double gap_s = column->times_s[row] - column->times_s[before];
        if (row == before + 1) {
            sum_s += gap_s;
            count++;
        }
        least_s = row > before ? fmin(least_s, gap_s) : least_s;
        before = row;
    }
    return count > 0 ? sum_s / (double)count : least_s;
}

/* ---- Finding the grid ---- */

struct search {
    const struct time_column *column;
    struct walk first;
    double mean_step_s;
    double least_step_s; /* what rounding leaves possible */
    double greatest_step_s;
    double coarsest_s; /* half a unit of the time with the fewest decimals */
    bool may_shift;    /* the start need be neither as printed nor a multiple of the step */
};

/* Narrows the possible steps from row to row, seen from the first. False when none is left, or
 * there is no second row. */
static bool bound_steps(struct search *search)
{
    const struct time_column *column = search->column;
    struct walk walk = search->first;
    double first_s = column->times_s[walk.row];
    double first_slack_s = tolerance_s(column, walk.row);
    search->least_step_s = 0.0;
    search->greatest_step_s = (double)INFINITY;
    search->coarsest_s = first_slack_s;
    while (walk_on(&walk)) {
        double index = (double)walk.index;
        double since_s = column->times_s[walk.row] - first_s;
        double slack_s = first_slack_s + tolerance_s(column, walk.row);
        search->least_step_s = fmax(search->least_step_s, (since_s - slack_s) / index);
        search->greatest_step_s = fmin(search->greatest_step_s, (since_s + slack_s) / index);
        search->coarsest_s = fmax(search->coarsest_s, slack_s - first_slack_s);
        search->mean_step_s = since_s / index;
        if (search->least_step_s > search->greatest_step_s) {
            return false;
        }
    }
    return walk.row > search->first.row;
}

/* Whether the times as printed rise by one step of as many decimals. */
static bool find_printed_step(const struct search *search, struct time_grid *ret_grid)
{
    const struct time_column *column = search->column;
    struct walk walk = search->first;
    int decimals = column->decimals[walk.row];
    double unit_s = 1.0 / power_of_ten(decimals);
    double units = rint(search->mean_step_s * power_of_ten(decimals));
    double first_s = column->times_s[walk.row];
    if (decimals > DECIMAL_STEP_MAX || units < 1.0) {
        return false;
    }
    struct time_grid grid = {.rate_hz = power_of_ten(decimals) / units, .start_s = first_s};
    while (walk_on(&walk)) {
        if (fabs(column->times_s[walk.row] - time_grid_at(&grid, walk.index)) > 0.25 * unit_s) {
            return false;
        }
    }
    *ret_grid = grid;
    return true;
}

static double nearest_within(double value, double least, double greatest)
{
    return fmin(fmax(value, least), greatest);
}

/* Whether some start makes all rows fit `rate_hz`; chooses it. */
static bool find_start(struct search *search, double rate_hz, struct time_grid *ret_grid)
{
    const struct time_column *column = search->column;
    struct walk walk = search->first;
    if (4.0 * search->coarsest_s >= 1.0 / rate_hz) {
        return false;
    }
    /* Exact halves are rounded up or down; a start that is none of the plain ones must not make use
     * of both. */
    double margin_s = search->may_shift ? 2.0 * TIME_COLUMN_SAME_S : 0.0;
    double printed_s = column->times_s[walk.row];
    double least_s = 0.0;
    double greatest_s = (double)INFINITY;
    do {
        double start_s = column->times_s[walk.row] - (double)walk.index / rate_hz;
        double slack_s = tolerance_s(column, walk.row) - margin_s;
        least_s = fmax(least_s, start_s - slack_s);
        greatest_s = fmin(greatest_s, start_s + slack_s);
        if (least_s > greatest_s) {
            return false;
        }
    } while (walk_on(&walk));
    double start_s = nearest_within(printed_s, least_s, greatest_s);
    double multiple_s = rint(printed_s * rate_hz) / rate_hz;
    bool is_shifted = islessgreater(start_s, printed_s);
    if (is_shifted && multiple_s >= least_s && multiple_s <= greatest_s) {
        start_s = multiple_s;
        is_shifted = false;
    }
    *ret_grid = (struct time_grid){.rate_hz = rate_hz, .start_s = start_s};
    return search->may_shift || !is_shifted;
}

/* The whole number, 1 at least, nearest to `value` * `scale` that lies within the scaled bounds. */
static bool round_within(double value, double least, double greatest, double scale,
                         double *ret_count)
{
    double low = ceil(least * scale);
    double high = floor(greatest * scale);
    if (low > high || high < 1.0) {
        return false;
    }
    *ret_count = fmax(nearest_within(rint(value * scale), low, high), 1.0);
    return true;
}

/* A rate of whole 10^-decimals Hz (decimals may be negative). */
static bool try_rate(struct search *search, int decimals, struct time_grid *ret_grid)
{
    double least_hz = 1.0 / search->greatest_step_s;
    double greatest_hz =
        search->least_step_s > 0.0 ? 1.0 / search->least_step_s : 2.0 / search->mean_step_s;
    double power = power_of_ten(decimals < 0 ? -decimals : decimals);
    double count = 0.0;
    double scale = decimals < 0 ? 1.0 / power : power;
    return round_within(1.0 / search->mean_step_s, least_hz, greatest_hz, scale, &count) &&
           find_start(search, decimals < 0 ? count * power : count / power, ret_grid);
}

/* A step of whole 10^-decimals s. */
static bool try_step(struct search *search, int decimals, struct time_grid *ret_grid)
{
    double power = power_of_ten(decimals);
    double count = 0.0;
    return round_within(search->mean_step_s, search->least_step_s, search->greatest_step_s, power,
                        &count) &&
           find_start(search, power / count, ret_grid);
}

static bool find_round_rate(struct search *search, struct time_grid *ret_grid)
{
    for (int decimals = -3; decimals <= 0; decimals++) {
        if (try_rate(search, decimals, ret_grid)) {
            return true;
        }
    }
    if (try_step(search, 3, ret_grid)) {
        return true;
    }
    for (int decimals = 1; decimals <= RATE_DECIMALS_MAX; decimals++) {
        if (try_rate(search, decimals, ret_grid) || try_step(search, 3 + decimals, ret_grid)) {
            return true;
        }
    }
    return false;
}

/* Loose rows that go on backwards from the first firm one belong to the grid too. */
static void extend_backwards(const struct search *search, struct time_grid *grid)
{
    const struct time_column *column = search->column;
    const double start_s = grid->start_s;
    size_t row = search->first.row;
    for (size_t steps = 1; row > 0; steps++) {
        double at_s = start_s - (double)steps / grid->rate_hz;
        if (!time_column_takes(column, row - 1, at_s, true)) {
            return;
        }
        row--;
        bool is_printed = time_column_fits(column, search->first.row,
                                           column->times_s[row] + (double)steps / grid->rate_hz);
        grid->start_s = is_printed ? column->times_s[row] : fmax(at_s, 0.0);
    }
}

/* The grid of the rows that are not loose, of which there must be two. */
static bool find_grid(struct search *search, struct time_grid *ret_grid)
{
    if (!bound_steps(search)) {
        return false;
    }
    if (find_printed_step(search, ret_grid) || find_round_rate(search, ret_grid)) {
        return true;
    }
    search->may_shift = true;
    return find_round_rate(search, ret_grid);
}

static struct search search_begin(const struct time_column *column)
{
    return (struct search){.column = column, .first = walk_begin(column, typical_step_s(column))};
}

static bool has_two_firm_rows(const struct time_column *column)
{
    size_t first = next_firm(column, 0);
    return first < column->count && next_firm(column, first + 1) < column->count;
}

static bool has_grid(const struct time_column *column, size_t count)
{
    struct time_column part = *column;
    part.count = count;
    struct search search = search_begin(&part);
    struct time_grid grid;
    return !has_two_firm_rows(&part) || find_grid(&search, &grid);
}

/* The last row of the shortest beginning that has no grid: doubled until it has none, then halved,
 * so that an early fault in a long table costs little. */
static size_t first_uneven_row(const struct time_column *column)
{
    size_t even = 1;
    size_t uneven = 2;
    while (uneven < column->count && has_grid(column, uneven)) {
        even = uneven;
        uneven *= 2;
    }
    uneven = uneven < column->count ? uneven : column->count;
    while (even + 1 < uneven) {
        size_t middle = even + (uneven - even) / 2;
        if (has_grid(column, middle)) {
            even = middle;
        } else {
            uneven = middle;
        }
    }
    return uneven - 1;
}

bool time_column_grid(const struct time_column *column, struct time_grid *ret_grid, size_t *ret_row)
{
    *ret_row = SIZE_MAX;
    if (!has_two_firm_rows(column)) {
        return false;
    }
    struct search search = search_begin(column);
    struct time_grid grid;
    if (!find_grid(&search, &grid)) {
        *ret_row = first_uneven_row(column);
        return false;
    }
    extend_backwards(&search, &grid);
    *ret_grid = grid;
    return true;
}
