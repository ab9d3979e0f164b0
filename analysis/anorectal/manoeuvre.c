#include "analysis/anorectal/manoeuvre.h"

#include "analysis/anorectal/canal_length.h"
#include "analysis/criteria.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/memory.h"

#include <math.h>

const char *manoeuvre_name(enum manoeuvre_kind kind)
{
    static const char *const names[MANOEUVRE_KINDS] = {
        [MANOEUVRE_SQUEEZE] = "squeeze", [MANOEUVRE_LONG_SQUEEZE] = "long_squeeze",
        [MANOEUVRE_COUGH] = "cough",     [MANOEUVRE_PUSH] = "push",
        [MANOEUVRE_BALLOON] = "balloon",
    };

    return (unsigned)kind < MANOEUVRE_KINDS ? names[kind] : NULL;
}

static const enum event_code markers[MANOEUVRE_KINDS] = {
    [MANOEUVRE_SQUEEZE] = EVENT_SQUEEZE, [MANOEUVRE_LONG_SQUEEZE] = EVENT_LONG_SQUEEZE,
    [MANOEUVRE_COUGH] = EVENT_COUGH,     [MANOEUVRE_PUSH] = EVENT_PUSH,
    [MANOEUVRE_BALLOON] = EVENT_BALLOON,
};

static const double lengths_s[MANOEUVRE_KINDS] = {
    [MANOEUVRE_SQUEEZE] = CRITERIA_ARM_SQUEEZE_S, [MANOEUVRE_LONG_SQUEEZE] = CRITERIA_ARM_LONG_S,
    [MANOEUVRE_COUGH] = CRITERIA_ARM_COUGH_S,     [MANOEUVRE_PUSH] = CRITERIA_ARM_PUSH_S,
    [MANOEUVRE_BALLOON] = CRITERIA_ARM_FALL_S,
};

size_t manoeuvre_count(const struct manoeuvre_list *list, enum manoeuvre_kind kind)
{
    size_t count = 0;

    for (size_t i = 0; i < list->count; i++) {
        count += list->items[i].kind == kind ? 1 : 0;
    }
    return count;
}

static bool in_span(struct span span, double at_s)
{
    return at_s >= span.from_s && at_s <= span.to_s;
}

struct span manoeuvre_span(const struct manoeuvre *manoeuvre)
{
    struct span span = manoeuvre->window;

    if (manoeuvre->kind == MANOEUVRE_BALLOON) {
        span.to_s = fmin(manoeuvre->at_s + CRITERIA_ARM_INFLATION_S, manoeuvre->next_s);
    }
    return span;
}

/* The volume that came with a balloon event; NaN when none did, or none that can be. */
static double entered_volume(const struct event *event)
{
    const struct optional_number value = event->value;

    return value.known && value.value >= 0.0 && value.value <= CRITERIA_PLAUSIBLE_VOLUME_ML
               ? value.value
               : SERIES_MISSING;
}

double manoeuvre_volume(const struct study *study, const struct anal_signals *signals, double at_s)
{
    double volume_ml = SERIES_MISSING;

    if (signals->balloon.count > 0) {
        return series_value(&signals->balloon, at_s);
    }
    for (size_t i = 0; i < study->timeline.count; i++) {
        const struct event *event = &study->timeline.events[i];

        if (event->code == EVENT_BALLOON && event->at_s <= at_s && !isnan(entered_volume(event))) {
            volume_ml = entered_volume(event);
        }
    }
    return volume_ml;
}

/* From filling_start to the marker that ends the inflation; to the end of the signals without. */
static struct span sensory_span(const struct study *study, const struct anal_signals *signals)
{
    const struct timeline *timeline = &study->timeline;
    const struct optional_number start = timeline->filling_start;

    if (!start.known) {
        return (struct span){SERIES_ENDLESS, -SERIES_ENDLESS};
    }
    const struct optional_number stop = timeline_first(timeline, EVENT_FILLING_STOP, start.value);
    const struct optional_number pain = timeline_first(timeline, EVENT_PAIN, start.value);
    double end_s = stop.known ? stop.value : signals->extent.to_s;

    if (!stop.known && pain.known) {
        end_s = pain.value;
    }
    return (struct span){start.value, end_s};
}

/* Largest volume while an inflation comes to its end. */
static double volume_reached(const struct anal_signals *signals, double at_s)
{
    const struct series part =
        series_part(&signals->balloon,
                    (struct span){at_s - CRITERIA_ARM_EARLY_S, at_s + CRITERIA_ARM_BEFORE_S});
    size_t index = 0;

    return series_maximum(&part, &index) ? part.samples[index] : SERIES_MISSING;
}

static struct manoeuvre new_manoeuvre(enum manoeuvre_kind kind, double at_s, bool marked)
{
    return (struct manoeuvre){.kind = kind,
                              .at_s = at_s,
                              .marked = marked,
                              .volume_ml = SERIES_MISSING,
                              .window = {at_s - CRITERIA_ARM_EARLY_S, at_s + lengths_s[kind]}};
}

static void take_markers(const struct study *study, const struct anal_signals *signals,
                         struct manoeuvre_list *list)
{
    for (size_t i = 0; i < study->timeline.count; i++) {
        const struct event *event = &study->timeline.events[i];

        for (unsigned kind = 0; kind < MANOEUVRE_KINDS; kind++) {
            if (event->code != markers[kind]) {
                continue;
            }
            struct manoeuvre manoeuvre =
                new_manoeuvre((enum manoeuvre_kind)kind, event->at_s, true);

            if (kind == MANOEUVRE_BALLOON) {
                if (in_span(list->sensory, event->at_s)) {
                    continue; /* a step of the slow inflation */
                }
                manoeuvre.volume_ml = entered_volume(event);
                if (isnan(manoeuvre.volume_ml)) {
                    manoeuvre.volume_ml = volume_reached(signals, event->at_s);
                }
            }
            list->items[list->count++] = manoeuvre;
        }
    }
}

