/* A patient's number over visits, drawn. */
#include "analysis/catalogue.h"
#include "api/api.h"
#include "api/figure_answer.h"
#include "api/handlers.h"
#include "api/patient_access.h"
#include "figure/figure_trend.h"
#include "report/trend_json.h"
#include "store/store_choices.h"
#include "store/store_patient.h"
#include "store/store_study.h"

#include <math.h>
#include <string.h>

enum { LIMITS_MAX = 2, DEFAULT_WIDTH_PT = 500, DEFAULT_HEIGHT_PT = 260 };

/* The limits that a clinic has for a value. */
struct value_limits {
    const char *section;
    const char *code;
    const char *choices[LIMITS_MAX]; /* NULL: no more */
};

static const struct value_limits limits_of_values[] = {
    {"voiding", "booi", {"obstruction_low", "obstruction_high"}},
    {"voiding", "bci", {"contractility_low", "contractility_high"}},
    {"voiding", "female_booi", {"female_obstruction_likely", "female_obstruction_certain"}},
    {"voiding", "pip1", {"pip1_low", "pip1_high"}},
    {"voiding", "watts_factor_max", {"watts_factor_low", NULL}},
    {"voiding", "voiding_efficiency", {"voiding_efficiency_low", NULL}},
    {"uroflow", "voiding_efficiency", {"voiding_efficiency_low", NULL}},
    {"filling", "compliance", {"compliance_very_low_ml_cmh2o", "compliance_low_ml_cmh2o"}},
    {"filling",
     "abdominal_leak_point_pressure",
     {"stress_leak_low_cmh2o", "stress_leak_high_cmh2o"}},
    {"filling", "detrusor_leak_point_pressure", {"detrusor_leak_high_cmh2o", NULL}},
    {"profiles_summary", "maximum_closure_pressure", {"closure_pressure_low_cmh2o", NULL}},
    {"anorectal", "balloon_expulsion_time", {"balloon_expulsion_s", NULL}},
};

/* The row of "section.code", a number that visits have one of; catalogue_count() when there is
 * none. */
static size_t find_row(const char *name)
{
    for (size_t i = 0; name != NULL && i < catalogue_count(); i++) {
        const struct catalogue_row *row = catalogue_row(i);
        const struct catalogue_section *section = catalogue_find_section(row->section);
        const size_t length = strlen(row->section);
        if (row->kind == CATALOGUE_NUMBER && !section->repeated &&
            strncmp(name, row->section, length) == 0 && name[length] == '.' &&
            strcmp(name + length + 1, row->code) == 0) {
            return i;
        }
    }
    return catalogue_count();
}

static size_t find_limits(const struct catalogue_row *row, const struct analysis_choices *in_use,
                          struct figure_limit limits[LIMITS_MAX])
{
    size_t count = 0;
    for (size_t i = 0; i < sizeof limits_of_values / sizeof limits_of_values[0]; i++) {
        const struct value_limits *known = &limits_of_values[i];
        if (strcmp(known->section, row->section) != 0 || strcmp(known->code, row->code) != 0) {
            continue;
        }
        for (size_t j = 0; j < LIMITS_MAX && known->choices[j] != NULL; j++) {
            const double value = choices_value(in_use, known->choices[j]);
            if (isfinite(value)) {
                limits[count++] =
                    (struct figure_limit){choices_find(known->choices[j])->label, value};
            }
        }
    }
    return count;
}

struct trend_drawing {
    const struct figure_trend *trend;
    struct arena *arena;
};

static void draw_trend(void *opaque, struct canvas *canvas, struct canvas_rect area)
{
    const struct trend_drawing *drawing = opaque;
    figure_trend_draw(drawing->trend, drawing->arena, canvas, area);
}

static void respond_trend(struct api_context *context, struct http_request *request,
                          struct http_response *response, const struct trend_summary *summary,
                          size_t row_index, const struct analysis_choices *in_use,
                          struct figure_answer *answer)
{
    const struct catalogue_row *row = catalogue_row(row_index);
    struct trend_value *values = NULL;
    struct figure_limit limits[LIMITS_MAX];
    const size_t count = trend_values(summary, row_index, request->arena, &values);
    struct figure_visit *visits = arena_array(request->arena, count, sizeof *visits);
    bool any = false;
    for (size_t i = 0; i < count; i++) {
        any = any || isfinite(values[i].value);
        visits[i] = (struct figure_visit){.at_us = values[i].started_at_us,
                                          .value = values[i].value,
                                          .doubtful = values[i].doubtful,
                                          .is_signed = study_status_is_signed(values[i].status)};
    }
    if (!any) {
        http_problem(request, response, 404, "None of the patient's visits has this number.");
        return;
    }
    const struct figure_trend trend = {.label = row->label,
                                       .unit = row->unit,
                                       .report_step = row->report_step,
                                       .visit_count = count,
                                       .visits = visits,
                                       .limit_count = find_limits(row, in_use, limits),
                                       .limits = limits};
    struct trend_drawing drawing = {&trend, request->arena};
    answer->caption = arena_printf(request->arena, "%s over visits", row->label);
    answer->alternative = figure_trend_alternative(&trend, request->arena);
    answer->clinic_name = context->principal.clinic_name;
    answer->made_at_us = visits[count - 1].at_us;
    answer->draw = draw_trend;
    answer->context = &drawing;
    figure_answer_send(request, response, answer);
}

void trend_figure_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct figure_answer answer = {.width_pt = DEFAULT_WIDTH_PT, .height_pt = DEFAULT_HEIGHT_PT};
    struct fault_list faults;
    struct patient patient = {0};
    struct clinic_choices choices;
    struct trend_summary summary = {.patient_id = id};
    struct trend_row *rows = NULL;
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    fault_list_init(&faults, request->arena);
    http_request_check_query(
        request, (const char *const[]){"value", "limit", "width", "height", NULL}, &faults);
    const int limit =
        api_query_integer(request, "limit", 1, API_PAGE_MAX, API_PAGE_DEFAULT, &faults);
    const size_t row = find_row(http_request_query(request, "value"));
    if (row == catalogue_count()) {
        fault_add(&faults, "?value",
                  "Must be section.code of a number, such as voiding.booi; see /v1/parameters.");
    }
    figure_answer_read_size(request, &answer, &faults);
    if (!patient_get(context->store, request->arena, id, &patient, &error)) {
        patient_fail(context, request, response, id, &error);
        return;
    }
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!trend_list(context->store, request->arena, id, limit, &rows, &summary.row_count,
                    &summary.truncated, &error) ||
        !clinic_choices_load(context->store, request->arena, &choices, &error)) {
        patient_fail(context, request, response, id, &error);
        return;
    }
    summary.rows = rows;
    respond_trend(context, request, response, &summary, row, &choices.in_use, &answer);
}
