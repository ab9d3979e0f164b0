/* The catalogue: rows and lists that fit their structs, complete, and without doubles. */
#include "support/assert_close.h"

#include "analysis/catalogue.h"
#include "analysis/units.h"

#include <string.h>

/* The sections, and the size of the struct that each describes. */
static const struct {
    const char *code;
    size_t size;
} structs[] = {
    {"uroflow", sizeof(struct flow_measures)},
    {"filling", sizeof(struct filling_measures)},
    {"voiding", sizeof(struct voiding_measures)},
    {"emg", sizeof(struct emg_measures)},
    {"profiles", sizeof(struct profile_measures)},
    {"profiles_summary", sizeof(struct profiles_summary_measures)},
    {"anorectal", sizeof(struct anorectal_measures)},
    {"training", sizeof(struct training_measures)},
};

enum { SECTION_COUNT = sizeof structs / sizeof structs[0] };

/* Units of values that no channel has. */
static const char *const own_units[] = {"1",          "mL/cm[H2O]", "mL/mm[Hg]", "mm/s",
                                        "cm[H2O].cm", "uW/mm2",     "uV/min",    "cm[H2O].s/mL"};

static bool is_known_unit(const char *unit)
{
    double factor = 0.0;

    for (size_t i = 0; i < sizeof own_units / sizeof own_units[0]; i++) {
        if (strcmp(unit, own_units[i]) == 0) {
            return true;
        }
    }
    return units_factor(unit, unit, &factor);
}

static void test_sections_are_those_of_the_document(void **state)
{
    (void)state;
    assert_int_equal(catalogue_section_count(), SECTION_COUNT);
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        const struct catalogue_section *section = catalogue_section(i);

        assert_string_equal(section->code, structs[i].code);
        assert_true(strlen(section->label) > 2);
        assert_string_equal(catalogue_section_label(section->code), section->label);
        assert_ptr_equal(catalogue_find_section(section->code), section);
        assert_int_equal(section->repeated, strcmp(section->code, "profiles") == 0);
    }
    assert_null(catalogue_section_label("nothing"));
    assert_null(catalogue_find_section("uroflo"));
}

/* Notes which bytes of a section's struct a row or list describes; none twice. */
static void cover(unsigned char *bytes, size_t struct_size, size_t offset, size_t size)
{
    assert_true(offset + size <= struct_size);
    for (size_t i = offset; i < offset + size; i++) {
        assert_int_equal(bytes[i], 0);
        bytes[i] = 1;
    }
}

/* A section's struct holds nothing but measures and lists, each with one row or list of the
 * catalogue. (The flow part of a voiding is itself made of measures.) */
static void test_every_measure_and_list_has_one_place(void **state)
{
    static unsigned char bytes[65536];

    (void)state;
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        const struct catalogue_section *section = catalogue_section(i);

        assert_true(structs[i].size <= sizeof bytes);
        memset(bytes, 0, sizeof bytes);
        for (size_t j = 0; j < section->row_count; j++) {
            cover(bytes, structs[i].size, section->rows[j].offset, sizeof(struct measure));
        }
        for (size_t j = 0; j < section->list_count; j++) {
            cover(bytes, structs[i].size, section->lists[j].offset, sizeof(struct item_list));
        }
        if (memchr(bytes, 0, structs[i].size) != NULL) {
            fail_msg("%s: nothing describes what stands at byte %zu", section->code,
                     (size_t)((unsigned char *)memchr(bytes, 0, structs[i].size) - bytes));
        }
    }
}

static void check_row(const struct catalogue_section *section, const struct catalogue_row *row)
{
    assert_string_equal(row->section, section->code);
    assert_true(strlen(row->label) > 0 && strlen(row->definition) > 0);
    assert_true(strlen(row->source) > 0);
    assert_true(row->report_step > 0.0);
    if (row->kind == CATALOGUE_NUMBER) {
        assert_non_null(row->unit);
        if (!is_known_unit(row->unit)) {
            fail_msg("%s.%s has the unit %s", section->code, row->code, row->unit);
        }
    } else {
        assert_null(row->unit);
    }
    assert_true((row->signals >> SIGNAL_COUNT) == 0);
}

