#include "analysis/profile/profile_curve.h"

#include "analysis/criteria_profile.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/profile/profile_noise.h"
#include "analysis/profile/profile_walk.h"
#include "analysis/signal/smooth.h"

static const char no_speed[] = "the puller speed is not known";
static const char has_gap[] = "samples are missing within the profile";
static const char no_rise[] = "urethral pressure does not rise above vesical pressure";

static struct series evenly(const struct profile_trace *trace, const double *samples)
{
    return (struct series){trace->rate_hz, 0.0, trace->count, samples};
}

/* Samples of a mean that takes as much noise off as is needed, over no more than a short way: it
 * lifts the foot of a flank. */
static size_t window_for(const struct profile_trace *trace, double noise_cmh2o)
{
    const struct series series = evenly(trace, NULL);
    const size_t most = smooth_window(&series, CRITERIA_PROFILE_END_HALF_MM / trace->speed_mm_s);
    size_t window = 1;

    while (window < most &&
           profile_walk_guard(noise_cmh2o, window) > CRITERIA_PROFILE_END_GUARD_CMH2O) {
        window += 2;
    }
    return window;
}

/* That mean; the samples themselves when there is no noise. NULL when memory ran out. */
static const double *averaged(const struct study *study, const struct profile_trace *trace,
                              const double *samples, double noise_cmh2o, size_t *ret_window)
{
    const struct series series = evenly(trace, samples);

    *ret_window = 1;
    if (!(noise_cmh2o > 0.0)) {
        return samples;
    }
    double *mean = memory_doubles(study->memory, trace->count);

    if (mean != NULL) {
        *ret_window = window_for(trace, noise_cmh2o);
        smooth_mean(&series, *ret_window, SMOOTH_ENDS_SHORTEN, mean);
    }
    return mean;
}

/* Noise that matters: 0 when samples stand too far apart to tell it from the profile. */
static double noise_of(const struct study *study, const struct profile_trace *trace,
                       const double *samples)
{
    const double noise = profile_noise(samples, trace->count, study->scratch);
    const double spacing_mm = trace->speed_mm_s / trace->rate_hz;

    return spacing_mm <= CRITERIA_PROFILE_NOISE_SPACING_MM && noise > CRITERIA_PROFILE_NOISE_CMH2O
               ? noise
               : 0.0;
}

struct peak {
    bool found;
    size_t index;
    double value;
    const char *method;
};

/* False when memory ran out. */
static bool find_peak(const struct study *study, const struct profile_trace *trace,
                      const double *samples, double noise, struct peak *ret_peak)
{
    const struct series series = evenly(trace, samples);
    const bool fast = trace->raw_rate_hz >= CRITERIA_PROFILE_PEAK_RATE_HZ;
    struct series sought = series;

    *ret_peak = (struct peak){.found = false, .method = "highest sample"};
    if (fast || noise > 0.0) {
        double *curve = memory_doubles(study->memory, trace->count);

        if (curve == NULL) {
            return false;
        }
        sought.samples = curve;
        if (noise > 0.0) {
            const size_t half = series_whole_samples(&series, CRITERIA_PROFILE_PARABOLA_HALF_S);

            ret_peak->method = "peak of parabolas through 1.5 s, because the signal is noisy: the "
                               "highest sample would be too high";
            for (size_t i = 0; i < trace->count; i++) {
                curve[i] = isnan(samples[i])
                               ? SERIES_MISSING
                               : profile_parabola(samples, trace->count, i, half).value;
            }
        } else {
            ret_peak->method = "highest value of a 0.2 s mean";
            smooth_mean(&series, smooth_window(&series, CRITERIA_PROFILE_PEAK_HALF_S),
                        SMOOTH_ENDS_SHORTEN, curve);
        }
    }
    ret_peak->found = series_maximum(&sought, &ret_peak->index);
    if (ret_peak->found) {
        ret_peak->value = sought.samples[ret_peak->index];
    }
    return true;
}

