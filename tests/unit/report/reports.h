/* An invented report for the tests of report/. Tests change what they need. */
#ifndef TESTS_REPORT_REPORTS_H
#define TESTS_REPORT_REPORTS_H

#include "report/report.h"

struct report_fixture {
    struct arena *arena;
    struct patient patient;
    struct study study;
    struct recording_row rows[2];
    struct report_recording recordings[2];
    struct report_signature signatures[2];
    struct report_device devices[2];
    struct report report;
};

/* A free flow and a pressure-flow study of a man, status "preliminary", neither interpreted nor
 * signed, no equipment known. */
void reports_make(struct report_fixture *fixture);

/* Adds an interpretation with everything in it, and both pieces of equipment. */
void reports_interpret(struct report_fixture *fixture);
void reports_equip(struct report_fixture *fixture);

/* Signs it: 1 signature is final, 2 are amended. */
void reports_sign(struct report_fixture *fixture, size_t signatures);

/* Frees what reports_make() began. */
void reports_free(struct report_fixture *fixture);

/* Reads JSON that is freed with the fixture. */
const json_t *reports_json(struct report_fixture *fixture, const char *text);

/* The forms; they fail when they are cut off. They live as long as the fixture. */
const char *reports_html(struct report_fixture *fixture);
const char *reports_text(struct report_fixture *fixture);

/* Plain text on one line: spaces for line ends, indents and the bars of cautions. */
const char *reports_words(struct report_fixture *fixture);

/* The analysis documents of the two recordings. */
extern const char REPORTS_FREE_FLOW[];
extern const char REPORTS_PRESSURE_FLOW[];

#endif
