/* The person around the bladder: posture, breathing, heartbeat, coughing, pressing, fidgeting. */
#ifndef DEMO_DATA_BODY_H
#define DEMO_DATA_BODY_H

#include "scene.h"

/* Draws the resting abdominal pressure that belongs to the posture. */
void body_settle(struct scene *scene, const struct plan *plan);

/* A cough that peaks near `at_s`, noted in the truth; marked by the operator if `marked`. */
void body_cough(struct scene *scene, double at_s, double rise_cmh2o, bool marked);

/* Pressing that rises over 2 s to `rise_cmh2o`, holds and lets go; returns its length in s. */
double body_valsalva(struct scene *scene, double from_s, double rise_cmh2o, bool marked);

/* One push of abdominal straining of the given length, without a marker. */
void body_strain(struct scene *scene, double from_s, double length_s, double rise_cmh2o);

/* Breathing, heartbeat, drift and small movements over the whole of a completed recording. */
void body_background(struct scene *scene);

#endif
