/* What the referring physician opens: one page that says first what was found and what to do.
 *
 * Made for a telephone: no script, style only from /assets/penstock.css, nothing to be unfolded. */
#ifndef REPORT_BRIEF_H
#define REPORT_BRIEF_H

#include "base/text.h"
#include "formats/interpretation_json.h"
#include "store/store_recording.h"
#include "store/store_signature.h"
#include "store/store_study.h"

#include <stddef.h>

/* Where the whole document is to be had; NULL: not in this form. */
struct brief_document {
    const char *html_address;
    const char *pdf_address;
};

struct brief_recording {
    const struct recording_row *row;
    const char *analysis_json; /* the newest revision's document */
};

struct brief {
    const char *clinic_name;
    const struct study *study;
    const struct patient *patient;
    size_t recording_count;
    const struct brief_recording *recordings; /* in order of time */
    /* The one that was signed; NULL: none was. What nobody has signed is not shown. */
    const struct interpretation *interpretation;
    size_t signature_count;
    const struct signature_row *signatures; /* oldest first */
    struct brief_document report;
    struct brief_document letter;
};

/* A complete HTML document, in this order: whose study it is; conclusion, diagnoses and plan; who
 * signed it when, and why it was amended; findings; few numbers, rounded, with words; what to be
 * careful with; the documents. "Preliminary" is said at the top and beside the numbers unless the
 * study's status is final or amended. The title names no person. */
void brief_html_write(const struct brief *brief, struct text *out);

#endif
