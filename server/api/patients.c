#include "api/api.h"
#include "api/handlers.h"
#include "api/naming.h"
#include "api/patient_access.h"
#include "api/resources_json.h"
#include "base/clock.h"

#include <string.h>

static void respond_patient(struct api_context *context, const struct http_request *request,
                            struct http_response *response, int status, const char *id)
{
    struct patient patient = {0};
    struct error error = {0};
    if (!patient_get(context->store, request->arena, id, &patient, &error)) {
        patient_fail(context, request, response, id, &error);
        return;
    }
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    patient_json_append(&body, &patient);
    api_audit_object(context, "patients", id);
    api_respond_row(request, response, status, &body, patient.version, "/v1/patients", id);
}

void patients_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    http_request_check_query(
        request, (const char *const[]){"limit", "cursor", "mrn", "name", "birth_date", NULL},
        &faults);
    struct store_page page = api_page(request, &faults);
    struct patient_filter filter = {
        .mrn = http_request_query(request, "mrn"),
        .name = http_request_query(request, "name"),
        .birth_date = http_request_query(request, "birth_date"),
    };
    if (filter.birth_date != NULL && !clock_is_date(filter.birth_date)) {
        fault_add(&faults, "?birth_date", "Must be a date YYYY-MM-DD.");
    }
    if (api_reject(request, response, &faults)) {
        return;
    }
    struct patient *patients = NULL;
    size_t count = 0;
    const char *next = NULL;
    struct error error = {0};
    /* Whoever reaches the whole clinic learns nothing from it. */
    bool names = (context->reach & STORE_REACH_CLINIC) == 0 && filter.mrn != NULL &&
                 filter.birth_date != NULL;
    if (names && !naming_claim(context, request, response)) {
        return;
    }
    if (!patient_list(context->store, request->arena, &filter, &page, &patients, &count, &next,
                      &error)) {
        api_fail_list(request, response, &error);
        return;
    }
    if (names && count > 0 && !naming_return(context, request, response)) {
        return;
    }
    struct text items;
    text_init(&items, request->arena, LIMIT_BODY_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&items, i == 0 ? "" : ",");
        patient_json_append(&items, &patients[i]);
        api_audit_patient(context, patients[i].id);
    }
    api_respond_list(request, response, &items, next);
}

/* A day of slack, because it is tomorrow already in some clinics. */
static bool is_possible_birth_date(const char *date)
{
    const double day_years = 1.0 / 365.0;
    double age_years = clock_is_date(date) ? clock_years_between(date, clock_now_us()) : -1.0;
    return age_years >= -day_years && age_years <= 150.0;
}

static void read_patient(struct json_reader *reader, struct patient *patient)
{
    patient->mrn = json_reader_string(reader, "mrn", JSON_REQUIRED, 64);
    patient->family_name =
        json_reader_string(reader, "family_name", JSON_REQUIRED, LIMIT_NAME_BYTES);
    patient->given_name = json_reader_string(reader, "given_name", JSON_REQUIRED, LIMIT_NAME_BYTES);
    patient->birth_date = json_reader_string(reader, "birth_date", JSON_REQUIRED, CLOCK_DATE_SIZE);
    if (patient->birth_date != NULL && !is_possible_birth_date(patient->birth_date)) {
        fault_add(reader->faults, json_reader_pointer(reader, "birth_date"),
                  "Must be a real date YYYY-MM-DD of the last 150 years.");
    }
    patient->sex = json_reader_word(reader, "sex", JSON_REQUIRED, patient_sex_names());
    patient->weight_kg = json_reader_number(reader, "weight_kg", JSON_OPTIONAL, 0.2, 400.0);
}

/* The generic 409 would leave a nurse guessing which of the two is taken. */
static void fail_to_save(const struct http_request *request, struct http_response *response,
                         const struct error *error)
{
    if (error->kind == ERROR_CONFLICT && strcmp(error->detail, "mrn") == 0) {
        http_problem(request, response, 409,
                     "A patient with this record number (mrn) exists already in this clinic.");
        return;
    }
    if (error->kind == ERROR_CONFLICT && strcmp(error->detail, "id") == 0) {
        http_problem(request, response, 409, "A patient with this id exists already.");
        return;
    }
    api_fail(request, response, error);
}

void patients_create(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    struct patient patient = {.id = api_read_id(&reader)};
    read_patient(&reader, &patient);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults)) {
        return;
    }
    const char *id = NULL;
    struct error error = {0};
    if (!patient_create(context->store, request->arena, &patient, &id, &error)) {
        fail_to_save(request, response, &error);
        return;
    }
    respond_patient(context, request, response, 201, id);
}

void patients_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    if (id != NULL) {
        respond_patient(context, request, response, 200, id);
    }
}

void patients_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    const char *id = api_path_id(request, response, 0);
    struct json_reader reader;
    struct fault_list faults;
    struct patient stored = {0};
    struct error error = {0};
    if (id == NULL || !api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!patient_get(context->store, request->arena, id, &stored, &error)) {
        patient_fail(context, request, response, id, &error);
        return;
    }
    struct patient patient = {.id = id, .version = stored.version};
    read_patient(&reader, &patient);
    json_reader_close(&reader);
    if (api_reject(request, response, &faults) || !api_matches(request, response, stored.version)) {
        return;
    }
    if (!patient_update(context->store, &patient, &error)) {
        fail_to_save(request, response, &error);
        return;
    }
    respond_patient(context, request, response, 200, id);
}
