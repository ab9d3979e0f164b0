/* The urethra around a catheter that is drawn through it: urethral pressure profiles.
 *
 * Along the functional length the urethra presses harder than the bladder; beyond it the pressure
 * falls to the atmosphere's. Shapes are drawn by hand after what profiles look like: one hump in
 * women, a prostatic plateau before it in men. */
#ifndef DEMO_DATA_URETHRA_H
#define DEMO_DATA_URETHRA_H

#include "scene.h"

/* Lines for urethral pressure and the puller. False when memory ran out. */
bool urethra_add_lines(struct scene *scene, const struct plan *plan);

/* A recording of nothing but profiles. */
void urethra_run(struct scene *scene, const struct plan *plan);

/* Draws the plan's pulls, the first soon after `from_s`; returns when the catheter is back in the
 * bladder. Bladder and belly are the caller's. */
double urethra_pull(struct scene *scene, const struct plan *plan, double from_s);

/* Adds what the sensor sees of bladder and belly to the completed lines. */
void urethra_finish(struct scene *scene);

#endif
