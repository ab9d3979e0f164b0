#include "analysis/doubt.h"

#include "analysis/catalogue.h"
#include "analysis/criteria.h"

#include <math.h>
#include <string.h>

/* A measure read by a window may touch a span that its own moment lies beside. */
static bool covers(const struct quality_finding *finding, double at_s)
{
    return finding->has_span && at_s >= finding->from_s - CRITERIA_DOUBT_SLACK_S &&
           at_s <= finding->to_s + CRITERIA_DOUBT_SLACK_S;
}

/* Adds a code to a list of at most `most`, once. */
static void add(const char **doubts, size_t *count, size_t most, const char *code)
{
    for (size_t i = 0; i < *count; i++) {
        if (strcmp(doubts[i], code) == 0) {
            return;
        }
    }
    if (*count < most) {
        doubts[(*count)++] = code;
    }
}

static void mark(const struct analysis_result *result, const struct catalogue_row *row,
                 struct measure *measure)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];

        if (finding->severity != QUALITY_INFO && finding->signal != SIGNAL_NONE &&
            ((1u << finding->signal) & row->signals) != 0 && covers(finding, measure->at_s)) {
            add(measure->doubts, &measure->doubt_count, MEASURE_DOUBTS_MAX, finding->code);
        }
    }
}

/* Whether a finding rests on a row: it names it "section.code". */
static bool rests_on(const struct finding *finding, const struct catalogue_row *row)
{
    const size_t length = strlen(row->section);

    for (size_t i = 0; i < finding->basis_count; i++) {
        const char *basis = finding->basis[i];

        if (strncmp(basis, row->section, length) == 0 && basis[length] == '.' &&
            strcmp(basis + length + 1, row->code) == 0) {
            return true;
        }
    }
    return false;
}

/* Whether a class rests on a measure. It names its numbers without their section: of two rows with
 * one code, such as the Qmax of a free flow and of a voiding, the value tells which. */
static bool classed_by(const struct classification *class, const struct catalogue_row *row,
                       const struct measure *measure)
{
    for (size_t i = 0; i < class->basis_count; i++) {
        if (strcmp(class->basis[i].code, row->code) == 0 &&
            fabs(class->basis[i].value - measure->value) <= 0.0) {
            return true;
        }
    }
    return false;
}

/* What rests on a doubtful value is as doubtful. */
static void hand_on(struct analysis_result *result, const struct catalogue_row *row,
                    const struct measure *measure)
{
    for (size_t k = 0; k < measure->doubt_count; k++) {
        for (size_t i = 0; i < result->finding_count; i++) {
            struct finding *finding = &result->findings[i];

            if (rests_on(finding, row)) {
                add(finding->doubts, &finding->doubt_count, SUGGESTION_DOUBTS_MAX,
                    measure->doubts[k]);
            }
        }
        for (size_t i = 0; i < result->classification_count; i++) {
            struct classification *class = &result->classifications[i];

            if (classed_by(class, row, measure)) {
                add(class->doubts, &class->doubt_count, SUGGESTION_DOUBTS_MAX, measure->doubts[k]);
            }
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
                    hand_on(result, row, measure);
                }
            }
        }
    }
}
