/* Layout of a block: one byte that says how the codes were arranged, then a zstd frame.
 *
 * A code is an unsigned integer of 2, 4 or 8 bytes: an int16 or int32 in two's complement, or the
 * bits of a float or a double. ARRANGED_PLAIN has the codes little-endian one after the other.
 * ARRANGED_DELTA has differences to the code before (modulo the width, so that no difference
 * overflows), zigzag-coded, all lowest bytes first, then all second bytes, and so on: slowly
 * changing signals become long runs of small bytes. */
#include "formats/samples.h"

#include <float.h>
#include <math.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>

enum {
    DECIMALS_MAX = 6,
    WIDTH_MAX = 8,
    RAW_SIZE_MAX = SAMPLES_BLOCK_LENGTH * WIDTH_MAX,
    PACKED_SIZE_MAX = RAW_SIZE_MAX + RAW_SIZE_MAX / 128 + 64,
    ZSTD_LEVEL = 1
};

_Static_assert(ZSTD_COMPRESSBOUND(RAW_SIZE_MAX) <= PACKED_SIZE_MAX, "room for incompressible data");

enum arrangement { ARRANGED_PLAIN, ARRANGED_DELTA, ARRANGEMENT_COUNT };

static const double powers_of_ten[DECIMALS_MAX + 1] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6};

static const struct {
    const char *name;
    size_t width; /* bytes a code */
} encodings[] = {
    [SAMPLES_DECIMAL] = {"decimal", 4},
    [SAMPLES_INT16] = {"int16", 2},
    [SAMPLES_FLOAT32] = {"float32", 4},
    [SAMPLES_FLOAT64] = {"float64", 8},
};

enum { ENCODING_COUNT = sizeof encodings / sizeof encodings[0] };

const char *sample_encoding_name(enum sample_encoding encoding)
{
    return encodings[encoding].name;
}

bool sample_encoding_from_name(const char *name, enum sample_encoding *ret_encoding)
{
    for (size_t i = 0; i < ENCODING_COUNT; i++) {
        if (strcmp(name, encodings[i].name) == 0) {
            *ret_encoding = (enum sample_encoding)i;
            return true;
        }
    }
    return false;
}

