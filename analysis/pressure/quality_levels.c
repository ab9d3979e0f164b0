#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality_spans.h"
#include "analysis/series_copy.h"

#include <math.h>

/* One line's level before and after a moment. */
struct change {
    double before;
    double after;
};

static double level(const struct pressure_lines *lines, const struct series *line, double from_s,
                    double to_s)
{
    return level_median(line, (struct span){from_s, to_s}, lines->study->scratch);
}

static struct change measure_change(const struct pressure_lines *lines, const struct series *line,
                                    double at_s, double after_s)
{
    return (struct change){.before = level(lines, line, at_s - CRITERIA_STEP_LEVEL_S, at_s),
                           .after = level(lines, line, after_s, after_s + CRITERIA_OUT_HOLD_S)};
}

/* Whether the line beside, when there is one, has changed by less than its share of `size`. */
static bool is_alone(const struct pressure_lines *lines, const struct judged_line *beside,
                     double at_s, double after_s, double size)
{
    if (beside->coarse.count == 0) {
        return true;
    }
    const struct change change = measure_change(lines, &beside->coarse, at_s, after_s);

    return fabs(change.after - change.before) < CRITERIA_OUT_OTHER_SHARE * size;
}

/* Whether the line stays nearer to its new level to the end of the time that is asked for. */
static bool is_held(const struct pressure_lines *lines, const struct series *line, double after_s,
                    const struct change *change)
{
    const double end_s = after_s + CRITERIA_OUT_HOLD_S;
    const double last = level(lines, line, end_s - 1.0, end_s);

    return fabs(last - change->after) < fabs(last - change->before);
}

/* Whether something that people do explains a sudden change of one line. */
static bool is_explained(const struct pressure_lines *lines, double at_s)
{
    static const enum event_code codes[] = {EVENT_ZERO, EVENT_FLUSH, EVENT_POSITION_CHANGE};
    const struct span around = {at_s - CRITERIA_STEP_MARKER_S, at_s + CRITERIA_STEP_MARKER_S};

    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        const struct optional_number marker =
            timeline_first(&lines->study->timeline, codes[i], around.from_s);

        if (marker.known && marker.value <= around.to_s) {
            return true;
        }
    }
    return quality_lines_event(lines, PRESSURE_EVENT_FLUSH, around);
}

/* First moment from `index` on at which the line has lost half of what it lost. */
static double lost_at(const struct series *line, size_t index, const struct change *change)
{
    const double half = 0.5 * (change->before + change->after);
    size_t i = index;

    while (i + 1 < line->count && !(line->samples[i] < half)) {
        i++;
    }
    return series_time(line, i);
}

/* First moment after `index` at which the line is back above half of what it lost; its end when
 * it never is. */
static double back_at(const struct series *line, size_t index, const struct change *change)
{
    const double half = 0.5 * (change->before + change->after);
    const size_t enough = series_whole_samples(line, CRITERIA_STEP_LEVEL_S) + 1;
    size_t above = 0;

    for (size_t i = index; i < line->count; i++) {
        above = line->samples[i] > half ? above + 1 : 0;
        if (above >= enough) {
            return series_time(line, i + 1 - enough);
        }
    }
    return series_time(line, line->count - 1);
}

static bool is_out(const struct pressure_lines *lines, const struct judged_line *beside,
                   const struct change *change, double after_s, enum signal_kind signal)
{
    if (change->after <= CRITERIA_OUT_LEVEL_CMH2O) {
        return true;
    }
    return signal == SIGNAL_PVES && change->before - change->after > CRITERIA_OUT_LARGE_CMH2O &&
           change->after - level(lines, &beside->coarse, after_s, after_s + CRITERIA_OUT_HOLD_S) <
               CRITERIA_OUT_PDET_CMH2O;
}

