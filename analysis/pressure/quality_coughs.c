#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/filling/infusion.h"
#include "analysis/memory.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality_spans.h"

#include <math.h>

enum { PEAKS_MAX = 512, TIMES_MAX = 2 * PEAKS_MAX };

/* A spike in one line that may be a cough. */
struct spike {
    double rise_cmh2o;
    double width_s;  /* at half height */
    double middle_s; /* midway between the moments of half height */
};

enum verdict { VERDICT_ALIKE, VERDICT_UNEQUAL, VERDICT_DAMPED, VERDICT_SILENT };

/* How both lines answered one cough. */
struct response {
    double at_s;
    enum verdict verdict;
    enum signal_kind weaker;
};

/* ---- Where something like a cough is ---- */

static bool is_top(const struct series *line, size_t index, size_t reach)
{
    const size_t first = index > reach ? index - reach : 0;
    const size_t end = line->count - index > reach ? index + reach + 1 : line->count;

    for (size_t i = first; i < end; i++) {
        if (line->samples[i] > line->samples[index] ||
            (i < index && line->samples[i] >= line->samples[index])) {
            return false;
        }
    }
    return true;
}

/* Tops of a coarse line that stand out from what lies before and after them. */
static size_t find_tops(const struct series *line, double *tops)
{
    const size_t away = series_whole_samples(line, CRITERIA_RESPONSE_RETURN_S);
    const double least = 0.5 * CRITERIA_RESPONSE_RISE_CMH2O;
    size_t found = 0;

    for (size_t i = away; i + away < line->count && found < PEAKS_MAX; i++) {
        const double top = line->samples[i];

        if (top - line->samples[i - away] > least && top - line->samples[i + away] > least &&
            is_top(line, i, away / 2)) {
            tops[found++] = series_time(line, i);
        }
    }
    return found;
}

/* Time of half height on one side of the top, by interpolation. */
static double half_crossing(const struct series *line, size_t top, int step, double half)
{
    size_t i = top;

    while ((step < 0 ? i > 0 : i + 1 < line->count) && line->samples[i] > half) {
        i = step < 0 ? i - 1 : i + 1;
    }
    const size_t inside = step < 0 ? i + 1 : i - 1;

    if (i == top || !(line->samples[i] <= half)) {
        return SERIES_MISSING;
    }
    const double share =
        (line->samples[inside] - half) / (line->samples[inside] - line->samples[i]);

    return series_time(line, inside) + (double)step * share / line->rate_hz;
}

/* What a line does around a moment. All NaN where samples are missing; no width where it does not
 * come back. */
static struct spike measure_spike(const struct study *study, const struct series *line, double at_s)
{
    const double level_to_s = at_s - CRITERIA_RESPONSE_LEAD_S;
    const struct span before = {level_to_s - CRITERIA_RESPONSE_LEVEL_S, level_to_s};
    const struct span around = {at_s - CRITERIA_RESPONSE_REACH_S, at_s + CRITERIA_RESPONSE_REACH_S};
    const struct series part = series_part(line, around);
    struct spike spike = {SERIES_MISSING, SERIES_MISSING, SERIES_MISSING};
    size_t top = 0;

    if (!series_maximum(&part, &top)) {
        return spike;
    }
    const double level = level_median(line, before, study->scratch);
    const size_t index = series_first_at(line, series_time(&part, top) - 0.5 / line->rate_hz);

    spike.rise_cmh2o = part.samples[top] - level;
    if (spike.rise_cmh2o > 0.0 && index < line->count) {
        const struct series near =
            series_part(line, (struct span){around.from_s - CRITERIA_RESPONSE_RETURN_S,
                                            around.to_s + CRITERIA_RESPONSE_RETURN_S});
        const size_t near_top =
            series_first_at(&near, series_time(line, index) - 0.5 / line->rate_hz);
        const double half = level + 0.5 * spike.rise_cmh2o;
        const double rise_s = half_crossing(&near, near_top, -1, half);
        const double fall_s = half_crossing(&near, near_top, 1, half);

        spike.width_s = fall_s - rise_s;
        spike.middle_s = 0.5 * (rise_s + fall_s);
    }
    return spike;
}

