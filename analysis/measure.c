#include "analysis/measure.h"

#include <math.h>

struct measure measure_of(double value, const char *method)
{
    if (!isfinite(value)) {
        return measure_absent("the computation gave no finite number");
    }
    return (struct measure){
        .state = MEASURE_PRESENT, .source = SOURCE_COMPUTED, .value = value, .method = method};
}

struct measure measure_at(double value, double at_s, const char *method)
{
    struct measure measure = measure_of(value, method);

    if (measure.state == MEASURE_PRESENT) {
        measure.has_time = true;
        measure.at_s = at_s;
    }
    return measure;
}

void measure_rest_on(struct measure *measure, double from_s, double to_s)
{
    measure->has_stretch = measure->state == MEASURE_PRESENT;
    measure->from_s = from_s;
    measure->to_s = to_s;
}

struct measure measure_entered(double value, const char *method)
{
    struct measure measure = measure_of(value, method);

    measure.source = SOURCE_ENTERED;
    return measure;
}

struct measure measure_word(const char *word, const char *method)
{
    return (struct measure){
        .state = MEASURE_PRESENT, .source = SOURCE_COMPUTED, .word = word, .method = method};
}

struct measure measure_absent(const char *reason)
{
    return (struct measure){.state = MEASURE_ABSENT, .value = (double)NAN, .reason = reason};
}

bool measure_known(const struct measure *measure)
{
    return measure->state == MEASURE_PRESENT;
}
