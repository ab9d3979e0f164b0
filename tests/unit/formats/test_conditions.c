#include "documents.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define START "\"type\":\"cystometry\",\"started_at\":\"2026-03-02T09:31:05Z\",\"conditions\":"

static const struct fault_case condition_faults[] = {
    {"no object",
     RECORDING_JSON_STORE,
     {.members = START "\"sitting\""},
     "/conditions",
     "Must be an object."},
    {"unknown member",
     RECORDING_JSON_STORE,
     {.members = START "{\"posture\":\"sitting\"}"},
     "/conditions/posture",
     "Unknown member."},
    {"position no text",
     RECORDING_JSON_STORE,
     {.members = START "{\"position\":1}"},
     "/conditions/position",
     "Must be a string."},
    {"residual",
     RECORDING_JSON_STORE,
     {.members = START "{\"post_void_residual_ml\":-1}"},
     "/conditions/post_void_residual_ml",
     "Must be between 0 and 5000."},
    {"initial residual",
     RECORDING_JSON_STORE,
     {.members = START "{\"initial_residual_ml\":5000.1}"},
     "/conditions/initial_residual_ml",
     "Must be between 0 and 5000."},
    {"filling rate",
     RECORDING_JSON_STORE,
     {.members = START "{\"filling_rate_ml_min\":1001}"},
     "/conditions/filling_rate_ml_min",
     "Must be between 0 and 1000."},
    {"flow delay",
     RECORDING_JSON_STORE,
     {.members = START "{\"flow_delay_s\":3.1}"},
     "/conditions/flow_delay_s",
     "Must be between 0 and 3."},
    {"puller stands still",
     RECORDING_JSON_STORE,
     {.members = START "{\"puller_speed_mm_s\":0}"},
     "/conditions/puller_speed_mm_s",
     "Must be greater than 0."},
    {"puller too fast",
     RECORDING_JSON_STORE,
     {.members = START "{\"puller_speed_mm_s\":51}"},
     "/conditions/puller_speed_mm_s",
     "Must be between 0 and 50."},
    {"free flow",
     RECORDING_JSON_STORE,
     {.members = START "{\"free_qmax_ml_s\":100.1}"},
     "/conditions/free_qmax_ml_s",
     "Must be between 0 and 100."},
    {"balloon gone at once",
     RECORDING_JSON_STORE,
     {.members = START "{\"balloon_expulsion_s\":0}"},
     "/conditions/balloon_expulsion_s",
     "Must be greater than 0."},
    {"balloon never gone",
     RECORDING_JSON_STORE,
     {.members = START "{\"balloon_expulsion_s\":3601}"},
     "/conditions/balloon_expulsion_s",
     "Must be between 0 and 3600."},
    {"sensors at one place",
     RECORDING_JSON_STORE,
     {.members = START "{\"anal_sensor_spacing_mm\":0}"},
     "/conditions/anal_sensor_spacing_mm",
     "Must be greater than 0."},
    {"sensors far apart",
     RECORDING_JSON_STORE,
     {.members = START "{\"anal_sensor_spacing_mm\":100.1}"},
     "/conditions/anal_sensor_spacing_mm",
     "Must be between 0 and 100."},
    {"lesion as a word",
     RECORDING_JSON_STORE,
     {.members = START "{\"neurological_lesion\":\"yes\"}"},
     "/conditions/neurological_lesion",
     "Must be true or false."},
    {"lesion as a number",
     RECORDING_JSON_STORE,
     {.members = START "{\"neurological_lesion\":1}"},
     "/conditions/neurological_lesion",
     "Must be true or false."},
    {"form unknown",
     RECORDING_JSON_STORE,
     {.members = START "{\"emg_form\":\"smoothed\"}"},
     "/conditions/emg_form",
     "Must be one of: raw, rectified, envelope."},
    {"control character",
     RECORDING_JSON_STORE,
     {.members = START "{\"zeroed\":\"a\\u0007\"}"},
     "/conditions/zeroed",
     "Must not hold control characters."},
};

static void test_faults(void **state)
{
    (void)state;
    documents_check_faults(condition_faults, sizeof condition_faults / sizeof condition_faults[0]);
}

