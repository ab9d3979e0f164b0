/* What every section works on: the recording's signals made ready, its markers, and the place where
 * results go. */
#ifndef ANALYSIS_STUDY_H
#define ANALYSIS_STUDY_H

#include "analysis/outcome.h"
#include "analysis/pressure/pressure_events.h"
#include "analysis/pressure/pressure_grid.h"
#include "analysis/signal/level.h"
#include "analysis/signal/series.h"
#include "analysis/timeline.h"

struct study {
    const struct recording *recording;
    const struct analysis_choices *choices; /* never NULL */
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
    struct pressure_events pressure_events; /* by pressure_events_find(); empty until then */
    struct pressure_grid pressure_grid;     /* likewise; flushes are missing from its two lines */
    bool voiding_is_involuntary;            /* a listed contraction empties the bladder */
    struct level_scratch scratch;
};

/* Makes the signals ready and notes what is wrong with them. False when memory ran out. */
bool study_open(struct study *study, const struct recording *recording,
                const struct analysis_choices *choices, const struct analysis_memory *memory,
                struct analysis_result *result);

/* Makes one more signal ready, for the sections that alone need it (pura, emg, panal1, ...): every
 * sample finite or NaN, reduced by block means to at most `most_rate_hz` (SERIES_ENDLESS: kept as
 * it is). Count 0 when it is absent or unusable, which is then noted. False when memory ran out. */
bool study_signal(struct study *study, enum signal_kind signal, double most_rate_hz,
                  struct series *ret_series);

/* Completed years; -1 when the age is unknown or out of range. */
double study_age_years(const struct study *study);

/* Whether the patient is known to be a child. An unknown age counts as adult, with a quality note.
 */
bool study_is_child(const struct study *study);

/* The bladder capacity that a child of this age is expected to have, mL, beside which volumes are
 * read (classify.h); not applicable to adults. */
struct measure study_expected_capacity(const struct study *study);

/* Earliest and latest sample of the prepared signals; from_s > to_s when there is none. */
struct span study_extent(const struct study *study);

#endif
