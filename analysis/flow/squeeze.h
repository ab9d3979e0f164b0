/* Squeezes: the stream is held back for a moment by hand, and what was held back comes in a surge
 * that the bladder did not make. */
#ifndef ANALYSIS_FLOW_SQUEEZE_H
#define ANALYSIS_FLOW_SQUEEZE_H

#include "analysis/signal/series.h"

enum { SQUEEZE_MAX = 16 };

/* Finds them within a span: a short dip out of a flow, and right after it a short surge above that
 * flow (limits in criteria.h; a choice, none is published).
 *
 * flow      as recorded: a surge would be taken for a knock and removed
 * squeezes  room for SQUEEZE_MAX; receives the first of them, from the start of each dip to the end
 *           of its surge
 *
 * Returns how many there are in `squeezes`. */
size_t squeeze_find(const struct series *flow, struct span span, struct span *squeezes);

/* The largest sample of an averaged series within a span, leaving out every window of the average
 * that a squeeze touches. False when nothing is left. */
bool squeeze_maximum(const struct series *averaged, struct span span, const struct span *squeezes,
                     size_t squeeze_count, size_t *ret_index);

#endif
