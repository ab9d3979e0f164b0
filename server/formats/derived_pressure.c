#include "formats/derived_pressure.h"

#include <math.h>
#include <string.h>

bool derived_pressure_fits(const struct pressure_grid *pves, const struct pressure_grid *pabd)
{
    return !islessgreater(pves->rate_hz, pabd->rate_hz) &&
           !islessgreater(pves->start_s, pabd->start_s) && strcmp(pves->unit, pabd->unit) == 0 &&
           pves->count == pabd->count;
}

void derived_pressure(const double *pves, const double *pabd, size_t count, double *pdet)
{
    for (size_t i = 0; i < count; i++) {
        pdet[i] = round((pves[i] - pabd[i]) * 1e6) / 1e6;
    }
}

enum { DRAWN_DECIMALS = 4 };

struct samples derived_pressure_shape(void)
{
    return (struct samples){.encoding = SAMPLES_DECIMAL, .decimals = DRAWN_DECIMALS, .scale = 1};
}

static int32_t drawn_code(double value)
{
    const double power = 1e4; /* of DRAWN_DECIMALS */
    if (isnan(value)) {
        return INT32_MIN;
    }
    return (int32_t)rint(fmax(fmin(value * power, (double)INT32_MAX), -(double)INT32_MAX));
}

void derived_pressure_for_drawing(const struct samples *pves, const struct samples *pabd,
                                  struct arena *arena, struct samples *ret_pdet)
{
    enum { PORTION = 1024 };

    int32_t *codes = arena_array(arena, pves->count, sizeof *codes);
    struct samples result = derived_pressure_shape();
    for (size_t first = 0; first < pves->count; first += PORTION) {
        double minuends[PORTION];
        double subtrahends[PORTION];
        size_t left = pves->count - first;
        size_t count = left < PORTION ? left : PORTION;
        samples_values(pves, first, count, minuends);
        samples_values(pabd, first, count, subtrahends);
        for (size_t i = 0; i < count; i++) {
            codes[first + i] = drawn_code(minuends[i] - subtrahends[i]);
            result.missing += codes[first + i] == INT32_MIN ? 1 : 0;
        }
    }
    result.count = pves->count;
    result.codes = codes;
    *ret_pdet = result;
}