/* ---- How both lines answer ---- */

static bool is_marked(const struct study *study, double at_s)
{
    const struct optional_number marker =
        timeline_first(&study->timeline, EVENT_COUGH, at_s - CRITERIA_RESPONSE_MARKER_S);

    return marker.known && marker.value <= at_s + CRITERIA_RESPONSE_MARKER_S;
}

static bool is_damped(const struct spike *weaker, const struct spike *stronger, double period_s)
{
    return weaker->rise_cmh2o >= CRITERIA_DAMPED_RISE_CMH2O &&
           (weaker->width_s > CRITERIA_DAMPED_WIDTH_RATIO * stronger->width_s ||
            weaker->middle_s - stronger->middle_s > CRITERIA_DAMPED_LAG_S + 0.5 * period_s);
}

/* Judges the lines at a moment; false when it is no cough, or cannot be compared. */
static bool judge(const struct pressure_lines *lines, double at_s, struct response *ret_response)
{
    const struct study *study = lines->study;
    const struct spike pves = measure_spike(study, lines->pves.full, at_s);
    const struct spike pabd = measure_spike(study, lines->pabd.full, at_s);
    const bool pves_weaker = pves.rise_cmh2o < pabd.rise_cmh2o;
    const struct spike *weaker = pves_weaker ? &pves : &pabd;
    const struct spike *stronger = pves_weaker ? &pabd : &pves;
    const double period_s = 1.0 / fmin(lines->pves.full->rate_hz, lines->pabd.full->rate_hz);

    if (!(stronger->rise_cmh2o >= CRITERIA_RESPONSE_RISE_CMH2O) || isnan(weaker->rise_cmh2o) ||
        !(stronger->width_s >= CRITERIA_RESPONSE_WIDTH_S &&
          stronger->width_s <= CRITERIA_RESPONSE_RETURN_S)) {
        return false;
    }
    const double ratio = weaker->rise_cmh2o / stronger->rise_cmh2o;

    *ret_response = (struct response){
        .at_s = at_s, .verdict = VERDICT_ALIKE, .weaker = pves_weaker ? SIGNAL_PVES : SIGNAL_PABD};
    if (ratio < CRITERIA_RESPONSE_SILENT) {
        ret_response->verdict = VERDICT_SILENT;
        /* In one line alone it may be a knock on its tube, unless somebody says that it was a
         * cough. */
        return is_marked(study, at_s);
    }
    if (is_damped(weaker, stronger, period_s)) {
        ret_response->verdict = VERDICT_DAMPED;
    } else if (ratio < study->choices->cough_transmission_low.value) {
        ret_response->verdict = VERDICT_UNEQUAL;
    }
    return true;
}

/* Takes the earliest of the two lists' next tops. */
static double next_top(const double *const tops[2], const size_t counts[2], size_t next[2])
{
    const bool have[2] = {next[0] < counts[0], next[1] < counts[1]};
    const size_t which = have[0] && (!have[1] || tops[0][next[0]] <= tops[1][next[1]]) ? 0 : 1;

    return tops[which][next[which]++];
}

static bool is_excused(const struct pressure_lines *lines, double at_s)
{
    const struct span moment = {at_s, at_s};

    return quality_lines_event(lines, PRESSURE_EVENT_FLUSH, moment) ||
           quality_lines_event(lines, PRESSURE_EVENT_STRAIN, moment);
}

static size_t find_responses(const struct pressure_lines *lines, double *room,
                             struct response *responses)
{
    double *const tops[2] = {room, room + PEAKS_MAX};
    const size_t counts[2] = {find_tops(&lines->pves.coarse, tops[0]),
                              find_tops(&lines->pabd.coarse, tops[1])};
    size_t next[2] = {0, 0};
    double last_s = -SERIES_ENDLESS;
    size_t found = 0;

