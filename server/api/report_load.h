/* What a report is written from, for whoever may read it, and the report as a file. */
#ifndef API_REPORT_LOAD_H
#define API_REPORT_LOAD_H

#include "formats/limits.h"
#include "report/report.h"

/* The longest report that is written as text. */
#define REPORT_LIMIT (4 * LIMIT_ANALYSIS_BYTES)

enum report_use {
    REPORT_NUMBERS, /* no figures, which take most of the time */
    REPORT_PEOPLE   /* with figures, and the traces that they are drawn from */
};

/* Which study, and what of it does not stand in the store. */
struct report_subject {
    const char *study_id;
    const char *clinic_name;
    const char *code; /* what a QR code on it holds: api_study_code(); NULL: none */
};

/* Fills in everything of a study, as far as the store's transaction reaches. The report lives on
 * the arena. ERROR_NOT_FOUND when it does not reach the study. */
MUST_CHECK bool report_load(struct store *store, struct arena *arena,
                            const struct report_subject *subject, enum report_use use,
                            struct report *ret_report, struct error *reterr);

/* The report of a study as it is within the store's transaction, as a PDF on the arena: what
 * signing stores. The same content gives the same bytes. Errors as above, and ERROR_INTERNAL when
 * it cannot be drawn. */
MUST_CHECK bool report_make_pdf(struct store *store, struct arena *arena,
                                const struct report_subject *subject,
                                const unsigned char **ret_bytes, size_t *ret_length,
                                struct error *reterr);

#endif
