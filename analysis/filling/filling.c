#include "analysis/filling/filling.h"

#include "analysis/criteria.h"
#include "analysis/filling/contractions.h"
#include "analysis/filling/filling_parts.h"
#include "analysis/filling/infusion.h"
#include "analysis/measure.h"
#include "analysis/quality.h"

#include <math.h>

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

static struct measure volume_at(const struct study *study, double at_s)
{
    if (!isfinite(at_s)) {
        return measure_absent("no signal says when that was");
    }
    const struct infused infused = infusion_bladder_volume(study, at_s);

    if (!infused.known) {
        return measure_absent(infused.reason);
    }
    return measure_at(infused.volume_ml, at_s,
                      infusion_method(infused.from_rate, infused.residual_added));
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
    return volume_at(study, marker.value);
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
    if (!contractions_find(study, phase, &measures->involuntary_contractions) ||
        !filling_list_events(study, phase, measures)) {
        return false;
    }
    measures->first_sensation_volume = sensation(study, phase, EVENT_FIRST_SENSATION);
    measures->first_desire_volume = sensation(study, phase, EVENT_FIRST_DESIRE);
    measures->strong_desire_volume = sensation(study, phase, EVENT_STRONG_DESIRE);
    measures->urgency_volume = sensation(study, phase, EVENT_URGENCY);
    measures->cystometric_capacity = volume_at(study, phase->span.to_s);
    measures->expected_capacity = study_expected_capacity(study);
    measures->filling_rate = measure_rate(study, phase);
    measure_rest_on(&measures->filling_rate, phase->span.from_s, phase->span.to_s);
    filling_measure_pressures(study, phase, measures);
    note_end(study, phase);
    note_leaks(study, record, phase);
    quality_of_filling(study, measures);
    return true;
}
