#include "analysis/profile/hump.h"

#include "analysis/criteria_profile.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/resample.h"

/* Closure pressure without coughs, at no more than some samples a second. */
static bool quiet_closure(const struct study *study, const struct series *pura,
                          struct series *ret_quiet)
{
    const size_t block = resample_block(pura, CRITERIA_PROFILE_SEARCH_HZ);
    double *slow = memory_doubles(study->memory, pura->count / block);

    if (slow == NULL) {
        return false;
    }
    const struct series closure = resample_means(pura, block, slow);

    if (study->pves.count > 0) {
        resample_difference(&closure, &study->pves, slow);
    } else {
        const struct span first = {closure.start_s, closure.start_s + CRITERIA_PROFILE_BEFORE_S};
        const double level = level_median(&closure, first, study->scratch);

        for (size_t i = 0; i < closure.count; i++) {
            slow[i] -= level;
        }
    }
    return series_copy_median(&closure, CRITERIA_PROFILE_HUMP_HALF_S, study->memory, ret_quiet);
}

/* A hump begins and ends where closure crosses the lower line, and reaches the upper one. */
static void collect(const struct series *quiet, struct hump_list *humps)
{
    size_t first = 0;
    bool on = false;
    bool high = false;

    for (size_t i = 0; i <= quiet->count; i++) {
        const double value = i < quiet->count ? quiet->samples[i] : SERIES_MISSING;

        if (value > CRITERIA_PROFILE_HUMP_EDGE_CMH2O) {
            first = on ? first : i;
            high = (on && high) || value >= CRITERIA_PROFILE_HUMP_CMH2O;
            on = true;
        } else if (on) {
            const struct span span = {series_time(quiet, first), series_time(quiet, i - 1)};

            if (high) {
                humps->items[humps->count++].span = span;
            }
            on = false;
        }
    }
}

static enum hump_side side_of(const struct series *quiet, struct span own, struct span wide,
                              struct level_scratch scratch)
{
    const struct span before = {wide.from_s,
                                fmin(wide.from_s + CRITERIA_PROFILE_HUMP_MIN_S, own.from_s)};
    const struct span after = {fmax(wide.to_s - CRITERIA_PROFILE_HUMP_MIN_S, own.to_s), wide.to_s};
    const double fall = level_median(quiet, before, scratch) - level_median(quiet, after, scratch);

    if (fall > CRITERIA_PROFILE_SIDES_CMH2O) {
        return HUMP_FROM_BLADDER;
    }
    return fall < -CRITERIA_PROFILE_SIDES_CMH2O ? HUMP_FROM_OUTSIDE : HUMP_UNKNOWN;
}

/* Gives each hump what lies beside it, half of the way to its neighbours at most, and drops those
 * that are too short for a pull, such as a catheter that is pushed back fast. */
static void widen(const struct series *quiet, struct level_scratch scratch, struct hump_list *humps)
{
    const double last_s = series_time(quiet, quiet->count - 1);
    double free_from_s = quiet->start_s;
    size_t kept = 0;

    for (size_t i = 0; i < humps->count; i++) {
        const struct span own = humps->items[i].span;
        const double free_to_s =
            i + 1 < humps->count ? 0.5 * (own.to_s + humps->items[i + 1].span.from_s) : last_s;
        const struct span wide = {fmax(own.from_s - CRITERIA_PROFILE_HUMP_REACH_S, free_from_s),
                                  fmin(own.to_s + CRITERIA_PROFILE_HUMP_REACH_S, free_to_s)};

        free_from_s = free_to_s;
        if (own.to_s - own.from_s >= CRITERIA_PROFILE_HUMP_MIN_S) {
            humps->items[kept++] =
                (struct hump){.span = wide, .side = side_of(quiet, own, wide, scratch)};
        }
    }
    humps->count = kept;
}

bool hump_list_find(const struct study *study, const struct series *pura,
                    struct hump_list *ret_humps)
{
    struct series quiet;

    *ret_humps = (struct hump_list){0};
    if (pura->count == 0) {
        return true;
    }
    if (!quiet_closure(study, pura, &quiet)) {
        return false;
    }
    ret_humps->items = memory_array(study->memory, quiet.count / 2 + 1, sizeof *ret_humps->items);
    if (ret_humps->items == NULL) {
        return false;
    }
    if (quiet.count == 0) {
        return true;
    }
    collect(&quiet, ret_humps);
    widen(&quiet, study->scratch, ret_humps);
    return true;
}
