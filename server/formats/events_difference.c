#include "formats/events_difference.h"

#include <math.h>
#include <string.h>

static bool is_same(const struct document_event *one, const struct document_event *other)
{
    return strcmp(one->code, other->code) == 0 && strcmp(one->note, other->note) == 0 &&
           one->value.known == other->value.known &&
           (!one->value.known || !islessgreater(one->value.value, other->value.value));
}

struct document_event *events_difference(struct arena *arena, const struct document_event *events,
                                         size_t count, const struct document_event *others,
                                         size_t other_count, size_t *ret_count)
{
    struct document_event *lacking = arena_array(arena, count, sizeof *lacking);
    bool *used = arena_array(arena, other_count, sizeof *used);
    size_t found = 0;
    size_t from = 0; /* the first of `others` that is not before the event */
    for (size_t i = 0; i < count; i++) {
        while (from < other_count && others[from].at_s < events[i].at_s) {
            from++;
        }
        size_t at = from;
        while (at < other_count && others[at].at_s <= events[i].at_s &&
               (used[at] || !is_same(&events[i], &others[at]))) {
            at++;
        }
        if (at < other_count && others[at].at_s <= events[i].at_s) {
            used[at] = true;
        } else {
            lacking[found++] = events[i];
        }
    }
    *ret_count = found;
    return lacking;
}