/* Noise makes the highest sample wander over the top of the profile; a parabola does not. */
static double peak_place(const struct profile_trace *trace, const double *closure,
                         const struct peak *peak, double noise)
{
    const double *at = trace->position_mm;

    if (!(noise > 0.0)) {
        return at[peak->index];
    }
    const double half_s = CRITERIA_PROFILE_PARABOLA_HALF_MM / trace->speed_mm_s;
    const struct series series = evenly(trace, closure);
    const size_t half = series_whole_samples(&series, half_s);
    const double vertex = profile_parabola(closure, trace->count, peak->index, half).vertex;

    if (isnan(vertex) || fabs(vertex) > (double)half) {
        return at[peak->index];
    }
    const struct series places = evenly(trace, at);
    const double place = series_value(&places, ((double)peak->index + vertex) / trace->rate_hz);

    return isnan(place) ? at[peak->index] : place;
}

/* Trapezoids from one place to another, cmH2O*mm; `level` holds at both. */
static double area_between(const struct profile_trace *trace, const double *values, double from_mm,
                           double to_mm, double from_level, double to_level)
{
    double before_mm = from_mm;
    double before = from_level;
    double area = 0.0;

    for (size_t i = 0; i < trace->count; i++) {
        const double at_mm = trace->position_mm[i];

        if (at_mm > from_mm && at_mm < to_mm) {
            area += 0.5 * (before + values[i]) * (at_mm - before_mm);
            before_mm = at_mm;
            before = values[i];
        }
    }
    return area + 0.5 * (before + to_level) * (to_mm - before_mm);
}

static struct measure length_of(double mm, bool at_least, double at_s, const char *method)
{
    struct measure measure = measure_at(mm, at_s, method);

    if (at_least && measure_known(&measure)) {
        measure.method = "at least this: the pull begins or ends where closure pressure is still "
                         "above the threshold";
        measure.parts[measure.part_count++] = (struct named_number){"at_least", 1.0};
    }
    return measure;
}

static void add_threshold(struct measure *measure, double threshold_cmh2o)
{
    if (measure_known(measure)) {
        measure->parts[measure->part_count++] =
            (struct named_number){"threshold_cmh2o", threshold_cmh2o};
    }
}

static void all_absent(struct profile_measures *measures, const char *reason)
{
    const struct measure absent = measure_absent(reason);

    measures->functional_length = absent;
    measures->total_length = absent;
    measures->length_to_peak = absent;
    measures->closure_area = absent;
    measures->area_to_peak = absent;
    measures->mean_closure_pressure = absent;
    measures->half_peak_width = absent;
}

/* What an area needs in cm; 10 mm each. */
static double in_cm(double area_cmh2o_mm)
{
    return area_cmh2o_mm / 10.0;
}

static struct measure width_of(const struct profile_walk *walk, const struct peak *peak,
                               double at_s)
{
    const double level = CRITERIA_PROFILE_WIDTH_SHARE * peak->value;
    const struct profile_end inner = profile_walk_to(walk, peak->index, PROFILE_INWARD, level, 0.0);
    const struct profile_end outer =
        profile_walk_to(walk, peak->index, PROFILE_OUTWARD, level, 0.0);

    if (inner.gap || outer.gap) {
        return measure_absent(has_gap);
    }
    if (inner.cut || outer.cut) {
        return measure_absent("the pull begins or ends above half of the maximum closure pressure");
    }
    return measure_at(outer.at_mm - inner.at_mm, at_s, NULL);
}

