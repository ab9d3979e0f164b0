#include "analysis/doubt.h"

#include "analysis/catalogue.h"
#include "analysis/criteria.h"

#include <math.h>
#include <string.h>

/* A measure read by a window may touch a span that its own moment lies beside. */
static bool covers(const struct quality_finding *finding, const struct measure *measure)
{
    if (!finding->has_span) {
        return false;
    }
    if (measure->has_stretch) {
        const double common_s =
            fmin(finding->to_s, measure->to_s) - fmax(finding->from_s, measure->from_s);

        return common_s > 0.0 &&
               common_s >= CRITERIA_DOUBT_SHARE * (measure->to_s - measure->from_s);
    }
    return measure->has_time && measure->at_s >= finding->from_s - CRITERIA_DOUBT_SLACK_S &&
           measure->at_s <= finding->to_s + CRITERIA_DOUBT_SLACK_S;
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

static void mark(struct analysis_result *result, const struct catalogue_row *row,
                 struct measure *measure)
{
    for (size_t i = 0; i < result->quality_count; i++) {
        const struct quality_finding *finding = &result->quality[i];

        if (finding->severity != QUALITY_INFO && finding->signal != SIGNAL_NONE &&
            ((1u << finding->signal) & row->signals) != 0 && covers(finding, measure)) {
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
                    struct measure *measure)
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

/* ---- Values made of others ---- */

enum { SOURCES_MAX = 3 };

/* A value is as doubtful as those that it is made of. */
struct heir {
    const char *code;
    const char *sources[SOURCES_MAX]; /* of the same section */
};

/* Heirs of heirs come after them. */
static const struct heir of_a_flow[] = {
    {"qave", {"voided_volume", "flow_time"}},    {"initial_volume", {"voided_volume"}},
    {"voiding_efficiency", {"voided_volume"}},   {"qmax_corrected", {"qmax", "voided_volume"}},
    {"qmax_centile", {"qmax", "voided_volume"}},
};
static const struct heir of_a_filling[] = {
    {"compliance_pressure_change", {"pdet_baseline", "pdet_end_fill"}},
    {"compliance_volume_change", {"cystometric_capacity"}},
    {"compliance", {"compliance_pressure_change", "compliance_volume_change"}},
};
static const struct heir of_a_voiding[] = {
    {"booi", {"pdet_qmax", "qmax"}},
    {"bci", {"pdet_qmax", "qmax"}},
    {"ura", {"pdet_qmax", "qmax"}},
    {"obstruction_coefficient", {"pdet_qmax", "qmax"}},
    {"female_booi", {"pdet_qmax", "qmax"}},
    {"pip1", {"pdet_qmax", "qmax"}},
    {"purr_slope", {"pdet_qmax", "qmax", "closing_pressure"}},
};
static const struct heir of_an_emg[] = {
    {"guarding", {"resting_mean"}},
    {"voiding_to_filling", {"voiding_mean"}},
};

static const struct {
    const char *section;
    size_t count;
    const struct heir *heirs;
} estates[] = {
    {"uroflow", sizeof of_a_flow / sizeof of_a_flow[0], of_a_flow},
    {"filling", sizeof of_a_filling / sizeof of_a_filling[0], of_a_filling},
    {"voiding", sizeof of_a_flow / sizeof of_a_flow[0], of_a_flow},
    {"voiding", sizeof of_a_voiding / sizeof of_a_voiding[0], of_a_voiding},
    {"emg", sizeof of_an_emg / sizeof of_an_emg[0], of_an_emg},
};

/* A measure of a section by its code; NULL when it has none. */
static struct measure *find(const struct catalogue_section *section, void *instance,
                            const char *code)
{
    for (size_t i = 0; i < section->row_count; i++) {
        if (strcmp(section->rows[i].code, code) == 0) {
            return (struct measure *)(void *)((char *)instance + section->rows[i].offset);
        }
    }
    return NULL;
}

static void inherit(struct measure *heir, const struct measure *source)
{
    if (heir == NULL || source == NULL || heir->state != MEASURE_PRESENT) {
        return;
    }
    for (size_t i = 0; i < source->doubt_count; i++) {
        add(heir->doubts, &heir->doubt_count, MEASURE_DOUBTS_MAX, source->doubts[i]);
    }
}

static void settle(struct analysis_result *result)
{
    for (size_t i = 0; i < sizeof estates / sizeof estates[0]; i++) {
        const struct catalogue_section *section = catalogue_find_section(estates[i].section);
        void *instance = catalogue_instances(section, result) > 0
                             ? catalogue_writable(section, result, 0)
                             : NULL;

        for (size_t k = 0; instance != NULL && k < estates[i].count; k++) {
            const struct heir *heir = &estates[i].heirs[k];

            for (size_t m = 0; m < SOURCES_MAX && heir->sources[m] != NULL; m++) {
                inherit(find(section, instance, heir->code),
                        find(section, instance, heir->sources[m]));
            }
        }
    }
}

/* What is told of all pulls rests on each of them. */
static void settle_profiles(struct analysis_result *result)
{
    const struct catalogue_section *pulls = catalogue_find_section("profiles");
    const struct catalogue_section *summary = catalogue_find_section("profiles_summary");

    if (catalogue_instances(summary, result) == 0) {
        return;
    }
    for (size_t i = 0; i < catalogue_instances(pulls, result); i++) {
        for (size_t k = 0; k < pulls->row_count; k++) {
            const char *code = pulls->rows[k].code;

            inherit(find(summary, catalogue_writable(summary, result, 0), code),
                    find(pulls, catalogue_writable(pulls, result, i), code));
        }
    }
}

/* ---- All of a result ---- */

typedef void visit(struct analysis_result *result, const struct catalogue_row *row,
                   struct measure *measure);

static void visit_present(struct analysis_result *result, visit *visitor)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);

        for (size_t j = 0; j < catalogue_instances(section, result); j++) {
            char *instance = catalogue_writable(section, result, j);

            for (size_t k = 0; k < section->row_count; k++) {
                const struct catalogue_row *row = &section->rows[k];
                struct measure *measure = (struct measure *)(void *)(instance + row->offset);

                if (measure->state == MEASURE_PRESENT) {
                    visitor(result, row, measure);
                }
            }
        }
    }
}

void doubt_mark(struct study *study)
{
    struct analysis_result *result = study->outcome.result;

    visit_present(result, mark);
    settle(result);
    settle_profiles(result);
    visit_present(result, hand_on);
}
