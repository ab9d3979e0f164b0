#include "analysis/analysis.h"

#include "analysis/filling.h"
#include "analysis/findings.h"
#include "analysis/flow.h"
#include "analysis/memory.h"
#include "analysis/quality.h"
#include "analysis/uroflow.h"
#include "analysis/voiding.h"

/* Computes the sections of one type of recording. False when memory ran out. */
typedef bool section_run(struct study *study, struct analysis_result *result);

static bool run_uroflowmetry(struct study *study, struct analysis_result *result)
{
    struct flow_record record;

    if (!flow_open(study, &record)) {
        return false;
    }
    const struct void_phase phase =
        flow_find_void(study, &record, flow_limits_free(study, &record));

    result->has_uroflow = true;
    uroflow_measure(study, &record, &phase, true, &result->uroflow);
    return true;
}

static bool run_filling_and_voiding(struct study *study, struct analysis_result *result)
{
    struct flow_record record;

    if (!flow_open(study, &record)) {
        return false;
    }
    const struct filling_phase filling = filling_find(study, &record);

    result->has_filling = filling_exists(study);
    if (result->has_filling) {
        filling_measure(study, &record, &filling, &result->filling);
    }
    result->has_voiding = voiding_exists(study, &record);
    return !result->has_voiding ||
           voiding_measure(study, &record, &filling, result->has_filling, &result->voiding);
}

static bool run_none(struct study *study, struct analysis_result *result)
{
    (void)result;
    outcome_note(&study->outcome, "not_yet_computed", QUALITY_INFO, SIGNAL_NONE,
                 "This version stores and shows recordings of this type but does not compute "
                 "anything from them yet. Read the traces.");
    return true;
}

static section_run *const runs[RECORDING_TYPE_COUNT] = {
    [RECORDING_UROFLOWMETRY] = run_uroflowmetry,
    [RECORDING_CYSTOMETRY] = run_filling_and_voiding,
    [RECORDING_PRESSURE_FLOW] = run_filling_and_voiding,
    [RECORDING_URETHRAL_PRESSURE_PROFILE] = run_none,
    [RECORDING_ANORECTAL_MANOMETRY] = run_none,
    [RECORDING_PELVIC_FLOOR_TRAINING] = run_none,
};

bool analysis_run(const struct recording *recording, const struct analysis_memory *memory,
                  const struct analysis_result **ret_result)
{
    struct analysis_result *result = memory_array(memory, 1, sizeof *result);
    struct study study;

    if (result == NULL) {
        return false;
    }
    result->type = recording->type;
    if ((unsigned)recording->type >= RECORDING_TYPE_COUNT || runs[recording->type] == run_none) {
        study = (struct study){.recording = recording, .memory = memory};
        if (!outcome_open(&study.outcome, result, memory)) {
            return false;
        }
        (void)run_none(&study, result);
        *ret_result = result;
        return true;
    }
    if (!study_open(&study, recording, memory, result)) {
        return false;
    }
    quality_of_signals(&study);
    if (!runs[recording->type](&study, result)) {
        return false;
    }
    findings_draft(&study);
    *ret_result = result;
    return true;
}
