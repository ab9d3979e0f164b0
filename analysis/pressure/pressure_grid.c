#include "analysis/pressure/pressure_grid.h"

#include "analysis/criteria_pressure.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/signal/resample.h"
#include "analysis/study.h"

#include <math.h>

/* A line brought to the grid's axis; *ret_samples stays NULL when there is none. */
static bool take_line(const struct study *study, const struct series *line,
                      const struct pressure_grid *grid, double **ret_samples)
{
    struct series reduced;

    if (line->count == 0) {
        return true;
    }
    if (!series_copy_reduced(line, CRITERIA_GRID_HZ, study->memory, &reduced)) {
        return false;
    }
    double *samples = memory_doubles(study->memory, grid->count);

    for (size_t i = 0; samples != NULL && i < grid->count; i++) {
        samples[i] = series_value(&reduced, pressure_grid_time(grid, i));
    }
    *ret_samples = samples;
    return samples != NULL;
}

/* sum = a + sign * b, as a new line. */
static bool combine(const struct study *study, const struct pressure_grid *grid, const double *a,
                    const double *b, double sign, double **ret_samples)
{
    double *samples = memory_doubles(study->memory, grid->count);

    for (size_t i = 0; samples != NULL && i < grid->count; i++) {
        samples[i] = a[i] + sign * b[i];
    }
    *ret_samples = samples;
    return samples != NULL;
}

/* Each of the three follows from the other two. */
static bool complete(const struct study *study, struct pressure_grid *grid)
{
    if (grid->pves != NULL && grid->pabd != NULL && grid->pdet == NULL) {
        return combine(study, grid, grid->pves, grid->pabd, -1.0, &grid->pdet);
    }
    if (grid->pves == NULL && grid->pabd != NULL && grid->pdet != NULL) {
        return combine(study, grid, grid->pdet, grid->pabd, 1.0, &grid->pves);
    }
    if (grid->pves != NULL && grid->pabd == NULL && grid->pdet != NULL) {
        return combine(study, grid, grid->pves, grid->pdet, -1.0, &grid->pabd);
    }
    return true;
}

bool pressure_grid_open(const struct study *study, struct pressure_grid *ret_grid)
{
    const bool on_pves = study->pves.count > 0;
    const struct series *axis = on_pves ? &study->pves : &study->pabd;
    static const struct series none = {.rate_hz = 1.0};
    struct series reduced;

    *ret_grid = (struct pressure_grid){.rate_hz = 1.0};
    if (axis->count == 0) {
        return true;
    }
    const size_t block = resample_block(axis, CRITERIA_GRID_HZ);
    double *samples = memory_doubles(study->memory, axis->count / block);

    if (samples == NULL) {
        return false;
    }
    reduced = resample_means(axis, block, samples);
    *ret_grid = (struct pressure_grid){
        .rate_hz = reduced.rate_hz, .start_s = reduced.start_s, .count = reduced.count};
    *(on_pves ? &ret_grid->pves : &ret_grid->pabd) = samples;
    if ((on_pves && !take_line(study, &study->pabd, ret_grid, &ret_grid->pabd)) ||
        !take_line(study, study->pdet_derived ? &none : &study->pdet, ret_grid, &ret_grid->pdet) ||
        !complete(study, ret_grid)) {
        return false;
    }
    ret_grid->has_pves = ret_grid->pves != NULL;
    ret_grid->has_pabd = ret_grid->pabd != NULL;
    return true;
}

struct pressure_grid pressure_grid_part(const struct pressure_grid *grid, struct span span)
{
    const struct series axis = pressure_grid_series(grid, NULL);
    const size_t first = series_first_at(&axis, span.from_s);
    const size_t end = series_end_at(&axis, span.to_s);
    struct pressure_grid part = *grid;

    part.start_s = pressure_grid_time(grid, first);
    part.count = end > first ? end - first : 0;
    if (part.count > 0) {
        part.pves = grid->pves == NULL ? NULL : grid->pves + first;
        part.pabd = grid->pabd == NULL ? NULL : grid->pabd + first;
        part.pdet = grid->pdet == NULL ? NULL : grid->pdet + first;
    }
    return part;
}

struct series pressure_grid_series(const struct pressure_grid *grid, const double *samples)
{
    return (struct series){grid->rate_hz, grid->start_s, grid->count, samples};
}

double pressure_grid_time(const struct pressure_grid *grid, size_t index)
{
    return grid->start_s + (double)index / grid->rate_hz;
}

void pressure_grid_mask(const struct pressure_grid *grid, struct span span, double *samples)
{
    const struct series axis = pressure_grid_series(grid, NULL);
    const size_t end = series_end_at(&axis, span.to_s);

    for (size_t i = series_first_at(&axis, span.from_s); i < end; i++) {
        samples[i] = SERIES_MISSING;
    }
}

void pressure_grid_spread(const struct pressure_grid *grid, const struct series *slow, size_t block,
                          double *output)
{
    const double offset = 0.5 * (double)(block - 1);

    for (size_t i = 0; i < grid->count; i++) {
        const double position = ((double)i - offset) / (double)block;

        if (slow->count == 0) {
            output[i] = SERIES_MISSING;
        } else if (position <= 0.0) {
            output[i] = slow->samples[0];
        } else if (position >= (double)(slow->count - 1)) {
            output[i] = slow->samples[slow->count - 1];
        } else {
            const size_t before = (size_t)position;
            const double share = position - (double)before;
            const double next = slow->samples[share > 0.0 ? before + 1 : before];

            output[i] = slow->samples[before] + share * (next - slow->samples[before]);
        }
    }
}
