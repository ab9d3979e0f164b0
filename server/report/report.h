/* The report of a study: one document from its analyses, interpretation, signatures and equipment,
 * for people (PDF, HTML, plain text), and the same content for programs.
 *
 * It says what is missing and what is doubtful, and "Preliminary" on every page until the study is
 * signed. Its content follows the ICS (GUP2016: Rosier PFWM et al. Neurourol Urodyn
 * 2017;36:1243-1260; items from memory). */
#ifndef REPORT_REPORT_H
#define REPORT_REPORT_H

#include "report/document.h"
#include "store/store_recording.h"
#include "store/store_study.h"

#include <jansson.h>
#include <stddef.h>

/* A drawing of one recording, and the part of the report that it belongs to. */
struct report_figure {
    const char *section; /* a section of the analysis document; "": the recording as a whole */
    struct document_figure figure;
};

/* A report has the figures of this many recordings at most: more would take more memory and pages
 * than anybody means by a report. */
enum { REPORT_FIGURED_RECORDINGS_MOST = 20 };

struct report_recording {
    const struct recording_row *row;
    const char *analysis_json; /* the newest revision's document, or NULL */
    size_t figure_count;
    const struct report_figure *figures; /* in the order in which they stand */
    bool has_no_room;                    /* its figures are left out; the report says so */
};

/* Strings may be NULL or "" where they are not known, here and below. */
struct report_signature {
    int number;          /* 1, 2, ... */
    const char *meaning; /* what signing meant: "author", "verifier", ... as words */
    int64_t signed_at_us;
    const char *signer_name;
    const char *signer_role;
    const char *reason; /* of an amendment */
};

struct report_device {
    const char *kind;
    const char *name;
    const char *serial;
    int64_t verified_at_us; /* 0: never */
    int64_t due_at_us;      /* 0: not known */
    const char *verdict;    /* "passed", "failed", "overdue", "not_verified" */
    const char *words;      /* what else is to be said of it */
};

struct report {
    const char *clinic_name;
    const struct study *study;
    const struct patient *patient;
    size_t recording_count;
    const struct report_recording *recordings;
    const char *referrer;
    const json_t *interpretation; /* the document of api-docs, or NULL: none */
    size_t signature_count;
    const struct report_signature *signatures; /* by number */
    size_t device_count;
    const struct report_device *devices; /* used in the study */
    const char *code;                    /* of a QR code that leads to the study; NULL: none */
    const char *code_label;
    int64_t made_at_us; /* the date of what is told: of the last change, not of the clock */
};

/* The report as a document, on the arena. */
struct document *report_document(const struct report *report, struct arena *arena);

/* The same content as application/json: {"clinic", "study", "patient", "interpretation",
 * "signatures", "equipment", "recordings": [{"id","type","started_at","duration_s","revision",
 * "analysis"}], "caution"}. */
void report_json_write(const struct report *report, struct text *out);

/* The caution that every page, report and document carries. */
extern const char REPORT_CAUTION[];

#endif
