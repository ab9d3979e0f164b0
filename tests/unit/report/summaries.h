/* An invented study summary for the tests of report/. Tests change what they need. */
#ifndef TESTS_REPORT_SUMMARIES_H
#define TESTS_REPORT_SUMMARIES_H

#include "report/summary_html.h"

struct summary_fixture {
    struct arena *arena;
    struct patient patient;
    struct study study;
    struct recording_row rows[2];
    struct summary_recording recordings[2];
    struct summary summary;
};

/* A free flow and a pressure-flow study, status "preliminary". */
void summaries_make(struct summary_fixture *fixture);

/* Frees what summaries_make() began. */
void summaries_free(struct summary_fixture *fixture);

/* The page; fails when it is cut off. Lives as long as the fixture. */
const char *summaries_html(struct summary_fixture *fixture);

/* The analysis documents of the two recordings. */
extern const char SUMMARIES_FREE_FLOW[];
extern const char SUMMARIES_PRESSURE_FLOW[];

#endif
