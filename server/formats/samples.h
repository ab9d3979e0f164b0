/* A channel's samples exactly as uploaded, and their compressed blocks. Lossless by construction:
 * decoding gives the uploaded numbers bit for bit. */
#ifndef FORMATS_SAMPLES_H
#define FORMATS_SAMPLES_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SAMPLES_BLOCK_LENGTH = 4096 };

enum sample_encoding {
    SAMPLES_DECIMAL, /* int32 codes; value = code / 10^decimals, correctly rounded */
    SAMPLES_INT16,   /* int16 codes as sent; value = code * scale + offset */
    SAMPLES_FLOAT32, /* as sent; NaN is missing */
    SAMPLES_FLOAT64  /* JSON numbers that no short decimal holds */
};

struct samples {
    enum sample_encoding encoding;
    int decimals;  /* SAMPLES_DECIMAL: 0 to 6 */
    double scale;  /* SAMPLES_INT16 */
    double offset; /* SAMPLES_INT16 */
    size_t count;
    size_t missing;         /* how many of the values are NaN */
    const double *values;   /* in the uploaded unit; NaN is missing */
    const int16_t *codes16; /* SAMPLES_INT16: as sent; INT16_MIN is missing */
};

/* Name as stored and documented: "decimal", "int16", "float32", "float64". */
const char *sample_encoding_name(enum sample_encoding encoding);
bool sample_encoding_from_name(const char *name, enum sample_encoding *ret_encoding);

/* Describes plain JSON numbers: SAMPLES_DECIMAL with the fewest decimals that hold every value
 * exactly, else SAMPLES_FLOAT64. `values` is borrowed. */
void samples_from_values(const double *values, size_t count, struct samples *ret_samples);

/* Whether values[i] is missing is kept; -0.0 and every bit of a float survive. */
struct sample_block {
    uint32_t sample_count;
    uint32_t checksum; /* CRC-32 (zlib) of data */
    size_t length;
    const uint8_t *data;
};

/* Number of blocks that `count` samples make. */
size_t samples_block_count(size_t count);

/* Encodes block `index` (delta, zigzag, byte shuffle, zstd level 1) onto the arena. */
MUST_CHECK bool samples_encode_block(const struct samples *samples, size_t index,
                                     struct arena *arena, struct sample_block *ret_block,
                                     struct error *reterr);

/* Decodes a block into values[0 .. block->sample_count). `shape` gives encoding, decimals, scale
 * and offset. False (ERROR_INTERNAL) when the checksum or the content does not fit. */
MUST_CHECK bool samples_decode_block(const struct samples *shape, const struct sample_block *block,
                                     double *values, struct error *reterr);

/* The same for the codes of SAMPLES_INT16, as they were sent. */
MUST_CHECK bool samples_decode_codes16(const struct sample_block *block, int16_t *codes,
                                       struct error *reterr);

#endif
