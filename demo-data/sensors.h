/* From what happened to what the room's equipment recorded. */
#ifndef DEMO_DATA_SENSORS_H
#define DEMO_DATA_SENSORS_H

#include "scene.h"

enum { SENSORS_CHANNELS_MAX = 16 };

struct sensors_channel {
    const char *signal;
    const char *unit; /* UCUM */
    double rate_hz;
    double start_s;
    size_t count;
    int decimals;   /* of the recorded values */
    double scale;   /* > 0: to be written as int16 codes of this size */
    double *values; /* in `unit`; NaN is missing; owned by the set */
};

struct sensors_set {
    size_t count;
    struct sensors_channel channels[SENSORS_CHANNELS_MAX];
};

/* Reads a completed scene with the plan's sensors. False when memory ran out. Free with
 * sensors_free() in either case. */
bool sensors_read(struct scene *scene, const struct plan *plan, struct sensors_set *ret_set);
void sensors_free(struct sensors_set *set);

/* The flow as a perfect meter would show it (delayed and slowed like the real one, no noise, no
 * knocks): scene->count values, to be freed by the caller. NULL when memory ran out. */
double *sensors_true_flow(const struct scene *scene, const struct plan *plan);

#endif
