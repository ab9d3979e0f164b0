/* Keeps groups of fewer than k subjects out of what is published.
 *
 * Every line belongs to a subject, to a group (what is always told: the kind of study, and the year
 * where years are told) and to a cell of that group (with sex and age besides). A line may be told
 * whole, masked (group without sex and age), or not at all. Afterwards each combination that is
 * told, a cell or the masked rest of a group, has at least k subjects or none.
 *
 * A subject is masked in all lines or in none: lines of a subject carry one pseudonym, so that sex
 * and age in one of them would tell those of the others. Masking repeats until nothing changes:
 *
 *   1. Subjects of a cell with fewer than k (unmasked) subjects are masked.
 *   2. Where fewer than k subjects of a group are masked, they would be told from the rest of it by
 *      subtraction: the smallest cell left in that group is masked as well, then step 1 again.
 *
 * Where step 2 finds no cell to add, the whole group is too small and its lines are left out.
 * Each round masks somebody, so that it ends. (Primary and complementary suppression as common in
 * official statistics; from memory: Hundepool et al., Statistical Disclosure Control, 2012, ch. 4.)
 */
#ifndef REPORT_SMALL_CELLS_H
#define REPORT_SMALL_CELLS_H

#include "base/arena.h"

#include <stddef.h>

enum small_cell_fate { SMALL_CELL_WHOLE, SMALL_CELL_MASKED, SMALL_CELL_LEFT_OUT };

struct small_cell_line {
    size_t subject; /* below small_cells.subjects; lines of a subject stand together */
    size_t group;   /* below small_cells.groups */
    size_t cell;    /* below small_cells.cells; all lines of a cell are of one group */
    enum small_cell_fate fate;
};

struct small_cells {
    size_t subjects;
    size_t groups;
    size_t cells;
    size_t least; /* k */
    size_t count;
    struct small_cell_line *lines;
};

/* Sets the fate of every line. `arena` is for what is needed meanwhile. */
void small_cells_decide(struct arena *arena, const struct small_cells *all);

#endif
