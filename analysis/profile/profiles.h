/* Urethral pressure profiles: any number of pulls in any recording that holds urethral pressure. */
#ifndef ANALYSIS_PROFILE_PROFILES_H
#define ANALYSIS_PROFILE_PROFILES_H

#include "analysis/study.h"

/* Whether the recording is meant to hold profiles: its type says so, or urethral pressure comes
 * with a puller signal or pull markers. */
bool profiles_exist(const struct study *study);

/* Finds and measures the pulls, their summary and their quality, into study->outcome.result
 * (has_profiles, profiles, has_profiles_summary, profiles_summary). False when memory ran out. */
bool profiles_measure(struct study *study);

/* Drafts findings from the finished result. */
void profiles_draft(struct study *study);

#endif
