#include "analysis/profile/profile_coughs.h"

#include "analysis/criteria_profile.h"

/* Level over the second that ends where a peak's neighbourhood begins. */
static double level_before(const struct study *study, const struct series *series, double at_s)
{
    const double to_s = at_s - CRITERIA_PROFILE_COUGH_NEAR_S;

    return level_median(series, (struct span){to_s - CRITERIA_PROFILE_COUGH_LEVEL_S, to_s},
                        study->scratch);
}

static bool peak_near(const struct series *series, double at_s, double slack_s, double *ret_s,
                      double *ret_value)
{
    const struct series part = series_part(series, (struct span){at_s - slack_s, at_s + slack_s});
    size_t index = 0;

    if (!series_maximum(&part, &index)) {
        return false;
    }
    *ret_s = series_time(&part, index);
    *ret_value = part.samples[index];
    return true;
}

/* First moment before, or after, `at_s` at which pves is at or below a level; at most `most_s`
 * away, where it returns that limit and says so. */
static double falls_to(const struct series *pves, double at_s, double most_s, double level,
                       bool *ret_reached)
{
    const double way = most_s < 0.0 ? -1.0 : 1.0;
    const struct series part =
        series_part(pves, (struct span){fmin(at_s, at_s + most_s), fmax(at_s, at_s + most_s)});

    for (size_t i = 0; i < part.count; i++) {
        const size_t index = way < 0.0 ? part.count - 1 - i : i;

        if (part.samples[index] <= level) {
            *ret_reached = true;
            return series_time(&part, index);
        }
    }
    *ret_reached = false;
    return at_s + most_s;
}

static bool marked(const struct study *study, double at_s)
{
    const struct optional_number marker =
        timeline_first(&study->timeline, EVENT_COUGH, at_s - CRITERIA_PROFILE_COUGH_MARKER_S);

    return marker.known && marker.value <= at_s + CRITERIA_PROFILE_COUGH_MARKER_S;
}

/* Where the abdomen is recorded, the study's events tell coughs from all else. */
static bool confirmed(const struct study *study, double at_s, bool falls)
{
    if (marked(study, at_s)) {
        return true;
    }
    const struct span here = {at_s, at_s};

    return falls && (study->pabd.count == 0 ||
                     pressure_events_overlap(&study->pressure_events, 1u << PRESSURE_EVENT_COUGH,
                                             here, CRITERIA_PROFILE_COUGH_NEAR_S));
}

/* Measures what may be a cough; false when it is none that counts. */
static bool take(const struct study *study, const struct series *pura, double at_s,
                 struct profile_cough *ret_cough)
{
    const struct series *pves = &study->pves;
    struct profile_cough cough = {0};
    bool falls = false;
    bool rises = false;

    if (!peak_near(pves, at_s, CRITERIA_PROFILE_COUGH_NEAR_S, &cough.at_s,
                   &cough.pves_peak_cmh2o)) {
        return false;
    }
    const double before = level_before(study, pves, cough.at_s);

    cough.pves_before_cmh2o = before;
    cough.pves_rise_cmh2o = cough.pves_peak_cmh2o - before;
    if (!(cough.pves_rise_cmh2o >= CRITERIA_PROFILE_COUGH_CMH2O)) {
        return false;
    }
    (void)falls_to(pves, cough.at_s, CRITERIA_PROFILE_COUGH_MAX_S,
                   before + CRITERIA_PROFILE_COUGH_FALL_SHARE * cough.pves_rise_cmh2o, &falls);
    if (!confirmed(study, cough.at_s, falls)) {
        return false;
    }
    const double edge = before + CRITERIA_PROFILE_CUT_SHARE * cough.pves_rise_cmh2o;

    cough.span.from_s =
        falls_to(pves, cough.at_s, -CRITERIA_PROFILE_COUGH_LEVEL_S - CRITERIA_PROFILE_COUGH_NEAR_S,
                 edge, &rises) -
        CRITERIA_PROFILE_CUT_MARGIN_S;
    cough.span.to_s = falls_to(pves, cough.at_s, CRITERIA_PROFILE_CUT_AFTER_S, edge, &falls) +
                      CRITERIA_PROFILE_CUT_MARGIN_S;
    cough.before_s =
        cough.at_s - CRITERIA_PROFILE_COUGH_NEAR_S - 0.5 * CRITERIA_PROFILE_COUGH_LEVEL_S;
    cough.pura_before_cmh2o = level_before(study, pura, cough.at_s);
    if (!peak_near(pura, cough.at_s, CRITERIA_PROFILE_COUGH_NEAR_S, &cough.pura_peak_s,
                   &cough.pura_peak_cmh2o)) {
        cough.pura_before_cmh2o = SERIES_MISSING;
    }
    *ret_cough = cough;
    return true;
}

