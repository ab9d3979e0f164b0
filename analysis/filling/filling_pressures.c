/* Resting and end-filling pressures, and compliance between them. */
#include "analysis/criteria.h"
#include "analysis/filling/filling_parts.h"
#include "analysis/filling/infusion.h"
#include "analysis/measure.h"

#include <math.h>

static const char no_pdet[] = "no detrusor pressure: it needs pves and pabd, or pdet";

/* Spread by which a window is judged: of pves where there is one, else of what there is. */
static double window_spread(const struct study *study, struct span window)
{
    const struct series *judge = &study->pves;

    if (judge->count == 0) {
        judge = study->pdet.count > 0 ? &study->pdet : &study->pabd;
    }
    return judge->count > 0 ? level_spread(judge, window) : SERIES_MISSING;
}

/* Whether a contraction is under way during a window, or at its edges. */
static bool in_contraction(const struct item_list *contractions, struct span window)
{
    const struct involuntary_contraction *items = contractions->items;

    for (size_t i = 0; i < contractions->count; i++) {
        if (items[i].start_s < window.to_s && items[i].end_s > window.from_s) {
            return true;
        }
    }
    return false;
}

static bool is_disturbed(const struct study *study, const struct item_list *contractions,
                         struct span window)
{
    return timeline_disturbed(&study->timeline, window, CRITERIA_QUIET_EVENT_S) ||
           pressure_events_overlap(&study->pressure_events, ~0u, window, CRITERIA_QUIET_EVENT_S) ||
           in_contraction(contractions, window);
}

/* The search for a quiet window. */
struct quiet_search {
    const struct study *study;
    const struct item_list *contractions;
    struct span best; /* the one with the least spread so far */
    double least;
};

/* Whether a window is quiet; else it may be the best so far, unless something happens in it. */
static bool try_window(struct quiet_search *search, double from_s)
{
    const struct span window = {from_s, from_s + CRITERIA_LEVEL_WINDOW_S};
    const double spread = window_spread(search->study, window);

    if (isnan(spread) || is_disturbed(search->study, search->contractions, window)) {
        return false;
    }
    if (spread < search->least) {
        search->least = spread;
        search->best = window;
    }
    return spread <= CRITERIA_QUIET_SPREAD_CMH2O;
}

/* The earliest quiet window around the start of filling, from the 5 s before it on; else the latest
 * before that; the one with the least spread when none is quiet. */
static struct span find_quiet_window(const struct study *study, const struct filling_phase *phase,
                                     const struct item_list *contractions)
{
    const double first_s = phase->span.from_s - CRITERIA_LEVEL_WINDOW_S;
    const double last_s = fmin(phase->span.from_s + CRITERIA_BASELINE_SEARCH_S, phase->span.to_s) -
                          CRITERIA_LEVEL_WINDOW_S;
    const double earliest_s = study_extent(study).from_s;
    struct quiet_search search = {
        study,
        contractions,
        {phase->span.from_s, phase->span.from_s + CRITERIA_LEVEL_WINDOW_S},
        SERIES_ENDLESS};

    for (int step = 0; first_s + step <= last_s; step++) {
        if (first_s + step >= earliest_s && try_window(&search, first_s + step)) {
            return (struct span){first_s + step, first_s + step + CRITERIA_LEVEL_WINDOW_S};
        }
    }
    for (int step = 1;
         step <= CRITERIA_BASELINE_SEARCH_S && isinf(search.least) && first_s - step >= earliest_s;
         step++) {
        if (try_window(&search, first_s - step)) {
            break;
        }
    }
    return search.best;
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
    const struct infused first = infusion_volume(study, measures->pdet_baseline.at_s);
    const struct infused second = infusion_volume(study, measures->pdet_end_fill.at_s);

    if (!second.known || !first.known) {
        all_compliance(measures, measure_absent(second.known ? first.reason : second.reason));
        return;
    }
    const double rise = measures->pdet_end_fill.value - measures->pdet_baseline.value;
    const double change_ml = second.volume_ml - first.volume_ml;

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
        measures->compliance = measure_of(
            change_ml / rise,
            "volume change over pressure change between the start of filling and "
            "cystometric capacity; pressures are medians of 5 s outside any contraction that was "
            "found, coughs excluded");
    }
}

