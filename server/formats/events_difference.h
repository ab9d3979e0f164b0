/* What changed between two lists of events. */
#ifndef FORMATS_EVENTS_DIFFERENCE_H
#define FORMATS_EVENTS_DIFFERENCE_H

#include "formats/recording_json.h"

/* Those of `events` that `others` lacks, on the arena, in their order; an event that stands twice
 * must be there twice. Both lists are sorted by time. */
struct document_event *events_difference(struct arena *arena, const struct document_event *events,
                                         size_t count, const struct document_event *others,
                                         size_t other_count, size_t *ret_count);

#endif
