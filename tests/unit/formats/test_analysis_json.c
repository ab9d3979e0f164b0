#include "documents.h"

#include "analysis/analysis.h"
#include "analysis/catalogue.h"
#include "formats/analysis_json.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static struct measure present(double value)
{
    return (struct measure){.state = MEASURE_PRESENT, .value = value};
}

static struct measure present_at(double value, double at_s)
{
    return (struct measure){
        .state = MEASURE_PRESENT, .value = value, .has_time = true, .at_s = at_s};
}

static struct measure absent(const char *reason)
{
    return (struct measure){.state = MEASURE_ABSENT, .reason = reason};
}

static const char *write_document(struct arena *arena, const struct analysis_result *result)
{
    struct text out;
    text_init(&out, arena, 65536);
    analysis_json_write(result, "preliminary", 3, &out);
    assert_false(out.overflowed);
    return out.data;
}

static void assert_same_json(const char *actual, const char *expected)
{
    json_error_t error;
    json_t *left = json_loads(actual, JSON_REJECT_DUPLICATES, &error);
    if (left == NULL) {
        fail_msg("%s: %s", error.text, actual);
    }
    json_t *right = json_loads(expected, JSON_REJECT_DUPLICATES, &error);
    if (right == NULL) {
        fail_msg("expected text: %s at %d", error.text, error.position);
    }
    if (json_equal(left, right) != 1) {
        fail_msg("\n%s\nis not\n%s", actual, expected);
    }
    json_decref(left);
    json_decref(right);
}

static struct analysis_result full_result(void)
{
    static struct classification classification = {
        .code = "ics_obstruction",
        .class = "equivocal",
        .method = "BOOI from 20 to 40",
        .basis_count = 3,
        .basis = {{"booi", 31.00049}, {"pdet_qmax", 73.5}, {"qmax", (double)NAN}},
        .limit_count = 2,
        .limits = {{"obstruction_high", 40.0}, {"obstruction_low", 20.0}},
        .doubt_count = 2,
        .doubts = {"spike", "clipped"},
    };
    static struct finding finding = {
        .code = "low_compliance",
        .text = "Compliance is \"low\".",
        .basis_count = 1,
        .basis = {"filling.compliance"},
        .limit_count = 1,
        .limits = {{"compliance_low_ml_cmh2o", 20.0}},
        .doubt_count = 1,
        .doubts = {"drift"},
    };
    static struct quality_finding quality[] = {
        {.code = "clipped",
         .severity = QUALITY_WARNING,
         .signal = SIGNAL_PABD,
         .has_span = true,
         .from_s = 0.0,
         .to_s = 10.0625,
         .text = "Check pabd."},
        {.code = "no_cough", .severity = QUALITY_INFO, .signal = SIGNAL_NONE, .text = "No cough."},
    };
    struct analysis_result result = {
        .type = RECORDING_PRESSURE_FLOW,
        .has_filling = true,
        .has_voiding = true,
        .classification_count = 1,
        .classifications = &classification,
        .finding_count = 1,
        .findings = &finding,
        .quality_count = 2,
        .quality = quality,
    };
    result.filling.first_sensation_volume = present_at(172.0, 206.4004);
    result.filling.compliance = absent("no measurable rise");
    result.filling.pdet_baseline = present(-0.0001);
    result.voiding.flow.qmax = present_at(21.3404, 14.25);
    result.voiding.flow.qmax.method = "moving average of 2 s";
    result.voiding.flow.qmax.doubt_count = 2;
    result.voiding.flow.qmax.doubts[0] = "spike";
    result.voiding.flow.qmax.doubts[1] = "missing_samples";
    result.voiding.pdet_max = present(60.5);
    result.voiding.pdet_max.part_count = 3;
    result.voiding.pdet_max.parts[0] = (struct named_number){"baseline", 5.0004};
    result.voiding.pdet_max.parts[1] = (struct named_number){"unknown", (double)NAN};
    result.voiding.pdet_max.parts[2] = (struct named_number){"rise", 55.5};
    result.voiding.flow.post_void_residual = present(40.0);
    result.voiding.flow.post_void_residual.source = SOURCE_ENTERED;
    result.voiding.flow.flow_pattern = present(0.0);
    result.voiding.flow.flow_pattern.word = "interrupted";
    result.voiding.booi = absent("no flow signal");
    result.voiding.bci = present((double)INFINITY);
    /* A section that is not part of the result says nothing, whatever it holds. */
    result.uroflow.qmax = present(99.0);
    result.uroflow.qave = absent("left out");
    return result;
}

