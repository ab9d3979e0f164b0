/* No combination that is told has fewer than k subjects, whatever the data are. */
#include "base/arena.h"
#include "report/small_cells.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { LINES_MOST = 2000, CELLS_MOST = 60, GROUPS_MOST = 6, CELLS_A_GROUP = 10 };

/* Subjects with a line of a fate in a cell, or in a group. Lines of a subject stand together. */
static size_t count_subjects(const struct small_cells *all, enum small_cell_fate fate,
                             size_t wanted, bool of_group)
{
    size_t count = 0;
    size_t last = SIZE_MAX;
    for (size_t i = 0; i < all->count; i++) {
        const struct small_cell_line *line = &all->lines[i];
        size_t place = of_group ? line->group : line->cell;
        if (line->fate == fate && place == wanted && line->subject != last) {
            last = line->subject;
            count++;
        }
    }
    return count;
}

static void check_promises(const struct small_cells *all)
{
    for (size_t cell = 0; cell < all->cells; cell++) {
        size_t count = count_subjects(all, SMALL_CELL_WHOLE, cell, false);
        assert_true(count == 0 || count >= all->least);
    }
    for (size_t group = 0; group < all->groups; group++) {
        size_t count = count_subjects(all, SMALL_CELL_MASKED, group, true);
        assert_true(count == 0 || count >= all->least);
    }
    /* A pseudonym links the lines of a subject: none is whole while another is masked. */
    for (size_t i = 1; i < all->count; i++) {
        const struct small_cell_line *line = &all->lines[i];
        if (line->subject == all->lines[i - 1].subject) {
            assert_int_equal(line->fate == SMALL_CELL_WHOLE,
                             all->lines[i - 1].fate == SMALL_CELL_WHOLE);
        }
    }
}

static void decide(struct small_cells *all)
{
    struct arena *arena = arena_new();
    small_cells_decide(arena, all);
    arena_free(arena);
    check_promises(all);
}

/* One line for each subject; cells 0 to 9 are of group 0, and so on. */
static struct small_cells make(struct small_cell_line *lines, const size_t *sizes, size_t cells,
                               size_t least)
{
    struct small_cells all = {
        .groups = GROUPS_MOST, .cells = CELLS_MOST, .least = least, .lines = lines};
    for (size_t cell = 0; cell < cells; cell++) {
        for (size_t i = 0; i < sizes[cell]; i++) {
            lines[all.count++] = (struct small_cell_line){
                .subject = all.subjects++, .group = cell / CELLS_A_GROUP, .cell = cell};
        }
    }
    return all;
}

static size_t whole_in(const struct small_cells *all, size_t cell)
{
    return count_subjects(all, SMALL_CELL_WHOLE, cell, false);
}

static void large_cells_are_told_whole(void **state)
{
    (void)state;
    struct small_cell_line lines[LINES_MOST];
    struct small_cells all = make(lines, (const size_t[]){5, 6, 50}, 3, 5);
    decide(&all);
    assert_int_equal(whole_in(&all, 0), 5);
    assert_int_equal(whole_in(&all, 1), 6);
    assert_int_equal(whole_in(&all, 2), 50);
}

static void small_cells_that_are_enough_together_are_masked_alone(void **state)
{
    (void)state;
    struct small_cell_line lines[LINES_MOST];
    struct small_cells all = make(lines, (const size_t[]){2, 3, 50}, 3, 5);
    decide(&all);
    assert_int_equal(whole_in(&all, 0) + whole_in(&all, 1), 0);
    assert_int_equal(whole_in(&all, 2), 50);
    assert_int_equal(count_subjects(&all, SMALL_CELL_MASKED, 0, true), 5);
}

/* Alone, the two would be what is missing from a total; the smallest other cell hides them. */
static void small_cell_takes_the_smallest_other_along(void **state)
{
    (void)state;
    struct small_cell_line lines[LINES_MOST];
    struct small_cells all = make(lines, (const size_t[]){2, 7, 50, 0, 0, 0, 0, 0, 0, 0, 6}, 11, 5);
    decide(&all);
    assert_int_equal(whole_in(&all, 1), 0);
    assert_int_equal(whole_in(&all, 2), 50);
    assert_int_equal(count_subjects(&all, SMALL_CELL_MASKED, 0, true), 9);
    assert_int_equal(whole_in(&all, 10), 6); /* another group */
}

