#include "figure/flow_course.h"

#include "figure/numbers.h"
#include "figure/trace_line.h"

#include <math.h>

static const double STEP_S_LEAST = 0.1;

enum { MOMENTS_MAX = 20000 };

static double volume_step(const struct flow_moment *one, const struct flow_moment *next)
{
    const double mean = (one->flow_ml_s + next->flow_ml_s) / 2.0;
    return isfinite(mean) ? mean * (next->at_s - one->at_s) : 0.0;
}

struct flow_course flow_course_of(const struct figure_source *source, double before_s,
                                  struct arena *arena)
{
    struct flow_course course = {.count = 0};
    if (!number_voiding(source, &course.voiding)) {
        return course;
    }
    const struct traces_channel *flow = trace_find(source, course.voiding, SIGNAL_FLOW);
    const struct traces_channel *pdet = trace_find(source, course.voiding, SIGNAL_PDET);
    if (flow == NULL || pdet == NULL) {
        return course;
    }
    const double delay_s = number_flow_delay_s(source);
    const double from_s = fmax(0.0, course.voiding.from_s - before_s);
    const double length_s = fmin(source->duration_s, course.voiding.to_s + before_s) - from_s;
    course.step_s = fmax(STEP_S_LEAST, length_s / MOMENTS_MAX);
    course.count = (size_t)floor(length_s / course.step_s) + 1;
    course.moments = arena_array(arena, course.count, sizeof *course.moments);
    for (size_t i = 0; i < course.count; i++) {
        const double at_s = from_s + course.step_s * (double)i;
        course.moments[i] = (struct flow_moment){
            .at_s = at_s,
            .flow_ml_s = trace_mean(flow, at_s, FLOW_COURSE_MEAN_S),
            .pdet_cmh2o = trace_mean(pdet, at_s - delay_s, FLOW_COURSE_MEAN_S),
        };
    }
    for (size_t i = course.count; i-- > 1;) {
        course.moments[i - 1].left_ml =
            course.moments[i].left_ml + volume_step(&course.moments[i - 1], &course.moments[i]);
    }
    return course;
}