/* From the start of the rise to the outer pressure. */
static struct measure total_of(const struct study *study, const struct profile_trace *trace,
                               const struct profile_extent *extent, const struct profile_walk *walk,
                               size_t top, double guard)
{
    const struct series series = evenly(trace, trace->pura);
    const double last_s = (double)(trace->count - 1) / trace->rate_hz;
    const double half_s = 0.5 * CRITERIA_PROFILE_OUTER_S;
    const struct span tail = {last_s - CRITERIA_PROFILE_OUTER_S, last_s};
    const struct span first = {tail.from_s, tail.from_s + half_s};
    const struct span second = {tail.to_s - half_s, tail.to_s};
    const double level = level_median(&series, tail, study->scratch);
    const double moved = level_median(&series, first, study->scratch) -
                         level_median(&series, second, study->scratch);

    if (extent->start_cut || extent->end_cut) {
        return measure_absent("the pull begins or ends within the functional length");
    }
    if (!(last_s >= CRITERIA_PROFILE_OUTER_S) ||
        !(fabs(moved) <= CRITERIA_PROFILE_OUTER_MOVED_CMH2O)) {
        return measure_absent("the pull ended before the pressure settled outside");
    }
    const struct profile_end end = profile_walk_to(walk, top, PROFILE_OUTWARD, level,
                                                   fmax(CRITERIA_PROFILE_OUTER_NEAR_CMH2O, guard));

    if (end.gap) {
        return measure_absent(has_gap);
    }
    if (end.cut || !(end.at_mm >= extent->end_mm)) {
        return measure_absent("the pressure did not settle outside below the vesical pressure");
    }
    return measure_at(end.at_mm - extent->start_mm, profile_trace_time(trace, top),
                      "from the start of the functional length to the return to the outer "
                      "pressure, the median of the last 2 s of the pull");
}

/* Whether closure in the bladder, before the pull, rests above the threshold. */
static bool bladder_above(const struct profile_trace *trace, double threshold_cmh2o)
{
    return trace->bladder_closure > threshold_cmh2o &&
           trace->bladder_closure <= CRITERIA_PROFILE_BASELINE_CMH2O;
}

static void find_ends(const struct profile_trace *trace, const struct profile_walk *walk,
                      const struct peak *peak, double threshold_cmh2o, double guard,
                      struct profile_extent *extent)
{
    const double inner_level =
        bladder_above(trace, threshold_cmh2o) ? trace->bladder_closure : threshold_cmh2o;
    const struct profile_end inner =
        profile_walk_to(walk, peak->index, PROFILE_INWARD, inner_level, guard);
    const struct profile_end outer =
        profile_walk_to(walk, peak->index, PROFILE_OUTWARD, threshold_cmh2o, guard);

    if (inner.gap || outer.gap) {
        extent->absent = has_gap;
    }
    extent->start_mm = inner.at_mm;
    extent->start_cut = inner.cut;
    extent->end_mm = outer.at_mm;
    extent->end_cut = outer.cut;
}

static void measure_lengths(const struct profile_trace *trace, const struct profile_walk *walk,
                            const struct peak *peak, double threshold_cmh2o,
                            const struct profile_extent *extent, struct profile_measures *measures)
{
    const double at_s = profile_trace_time(trace, peak->index);
    const bool at_least = extent->start_cut || extent->end_cut;
    const double length_mm = extent->end_mm - extent->start_mm;
    const double start_level =
        extent->start_cut
            ? trace->closure[0]
            : (bladder_above(trace, threshold_cmh2o) ? trace->bladder_closure : threshold_cmh2o);
    const double end_level = extent->end_cut ? trace->closure[trace->count - 1] : threshold_cmh2o;
    const double area = area_between(trace, trace->closure, extent->start_mm, extent->end_mm,
                                     start_level, end_level);
    const double to_peak = area_between(trace, trace->closure, extent->start_mm, extent->peak_mm,
                                        start_level, peak->value);
    const char *method =
        bladder_above(trace, threshold_cmh2o)
            ? "along which closure pressure is above the threshold; its bladder end is where "
              "closure leaves its level in the bladder, which rests above the threshold"
            : "along which closure pressure is above the threshold, from the peak both ways";

    measures->functional_length = length_of(length_mm, at_least, at_s, method);
    add_threshold(&measures->functional_length, threshold_cmh2o);
    measures->length_to_peak =
        length_of(extent->peak_mm - extent->start_mm, extent->start_cut, at_s, NULL);
    measures->closure_area = length_of(in_cm(area), at_least, at_s, NULL);
    measures->area_to_peak = length_of(in_cm(to_peak), extent->start_cut, at_s, NULL);
    measures->mean_closure_pressure =
        length_mm > 0.0 ? measure_at(area / length_mm, at_s, "closure area over functional length")
                        : measure_absent("the functional length is zero");
    measures->half_peak_width = width_of(walk, peak, at_s);
}