static const char FULL_EXPECTED[] =
    "{\"type\":\"pressure_flow\",\"status\":\"preliminary\",\"revision\":3,"
    "\"software\":{\"name\":\"penstock\",\"version\":\"0.1.0\","
    "\"analysis_version\":\"" ANALYSIS_VERSION "\"},"
    "\"choices\":{},\"sections\":{"
    "\"filling\":{"
    "\"first_sensation_volume\":"
    "{\"value\":172,\"unit\":\"mL\",\"at_s\":206.4,\"source\":\"computed\"},"
    "\"pdet_baseline\":{\"value\":0,\"unit\":\"cm[H2O]\",\"source\":\"computed\"}},"
    "\"voiding\":{"
    "\"qmax\":{\"value\":21.34,\"unit\":\"mL/s\",\"at_s\":14.25,\"source\":\"computed\","
    "\"method\":\"moving average of 2 s\",\"quality\":[\"spike\",\"missing_samples\"]},"
    "\"pdet_max\":{\"value\":60.5,\"unit\":\"cm[H2O]\",\"baseline\":5,\"rise\":55.5,"
    "\"source\":\"computed\"},"
    "\"post_void_residual\":{\"value\":40,\"unit\":\"mL\",\"source\":\"entered\"},"
    "\"flow_pattern\":{\"value\":\"interrupted\",\"source\":\"computed\"}}},"
    "\"findings\":[{\"code\":\"low_compliance\",\"text\":\"Compliance is \\\"low\\\".\","
    "\"basis\":[\"filling.compliance\"],\"limits\":{\"compliance_low_ml_cmh2o\":20},"
    "\"quality\":[\"drift\"]}],"
    "\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"equivocal\","
    "\"basis\":{\"booi\":31,\"pdet_qmax\":73.5},"
    "\"limits\":{\"obstruction_high\":40,\"obstruction_low\":20},\"method\":\"BOOI from 20 to "
    "40\",\"quality\":[\"spike\",\"clipped\"]}],"
    "\"quality\":[{\"code\":\"clipped\",\"severity\":\"warning\",\"signal\":\"pabd\","
    "\"from_s\":0,\"to_s\":10.062,\"text\":\"Check pabd.\"},"
    "{\"code\":\"no_cough\",\"severity\":\"info\",\"text\":\"No cough.\"}],"
    "\"not_computed\":["
    "{\"section\":\"filling\",\"code\":\"compliance\",\"reason\":\"no measurable rise\"},"
    "{\"section\":\"voiding\",\"code\":\"booi\",\"reason\":\"no flow signal\"},"
    "{\"section\":\"voiding\",\"code\":\"bci\","
    "\"reason\":\"the computation gave no finite number\"}]}";

static void test_full_document(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct analysis_result result = full_result();
    assert_same_json(write_document(arena, &result), FULL_EXPECTED);
    arena_free(arena);
}

static void test_empty_document(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct analysis_result result = {.type = RECORDING_ANORECTAL_MANOMETRY};
    assert_same_json(write_document(arena, &result),
                     "{\"type\":\"anorectal_manometry\",\"status\":\"preliminary\",\"revision\":3,"
                     "\"software\":{\"name\":\"penstock\",\"version\":\"0.1.0\","
                     "\"analysis_version\":\"" ANALYSIS_VERSION "\"},"
                     "\"choices\":{},\"sections\":{},\"findings\":[],\"classifications\":[],"
                     "\"quality\":[],\"not_computed\":[]}");
    arena_free(arena);
}

/* A section that the recording holds is there even when none of its values could be computed. */
static void test_section_without_values(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct analysis_result result = {.type = RECORDING_UROFLOWMETRY, .has_uroflow = true};
    result.uroflow.qmax = absent("no flow");
    const char *text = write_document(arena, &result);
    assert_non_null(strstr(text, "\"sections\":{\"uroflow\":{}}"));
    assert_non_null(
        strstr(text, "[{\"section\":\"uroflow\",\"code\":\"qmax\",\"reason\":\"no flow\"}]"));
    arena_free(arena);
}

/* The document states every limit in use, and none that is not known. */
static void test_choices(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct analysis_choices choices;
    choices_standard(&choices);
    choices.compliance_low_ml_cmh2o = (struct optional_number){true, 12.5};
    const struct analysis_result result = {.type = RECORDING_CYSTOMETRY, .choices = &choices};
    json_t *document = json_loads(write_document(arena, &result), JSON_REJECT_DUPLICATES, NULL);
    const json_t *written = json_object_get(document, "choices");
    size_t known = 0;
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);
        const json_t *number = json_object_get(written, row->code);
        bool is_changed = strcmp(row->code, "compliance_low_ml_cmh2o") == 0;
        if (row->has_default) {
            known++;
            documents_assert_close(json_number_value(number), is_changed ? 12.5 : row->standard,
                                   1e-9);
        } else {
            assert_null(number);
        }
    }
    assert_true(known > 10);
    assert_int_equal(json_object_size(written), known);
    json_decref(document);
    arena_free(arena);
}

