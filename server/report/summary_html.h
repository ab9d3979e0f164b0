/* The study summary as a page for people: numbers by section, units, quality, caution. */
#ifndef REPORT_SUMMARY_HTML_H
#define REPORT_SUMMARY_HTML_H

#include "base/text.h"
#include "store/store_recording.h"
#include "store/store_study.h"

#include <stddef.h>

struct summary_recording {
    const struct recording_row *row;
    const char *analysis_json; /* the newest revision's document */
};

struct summary {
    const char *clinic_name;
    const struct study *study;
    const struct patient *patient;
    size_t recording_count;
    const struct summary_recording *recordings;
};

/* The same content as application/json: {"clinic", "study", "patient", "recordings":
 * [{"id","type","started_at","duration_s","revision","analysis"}], "caution"}. */
void summary_json_write(const struct summary *summary, struct text *out);

/* A complete HTML document, no script, style only from /assets/penstock.css. "Preliminary" is said
 * at the top and beside the numbers unless the study's status is final or amended. Values are
 * rounded after the catalogue. Says how many recordings still run, by the study's count. */
void summary_html_write(const struct summary *summary, struct arena *arena, struct text *out);

/* The caution that every page, report and document carries. */
extern const char SUMMARY_CAUTION[];

#endif