/* Keeps them in order of time; of two that are the same, the first. */
static void insert(struct profile_coughs *coughs, const struct profile_cough *cough)
{
    size_t place = coughs->count;

    for (size_t i = 0; i < coughs->count; i++) {
        if (fabs(coughs->items[i].at_s - cough->at_s) <= CRITERIA_PROFILE_COUGH_NEAR_S) {
            return;
        }
    }
    if (coughs->count == PROFILE_COUGHS_MAX) {
        return;
    }
    while (place > 0 && coughs->items[place - 1].at_s > cough->at_s) {
        coughs->items[place] = coughs->items[place - 1];
        place--;
    }
    coughs->items[place] = *cough;
    coughs->count++;
}

struct finder {
    const struct study *study;
    const struct series *pura;
    struct span span;
    struct profile_coughs *coughs;
};

static void try_at(const struct finder *finder, double at_s)
{
    struct profile_cough cough;

    if (take(finder->study, finder->pura, at_s, &cough) && cough.at_s >= finder->span.from_s &&
        cough.at_s <= finder->span.to_s) {
        insert(finder->coughs, &cough);
    }
}

/* Peaks of pves: it rose by as much as the lowest cough falls, and falls as much afterwards. */
static void try_peaks(const struct finder *finder)
{
    const double turn = (1.0 - CRITERIA_PROFILE_COUGH_FALL_SHARE) * CRITERIA_PROFILE_COUGH_CMH2O;
    const struct series part = series_part(&finder->study->pves, finder->span);
    double lowest = SERIES_ENDLESS;
    double highest = -SERIES_ENDLESS;
    double highest_s = 0.0;
    double tried_s = -SERIES_ENDLESS;
    bool up = false;

    for (size_t i = 0; i < part.count; i++) {
        const double value = part.samples[i];

        if (isnan(value)) {
            continue;
        }
        if (!up && value - lowest >= turn) {
            up = true;
            highest = -SERIES_ENDLESS;
        }
        if (up && value > highest) {
            highest = value;
            highest_s = series_time(&part, i);
        }
        if (up && highest - value >= turn) {
            if (highest_s - tried_s > CRITERIA_PROFILE_COUGH_NEAR_S) {
                try_at(finder, highest_s);
                tried_s = highest_s;
            }
            up = false;
            lowest = value;
        }
        lowest = fmin(lowest, value);
    }
}

void profile_coughs_find(const struct study *study, const struct series *pura, struct span span,
                         struct profile_coughs *ret_coughs)
{
    const struct finder finder = {study, pura, span, ret_coughs};

    ret_coughs->count = 0;
    try_peaks(&finder);
}

void profile_coughs_cut(const struct profile_coughs *coughs, struct profile_trace *trace)
{
    for (size_t i = 0; i < coughs->count;) {
        struct span span = coughs->items[i].span;

        for (i++; i < coughs->count && coughs->items[i].span.from_s <= span.to_s; i++) {
            span.to_s = fmax(span.to_s, coughs->items[i].span.to_s);
        }
        profile_trace_cut(trace, span);
    }
}

/* How far a resting curve goes between two moments; 0 where it is not known. */
static double moved(const struct series *rest, double from_s, double to_s)
{
    const double way = series_value(rest, to_s) - series_value(rest, from_s);

    return isnan(way) ? 0.0 : way;
}

bool profile_coughs_ratio(const struct profile_cough *cough, const struct series *rest_pura,
                          const struct series *rest_pves, struct transmission_ratio *ret)
{
    const double pves_rise = cough->pves_peak_cmh2o - cough->pves_before_cmh2o -
                             moved(rest_pves, cough->before_s, cough->at_s);
    const double pura_rise = cough->pura_peak_cmh2o - cough->pura_before_cmh2o -
                             moved(rest_pura, cough->before_s, cough->pura_peak_s);

    if (isnan(pura_rise) || !(pves_rise >= CRITERIA_PROFILE_COUGH_CMH2O)) {
        return false;
    }
    *ret = (struct transmission_ratio){
        .at_s = cough->at_s,
        .position_mm = SERIES_MISSING,
        .position_percent = SERIES_MISSING,
        .pves_rise_cmh2o = pves_rise,
        .pura_rise_cmh2o = pura_rise,
        .ratio_percent = 100.0 * pura_rise / pves_rise,
        .stress_closure_cmh2o = cough->pura_peak_cmh2o - cough->pves_peak_cmh2o,
    };
    return true;
}
