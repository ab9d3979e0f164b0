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

void derived_pressure_for_drawing(const struct samples *pves, const struct samples *pabd,
                                  struct arena *arena, struct samples *ret_pdet)
{
    enum { PORTION = 1024 };

    float *codes = arena_array(arena, pves->count, sizeof *codes);
    struct samples result = {
        .encoding = SAMPLES_FLOAT32, .scale = 1, .count = pves->count, .codes = codes};
    for (size_t first = 0; first < pves->count; first += PORTION) {
        double minuends[PORTION];
        double subtrahends[PORTION];
        double differences[PORTION];
        size_t left = pves->count - first;
        size_t count = left < PORTION ? left : PORTION;
        samples_values(pves, first, count, minuends);
        samples_values(pabd, first, count, subtrahends);
        derived_pressure(minuends, subtrahends, count, differences);
        for (size_t i = 0; i < count; i++) {
            codes[first + i] = (float)differences[i];
            result.missing += isnan(differences[i]) ? 1 : 0;
        }
    }
    *ret_pdet = result;
}
