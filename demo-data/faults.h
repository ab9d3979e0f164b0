/* What is wrong with the equipment: lines that are damped, dead, adrift, noisy or not zeroed, a
 * catheter that came out, converters at the end of their range, meters and pumps out of
 * calibration.
 */
#ifndef DEMO_DATA_FAULTS_H
#define DEMO_DATA_FAULTS_H

#include "scene.h"

/* Bends the noise-free track of a line ("pves", "pabd", "flow", "vvoid", "vinf") as the scene's
 * faults say; its unit is the track's own. */
void faults_bend(struct scene *scene, const char *signal, double *track);

/* The converter's value of a line at a moment: what noise can't be seen through. `held` is the
 * value before it. */
double faults_seal(const struct scene *scene, const char *signal, double at_s, double value,
                   double held);

#endif
