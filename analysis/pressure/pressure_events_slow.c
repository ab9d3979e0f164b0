/* Levels of the lines, and what changes them for seconds or for good: changes of position, strains,
 * rectal contractions. */
#include "analysis/criteria_pressure.h"
#include "analysis/memory.h"
#include "analysis/pressure/pressure_events_parts.h"
#include "analysis/signal/baseline.h"
#include "analysis/signal/resample.h"
#include "analysis/signal/smooth.h"

#include <math.h>

/* Sliding median of a slow series over twice half_s; where a sample is missing, e.g. in a flush,
 * the last one is held. NULL when memory ran out. */
static double *slow_median(const struct event_finder *finder, const struct series *slow,
                           double half_s)
{
    const size_t window = smooth_window(slow, half_s);
    double *sorted = memory_doubles(finder->study->memory, window);
    double *medians = memory_doubles(finder->study->memory, slow->count);

    if (sorted == NULL || medians == NULL) {
        return NULL;
    }
    smooth_median(slow, window, sorted, medians);
    for (size_t i = 1; i < slow->count; i++) {
        medians[i] = isnan(medians[i]) ? medians[i - 1] : medians[i];
    }
    return medians;
}

static bool open_line(struct event_finder *finder, size_t index)
{
    const struct analysis_memory *memory = finder->study->memory;
    const struct pressure_grid *grid = &finder->grid;
    struct pressure_line *line = &finder->lines[index];
    const struct series series = pressure_grid_series(grid, line->samples);
    size_t *queue = memory_array(memory, grid->count, sizeof *queue);
    double *means = memory_doubles(memory, grid->count / finder->slow_block);

    line->level = memory_doubles(memory, grid->count);
    line->opened = memory_doubles(memory, grid->count);
    if (queue == NULL || means == NULL || line->level == NULL || line->opened == NULL) {
        return false;
    }
    /* The room for the level serves as scratch before it is filled. */
    const size_t window = smooth_window(&series, CRITERIA_COUGH_HALF_S);

    baseline_open(&series, window > 1 ? window : 3, line->level, queue, line->opened);
    const struct series opened = pressure_grid_series(grid, line->opened);

    finder->slow[index] = resample_means(&opened, finder->slow_block, means);
    struct series level = finder->slow[index];

    level.samples = slow_median(finder, &level, CRITERIA_LINE_LEVEL_HALF_S);
    if (level.samples == NULL) {
        return false;
    }
    pressure_grid_spread(grid, &level, finder->slow_block, line->level);
    return true;
}

bool event_finder_levels(struct event_finder *finder)
{
    const struct series axis = pressure_grid_series(&finder->grid, NULL);

    finder->slow_block = resample_block(&axis, CRITERIA_SLOW_HZ);
    for (size_t i = 0; i < PRESSURE_LINES; i++) {
        if (finder->lines[i].present && !open_line(finder, i)) {
            return false;
        }
    }
    return true;
}

/* ---- Changes of position ---- */

/* The medians from which steps are read, and how far apart they are taken. */
struct step_rule {
    struct series slow[PRESSURE_LINES];
    const double *medians[PRESSURE_LINES];
    size_t lag;
};

static double step_of(const struct step_rule *rule, size_t line, size_t index)
{
    return rule->medians[line][index + rule->lag] - rule->medians[line][index - rule->lag];
}

/* 1 or -1 when both lines step up or down at a sample, else 0. */
static int step_sign(const struct step_rule *rule, size_t index)
{
    const double a = step_of(rule, 0, index);
    const double b = step_of(rule, 1, index);
    const double smaller = fabs(a) < fabs(b) ? fabs(a) : fabs(b);

    if (isnan(a + b) || !(smaller >= CRITERIA_POSITION_STEP_CMH2O) || a * b < 0.0 ||
        smaller < CRITERIA_POSITION_BOTH_SHARE * fmax(fabs(a), fabs(b))) {
        return 0;
    }
    return a > 0.0 ? 1 : -1;
}

/* Where the lines are on the way from the old level to the new one: 0 to 1. */
static double progress(const struct step_rule *rule, size_t middle, size_t index)
{
    double way = 0.0;
    double done = 0.0;

    for (size_t line = 0; line < PRESSURE_LINES; line++) {
        way += step_of(rule, line, middle);
        done += rule->slow[line].samples[index] - rule->medians[line][middle - rule->lag];
    }
    return done / way;
}

/* Samples to each side over which a change is steepest, so that a knock is no step. */
enum { BESIDE = 2 };