static void test_rows_are_complete(void **state)
{
    (void)state;
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        const struct catalogue_section *section = catalogue_section(i);

        for (size_t j = 0; j < section->row_count; j++) {
            check_row(section, &section->rows[j]);
            for (size_t k = 0; k < j; k++) {
                assert_string_not_equal(section->rows[k].code, section->rows[j].code);
                assert_string_not_equal(section->rows[k].label, section->rows[j].label);
            }
            for (size_t k = 0; k < section->list_count; k++) {
                assert_string_not_equal(section->lists[k].code, section->rows[j].code);
            }
        }
    }
}

static size_t column_size(const struct catalogue_column *column)
{
    switch (column->kind) {
    case CATALOGUE_NUMBER:
        return sizeof(double);
    case CATALOGUE_WORD:
        return sizeof(const char *);
    case CATALOGUE_YES_NO:
        return sizeof(bool);
    }
    return 0;
}

static void check_list(const struct catalogue_list *list)
{
    unsigned char bytes[512] = {0};

    assert_true(strlen(list->label) > 0 && strlen(list->definition) > 0);
    assert_true(strlen(list->source) > 0);
    assert_true(list->column_count > 0);
    assert_true(list->item_size <= sizeof bytes);
    for (size_t i = 0; i < list->column_count; i++) {
        const struct catalogue_column *column = &list->columns[i];

        cover(bytes, list->item_size, column->offset, column_size(column));
        assert_true(strlen(column->label) > 0);
        if (column->kind == CATALOGUE_NUMBER) {
            assert_true(is_known_unit(column->unit));
            assert_true(column->report_step > 0.0);
        } else {
            assert_null(column->unit);
        }
        for (size_t k = 0; k < i; k++) {
            assert_string_not_equal(list->columns[k].code, column->code);
        }
    }
}

static void test_lists_are_complete(void **state)
{
    (void)state;
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        const struct catalogue_section *section = catalogue_section(i);

        for (size_t j = 0; j < section->list_count; j++) {
            check_list(&section->lists[j]);
            for (size_t k = 0; k < j; k++) {
                assert_string_not_equal(section->lists[k].code, section->lists[j].code);
            }
        }
    }
}

/* All rows in one go: each section's, in its order. */
static void test_rows_section_by_section(void **state)
{
    size_t index = 0;

    (void)state;
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        for (size_t j = 0; j < catalogue_section(i)->row_count; j++) {
            assert_ptr_equal(catalogue_row(index), &catalogue_section(i)->rows[j]);
            index++;
        }
    }
    assert_int_equal(catalogue_count(), index);
}

/* Free flow and voiding share one definition of the flow parameters. */
static void test_flow_rows_are_shared(void **state)
{
    const struct catalogue_section *uroflow = catalogue_find_section("uroflow");
    const struct catalogue_section *voiding = catalogue_find_section("voiding");
    size_t shared = 0;

    (void)state;
    for (size_t i = 0; i < uroflow->row_count; i++) {
        for (size_t k = 0; k < voiding->row_count; k++) {
            if (strcmp(uroflow->rows[i].code, voiding->rows[k].code) == 0) {
                assert_string_equal(uroflow->rows[i].label, voiding->rows[k].label);
                assert_string_equal(uroflow->rows[i].definition, voiding->rows[k].definition);
                shared++;
            }
        }
    }
    assert_int_equal(shared, sizeof(struct flow_measures) / sizeof(struct measure));
}

static const struct catalogue_row *find_row(const char *section, const char *code)
{
    for (size_t i = 0; i < catalogue_count(); i++) {
        if (strcmp(catalogue_row(i)->section, section) == 0 &&
            strcmp(catalogue_row(i)->code, code) == 0) {
            return catalogue_row(i);
        }
    }
    fail_msg("no row %s.%s", section, code);
    return NULL;
}

static void test_access(void **state)
{
    struct analysis_result result = {.has_filling = true};
    const struct catalogue_section *filling = catalogue_find_section("filling");
    const struct catalogue_section *voiding = catalogue_find_section("voiding");

    (void)state;
    result.filling.compliance.value = 33.0;
    result.voiding.flow_delay.value = 0.8;
    for (size_t i = 0; i < SECTION_COUNT; i++) {
        const bool expected = catalogue_section(i) == filling;

        assert_int_equal(catalogue_present(catalogue_section(i), &result), expected);
        assert_int_equal(catalogue_instances(catalogue_section(i), &result), expected ? 1 : 0);
    }
    assert_ptr_equal(catalogue_instance(filling, &result, 0), &result.filling);
    assert_ptr_equal(catalogue_writable(voiding, &result, 0), &result.voiding);
    assert_close(catalogue_measure(find_row("filling", "compliance"),
                                   catalogue_instance(filling, &result, 0))
                     ->value,
                 33.0, 0.0);
    assert_close(catalogue_measure(find_row("voiding", "flow_delay_s"),
                                   catalogue_instance(voiding, &result, 0))
                     ->value,
                 0.8, 0.0);
}