static void small_group_is_left_out(void **state)
{
    (void)state;
    struct small_cell_line lines[LINES_MOST];
    struct small_cells all =
        make(lines, (const size_t[]){2, 2, 0, 0, 0, 0, 0, 0, 0, 0, 6, 8}, 12, 5);
    decide(&all);
    assert_int_equal(count_subjects(&all, SMALL_CELL_LEFT_OUT, 0, true), 4);
    assert_int_equal(whole_in(&all, 10), 6);
    assert_int_equal(whole_in(&all, 11), 8);
}

/* Many lines of one subject are one subject. */
static void lines_are_not_subjects(void **state)
{
    (void)state;
    struct small_cell_line lines[LINES_MOST];
    struct small_cells all = {
        .subjects = 4, .groups = 1, .cells = 1, .least = 5, .count = 40, .lines = lines};
    for (size_t i = 0; i < all.count; i++) {
        lines[i] = (struct small_cell_line){.subject = i / 10};
    }
    decide(&all);
    assert_int_equal(count_subjects(&all, SMALL_CELL_LEFT_OUT, 0, true), 4);
}

static void masked_subject_is_masked_everywhere(void **state)
{
    (void)state;
    struct small_cell_line lines[LINES_MOST];
    struct small_cells all = make(lines, (const size_t[]){9}, 1, 5);
    /* The last subject has another line in a cell of its own, of a group that is large. */
    lines[all.count++] = (struct small_cell_line){.subject = 8, .group = 1, .cell = 10};
    for (size_t i = 0; i < 20; i++) {
        lines[all.count++] =
            (struct small_cell_line){.subject = all.subjects++, .group = 1, .cell = 11};
    }
    decide(&all);
    assert_true(lines[8].fate != SMALL_CELL_WHOLE);
    assert_true(lines[9].fate != SMALL_CELL_WHOLE);
}

static void nothing_is_nothing(void **state)
{
    (void)state;
    struct small_cells all = {.groups = 1, .cells = 1, .least = 5};
    decide(&all);
}

static unsigned draw(unsigned *seed, unsigned below)
{
    *seed = *seed * 1664525U + 1013904223U; /* from memory: Numerical Recipes */
    return (*seed >> 8) % below;
}

static void promises_hold_for_any_data(void **state)
{
    (void)state;
    static struct small_cell_line lines[LINES_MOST];
    for (unsigned round = 0; round < 500; round++) {
        unsigned seed = round;
        struct small_cells all = {.groups = GROUPS_MOST,
                                  .cells = CELLS_MOST,
                                  .least = 2 + draw(&seed, 9),
                                  .lines = lines};
        size_t wanted = 1 + draw(&seed, LINES_MOST / 4);
        unsigned spread = 1 + draw(&seed, CELLS_MOST);
        while (all.count < wanted) {
            for (unsigned i = draw(&seed, 4) + 1; i > 0; i--) {
                /* Some cells are rare: the smaller of two numbers is drawn. */
                size_t one = draw(&seed, spread);
                size_t other = draw(&seed, spread);
                size_t cell = one < other ? one : other;
                lines[all.count++] = (struct small_cell_line){
                    .subject = all.subjects, .group = cell / CELLS_A_GROUP, .cell = cell};
            }
            all.subjects++;
        }
        decide(&all);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(large_cells_are_told_whole),
        cmocka_unit_test(small_cells_that_are_enough_together_are_masked_alone),
        cmocka_unit_test(small_cell_takes_the_smallest_other_along),
        cmocka_unit_test(small_group_is_left_out),
        cmocka_unit_test(lines_are_not_subjects),
        cmocka_unit_test(masked_subject_is_masked_everywhere),
        cmocka_unit_test(nothing_is_nothing),
        cmocka_unit_test(promises_hold_for_any_data),
    };
    return cmocka_run_group_tests_name("report: small cells", tests, NULL, NULL);
}
