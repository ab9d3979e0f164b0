#include "analysis/profile/pull.h"

#include "analysis/criteria.h"
#include "analysis/criteria_profile.h"
#include "analysis/memory.h"
#include "analysis/profile/hump.h"

bool pull_signals_open(struct study *study, struct pull_signals *ret_signals)
{
    *ret_signals = (struct pull_signals){.moves = {0, NULL}};
    return study_signal(study, SIGNAL_PURA, CRITERIA_ANALYSIS_RATE_HZ, &ret_signals->pura) &&
           study_signal(study, SIGNAL_PULLER, CRITERIA_PROFILE_SEARCH_HZ, &ret_signals->puller) &&
           puller_moves_find(&ret_signals->puller, study->memory, &ret_signals->moves);
}

static void add(struct pull_list *pulls, struct pull pull)
{
    if (pulls->count < PULLS_MAX) {
        pulls->items[pulls->count++] = pull;
    } else {
        pulls->more = true;
    }
}

/* Markers are set by hand; a puller says itself when it moved. A movement belongs to one pull only.
 */
static struct pull settle_on_puller(struct pull pull, const struct pull_signals *signals,
                                    double free_from_s)
{
    const struct puller_move *best = NULL;
    double longest_s = 0.0;

    for (size_t i = 0; i < signals->moves.count; i++) {
        const struct puller_move *move = &signals->moves.items[i];
        const double shared_s =
            fmin(move->span.to_s, pull.span.to_s) - fmax(move->span.from_s, pull.span.from_s);

        if (shared_s > longest_s && move->span.from_s >= free_from_s) {
            longest_s = shared_s;
            best = move;
        }
    }
    if (best == NULL) {
        pull.still = signals->puller.count > 0;
        return pull;
    }
    pull.span = best->span;
    pull.inward = best->inward;
    pull.stalled = best->stalled;
    return pull;
}

static void add_marked(struct pull_list *pulls, const struct pull_signals *signals,
                       struct span span, bool unpaired)
{
    const struct pull pull = {.span = span, .found = PULL_BY_MARKERS, .unpaired = unpaired};
    const double free_from_s =
        pulls->count > 0 ? pulls->items[pulls->count - 1].span.to_s : -SERIES_ENDLESS;

    if (pulls->count >= PULLS_MAX) {
        pulls->more = true;
    } else if (span.to_s > span.from_s) {
        add(pulls, settle_on_puller(pull, signals, free_from_s));
    }
}

/* A start without an end goes on to the next start, or to the last sample; an end without a start
 * begins at the end before it, or at the first sample. */
static void find_by_markers(const struct study *study, const struct pull_signals *signals,
                            struct pull_list *pulls)
{
    const struct series *pura = &signals->pura;
    double start_s = pura->start_s;
    bool open = false;

    for (size_t i = 0; i < study->timeline.count; i++) {
        const struct event *event = &study->timeline.events[i];

        if (event->code == EVENT_PULL_START) {
            if (open) {
                add_marked(pulls, signals, (struct span){start_s, event->at_s}, true);
            }
            start_s = event->at_s;
            open = true;
        } else if (event->code == EVENT_PULL_END) {
            add_marked(pulls, signals, (struct span){start_s, event->at_s}, !open);
            start_s = event->at_s;
            open = false;
        }
    }
    if (open && pura->count > 0) {
        add_marked(pulls, signals, (struct span){start_s, series_time(pura, pura->count - 1)},
                   true);
    }
}

static void find_by_puller(const struct pull_signals *signals, struct pull_list *pulls)
{
    for (size_t i = 0; i < signals->moves.count; i++) {
        const struct puller_move *move = &signals->moves.items[i];

        if (!move->inward) {
            add(pulls, (struct pull){
                           .span = move->span, .found = PULL_BY_PULLER, .stalled = move->stalled});
        }
    }
}

/* Outward movements that belong to no marked pull. Both lists are in order of time. */
static bool moved_unmarked(const struct pull_signals *signals, const struct pull_list *pulls)
{
    size_t pull = 0;

    for (size_t i = 0; i < signals->moves.count; i++) {
        const struct puller_move *move = &signals->moves.items[i];

        while (pull < pulls->count && pulls->items[pull].span.to_s <= move->span.from_s) {
            pull++;
        }
        if (!move->inward &&
            (pull == pulls->count || pulls->items[pull].span.from_s >= move->span.to_s)) {
            return true;
        }
    }
    return false;
}

static bool find_by_shape(const struct study *study, const struct pull_signals *signals,
                          struct pull_list *pulls)
{
    struct hump_list humps;

    if (!hump_list_find(study, &signals->pura, &humps)) {
        return false;
    }
    for (size_t i = 0; i < humps.count; i++) {
        if (humps.items[i].side != HUMP_FROM_OUTSIDE) {
            add(pulls, (struct pull){.span = humps.items[i].span,
                                     .found = PULL_BY_SHAPE,
                                     .one_sided = humps.items[i].side == HUMP_UNKNOWN});
        }
    }
    return true;
}

bool pull_list_find(struct study *study, const struct pull_signals *signals,
                    struct pull_list *ret_pulls)
{
    const bool marked = timeline_count(&study->timeline, EVENT_PULL_START) > 0 ||
                        timeline_count(&study->timeline, EVENT_PULL_END) > 0;

    *ret_pulls = (struct pull_list){0};
    ret_pulls->items = memory_array(study->memory, PULLS_MAX, sizeof *ret_pulls->items);
    if (ret_pulls->items == NULL) {
        return false;
    }
    if (marked) {
        find_by_markers(study, signals, ret_pulls);
        ret_pulls->unmarked = moved_unmarked(signals, ret_pulls);
    } else if (signals->moves.count > 0) {
        find_by_puller(signals, ret_pulls);
    } else if (study->recording->type == RECORDING_URETHRAL_PRESSURE_PROFILE) {
        return find_by_shape(study, signals, ret_pulls);
    }
    return true;
}
