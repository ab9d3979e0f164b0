/* What every section works on: the recording's signals made ready, its markers, and the place where
 * results go. */
#ifndef ANALYSIS_STUDY_H
#define ANALYSIS_STUDY_H

#include "analysis/outcome.h"
#include "analysis/signal/level.h"
#include "analysis/signal/series.h"
#include "analysis/timeline.h"

struct study {
    const struct recording *recording;
    const struct analysis_memory *memory;
    struct outcome outcome;
    struct timeline timeline;
    /* Count 0 when the signal is absent or unusable. Every sample is finite or NaN, and no series
     * is faster than CRITERIA_ANALYSIS_RATE_HZ. */
    struct series pves;
    struct series pabd;
    struct series pdet; /* as uploaded, else pves - pabd */
    struct series flow; /* as uploaded, else the slope of vvoid */
    struct series vvoid;
    struct series vinf;
    bool pdet_derived;
    bool flow_derived;
    struct level_scratch scratch;
};

/* Makes the signals ready and notes what is wrong with them. False when memory ran out. */
bool study_open(struct study *study, const struct recording *recording,
                const struct analysis_memory *memory, struct analysis_result *result);

/* Completed years; -1 when the age is unknown or out of range. */
double study_age_years(const struct study *study);

/* Whether the patient is known to be a child. An unknown age counts as adult, with a quality note.
 */
bool study_is_child(const struct study *study);

/* Earliest and latest sample of the prepared signals; from_s > to_s when there is none. */
struct span study_extent(const struct study *study);

#endif