/* A repeated section is an array, also an empty one; what one of its entries lacks is told with its
 * index. */
static void test_repeated_section(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct profile_measures pulls[2] = {0};
    struct analysis_result result = {.type = RECORDING_URETHRAL_PRESSURE_PROFILE,
                                     .has_profiles = true,
                                     .profiles = {.count = 2, .pulls = pulls}};
    const struct catalogue_section *profiles = catalogue_find_section("profiles");
    for (size_t i = 0; i < profiles->row_count; i++) {
        for (size_t j = 0; j < 2; j++) {
            struct measure measure = j == 0 ? present((double)i) : absent("the pull stopped");
            measure.word = "rest";
            memcpy((char *)&pulls[j] + profiles->rows[i].offset, &measure, sizeof measure);
        }
    }
    json_t *document = json_loads(write_document(arena, &result), JSON_REJECT_DUPLICATES, NULL);
    const json_t *written = json_object_get(json_object_get(document, "sections"), profiles->code);
    const json_t *reasons = json_object_get(document, "not_computed");
    assert_int_equal(json_array_size(written), 2);
    assert_int_equal(json_object_size(json_array_get(written, 0)), profiles->row_count);
    assert_int_equal(json_object_size(json_array_get(written, 1)), 0);
    assert_int_equal(json_array_size(reasons), profiles->row_count);
    for (size_t i = 0; i < json_array_size(reasons); i++) {
        const json_t *reason = json_array_get(reasons, i);
        assert_string_equal(json_string_value(json_object_get(reason, "section")), "profiles");
        assert_int_equal(json_integer_value(json_object_get(reason, "index")), 1);
        assert_string_equal(json_string_value(json_object_get(reason, "code")),
                            profiles->rows[i].code);
    }
    json_decref(document);

    result.profiles.count = 0;
    assert_non_null(strstr(write_document(arena, &result), "\"sections\":{\"profiles\":[]}"));
    arena_free(arena);
}

/* ---- everything that the catalogue names ---- */

static void check_measure(const json_t *measure, const struct catalogue_row *row, double value)
{
    const json_t *written = json_object_get(measure, "value");
    if (row->kind == CATALOGUE_WORD) {
        assert_string_equal(json_string_value(written), row->code);
        assert_null(json_object_get(measure, "unit"));
    } else if (row->kind == CATALOGUE_YES_NO) {
        assert_true(json_is_true(written));
    } else {
        documents_assert_close(json_number_value(written), value, 0.0);
        assert_string_equal(json_string_value(json_object_get(measure, "unit")), row->unit);
    }
}

enum { ITEM_COUNT = 3 };

/* Each member of each item has a value of its own; those of the last item are not known. */
static double item_number(size_t item, size_t column)
{
    return item == ITEM_COUNT - 1 ? (double)NAN : (double)(100 * item + column);
}

static const void *make_items(struct arena *arena, const struct catalogue_list *list)
{
    char *items = arena_alloc(arena, ITEM_COUNT * list->item_size);
    for (size_t i = 0; i < ITEM_COUNT; i++) {
        for (size_t j = 0; j < list->column_count; j++) {
            const struct catalogue_column *column = &list->columns[j];
            char *at = items + i * list->item_size + column->offset;
            double number = item_number(i, j);
            const char *word = i == ITEM_COUNT - 1 ? NULL : column->code;
            bool yes = i == 1;
            if (column->kind == CATALOGUE_NUMBER) {
                memcpy(at, &number, sizeof number);
            } else if (column->kind == CATALOGUE_WORD) {
                memcpy(at, &word, sizeof word);
            } else {
                memcpy(at, &yes, sizeof yes);
            }
        }
    }
    return items;
}

static void check_member(const json_t *written, const struct catalogue_column *column, size_t item,
                         size_t index)
{
    if (column->kind == CATALOGUE_YES_NO) {
        assert_true(item == 1 ? json_is_true(written) : json_is_false(written));
    } else if (item == ITEM_COUNT - 1) {
        assert_null(written);
    } else if (column->kind == CATALOGUE_WORD) {
        assert_string_equal(json_string_value(written), column->code);
    } else {
        documents_assert_close(json_number_value(written), item_number(item, index), 0.0);
    }
}

