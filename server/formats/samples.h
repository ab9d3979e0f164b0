/* A channel's samples exactly as uploaded: one array of codes, typed by its encoding. */
#ifndef FORMATS_SAMPLES_H
#define FORMATS_SAMPLES_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SAMPLES_DECIMALS_MAX = 6 };

/* The array's type, what a code means, and which code is a missing sample. */
enum sample_encoding {
    SAMPLES_DECIMAL, /* int32_t; value = code / 10^decimals, correctly rounded; INT32_MIN */
    SAMPLES_INT16,   /* int16_t; value = code * scale + offset; INT16_MIN */
    SAMPLES_INT32,   /* int32_t; the same where every int16_t is a value; INT32_MIN */
    SAMPLES_FLOAT32, /* float; NaN */
    SAMPLES_FLOAT64, /* double, for numbers that no short decimal holds; NaN */
    SAMPLES_ENCODING_COUNT
};

struct samples {
    enum sample_encoding encoding;
    int decimals;  /* SAMPLES_DECIMAL: 0 to SAMPLES_DECIMALS_MAX */
    double scale;  /* SAMPLES_INT16, SAMPLES_INT32 */
    double offset; /* the same */
    size_t count;
    size_t missing;    /* how many of them are missing */
    const void *codes; /* codes[count]; NULL where only the shape is meant */
};

/* Name as stored and documented: "decimal", "int16", "int32", "float32", "float64". */
const char *sample_encoding_name(enum sample_encoding encoding);
bool sample_encoding_from_name(const char *name, enum sample_encoding *ret_encoding);

/* Bytes a code. */
size_t sample_encoding_width(enum sample_encoding encoding);

/* Whether scale and offset belong to the encoding. */
bool sample_encoding_is_scaled(enum sample_encoding encoding);

/* The samples [first, first + count) as values in the uploaded unit; NaN is missing. */
void samples_values(const struct samples *samples, size_t first, size_t count, double *values);

/* All of them, on the arena. */
double *samples_all_values(const struct samples *samples, struct arena *arena);

/* Finds the code that gives exactly `value` at this number of decimals. */
bool samples_decimal_code(double value, int decimals, int32_t *ret_code);

/* The value of a code: correctly rounded, so the same double as the decimal text. */
double samples_decimal_value(int32_t code, int decimals);

/* Describes plain numbers (NaN: missing): SAMPLES_DECIMAL with the fewest decimals that hold every
 * value exactly, else SAMPLES_FLOAT64. Codes are made on the arena. Numbers that come one by one
 * have a sample_builder. */
void samples_from_values(const double *values, size_t count, struct arena *arena,
                         struct samples *ret_samples);

/* The samples with codes only of [first, first + count): shares the array. `missing` is that of the
 * part. */
struct samples samples_slice(const struct samples *samples, size_t first, size_t count);

/* Whether both hold the same values bit for bit in the same encoding. */
bool samples_equal(const struct samples *one, const struct samples *other);

#endif
