#include "analysis/filling.h"

#include "analysis/contractions.h"
#include "analysis/criteria.h"
#include "analysis/infusion.h"
#include "analysis/measure.h"
#include "analysis/quality.h"

#include <math.h>

static const char no_pdet[] = "no detrusor pressure: it needs pves and pabd, or pdet";

bool filling_exists(const struct study *study)
{
    static const enum event_code signs[] = {EVENT_FILLING_START, EVENT_FILLING_STOP,
                                            EVENT_FIRST_SENSATION, EVENT_FIRST_DESIRE,
                                            EVENT_STRONG_DESIRE};

    if (study->recording->type == RECORDING_CYSTOMETRY || study->vinf.count > 0) {
        return true;
    }
    for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++) {
        if (timeline_count(&study->timeline, signs[i]) > 0) {
            return true;
        }
    }
    return false;
}

/* Whether the infusion goes on after a run, so that it was a leak rather than the voiding. */
static bool is_filled_after(const struct study *study, const struct run *run)
{
    const struct series *vinf = &study->vinf;

    if (vinf->count == 0) {
        return false;
    }
    const double last_s = series_time(vinf, vinf->count - 1);
    const struct infused at_end = infusion_volume(study, fmin(run->span.to_s, last_s));
    const struct infused last = infusion_volume(study, last_s);

    return at_end.known && last.known &&
           last.volume_ml - at_end.volume_ml > CRITERIA_LEAK_INFUSED_ML;
}

struct optional_number filling_voiding_start(const struct study *study,
                                             const struct flow_record *record)
{
    const struct timeline *timeline = &study->timeline;
    const struct optional_number earliest =
        timeline->filling_stop.known ? timeline->filling_stop : timeline->filling_start;
    const double from_s = earliest.known ? earliest.value : -SERIES_ENDLESS;
    struct optional_number largest = {false, 0.0};
    double largest_ml = 0.0;

    if (timeline->void_start.known) {
        return timeline->void_start;
    }
    for (size_t i = 0; i < record->run_count; i++) {
        const struct run *run = &record->runs[i];
        const double volume_ml = flow_run_volume(record, run);

        if (run->span.to_s <= from_s || volume_ml < CRITERIA_VOID_VOLUME_MIN_ML) {
            continue;
        }
        if (!is_filled_after(study, run)) {
            return (struct optional_number){true, run->span.from_s};
        }
        if (volume_ml > largest_ml) {
            largest = (struct optional_number){true, run->span.from_s};
            largest_ml = volume_ml;
        }
    }
    /* The pump ran on through all of them: in a pressure-flow study one is the voiding all the
     * same; a cystometry may hold leaks alone. */
    return study->recording->type == RECORDING_PRESSURE_FLOW ? largest
                                                             : (struct optional_number){false, 0.0};
}

struct filling_phase filling_find(const struct study *study, const struct flow_record *record)
{
    const struct timeline *timeline = &study->timeline;
    const struct span extent = study_extent(study);
    const struct optional_number voiding = filling_voiding_start(study, record);
    struct filling_phase phase = {.span = extent, .end = FILLING_ENDS_WITH_RECORD};

    if (timeline->filling_start.known) {
        phase.span.from_s = timeline->filling_start.value;
    } else if (study->vinf.count > 0) {
        phase.span.from_s = infusion_onset(&study->vinf);
    }
    if (timeline->permission.known) {
        phase.end = FILLING_ENDS_AT_PERMISSION;
        phase.span.to_s = timeline->permission.value;
    } else if (voiding.known) {
        phase.end = FILLING_ENDS_AT_VOIDING;
        phase.span.to_s = voiding.value;
    } else if (timeline->filling_stop.known) {
        phase.end = FILLING_ENDS_AT_STOP;
        phase.span.to_s = timeline->filling_stop.value;
    }
    phase.pressure_end_s = phase.span.to_s;
    if (phase.end == FILLING_ENDS_AT_VOIDING) {
        phase.pressure_end_s -= CRITERIA_END_FILL_LEAD_S;
        if (timeline->filling_stop.known && timeline->filling_stop.value < phase.pressure_end_s) {
            phase.pressure_end_s = timeline->filling_stop.value;
        }
    }
    return phase;
}