    while (next[0] + next[1] < counts[0] + counts[1] && found < PEAKS_MAX) {
        const double at_s = next_top((const double *const *)tops, counts, next);

        if (at_s - last_s > CRITERIA_RESPONSE_REACH_S && !is_excused(lines, at_s) &&
            judge(lines, at_s, &responses[found])) {
            found++;
            last_s = at_s;
        }
    }
    return found;
}

static struct quality_finding response_finding(const struct response *response)
{
    static const struct {
        const char *code;
        enum quality_severity severity;
        const char *text;
    } kinds[] = {
        [VERDICT_UNEQUAL] =
            {"unequal_cough_response", QUALITY_WARNING,
             "The lines do not answer a cough alike: this one rises less than the share in use "
             "(0.7 unless the clinic chose another; from memory). From the last equal response on "
             "to the next, pressures may be wrong: flush this line, check its height and position, "
             "and ask for another cough."},
        [VERDICT_DAMPED] =
            {"damped_line", QUALITY_WARNING,
             "This line answers a cough low, wide or late beside the other: air in the line, or "
             "one that is kinked or partly blocked. From the last equal response on to the next, "
             "pressures may be wrong: flush it and ask for another cough."},
        [VERDICT_SILENT] =
            {"no_cough_response", QUALITY_ERROR,
             "This line does not answer a cough that the other one shows: closed, blocked, kinked "
             "or out. From the last equal response on to the next, do not use its pressure: check "
             "tap and catheter, flush, and ask for another cough."},
    };

    return (struct quality_finding){.code = kinds[response->verdict].code,
                                    .severity = kinds[response->verdict].severity,
                                    .signal = response->weaker,
                                    .text = kinds[response->verdict].text};
}

/* Tells of the responses that are not alike; those in a row that are alike in how they fail are
 * one. */
static void note_responses(const struct pressure_lines *lines, const struct response *responses,
                           size_t count)
{
    const struct span extent = study_extent(lines->study);
    size_t listed = 0;
    size_t i = 0;

    while (i < count && listed < CRITERIA_SPANS_LISTED) {
        const size_t first = i++;

        if (responses[first].verdict == VERDICT_ALIKE) {
            continue;
        }
        while (i < count && responses[i].verdict == responses[first].verdict &&
               responses[i].weaker == responses[first].weaker) {
            i++;
        }
        outcome_note_span(&lines->study->outcome, response_finding(&responses[first]),
                          first > 0 ? responses[first - 1].at_s : extent.from_s,
                          i < count ? responses[i].at_s : extent.to_s);
        listed++;
    }
}

/* ---- When coughs were asked for ---- */

static void note_schedule(const struct pressure_lines *lines, const char *code,
                          enum quality_severity severity, const char *text)
{
    outcome_note(&lines->study->outcome, code, severity, SIGNAL_NONE, text);
}

/* Volume infused between two moments; endless when it is not known. */
static double infused_between(const struct study *study, double from_s, double to_s)
{
    const struct infused before = infusion_volume(study, from_s);
    const struct infused after = infusion_volume(study, to_s);

    return before.known && after.known ? after.volume_ml - before.volume_ml : SERIES_ENDLESS;
}

static void note_gaps(const struct pressure_lines *lines, const double *times, size_t count)
{
    const struct span filling = lines->filling->span;
    struct quality_spans spans = {
        .outcome = &lines->study->outcome,
        .finding = {.code = "cough_gap",
                    .severity = QUALITY_INFO,
                    .signal = SIGNAL_NONE,
                    .text = "No cough for more than 2 min and 100 mL of filling. That both lines "
                            "measured alike meanwhile is not shown: ask for one every minute or "
                            "50 mL."},
        .text_rest = "Further stretches of filling within this span hold no cough. Ask for one "
                     "every minute or 50 mL."};
    double last_s = filling.from_s;

    for (size_t i = 0; i <= count; i++) {
        const double at_s = i < count ? fmin(times[i], filling.to_s) : filling.to_s;

        if (at_s - last_s > CRITERIA_SCHEDULE_GAP_S &&
            infused_between(lines->study, last_s, at_s) > CRITERIA_SCHEDULE_GAP_ML) {
            quality_spans_add(&spans, (struct span){last_s, at_s});
        }
        last_s = fmax(last_s, at_s);
    }
    quality_spans_close(&spans);
}