/* The sample about which the lines change most, near the middle of a run of steps. */
static size_t steepest(const struct step_rule *rule, size_t middle)
{
    size_t best = middle;
    double most = -SERIES_ENDLESS;

    for (size_t i = middle - rule->lag + BESIDE; i + BESIDE <= middle + rule->lag; i++) {
        const double change =
            progress(rule, middle, i + BESIDE) - progress(rule, middle, i - BESIDE);

        if (change > most) {
            most = change;
            best = i;
        }
    }
    return best;
}

static void take_position(struct event_finder *finder, const struct step_rule *rule, size_t middle)
{
    const struct series *slow = &rule->slow[0];
    const size_t at = steepest(rule, middle);
    size_t first = at + BESIDE;
    size_t last = at - BESIDE;

    while (first > middle - rule->lag &&
           progress(rule, middle, first) > CRITERIA_POSITION_EDGE_SHARE) {
        first--;
    }
    while (last < middle + rule->lag &&
           progress(rule, middle, last) < 1.0 - CRITERIA_POSITION_EDGE_SHARE) {
        last++;
    }
    const struct span span = {series_time(slow, first), series_time(slow, last)};

    if (span.to_s - span.from_s > CRITERIA_POSITION_MAX_S) {
        return;
    }
    event_finder_add(finder, (struct pressure_event){
                                 .kind = PRESSURE_EVENT_POSITION,
                                 .span = span,
                                 .peak_s = 0.5 * (span.from_s + span.to_s),
                                 .pves_rise_cmh2o = step_of(rule, 0, middle),
                                 .pabd_rise_cmh2o = step_of(rule, 1, middle),
                             });
}

bool event_finder_positions(struct event_finder *finder)
{
    struct step_rule rule = {.slow = {finder->slow[0], finder->slow[1]}};
    size_t run = 0;
    int sign = 0;

    if (!finder->lines[0].present || !finder->lines[1].present) {
        return true;
    }
    for (size_t i = 0; i < PRESSURE_LINES; i++) {
        rule.medians[i] = slow_median(finder, &rule.slow[i], 0.5 * CRITERIA_POSITION_LEVEL_S);
        if (rule.medians[i] == NULL) {
            return false;
        }
    }
    rule.lag = series_whole_samples(&rule.slow[0], 0.5 * CRITERIA_POSITION_LEVEL_S) + BESIDE;
    /* A step shows over a run of samples, as long on both sides of it: it lies in the middle. */
    for (size_t i = rule.lag; i + rule.lag < rule.slow[0].count; i++) {
        const int present = step_sign(&rule, i);

        if (present != sign && sign != 0) {
            take_position(finder, &rule, i - 1 - (run - 1) / 2);
        }
        run = present == sign ? run + 1 : 1;
        sign = present;
    }
    if (sign != 0) {
        take_position(finder, &rule, rule.slow[0].count - rule.lag - 1 - (run - 1) / 2);
    }
    return true;
}

/* ---- Strains and rectal contractions ---- */

/* pabd as it departs from its level. */
struct excursion {
    size_t first;
    size_t end;
    double sign;
    double height; /* largest departure */
    size_t peak;
};

static struct span span_of(const struct event_finder *finder, size_t first, size_t last)
{
    return (struct span){pressure_grid_time(&finder->grid, first),
                         pressure_grid_time(&finder->grid, last)};
}

/* Change of a line over the upper half of an excursion, against the level just before it. */
static double change_of(const struct event_finder *finder, size_t line, const double *departure,
                        const struct excursion *excursion)
{
    const struct series series = pressure_grid_series(&finder->grid, finder->lines[line].opened);
    const double end_s = pressure_grid_time(&finder->grid, excursion->first) - 0.5;
    const struct span before = {end_s - CRITERIA_EXCURSION_BEFORE_S, end_s};
    double sum = 0.0;
    double count = 0.0;

    for (size_t i = excursion->first; i < excursion->end; i++) {
        if (excursion->sign * departure[i] >= 0.5 * excursion->height &&
            !isnan(series.samples[i])) {
            sum += series.samples[i];
            count += 1.0;
        }
    }
    const double level = level_median(&series, before, finder->study->scratch);

    return count > 0.0 ? sum / count - level : SERIES_MISSING;
}

