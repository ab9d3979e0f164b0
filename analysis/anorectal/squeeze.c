/* Squeezes, short and long, and coughs: rises of the anal pressure over the level just before. */
#include "analysis/anorectal/parts.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"

#include <math.h>

/* The best of one kind. */
struct best {
    const struct manoeuvre *manoeuvre; /* NULL: none was measured */
    struct excursion anal;
};

struct excursion parts_excursion(const struct anorectal_parts *parts,
                                 const struct manoeuvre *manoeuvre, const struct series *series,
                                 double direction)
{
    const struct excursion_rule rule = {
        .direction = direction,
        .window = manoeuvre->window,
        .reach_s = fmin(manoeuvre->next_s, manoeuvre->at_s + CRITERIA_ARM_RETURN_S),
        .start_share = CRITERIA_ARM_HOLD_SHARE,
        .end_share = CRITERIA_ARM_HOLD_SHARE,
    };

    return excursion_find(series, &rule, parts->study->scratch);
}

struct anorectal_manoeuvre parts_empty_item(const struct manoeuvre *manoeuvre)
{
    return (struct anorectal_manoeuvre){.kind = manoeuvre_name(manoeuvre->kind),
                                        .start_s = manoeuvre->at_s,
                                        .end_s = SERIES_MISSING,
                                        .anal_rest_mmhg = SERIES_MISSING,
                                        .anal_peak_mmhg = SERIES_MISSING,
                                        .anal_lowest_mmhg = SERIES_MISSING,
                                        .rectal_rise_mmhg = SERIES_MISSING,
                                        .volume_ml = manoeuvre->volume_ml,
                                        .change_percent = SERIES_MISSING};
}

static void fill_item(struct manoeuvre *manoeuvre, const struct excursion *anal,
                      const struct excursion *rect)
{
    manoeuvre->item = parts_empty_item(manoeuvre);
    if (anal->found) {
        manoeuvre->item.start_s = anal->span.from_s;
        manoeuvre->item.end_s = anal->span.to_s;
        manoeuvre->item.anal_rest_mmhg = anal->rest;
        manoeuvre->item.anal_peak_mmhg = anal->extreme;
    }
    if (rect->found) {
        manoeuvre->item.rectal_rise_mmhg = rect->change;
    }
}

/* Measures all of a kind; the one with the greatest rise is the best. */
static struct best measure_kind(struct anorectal_parts *parts, enum manoeuvre_kind kind)
{
    struct best best = {.manoeuvre = NULL};

    for (size_t i = 0; i < parts->list.count; i++) {
        struct manoeuvre *manoeuvre = &parts->list.items[i];

        if (manoeuvre->kind != kind) {
            continue;
        }
        const struct excursion anal = parts_excursion(parts, manoeuvre, &parts->signals.anal, 1.0);
        const struct excursion rect = parts_excursion(parts, manoeuvre, &parts->signals.rect, 1.0);

        fill_item(manoeuvre, &anal, &rect);
        if (anal.found && (best.manoeuvre == NULL || anal.change > best.anal.change)) {
            best.manoeuvre = manoeuvre;
            best.anal = anal;
        }
    }
    return best;
}

static const char *why_none(const struct anorectal_parts *parts, enum manoeuvre_kind kind,
                            const char *none)
{
    if (parts->signals.anal.count == 0) {
        return "no anal pressure signal";
    }
    return manoeuvre_count(&parts->list, kind) == 0
               ? none
               : "the anal pressure is missing there or just before";
}

static void measure_squeezes(struct anorectal_parts *parts)
{
    static const char *const increments[2] = {"greatest rise of all squeezes, found without a "
                                              "marker: highest 0.5 s mean minus the median "
                                              "of the 5 s just before",
                                              "greatest rise of all squeezes: highest 0.5 s mean "
                                              "minus the median of the 5 s just before"};
    static const char *const pressures[2] = {
        "highest 0.5 s mean of the squeeze with the greatest rise, found without a marker",
        "highest 0.5 s mean of the squeeze with the greatest rise"};
    static const char *const durations[2] = {
        "time above half of its rise, of the squeeze with the greatest rise, found without a "
        "marker",
        "time above half of its rise, of the squeeze with the greatest rise"};
    const struct best best = measure_kind(parts, MANOEUVRE_SQUEEZE);
    struct anorectal_measures *measures = parts->measures;

    if (best.manoeuvre == NULL) {
        const struct measure absent = measure_absent(why_none(
            parts, MANOEUVRE_SQUEEZE, "no squeeze is marked, and none was found without a marker"));

        measures->squeeze_increment = absent;
        measures->squeeze_pressure_max = absent;
        measures->squeeze_duration = absent;
        return;
    }
    const size_t marked = best.manoeuvre->marked ? 1 : 0;
    const double at_s = best.anal.extreme_s;

    measures->squeeze_increment = measure_at(best.anal.change, at_s, increments[marked]);
    measures->squeeze_pressure_max = measure_at(best.anal.extreme, at_s, pressures[marked]);
    measures->squeeze_duration =
        best.anal.end_seen
            ? measure_at(best.anal.span.to_s - best.anal.span.from_s, at_s, durations[marked])
            : measure_absent("the end of the squeeze is not seen");
}

