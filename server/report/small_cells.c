#include "report/small_cells.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

struct work {
    const struct small_cells *all;
    bool *masked;         /* by subject */
    size_t *in_cell;      /* unmasked subjects of a cell */
    size_t *in_group;     /* masked subjects of a group */
    size_t *last_counted; /* by cell or group: subject + 1 that was counted there last */
};

static void count_unmasked(const struct work *work)
{
    const struct small_cells *all = work->all;
    memset(work->in_cell, 0, all->cells * sizeof *work->in_cell);
    memset(work->last_counted, 0, all->cells * sizeof *work->last_counted);
    for (size_t i = 0; i < all->count; i++) {
        const struct small_cell_line *line = &all->lines[i];
        if (!work->masked[line->subject] && work->last_counted[line->cell] != line->subject + 1) {
            work->last_counted[line->cell] = line->subject + 1;
            work->in_cell[line->cell]++;
        }
    }
}

static void count_masked(const struct work *work)
{
    const struct small_cells *all = work->all;
    memset(work->in_group, 0, all->groups * sizeof *work->in_group);
    memset(work->last_counted, 0, all->groups * sizeof *work->last_counted);
    for (size_t i = 0; i < all->count; i++) {
        const struct small_cell_line *line = &all->lines[i];
        if (work->masked[line->subject] && work->last_counted[line->group] != line->subject + 1) {
            work->last_counted[line->group] = line->subject + 1;
            work->in_group[line->group]++;
        }
    }
}

/* Step 1. Whether anybody was masked. */
static bool mask_small_cells(const struct work *work)
{
    const struct small_cells *all = work->all;
    bool changed = false;
    count_unmasked(work);
    for (size_t i = 0; i < all->count; i++) {
        const struct small_cell_line *line = &all->lines[i];
        if (!work->masked[line->subject] && work->in_cell[line->cell] < all->least) {
            work->masked[line->subject] = true;
            changed = true;
        }
    }
    return changed;
}

static bool is_too_small(const struct work *work, size_t group)
{
    return work->in_group[group] > 0 && work->in_group[group] < work->all->least;
}

/* The cell of a group with the fewest unmasked subjects, or SIZE_MAX when none has any. */
static size_t smallest_cell(const struct work *work, size_t group)
{
    const struct small_cells *all = work->all;
    size_t smallest = SIZE_MAX;
    for (size_t i = 0; i < all->count; i++) {
        size_t cell = all->lines[i].cell;
        if (all->lines[i].group == group && work->in_cell[cell] > 0 &&
            (smallest == SIZE_MAX || work->in_cell[cell] < work->in_cell[smallest])) {
            smallest = cell;
        }
    }
    return smallest;
}

static void mask_cell(const struct work *work, size_t cell)
{
    for (size_t i = 0; i < work->all->count; i++) {
        if (work->all->lines[i].cell == cell) {
            work->masked[work->all->lines[i].subject] = true;
        }
    }
}

/* Step 2, for the first group that needs it. in_cell is up to date. */
static bool mask_complement(const struct work *work)
{
    count_masked(work);
    for (size_t group = 0; group < work->all->groups; group++) {
        size_t cell = is_too_small(work, group) ? smallest_cell(work, group) : SIZE_MAX;
        if (cell != SIZE_MAX) {
            mask_cell(work, cell);
            return true;
        }
    }
    return false;
}

static enum small_cell_fate fate_of(const struct work *work, const struct small_cell_line *line)
{
    if (!work->masked[line->subject]) {
        return SMALL_CELL_WHOLE;
    }
    return is_too_small(work, line->group) ? SMALL_CELL_LEFT_OUT : SMALL_CELL_MASKED;
}

void small_cells_decide(struct arena *arena, const struct small_cells *all)
{
    size_t most = all->cells > all->groups ? all->cells : all->groups;
    const struct work work = {
        .all = all,
        .masked = arena_array(arena, all->subjects, sizeof *work.masked),
        .in_cell = arena_array(arena, all->cells, sizeof *work.in_cell),
        .in_group = arena_array(arena, all->groups, sizeof *work.in_group),
        .last_counted = arena_array(arena, most, sizeof *work.last_counted),
    };
    do {
        while (mask_small_cells(&work)) {
        }
    } while (mask_complement(&work));
    for (size_t i = 0; i < all->count; i++) {
        all->lines[i].fate = fate_of(&work, &all->lines[i]);
    }
}