static bool measure_closure(const struct study *study, const struct profile_trace *trace,
                            double threshold_cmh2o, struct profile_measures *measures,
                            struct profile_extent *extent)
{
    const double noise = noise_of(study, trace, trace->closure);
    struct peak peak;
    size_t window = 1;
    const double *mean = averaged(study, trace, trace->closure, noise, &window);
    const double *pura_mean = averaged(study, trace, trace->pura, noise, &window);

    if (mean == NULL || pura_mean == NULL ||
        !find_peak(study, trace, trace->closure, noise, &peak)) {
        return false;
    }
    extent->noise_cmh2o = noise;
    if (!peak.found) {
        extent->absent = has_gap;
        measures->maximum_closure_pressure = measure_absent(has_gap);
        return true;
    }
    measures->maximum_closure_pressure =
        measure_at(peak.value, profile_trace_time(trace, peak.index), peak.method);
    extent->peak_mm = peak_place(trace, trace->closure, &peak, noise);
    if (!(peak.value > threshold_cmh2o)) {
        extent->absent = no_rise;
        return true;
    }
    const struct profile_walk walk = {trace->count, trace->position_mm, mean, trace->closure};

    find_ends(trace, &walk, &peak, threshold_cmh2o, profile_walk_guard(noise, window), extent);
    if (extent->absent != NULL) {
        return true;
    }
    if (trace->speed_known == PROFILE_SPEED_UNKNOWN) {
        const double area = area_between(trace, trace->closure, extent->start_mm, extent->end_mm,
                                         threshold_cmh2o, threshold_cmh2o);
        const double length = extent->end_mm - extent->start_mm;

        all_absent(measures, no_speed);
        if (length > 0.0 && !extent->start_cut && !extent->end_cut) {
            measures->mean_closure_pressure =
                measure_at(area / length, profile_trace_time(trace, peak.index),
                           "mean over the time in which closure pressure is above the threshold");
        }
        return true;
    }
    measure_lengths(trace, &walk, &peak, threshold_cmh2o, extent, measures);
    const struct profile_walk pura_walk = {trace->count, trace->position_mm, pura_mean,
                                           trace->pura};

    measures->total_length =
        total_of(study, trace, extent, &pura_walk, peak.index, profile_walk_guard(noise, window));
    return true;
}

bool profile_curve_measure(const struct study *study, const struct profile_trace *trace,
                           double threshold_cmh2o, struct profile_measures *measures,
                           struct profile_extent *ret_extent)
{
    const double noise = noise_of(study, trace, trace->pura);
    struct peak highest;

    *ret_extent = (struct profile_extent){.absent = trace->no_closure};
    all_absent(measures, trace->no_closure);
    measures->maximum_closure_pressure = measure_absent(trace->no_closure);
    if (!find_peak(study, trace, trace->pura, noise, &highest)) {
        return false;
    }
    measures->maximum_urethral_pressure =
        highest.found
            ? measure_at(highest.value, profile_trace_time(trace, highest.index), highest.method)
            : measure_absent("no urethral pressure was recorded during the pull");
    if (!highest.found && ret_extent->absent == NULL) {
        ret_extent->absent = "no urethral pressure was recorded during the pull";
        measures->maximum_closure_pressure = measures->maximum_urethral_pressure;
    } else if (ret_extent->absent == NULL &&
               !measure_closure(study, trace, threshold_cmh2o, measures, ret_extent)) {
        return false;
    }
    if (ret_extent->absent != NULL) {
        all_absent(measures, ret_extent->absent);
    }
    return true;
}
