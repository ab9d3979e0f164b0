#include "api/compute.h"

#include "analysis/analysis.h"
#include "base/clock.h"
#include "formats/analysis_json.h"
#include "formats/limits.h"
#include "store/store_recording.h"
#include "store/store_study.h"

#include <pthread.h>

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

static bool compute(struct arena *arena, const struct recording_document *document,
                    const struct patient *patient, const struct analysis_choices *choices,
                    const char *status, int revision, struct text *ret_json, struct error *reterr)
{
    struct recording_document known = patient == NULL ? *document : with_patient(document, patient);
    const struct analysis_memory memory = {.allocate = allocate_on_arena, .context = arena};
    const struct analysis_result *result = NULL;
    if (!analysis_run(recording_from_document(arena, &known), choices, &memory, &result)) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the analysis");
    }
    text_init(ret_json, arena, LIMIT_ANALYSIS_BYTES);
    analysis_json_write(result, status, revision, ret_json);
    if (ret_json->overflowed) {
        return error_set(reterr, ERROR_INVALID, "the analysis document is too large");
    }
    return true;
}

bool compute_analysis(struct arena *arena, const struct recording_document *document,
                      const struct patient *patient, const struct analysis_choices *choices,
                      int revision, struct text *ret_json, struct error *reterr)
{
    return compute(arena, document, patient, choices, "preliminary", revision, ret_json, reterr);
}

bool compute_in_study(struct store *store, struct arena *arena, const char *study_id,
                      const struct recording_document *document, int revision,
                      struct text *ret_json, struct error *reterr)
{
    struct study study = {0};
    struct patient patient = {0};
    struct clinic_choices choices;
    return study_get(store, arena, study_id, &study, reterr) &&
           patient_get(store, arena, study.patient_id, &patient, reterr) &&
           clinic_choices_load(store, arena, &choices, reterr) &&
           compute(arena, document, &patient, &choices.in_use,
                   revision == 0 ? "partial" : "preliminary", revision, ret_json, reterr);
}

/* ---- beside the storing ---- */

/* Below so many samples a thread of its own would cost more than it saves. */
static const size_t THREAD_SAMPLES = 100000;

struct computation {
    struct arena *arena; /* of its own: an arena serves one thread */
    const struct recording_document *document;
    const struct patient *patient;
    const struct analysis_choices *choices;
    pthread_t thread;
    bool running;
    bool good;
    struct text json;
    struct error error;
    double took_s;
};

static void *run_computation(void *opaque)
{
    struct computation *computation = opaque;
    double begun_s = clock_monotonic_s();
    computation->good =
        compute_analysis(computation->arena, computation->document, computation->patient,
                         computation->choices, 1, &computation->json, &computation->error);
    computation->took_s = clock_monotonic_s() - begun_s;
    return NULL;
}

static void join(struct computation *computation)
{
    if (computation->running) {
        (void)pthread_join(computation->thread, NULL);
        computation->running = false;
    }
}

static void release_computation(void *opaque)
{
    struct computation *computation = opaque;
    join(computation);
    arena_free(computation->arena);
}

static size_t count_samples(const struct recording_document *document)
{
    size_t total = 0;
    for (size_t i = 0; i < document->channel_count; i++) {
        total += document->channels[i].samples.count;
    }
    return total;
}

struct computation *compute_begin(struct arena *arena, const struct recording_document *document,
                                  const struct patient *patient,
                                  const struct analysis_choices *choices)
{
    struct computation *computation = arena_alloc(arena, sizeof *computation);
    *computation = (struct computation){
        .arena = arena_new(), .document = document, .patient = patient, .choices = choices};
    arena_defer(arena, release_computation, computation);
    computation->running =
        count_samples(document) >= THREAD_SAMPLES &&
        pthread_create(&computation->thread, NULL, run_computation, computation) == 0;
    if (!computation->running) {
        (void)run_computation(computation);
    }
    return computation;
}

const char *compute_finish(void *context, struct error *reterr)
{
    struct computation *computation = context;
    join(computation);
    if (!computation->good) {
        *reterr = computation->error;
        return NULL;
    }
    return computation->json.data;
}

double compute_duration_s(struct computation *computation)
{
    join(computation);
    return computation->took_s;
}

/* The whole recording is computed again: any event may change any number. */
bool compute_revision(struct store *store, struct arena *arena, const char *id, int newest,
                      const struct revision_cause *cause, struct error *reterr)
{
    struct recording_row row = {0};
    const struct recording_document *stored = NULL;
    struct text analysis = {0};
    if (!recording_lock(store, id, newest, reterr) ||
        !recording_get(store, arena, id, &row, reterr) ||
        !recording_load(store, arena, id, 0, &stored, reterr)) {
        return false;
    }
    struct recording_document document = *stored;
    if (cause->changes_events) {
        document.events = cause->events;
        document.event_count = cause->event_count;
    }
    return compute_in_study(store, arena, row.study_id, &document, newest + 1, &analysis, reterr) &&
           recording_add_revision(store, id, newest + 1, document.events, document.event_count,
                                  analysis.data, cause->reason, reterr);
}
