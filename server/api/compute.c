#include "api/compute.h"

#include "analysis/analysis.h"
#include "base/clock.h"
#include "formats/analysis_json.h"

enum { ANALYSIS_JSON_LIMIT = 8 * 1024 * 1024 };

static void *allocate_on_arena(void *arena, size_t size)
{
    return arena_alloc(arena, size);
}

static struct recording_document with_patient(const struct recording_document *document,
                                              const struct patient *patient)
{
    struct recording_document known = *document;
    known.has_patient = true;
    known.sex = patient_sex_from_name(patient->sex);
    known.weight_kg = patient->weight_kg;
    double age_years = clock_years_between(patient->birth_date, document->started_at_us);
    known.age_years = (struct optional_number){.known = age_years >= 0.0, .value = age_years};
    return known;
}

bool compute_analysis(struct arena *arena, const struct recording_document *document,
                      const struct patient *patient, const char *status, int revision,
                      struct text *ret_json, struct error *reterr)
{
    struct recording_document known = patient == NULL ? *document : with_patient(document, patient);
    const struct analysis_memory memory = {.allocate = allocate_on_arena, .context = arena};
    const struct analysis_result *result = NULL;
    if (!analysis_run(recording_from_document(arena, &known), NULL, &memory, &result)) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the analysis");
    }
    text_init(ret_json, arena, ANALYSIS_JSON_LIMIT);
    analysis_json_write(result, status, revision, ret_json);
    if (ret_json->overflowed) {
        return error_set(reterr, ERROR_INTERNAL, "the analysis document is too large");
    }
    return true;
}
