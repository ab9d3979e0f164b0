/* Urine on the meter during filling: spurts and dribbles, too small for a run of flow among them.
 * Private to leaks.c. */
#ifndef ANALYSIS_FILLING_LEAKS_METER_H
#define ANALYSIS_FILLING_LEAKS_METER_H

#include "analysis/filling/filling.h"

enum { LEAKS_METER_MAX = 256 };

struct meter_loss {
    struct span span; /* on the meter */
    double lost_ml;
};

/* Whether there is a meter: its volume, or its flow. */
bool leaks_meter_exists(const struct study *study);

/* Finds the losses that begin and end within the filling, in order of time. From the volume in the
 * vessel, where it was recorded: a knock leaves none; else from the flow, less what it rests at.
 *
 * losses  room for LEAKS_METER_MAX
 *
 * Returns false when memory ran out. */
bool leaks_meter_find(const struct study *study, const struct flow_record *record,
                      struct span filling, struct meter_loss *losses, size_t *ret_count);

#endif
