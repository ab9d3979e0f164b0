#include "analysis/anorectal/excursion.h"

#include "analysis/criteria.h"
#include "analysis/criteria_anorectal.h"

#include <math.h>

/* Seconds that two doubles for the same moment may differ by. */
#define SAME_TIME 1e-6

/* A walk from the extreme towards one side, until the signal stays beyond the line. */
struct walk {
    const struct series *series;
    double direction;
    double line;
    double limit_s;
    bool forward;
};

struct walk_end {
    double at_s;
    bool seen;
};

static double crossing(const struct walk *walk, size_t on, size_t off)
{
    const double from = walk->series->samples[on];
    const double to = walk->series->samples[off];
    const double on_s = series_time(walk->series, on);
    const double off_s = series_time(walk->series, off);

    return fabs(to - from) > 0.0 ? on_s + (off_s - on_s) * (walk->line - from) / (to - from) : on_s;
}

static bool within(const struct walk *walk, size_t index)
{
    const double at_s = series_time(walk->series, index);

    return walk->forward ? at_s <= walk->limit_s + SAME_TIME : at_s >= walk->limit_s - SAME_TIME;
}

/* Dips shorter than CRITERIA_ARM_DIP_S are passed over; a gap longer than CRITERIA_BRIDGE_S hides
 * the end. */
static struct walk_end walk_out(const struct walk *walk, size_t start)
{
    const struct series *series = walk->series;
    struct walk_end end = {series_time(series, start), false};
    size_t known = start;
    bool off = false;
    size_t i = start;

    while (walk->forward ? i + 1 < series->count : i > 0) {
        i = walk->forward ? i + 1 : i - 1;
        if (!within(walk, i)) {
            break;
        }
        if (isnan(series->samples[i])) {
            continue;
        }
        const double at_s = series_time(series, i);

        if (fabs(at_s - series_time(series, known)) >
            fmax(CRITERIA_BRIDGE_S, 1.0 / series->rate_hz) + SAME_TIME) {
            break;
        }
        const bool is_off = walk->direction * (series->samples[i] - walk->line) < 0.0;

        if (is_off && !off) {
            end = (struct walk_end){crossing(walk, known, i), true};
        } else if (is_off && fabs(at_s - end.at_s) >= CRITERIA_ARM_DIP_S - SAME_TIME) {
            return end;
        } else if (!is_off) {
            end = (struct walk_end){at_s, false};
        }
        off = is_off;
        known = i;
    }
    return end;
}

/* The outermost sample of the window; false when none is present. */
static bool find_extreme(const struct series *series, const struct excursion_rule *rule,
                         size_t *ret_index)
{
    const size_t end = series_end_at(series, rule->window.to_s);
    double outermost = -SERIES_ENDLESS;

    for (size_t i = series_first_at(series, rule->window.from_s); i < end; i++) {
        const double value = rule->direction * series->samples[i];

        if (value > outermost + 1e-9) {
            outermost = value;
            *ret_index = i;
        }
    }
    return outermost > -SERIES_ENDLESS;
}

static double level_before(const struct series *series, double at_s, struct level_scratch scratch)
{
    return level_median(series, (struct span){at_s - CRITERIA_ARM_BEFORE_S, at_s}, scratch);
}

/* Last moment before the extreme at which the signal was near its level yet. */
static double find_onset(const struct series *series, const struct excursion_rule *rule,
                         size_t extreme, double level)
{
    const double change = series->samples[extreme] - level;
    size_t i = extreme;

    while (i > 0 && series_time(series, i) > rule->window.from_s) {
        if (rule->direction * (series->samples[i] - level) <=
            CRITERIA_ARM_ONSET_SHARE * rule->direction * change) {
            break;
        }
        i--;
    }
    return series_time(series, i);
}

struct excursion excursion_find(const struct series *series, const struct excursion_rule *rule,
                                struct level_scratch scratch)
{
    struct excursion excursion = {.found = false};
    size_t extreme = 0;

    if (series->count == 0 || !find_extreme(series, rule, &extreme)) {
        return excursion;
    }
    const double level = level_before(series, rule->window.from_s, scratch);

    if (isnan(level)) {
        return excursion;
    }
    const double onset_s = find_onset(series, rule, extreme, level);
    const double rest = level_before(series, onset_s, scratch);

    excursion.rest = isnan(rest) ? level : rest;
    excursion.extreme = series->samples[extreme];
    excursion.extreme_s = series_time(series, extreme);
    excursion.change = rule->direction * (excursion.extreme - excursion.rest);

    const double signed_change = excursion.extreme - excursion.rest;
    const struct walk back = {series, rule->direction,
                              excursion.rest + rule->start_share * signed_change,
                              rule->window.from_s - CRITERIA_ARM_BEFORE_S, false};
    const struct walk on = {series, rule->direction,
                            excursion.rest + rule->end_share * signed_change, rule->reach_s, true};
    const struct walk_end end = walk_out(&on, extreme);

    excursion.span = (struct span){walk_out(&back, extreme).at_s, end.at_s};
    excursion.end_seen = end.seen;
    excursion.found = true;
    return excursion;
}
