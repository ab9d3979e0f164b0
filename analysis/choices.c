#include "analysis/choices.h"

#include "analysis/criteria.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/criteria_emg.h"
#include "analysis/criteria_leaks.h"
#include "analysis/criteria_pressure.h"
#include "analysis/criteria_profile.h"
#include "analysis/criteria_quality.h"
#include "analysis/criteria_voiding.h"

#include <math.h>
#include <string.h>

#define CHOICE(member) offsetof(struct analysis_choices, member)
#define WOMEN(member)  offsetof(struct analysis_choices, anorectal_women.member)
#define MEN(member)    offsetof(struct analysis_choices, anorectal_men.member)
#define OWN_EQUIPMENT                                                                              \
    "the clinic's own normal values for its catheter; none is published that holds for all"

static const struct choice_row rows[] = {
    {"flow_delay_s", "s", true, CRITERIA_FLOW_DELAY_S, 0.0, CRITERIA_FLOW_DELAY_MAX_S,
     "Flow delay when none came with the recording",
     "published values range from 0.5 to 1.4 s; 0.8 s is this project's choice",
     CHOICE(flow_delay_s)},
    {"contraction_amplitude_cmh2o", "cm[H2O]", true, CRITERIA_CONTRACTION_CMH2O, 3.0, 15.0,
     "Smallest involuntary contraction that is reported",
     "Abrams P et al. (ICS) 2002 set no smallest amplitude; 5 from memory, 15 is the older limit",
     CHOICE(contraction_amplitude_cmh2o)},
    {"compliance_low_ml_cmh2o", "mL/cm[H2O]", true, CRITERIA_COMPLIANCE_LOW, 10.0, 40.0,
     "Compliance below this is low",
     "no agreed limit: 12.5, 20, 30 and 40 are in use; 20 after Ghoniem",
     CHOICE(compliance_low_ml_cmh2o)},
    {"compliance_very_low_ml_cmh2o", "mL/cm[H2O]", true, CRITERIA_COMPLIANCE_VERY_LOW, 5.0, 20.0,
     "Compliance below this is very low", "no agreed limit: 10 and 12.5 are in use",
     CHOICE(compliance_very_low_ml_cmh2o)},
    {"cough_transmission_low", "1", true, CRITERIA_COUGH_TRANSMISSION_LOW, 0.5, 0.95,
     "Smaller over larger rise at a cough below this: the lines respond unequally",
     "Hogan S et al. Neurourol Urodyn 2012;31:1104-1117, from memory",
     CHOICE(cough_transmission_low)},
    {"stress_leak_low_cmh2o", "cm[H2O]", true, CRITERIA_STRESS_LEAK_LOW_CMH2O, 30.0, 90.0,
     "Abdominal leak point pressure below this suggests a weak sphincter",
     "ICS terminology page; McGuire EJ", CHOICE(stress_leak_low_cmh2o)},
    {"stress_leak_high_cmh2o", "cm[H2O]", true, CRITERIA_STRESS_LEAK_HIGH_CMH2O, 60.0, 150.0,
     "Abdominal leak point pressure above this suggests a competent sphincter",
     "ICS terminology page; McGuire EJ", CHOICE(stress_leak_high_cmh2o)},
    {"detrusor_leak_high_cmh2o", "cm[H2O]", true, CRITERIA_DETRUSOR_LEAK_HIGH_CMH2O, 20.0, 40.0,
     "Detrusor leak point pressure above this: risk to the upper tract",
     "McGuire EJ et al. J Urol 1981;126:205-209; 20 after Neurourol Urodyn 2017;36:759-763",
     CHOICE(detrusor_leak_high_cmh2o)},
    {"obstruction_high", "1", true, CRITERIA_BOOI_OBSTRUCTED, 30.0, 50.0,
     "BOOI above this: obstructed (men)", "Abrams P. BJU Int 1999;84:14-15",
     CHOICE(obstruction_high)},
    {"obstruction_low", "1", true, CRITERIA_BOOI_UNOBSTRUCTED, 10.0, 30.0,
     "BOOI below this: unobstructed (men)", "Abrams P. BJU Int 1999;84:14-15, from memory",
     CHOICE(obstruction_low)},
    {"contractility_high", "1", true, CRITERIA_BCI_STRONG, 120.0, 200.0,
     "BCI above this: strong (men)", "Abrams P. BJU Int 1999;84:14-15, from memory",
     CHOICE(contractility_high)},
    {"contractility_low", "1", true, CRITERIA_BCI_WEAK, 80.0, 120.0, "BCI below this: weak (men)",
     "Abrams P. BJU Int 1999;84:14-15", CHOICE(contractility_low)},
    {"ura_obstructed_men", "cm[H2O]", true, CRITERIA_URA_OBSTRUCTED_MEN_CMH2O, 20.0, 40.0,
     "URA above this: obstructed (men)",
     "Griffiths D et al. Neurourol Urodyn 1989;8:17-27, from memory; 28 by an ROC study",
     CHOICE(ura_obstructed_men)},
    {"ura_obstructed_women", "cm[H2O]", true, CRITERIA_URA_OBSTRUCTED_WOMEN_CMH2O, 15.0, 30.0,
     "URA at or above this: obstructed (women)",
     "Mytilekas KV et al. Int Neurourol J 2021;25:244-251", CHOICE(ura_obstructed_women)},
    {"female_obstruction_likely", "1", true, CRITERIA_FEMALE_BOOI_LIKELY, 0.0, 10.0,
     "Female BOOI above this: obstruction likely",
     "Solomon E et al. Neurourol Urodyn 2018;37:368-378", CHOICE(female_obstruction_likely)},
    {"female_obstruction_certain", "1", true, CRITERIA_FEMALE_BOOI_CERTAIN, 10.0, 30.0,
     "Female BOOI above this: obstruction almost certain",
     "Solomon E et al. Neurourol Urodyn 2018;37:368-378", CHOICE(female_obstruction_certain)},
    {"pip1_low", "1", true, CRITERIA_PIP1_WEAK, 20.0, 40.0,
     "PIP1 below this: weak contraction (women)",
     "study of 2025 that uses 30; Tan TL et al. Neurourol Urodyn 2004;23:184-189",
     CHOICE(pip1_low)},
    {"pip1_high", "1", true, CRITERIA_PIP1_STRONG, 60.0, 100.0,
     "PIP1 above this: strong contraction (women)",
     "Tan TL et al. Neurourol Urodyn 2004;23:184-189, from memory", CHOICE(pip1_high)},
    {"voiding_efficiency_low", "%", false, 0.0, 50.0, 100.0, "Voiding efficiency below this is low",
     "no agreed limit: 80 and 90 are in use", CHOICE(voiding_efficiency_low)},
    {"watts_factor_low", "uW/mm2", false, 0.0, 3.0, 15.0, "Largest Watts factor below this is low",
     "no agreed limit", CHOICE(watts_factor_low)},
    {"closure_pressure_low_cmh2o", "cm[H2O]", true, CRITERIA_PROFILE_CLOSURE_LOW_CMH2O, 10.0, 40.0,
     "Maximum urethral closure pressure at or below this is low",
     "Bump RC et al. Am J Obstet Gynecol 1997;177:303-310", CHOICE(closure_pressure_low_cmh2o)},
    {"closure_threshold_cmh2o", "cm[H2O]", true, CRITERIA_PROFILE_CLOSURE_OVER_CMH2O, 0.0, 5.0,
     "Functional profile length counts closure pressure above this",
     "Lose G et al. (ICS). Neurourol Urodyn 2002;21:258-260: 0; more keeps noise out",
     CHOICE(closure_threshold_cmh2o)},
    {"emg_burst_sd", "1", true, CRITERIA_EMG_BURST_SD, 2.0, 6.0,
     "EMG above rest by more than this many standard deviations is a burst", "no published rule",
     CHOICE(emg_burst_sd)},
    {"rair_relaxation_percent", "%", true, CRITERIA_ARM_REFLEX_PERCENT, 10.0, 50.0,
     "Anal relaxation from this on shows the rectoanal inhibitory reflex",
     "Carrington EV et al. Neurogastroenterol Motil 2020;32:e13679, from memory",
     CHOICE(rair_relaxation_percent)},
    {"push_relaxation_percent", "%", true, CRITERIA_ARM_PUSH_RELAXATION_PERCENT, 10.0, 40.0,
     "Anal relaxation while pushing below this is incomplete",
     "Rao SSC. Gastroenterol Clin North Am 2008;37:569-586", CHOICE(push_relaxation_percent)},
    {"balloon_expulsion_s", "s", true, CRITERIA_ARM_EXPULSION_S, 30.0, 300.0,
     "Balloon expulsion later than this is abnormal",
     "60 s: Ratuapli SK et al. 2013; 120 and 180 s are in use too", CHOICE(balloon_expulsion_s)},
    {"anorectal_women.rest_lower_mmhg", "mm[Hg]", false, 0.0, 10.0, 150.0,
     "Women: lower limit of the anal resting pressure", OWN_EQUIPMENT, WOMEN(rest_lower_mmhg)},
    {"anorectal_women.rest_upper_mmhg", "mm[Hg]", false, 0.0, 40.0, 250.0,
     "Women: upper limit of the anal resting pressure", OWN_EQUIPMENT, WOMEN(rest_upper_mmhg)},
    {"anorectal_women.squeeze_increment_lower_mmhg", "mm[Hg]", false, 0.0, 5.0, 250.0,
     "Women: lower limit of the squeeze increment", OWN_EQUIPMENT,
     WOMEN(squeeze_increment_lower_mmhg)},
    {"anorectal_women.push_rectal_rise_lower_mmhg", "mm[Hg]", false, 0.0, 5.0, 100.0,
     "Women: lower limit of the rectal rise while pushing", OWN_EQUIPMENT,
     WOMEN(push_rectal_rise_lower_mmhg)},
    {"anorectal_women.first_sensation_lower_ml", "mL", false, 0.0, 0.0, 200.0,
     "Women: lower limit of the volume at first constant sensation", OWN_EQUIPMENT,
     WOMEN(first_sensation_lower_ml)},
    {"anorectal_women.first_sensation_upper_ml", "mL", false, 0.0, 10.0, 300.0,
     "Women: upper limit of the volume at first constant sensation", OWN_EQUIPMENT,
     WOMEN(first_sensation_upper_ml)},
    {"anorectal_women.desire_lower_ml", "mL", false, 0.0, 5.0, 300.0,
     "Women: lower limit of the volume at desire to defecate", OWN_EQUIPMENT,
     WOMEN(desire_lower_ml)},
    {"anorectal_women.desire_upper_ml", "mL", false, 0.0, 20.0, 400.0,
     "Women: upper limit of the volume at desire to defecate", OWN_EQUIPMENT,
     WOMEN(desire_upper_ml)},
    {"anorectal_women.maximum_tolerated_lower_ml", "mL", false, 0.0, 10.0, 400.0,
     "Women: lower limit of the maximum tolerated volume", OWN_EQUIPMENT,
     WOMEN(maximum_tolerated_lower_ml)},
    {"anorectal_women.maximum_tolerated_upper_ml", "mL", false, 0.0, 50.0, 600.0,
     "Women: upper limit of the maximum tolerated volume", OWN_EQUIPMENT,
     WOMEN(maximum_tolerated_upper_ml)},
    {"anorectal_men.rest_lower_mmhg", "mm[Hg]", false, 0.0, 10.0, 150.0,
     "Men: lower limit of the anal resting pressure", OWN_EQUIPMENT, MEN(rest_lower_mmhg)},
    {"anorectal_men.rest_upper_mmhg", "mm[Hg]", false, 0.0, 40.0, 250.0,
     "Men: upper limit of the anal resting pressure", OWN_EQUIPMENT, MEN(rest_upper_mmhg)},
    {"anorectal_men.squeeze_increment_lower_mmhg", "mm[Hg]", false, 0.0, 5.0, 250.0,
     "Men: lower limit of the squeeze increment", OWN_EQUIPMENT, MEN(squeeze_increment_lower_mmhg)},
    {"anorectal_men.push_rectal_rise_lower_mmhg", "mm[Hg]", false, 0.0, 5.0, 100.0,
     "Men: lower limit of the rectal rise while pushing", OWN_EQUIPMENT,
     MEN(push_rectal_rise_lower_mmhg)},
    {"anorectal_men.first_sensation_lower_ml", "mL", false, 0.0, 0.0, 200.0,
     "Men: lower limit of the volume at first constant sensation", OWN_EQUIPMENT,
     MEN(first_sensation_lower_ml)},
    {"anorectal_men.first_sensation_upper_ml", "mL", false, 0.0, 10.0, 300.0,
     "Men: upper limit of the volume at first constant sensation", OWN_EQUIPMENT,
     MEN(first_sensation_upper_ml)},
    {"anorectal_men.desire_lower_ml", "mL", false, 0.0, 5.0, 300.0,
     "Men: lower limit of the volume at desire to defecate", OWN_EQUIPMENT, MEN(desire_lower_ml)},
    {"anorectal_men.desire_upper_ml", "mL", false, 0.0, 20.0, 400.0,
     "Men: upper limit of the volume at desire to defecate", OWN_EQUIPMENT, MEN(desire_upper_ml)},
    {"anorectal_men.maximum_tolerated_lower_ml", "mL", false, 0.0, 10.0, 400.0,
     "Men: lower limit of the maximum tolerated volume", OWN_EQUIPMENT,
     MEN(maximum_tolerated_lower_ml)},
    {"anorectal_men.maximum_tolerated_upper_ml", "mL", false, 0.0, 50.0, 600.0,
     "Men: upper limit of the maximum tolerated volume", OWN_EQUIPMENT,
     MEN(maximum_tolerated_upper_ml)},
};