/* Which text tells how the endurance came about: the ceiling and an unseen end are no measurement
 * of how long it lasts. */
static const char *endurance_method(bool marked, bool at_ceiling, bool end_seen)
{
    static const char *const methods[2][3] = {
        {"time above half of the greatest rise of the long squeeze, found without a marker",
         "at least this long, which is the ceiling: above half of the greatest rise for 30 s and "
         "more; long squeeze found without a marker",
         "at least this long: the end is not seen; time above half of the greatest rise of the "
         "long "
         "squeeze, found without a marker"},
        {"time above half of the greatest rise of the long squeeze",
         "at least this long, which is the ceiling: above half of the greatest rise for 30 s and "
         "more",
         "at least this long: the end is not seen; time above half of the greatest rise of the "
         "long "
         "squeeze"}};
    const size_t kind = at_ceiling ? 1 : (end_seen ? 0 : 2);

    return methods[marked ? 1 : 0][kind];
}

static void measure_endurance(struct anorectal_parts *parts)
{
    const struct best best = measure_kind(parts, MANOEUVRE_LONG_SQUEEZE);

    if (best.manoeuvre == NULL) {
        parts->measures->long_squeeze_endurance = measure_absent(
            why_none(parts, MANOEUVRE_LONG_SQUEEZE,
                     "no long squeeze is marked, and none was found without a marker"));
        return;
    }
    const double length_s = best.anal.span.to_s - best.anal.span.from_s;
    const bool at_ceiling = length_s >= CRITERIA_ARM_ENDURANCE_S;

    parts->measures->long_squeeze_endurance =
        measure_at(fmin(length_s, CRITERIA_ARM_ENDURANCE_S), best.anal.extreme_s,
                   endurance_method(best.manoeuvre->marked, at_ceiling, best.anal.end_seen));
}

void squeeze_measure(struct anorectal_parts *parts)
{
    measure_squeezes(parts);
    measure_endurance(parts);
}

/* ---- Coughs ---- */

void cough_measure(struct anorectal_parts *parts)
{
    static const char *const increments[2] = {
        "greatest anal rise of all coughs, found without a marker: peak minus the median of the 5 "
        "s "
        "just before",
        "greatest anal rise of all coughs: peak minus the median of the 5 s just before"};
    static const char *const gradients[2] = {
        "anal minus rectal pressure at the rectal peak, at the same instant; lowest of all coughs, "
        "found without a marker",
        "anal minus rectal pressure at the rectal peak, at the same instant; lowest of all coughs"};
    const struct anal_signals *signals = &parts->signals;
    struct measure increment = measure_absent(why_none(
        parts, MANOEUVRE_COUGH, "no cough is marked, and none was found without a marker"));
    struct measure gradient = signals->rect.count == 0 ? measure_absent("no rectal pressure signal")
                                                       : measure_absent(increment.reason);

    for (size_t i = 0; i < parts->list.count; i++) {
        struct manoeuvre *manoeuvre = &parts->list.items[i];

        if (manoeuvre->kind != MANOEUVRE_COUGH) {
            continue;
        }
        const struct excursion anal = parts_excursion(parts, manoeuvre, &signals->anal_cough, 1.0);
        const struct excursion rect = parts_excursion(parts, manoeuvre, &signals->rect_cough, 1.0);
        const size_t marked = manoeuvre->marked ? 1 : 0;

        fill_item(manoeuvre, &anal, &rect);
        if (anal.found && (!measure_known(&increment) || anal.change > increment.value)) {
            increment = measure_at(anal.change, anal.extreme_s, increments[marked]);
        }
        const double difference =
            rect.found ? series_value(&signals->anal_cough, rect.extreme_s) - rect.extreme
                       : SERIES_MISSING;

        if (!isnan(difference) && (!measure_known(&gradient) || difference < gradient.value)) {
            gradient = measure_at(difference, rect.extreme_s, gradients[marked]);
        }
    }
    parts->measures->cough_increment = increment;
    parts->measures->cough_gradient = gradient;
}
