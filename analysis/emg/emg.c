#include "analysis/emg/emg.h"

#include "analysis/criteria.h"
#include "analysis/criteria_emg.h"
#include "analysis/emg/bursts.h"
#include "analysis/emg/emg_quality.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/signal/envelope.h"
#include "analysis/signal/level.h"
#include "analysis/signal/robust.h"

#include <math.h>

static const char no_rest[] = "no 10 s of EMG at the start of filling";
static const char no_end[] = "no EMG over the last 10 s before voiding";
static const char no_flow[] = "no flow was found";
static const char no_filling[] = "there is no filling";

/* What the parts of this file share. All times are those of the pressures. */
struct emg_work {
    struct study *study;
    struct span filling; /* within the envelope; from_s > to_s: none */
    double before_s;     /* end of filling, or of what precedes the voiding; NaN: not known */
    struct span flow;    /* corrected for the delay of flow; from_s > to_s: none */
    bool onset_seen;
    double delay_s;
    struct envelope envelope;
    struct level_scratch scratch; /* room for all of the envelope */
    struct robust rest;
    double end_uv; /* level at the end of filling; NaN: not known */
    struct detrusor_contraction contraction;
    struct burst_list bursts;
};

static bool is_span(struct span span)
{
    return span.from_s <= span.to_s;
}

static struct span envelope_extent(const struct series *series)
{
    if (series->count == 0) {
        return (struct span){0.0, -1.0};
    }
    return (struct span){series->start_s, series_time(series, series->count - 1)};
}

/* ---- Opening ---- */

static struct measure envelope_measure(const struct envelope *envelope, double recorded_hz)
{
    struct measure measure = measure_word(envelope_word(envelope->form), envelope_method(envelope));

    measure.part_count = 4;
    measure.parts[0] = (struct named_number){"window_s", envelope->window_s};
    measure.parts[1] = (struct named_number){"rate_hz", envelope->series.rate_hz};
    measure.parts[2] = (struct named_number){"recorded_rate_hz", recorded_hz};
    measure.parts[3] = (struct named_number){"negative_percent", 100.0 * envelope->negative_share};
    return measure;
}

static bool open_envelope(struct emg_work *work, struct emg_measures *measures)
{
    struct study *study = work->study;
    struct series input;

    if (!study_signal(study, SIGNAL_EMG, SERIES_ENDLESS, &input) ||
        !envelope_make(&input, study->recording->conditions.emg_form, study->memory,
                       &work->envelope)) {
        return false;
    }
    work->scratch.capacity = work->envelope.series.count + 1;
    work->scratch.values = memory_doubles(study->memory, work->scratch.capacity);
    if (work->scratch.values == NULL) {
        return false;
    }
    if (input.count == 0) {
        return true;
    }
    measures->envelope = envelope_measure(&work->envelope, input.rate_hz);
    emg_quality_of_signal(study, &input, &work->envelope);
    return true;
}

static void open_phases(struct emg_work *work, const struct filling_phase *filling,
                        const struct void_phase *void_phase)
{
    const struct timeline *timeline = &work->study->timeline;
    const struct span extent = envelope_extent(&work->envelope.series);

    work->filling = (struct span){0.0, -1.0};
    work->flow = (struct span){0.0, -1.0};
    work->before_s = SERIES_MISSING;
    if (void_phase != NULL) {
        work->flow = (struct span){void_phase->span.from_s - work->delay_s,
                                   void_phase->span.to_s - work->delay_s};
        work->onset_seen = !void_phase->start_unseen;
        work->before_s = work->flow.from_s;
    }
    if (timeline->permission.known) {
        work->before_s = timeline->permission.value;
    }
    if (filling != NULL) {
        work->filling = (struct span){
            isfinite(filling->span.from_s) ? fmax(filling->span.from_s, extent.from_s)
                                           : extent.from_s,
            isfinite(filling->span.to_s) ? fmin(filling->span.to_s, extent.to_s) : extent.to_s};
        if (isfinite(filling->pressure_end_s)) {
            work->before_s = filling->pressure_end_s;
        }
    }
}

