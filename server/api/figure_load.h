/* What the figures of a recording are drawn from, for whoever may read it. */
#ifndef API_FIGURE_LOAD_H
#define API_FIGURE_LOAD_H

#include "figure/figure.h"
#include "store/store_recording.h"
#include "store/store_study.h"

/* Of what a source is to be loaded. */
struct figure_wanted {
    const struct recording_row *row; /* with its channels; complete */
    int revision;                    /* of events and analysis; 0: the newest */
    const struct study *study;       /* NULL: looked up, as `patient` is */
    const struct patient *patient;
    const struct figure_span *span; /* one more span to hold traces of; NULL: none */
};

/* Loads traces of the whole recording and of each span that its figures enlarge, the revision's
 * events and analysis, and whose they are. It is preliminary unless the study is signed. Everything
 * is on the arena.
 *
 * ret_revision  the revision that was loaded
 *
 * ERROR_NOT_FOUND when there is no such revision, or the transaction does not reach the study. */
MUST_CHECK bool figure_load(struct store *store, struct arena *arena,
                            const struct figure_wanted *wanted, struct figure_source *ret_source,
                            int *ret_revision, struct error *reterr);

#endif
