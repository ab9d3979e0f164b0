/* One voiding: contraction, opening, flow, closing, and what comes after. */
#ifndef DEMO_DATA_VOIDING_H
#define DEMO_DATA_VOIDING_H

#include "scene.h"

/* Plays the plan's voiding from the scene's present moment; leaves the scene where the pressures
 * have come to rest after it. */
void voiding_run(struct scene *scene, const struct plan *plan);

#endif
