#include "api/api.h"
#include "api/handlers.h"
#include "formats/json_writer.h"
#include "formats/nomogram_json.h"
#include "store/store_choices.h"

#include <math.h>
#include <string.h>

enum { AGE_MAX_YEARS = 130 };

struct wanted {
    bool any_sex;
    enum patient_sex sex;
    double age_years; /* completed; -1: not said */
};

static bool is_sex(const char *name)
{
    const char *const *names = patient_sex_names();
    for (size_t i = 0; names[i] != NULL; i++) {
        if (strcmp(names[i], name) == 0) {
            return true;
        }
    }
    return false;
}

static struct wanted read_wanted(const struct http_request *request, struct fault_list *faults)
{
    const char *sex = http_request_query(request, "sex");
    const struct optional_number age_years = api_query_number(request, "age_years", faults);
    http_request_check_query(request, (const char *const[]){"sex", "age_years", NULL}, faults);
    if (sex != NULL && !is_sex(sex)) {
        fault_add(faults, "?sex", "Must be one of: unknown, female, male, other.");
    }
    if (age_years.known && !(age_years.value >= 0.0 && age_years.value <= AGE_MAX_YEARS)) {
        fault_add(faults, "?age_years", "Must be between 0 and %d.", AGE_MAX_YEARS);
    }
    return (struct wanted){
        .any_sex = sex == NULL,
        .sex = sex == NULL ? SEX_UNKNOWN : patient_sex_from_name(sex),
        .age_years = age_years.known ? floor(age_years.value) : -1.0,
    };
}

static bool is_wanted(const struct wanted *wanted, enum nomogram_code code)
{
    const enum patient_sex either[] = {SEX_FEMALE, SEX_MALE};

    if (!wanted->any_sex) {
        return nomogram_is_for(code, wanted->sex, wanted->age_years);
    }
    return nomogram_is_for(code, either[0], wanted->age_years) ||
           nomogram_is_for(code, either[1], wanted->age_years);
}

static void write_all(const struct wanted *wanted, const struct analysis_choices *choices,
                      struct text *out)
{
    text_append(out, "{\"items\":[");
    for (int i = 0; i < NOMOGRAM_COUNT; i++) {
        const enum nomogram_code code = (enum nomogram_code)i;
        struct nomogram_chart chart;
        if (is_wanted(wanted, code) && nomogram_chart(code, choices, wanted->age_years, &chart)) {
            json_writer_comma(out);
            nomogram_json_write(&chart, out);
        }
    }
    text_append(out, "]}");
}

void nomograms_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    struct clinic_choices choices;
    struct error error = {0};
    fault_list_init(&faults, request->arena);
    const struct wanted wanted = read_wanted(request, &faults);
    if (api_reject(request, response, &faults)) {
        return;
    }
    if (!clinic_choices_load(context->store, request->arena, &choices, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    write_all(&wanted, &choices.in_use, &body);
    api_respond_json(request, response, 200, &body);
    if (response->status == 200) {
        /* The lines depend on the clinic: a browser may keep them, a cache between may not. */
        api_set_content_etag(request, response);
        response->cacheable = true;
        http_response_header(response, "Cache-Control", "private, no-cache");
    }
}