static uint64_t bits_of_double(double value)
{
    uint64_t bits = 0;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static double double_of_bits(uint64_t bits)
{
    double value = 0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static double value_of_decimal(int32_t code, int decimals)
{
    return (double)code / powers_of_ten[decimals];
}

/* Finds the code that gives exactly `value`. INT32_MIN is kept for missing samples. */
static bool decimal_of_value(double value, int decimals, int32_t *ret_code)
{
    double scaled = rint(value * powers_of_ten[decimals]);
    if (!(fabs(scaled) <= INT32_MAX)) {
        return false;
    }
    int32_t code = (int32_t)scaled;
    if (bits_of_double(value_of_decimal(code, decimals)) != bits_of_double(value)) {
        return false; /* -0.0 too: no code gives it */
    }
    *ret_code = code;
    return true;
}

static bool all_are_decimals(const double *values, size_t count, int decimals)
{
    for (size_t i = 0; i < count; i++) {
        int32_t code = 0;
        if (!isnan(values[i]) && !decimal_of_value(values[i], decimals, &code)) {
            return false;
        }
    }
    return true;
}

/* The fewest decimals for the values seen one after the other, or more than DECIMALS_MAX. A value
 * that has a code at some number of decimals keeps one at every larger number, range permitting;
 * all_are_decimals() checks the range. */
static int fewest_decimals(const double *values, size_t count)
{
    int decimals = 0;
    for (size_t i = 0; i < count; i++) {
        int32_t code = 0;
        while (!isnan(values[i]) && decimals <= DECIMALS_MAX &&
               !decimal_of_value(values[i], decimals, &code)) {
            decimals++;
        }
        if (decimals > DECIMALS_MAX) {
            break;
        }
    }
    return decimals;
}

void samples_from_values(const double *values, size_t count, struct samples *ret_samples)
{
    struct samples samples = {
        .encoding = SAMPLES_FLOAT64, .scale = 1, .count = count, .values = values};
    for (size_t i = 0; i < count; i++) {
        samples.missing += isnan(values[i]) ? 1 : 0;
    }
    int decimals = fewest_decimals(values, count);
    if (decimals <= DECIMALS_MAX && all_are_decimals(values, count, decimals)) {
        samples.encoding = SAMPLES_DECIMAL;
        samples.decimals = decimals;
    }
    *ret_samples = samples;
}

size_t samples_block_count(size_t count)
{
    return count / SAMPLES_BLOCK_LENGTH + (count % SAMPLES_BLOCK_LENGTH != 0 ? 1 : 0);
}

/* ---- values and codes ---- */

static bool code_of_float(double value, uint64_t *ret_code)
{
    if (fabs(value) > (double)FLT_MAX && !isinf(value)) {
        return false;
    }
    float narrow = (float)value;
    if (bits_of_double((double)narrow) != bits_of_double(value)) {
        return false;
    }
    uint32_t bits = 0;
    memcpy(&bits, &narrow, sizeof bits);
    *ret_code = bits;
    return true;
}

static double value_of_float(uint64_t code)
{
    uint32_t bits = (uint32_t)code;
    float narrow = 0;
    memcpy(&narrow, &bits, sizeof narrow);
    return (double)narrow;
}

static bool code_of_sample(const struct samples *samples, size_t index, uint64_t *ret_code)
{
    int32_t decimal = INT32_MIN;
    switch (samples->encoding) {
    case SAMPLES_INT16:
        *ret_code = (uint16_t)samples->codes16[index];
        return true;
    case SAMPLES_DECIMAL:
        if (!isnan(samples->values[index]) &&
            !decimal_of_value(samples->values[index], samples->decimals, &decimal)) {
            return false;
        }
        *ret_code = (uint32_t)decimal;
        return true;
    case SAMPLES_FLOAT32:
        return code_of_float(samples->values[index], ret_code);
    case SAMPLES_FLOAT64:
        break;
    }
    *ret_code = bits_of_double(samples->values[index]);
    return true;
}

static int16_t signed16(uint64_t code)
{
    uint16_t bits = (uint16_t)code;
    int16_t value = 0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static int32_t signed32(uint64_t code)
{
    uint32_t bits = (uint32_t)code;
    int32_t value = 0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static double value_of_code(const struct samples *shape, uint64_t code)
{
    switch (shape->encoding) {
    case SAMPLES_INT16: {
        int16_t sent = signed16(code);
        return sent == INT16_MIN ? (double)NAN : (double)sent * shape->scale + shape->offset;
    }
    case SAMPLES_DECIMAL: {
        int32_t decimal = signed32(code);
        return decimal == INT32_MIN ? (double)NAN : value_of_decimal(decimal, shape->decimals);
    }
    case SAMPLES_FLOAT32:
        return value_of_float(code);
    case SAMPLES_FLOAT64:
        break;
    }
    return double_of_bits(code);
}

/* ---- arranging codes as bytes ---- */

static uint64_t mask_of(size_t width)
{
    return width == WIDTH_MAX ? UINT64_MAX : (UINT64_C(1) << (8 * width)) - 1;
}

static void arrange_plain(const uint64_t *codes, size_t count, size_t width, uint8_t *bytes)
{
    for (size_t i = 0; i < count; i++) {
        for (size_t b = 0; b < width; b++) {
            bytes[i * width + b] = (uint8_t)(codes[i] >> (8 * b));
        }
    }
}

static void arrange_delta(const uint64_t *codes, size_t count, size_t width, uint8_t *bytes)
{
    uint64_t mask = mask_of(width);
    uint64_t before = 0;
    for (size_t i = 0; i < count; i++) {
        uint64_t delta = (codes[i] - before) & mask;
        uint64_t negative = delta >> (8 * width - 1);
        uint64_t zigzag = ((delta << 1) ^ (0 - negative)) & mask;
        for (size_t b = 0; b < width; b++) {
            bytes[b * count + i] = (uint8_t)(zigzag >> (8 * b));
        }
        before = codes[i];
    }
}

static void read_plain(const uint8_t *bytes, size_t count, size_t width, uint64_t *codes)
{
    for (size_t i = 0; i < count; i++) {
        uint64_t code = 0;
        for (size_t b = 0; b < width; b++) {
            code |= (uint64_t)bytes[i * width + b] << (8 * b);
        }
        codes[i] = code;
    }
}

static void read_delta(const uint8_t *bytes, size_t count, size_t width, uint64_t *codes)
{
    uint64_t mask = mask_of(width);
    uint64_t before = 0;
    for (size_t i = 0; i < count; i++) {
        uint64_t zigzag = 0;
        for (size_t b = 0; b < width; b++) {
            zigzag |= (uint64_t)bytes[b * count + i] << (8 * b);
        }
        uint64_t delta = (zigzag >> 1) ^ (0 - (zigzag & 1));
        before = (before + delta) & mask;
        codes[i] = before;
    }
}

/* ---- blocks ---- */

struct packed {
    size_t length;
    uint8_t bytes[1 + PACKED_SIZE_MAX];
};

static bool pack(enum arrangement arrangement, const uint64_t *codes, size_t count, size_t width,
                 struct packed *packed, struct error *reterr)
{
    uint8_t raw[RAW_SIZE_MAX];
    if (arrangement == ARRANGED_DELTA) {
        arrange_delta(codes, count, width, raw);
    } else {
        arrange_plain(codes, count, width, raw);
    }
    packed->bytes[0] = (uint8_t)arrangement;
    size_t length =
        ZSTD_compress(packed->bytes + 1, PACKED_SIZE_MAX, raw, count * width, ZSTD_LEVEL);
    if (ZSTD_isError(length)) {
        return error_set(reterr, ERROR_INTERNAL, "compress samples: %s", ZSTD_getErrorName(length));
    }
    packed->length = 1 + length;
    return true;
}

bool samples_encode_block(const struct samples *samples, size_t index, struct arena *arena,
                          struct sample_block *ret_block, struct error *reterr)
{
    if (index >= samples_block_count(samples->count)) {
        return error_set(reterr, ERROR_INTERNAL, "no block %zu in %zu samples", index,
                         samples->count);
    }
    size_t first = index * SAMPLES_BLOCK_LENGTH;
    size_t count = samples->count - first;
    count = count < SAMPLES_BLOCK_LENGTH ? count : SAMPLES_BLOCK_LENGTH;
    size_t width = encodings[samples->encoding].width;

    uint64_t codes[SAMPLES_BLOCK_LENGTH];
    for (size_t i = 0; i < count; i++) {
        if (!code_of_sample(samples, first + i, &codes[i])) {
            return error_set(reterr, ERROR_INTERNAL, "sample %zu has no code as %s", first + i,
                             sample_encoding_name(samples->encoding));
        }
    }

    struct packed packed;
    if (!pack(ARRANGED_DELTA, codes, count, width, &packed, reterr)) {
        return false;
    }
    const struct packed *best = &packed;
    struct packed plain;
    bool is_float = samples->encoding == SAMPLES_FLOAT32 || samples->encoding == SAMPLES_FLOAT64;
    if (is_float) { /* values on a decimal grid pack better as they are, noise does not */
        if (!pack(ARRANGED_PLAIN, codes, count, width, &plain, reterr)) {
            return false;
        }
        best = plain.length < packed.length ? &plain : &packed;
    }

    uint8_t *data = arena_alloc(arena, best->length);
    memcpy(data, best->bytes, best->length);
    *ret_block = (struct sample_block){
        .sample_count = (uint32_t)count,
        .checksum = (uint32_t)crc32_z(0, data, best->length),
        .length = best->length,
        .data = data,
    };
    return true;
}

static bool unpack(const struct sample_block *block, size_t width, uint64_t *codes,
                   struct error *reterr)
{
    if (block->sample_count == 0 || block->sample_count > SAMPLES_BLOCK_LENGTH ||
        block->length < 1) {
        error_set(reterr, ERROR_INTERNAL, "sample block of impossible size");
        return false;
    }
    if ((uint32_t)crc32_z(0, block->data, block->length) != block->checksum) {
        error_set(reterr, ERROR_INTERNAL, "sample block with a wrong checksum");
        return false;
    }
    uint8_t raw[RAW_SIZE_MAX];
    size_t expected = block->sample_count * width;
    size_t length = ZSTD_decompress(raw, sizeof raw, block->data + 1, block->length - 1);
    if (ZSTD_isError(length) || length != expected || block->data[0] >= ARRANGEMENT_COUNT) {
        error_set(reterr, ERROR_INTERNAL, "sample block that does not unpack");
        return false;
    }
    if (block->data[0] == ARRANGED_DELTA) {
        read_delta(raw, block->sample_count, width, codes);
    } else {
        read_plain(raw, block->sample_count, width, codes);
    }
    return true;
}

bool samples_decode_block(const struct samples *shape, const struct sample_block *block,
                          double *values, struct error *reterr)
{
    uint64_t codes[SAMPLES_BLOCK_LENGTH];
    if (!unpack(block, encodings[shape->encoding].width, codes, reterr)) {
        return false;
    }
    for (uint32_t i = 0; i < block->sample_count; i++) {
        values[i] = value_of_code(shape, codes[i]);
    }
    return true;
}

bool samples_decode_codes16(const struct sample_block *block, int16_t *codes, struct error *reterr)
{
    uint64_t wide[SAMPLES_BLOCK_LENGTH];
    if (!unpack(block, encodings[SAMPLES_INT16].width, wide, reterr)) {
        return false;
    }
    for (uint32_t i = 0; i < block->sample_count; i++) {
        codes[i] = signed16(wide[i]);
    }
    return true;
}