/* ---- Rest and filling ---- */

static bool is_disturbed(const struct study *study, struct span span)
{
    const unsigned kinds = (1u << PRESSURE_EVENT_COUGH) | (1u << PRESSURE_EVENT_STRAIN) |
                           (1u << PRESSURE_EVENT_POSITION) | (1u << PRESSURE_EVENT_RESTLESS);

    return timeline_disturbed(&study->timeline, span, CRITERIA_QUIET_EVENT_S) ||
           pressure_events_overlap(&study->pressure_events, kinds, span, CRITERIA_QUIET_EVENT_S);
}

static struct measure measure_rest(struct emg_work *work)
{
    const struct series *series = &work->envelope.series;
    const struct span extent = envelope_extent(series);
    const bool filled = is_span(work->filling);
    const double from_s = filled ? work->filling.from_s : extent.from_s;
    const double limit_s = filled ? work->filling.to_s : fmin(work->before_s, extent.to_s);
    struct robust disturbed = {SERIES_MISSING, SERIES_MISSING, 0};
    double disturbed_s = 0.0;

    for (size_t step = 0; (double)step <= CRITERIA_EMG_REST_SEARCH_S; step++) {
        const struct span span = {from_s + (double)step,
                                  from_s + (double)step + CRITERIA_EMG_REST_S};
        const double middle_s = 0.5 * (span.from_s + span.to_s);

        if (!(span.to_s <= limit_s)) {
            break;
        }
        const struct robust level = robust_span(series, span, work->scratch);

        if (level.count > 0 && !is_disturbed(work->study, span)) {
            work->rest = level;
            return measure_at(level.median, middle_s,
                              filled ? "median of the first undisturbed 10 s of filling"
                                     : "median of the first undisturbed 10 s of the recording");
        }
        if (level.count > 0 && disturbed.count == 0) {
            disturbed = level;
            disturbed_s = middle_s;
        }
    }
    work->rest = disturbed;
    return disturbed.count == 0
               ? measure_absent(no_rest)
               : measure_at(disturbed.median, disturbed_s,
                            "median of the first 10 s; coughs, strains or markers lie within "
                            "them, and no undisturbed 10 s within the first minute");
}

/* Least squares through the medians of segments of 10 s: coughs do not move it. */
static struct measure measure_slope(const struct emg_work *work)
{
    const struct series *series = &work->envelope.series;
    double count = 0.0;
    double mean_s = 0.0;
    double mean_uv = 0.0;
    double squares = 0.0;
    double products = 0.0;

    const double segments =
        floor((work->filling.to_s - work->filling.from_s) / CRITERIA_EMG_SEGMENT_S + 1e-9);

    for (size_t i = 0; (double)i < segments; i++) {
        const double from_s = work->filling.from_s + (double)i * CRITERIA_EMG_SEGMENT_S;
        const struct span segment = {from_s, from_s + CRITERIA_EMG_SEGMENT_S};
        const struct robust level = robust_span(series, segment, work->scratch);

        if (level.count > 0) {
            const double at_s = 0.5 * (segment.from_s + segment.to_s);
            const double off_s = at_s - mean_s;

            count += 1.0;
            mean_s += off_s / count;
            products += (at_s - mean_s) * (level.median - mean_uv);
            squares += off_s * (at_s - mean_s);
            mean_uv += (level.median - mean_uv) / count;
        }
    }
    if (!(squares > 0.0)) {
        return measure_absent("less than 20 s of filling with EMG");
    }
    return measure_of(60.0 * products / squares,
                      "least squares through the medians of segments of 10 s");
}

static struct measure measure_guarding(const struct emg_work *work)
{
    const double length_s = work->filling.to_s - work->filling.from_s;
    const struct span end = {work->filling.to_s - CRITERIA_EMG_END_SHARE * length_s,
                             work->filling.to_s};
    const struct robust level = robust_span(&work->envelope.series, end, work->scratch);

