#include "analysis/training/commands.h"

#include "analysis/memory.h"

#include <math.h>

static bool is_command(const struct event *event)
{
    return event->code == EVENT_WORK || event->code == EVENT_REST;
}

/* The next work or rest marker after one; NULL for none. */
static const struct event *next_command(const struct timeline *timeline, size_t index)
{
    for (size_t i = index + 1; i < timeline->count; i++) {
        if (is_command(&timeline->events[i])) {
            return &timeline->events[i];
        }
    }
    return NULL;
}

bool commands_read(const struct study *study, double end_s, struct commands *ret_commands)
{
    const struct timeline *timeline = &study->timeline;
    const size_t capacity = timeline_count(timeline, EVENT_WORK);
    struct command *open = NULL; /* the last one, as long as its rest may follow */
    double rest_from_s = SERIES_MISSING;

    *ret_commands =
        (struct commands){0, memory_array(study->memory, capacity, sizeof *ret_commands->items)};
    if (ret_commands->items == NULL) {
        return false;
    }
    for (size_t i = 0; i < timeline->count; i++) {
        const struct event *event = &timeline->events[i];

        if (event->code == EVENT_REST && isnan(rest_from_s)) {
            rest_from_s = event->at_s;
        }
        if (event->code != EVENT_WORK) {
            continue;
        }
        if (open != NULL) {
            open->rest_s = event->at_s - rest_from_s;
        }
        open = &ret_commands->items[ret_commands->count++];
        rest_from_s = SERIES_MISSING;
        *open = (struct command){{event->at_s, fmax(end_s, event->at_s)}, false, SERIES_MISSING};
    }
    size_t number = 0;

    for (size_t i = 0; i < timeline->count; i++) {
        if (timeline->events[i].code == EVENT_WORK) {
            const struct event *next = next_command(timeline, i);

            if (next != NULL) {
                ret_commands->items[number].work.to_s = next->at_s;
                ret_commands->items[number].bounded = true;
            }
            number++;
        }
    }
    return true;
}

const struct command *commands_for(const struct commands *commands, struct span contraction,
                                   size_t *cursor)
{
    const struct command *best = NULL;
    double longest_s = 0.0;

    while (*cursor < commands->count && commands->items[*cursor].work.to_s <= contraction.from_s) {
        ++*cursor;
    }
    for (size_t i = *cursor; i < commands->count; i++) {
        const struct span work = commands->items[i].work;

        if (work.from_s >= contraction.to_s) {
            break;
        }
        const double shared_s =
            fmin(work.to_s, contraction.to_s) - fmax(work.from_s, contraction.from_s);

        if (shared_s > longest_s) {
            longest_s = shared_s;
            best = &commands->items[i];
        }
    }
    return best;
}

double commands_ratio(const struct commands *commands)
{
    double work_s = 0.0;
    double rest_s = 0.0;

    for (size_t i = 0; i < commands->count; i++) {
        const struct command *command = &commands->items[i];

        if (command->bounded && !isnan(command->rest_s)) {
            work_s += command->work.to_s - command->work.from_s;
            rest_s += command->rest_s;
        }
    }
    return rest_s > 0.0 ? work_s / rest_s : SERIES_MISSING;
}