/* ---- Volumes ---- */

static struct measure volume_at(const struct study *study, double at_s, bool with_residual)
{
    const struct infused infused = infusion_volume(study, at_s);

    if (!infused.known) {
        return measure_absent(infused.reason);
    }
    const struct optional_number residual = study->recording->conditions.initial_residual_ml;
    const bool add = with_residual && residual.known && residual.value >= 0.0 &&
                     residual.value <= CRITERIA_SAMPLE_LIMIT;

    return measure_at(infused.volume_ml + (add ? residual.value : 0.0), at_s,
                      infusion_method(infused.from_rate, add));
}

static struct measure sensation(const struct study *study, const struct filling_phase *phase,
                                enum event_code code)
{
    const struct optional_number marker = timeline_first(&study->timeline, code, -SERIES_ENDLESS);

    if (!marker.known) {
        return measure_absent("no marker for it");
    }
    if (marker.value > phase->span.to_s) {
        return measure_absent("its marker lies after the end of filling");
    }
    return volume_at(study, marker.value, true);
}

/* How a rate compares with the physiological limit of the ICS (2002), which depends on weight. */
enum rate_class { RATE_NOT_COMPARED, RATE_PHYSIOLOGICAL, RATE_ABOVE, RATE_CLASSES };

static enum rate_class compare_rate(const struct study *study, double rate_ml_min)
{
    const struct optional_number weight = study->recording->weight_kg;

    if (!weight.known || !(weight.value >= CRITERIA_PLAUSIBLE_WEIGHT_MIN_KG &&
                           weight.value <= CRITERIA_PLAUSIBLE_WEIGHT_MAX_KG)) {
        return RATE_NOT_COMPARED;
    }
    return rate_ml_min > weight.value / CRITERIA_FILL_PER_WEIGHT_DIVIDE ? RATE_ABOVE
                                                                        : RATE_PHYSIOLOGICAL;
}

static struct measure measure_rate(const struct study *study, const struct filling_phase *phase)
{
    static const char *const measured[RATE_CLASSES] = {
        "median slope of the infused volume over 10 s segments while it rises",
        "median slope of the infused volume over 10 s segments while it rises; physiological, up "
        "to a quarter of the body weight in kg as mL/min (limit from memory)",
        "median slope of the infused volume over 10 s segments while it rises; faster than "
        "physiological, above a quarter of the body weight in kg as mL/min (limit from memory)"};
    static const char *const given[RATE_CLASSES] = {
        "as entered",
        "as entered; physiological, up to a quarter of the body weight in kg as "
        "mL/min (limit from memory)",
        "as entered; faster than physiological, above a quarter of the body weight in kg as "
        "mL/min (limit from memory)"};
    const struct optional_number entered = study->recording->conditions.filling_rate_ml_min;
    const double slope_ml_min = infusion_rate(&study->vinf, phase->span, study->scratch);

    if (isfinite(slope_ml_min)) {
        return measure_of(slope_ml_min, measured[compare_rate(study, slope_ml_min)]);
    }
    if (entered.known && entered.value > 0.0 && entered.value <= CRITERIA_SAMPLE_LIMIT) {
        return measure_entered(entered.value, given[compare_rate(study, entered.value)]);
    }
    return measure_absent("no rising infused volume signal and no filling rate was entered");
}

/* ---- Pressures ---- */

/* Spread by which a window is judged: of pves where there is one, else of what there is. */
static double window_spread(const struct study *study, struct span window)
{
    const struct series *judge = &study->pves;

    if (judge->count == 0) {
        judge = study->pdet.count > 0 ? &study->pdet : &study->pabd;
    }
    return judge->count > 0 ? level_spread(judge, window) : SERIES_MISSING;
}

/* The earliest quiet window around the start of filling, from the 5 s before it on; the one with
 * the least spread when none is quiet. */
static struct span find_quiet_window(const struct study *study, const struct filling_phase *phase)
{
    const double first_s = phase->span.from_s - CRITERIA_LEVEL_WINDOW_S;
    const double last_s = fmin(phase->span.from_s + CRITERIA_BASELINE_SEARCH_S, phase->span.to_s) -
                          CRITERIA_LEVEL_WINDOW_S;
    const double earliest_s = study_extent(study).from_s;
    struct span best = {phase->span.from_s, phase->span.from_s + CRITERIA_LEVEL_WINDOW_S};
    double least = SERIES_ENDLESS;

