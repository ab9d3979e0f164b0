/* What goes wrong in a real room: flushes, air, bowel, movement, talking, knocks, lost samples. */
#ifndef DEMO_DATA_MISHAP_H
#define DEMO_DATA_MISHAP_H

#include "scene.h"

/* Plays the plan's mishaps between two moments: those of the flow meter (`of_flow`) or the others.
 */
void mishap_place(struct scene *scene, const struct plan *plan, double from_s, double to_s,
                  bool of_flow);

#endif
