/* Filling cystometry: pump, stretching wall, sensations, involuntary contractions, provocation. */
#ifndef DEMO_DATA_FILLING_H
#define DEMO_DATA_FILLING_H

#include "scene.h"

/* Pressure in the relaxed bladder above rest, cmH2O. `since_stop_s` is the time since the pump
 * stopped (0 while it runs): a stretched wall gives way a little afterwards. */
double filling_passive_cmh2o(const struct plan *plan, double volume_ml, double since_stop_s);

/* Pelvic floor activity above rest, as a multiple of rest: the fuller, the tighter. */
double filling_guarding(double fullness);

/* Plays the whole filling from the start of the recording; leaves the scene at the moment when the
 * pump stops. */
void filling_run(struct scene *scene, const struct plan *plan);

/* Lets `length_s` pass without pump or contraction. */
void filling_wait(struct scene *scene, const struct plan *plan, double length_s);

#endif