static bool any_within(const double *times, size_t count, double from_s, double to_s)
{
    for (size_t i = 0; i < count; i++) {
        if (times[i] >= from_s && times[i] <= to_s) {
            return true;
        }
    }
    return false;
}

static void note_times(const struct pressure_lines *lines, const double *times, size_t count)
{
    const struct filling_phase *filling = lines->filling;

    if (filling == NULL) {
        return;
    }
    if (count == 0) {
        note_schedule(lines, "no_cough_test", QUALITY_WARNING,
                      "There is no cough in this recording. That both lines measure alike is not "
                      "shown: compare their fine movement by eye, and ask for a cough at the "
                      "start, every minute or 50 mL, before and after voiding.");
        return;
    }
    if (!any_within(times, count, -SERIES_ENDLESS,
                    filling->span.from_s + CRITERIA_SCHEDULE_START_S)) {
        note_schedule(lines, "no_cough_at_start", QUALITY_WARNING,
                      "There is no cough before filling or within its first minute. That both "
                      "lines measured alike from the start is not shown: look at the first "
                      "response.");
    }
    note_gaps(lines, times, count);
    if (!lines->voiding->found) {
        return;
    }
    if (!any_within(times, count, filling->span.to_s - CRITERIA_SCHEDULE_BEFORE_S,
                    fmax(filling->span.to_s, lines->voiding->span.from_s))) {
        note_schedule(lines, "no_cough_before_voiding", QUALITY_INFO,
                      "There is no cough in the minute before voiding. Ask for one, so that the "
                      "voiding pressures can be relied on.");
    }
    if (!any_within(times, count, lines->voiding->span.to_s, SERIES_ENDLESS)) {
        note_schedule(lines, "no_cough_after_voiding", QUALITY_INFO,
                      "There is no cough after voiding. Whether a catheter moved during it is not "
                      "shown: compare both lines before and after it by eye.");
    }
}

/* Coughs for the schedule: those that were seen, and those marked where nothing was seen. */
static size_t gather_times(const struct pressure_lines *lines, const struct response *responses,
                           size_t count, double *times)
{
    const struct timeline *timeline = &lines->study->timeline;
    size_t held = 0;
    size_t next = 0;

    for (size_t i = 0; i <= timeline->count; i++) {
        const double marker_s = i < timeline->count ? timeline->events[i].at_s : SERIES_ENDLESS;

        while (next < count && responses[next].at_s <= marker_s && held < TIMES_MAX) {
            times[held++] = responses[next++].at_s;
        }
        if (i < timeline->count && timeline->events[i].code == EVENT_COUGH && held < TIMES_MAX) {
            times[held++] = marker_s;
        }
    }
    return held;
}

bool quality_of_coughs(const struct pressure_lines *lines)
{
    const struct study *study = lines->study;
    double *times = NULL;
    struct response *responses = NULL;

    if (lines->pves.full->count == 0 || lines->pabd.full->count == 0 ||
        fmin(lines->pves.full->rate_hz, lines->pabd.full->rate_hz) < CRITERIA_LINE_RATE_LEAST_HZ) {
        return true;
    }
    times = memory_doubles(study->memory, TIMES_MAX);
    responses = memory_array(study->memory, PEAKS_MAX, sizeof *responses);
    if (times == NULL || responses == NULL) {
        return false;
    }
    const size_t count = find_responses(lines, times, responses);

    note_responses(lines, responses, count);
    note_times(lines, times, gather_times(lines, responses, count, times));
    return true;
}
