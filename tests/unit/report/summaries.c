#include "summaries.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

/* The numbers of the reporting line's worked example: Qmax 18.4, VV 342, PVR 37. */
const char SUMMARIES_FREE_FLOW[] =
    "{\"type\":\"uroflowmetry\",\"status\":\"preliminary\",\"revision\":1,"
    "\"software\":{\"name\":\"penstock\",\"version\":\"0.1.0\"},\"sections\":{\"uroflow\":{"
    "\"qmax\":{\"value\":18.4,\"unit\":\"mL/s\",\"at_s\":14.25,\"source\":\"computed\","
    "\"method\":\"moving average of 2 s\"},"
    "\"voided_volume\":{\"value\":342,\"unit\":\"mL\",\"source\":\"computed\"},"
    "\"post_void_residual\":{\"value\":37,\"unit\":\"mL\",\"source\":\"entered\"},"
    "\"voiding_efficiency\":{\"value\":90.237,\"unit\":\"%\",\"source\":\"override\"},"
    "\"qmax_corrected\":{\"value\":0.945,\"unit\":\"1\",\"source\":\"computed\"},"
    "\"flow_pattern\":{\"value\":\"bell\",\"source\":\"computed\"}}},"
    "\"findings\":[],\"classifications\":[],\"quality\":[],\"not_computed\":[]}";

const char SUMMARIES_PRESSURE_FLOW[] =
    "{\"type\":\"pressure_flow\",\"status\":\"preliminary\",\"revision\":2,"
    "\"software\":{\"name\":\"penstock\",\"version\":\"0.1.0\"},\"sections\":{\"voiding\":{"
    "\"pdet_qmax\":{\"value\":-0.4,\"unit\":\"cm[H2O]\",\"source\":\"computed\"},"
    "\"flow_delay_s\":{\"value\":0.8,\"unit\":\"s\",\"source\":\"computed\"}},\"filling\":{"
    "\"compliance\":{\"value\":34.5,\"unit\":\"mL/cm[H2O]\",\"source\":\"computed\"}}},"
    "\"findings\":[{\"code\":\"low_flow\",\"text\":\"Flow is low.\","
    "\"basis\":[\"voiding.qmax\",\"own_rule\"]}],"
    "\"classifications\":[{\"code\":\"ics_obstruction\",\"class\":\"equivocal\","
    "\"basis\":{\"booi\":40.4},\"method\":\"BOOI 20 to 40\"}],"
    "\"quality\":[{\"code\":\"clipped\",\"severity\":\"warning\",\"signal\":\"pabd\","
    "\"from_s\":0,\"to_s\":10.06,\"text\":\"Check pabd.\"},"
    "{\"code\":\"no_cough\",\"severity\":\"info\",\"text\":\"No cough.\"}],"
    "\"not_computed\":[{\"section\":\"voiding\",\"code\":\"booi\",\"reason\":\"no flow "
    "signal\"}]}";

void summaries_make(struct summary_fixture *fixture)
{
    *fixture = (struct summary_fixture){
        .arena = arena_new(),
        .patient = {.id = "01981f5e-7a00-7abc-8def-000000000001",
                    .mrn = "TV-1001",
                    .family_name = "Example",
                    .given_name = "Pat",
                    .birth_date = "1961-07-15",
                    .sex = "male",
                    .weight_kg = {.known = true, .value = 81.5},
                    .version = 1},
        .study = {.id = "01981f5e-7a00-7abc-8def-000000000002",
                  .patient_id = "01981f5e-7a00-7abc-8def-000000000001",
                  .room = "Room 2",
                  .started_at_us = INT64_C(1772440265250000),
                  .operator_name = "Nurse One",
                  .position = "",
                  .catheters = "6 Fr double lumen",
                  .history = "{\"medication\":[\"none\",\"tea\"],\"pad_test\":{\"grams\":12.5},"
                             "\"diary\":\"3 days\",\"smoker\":false}",
                  .status = "preliminary",
                  .version = 4},
        .rows = {{.id = "01981f5e-7a00-7abc-8def-000000000003",
                  .type = RECORDING_UROFLOWMETRY,
                  .started_at_us = INT64_C(1772440265250000),
                  .conditions_json = "{\"position\":\"standing\",\"post_void_residual_ml\":37}",
                  .duration_s = 61.5,
                  .revision = 1},
                 {.id = "01981f5e-7a00-7abc-8def-000000000004",
                  .type = RECORDING_PRESSURE_FLOW,
                  .started_at_us = INT64_C(1772441265000000),
                  .conditions_json = "{\"free_qmax_ml_s\":21.5,\"balloon_expulsion_s\":47,"
                                     "\"anal_sensor_spacing_mm\":7.5,"
                                     "\"neurological_lesion\":true,\"emg_form\":\"raw\"}",
                  .duration_s = 1800,
                  .revision = 2}},
    };
    fixture->recordings[0] =
        (struct summary_recording){.row = &fixture->rows[0], .analysis_json = SUMMARIES_FREE_FLOW};
    fixture->recordings[1] = (struct summary_recording){.row = &fixture->rows[1],
                                                        .analysis_json = SUMMARIES_PRESSURE_FLOW};
    fixture->summary = (struct summary){.clinic_name = "Tarn Valley Continence Clinic",
                                        .study = &fixture->study,
                                        .patient = &fixture->patient,
                                        .recording_count = 2,
                                        .recordings = fixture->recordings};
}

void summaries_free(struct summary_fixture *fixture)
{
    arena_free(fixture->arena);
}

const char *summaries_html(struct summary_fixture *fixture)
{
    struct text out;
    text_init(&out, fixture->arena, (size_t)1024 * 1024);
    summary_html_write(&fixture->summary, fixture->arena, &out);
    assert_false(out.overflowed);
    return out.data;
}
