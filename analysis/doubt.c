#include "analysis/doubt.h"

#include "analysis/catalogue.h"
#include "analysis/criteria.h"

#include <string.h>

/* A measure read by a window may touch a span that its own moment lies beside. */
static bool covers(const struct quality_finding *finding, double at_s)
{
    return finding->has_span && at_s >= finding->from_s - CRITERIA_DOUBT_SLACK_S &&
           at_s <= finding->to_s + CRITERIA_DOUBT_SLACK_S;
}

static void add(struct measure *measure, const char *code)
{
    for (size_t i = 0; i < measure->doubt_count; i++) {
        if (strcmp(measure->doubts[i], code) == 0) {
            return;
        }
    }
    if (measure->doubt_count < MEASURE_DOUBTS_MAX) {
        measure->doubts[measure->doubt_count++] = code;
    }
}

static void mark(const struct analysis_result *result, const struct catalogue_row *row,
                 struct measure *measure)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];

        if (finding->severity != QUALITY_INFO && finding->signal != SIGNAL_NONE &&
            ((1u << finding->signal) & row->signals) != 0 && covers(finding, measure->at_s)) {
            add(measure, finding->code);
        }
    }
}

void doubt_mark(struct study *study)
{
    struct analysis_result *result = study->outcome.result;

    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);

        for (size_t j = 0; j < catalogue_instances(section, result); j++) {
            char *instance = catalogue_writable(section, result, j);

            for (size_t k = 0; k < section->row_count; k++) {
                const struct catalogue_row *row = &section->rows[k];
                struct measure *measure = (struct measure *)(void *)(instance + row->offset);

                if (measure->state == MEASURE_PRESENT && measure->has_time) {
                    mark(result, row, measure);
                }
            }
        }
    }
}
