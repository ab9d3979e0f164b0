#include "api/api.h"
#include "api/handlers.h"
#include "report/summary_html.h"

#include <string.h>

#define SUMMARY_LIMIT (4 * LIMIT_ANALYSIS_BYTES)

static bool load_recordings(struct api_context *context, struct arena *arena, const char *study_id,
                            struct summary *summary, struct error *reterr)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    if (!recording_list_analysed(context->store, arena, study_id, &rows, &analyses,
                                 &summary->recording_count, reterr)) {
        return false;
    }
    struct summary_recording *recordings =
        arena_array(arena, summary->recording_count, sizeof *recordings);
    for (size_t i = 0; i < summary->recording_count; i++) {
        recordings[i].row = &rows[i];
        recordings[i].analysis_json = analyses[i];
    }
    summary->recordings = recordings;
    return true;
}

void summary_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct arena *arena = request->arena;
    const char *id = api_path_id(request, response, 0);
    struct study study = {0};
    struct patient patient = {0};
    struct summary summary = {
        .clinic_name = context->principal.clinic_name,
        .study = &study,
        .patient = &patient,
    };
    struct error error = {0};
    if (id == NULL) {
        return;
    }
    if (!study_get(context->store, arena, id, &study, &error) ||
        !patient_get(context->store, arena, study.patient_id, &patient, &error) ||
        !load_recordings(context, arena, id, &summary, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct text body;
    text_init(&body, arena, SUMMARY_LIMIT);
    if (strcmp(request->accepted, "text/html") == 0) {
        summary_html_write(&summary, arena, &body);
        api_respond_text(request, response, 200, "text/html; charset=utf-8", &body);
    } else {
        summary_json_write(&summary, &body);
        api_respond_json(request, response, 200, &body);
    }
    /* It changes with its study, its patient and any recording: only the content names it. */
    if (response->status == 200) {
        api_set_content_etag(request, response);
    }
}