size_t choices_count(void)
{
    return sizeof rows / sizeof rows[0];
}

const struct choice_row *choices_row(size_t index)
{
    return &rows[index];
}

const struct choice_row *choices_find(const char *code)
{
    for (size_t i = 0; i < choices_count(); i++) {
        if (strcmp(code, rows[i].code) == 0) {
            return &rows[i];
        }
    }
    return NULL;
}

void choices_standard(struct analysis_choices *ret_choices)
{
    memset(ret_choices, 0, sizeof *ret_choices);
    for (size_t i = 0; i < choices_count(); i++) {
        choices_set(ret_choices, &rows[i],
                    (struct optional_number){rows[i].has_default, rows[i].standard});
    }
}

struct optional_number choices_get(const struct analysis_choices *choices,
                                   const struct choice_row *row)
{
    return *(const struct optional_number *)(const void *)((const char *)choices + row->offset);
}

void choices_set(struct analysis_choices *choices, const struct choice_row *row,
                 struct optional_number number)
{
    *(struct optional_number *)(void *)((char *)choices + row->offset) = number;
}

double choices_value(const struct analysis_choices *choices, const char *code)
{
    const struct choice_row *row = choices_find(code);

    if (row == NULL) {
        return (double)NAN;
    }
    const struct optional_number chosen =
        choices != NULL ? choices_get(choices, row) : (struct optional_number){false, 0.0};

    if (chosen.known) {
        return chosen.value;
    }
    return row->has_default ? row->standard : (double)NAN;
}

