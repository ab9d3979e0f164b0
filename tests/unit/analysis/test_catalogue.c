/* The catalogue: exactly one row for each measure of the result, complete and without doubles. */
#include "support/assert_close.h"

#include "analysis/catalogue.h"
#include "analysis/units.h"

#include <string.h>

static size_t rows_at(size_t offset)
{
    size_t rows = 0;

    for (size_t i = 0; i < catalogue_count(); i++) {
        rows += catalogue_row(i)->offset == offset ? 1 : 0;
    }
    return rows;
}

/* A section's struct holds nothing but measures, so it can be walked as an array of them. */
static void assert_covered(size_t offset, size_t size)
{
    assert_int_equal(size % sizeof(struct measure), 0);
    for (size_t at = offset; at < offset + size; at += sizeof(struct measure)) {
        if (rows_at(at) != 1) {
            print_error("%zu rows at offset %zu\n", rows_at(at), at);
        }
        assert_int_equal(rows_at(at), 1);
    }
}

static void test_every_measure_has_one_row(void **state)
{
    (void)state;
    assert_covered(offsetof(struct analysis_result, uroflow), sizeof(struct flow_measures));
    assert_covered(offsetof(struct analysis_result, filling), sizeof(struct filling_measures));
    assert_covered(offsetof(struct analysis_result, voiding), sizeof(struct voiding_measures));
    assert_int_equal(catalogue_count(),
                     (sizeof(struct flow_measures) + sizeof(struct filling_measures) +
                      sizeof(struct voiding_measures)) /
                         sizeof(struct measure));
}

static void test_rows_are_complete(void **state)
{
    (void)state;
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        double factor = 0.0;

        assert_non_null(catalogue_section_label(row->section));
        assert_true(strlen(row->label) > 0 && strlen(row->definition) > 0);
        assert_true(strlen(row->source) > 0);
        assert_true(row->report_step > 0.0);
        if (row->kind == CATALOGUE_NUMBER) {
            assert_non_null(row->unit);
            assert_true(strcmp(row->unit, "mL/cm[H2O]") == 0 ||
                        units_factor(row->unit, row->unit, &factor));
        } else {
            assert_null(row->unit);
        }
        for (size_t k = 0; k < i; k++) {
            assert_false(strcmp(catalogue_row(k)->section, row->section) == 0 &&
                         strcmp(catalogue_row(k)->code, row->code) == 0);
        }
    }
}

/* Rows of a section stand together, so that writers can open and close sections in one pass. */
static void test_sections_stand_together(void **state)
{
    size_t changes = 0;

    (void)state;
    for (size_t i = 1; i < catalogue_count(); i++) {
        changes += strcmp(catalogue_row(i)->section, catalogue_row(i - 1)->section) != 0 ? 1 : 0;
    }
    assert_int_equal(changes, 2);
}

/* Free flow and voiding share one definition of the flow parameters. */
static void test_flow_rows_are_shared(void **state)
{
    size_t shared = 0;

    (void)state;
    for (size_t i = 0; i < catalogue_count(); i++) {
        for (size_t k = 0; k < catalogue_count(); k++) {
            const struct catalogue_row *free = catalogue_row(i);
            const struct catalogue_row *voiding = catalogue_row(k);

            if (strcmp(free->section, "uroflow") == 0 && strcmp(voiding->section, "voiding") == 0 &&
                strcmp(free->code, voiding->code) == 0) {
                assert_string_equal(free->label, voiding->label);
                assert_string_equal(free->definition, voiding->definition);
                shared++;
            }
        }
    }
    assert_int_equal(shared, sizeof(struct flow_measures) / sizeof(struct measure));
}

static void test_access(void **state)
{
    struct analysis_result result = {.has_filling = true};

    (void)state;
    result.filling.compliance.value = 33.0;
    result.voiding.flow_delay.value = 0.8;
    for (size_t i = 0; i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);

        assert_int_equal(catalogue_section_present(row, &result),
                         strcmp(row->section, "filling") == 0);
        if (strcmp(row->code, "compliance") == 0) {
            assert_close(catalogue_measure(row, &result)->value, 33.0, 0.0);
        }
        if (strcmp(row->code, "flow_delay_s") == 0) {
            assert_close(catalogue_measure(row, &result)->value, 0.8, 0.0);
        }
    }
    assert_null(catalogue_section_label("emg"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_measure_has_one_row), cmocka_unit_test(test_rows_are_complete),
        cmocka_unit_test(test_sections_stand_together),   cmocka_unit_test(test_access),
        cmocka_unit_test(test_flow_rows_are_shared),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