    if (work->rest.count == 0) {
        return measure_absent(no_rest);
    }
    if (level.count == 0) {
        return measure_absent("no EMG over the last tenth of filling");
    }
    if (!(work->rest.median > 0.0)) {
        return measure_absent("the resting EMG is not above zero");
    }
    struct measure measure =
        measure_of(100.0 * (level.median - work->rest.median) / work->rest.median,
                   "median of the last tenth of filling over that at rest, minus one");

    measure.part_count = 1;
    measure.parts[0] = (struct named_number){"end_of_filling", level.median};
    return measure;
}

static void measure_filling(struct emg_work *work, struct emg_measures *measures)
{
    measures->resting_mean = measure_rest(work);
    if (!is_span(work->filling)) {
        measures->filling_mean = measure_absent(no_filling);
        measures->filling_slope = measure_absent(no_filling);
        measures->guarding = measure_absent(no_filling);
        return;
    }
    const struct robust level = robust_span(&work->envelope.series, work->filling, work->scratch);

    measures->filling_mean = level.count == 0
                                 ? measure_absent("more than half of the EMG of filling is missing")
                                 : measure_of(level.median, "median");
    measures->filling_slope = measure_slope(work);
    measures->guarding = measure_guarding(work);
    measure_rest_on(&measures->filling_mean, work->filling.from_s, work->filling.to_s);
    measure_rest_on(&measures->filling_slope, work->filling.from_s, work->filling.to_s);
}

/* ---- Voiding ---- */

static struct measure measure_voiding_level(struct emg_work *work)
{
    const struct series part = series_part(&work->envelope.series, work->flow);
    size_t held = 0;

    for (size_t i = 0; i < part.count; i++) {
        const double flow_ml_s =
            series_value(&work->study->flow, series_time(&part, i) + work->delay_s);

        if (!isnan(part.samples[i]) && flow_ml_s > CRITERIA_FLOW_ON_ML_S) {
            work->scratch.values[held++] = part.samples[i];
        }
    }
    if (held == 0) {
        return measure_absent("no EMG during the flow");
    }
    return measure_at(level_median_of(work->scratch.values, held),
                      0.5 * (work->flow.from_s + work->flow.to_s),
                      "median while flow is above 0.5 mL/s; flow shifted by flow_delay_s");
}

static struct measure measure_ratio(const struct emg_work *work, const struct measure *voiding)
{
    if (isnan(work->end_uv)) {
        return measure_absent(no_end);
    }
    if (!(work->end_uv > 0.0)) {
        return measure_absent("the EMG at the end of filling is not above zero");
    }
    if (!measure_known(voiding)) {
        return measure_absent(voiding->reason);
    }
    struct measure ratio = measure_at(voiding->value / work->end_uv, voiding->at_s,
                                      "median during flow over median of the last 10 s before "
                                      "permission to void; below 1 relaxed, above 1 increased");

    ratio.part_count = 1;
    ratio.parts[0] = (struct named_number){"end_of_filling", work->end_uv};
    return ratio;
}

/* Where the envelope falls below a line and stays there for a second; NaN when it does not. */
static double relaxation_start(const struct series *part, double line_uv)
{
    double below_s = SERIES_MISSING;
    double last_s = 0.0;
    double last_uv = SERIES_MISSING;

    for (size_t i = 0; i < part->count; i++) {
        const double at_s = series_time(part, i);
        const double sample = part->samples[i];

        if (isnan(sample)) {
            continue;
        }
        if (sample >= line_uv) {
            below_s = SERIES_MISSING;
        } else if (isnan(below_s)) {
            below_s = isnan(last_uv)
                          ? at_s
                          : last_s + (at_s - last_s) * (last_uv - line_uv) / (last_uv - sample);
        }
        if (at_s - below_s >= CRITERIA_EMG_RELAX_S) {
            return below_s;
        }
        last_s = at_s;
        last_uv = sample;
    }
    return SERIES_MISSING;
}