static void test_text_too_long(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    char words[202];
    memset(words, 'x', 201);
    words[201] = '\0';
    const struct fault_case row = {
        "position of 201 bytes",
        RECORDING_JSON_STORE,
        {.members = arena_printf(arena, START "{\"position\":\"%s\"}", words)},
        "/conditions/position",
        "Must be at most 200 bytes long; this is 201."};
    documents_check_faults(&row, 1);
    arena_free(arena);
}

static void test_positions(void **state)
{
    static const struct {
        const char *word;
        enum patient_position position;
    } rows[] = {
        {"sitting", POSITION_SITTING},   {"standing", POSITION_STANDING},
        {"supine", POSITION_SUPINE},     {"", POSITION_UNKNOWN},
        {"Sitting", POSITION_UNKNOWN},   {"sitting, leaning", POSITION_UNKNOWN},
        {"left side", POSITION_UNKNOWN},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct document_parts parts = {
            .members = arena_printf(arena, START "{\"position\":\"%s\"}", rows[i].word)};
        const struct recording_document *document = documents_read_sound(arena, &parts);
        assert_string_equal(document->conditions.position, rows[i].word);
        assert_int_equal(document->conditions.numbers.position, rows[i].position);
        arena_free(arena);
    }
}

static void test_answers_and_forms(void **state)
{
    static const struct {
        const char *members;
        enum patient_answer lesion;
        enum emg_form form;
    } rows[] = {
        {"{}", ANSWER_UNKNOWN, EMG_FORM_UNKNOWN},
        {"{\"neurological_lesion\":null,\"emg_form\":null}", ANSWER_UNKNOWN, EMG_FORM_UNKNOWN},
        {"{\"neurological_lesion\":false,\"emg_form\":\"raw\"}", ANSWER_NO, EMG_FORM_RAW},
        {"{\"neurological_lesion\":true,\"emg_form\":\"rectified\"}", ANSWER_YES,
         EMG_FORM_RECTIFIED},
        {"{\"emg_form\":\"envelope\"}", ANSWER_UNKNOWN, EMG_FORM_ENVELOPE},
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct arena *arena = arena_new();
        struct document_parts parts = {.members = arena_printf(arena, START "%s", rows[i].members)};
        const struct recording_document *document = documents_read_sound(arena, &parts);
        assert_int_equal(document->conditions.numbers.neurological_lesion, rows[i].lesion);
        assert_int_equal(document->conditions.numbers.emg_form, rows[i].form);
        arena_free(arena);
    }
}

/* What is written reads back the same, and only what is known is written. */
static void test_round_trip(void **state)
{
    static const char *const texts[] = {
        "{}",
        "{\"position\":\"sitting\"}",
        "{\"position\":\"kn\xc3\xa4"
        "end \\\"x\\\"\",\"post_void_residual_ml\":0,"
        "\"initial_residual_ml\":5000,\"filling_rate_ml_min\":33.3,\"flow_delay_s\":0.6,"
        "\"puller_speed_mm_s\":0.5,\"free_qmax_ml_s\":21.5,\"balloon_expulsion_s\":47,"
        "\"anal_sensor_spacing_mm\":7.5,\"neurological_lesion\":true,\"emg_form\":\"raw\","
        "\"reference_level\":\"symphysis pubis\","
        "\"zeroed\":\"atmosphere\"}",
        "{\"neurological_lesion\":false,\"emg_form\":\"rectified\"}",
        "{\"emg_form\":\"envelope\"}",
    };
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct arena *arena = arena_new();
        struct document_conditions conditions;
        struct error error;
        assert_true(conditions_json_read(arena, texts[i], &conditions, &error));
        struct text out;
        text_init(&out, arena, 4096);
        conditions_json_write(&conditions, &out);
        assert_string_equal(out.data, texts[i]);
        arena_free(arena);
    }
}

static void test_damaged_column(void **state)
{
    static const char *const texts[] = {"", "[]", "{\"position\":", "{\"flow_delay_s\":-1}",
                                        "{\"other\":1}"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct arena *arena = arena_new();
        struct document_conditions conditions;
        struct error error = {0};
        assert_false(conditions_json_read(arena, texts[i], &conditions, &error));
        assert_int_equal(error.kind, ERROR_INTERNAL);
        assert_non_null(strstr(error.detail, "stored conditions"));
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_faults),     cmocka_unit_test(test_text_too_long),
        cmocka_unit_test(test_positions),  cmocka_unit_test(test_answers_and_forms),
        cmocka_unit_test(test_round_trip), cmocka_unit_test(test_damaged_column),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
