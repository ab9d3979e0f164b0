#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/measure.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality_spans.h"

#include <math.h>

static void note_rate(const struct pressure_lines *lines)
{
    const struct study *study = lines->study;
    const struct optional_number entered = study->recording->conditions.filling_rate_ml_min;
    const struct measure *slope = &study->outcome.result->filling.filling_rate;
    const double off_ml_min = fabs(slope->value - entered.value);

    if (measure_known(slope) && slope->source == SOURCE_COMPUTED && entered.known &&
        entered.value > 0.0 && off_ml_min > CRITERIA_PUMP_ML_MIN &&
        off_ml_min > CRITERIA_PUMP_SHARE * entered.value) {
        outcome_note_span(
            &lines->study->outcome,
            (struct quality_finding){
                .code = "pump_rate_mismatch",
                .severity = QUALITY_WARNING,
                .signal = SIGNAL_VINF,
                .text = "The infused volume does not rise at the entered filling rate: further off "
                        "than 15 %. The signal was used. Correct the rate if it was changed; "
                        "otherwise check pump, tubing and scale before relying on volumes."},
            lines->filling->span.from_s, lines->filling->span.to_s);
    }
}

/* Joins segments of the filling in which markers and volume disagree, and tells of those that are
 * long enough. */
struct disagreement {
    struct quality_spans spans;
    size_t segments;  /* in a row, up to now */
    struct span open; /* theirs */
};

static void disagreement_end(struct disagreement *disagreement)
{
    if (disagreement->segments >= CRITERIA_PUMP_SEGMENTS) {
        quality_spans_add(&disagreement->spans, disagreement->open);
    }
    disagreement->segments = 0;
}

static void disagreement_take(struct disagreement *disagreement, bool disagrees,
                              struct span segment)
{
    if (!disagrees) {
        disagreement_end(disagreement);
        return;
    }
    if (disagreement->segments++ == 0) {
        disagreement->open.from_s = segment.from_s;
    }
    disagreement->open.to_s = segment.to_s;
}

/* Share of a segment in which the markers say that the pump ran. */
static double running_share(const struct timeline *timeline, struct span segment)
{
    double before_s = 0.0;
    double after_s = 0.0;

    (void)timeline_pumped(timeline, segment.from_s, &before_s);
    (void)timeline_pumped(timeline, segment.to_s, &after_s);
    return (after_s - before_s) / (segment.to_s - segment.from_s);
}

static void note_markers(const struct pressure_lines *lines)
{
    const struct series *vinf = &lines->study->vinf;
    const struct timeline *timeline = &lines->study->timeline;
    const struct span filling = lines->filling->span;
    struct disagreement stands = {
        .spans = {.outcome = &lines->study->outcome,
                  .finding = {.code = "infusion_stands",
                              .severity = QUALITY_WARNING,
                              .signal = SIGNAL_VINF,
                              .text = "The markers say that the pump runs here, but the infused "
                                      "volume does not rise. Set filling_stop and filling_start "
                                      "where it paused, or check the pump, its tube and the scale: "
                                      "volumes may be too small from here on."},
                  .text_rest = "The infused volume stands still at several further places within "
                               "this span while the markers say that the pump runs."}};
    struct disagreement rises = {
        .spans = {.outcome = &lines->study->outcome,
                  .finding = {.code = "infusion_unmarked",
                              .severity = QUALITY_WARNING,
                              .signal = SIGNAL_VINF,
                              .text = "The infused volume rises here although the markers say that "
                                      "the pump stands. Set filling_start and filling_stop where "
                                      "it ran, or check the scale."},
                  .text_rest = "The infused volume rises at several further places within this "
                               "span although the markers say that the pump stands."}};
    const double idle_ml = CRITERIA_FILL_IDLE_ML_MIN / 60.0 * CRITERIA_FILL_SEGMENT_S;
    const double last_s = fmin(filling.to_s, series_time(vinf, vinf->count - 1));
    const double first_s = fmax(filling.from_s, vinf->start_s);

    const double fits = floor((last_s - first_s) / CRITERIA_FILL_SEGMENT_S);

    for (size_t i = 0; (double)i < fits; i++) {
        const double from_s = first_s + (double)i * CRITERIA_FILL_SEGMENT_S;
        const struct span segment = {from_s, from_s + CRITERIA_FILL_SEGMENT_S};
        const double rise_ml = series_value(vinf, segment.to_s) - series_value(vinf, from_s);
        const double running = running_share(timeline, segment);

        disagreement_take(&stands, running >= 1.0 - 1e-6 && rise_ml < idle_ml, segment);
        disagreement_take(&rises, running <= 1e-6 && rise_ml > idle_ml, segment);
    }
    disagreement_end(&stands);
    disagreement_end(&rises);
    quality_spans_close(&stands.spans);
    quality_spans_close(&rises.spans);
}

void quality_of_pump(const struct pressure_lines *lines)
{
    const struct timeline *timeline = &lines->study->timeline;

    if (lines->filling == NULL || lines->study->vinf.count == 0) {
        return;
    }
    note_rate(lines);
    if (timeline->filling_start.known && timeline->filling_stop.known &&
        lines->filling->span.to_s - lines->filling->span.from_s <=
            (double)lines->study->vinf.count * CRITERIA_FILL_SEGMENT_S) {
        note_markers(lines);
    }
}
