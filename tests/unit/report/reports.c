#include "reports.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

/* The numbers of the reporting line's worked example: Qmax 18.4, VV 342, PVR 37. */
const char REPORTS_FREE_FLOW[] =
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

const char REPORTS_PRESSURE_FLOW[] =
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

void reports_make(struct report_fixture *fixture)
{
    *fixture = (struct report_fixture){
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
        (struct report_recording){.row = &fixture->rows[0], .analysis_json = REPORTS_FREE_FLOW};
    fixture->recordings[1] =
        (struct report_recording){.row = &fixture->rows[1], .analysis_json = REPORTS_PRESSURE_FLOW};
    fixture->report = (struct report){.clinic_name = "Tarn Valley Continence Clinic",
                                      .study = &fixture->study,
                                      .patient = &fixture->patient,
                                      .recording_count = 2,
                                      .recordings = fixture->recordings};
}

void reports_free(struct report_fixture *fixture)
{
    arena_free(fixture->arena);
}

static void release_json(void *object)
{
    json_decref(object);
}

const json_t *reports_json(struct report_fixture *fixture, const char *text)
{
    json_t *value = json_loads(text, 0, NULL);
    assert_non_null(value);
    arena_defer(fixture->arena, release_json, value);
    return value;
}

void reports_interpret(struct report_fixture *fixture)
{
    fixture->report.interpretation = reports_json(
        fixture,
        "{\"symptoms_reproduced\":\"partly\",\"symptoms_comment\":\"Urgency only.\","
        "\"representative\":{\"free_flow\":true,\"voiding\":false},"
        "\"findings\":[{\"section\":\"filling\",\"code\":\"x\",\"text\":\"Phasic overactivity.\","
        "\"basis\":[\"filling.involuntary_contractions\"]},{\"text\":\"No leak.\"}],"
        "\"diagnoses\":[{\"text\":\"Outlet obstruction.\",\"coding\":{\"system\":\"urn:codes\","
        "\"code\":\"N32.0\",\"display\":\"Bladder-neck obstruction\"}},{\"text\":\"Second.\"}],"
        "\"conclusion\":\"Obstructed outlet.\\nStrong detrusor.\","
        "\"plan\":[{\"text\":\"Alpha blocker.\"}],\"complications\":\"None.\","
        "\"comment\":\"Catheter slipped once.\"}");
}

void reports_equip(struct report_fixture *fixture)
{
    fixture->devices[0] = (struct report_device){.kind = "pressure_transducer",
                                                 .name = "Transducer A",
                                                 .serial = "S-1",
                                                 .verified_at_us = INT64_C(1770000000000000),
                                                 .due_at_us = INT64_C(1800000000000000),
                                                 .verdict = "passed"};
    fixture->devices[1] = (struct report_device){
        .kind = "flow_meter", .name = "Meter B", .serial = "", .verdict = "not_verified"};
    fixture->report.devices = fixture->devices;
    fixture->report.device_count = 2;
}

void reports_sign(struct report_fixture *fixture, size_t signatures)
{
    fixture->study.status = signatures == 1 ? "final" : "amended";
    fixture->signatures[0] = (struct report_signature){.number = 1,
                                                       .meaning = "final",
                                                       .signed_at_us = INT64_C(1772528400000000),
                                                       .signer_name = "Dr First",
                                                       .signer_role = "physician",
                                                       .reason = ""};
    fixture->signatures[1] = (struct report_signature){.number = 2,
                                                       .meaning = "amended",
                                                       .signed_at_us = INT64_C(1772614800000000),
                                                       .signer_name = "Dr Second",
                                                       .signer_role = "physician",
                                                       .reason = "The residual was wrong."};
    fixture->report.signatures = fixture->signatures;
    fixture->report.signature_count = signatures;
}

static char *write_form(struct report_fixture *fixture,
                        void (*write)(const struct document *document, struct text *out))
{
    struct text out;
    text_init(&out, fixture->arena, (size_t)1024 * 1024);
    write(report_document(&fixture->report, fixture->arena), &out);
    assert_false(out.overflowed);
    return out.data;
}

const char *reports_html(struct report_fixture *fixture)
{
    return write_form(fixture, document_write_html);
}

const char *reports_text(struct report_fixture *fixture)
{
    return write_form(fixture, document_write_text);
}

const char *reports_words(struct report_fixture *fixture)
{
    char *text = write_form(fixture, document_write_text);
    const char *start = text;
    char *to = text;
    for (const char *at = text; *at != '\0'; at++) {
        bool is_bar = *at == '!' && (at == start || at[-1] == '\n');
        char character = (char)(*at == '\n' || is_bar ? ' ' : *at);
        if (character != ' ' || to == text || to[-1] != ' ') {
            *to++ = character;
        }
    }
    *to = '\0';
    return text;
}
