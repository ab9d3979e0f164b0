#include "analysis/timeline.h"

#include "analysis/criteria.h"
#include "analysis/memory.h"

#include <math.h>

static void sift_down(struct event *events, size_t root, size_t count)
{
    for (;;) {
        size_t child = 2 * root + 1;

        if (child >= count) {
            return;
        }
        if (child + 1 < count && events[child + 1].at_s > events[child].at_s) {
            child++;
        }
        if (!(events[child].at_s > events[root].at_s)) {
            return;
        }
        const struct event kept = events[root];

        events[root] = events[child];
        events[child] = kept;
        root = child;
    }
}

/* Heap sort: in place, and never slow, whatever the order of the upload. */
static void sort_events(struct event *events, size_t count)
{
    for (size_t root = count / 2; root > 0; root--) {
        sift_down(events, root - 1, count);
    }
    for (size_t last = count; last > 1; last--) {
        const struct event largest = events[0];

        events[0] = events[last - 1];
        events[last - 1] = largest;
        sift_down(events, 0, last - 1);
    }
}

bool timeline_open(struct timeline *timeline, const struct recording *recording,
                   const struct analysis_memory *memory)
{
    struct event *events = memory_array(memory, recording->event_count, sizeof *events);
    size_t count = 0;

    if (events == NULL) {
        return false;
    }
    for (size_t i = 0; i < recording->event_count; i++) {
        if (recording->events[i].code != EVENT_OTHER &&
            fabs(recording->events[i].at_s) <= CRITERIA_MARKER_MAX_S) {
            events[count++] = recording->events[i];
        }
    }
    sort_events(events, count);
    *timeline = (struct timeline){.count = count, .events = events};
    timeline->filling_start = timeline_first(timeline, EVENT_FILLING_START, -SERIES_ENDLESS);
    timeline->permission = timeline_first(timeline, EVENT_PERMISSION_TO_VOID, -SERIES_ENDLESS);
    timeline->void_start =
        timeline_first(timeline, EVENT_VOID_START,
                       timeline->permission.known ? timeline->permission.value : -SERIES_ENDLESS);
    if (!timeline->void_start.known) {
        timeline->void_start = timeline_first(timeline, EVENT_VOID_START, -SERIES_ENDLESS);
    }
    timeline->void_end = timeline_last(timeline, EVENT_VOID_END, SERIES_ENDLESS);

    double voiding_s = SERIES_ENDLESS;

    if (timeline->permission.known) {
        voiding_s = timeline->permission.value;
    } else if (timeline->void_start.known) {
        voiding_s = timeline->void_start.value;
    }
    timeline->filling_stop = timeline_last(timeline, EVENT_FILLING_STOP, voiding_s);
    return true;
}

struct optional_number timeline_first(const struct timeline *timeline, enum event_code code,
                                      double from_s)
{
    for (size_t i = 0; i < timeline->count; i++) {
        if (timeline->events[i].code == code && timeline->events[i].at_s >= from_s) {
            return (struct optional_number){true, timeline->events[i].at_s};
        }
    }
    return (struct optional_number){false, 0.0};
}

struct optional_number timeline_last(const struct timeline *timeline, enum event_code code,
                                     double to_s)
{
    for (size_t i = timeline->count; i > 0; i--) {
        if (timeline->events[i - 1].code == code && timeline->events[i - 1].at_s <= to_s) {
            return (struct optional_number){true, timeline->events[i - 1].at_s};
        }
    }
    return (struct optional_number){false, 0.0};
}

size_t timeline_count(const struct timeline *timeline, enum event_code code)
{
    size_t count = 0;

    for (size_t i = 0; i < timeline->count; i++) {
        count += timeline->events[i].code == code ? 1 : 0;
    }
    return count;
}

static bool disturbs(enum event_code code)
{
    return code == EVENT_COUGH || code == EVENT_VALSALVA || code == EVENT_ZERO ||
           code == EVENT_FLUSH || code == EVENT_POSITION_CHANGE;
}

bool timeline_disturbed(const struct timeline *timeline, struct span span, double slack_s)
{
    for (size_t i = 0; i < timeline->count; i++) {
        const struct event *event = &timeline->events[i];

        if (disturbs(event->code) && event->at_s >= span.from_s - slack_s &&
            event->at_s <= span.to_s + slack_s) {
            return true;
        }
    }
    return false;
}

bool timeline_pumped(const struct timeline *timeline, double at_s, double *ret_seconds)
{
    double seconds = 0.0;
    double running_since = 0.0;
    bool running = false;
    bool started = false;

    for (size_t i = 0; i < timeline->count && timeline->events[i].at_s <= at_s; i++) {
        const struct event *event = &timeline->events[i];

        if (event->code == EVENT_FILLING_START && !running) {
            running = true;
            started = true;
            running_since = event->at_s;
        } else if (event->code == EVENT_FILLING_STOP && running) {
            running = false;
            seconds += event->at_s - running_since;
        }
    }
    if (!started) {
        return false;
    }
    *ret_seconds = running ? seconds + at_s - running_since : seconds;
    return true;
}
