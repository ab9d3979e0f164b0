#include "analysis/emg/emg.h"
#include "analysis/emg/emg_pattern.h"
#include "analysis/measure.h"

#include <math.h>
#include <string.h>

static const char pattern_method[] =
    "Hint only, never concluded by software. Types after Blaivas JG et al. J Urol "
    "1981;125:545-548 (54 patients with suprasacral cord lesions), with this project's numbers: "
    "type_3 when bursts cover at least 80 % of the detrusor contraction; type_2 for at least 3 "
    "bursts, each below 3 s, that cover at least 20 %; type_1 when the largest EMG lies within 2 s "
    "of the largest pdet and falls below half within the next 2 s; quiet without a burst; else "
    "higher, unchanged or lower by the level during flow over that at the end of filling. EMG and "
    "voiding cystography agree in 54 to 60 % only: say which electrodes were used";

static double part_of(const struct measure *measure, const char *code)
{
    for (size_t i = 0; i < measure->part_count; i++) {
        if (strcmp(measure->parts[i].code, code) == 0) {
            return measure->parts[i].value;
        }
    }
    return (double)NAN;
}

static double value_of(const struct measure *measure)
{
    return measure_known(measure) ? measure->value : (double)NAN;
}

static struct emg_pattern pattern_from(const struct emg_measures *emg)
{
    const struct emg_burst *bursts = emg->bursts.items;
    struct emg_pattern pattern = {
        .bursts_known = emg->bursts.state == MEASURE_PRESENT,
        .burst_count = emg->bursts.count,
        .overlap_percent = value_of(&emg->burst_overlap),
        .peak_offset_s = part_of(&emg->burst_overlap, "emg_peak_after_pdet_peak_s"),
        .fall_percent = part_of(&emg->burst_overlap, "emg_after_its_peak_percent"),
        .voiding_ratio = value_of(&emg->voiding_to_filling)};

    for (size_t i = 0; i < emg->bursts.count; i++) {
        pattern.longest_s = fmax(pattern.longest_s, bursts[i].end_s - bursts[i].start_s);
    }
    return pattern;
}

static void classify(struct study *study, const struct emg_pattern *pattern, const char *class)
{
    struct classification classification = {
        .code = "emg_voiding_pattern", .class = class, .method = pattern_method};
    const struct named_number numbers[] = {
        {"bursts_during_voiding",
         pattern->bursts_known ? (double)pattern->burst_count : (double)NAN},
        {"longest_burst_s", pattern->longest_s},
        {"burst_overlap", pattern->overlap_percent},
        {"emg_peak_after_pdet_peak_s", pattern->peak_offset_s},
        {"emg_after_its_peak_percent", pattern->fall_percent},
        {"voiding_to_filling", pattern->voiding_ratio}};

    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        if (!isnan(numbers[i].value)) {
            classification.basis[classification.basis_count++] = numbers[i];
        }
    }
    classification.limit_count = 1;
    classification.limits[0] =
        (struct named_number){"emg_burst_sd", study->choices->emg_burst_sd.value};
    outcome_classification(&study->outcome, classification);
}

static const char *text_for(enum patient_answer neurological_lesion)
{
    switch (neurological_lesion) {
    case ANSWER_YES:
        return "The EMG is active during the voiding contraction, and a neurological lesion is "
               "known: a pattern compatible with detrusor-sphincter dyssynergia, to be confirmed "
               "on the curves and, where it matters, by voiding cystography. Rule out straining, "
               "movement and wet electrodes first.";
    case ANSWER_NO:
        return "The EMG is active during the voiding contraction, without a known neurological "
               "lesion: a pattern as in dysfunctional voiding or a sphincter that does not relax, "
               "to be confirmed on repeated flows. Rule out straining, movement, wet electrodes "
               "and an inhibited voiding first.";
    case ANSWER_UNKNOWN:
    default:
        return "The EMG is active during the voiding contraction. What that means depends on "
               "whether there is a neurological lesion between pons and sacral cord, which is not "
               "known here: enter it. Rule out straining, movement and wet electrodes first.";
    }
}

static bool is_active(const char *class, const struct emg_pattern *pattern)
{
    return strncmp(class, "type_", 5) == 0 ||
           (strcmp(class, "higher") == 0 && pattern->burst_count > 0);
}

void emg_draft(struct study *study)
{
    const struct emg_measures *emg = &study->outcome.result->emg;
    const struct emg_pattern pattern = pattern_from(emg);
    const char *class = emg_pattern_class(&pattern);

    if (class == NULL) {
        return;
    }
    classify(study, &pattern, class);
    if (!is_active(class, &pattern)) {
        return;
    }
    struct finding finding = {.code = "emg_active_during_voiding",
                              .text = text_for(study->recording->conditions.neurological_lesion),
                              .basis_count = 1,
                              .basis = {"emg.bursts_during_voiding"},
                              .limit_count = 1,
                              .limits = {{"emg_burst_sd", study->choices->emg_burst_sd.value}}};

    if (measure_known(&emg->burst_overlap)) {
        finding.basis[finding.basis_count++] = "emg.burst_overlap";
    }
    if (measure_known(&emg->voiding_to_filling)) {
        finding.basis[finding.basis_count++] = "emg.voiding_to_filling";
    }
    outcome_finding(&study->outcome, finding);
}
