#include "formats/samples.h"

#include "formats/sample_builder.h"

#include <math.h>
#include <string.h>

static const double powers_of_ten[SAMPLES_DECIMALS_MAX + 1] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6};

static const struct {
    const char *name;
    size_t width;
    bool is_scaled;
} encodings[SAMPLES_ENCODING_COUNT] = {
    [SAMPLES_DECIMAL] = {"decimal", sizeof(int32_t), false},
    [SAMPLES_INT16] = {"int16", sizeof(int16_t), true},
    [SAMPLES_INT32] = {"int32", sizeof(int32_t), true},
    [SAMPLES_FLOAT32] = {"float32", sizeof(float), false},
    [SAMPLES_FLOAT64] = {"float64", sizeof(double), false},
};

const char *sample_encoding_name(enum sample_encoding encoding)
{
    return encodings[encoding].name;
}

bool sample_encoding_from_name(const char *name, enum sample_encoding *ret_encoding)
{
    for (size_t i = 0; i < SAMPLES_ENCODING_COUNT; i++) {
        if (strcmp(name, encodings[i].name) == 0) {
            *ret_encoding = (enum sample_encoding)i;
            return true;
        }
    }
    return false;
}

size_t sample_encoding_width(enum sample_encoding encoding)
{
    return encodings[encoding].width;
}

bool sample_encoding_is_scaled(enum sample_encoding encoding)
{
    return encodings[encoding].is_scaled;
}

/* ---- codes to values ---- */

double samples_decimal_value(int32_t code, int decimals)
{
    return (double)code / powers_of_ten[decimals];
}

static void decimal_values(const int32_t *codes, size_t count, int decimals, double *values)
{
    double power = powers_of_ten[decimals];
    for (size_t i = 0; i < count; i++) {
        values[i] = codes[i] == INT32_MIN ? (double)NAN : (double)codes[i] / power;
    }
}

static void int16_values(const int16_t *codes, size_t count, double scale, double offset,
                         double *values)
{
    for (size_t i = 0; i < count; i++) {
        values[i] = codes[i] == INT16_MIN ? (double)NAN : (double)codes[i] * scale + offset;
    }
}

static void int32_values(const int32_t *codes, size_t count, double scale, double offset,
                         double *values)
{
    for (size_t i = 0; i < count; i++) {
        values[i] = codes[i] == INT32_MIN ? (double)NAN : (double)codes[i] * scale + offset;
    }
}

static void float_values(const float *codes, size_t count, double *values)
{
    for (size_t i = 0; i < count; i++) {
        values[i] = (double)codes[i];
    }
}

void samples_values(const struct samples *samples, size_t first, size_t count, double *values)
{
    switch (samples->encoding) {
    case SAMPLES_DECIMAL:
        decimal_values((const int32_t *)samples->codes + first, count, samples->decimals, values);
        return;
    case SAMPLES_INT16:
        int16_values((const int16_t *)samples->codes + first, count, samples->scale,
                     samples->offset, values);
        return;
    case SAMPLES_INT32:
        int32_values((const int32_t *)samples->codes + first, count, samples->scale,
                     samples->offset, values);
        return;
    case SAMPLES_FLOAT32:
        float_values((const float *)samples->codes + first, count, values);
        return;
    case SAMPLES_FLOAT64:
    case SAMPLES_ENCODING_COUNT:
        break;
    }
    memcpy(values, (const double *)samples->codes + first, count * sizeof *values);
}

double *samples_all_values(const struct samples *samples, struct arena *arena)
{
    double *values = arena_array(arena, samples->count, sizeof *values);
    samples_values(samples, 0, samples->count, values);
    return values;
}

/* ---- values to codes ---- */

static uint64_t bits_of_double(double value)
{
    uint64_t bits = 0;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* INT32_MIN is kept for missing samples. */
bool samples_decimal_code(double value, int decimals, int32_t *ret_code)
{
    double scaled = rint(value * powers_of_ten[decimals]);
    if (!(fabs(scaled) <= INT32_MAX)) {
        return false;
    }
    int32_t code = (int32_t)scaled;
    if (bits_of_double(samples_decimal_value(code, decimals)) != bits_of_double(value)) {
        return false; /* -0.0 too: no code gives it */
    }
    *ret_code = code;
    return true;
}

void samples_from_values(const double *values, size_t count, struct arena *arena,
                         struct samples *ret_samples)
{
    struct sample_builder builder;
    sample_builder_init(&builder, arena, count);
    for (size_t i = 0; i < count; i++) {
        sample_builder_add(&builder, values[i]);
    }
    *ret_samples = sample_builder_samples(&builder);
}

/* ---- parts and comparison ---- */

static size_t count_missing(const struct samples *samples)
{
    enum { PORTION = 1024 };

    double values[PORTION];
    size_t missing = 0;
    for (size_t first = 0; first < samples->count; first += PORTION) {
        size_t left = samples->count - first;
        size_t count = left < PORTION ? left : PORTION;
        samples_values(samples, first, count, values);
        for (size_t i = 0; i < count; i++) {
            missing += isnan(values[i]) ? 1 : 0;
        }
    }
    return missing;
}

struct samples samples_slice(const struct samples *samples, size_t first, size_t count)
{
    struct samples part = *samples;
    part.count = count;
    part.codes = (const uint8_t *)samples->codes + first * sample_encoding_width(samples->encoding);
    part.missing = samples->missing == 0 ? 0 : count_missing(&part);
    return part;
}

bool samples_equal(const struct samples *one, const struct samples *other)
{
    return one->encoding == other->encoding && one->decimals == other->decimals &&
           bits_of_double(one->scale) == bits_of_double(other->scale) &&
           bits_of_double(one->offset) == bits_of_double(other->offset) &&
           one->count == other->count &&
           (one->count == 0 || memcmp(one->codes, other->codes,
                                      one->count * sample_encoding_width(one->encoding)) == 0);
}
