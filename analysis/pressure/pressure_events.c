#include "analysis/pressure/pressure_events.h"

#include "analysis/criteria_pressure.h"
#include "analysis/memory.h"
#include "analysis/pressure/pressure_events_parts.h"

#include <math.h>

void event_finder_add(struct event_finder *finder, struct pressure_event event)
{
    if (finder->count < PRESSURE_EVENTS_MAX) {
        finder->items[finder->count++] = event;
    }
}

/* Index of the first marker at or after a moment. */
static size_t first_marker(const struct timeline *timeline, double at_s)
{
    size_t low = 0;
    size_t high = timeline->count;

    while (low < high) {
        const size_t middle = low + (high - low) / 2;

        if (timeline->events[middle].at_s < at_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

bool event_finder_marker(const struct event_finder *finder, enum event_code first,
                         enum event_code second, struct span span)
{
    const struct timeline *timeline = &finder->study->timeline;

    for (size_t i = first_marker(timeline, span.from_s);
         i < timeline->count && timeline->events[i].at_s <= span.to_s; i++) {
        if (timeline->events[i].code == first || timeline->events[i].code == second) {
            return true;
        }
    }
    return false;
}

bool event_finder_overlap(const struct event_finder *finder, unsigned kinds, struct span span)
{
    const struct pressure_events so_far = {finder->count, finder->items};

    return pressure_events_overlap(&so_far, kinds, span, 0.0);
}

/* Insertion sort: the list has a ceiling, and each finder adds in order of time. */
static void sort_by_time(struct pressure_event *items, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        const struct pressure_event event = items[i];
        size_t place = i;

        while (place > 0 && items[place - 1].span.from_s > event.span.from_s) {
            items[place] = items[place - 1];
            place--;
        }
        items[place] = event;
    }
}

static void name_by_markers(struct event_finder *finder)
{
    static const struct {
        enum event_code first;
        enum event_code second;
        double slack_s;
    } markers[] = {
        [PRESSURE_EVENT_COUGH] = {EVENT_COUGH, EVENT_COUGH, CRITERIA_EVENT_MARKER_S},
        [PRESSURE_EVENT_STRAIN] = {EVENT_VALSALVA, EVENT_PUSH, CRITERIA_EVENT_MARKER_S},
        [PRESSURE_EVENT_RECTAL] = {EVENT_OTHER, EVENT_OTHER, CRITERIA_EVENT_MARKER_S},
        [PRESSURE_EVENT_POSITION] = {EVENT_POSITION_CHANGE, EVENT_POSITION_CHANGE,
                                     CRITERIA_FLUSH_MARKER_S},
        [PRESSURE_EVENT_FLUSH] = {EVENT_FLUSH, EVENT_ZERO, CRITERIA_FLUSH_MARKER_S},
        [PRESSURE_EVENT_RESTLESS] = {EVENT_OTHER, EVENT_OTHER, CRITERIA_EVENT_MARKER_S},
    };

    for (size_t i = 0; i < finder->count; i++) {
        struct pressure_event *event = &finder->items[i];
        const double slack_s = markers[event->kind].slack_s;
        const struct span around = {event->span.from_s - slack_s, event->span.to_s + slack_s};

        event->marked = event_finder_marker(finder, markers[event->kind].first,
                                            markers[event->kind].second, around);
    }
}

static bool find_all(struct event_finder *finder)
{
    event_finder_flushes(finder);
    return event_finder_levels(finder) && event_finder_positions(finder) &&
           event_finder_coughs(finder) && event_finder_excursions(finder);
}

bool pressure_events_find(struct study *study)
{
    struct event_finder finder = {.study = study};

    study->pressure_events = (struct pressure_events){0, NULL};
    if (!pressure_grid_open(study, &study->pressure_grid)) {
        return false;
    }
    finder.grid = study->pressure_grid;
    if (finder.grid.count == 0 || finder.grid.rate_hz < CRITERIA_EVENT_RATE_MIN_HZ) {
        return true;
    }
    finder.items = memory_array(study->memory, PRESSURE_EVENTS_MAX, sizeof *finder.items);
    finder.lines[0] = (struct pressure_line){finder.grid.has_pves, finder.grid.pves, NULL, NULL};
    finder.lines[1] = (struct pressure_line){finder.grid.has_pabd, finder.grid.pabd, NULL, NULL};
    if (finder.items == NULL || !find_all(&finder)) {
        return false;
    }
    sort_by_time(finder.items, finder.count);
    name_by_markers(&finder);
    study->pressure_events = (struct pressure_events){finder.count, finder.items};
    return true;
}

bool pressure_events_overlap(const struct pressure_events *events, unsigned kinds, struct span span,
                             double slack_s)
{
    for (size_t i = 0; i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];

        if (((1u << event->kind) & kinds) != 0 && event->span.from_s <= span.to_s + slack_s &&
            event->span.to_s >= span.from_s - slack_s) {
            return true;
        }
    }
    return false;
}