    for (int step = 0; first_s + step <= last_s; step++) {
        const double from_s = first_s + step;
        const struct span window = {from_s, from_s + CRITERIA_LEVEL_WINDOW_S};
        const double spread = window_spread(study, window);

        if (isnan(spread) || from_s < earliest_s ||
            timeline_disturbed(&study->timeline, window, CRITERIA_QUIET_EVENT_S)) {
            continue;
        }
        if (spread <= CRITERIA_QUIET_SPREAD_CMH2O) {
            return window;
        }
        if (spread < least) {
            least = spread;
            best = window;
        }
    }
    return best;
}

static struct measure level_measure(const struct study *study, const struct series *series,
                                    struct span window, const char *no_signal, const char *method)
{
    if (series->count == 0) {
        return measure_absent(no_signal);
    }
    const double level = level_median(series, window, study->scratch);

    if (isnan(level)) {
        return measure_absent("too many samples are missing there");
    }
    return measure_at(level, 0.5 * (window.from_s + window.to_s), method);
}

static void all_compliance(struct filling_measures *measures, struct measure measure)
{
    measures->compliance = measure;
    measures->compliance_volume_change = measure;
    measures->compliance_pressure_change = measure;
}

/* Compliance between the two points at which the pressures were read. */
static void measure_compliance(const struct study *study, struct filling_measures *measures)
{
    if (!measure_known(&measures->pdet_baseline) || !measure_known(&measures->pdet_end_fill)) {
        all_compliance(measures, measure_absent("detrusor pressure is not known at both points"));
        return;
    }
    const struct measure first = volume_at(study, measures->pdet_baseline.at_s, false);
    const struct measure second = volume_at(study, measures->pdet_end_fill.at_s, false);

    if (!measure_known(&second) || !measure_known(&first)) {
        all_compliance(measures,
                       measure_absent(measure_known(&second) ? first.reason : second.reason));
        return;
    }
    const double rise = measures->pdet_end_fill.value - measures->pdet_baseline.value;
    const double change_ml = second.value - first.value;

    measures->compliance_pressure_change =
        measure_of(rise, "detrusor pressure at the end of filling minus at its start");
    measures->compliance_volume_change =
        measure_of(change_ml, "infused volume between the two moments at which pressure was read");
    if (change_ml < CRITERIA_COMPLIANCE_VOLUME_MIN_ML) {
        measures->compliance =
            measure_absent("less than 10 mL were infused between the two points");
    } else if (!(rise > 0.0)) {
        measures->compliance = measure_absent("no measurable rise of detrusor pressure");
    } else if (rise < CRITERIA_COMPLIANCE_RISE_MIN_CMH2O) {
        measures->compliance =
            measure_absent("no measurable rise of detrusor pressure: below 1 cmH2O, so compliance "
                           "in mL/cmH2O is at least the volume change in mL");
    } else {
        measures->compliance =
            measure_of(change_ml / rise,
                       "volume change over pressure change between the start of filling and "
                       "cystometric capacity; pressures are medians of 5 s, coughs excluded");
    }
}

static void measure_pressures(const struct study *study, const struct filling_phase *phase,
                              struct filling_measures *measures)
{
    static const char resting[] =
        "median of the first quiet 5 s (pves within 5 cmH2O) around the start of filling";
    static const char at_end[] = "median of the last 5 s of filling, before permission to void";
    static const char before_void[] =
        "median of 5 s that end at least 10 s before the start of voiding, because there is no "
        "permission_to_void marker";
    const struct span quiet = find_quiet_window(study, phase);
    const struct span end = {phase->pressure_end_s - CRITERIA_LEVEL_WINDOW_S,
                             phase->pressure_end_s};

    measures->pves_baseline =
        level_measure(study, &study->pves, quiet, "no vesical pressure signal", resting);
    measures->pabd_baseline =
        level_measure(study, &study->pabd, quiet, "no abdominal pressure signal", resting);
    measures->pdet_baseline = level_measure(study, &study->pdet, quiet, no_pdet, resting);
    measures->pdet_end_fill =
        end.from_s < quiet.to_s
            ? measure_absent("filling is too short to read a pressure at its end")
            : level_measure(study, &study->pdet, end, no_pdet,
                            phase->end == FILLING_ENDS_AT_VOIDING ? before_void : at_end);
}

