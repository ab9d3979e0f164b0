#include "analysis/criteria.h"
#include "analysis/measure.h"
#include "analysis/quality.h"

#include <math.h>

struct resting_range {
    double least;
    double most;
    const char *text;
};

static struct resting_range range_for(enum patient_position position)
{
    switch (position) {
    case POSITION_SUPINE:
        return (struct resting_range){
            CRITERIA_REST_SUPINE_MIN, CRITERIA_REST_SUPINE_MAX,
            "The resting pressure is outside 5 to 20 cmH2O, which is usual lying down (limits from "
            "memory). Check zero to atmosphere, reference level, flushing, and the position."};
    case POSITION_SITTING:
        return (struct resting_range){
            CRITERIA_REST_SITTING_MIN, CRITERIA_REST_SITTING_MAX,
            "The resting pressure is outside 15 to 40 cmH2O, which is usual sitting (limits from "
            "memory). Check zero to atmosphere, reference level, flushing, and the position."};
    case POSITION_STANDING:
        return (struct resting_range){
            CRITERIA_REST_STANDING_MIN, CRITERIA_REST_STANDING_MAX,
            "The resting pressure is outside 30 to 50 cmH2O, which is usual standing (limits from "
            "memory). Check zero to atmosphere, reference level, flushing, and the position."};
    case POSITION_UNKNOWN:
    default:
        return (struct resting_range){
            CRITERIA_REST_SUPINE_MIN, CRITERIA_REST_STANDING_MAX,
            "The resting pressure is outside 5 to 50 cmH2O, which is usual in any position (limits "
            "from memory). Check zero to atmosphere, reference level and flushing, and enter the "
            "position."};
    }
}

static void note_rest(struct study *study, const struct measure *level, struct resting_range range,
                      enum signal_kind signal)
{
    if (!measure_known(level) || (level->value >= range.least && level->value <= range.most)) {
        return;
    }
    outcome_note_span(&study->outcome,
                      (struct quality_finding){.code = "resting_pressure",
                                               .severity = QUALITY_WARNING,
                                               .signal = signal,
                                               .text = range.text},
                      level->at_s - 0.5 * CRITERIA_LEVEL_WINDOW_S,
                      level->at_s + 0.5 * CRITERIA_LEVEL_WINDOW_S);
}

static void note_order(struct study *study, const struct filling_measures *measures)
{
    const struct measure *const ordered[] = {
        &measures->first_sensation_volume, &measures->first_desire_volume,
        &measures->strong_desire_volume, &measures->cystometric_capacity};
    double largest = -SERIES_ENDLESS;

    for (size_t i = 0; i < sizeof ordered / sizeof ordered[0]; i++) {
        if (!measure_known(ordered[i])) {
            continue;
        }
        if (ordered[i]->value < largest) {
            outcome_note(&study->outcome, "sensation_order", QUALITY_WARNING, SIGNAL_NONE,
                         "The volumes of first sensation, first desire, strong desire and capacity "
                         "are not in this order. A marker is misplaced: correct it.");
            return;
        }
        largest = ordered[i]->value;
    }
}

static void note_capacity(struct study *study, const struct filling_measures *measures)
{
    if (measure_known(&measures->cystometric_capacity) &&
        (measures->cystometric_capacity.value > CRITERIA_PLAUSIBLE_VOLUME_ML ||
         measures->cystometric_capacity.value < 0.0)) {
        outcome_note(&study->outcome, "implausible_value", QUALITY_WARNING, SIGNAL_VINF,
                     "Cystometric capacity is outside 0 to 1000 mL. Check the infused volume, its "
                     "unit and the markers.");
    }
}

static void note_infusion_start(struct study *study)
{
    const struct series *vinf = &study->vinf;
    size_t first = 0;

    while (first < vinf->count && isnan(vinf->samples[first])) {
        first++;
    }
    if (first < vinf->count && fabs(vinf->samples[first]) > CRITERIA_INFUSION_START_ML) {
        outcome_note_span(
            &study->outcome,
            (struct quality_finding){
                .code = "infused_volume_start",
                .severity = QUALITY_WARNING,
                .signal = SIGNAL_VINF,
                .text = "The infused volume does not begin near 0. Volumes of sensations and "
                        "capacity hold all that its counter shows: check that the counter was set "
                        "to 0, and that the recording began before filling."},
            series_time(vinf, first), series_time(vinf, first));
    }
}

void quality_of_filling(struct study *study, const struct filling_measures *measures)
{
    const struct resting_range range = range_for(study->recording->conditions.position);
    const struct resting_range pdet_range = {
        CRITERIA_REST_PDET_MIN, CRITERIA_REST_PDET_MAX,
        "The resting detrusor pressure is outside -5 to 10 cmH2O (limits from memory). One of the "
        "two lines is wrong: check zero, height and flushing of both before filling."};

    note_rest(study, &measures->pves_baseline, range, SIGNAL_PVES);
    note_rest(study, &measures->pabd_baseline, range, SIGNAL_PABD);
    note_rest(study, &measures->pdet_baseline, pdet_range, SIGNAL_PDET);
    note_order(study, measures);
    note_capacity(study, measures);
    note_infusion_start(study);
    if (!study->timeline.filling_start.known) {
        outcome_note(&study->outcome, "no_filling_start_marker", QUALITY_INFO, SIGNAL_NONE,
                     "There is no filling_start marker. Filling was taken to start where the "
                     "infused volume begins to rise, or with the recording.");
    }
}
