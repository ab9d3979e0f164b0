/* Which 16-bit codes a channel's samples become, and the header fields that say what they mean.
 * Private to formats/. */
#ifndef FORMATS_EDF_SCALE_H
#define FORMATS_EDF_SCALE_H

#include "formats/edf_header.h"
#include "formats/samples.h"

struct edf_scale {
    char pmin[EDF_NUMBER_WIDTH + 1]; /* as the header says them */
    char pmax[EDF_NUMBER_WIDTH + 1];
    int dmin;
    int dmax;
    int missing_code; /* outside dmin to dmax */
    bool keeps_codes; /* code in the file = code - shift; else values are rounded to codes */
    int32_t shift;
    struct edf_scaling scaling; /* as a reader computes it from the four fields */
    double greatest_error;      /* of a value that is read back */
    bool is_exact;              /* that is no more than the rounding of doubles */
};

/* Chooses them. `has_missing` says that missing samples must be written, the channel's own or
 * padding. False when no header fields hold the values. */
MUST_CHECK bool edf_scale_choose(const struct samples *samples, bool has_missing,
                                 struct edf_scale *ret_scale);

/* Codes of the samples [first, first + count). */
void edf_scale_codes(const struct edf_scale *scale, const struct samples *samples, size_t first,
                     size_t count, int16_t *codes);

#endif
