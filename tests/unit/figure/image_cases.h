/* Figures that are kept as images, tests/unit/figure/reference/<name>.png, 600 x 400 dots. */
#ifndef TESTS_FIGURE_IMAGE_CASES_H
#define TESTS_FIGURE_IMAGE_CASES_H

#include "drawn.h"

#define IMAGE_WIDTH_PT  300.0
#define IMAGE_HEIGHT_PT 200.0

size_t image_cases_count(void);
const char *image_case_name(size_t index);

/* Draws a case.
 * shift  of the data, as a part of what the axis shows: 0 for the reference */
struct drawn image_case_draw(struct arena *arena, size_t index, double shift,
                             enum canvas_form form);

#endif