static struct measure measure_lag(const struct emg_work *work, const struct measure *voiding)
{
    if (!measure_known(voiding)) {
        return measure_absent(voiding->reason);
    }
    if (isnan(work->end_uv)) {
        return measure_absent(no_end);
    }
    if (!work->onset_seen) {
        return measure_absent("the onset of flow was not recorded");
    }
    if (!(voiding->value < work->end_uv)) {
        return measure_absent("the EMG does not relax for voiding");
    }
    const double line_uv =
        voiding->value + CRITERIA_EMG_RELAX_PART * (work->end_uv - voiding->value);
    const struct series part =
        series_part(&work->envelope.series,
                    (struct span){work->before_s - CRITERIA_EMG_RELAX_S, work->flow.to_s});
    const double start_s = relaxation_start(&part, line_uv);

    if (isnan(start_s)) {
        return measure_absent("no relaxation of the EMG that lasts");
    }
    struct measure lag =
        measure_at(work->flow.from_s - start_s, start_s,
                   "onset of flow, less flow_delay_s, minus the moment at which the EMG falls "
                   "half-way from its level at the end of filling to that during flow, for at "
                   "least 1 s; published normal values (2 to 6 s, about 1.3 s) disagree");

    lag.part_count = 1;
    lag.parts[0] = (struct named_number){"without_delay_correction", lag.value + work->delay_s};
    return lag;
}

/* ---- Bursts ---- */

static bool find_contraction(struct emg_work *work)
{
    const struct series *pdet = &work->study->pdet;
    const double level =
        level_median(pdet, (struct span){work->before_s - CRITERIA_LEVEL_WINDOW_S, work->before_s},
                     work->study->scratch);
    const double to_s =
        is_span(work->flow) ? work->flow.to_s + CRITERIA_EMG_CONTRACTION_TAIL_S : SERIES_ENDLESS;

    if (pdet->count == 0 || isnan(work->before_s)) {
        return true;
    }
    return bursts_contraction(work->study, level, (struct span){work->before_s, to_s}, work->flow,
                              &work->contraction);
}

/* Largest EMG against the largest pdet, and how far it then falls. */
static void add_peak_parts(const struct emg_work *work, struct measure *overlap)
{
    const struct series *series = &work->envelope.series;
    const struct series inside = series_part(series, work->contraction.span);
    size_t peak = 0;

    if (!series_maximum(&inside, &peak)) {
        return;
    }
    const double at_s = series_time(&inside, peak);
    const struct series after =
        series_part(series, (struct span){at_s, at_s + CRITERIA_EMG_TYPE1_FALL_S});
    double lowest = inside.samples[peak];

    for (size_t i = 0; i < after.count; i++) {
        lowest = fmin(lowest, after.samples[i]);
    }
    overlap->part_count = 4;
    overlap->parts[2] =
        (struct named_number){"emg_peak_after_pdet_peak_s", at_s - work->contraction.peak_s};
    overlap->parts[3] = (struct named_number){
        "emg_after_its_peak_percent",
        inside.samples[peak] > 0.0 ? 100.0 * lowest / inside.samples[peak] : SERIES_MISSING};
}

static struct measure measure_overlap(const struct emg_work *work)
{
    const struct detrusor_contraction *contraction = &work->contraction;

    if (!contraction->found) {
        return measure_absent(
            work->study->pdet.count == 0
                ? "no detrusor pressure: it needs pves and pabd, or pdet"
                : "no detrusor contraction of 5 cmH2O was found during the voiding");
    }
    struct measure overlap =
        measure_at(bursts_overlap(&work->bursts, contraction->span), contraction->peak_s,
                   "share of the time in which pdet is at least 5 cmH2O above its level before "
                   "voiding");

    overlap.part_count = 2;
    overlap.parts[0] = (struct named_number){"contraction_start_s", contraction->span.from_s};
    overlap.parts[1] = (struct named_number){"contraction_end_s", contraction->span.to_s};
    add_peak_parts(work, &overlap);
    return overlap;
}

static void bursts_absent(struct emg_measures *measures, const char *reason)
{
    measures->burst_overlap = measure_absent(reason);
    measures->bursts_during_voiding = measure_absent(reason);
    measures->bursts = (struct item_list){.state = MEASURE_ABSENT, .reason = reason};
}