static void note_out(const struct pressure_lines *lines, const struct judged_line *line,
                     const struct judged_line *beside)
{
    const struct series watched = series_part(&line->coarse, lines->watched);
    const size_t within = series_whole_samples(&watched, CRITERIA_OUT_WITHIN_S);
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "catheter_out",
                    .severity = QUALITY_ERROR,
                    .signal = line->signal,
                    .text =
                        "This pressure alone falls to about atmospheric pressure and stays "
                        "there: the catheter came out, or the line was opened to air. Do not "
                        "use it, or pdet, from here: check the catheter and repeat if you can."},
        .text_rest = "This pressure falls to about atmospheric pressure again within this span. Do "
                     "not use it there."};

    for (size_t i = 0; i + within < watched.count; i++) {
        if (!(watched.samples[i] - watched.samples[i + within] >= 0.5 * CRITERIA_OUT_FALL_CMH2O)) {
            continue;
        }
        const double at_s = series_time(&watched, i);
        const double after_s = at_s + CRITERIA_OUT_WITHIN_S;
        const struct change change = measure_change(lines, &watched, at_s, after_s);
        const double fall = change.before - change.after;

        if (fall >= CRITERIA_OUT_FALL_CMH2O && is_alone(lines, beside, at_s, after_s, fall) &&
            is_out(lines, beside, &change, after_s, line->signal) &&
            is_held(lines, &watched, after_s, &change) &&
            !is_explained(lines, lost_at(&watched, i, &change))) {
            const double to_s = back_at(&watched, i + within, &change);

            quality_spans_add(&spans, (struct span){lost_at(&watched, i, &change), to_s});
            i = series_first_at(&watched, to_s);
        }
    }
    quality_spans_close(&spans);
}

/* Whether the line is away from its level before as soon as the step is over. */
static bool is_at_once(const struct pressure_lines *lines, const struct series *line,
                       double after_s, double before)
{
    return fabs(level(lines, line, after_s, after_s + CRITERIA_STEP_LEVEL_S) - before) >
           CRITERIA_STEP_CMH2O;
}

static void note_steps(const struct pressure_lines *lines, const struct judged_line *line,
                       const struct judged_line *beside)
{
    const struct series watched = series_part(&line->coarse, lines->passive);
    const size_t within = series_whole_samples(&watched, CRITERIA_STEP_WITHIN_S);
    const size_t hold = series_whole_samples(&watched, CRITERIA_OUT_HOLD_S);
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "pressure_step",
                    .severity = QUALITY_WARNING,
                    .signal = line->signal,
                    .text = "This pressure alone steps to another level: the catheter moved, or "
                            "lies against the wall, is kinked or blocked. Flush it, check its "
                            "position, and do not compare pressures across the step."},
        .text_rest = "This pressure steps at several further places within this span. Check the "
                     "line."};

    for (size_t i = 0; within > 0 && i + within < watched.count; i++) {
        if (!(fabs(watched.samples[i + within] - watched.samples[i]) > CRITERIA_STEP_CMH2O)) {
            continue;
        }
        const double at_s = series_time(&watched, i);
        const double after_s = at_s + CRITERIA_STEP_WITHIN_S;
        const struct change change = measure_change(lines, &watched, at_s, after_s);
        const double size = fabs(change.after - change.before);
        const struct span span = {at_s - CRITERIA_OUT_WITHIN_S, at_s + CRITERIA_OUT_WITHIN_S};

        if (size > CRITERIA_STEP_CMH2O && is_at_once(lines, &watched, after_s, change.before) &&
            is_alone(lines, beside, at_s, after_s, size) &&
            is_held(lines, &watched, after_s, &change) && !is_explained(lines, at_s) &&
            !quality_spans_told(&lines->study->outcome, "catheter_out", line->signal, span)) {
            quality_spans_add(&spans, (struct span){at_s, after_s + CRITERIA_STEP_LEVEL_S});
            i += hold;
        }
    }
    quality_spans_close(&spans);
}

/* Whether one of the line's levels changed in a way that is told already, or by position. */
static bool is_stepped(const struct pressure_lines *lines, enum signal_kind signal,
                       struct span span)
{
    const struct study *study = lines->study;
    const struct optional_number moved =
        timeline_first(&study->timeline, EVENT_POSITION_CHANGE, span.from_s);

    return (moved.known && moved.value <= span.to_s) ||
           quality_lines_event(lines, PRESSURE_EVENT_POSITION, span) ||
           quality_spans_told(&study->outcome, "catheter_out", signal, span) ||
           quality_spans_told(&study->outcome, "pressure_step", signal, span);
}

