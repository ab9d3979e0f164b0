#include "analysis/analysis.h"

#include "analysis/anorectal/anorectal.h"
#include "analysis/doubt.h"
#include "analysis/emg/emg.h"
#include "analysis/filling/contractions.h"
#include "analysis/filling/filling.h"
#include "analysis/filling/leaks.h"
#include "analysis/findings.h"
#include "analysis/flow/flow.h"
#include "analysis/flow/uroflow.h"
#include "analysis/memory.h"
#include "analysis/pressure/pressure_events.h"
#include "analysis/profile/profiles.h"
#include "analysis/quality.h"
#include "analysis/training/training.h"
#include "analysis/voiding/voiding.h"

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

/* The limits for obstruction and contractility were made on voiding that the patient began. */
static void judge_voluntary(struct study *study, const struct filling_phase *filling,
                            const struct item_list *contractions)
{
    const struct involuntary_contraction *items = contractions->items;

    study->voiding_is_involuntary = contractions_empty_bladder(filling, contractions);
    if (!study->voiding_is_involuntary) {
        return;
    }
    outcome_note_span(
        &study->outcome,
        (struct quality_finding){
            .code = "involuntary_voiding",
            .severity = QUALITY_WARNING,
            .signal = SIGNAL_NONE,
            .text = "An involuntary contraction empties the bladder here, and nobody permitted "
                    "voiding. The limits for obstruction and contractility were made for voluntary "
                    "voiding, so no class is given. If voiding was permitted, set the "
                    "permission_to_void marker."},
        items[contractions->count - 1].start_s, filling->span.to_s);
}

/* The voiding comes first: what follows it needs to know where it lies. */
static bool run_filling_and_voiding(struct study *study, struct analysis_result *result)
{
    struct flow_record record;
    struct void_phase void_phase = {.found = false};

    if (!flow_open(study, &record) || !pressure_events_find(study)) {
        return false;
    }
    const struct filling_phase filling = filling_find(study, &record);

    result->has_filling = filling_exists(study);
    if (result->has_filling && (!filling_measure(study, &record, &filling, &result->filling) ||
                                !leaks_measure(study, &record, &filling, &result->filling))) {
        return false;
    }
    result->has_voiding = voiding_exists(study, &record);
    if (result->has_voiding && !voiding_measure(study, &record, &filling, result->has_filling,
                                                &void_phase, &result->voiding)) {
        return false;
    }
    if (result->has_filling && result->has_voiding) {
        judge_voluntary(study, &filling, &result->filling.involuntary_contractions);
    }
    result->has_emg = recording_channel(study->recording, SIGNAL_EMG) != NULL;
    if (result->has_emg && !emg_measure(study, result->has_filling ? &filling : NULL,
                                        void_phase.found ? &void_phase : NULL,
                                        result->voiding.flow_delay.value, &result->emg)) {
        return false;
    }
    return quality_of_pressures(study, result->has_filling ? &filling : NULL, &void_phase) &&
           (!profiles_exist(study) || profiles_measure(study));
}

static bool run_profiles(struct study *study, struct analysis_result *result)
{
    (void)result;
    return pressure_events_find(study) && profiles_measure(study);
}

static bool run_anorectal(struct study *study, struct analysis_result *result)
{
    result->has_anorectal = true;
    return anorectal_measure(study, &result->anorectal);
}

static bool run_training(struct study *study, struct analysis_result *result)
{
    result->has_training = true;
    return training_measure(study, &result->training);
}

static section_run *const runs[RECORDING_TYPE_COUNT] = {
    [RECORDING_UROFLOWMETRY] = run_uroflowmetry,
    [RECORDING_CYSTOMETRY] = run_filling_and_voiding,
    [RECORDING_PRESSURE_FLOW] = run_filling_and_voiding,
    [RECORDING_URETHRAL_PRESSURE_PROFILE] = run_profiles,
    [RECORDING_ANORECTAL_MANOMETRY] = run_anorectal,
    [RECORDING_PELVIC_FLOOR_TRAINING] = run_training,
};

static const struct analysis_choices *given_or_standard(const struct analysis_choices *choices,
                                                        const struct analysis_memory *memory)
{
    if (choices != NULL) {
        return choices;
    }
    struct analysis_choices *standard = memory_array(memory, 1, sizeof *standard);

    if (standard != NULL) {
        choices_standard(standard);
    }
    return standard;
}

bool analysis_run(const struct recording *recording, const struct analysis_choices *choices,
                  const struct analysis_memory *memory, const struct analysis_result **ret_result)
{
    struct analysis_result *result = memory_array(memory, 1, sizeof *result);
    const struct analysis_choices *in_use = given_or_standard(choices, memory);
    struct study study;

    if (result == NULL || in_use == NULL) {
        return false;
    }
    result->type = recording->type;
    result->choices = in_use;
    if (!study_open(&study, recording, in_use, memory, result)) {
        return false;
    }
    quality_of_signals(&study);
    if ((unsigned)recording->type < RECORDING_TYPE_COUNT &&
        !runs[recording->type](&study, result)) {
        return false;
    }
    findings_draft(&study);
    doubt_mark(&study);
    *ret_result = result;
    return true;
}
