#include "api/summary_load.h"

static bool load_recordings(struct store *store, struct arena *arena, const char *study_id,
                            struct summary *summary, struct error *reterr)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    if (!recording_list_analysed(store, arena, study_id, &rows, &analyses,
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

bool summary_load(struct store *store, struct arena *arena, const char *study_id,
                  struct summary *summary, struct error *reterr)
{
    struct study *study = arena_alloc(arena, sizeof *study);
    struct patient *patient = arena_alloc(arena, sizeof *patient);
    summary->study = study;
    summary->patient = patient;
    return study_get(store, arena, study_id, study, reterr) &&
           patient_get(store, arena, study->patient_id, patient, reterr) &&
           load_recordings(store, arena, study_id, summary, reterr);
}
