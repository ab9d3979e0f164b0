#include "analysis/emg/emg_pattern.h"

#include "analysis/criteria.h"
#include "analysis/criteria_emg.h"

#include <math.h>

static const char *class_by_ratio(double ratio)
{
    if (isnan(ratio)) {
        return NULL;
    }
    if (fabs(ratio - 1.0) <= CRITERIA_INDEX_GRAIN) {
        return "unchanged";
    }
    return ratio > 1.0 ? "higher" : "lower";
}

const char *emg_pattern_class(const struct emg_pattern *pattern)
{
    const double overlap = pattern->overlap_percent;

    if (overlap >= CRITERIA_EMG_TYPE3_PERCENT) {
        return "type_3";
    }
    if (pattern->burst_count >= CRITERIA_EMG_TYPE2_BURSTS &&
        pattern->longest_s < CRITERIA_EMG_TYPE2_BURST_S &&
        overlap >= CRITERIA_EMG_TYPE2_LEAST_PERCENT) {
        return "type_2";
    }
    if (pattern->burst_count > 0 && fabs(pattern->peak_offset_s) <= CRITERIA_EMG_TYPE1_PEAK_S &&
        pattern->fall_percent < CRITERIA_EMG_TYPE1_FALL_PERCENT) {
        return "type_1";
    }
    if (pattern->bursts_known && pattern->burst_count == 0) {
        return "quiet";
    }
    return class_by_ratio(pattern->voiding_ratio);
}
