/* What is doubtful about a pull, or about all of them. */
#ifndef ANALYSIS_PROFILE_PROFILE_QUALITY_H
#define ANALYSIS_PROFILE_PROFILE_QUALITY_H

#include "analysis/profile/profile_coughs.h"
#include "analysis/profile/profile_curve.h"

struct profile_pull_facts {
    const struct pull *pull;
    const struct profile_trace *trace;
    const struct profile_extent *extent;
    const struct profile_coughs *coughs;
    const struct profile_measures *measures;
};

/* One pull: movement, markers, speed, vesical pressure, baseline, ends, sampling. */
void profile_quality_of_pull(struct study *study, const struct profile_pull_facts *facts);

/* The recording: nothing to measure, no pull, only one, pulls that disagree. */
void profile_quality_of_all(struct study *study, const struct pull_signals *signals,
                            const struct pull_list *pulls);

#endif
