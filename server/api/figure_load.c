#include "api/figure_load.h"

#include "api/trace_reading.h"
#include "base/clock.h"
#include "formats/json_reader.h"

#include <math.h>

struct all_sources {
    struct recording_channel_row derived;
    size_t count;
    struct trace_source items[SIGNAL_COUNT];
};

static void release_json(void *opaque)
{
    json_decref((json_t *)opaque);
}

static bool load_analysis(struct store *store, struct arena *arena,
                          const struct figure_wanted *wanted, struct figure_source *source,
                          int *ret_revision, struct error *reterr)
{
    const char *json = NULL;
    if (!recording_analysis(store, arena, wanted->row->id, wanted->revision, &json, ret_revision,
                            reterr)) {
        return false;
    }
    json_t *document = json_reader_load_own(json);
    if (document == NULL) {
        return error_set(reterr, ERROR_INTERNAL, "recording %s: a damaged analysis document",
                         wanted->row->id);
    }
    arena_defer(arena, release_json, document);
    source->analysis = document;
    return true;
}

static bool load_events(struct store *store, struct arena *arena, const char *id, int revision,
                        struct figure_source *source, struct error *reterr)
{
    struct document_event *events = NULL;
    int found = 0;
    if (!recording_event_list(store, arena, id, revision, &events, &source->event_count, &found,
                              reterr)) {
        return false;
    }
    source->events = events;
    return true;
}

static bool load_patient(struct store *store, struct arena *arena,
                         const struct figure_wanted *wanted, struct figure_source *source,
                         struct error *reterr)
{
    struct study looked_up_study;
    struct patient looked_up_patient;
    const struct study *study = wanted->study;
    const struct patient *patient = wanted->patient;
    if (study == NULL) {
        if (!study_get(store, arena, wanted->row->study_id, &looked_up_study, reterr)) {
            return false;
        }
        study = &looked_up_study;
    }
    if (patient == NULL) {
        if (!patient_get(store, arena, study->patient_id, &looked_up_patient, reterr)) {
            return false;
        }
        patient = &looked_up_patient;
    }
    const double age_years = clock_years_between(patient->birth_date, wanted->row->started_at_us);
    source->sex = patient_sex_from_name(patient->sex);
    source->age_years = age_years >= 0.0 ? floor(age_years) : -1.0;
    source->is_preliminary = !study_status_is_signed(study->status);
    return true;
}

static bool load_span(struct store *store, struct arena *arena, const struct recording_row *row,
                      const struct all_sources *sources, struct figure_span span, size_t points,
                      struct figure_traces *ret_traces, struct error *reterr)
{
    struct traces_channel *channels = arena_array(arena, sources->count, sizeof *channels);
    const struct traces_span wanted = {
        .recording_id = row->id, .from_s = span.from_s, .to_s = span.to_s};
    const struct trace_request request = {.row = row,
                                          .sources = sources->items,
                                          .source_count = sources->count,
                                          .span = &wanted,
                                          .points = points};
    if (!traces_read(store, arena, &request, channels, reterr)) {
        return false;
    }
    *ret_traces =
        (struct figure_traces){.span = span, .channels = channels, .channel_count = sources->count};
    return true;
}

static bool load_traces(struct store *store, struct arena *arena,
                        const struct figure_wanted *wanted, struct figure_source *source,
                        struct error *reterr)
{
    struct all_sources *sources = arena_alloc(arena, sizeof *sources);
    struct figure_traces *traces = arena_array(arena, FIGURE_SPANS_MAX + 2, sizeof *traces);
    struct figure_span spans[FIGURE_SPANS_MAX + 1];
    for (int signal = 0; signal < SIGNAL_COUNT; signal++) {
        sources->count += trace_source_find(wanted->row, (enum signal_kind)signal,
                                            &sources->derived, &sources->items[sources->count])
                              ? 1
                              : 0;
    }
    size_t count = figure_spans(source, spans);
    if (wanted->span != NULL) {
        spans[count++] = *wanted->span;
    }
    if (!load_span(store, arena, wanted->row, sources,
                   (struct figure_span){0.0, source->duration_s}, FIGURE_POINTS_WHOLE, &traces[0],
                   reterr)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (!load_span(store, arena, wanted->row, sources, spans[i], FIGURE_POINTS_SPAN,
                       &traces[i + 1], reterr)) {
            return false;
        }
    }
    source->traces = traces;
    source->traces_count = count + 1;
    return true;
}

bool figure_load(struct store *store, struct arena *arena, const struct figure_wanted *wanted,
                 struct figure_source *ret_source, int *ret_revision, struct error *reterr)
{
    *ret_source =
        (struct figure_source){.type = wanted->row->type, .duration_s = wanted->row->duration_s};
    return load_analysis(store, arena, wanted, ret_source, ret_revision, reterr) &&
           load_events(store, arena, wanted->row->id, *ret_revision, ret_source, reterr) &&
           load_patient(store, arena, wanted, ret_source, reterr) &&
           load_traces(store, arena, wanted, ret_source, reterr);
}