void choices_in_use(const struct analysis_choices *chosen, struct analysis_choices *ret_in_use)
{
    choices_standard(ret_in_use);
    for (size_t i = 0; i < choices_count(); i++) {
        const struct optional_number number = choices_get(chosen, &rows[i]);

        if (number.known) {
            choices_set(ret_in_use, &rows[i], number);
        }
    }
}

static const struct choice_pair pairs[] = {
    {"compliance_very_low_ml_cmh2o", "compliance_low_ml_cmh2o"},
    {"stress_leak_low_cmh2o", "stress_leak_high_cmh2o"},
    {"obstruction_low", "obstruction_high"},
    {"contractility_low", "contractility_high"},
    {"female_obstruction_likely", "female_obstruction_certain"},
    {"pip1_low", "pip1_high"},
    {"anorectal_women.rest_lower_mmhg", "anorectal_women.rest_upper_mmhg"},
    {"anorectal_women.first_sensation_lower_ml", "anorectal_women.first_sensation_upper_ml"},
    {"anorectal_women.desire_lower_ml", "anorectal_women.desire_upper_ml"},
    {"anorectal_women.maximum_tolerated_lower_ml", "anorectal_women.maximum_tolerated_upper_ml"},
    {"anorectal_men.rest_lower_mmhg", "anorectal_men.rest_upper_mmhg"},
    {"anorectal_men.first_sensation_lower_ml", "anorectal_men.first_sensation_upper_ml"},
    {"anorectal_men.desire_lower_ml", "anorectal_men.desire_upper_ml"},
    {"anorectal_men.maximum_tolerated_lower_ml", "anorectal_men.maximum_tolerated_upper_ml"},
};

size_t choices_pair_count(void)
{
    return sizeof pairs / sizeof pairs[0];
}

const struct choice_pair *choices_pair(size_t index)
{
    return &pairs[index];
}
