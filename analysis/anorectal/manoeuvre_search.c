/* Squeezes, coughs and pushes that nobody marked. */
#include "analysis/anorectal/manoeuvre.h"
#include "analysis/criteria.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/resample.h"
#include "analysis/signal/runs.h"

#include <math.h>

/* What is sought in one signal. */
struct search {
    struct study *study;
    struct manoeuvre_list *list;
    size_t marked;            /* manoeuvres known before, by markers or inflations */
    size_t next_marked;       /* those before it end before the rise in hand */
    size_t next_rectal;       /* likewise */
    const struct run *rectal; /* rises of the rectal pressure */
    size_t rectal_count;
};

/* The signal above its usual level, the median over two minutes. False when memory ran out. */
static bool above_level(struct study *study, const struct series *series, struct series *ret_above)
{
    const struct analysis_memory *memory = study->memory;
    const size_t block = resample_block(series, CRITERIA_ARM_LEVEL_RATE_HZ);
    double *above = memory_doubles(memory, series->count);
    struct series slow;
    struct series level;

    if (above == NULL || !series_copy_reduced(series, CRITERIA_ARM_LEVEL_RATE_HZ, memory, &slow) ||
        !series_copy_median(&slow, CRITERIA_ARM_LEVEL_HALF_S, memory, &level)) {
        return false;
    }
    for (size_t i = 0; i < series->count; i++) {
        const size_t last = slow.count > 0 ? slow.count - 1 : 0;
        const size_t nearest = i / block < last ? i / block : last;

        above[i] = slow.count > 0 ? series->samples[i] - level.samples[nearest] : SERIES_MISSING;
    }
    *ret_above = *series;
    ret_above->samples = above;
    return true;
}

/* Rises of a signal over its usual level; *ret_runs has room for all. False when memory ran out. */
static bool find_rises(struct study *study, const struct series *series, double least_s,
                       struct run **ret_runs, size_t *ret_count)
{
    const struct run_rule rule = {.threshold = CRITERIA_ARM_FOUND_MMHG,
                                  .min_run_s = least_s,
                                  .min_gap_s = CRITERIA_ARM_DIP_S,
                                  .bridge_s = CRITERIA_BRIDGE_S,
                                  .step_per_s = SERIES_ENDLESS};
    struct series above;

    *ret_count = 0;
    if (!above_level(study, series, &above)) {
        return false;
    }
    *ret_runs = memory_array(study->memory, runs_capacity(&above, &rule), sizeof **ret_runs);
    if (*ret_runs == NULL) {
        return false;
    }
    *ret_count = runs_find(&above, &rule, *ret_runs);
    return true;
}

static bool overlaps(struct span a, struct span b)
{
    return a.from_s <= b.to_s && a.to_s >= b.from_s;
}

/* Whether a rise belongs to something that is known already. Rises come in order of time, so what
 * lies before one is passed for good. */
static bool is_taken(struct search *search, struct span span)
{
    const struct manoeuvre_list *list = search->list;

    while (search->next_marked < search->marked &&
           manoeuvre_span(&list->items[search->next_marked]).to_s < span.from_s) {
        search->next_marked++;
    }
    for (size_t i = search->next_marked; i < search->marked; i++) {
        const struct span known = manoeuvre_span(&list->items[i]);

        if (known.from_s > span.to_s) {
            break;
        }
        if (overlaps(known, span)) {
            return true;
        }
    }
    return overlaps(list->sensory, span) || overlaps(list->pull, span);
}

static bool is_rectal(struct search *search, struct span span)
{
    while (search->next_rectal < search->rectal_count &&
           search->rectal[search->next_rectal].span.to_s < span.from_s) {
        search->next_rectal++;
    }
    return search->next_rectal < search->rectal_count &&
           overlaps(search->rectal[search->next_rectal].span, span);
}

static bool has_marker(const struct search *search, enum manoeuvre_kind kind)
{
    for (size_t i = 0; i < search->marked; i++) {
        if (search->list->items[i].kind == kind) {
            return true;
        }
    }
    return false;
}

static void add(struct search *search, enum manoeuvre_kind kind, struct span span)
{
    struct manoeuvre_list *list = search->list;

    if (list->count < search->marked + MANOEUVRE_FOUND_MAX) {
        list->items[list->count++] =
            (struct manoeuvre){.kind = kind,
                               .at_s = span.from_s,
                               .volume_ml = SERIES_MISSING,
                               .window = {span.from_s - CRITERIA_ARM_EARLY_S, span.to_s}};
    }
}

/* Whether somebody set markers for what the patient was asked to do. */
static bool is_guided(const struct search *search)
{
    return has_marker(search, MANOEUVRE_SQUEEZE) || has_marker(search, MANOEUVRE_LONG_SQUEEZE) ||
           has_marker(search, MANOEUVRE_COUGH) || has_marker(search, MANOEUVRE_PUSH);
}

/* Coughs come by themselves too: where others are marked, they are none that was asked for. */
static void add_rectal(struct search *search)
{
    const bool guided = is_guided(search);
    const bool pushes = !has_marker(search, MANOEUVRE_PUSH);

    for (size_t i = 0; i < search->rectal_count; i++) {
        const struct span span = search->rectal[i].span;
        const double length_s = span.to_s - span.from_s;
        const bool cough = length_s < CRITERIA_ARM_FOUND_COUGH_S;

        if (length_s <= CRITERIA_ARM_FOUND_MOST_S && !is_taken(search, span) &&
            (cough ? !guided : pushes)) {
            add(search, cough ? MANOEUVRE_COUGH : MANOEUVRE_PUSH, span);
        }
    }
}

static void add_anal(struct search *search, const struct run *runs, size_t count)
{
    if (has_marker(search, MANOEUVRE_SQUEEZE) || has_marker(search, MANOEUVRE_LONG_SQUEEZE)) {
        return;
    }
    search->next_marked = 0;
    for (size_t i = 0; i < count; i++) {
        const struct span span = runs[i].span;
        const double length_s = span.to_s - span.from_s;

        if (length_s <= CRITERIA_ARM_FOUND_MOST_S && !is_taken(search, span) &&
            !is_rectal(search, span)) {
            add(search,
                length_s < CRITERIA_ARM_FOUND_LONG_S ? MANOEUVRE_SQUEEZE : MANOEUVRE_LONG_SQUEEZE,
                span);
        }
    }
}

bool manoeuvre_search(struct study *study, const struct anal_signals *signals,
                      struct manoeuvre_list *list)
{
    struct search search = {.study = study, .list = list, .marked = list->count};
    struct run *rectal = NULL;
    struct run *anal = NULL;
    size_t anal_count = 0;

    if (signals->rect_cough.count > 0 &&
        !find_rises(study, &signals->rect_cough, 0.0, &rectal, &search.rectal_count)) {
        return false;
    }
    search.rectal = rectal;
    if (signals->anal.count > 0 &&
        !find_rises(study, &signals->anal, CRITERIA_ARM_FOUND_LEAST_S, &anal, &anal_count)) {
        return false;
    }
    add_rectal(&search);
    add_anal(&search, anal, anal_count);
    return true;
}