/* Rise of a line's own peak within the excursion over the level before. */
static double rise_of(const struct event_finder *finder, size_t line,
                      const struct excursion *excursion)
{
    const struct series series = pressure_grid_series(&finder->grid, finder->lines[line].opened);
    const double end_s = pressure_grid_time(&finder->grid, excursion->first) - 0.5;
    const struct span before = {end_s - CRITERIA_EXCURSION_BEFORE_S, end_s};
    const double level = level_median(&series, before, finder->study->scratch);
    double largest = SERIES_MISSING;

    for (size_t i = excursion->first; i < excursion->end; i++) {
        const double rise = series.samples[i] - level;

        if (isnan(largest) || excursion->sign * rise > excursion->sign * largest) {
            largest = rise;
        }
    }
    return largest;
}

static void judge(struct event_finder *finder, const double *departure,
                  const struct excursion *excursion)
{
    const double pves = change_of(finder, 0, departure, excursion);
    const double pabd = change_of(finder, 1, departure, excursion);
    size_t high = 0;

    for (size_t i = excursion->first; i < excursion->end; i++) {
        high += excursion->sign * departure[i] >= 0.5 * excursion->height ? 1 : 0;
    }
    const double length_s = (double)high / finder->grid.rate_hz;
    struct pressure_event event = {
        .span = span_of(finder, excursion->first, excursion->end - 1),
        .peak_s = pressure_grid_time(&finder->grid, excursion->peak),
    };

    if (fabs(pabd) >= CRITERIA_RECTAL_CHANGE_CMH2O && length_s >= CRITERIA_RECTAL_MIN_S &&
        fabs(pves) < CRITERIA_EXCURSION_BOTH_SHARE * fabs(pabd)) {
        event.kind = PRESSURE_EVENT_RECTAL;
    } else if (length_s >= CRITERIA_STRAIN_MIN_S &&
               0.5 * (pves + pabd) >= CRITERIA_STRAIN_BOTH_CMH2O &&
               fmin(pves, pabd) >= CRITERIA_EXCURSION_BOTH_SHARE * fmax(pves, pabd)) {
        event.kind = PRESSURE_EVENT_STRAIN;
    } else {
        return;
    }
    if (!event_finder_overlap(finder, 1u << PRESSURE_EVENT_POSITION, event.span)) {
        event.pves_rise_cmh2o = rise_of(finder, 0, excursion);
        event.pabd_rise_cmh2o = rise_of(finder, 1, excursion);
        event_finder_add(finder, event);
    }
}

/* Cuts an excursion to where it is a share of its height. */
static void trim(const double *departure, struct excursion *excursion)
{
    const double edge = CRITERIA_EXCURSION_EDGE_SHARE * excursion->height;

    while (excursion->first + 1 < excursion->end &&
           excursion->sign * departure[excursion->first] < edge) {
        excursion->first++;
    }
    while (excursion->end > excursion->first + 1 &&
           excursion->sign * departure[excursion->end - 1] < edge) {
        excursion->end--;
    }
}

static void scan_departure(struct event_finder *finder, const double *departure)
{
    struct excursion excursion = {.sign = 0.0};

    for (size_t i = 0; i <= finder->grid.count; i++) {
        const double now = i < finder->grid.count ? departure[i] : SERIES_MISSING;
        const bool beyond = fabs(now) >= CRITERIA_EXCURSION_CMH2O;
        const bool goes_on = beyond && excursion.sign * now > 0.0;

        if (excursion.sign * excursion.sign > 0.0 && !goes_on) {
            excursion.end = i;
            trim(departure, &excursion);
            judge(finder, departure, &excursion);
            excursion.sign = 0.0;
        }
        if (beyond && !goes_on) {
            excursion = (struct excursion){.first = i, .sign = now > 0.0 ? 1.0 : -1.0};
        }
        if (beyond && fabs(now) > excursion.height) {
            excursion.height = fabs(now);
            excursion.peak = i;
        }
    }
}

bool event_finder_excursions(struct event_finder *finder)
{
    const struct pressure_grid *grid = &finder->grid;
    const struct pressure_line *pabd = &finder->lines[1];
    double *departure = memory_doubles(finder->study->memory, grid->count);

    if (departure == NULL) {
        return false;
    }
    if (!finder->lines[0].present || !pabd->present) {
        return true;
    }
    const struct series opened = pressure_grid_series(grid, pabd->opened);

    smooth_mean(&opened, smooth_window(&opened, CRITERIA_LINE_SMOOTH_HALF_S), SMOOTH_ENDS_SHORTEN,
                departure);
    for (size_t i = 0; i < grid->count; i++) {
        departure[i] -= pabd->level[i];
    }
    scan_departure(finder, departure);
    return true;
}