/* Where the end-filling pressure is read, and how that is told. */
struct end_window {
    struct span span;
    const char *method;
};

/* Start of the contraction that is under way during a window, or NaN. */
static double contraction_start(const struct item_list *contractions, struct span window)
{
    const struct involuntary_contraction *items = contractions->items;
    double start_s = SERIES_MISSING;

    for (size_t i = contractions->count; i > 0; i--) {
        if (items[i - 1].start_s < window.to_s && items[i - 1].end_s > window.from_s) {
            start_s = items[i - 1].start_s;
        }
    }
    return start_s;
}

/* The last window of filling; before the contraction, or the waves in a row, in which filling
 * ends; and before a strain, flush, rectal contraction or change of position. */
static struct end_window find_end_window(const struct study *study,
                                         const struct filling_phase *phase,
                                         const struct item_list *contractions)
{
    static const char at_end[] = "median of the last 5 s of filling, before permission to void";
    static const char before_void[] =
        "median of 5 s that end at least 10 s before the start of voiding, because there is no "
        "permission_to_void marker";
    static const char before_contraction[] =
        "median of the last 5 s before the involuntary contraction in which filling ends";
    static const char before_event[] =
        "median of the last 5 s before straining, a flush, a rectal contraction or a change of "
        "position at the end of filling";
    const unsigned disturbing = 1u << PRESSURE_EVENT_STRAIN | 1u << PRESSURE_EVENT_RECTAL |
                                1u << PRESSURE_EVENT_POSITION | 1u << PRESSURE_EVENT_FLUSH;
    struct end_window end = {
        {phase->pressure_end_s - CRITERIA_LEVEL_WINDOW_S, phase->pressure_end_s},
        phase->end == FILLING_ENDS_AT_VOIDING ? before_void : at_end};
    const double earliest_s = phase->span.from_s;

    while (end.span.from_s > earliest_s) {
        const double start_s = contraction_start(contractions, end.span);
        double to_s = end.span.to_s;

        if (start_s < to_s) {
            to_s = start_s;
            end.method = before_contraction;
        } else if (pressure_events_overlap(&study->pressure_events, disturbing, end.span, 0.0)) {
            to_s -= 1.0;
            end.method = end.method == before_contraction ? before_contraction : before_event;
        } else {
            break;
        }
        end.span = (struct span){to_s - CRITERIA_LEVEL_WINDOW_S, to_s};
    }
    return end;
}

static void measure_levels(const struct study *study, const struct filling_phase *phase,
                           struct filling_measures *measures)
{
    static const char resting[] =
        "median of the first quiet 5 s (pves within 5 cmH2O) around the start of filling";
    const struct item_list *contractions = &measures->involuntary_contractions;
    const struct span quiet = find_quiet_window(study, phase, contractions);
    const struct end_window end = find_end_window(study, phase, contractions);

    measures->pves_baseline =
        level_measure(study, &study->pves, quiet, "no vesical pressure signal", resting);
    measures->pabd_baseline =
        level_measure(study, &study->pabd, quiet, "no abdominal pressure signal", resting);
    measures->pdet_baseline = level_measure(study, &study->pdet, quiet, no_pdet, resting);
    measures->pdet_end_fill =
        end.span.from_s < quiet.to_s
            ? measure_absent("filling is too short to read a pressure at its end")
            : level_measure(study, &study->pdet, end.span, no_pdet, end.method);
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

void filling_measure_pressures(struct study *study, const struct filling_phase *phase,
                               struct filling_measures *measures)
{
    measure_levels(study, phase, measures);
    measure_compliance(study, measures);
    note_unquiet_end(study, measures);
}