static void note_drift(const struct pressure_lines *lines, const struct judged_line *line)
{
    const struct span span = lines->filling->span;
    const double length_s = span.to_s - span.from_s;
    const double part_s = CRITERIA_DRIFT_SHARE * length_s;

    if (line->coarse.count == 0 || !(length_s >= CRITERIA_DRIFT_LEAST_S) ||
        is_stepped(lines, line->signal, span)) {
        return;
    }
    const double first = level(lines, &line->coarse, span.from_s, span.from_s + part_s);
    const double last = level(lines, &line->coarse, span.to_s - part_s, span.to_s);
    const double slope = (last - first) / (length_s - part_s) * 600.0;
    const bool drifts = line->signal == SIGNAL_PABD ? fabs(slope) > CRITERIA_DRIFT_CMH2O_10MIN
                                                    : slope < -CRITERIA_DRIFT_CMH2O_10MIN;

    if (drifts) {
        outcome_note_span(
            &lines->study->outcome,
            (struct quality_finding){
                .code = "drift",
                .severity = QUALITY_WARNING,
                .signal = line->signal,
                .text = "This pressure drifts during filling by more than 10 cmH2O in 10 min: the "
                        "line leaks or dries out, the catheter moves, the patient slides, or, in "
                        "pabd, the rectum fills. Check it with a cough, and read compliance and "
                        "pdet at the end of filling with care."},
            span.from_s, span.to_s);
    }
}

/* Whether somebody was told of this pdet in other words. */
static bool is_pdet_told(const struct pressure_lines *lines, struct span span)
{
    const struct outcome *outcome = &lines->study->outcome;

    return quality_spans_told(outcome, "resting_pressure", SIGNAL_PDET,
                              (struct span){-SERIES_ENDLESS, SERIES_ENDLESS}) ||
           quality_spans_told(outcome, "implausible_value", SIGNAL_PDET, span) ||
           quality_spans_told(outcome, "catheter_out", SIGNAL_PVES, span) ||
           quality_lines_event(lines, PRESSURE_EVENT_RECTAL, span);
}

static bool note_negative(const struct pressure_lines *lines)
{
    const struct series watched = series_part(&lines->pdet, lines->watched);
    struct series smoothed;
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "negative_pdet",
                    .severity = QUALITY_WARNING,
                    .signal = SIGNAL_PDET,
                    .text = "Detrusor pressure stays below -5 cmH2O here, which a bladder does not "
                            "do: pves reads too low or pabd too high. Compare both lines with a "
                            "cough, and check heights and flushing before using pdet."},
        .text_rest = "Detrusor pressure is below -5 cmH2O at several further places within this "
                     "span. Compare both lines."};
    size_t i = 0;

    if (!series_copy_smoothed(&watched, CRITERIA_NEGATIVE_HALF_S, lines->study->memory,
                              &smoothed)) {
        return false;
    }
    while (i < smoothed.count) {
        const size_t first = i;

        while (i < smoothed.count && smoothed.samples[i] < CRITERIA_REST_PDET_MIN) {
            i++;
        }
        const struct span span = {series_time(&smoothed, first),
                                  series_time(&smoothed, i > first ? i - 1 : first)};

        if (span.to_s - span.from_s >= CRITERIA_NEGATIVE_S && !is_pdet_told(lines, span)) {
            quality_spans_add(&spans, span);
        }
        i += i == first ? 1 : 0;
    }
    quality_spans_close(&spans);
    return true;
}

bool quality_of_levels(const struct pressure_lines *lines)
{
    if (lines->pves.coarse.count > 0) {
        note_out(lines, &lines->pves, &lines->pabd);
        note_steps(lines, &lines->pves, &lines->pabd);
    }
    if (lines->pabd.coarse.count > 0) {
        note_out(lines, &lines->pabd, &lines->pves);
        note_steps(lines, &lines->pabd, &lines->pves);
    }
    if (lines->filling != NULL) {
        note_drift(lines, &lines->pves);
        note_drift(lines, &lines->pabd);
    }
    return note_negative(lines);
}
