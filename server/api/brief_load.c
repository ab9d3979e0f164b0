#include "api/brief_load.h"

#include "store/store_interpretation.h"

#include <string.h>

static bool load_recordings(struct store *store, struct arena *arena, const char *study_id,
                            struct brief *brief, struct error *reterr)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    if (!recording_list_analysed(store, arena, study_id, &rows, &analyses, &brief->recording_count,
                                 reterr)) {
        return false;
    }
    struct brief_recording *recordings =
        arena_array(arena, brief->recording_count, sizeof *recordings);
    for (size_t i = 0; i < brief->recording_count; i++) {
        recordings[i] = (struct brief_recording){.row = &rows[i], .analysis_json = analyses[i]};
    }
    brief->recordings = recordings;
    return true;
}

static bool load_interpretation(struct store *store, struct arena *arena, const char *study_id,
                                int revision, struct brief *brief, struct error *reterr)
{
    struct interpretation_row row = {0};
    struct interpretation *interpretation = arena_alloc(arena, sizeof *interpretation);
    if (!interpretation_get(store, arena, study_id, revision, &row, reterr) ||
        !interpretation_json_read(arena, row.document, interpretation, reterr)) {
        return error_context(reterr, "read the interpretation that was signed");
    }
    brief->interpretation = interpretation;
    return true;
}

/* Only what somebody has signed: a draft that lies beside an unsigned study is no answer. */
static bool load_signatures(struct store *store, struct arena *arena, const char *study_id,
                            struct brief *brief, struct error *reterr)
{
    struct signature_row *rows = NULL;
    if (!signature_list(store, arena, study_id, &rows, &brief->signature_count, reterr)) {
        return false;
    }
    brief->signatures = rows;
    return brief->signature_count == 0 ||
           load_interpretation(store, arena, study_id,
                               rows[brief->signature_count - 1].interpretation_revision, brief,
                               reterr);
}

bool brief_load(struct store *store, struct arena *arena, const char *study_id, struct brief *brief,
                struct error *reterr)
{
    struct study *study = arena_alloc(arena, sizeof *study);
    struct patient *patient = arena_alloc(arena, sizeof *patient);
    brief->study = study;
    brief->patient = patient;
    return study_get(store, arena, study_id, study, reterr) &&
           patient_get(store, arena, study->patient_id, patient, reterr) &&
           load_recordings(store, arena, study_id, brief, reterr) &&
           load_signatures(store, arena, study_id, brief, reterr);
}