/* Says when the end-filling pressure may already belong to a contraction. */
static void note_unquiet_end(struct study *study, const struct filling_measures *measures)
{
    if (!measure_known(&measures->pdet_end_fill)) {
        return;
    }
    const double at_s = measures->pdet_end_fill.at_s;
    const struct span before = {at_s - CRITERIA_END_FILL_LOOKBACK_S,
                                at_s - 2.0 * CRITERIA_LEVEL_WINDOW_S};
    const double level = level_median(&study->pdet, before, study->scratch);

    if (measures->pdet_end_fill.value - level > CRITERIA_END_FILL_JUMP_CMH2O) {
        const struct quality_finding finding = {
            .code = "unquiet_end_of_filling",
            .severity = QUALITY_WARNING,
            .signal = SIGNAL_PDET,
            .text = "Detrusor pressure rises by more than 10 cmH2O just before the end of filling. "
                    "It may be a contraction or straining, and then compliance and the end-filling "
                    "pressure are not valid: move permission_to_void before it, or judge by eye."};

        outcome_note_span(&study->outcome, finding, before.from_s, at_s);
    }
}

/* Flow before the end of filling: a leak, unless the marker is late. */
static void note_leaks(struct study *study, const struct flow_record *record,
                       const struct filling_phase *phase)
{
    const struct quality_finding finding = {
        .code = "flow_during_filling",
        .severity = QUALITY_WARNING,
        .signal = study->flow_derived ? SIGNAL_VVOID : SIGNAL_FLOW,
        .text = "Flow during filling: a leak, or something poured or knocked. It does not count as "
                "voiding, and volumes in the bladder are too large by it from here on. If voiding "
                "begins here, set permission_to_void before it."};
    size_t listed = 0;

    for (size_t i = 0; i < record->run_count && listed < CRITERIA_SPANS_LISTED; i++) {
        const struct span span = record->runs[i].span;

        if (span.to_s > phase->span.from_s && span.to_s <= phase->span.to_s) {
            outcome_note_span(&study->outcome, finding, span.from_s, span.to_s);
            listed++;
        }
    }
}

static void note_end(struct study *study, const struct filling_phase *phase)
{
    static const char *const texts[] = {
        [FILLING_ENDS_AT_PERMISSION] = NULL,
        [FILLING_ENDS_AT_VOIDING] =
            "There is no permission_to_void marker. Cystometric capacity was read at the start of "
            "voiding instead. Set the marker if voiding was allowed earlier.",
        [FILLING_ENDS_AT_STOP] =
            "There is no permission_to_void marker and no voiding was found. Cystometric capacity "
            "was read where filling stops. Set the marker if that is not right.",
        [FILLING_ENDS_WITH_RECORD] =
            "There is no permission_to_void or filling_stop marker and no voiding was found. "
            "Cystometric capacity was read at the end of the recording: set a marker.",
    };

    if (texts[phase->end] != NULL) {
        outcome_note(&study->outcome, "no_permission_marker", QUALITY_WARNING, SIGNAL_NONE,
                     texts[phase->end]);
    }
}

bool filling_measure(struct study *study, const struct flow_record *record,
                     const struct filling_phase *phase, struct filling_measures *measures)
{
    measures->first_sensation_volume = sensation(study, phase, EVENT_FIRST_SENSATION);
    measures->first_desire_volume = sensation(study, phase, EVENT_FIRST_DESIRE);
    measures->strong_desire_volume = sensation(study, phase, EVENT_STRONG_DESIRE);
    measures->urgency_volume = sensation(study, phase, EVENT_URGENCY);
    measures->cystometric_capacity = volume_at(study, phase->span.to_s, true);
    measures->filling_rate = measure_rate(study, phase);
    measure_pressures(study, phase, measures);
    measure_compliance(study, measures);
    note_end(study, phase);
    note_leaks(study, record, phase);
    note_unquiet_end(study, measures);
    quality_of_filling(study, measures);
    return contractions_find(study, phase, &measures->involuntary_contractions);
}
