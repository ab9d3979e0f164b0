/* An anal canal with its sphincters, and a rectum with a balloon in it: anorectal manometry.
 *
 * Resting tone belongs to the inner half of the canal more than squeezing, which belongs to the
 * outer sphincter. Shapes and time courses are drawn by hand after what manometries look like. */
#ifndef DEMO_DATA_ANORECTUM_H
#define DEMO_DATA_ANORECTUM_H

#include "scene.h"

/* Lines for rectum, canal, balloon and puller. False when memory ran out. */
bool anorectum_add_lines(struct scene *scene, const struct plan *plan);

/* The whole protocol: rest, short squeezes, a long one, coughs, pushes, reflex, sensation. */
void anorectum_run(struct scene *scene, const struct plan *plan);

#endif
