/* Plays a plan from the first cough to the last. */
#ifndef DEMO_DATA_RECORD_H
#define DEMO_DATA_RECORD_H

#include "scene.h"

/* A completed recording of about what is wanted, the same for the same seed and stream. NULL when
 * memory ran out. Free with scene_free(). */
struct scene *record_play(const struct plan *wanted, uint64_t seed, uint64_t stream);

#endif
