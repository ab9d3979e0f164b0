/* Collects a channel's numbers one by one into the shortest codes that hold them exactly. */
#ifndef FORMATS_SAMPLE_BUILDER_H
#define FORMATS_SAMPLE_BUILDER_H

#include "formats/samples.h"

/* Members are the module's own. */
struct sample_builder {
    struct arena *arena;
    size_t capacity;
    size_t count;
    size_t missing;
    int decimals;
    int32_t *codes; /* of the values so far, while each has one at `decimals` */
    double *values; /* NULL until a value has none; from then on the values themselves */
};

/* Begins with room for `capacity` samples on the arena: 4 bytes each, and 8 more from the first
 * value that no code holds. */
void sample_builder_init(struct sample_builder *builder, struct arena *arena, size_t capacity);

/* Adds a sample; at most `capacity` may be added. NaN is a missing one. */
void sample_builder_add(struct sample_builder *builder, double value);

/* Adds code / 10^decimals, which is faster; `decimals` is 0 to SAMPLES_DECIMALS_MAX, `code` not
 * INT32_MIN. */
void sample_builder_add_code(struct sample_builder *builder, int32_t code, int decimals);

void sample_builder_add_missing(struct sample_builder *builder);

/* What was added: SAMPLES_DECIMAL with the fewest decimals that hold every value exactly, else
 * SAMPLES_FLOAT64. The codes stay on the arena. */
struct samples sample_builder_samples(const struct sample_builder *builder);

#endif