static void check_list(const json_t *written, const struct catalogue_list *list)
{
    assert_int_equal(json_array_size(written), ITEM_COUNT);
    for (size_t i = 0; i < ITEM_COUNT; i++) {
        for (size_t j = 0; j < list->column_count; j++) {
            const struct catalogue_column *column = &list->columns[j];
            check_member(json_object_get(json_array_get(written, i), column->code), column, i, j);
        }
    }
}

static void fill_instance(struct arena *arena, const struct catalogue_section *section,
                          char *instance)
{
    for (size_t i = 0; i < section->row_count; i++) {
        struct measure measure = present(1.0 + (double)i);
        measure.word = section->rows[i].code;
        memcpy(instance + section->rows[i].offset, &measure, sizeof measure);
    }
    for (size_t i = 0; i < section->list_count; i++) {
        const struct item_list items = {.state = MEASURE_PRESENT,
                                        .count = ITEM_COUNT,
                                        .items = make_items(arena, &section->lists[i])};
        memcpy(instance + section->lists[i].offset, &items, sizeof items);
    }
}

static void check_instance(const struct catalogue_section *section, const json_t *written)
{
    for (size_t i = 0; i < section->row_count; i++) {
        check_measure(json_object_get(written, section->rows[i].code), &section->rows[i],
                      1.0 + (double)i);
    }
    for (size_t i = 0; i < section->list_count; i++) {
        check_list(json_object_get(written, section->lists[i].code), &section->lists[i]);
    }
    assert_int_equal(json_object_size(written), section->row_count + section->list_count);
}

static struct analysis_result whole_result(struct profile_measures *pull)
{
    return (struct analysis_result){.type = RECORDING_PRESSURE_FLOW,
                                    .has_uroflow = true,
                                    .has_filling = true,
                                    .has_voiding = true,
                                    .has_emg = true,
                                    .has_profiles = true,
                                    .profiles = {.count = 1, .pulls = pull},
                                    .has_profiles_summary = true,
                                    .has_anorectal = true,
                                    .has_training = true};
}

/* Every row and list of the catalogue reaches its own place, each with values of its own. */
static void test_everything_is_written(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct profile_measures pull = {0};
    struct analysis_result result = whole_result(&pull);
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        fill_instance(arena, catalogue_section(i),
                      catalogue_writable(catalogue_section(i), &result, 0));
    }
    json_t *document = json_loads(write_document(arena, &result), JSON_REJECT_DUPLICATES, NULL);
    const json_t *sections = json_object_get(document, "sections");
    assert_int_equal(json_object_size(sections), catalogue_section_count());
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);
        const json_t *written = json_object_get(sections, section->code);
        check_instance(section, section->repeated ? json_array_get(written, 0) : written);
    }
    assert_int_equal(json_array_size(json_object_get(document, "not_computed")), 0);
    json_decref(document);
    arena_free(arena);
}

static size_t reasons_for(const json_t *reasons, const char *section, const char *code)
{
    size_t count = 0;
    for (size_t i = 0; i < json_array_size(reasons); i++) {
        const json_t *item = json_array_get(reasons, i);
        count += strcmp(json_string_value(json_object_get(item, "section")), section) == 0 &&
                 strcmp(json_string_value(json_object_get(item, "code")), code) == 0;
    }
    return count;
}

/* A list that was not looked for is told with its reason; one that was looked for is there, though
 * it be empty; one that does not belong here is neither. */
static void test_states_of_lists(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct profile_measures pull = {0};
    size_t seen = 0;
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);
        for (size_t j = 0; j < section->list_count; j++) {
            struct analysis_result result = whole_result(&pull);
            struct item_list items = {.state = (enum measure_state)(seen % 3),
                                      .reason = "no pressure"};
            char *instance = catalogue_writable(section, &result, 0);
            memcpy(instance + section->lists[j].offset, &items, sizeof items);
            const char *text = write_document(arena, &result);
            json_t *document = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
            const json_t *written =
                json_object_get(json_object_get(document, "sections"), section->code);
            written = json_object_get(section->repeated ? json_array_get(written, 0) : written,
                                      section->lists[j].code);
            assert_int_equal(json_is_array(written), items.state == MEASURE_PRESENT);
            assert_int_equal(json_array_size(written), 0);
            assert_int_equal(reasons_for(json_object_get(document, "not_computed"), section->code,
                                         section->lists[j].code),
                             items.state == MEASURE_ABSENT ? 1 : 0);
            json_decref(document);
            seen++;
            memset(&pull, 0, sizeof pull);
        }
    }
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_full_document),          cmocka_unit_test(test_empty_document),
        cmocka_unit_test(test_section_without_values), cmocka_unit_test(test_choices),
        cmocka_unit_test(test_repeated_section),       cmocka_unit_test(test_everything_is_written),
        cmocka_unit_test(test_states_of_lists),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