static bool measure_bursts(struct emg_work *work, struct emg_measures *measures)
{
    static const char method[] =
        "envelope above rest plus emg_burst_sd robust standard deviations of the rest for at least "
        "0.5 s, gaps below 0.25 s joined, during flow (less flow_delay_s) or the detrusor "
        "contraction of the voiding";
    const struct optional_number chosen = work->study->choices->emg_burst_sd;
    struct span span = work->flow;

    if (!find_contraction(work)) {
        return false;
    }
    if (work->contraction.found) {
        const struct span found = work->contraction.span;

        span = is_span(span)
                   ? (struct span){fmin(span.from_s, found.from_s), fmax(span.to_s, found.to_s)}
                   : found;
    }
    if (work->rest.count == 0 || !is_span(span) || !chosen.known) {
        bursts_absent(measures, work->rest.count == 0 ? no_rest
                                : chosen.known ? "neither flow nor a detrusor contraction of the "
                                                 "voiding was found"
                                               : "no emg_burst_sd is chosen");
        return true;
    }
    const double sd_uv = fmax(work->rest.sd, CRITERIA_EMG_SD_FLOOR_UV);
    const double line_uv = work->rest.median + chosen.value * sd_uv;

    if (!bursts_find(&work->envelope.series, line_uv, span, work->study->memory, &work->bursts)) {
        return false;
    }
    measures->bursts = (struct item_list){.state = MEASURE_PRESENT,
                                          .count = work->bursts.count,
                                          .items = work->bursts.items,
                                          .method = method};
    measures->bursts_during_voiding = measure_of((double)work->bursts.count, method);
    measure_rest_on(&measures->bursts_during_voiding, work->flow.from_s, work->flow.to_s);
    measures->bursts_during_voiding.part_count = 1;
    measures->bursts_during_voiding.parts[0] = (struct named_number){"burst_line", line_uv};
    measures->burst_overlap = measure_overlap(work);
    return true;
}

static bool measure_voiding(struct emg_work *work, struct emg_measures *measures)
{
    const struct span end = {work->before_s - CRITERIA_EMG_END_S, work->before_s};

    work->end_uv = isnan(work->before_s)
                       ? SERIES_MISSING
                       : robust_span(&work->envelope.series, end, work->scratch).median;
    measures->voiding_mean =
        is_span(work->flow) ? measure_voiding_level(work) : measure_absent(no_flow);
    measures->voiding_to_filling = measure_ratio(work, &measures->voiding_mean);
    measures->relaxation_lag = measure_lag(work, &measures->voiding_mean);
    if (!measure_bursts(work, measures)) {
        return false;
    }
    emg_quality_of_strain(work->study, &work->bursts,
                          level_median(&work->study->pabd, end, work->study->scratch));
    if (is_span(work->flow) && work->onset_seen) {
        emg_quality_of_wetting(work->study, &work->envelope.series, work->flow.from_s);
    }
    return true;
}

static void all_absent(struct emg_measures *measures)
{
    static const char no_signal[] = "no usable EMG signal";
    const struct measure absent = measure_absent(no_signal);

    *measures = (struct emg_measures){
        .envelope = absent,
        .resting_mean = absent,
        .filling_mean = absent,
        .filling_slope = absent,
        .guarding = absent,
        .voiding_mean = absent,
        .voiding_to_filling = absent,
        .relaxation_lag = absent,
        .burst_overlap = absent,
        .bursts_during_voiding = absent,
        .bursts = {.state = MEASURE_ABSENT, .reason = no_signal},
    };
}

bool emg_measure(struct study *study, const struct filling_phase *filling,
                 const struct void_phase *void_phase, double flow_delay_s,
                 struct emg_measures *measures)
{
    struct emg_work work = {.study = study, .delay_s = flow_delay_s};

    if (!open_envelope(&work, measures)) {
        return false;
    }
    if (work.envelope.series.count == 0) {
        all_absent(measures);
        return true;
    }
    open_phases(&work, filling, void_phase);
    measure_filling(&work, measures);
    return measure_voiding(&work, measures);
}
