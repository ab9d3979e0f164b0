/* One recording in a de-identified export: numbers, classes and standard codes. No text that
 * anybody wrote gets here, and none that was stored is copied unless it is a code this program
 * knows. */
#ifndef REPORT_RESEARCH_JSON_H
#define REPORT_RESEARCH_JSON_H

#include "base/text.h"
#include "formats/recording_json.h"
#include "report/small_cells.h"
#include "store/store_research.h"

enum research_dates {
    RESEARCH_DATES_INTERVALS, /* days since the subject's first usable study */
    RESEARCH_DATES_YEAR,
    RESEARCH_DATES_SHIFTED, /* beyond what 45 CFR 164.514(b)(2)(i)(C) allows */
    RESEARCH_DATES_COUNT
};

enum research_ages { RESEARCH_AGES_BANDS, RESEARCH_AGES_YEARS, RESEARCH_AGES_COUNT };

/* "intervals", "year", "shifted"; "bands", "years". NULL-terminated. */
extern const char *const research_dates_names[];
extern const char *const research_ages_names[];

struct research_options {
    enum research_dates dates;
    enum research_ages ages;
    int least; /* k: subjects of any combination that is told */
};

/* Puts the lines into groups and cells and decides their fates; fates[count] on the arena. */
const enum small_cell_fate *research_fates(struct arena *arena, const struct research_pool *pool,
                                           const struct research_options *options);

/* Appends one object. analysis_json  the document of the recording's newest revision
 * fate  whole or masked */
void research_json_write(const struct research_line *line, enum small_cell_fate fate,
                         const struct research_options *options, const char *analysis_json,
                         const struct document_event *events, size_t event_count, struct text *out);

#endif
