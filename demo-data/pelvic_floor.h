/* A pelvic floor that is trained: quick and long contractions on command. */
#ifndef DEMO_DATA_PELVIC_FLOOR_H
#define DEMO_DATA_PELVIC_FLOOR_H

#include "scene.h"

/* Lines for the sensor and the belly. False when memory ran out. */
bool pelvic_floor_add_lines(struct scene *scene, const struct plan *plan);

/* One session: rest, quick contractions, long ones, endurance, rest. */
void pelvic_floor_run(struct scene *scene, const struct plan *plan);

#endif
