/* Traces as float32, which a browser takes without parsing; api-docs/traces-binary.md describes the
 * layout. */
#ifndef FORMATS_TRACES_BINARY_H
#define FORMATS_TRACES_BINARY_H

#include "analysis/recording.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

/* Borrowed numbers, double or float; NaN is missing. One of the two is NULL, both when count is 0.
 */
struct traces_array {
    const double *doubles;
    const float *floats;
};

struct traces_channel {
    enum signal_kind signal;
    const char *unit;
    double rate_hz;      /* of the recording */
    double start_s;      /* of the first sample or bin */
    size_t sample_count; /* in the span, whether or not they are reduced */
    bool is_derived;
    double bin_s; /* width of a bin; 0: every sample, in `samples` */
    size_t count; /* numbers in each array */
    struct traces_array samples;
    struct traces_array least; /* of each bin */
    struct traces_array greatest;
};

struct traces_span {
    const char *recording_id;
    double from_s;
    double to_s;
};

/* Appends the whole answer to an empty text: length of the heading, heading, numbers. Doubles are
 * rounded to the nearest float. What does not fit out's limit sets out->overflowed. */
void traces_binary_write(const struct traces_span *span, const struct traces_channel *channels,
                         size_t channel_count, struct text *out);

#endif