/* Inflations that show in the volume alone: as long as it rises fast, by enough. Stops when the
 * list holds `most`. */
static void take_inflations(const struct anal_signals *signals, struct manoeuvre_list *list,
                            size_t most)
{
    const struct series *balloon = &signals->balloon;
    const size_t whole = series_whole_samples(balloon, 1.0);
    const size_t step = whole > 0 ? whole : 1;
    const double fast = CRITERIA_ARM_FAST_ML_S * (double)step / balloon->rate_hz;
    size_t i = 0;

    while (i + step < balloon->count && list->count < most) {
        if (!(balloon->samples[i + step] - balloon->samples[i] >= fast)) {
            i++;
            continue;
        }
        const size_t first = i;

        while (i + step < balloon->count &&
               balloon->samples[i + step] - balloon->samples[i] >= fast) {
            i++;
        }
        const size_t last = i + step - 1;
        const double rise = balloon->samples[last] - balloon->samples[first];
        /* A step shows in all seconds that end after it. */
        const double at_s = series_time(balloon, first + step - 1);

        if (rise >= CRITERIA_ARM_INFLATION_ML && !in_span(list->sensory, at_s)) {
            struct manoeuvre manoeuvre = new_manoeuvre(MANOEUVRE_BALLOON, at_s, false);

            manoeuvre.volume_ml = volume_reached(signals, series_time(balloon, last));
            list->items[list->count++] = manoeuvre;
        }
    }
}

static void swap(struct manoeuvre *a, struct manoeuvre *b)
{
    const struct manoeuvre kept = *a;

    *a = *b;
    *b = kept;
}

static void sift_down(struct manoeuvre *items, size_t root, size_t count)
{
    while (2 * root + 1 < count) {
        size_t child = 2 * root + 1;

        if (child + 1 < count && items[child + 1].at_s > items[child].at_s) {
            child++;
        }
        if (items[root].at_s >= items[child].at_s) {
            return;
        }
        swap(&items[root], &items[child]);
        root = child;
    }
}

/* Sorts by time, and ends each window where the next manoeuvre begins. */
static void put_in_order(struct manoeuvre_list *list)
{
    for (size_t root = list->count / 2; root > 0; root--) {
        sift_down(list->items, root - 1, list->count);
    }
    for (size_t last = list->count; last > 1; last--) {
        swap(&list->items[0], &list->items[last - 1]);
        sift_down(list->items, 0, last - 1);
    }
    for (size_t i = 0; i < list->count; i++) {
        list->items[i].next_s = i + 1 < list->count ? list->items[i + 1].at_s : SERIES_ENDLESS;
        list->items[i].window.to_s = fmin(list->items[i].window.to_s, list->items[i].next_s);
    }
}

static void note_unmarked(struct study *study, const struct manoeuvre_list *list)
{
    static const char *const texts[MANOEUVRE_KINDS] = {
        [MANOEUVRE_SQUEEZE] = "There is no squeeze marker. Rises of the anal pressure were taken "
                              "for squeezes: look at the traces, and set the markers.",
        [MANOEUVRE_LONG_SQUEEZE] = "There is no long_squeeze marker. A long rise of the anal "
                                   "pressure was taken for one: look at the traces, and set the "
                                   "marker.",
        [MANOEUVRE_COUGH] = "There is no cough marker. Short rises of the rectal pressure were "
                            "taken for coughs: look at the traces, and set the markers.",
        [MANOEUVRE_PUSH] = "There is no push marker. Long rises of the rectal pressure were taken "
                           "for pushes: look at the traces, and set the markers.",
        [MANOEUVRE_BALLOON] = "There is no balloon marker. Fast rises of the balloon's volume were "
                              "taken for inflations: look at the traces, and set the markers.",
    };
    bool noted[MANOEUVRE_KINDS] = {false};

    for (size_t i = 0; i < list->count; i++) {
        const enum manoeuvre_kind kind = list->items[i].kind;

        if (!list->items[i].marked && !noted[kind]) {
            noted[kind] = true;
            outcome_note(&study->outcome, "found_without_marker", QUALITY_INFO, SIGNAL_NONE,
                         texts[kind]);
        }
    }
}

bool manoeuvre_find(struct study *study, const struct anal_signals *signals,
                    struct manoeuvre_list *list)
{
    const size_t inflated_most = study->timeline.count + MANOEUVRE_FOUND_MAX;
    const size_t room = inflated_most + MANOEUVRE_FOUND_MAX;

    *list = (struct manoeuvre_list){.items = memory_array(study->memory, room, sizeof *list->items),
                                    .sensory = sensory_span(study, signals),
                                    .pull = canal_length_pull(study, signals)};
    if (list->items == NULL) {
        return false;
    }
    take_markers(study, signals, list);
    if (timeline_count(&study->timeline, EVENT_BALLOON) == 0) {
        take_inflations(signals, list, inflated_most);
    }
    put_in_order(list);
    if (!manoeuvre_search(study, signals, list)) {
        return false;
    }
    put_in_order(list);
    note_unmarked(study, list);
    return true;
}
