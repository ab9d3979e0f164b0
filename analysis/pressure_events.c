#include "analysis/pressure_events.h"

#include "analysis/study.h"

bool pressure_events_find(struct study *study)
{
    (void)study;
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
