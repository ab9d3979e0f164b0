#include "analysis/voiding/watts.h"

#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/memory.h"
#include "analysis/signal/integrate.h"
#include "analysis/signal/smooth.h"

#include <math.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

double watts_shortening_mm_s(double flow_ml_s, double volume_ml)
{
    const double radius_cubed = 3.0 * (volume_ml + CRITERIA_WATTS_WALL_ML) / (4.0 * pi);

    return CRITERIA_MM_PER_CM * flow_ml_s / (2.0 * pow(radius_cubed, 2.0 / 3.0));
}

double watts_factor(double pdet_cmh2o, double flow_ml_s, double volume_ml)
{
    const double rest = CRITERIA_WATTS_A_CMH2O * CRITERIA_WATTS_B_MM_S;
    const double speed_mm_s = watts_shortening_mm_s(flow_ml_s, volume_ml);
    const double power =
        (pdet_cmh2o + CRITERIA_WATTS_A_CMH2O) * (speed_mm_s + CRITERIA_WATTS_B_MM_S) - rest;

    return CRITERIA_WATTS_UNIT * power / (2.0 * pi);
}

/* The flow from its first sample within the voiding on, its short gaps bridged as for all volumes.
 */
static double *bridged_flow(const struct study *study, const struct series *part)
{
    double *samples = memory_doubles(study->memory, part->count);

    if (samples != NULL) {
        memcpy(samples, part->samples, part->count * sizeof *samples);
        smooth_bridge(part, CRITERIA_BRIDGE_S, samples);
    }
    return samples;
}

static struct watts_point point_at(const struct flow_record *record, size_t index, double volume_ml,
                                   const struct series *pdet, double delay_s)
{
    const double flow_s = series_time(&record->smoothed, index);
    struct watts_point point = {.at_s = flow_s - delay_s,
                                .volume_ml = volume_ml,
                                .flow_ml_s = record->smoothed.samples[index],
                                .watts = SERIES_MISSING};

    point.pdet_cmh2o = series_value(pdet, point.at_s);
    if (point.flow_ml_s >= CRITERIA_FLOW_ON_ML_S && volume_ml >= CRITERIA_WATTS_VOLUME_MIN_ML &&
        isfinite(point.pdet_cmh2o)) {
        point.watts = watts_factor(point.pdet_cmh2o, point.flow_ml_s, volume_ml);
    }
    return point;
}

bool watts_over_time(const struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, const struct series *pdet, double delay_s,
                     double residual_ml, struct watts_curve *ret_curve)
{
    const struct span tails = flow_with_tails(record, phase);
    const size_t first = series_first_at(&record->smoothed, phase->span.from_s);
    const size_t end = series_end_at(&record->smoothed, phase->span.to_s);
    double left_ml = 0.0;

    *ret_curve = (struct watts_curve){.count = 0};
    if (record->smoothed.count == 0 || first >= end) {
        ret_curve->absent = "flow is sampled too slowly";
        return true;
    }
    if (!integrate_span(&record->cleaned, tails, CRITERIA_BRIDGE_S, &left_ml)) {
        ret_curve->absent =
            "flow samples are missing during the voiding for longer than can be bridged (1 s)";
        return true;
    }
    struct series part = record->cleaned;

    part.start_s = series_time(&record->cleaned, first);
    part.count = end - first;
    part.samples += first;
    struct watts_point *points = memory_array(study->memory, part.count, sizeof *points);
    const double *flow = bridged_flow(study, &part);
    double before_ml = 0.0;

    if (points == NULL || flow == NULL) {
        return false;
    }
    (void)integrate_span(&record->cleaned, (struct span){tails.from_s, part.start_s},
                         CRITERIA_BRIDGE_S, &before_ml);
    left_ml -= before_ml;
    for (size_t i = 0; i < part.count; i++) {
        const double step_ml = i > 0 ? 0.5 * (flow[i - 1] + flow[i]) / part.rate_hz : 0.0;

        left_ml -= isfinite(step_ml) ? step_ml : 0.0;
        points[i] = point_at(record, first + i, residual_ml + left_ml, pdet, delay_s);
    }
    ret_curve->count = part.count;
    ret_curve->points = points;
    return true;
}
