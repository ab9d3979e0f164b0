/* From a recording document and a patient to the analysis document. */
#ifndef API_COMPUTE_H
#define API_COMPUTE_H

#include "base/arena.h"
#include "base/error.h"
#include "base/text.h"
#include "formats/recording_json.h"
#include "store/store_choices.h"
#include "store/store_patient.h"

/* Takes sex, weight and age at the recording's start from `patient`; NULL keeps the document's own.
 * The limits are those of `choices`. The text lives on the arena. */
MUST_CHECK bool compute_analysis(struct arena *arena, const struct recording_document *document,
                                 const struct patient *patient,
                                 const struct analysis_choices *choices, int revision,
                                 struct text *ret_json, struct error *reterr);

/* The same with the patient of a study and the choices of its clinic, which are looked up.
 * revision  0: the recording is still running, and the document's status is "partial" (FHIR) */
MUST_CHECK bool compute_in_study(struct store *store, struct arena *arena, const char *study_id,
                                 const struct recording_document *document, int revision,
                                 struct text *ret_json, struct error *reterr);

/* A first analysis that is made while the caller does something else. */
struct computation;

/* Begins it, on a thread of its own where the recording is long. Document, patient and choices must
 * live as long as `arena`, which also waits for the thread before it goes. */
struct computation *compute_begin(struct arena *arena, const struct recording_document *document,
                                  const struct patient *patient,
                                  const struct analysis_choices *choices);

/* Waits for the document, which lives as long as the arena; NULL with an error. A `finish` of
 * struct pending_analysis; `context` is the computation. */
const char *compute_finish(void *context, struct error *reterr);

/* How long it took; waits for it. */
double compute_duration_s(struct computation *computation);

/* Why a revision is made: a person changed the events, or the program makes the document anew. */
struct revision_cause {
    bool changes_events; /* false: those of the newest revision stay */
    struct document_event *events;
    size_t event_count;
    const char *reason; /* "" for a change of events */
};

/* Locks the recording, computes it whole with the clinic's choices, and adds revision `newest` + 1,
 * in the current transaction. ERROR_STALE when `newest` is not the newest revision, ERROR_CONFLICT
 * when the study is signed. */
MUST_CHECK bool compute_revision(struct store *store, struct arena *arena, const char *id,
                                 int newest, const struct revision_cause *cause,
                                 struct error *reterr);

#endif
