#include "analysis/criteria.h"
#include "analysis/criteria_quality.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality.h"
#include "analysis/series_copy.h"

static struct span watched_span(const struct study *study, const struct filling_phase *filling,
                                const struct void_phase *voiding)
{
    struct span watched = study_extent(study);

    if (filling != NULL) {
        watched.from_s = fmax(watched.from_s, filling->span.from_s - CRITERIA_WATCH_BEFORE_S);
    }
    if (voiding->found) {
        watched.to_s = fmin(watched.to_s, voiding->span.to_s + CRITERIA_WATCH_AFTER_S);
    } else if (filling != NULL) {
        watched.to_s = fmin(watched.to_s, filling->span.to_s);
    }
    return watched;
}

static bool open_lines(struct pressure_lines *lines)
{
    const struct study *study = lines->study;

    lines->passive = lines->watched;
    if (lines->filling != NULL) {
        const bool at_voiding = lines->filling->end == FILLING_ENDS_AT_VOIDING;

        lines->passive.to_s =
            fmin(lines->passive.to_s,
                 lines->filling->span.to_s - (at_voiding ? CRITERIA_END_FILL_LEAD_S : 0.0));
    }

    lines->pves = (struct judged_line){.signal = SIGNAL_PVES, .full = &study->pves};
    lines->pabd = (struct judged_line){.signal = SIGNAL_PABD, .full = &study->pabd};
    return series_copy_reduced(&study->pves, CRITERIA_LINE_RATE_HZ, study->memory,
                               &lines->pves.coarse) &&
           series_copy_reduced(&study->pabd, CRITERIA_LINE_RATE_HZ, study->memory,
                               &lines->pabd.coarse) &&
           series_copy_reduced(&study->pdet, CRITERIA_LINE_RATE_HZ, study->memory, &lines->pdet);
}

bool quality_of_pressures(struct study *study, const struct filling_phase *filling,
                          const struct void_phase *void_phase)
{
    struct pressure_lines lines = {.study = study,
                                   .filling = filling,
                                   .voiding = void_phase,
                                   .watched = watched_span(study, filling, void_phase)};

    if (!open_lines(&lines) || !quality_of_coughs(&lines) || !quality_of_levels(&lines) ||
        !quality_of_movement(&lines)) {
        return false;
    }
    quality_of_clipping(&lines);
    quality_of_events(&lines);
    quality_of_pump(&lines);
    return true;
}