/* A repeated section occurs once for each pull, and also when none was found. */
static void test_repeated_section(void **state)
{
    struct profile_measures pulls[3] = {0};
    struct analysis_result result = {.has_profiles = true,
                                     .profiles = {.count = 3, .pulls = pulls}};
    const struct catalogue_section *profiles = catalogue_find_section("profiles");

    (void)state;
    assert_int_equal(catalogue_instances(profiles, &result), 3);
    assert_ptr_equal(catalogue_instance(profiles, &result, 2), &pulls[2]);
    assert_ptr_equal(catalogue_writable(profiles, &result, 1), &pulls[1]);
    result.profiles.count = 0;
    assert_true(catalogue_present(profiles, &result));
    assert_int_equal(catalogue_instances(profiles, &result), 0);
    result.profiles.count = 3;
    result.has_profiles = false;
    assert_int_equal(catalogue_instances(profiles, &result), 0);
}

/* Members of an item are read from where the columns say, whatever is beside them. */
static void test_items(void **state)
{
    static const struct catalogue_column columns[] = {
        {"start_s", CATALOGUE_NUMBER, "s", 0.1, "Start",
         offsetof(struct involuntary_contraction, start_s)},
        {"kind", CATALOGUE_WORD, NULL, 1.0, "Kind", offsetof(struct involuntary_contraction, kind)},
        {"urgency", CATALOGUE_YES_NO, NULL, 1.0, "Urgency",
         offsetof(struct involuntary_contraction, urgency)},
    };
    static const struct catalogue_list list = {
        .code = "involuntary_contractions",
        .offset = offsetof(struct filling_measures, involuntary_contractions),
        .item_size = sizeof(struct involuntary_contraction),
        .column_count = 3,
        .columns = columns,
    };
    const struct involuntary_contraction found[] = {
        {.start_s = 10.0, .kind = "phasic"},
        {.start_s = 20.0, .kind = "terminal", .urgency = true}};
    struct filling_measures filling = {
        .involuntary_contractions = {.state = MEASURE_PRESENT, .count = 2, .items = found}};
    const struct item_list *items = catalogue_items(&list, &filling);

    (void)state;
    assert_int_equal(items->count, 2);
    assert_close(catalogue_number(&list, items, 0, &columns[0]), 10.0, 0.0);
    assert_close(catalogue_number(&list, items, 1, &columns[0]), 20.0, 0.0);
    assert_string_equal(catalogue_word(&list, items, 1, &columns[1]), "terminal");
    assert_false(catalogue_yes(&list, items, 0, &columns[2]));
    assert_true(catalogue_yes(&list, items, 1, &columns[2]));
}

static void test_rounding(void **state)
{
    (void)state;
    assert_close(catalogue_rounded_to(1.0, 18.5), 19.0, 0.0);
    assert_close(catalogue_rounded_to(1.0, -18.5), -19.0, 0.0);
    assert_close(catalogue_rounded_to(10.0, 344.9), 340.0, 0.0);
    assert_close(catalogue_rounded_to(10.0, 345.0), 350.0, 0.0);
    assert_close(catalogue_rounded_to(0.01, 0.286), 0.29, 0.0);
    assert_close(catalogue_rounded_to(0.5, 1.3), 1.5, 0.0);
    assert_close(catalogue_rounded_to(0.01, 1.015), 1.02, 0.0);
    assert_close(catalogue_rounded_to(0.01, -1.015), -1.02, 0.0);
    assert_close(catalogue_rounded_to(0.01, 1.0149), 1.01, 0.0);
    assert_close(catalogue_rounded(find_row("uroflow", "voided_volume"), 342.0), 340.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sections_are_those_of_the_document),
        cmocka_unit_test(test_every_measure_and_list_has_one_place),
        cmocka_unit_test(test_rows_are_complete),
        cmocka_unit_test(test_lists_are_complete),
        cmocka_unit_test(test_rows_section_by_section),
        cmocka_unit_test(test_flow_rows_are_shared),
        cmocka_unit_test(test_access),
        cmocka_unit_test(test_repeated_section),
        cmocka_unit_test(test_items),
        cmocka_unit_test(test_rounding),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
