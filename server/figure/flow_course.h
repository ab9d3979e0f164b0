/* The voiding as pairs of flow and detrusor pressure over time, averaged as the analysis averages
 * them. Private to figure/. */
#ifndef FIGURE_FLOW_COURSE_H
#define FIGURE_FLOW_COURSE_H

#include "figure/figure.h"

/* Both are means over this long, as the analysis reads Qmax and the pressure at it. */
#define FLOW_COURSE_MEAN_S 2.0

struct flow_moment {
    double at_s;       /* of the flow as recorded; pressure is read the flow delay earlier */
    double flow_ml_s;  /* NaN: missing */
    double pdet_cmh2o; /* NaN: missing */
    double left_ml;    /* still to be voided */
};

struct flow_course {
    struct figure_span voiding;
    double step_s;
    size_t count; /* 0: no voiding, or a signal is not there */
    struct flow_moment *moments;
};

/* From `before_s` before the onset of flow to `before_s` after its end. */
struct flow_course flow_course_of(const struct figure_source *source, double before_s,
                                  struct arena *arena);

#endif
