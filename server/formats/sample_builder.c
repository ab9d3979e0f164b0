#include "formats/sample_builder.h"

#include <assert.h>
#include <math.h>

static const int32_t powers_of_ten[SAMPLES_DECIMALS_MAX + 1] = {1,     10,     100,    1000,
                                                                10000, 100000, 1000000};

void sample_builder_init(struct sample_builder *builder, struct arena *arena, size_t capacity)
{
    *builder = (struct sample_builder){
        .arena = arena,
        .capacity = capacity,
        .codes = arena_array(arena, capacity, sizeof *builder->codes),
    };
}

/* The code of the same value with `more` further decimals. */
static bool refine_code(int32_t code, int more, int32_t *ret_code)
{
    int64_t finer = (int64_t)code * powers_of_ten[more];
    if (finer > INT32_MAX || finer < -INT32_MAX) {
        return false;
    }
    *ret_code = (int32_t)finer;
    return true;
}

/* Every code at `decimals`, more than now; false, with nothing changed, when one goes out of range.
 * At most SAMPLES_DECIMALS_MAX times in the life of a builder. */
static bool refine_codes(struct sample_builder *builder, int decimals)
{
    int more = decimals - builder->decimals;
    int32_t most = INT32_MAX / powers_of_ten[more];
    for (size_t i = 0; i < builder->count; i++) {
        if (builder->codes[i] != INT32_MIN &&
            (builder->codes[i] > most || builder->codes[i] < -most)) {
            return false;
        }
    }
    for (size_t i = 0; i < builder->count; i++) {
        if (builder->codes[i] != INT32_MIN) {
            builder->codes[i] *= powers_of_ten[more];
        }
    }
    builder->decimals = decimals;
    return true;
}

/* From now on the values themselves: there is no way back, since more values cannot give the one
 * without a code what it lacks. */
static void turn_to_values(struct sample_builder *builder)
{
    struct samples so_far = sample_builder_samples(builder);
    builder->values = arena_array(builder->arena, builder->capacity, sizeof *builder->values);
    samples_values(&so_far, 0, so_far.count, builder->values);
}

static void add_to_values(struct sample_builder *builder, double value)
{
    if (builder->values == NULL) {
        turn_to_values(builder);
    }
    builder->values[builder->count++] = value;
}

void sample_builder_add_code(struct sample_builder *builder, int32_t code, int decimals)
{
    assert(builder->count < builder->capacity);
    while (decimals > builder->decimals && code % 10 == 0) {
        code /= 10;
        decimals--;
    }
    if (builder->values != NULL ||
        (decimals > builder->decimals && !refine_codes(builder, decimals)) ||
        !refine_code(code, builder->decimals - decimals, &code)) {
        add_to_values(builder, samples_decimal_value(code, decimals));
        return;
    }
    builder->codes[builder->count++] = code;
}

/* A value that has a code at some number of decimals keeps one at every larger number, range
 * permitting: so the first number of decimals found here is the fewest. */
void sample_builder_add(struct sample_builder *builder, double value)
{
    assert(builder->count < builder->capacity);
    if (isnan(value)) {
        sample_builder_add_missing(builder);
        return;
    }
    int32_t code = 0;
    for (int decimals = builder->decimals;
         builder->values == NULL && decimals <= SAMPLES_DECIMALS_MAX; decimals++) {
        if (samples_decimal_code(value, decimals, &code)) {
            sample_builder_add_code(builder, code, decimals);
            return;
        }
    }
    add_to_values(builder, value);
}

void sample_builder_add_missing(struct sample_builder *builder)
{
    assert(builder->count < builder->capacity);
    builder->missing++;
    if (builder->values != NULL) {
        builder->values[builder->count++] = (double)NAN;
    } else {
        builder->codes[builder->count++] = INT32_MIN;
    }
}

struct samples sample_builder_samples(const struct sample_builder *builder)
{
    bool has_codes = builder->values == NULL;
    return (struct samples){
        .encoding = has_codes ? SAMPLES_DECIMAL : SAMPLES_FLOAT64,
        .decimals = has_codes ? builder->decimals : 0,
        .scale = 1,
        .count = builder->count,
        .missing = builder->missing,
        .codes = has_codes ? (const void *)builder->codes : (const void *)builder->values,
    };
}
