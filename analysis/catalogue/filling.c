#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

#define PRESSURE_SIGNALS (CATALOGUE_SIGNAL(PVES) | CATALOGUE_SIGNAL(PABD) | CATALOGUE_SIGNAL(PDET))

static const struct catalogue_row rows[] = {
    {"filling", "filling_rate", CATALOGUE_NUMBER, "mL/min", 1.0, "Filling rate",
     "Median slope of the infused volume while it rises; without that signal, as entered.",
     ICS_2002, offsetof(struct filling_measures, filling_rate), CATALOGUE_SIGNAL(VINF)},
    {"filling", "pves_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Resting vesical pressure (pves)",
     "Median of the first quiet 5 s around the start of filling.", ICS_GUP,
     offsetof(struct filling_measures, pves_baseline), CATALOGUE_SIGNAL(PVES)},
    {"filling", "pabd_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Resting abdominal pressure (pabd)",
     "Median of the first quiet 5 s around the start of filling.", ICS_GUP,
     offsetof(struct filling_measures, pabd_baseline), CATALOGUE_SIGNAL(PABD)},
    {"filling", "pdet_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Resting detrusor pressure (pdet)",
     "Median of the first quiet 5 s around the start of filling.", ICS_GUP,
     offsetof(struct filling_measures, pdet_baseline), PRESSURE_SIGNALS},
    {"filling", "first_sensation_volume", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume at first sensation of filling",
     "Infused volume plus entered initial residual at the first_sensation marker.", ICS_2002,
     offsetof(struct filling_measures, first_sensation_volume), CATALOGUE_SIGNAL(VINF)},
    {"filling", "first_desire_volume", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume at first desire to void",
     "Infused volume plus entered initial residual at the first_desire marker.", ICS_2002,
     offsetof(struct filling_measures, first_desire_volume), CATALOGUE_SIGNAL(VINF)},
    {"filling", "strong_desire_volume", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume at strong desire to void",
     "Infused volume plus entered initial residual at the strong_desire marker.", ICS_2002,
     offsetof(struct filling_measures, strong_desire_volume), CATALOGUE_SIGNAL(VINF)},
    {"filling", "urgency_volume", CATALOGUE_NUMBER, "mL", 10.0, "Volume at urgency",
     "Infused volume plus entered initial residual at the first urgency marker.", ICS_2002,
     offsetof(struct filling_measures, urgency_volume), CATALOGUE_SIGNAL(VINF)},
    {"filling", "cystometric_capacity", CATALOGUE_NUMBER, "mL", 10.0, "Cystometric capacity",
     "Infused volume plus entered initial residual at permission to void.", ICS_2002,
     offsetof(struct filling_measures, cystometric_capacity), CATALOGUE_SIGNAL(VINF)},
    {"filling", "pdet_end_fill", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Detrusor pressure at the end of filling", "Median of the last 5 s before permission to void.",
     ICS_2002, offsetof(struct filling_measures, pdet_end_fill), PRESSURE_SIGNALS},
    {"filling", "compliance", CATALOGUE_NUMBER, "mL/cm[H2O]", 1.0, "Bladder compliance",
     "Volume change over change of detrusor pressure between the start of filling and "
     "cystometric capacity.",
     ICS_2002, offsetof(struct filling_measures, compliance), PRESSURE_SIGNALS},
    {"filling", "compliance_volume_change", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume change for compliance",
     "Infused volume between the two moments at which the pressures for compliance are read.",
     ICS_2002, offsetof(struct filling_measures, compliance_volume_change), CATALOGUE_SIGNAL(VINF)},
    {"filling", "compliance_pressure_change", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Pressure change for compliance",
     "Detrusor pressure at the end of filling minus that at its start.", ICS_2002,
     offsetof(struct filling_measures, compliance_pressure_change), PRESSURE_SIGNALS},
    {"filling", "expected_capacity", CATALOGUE_NUMBER, "mL", 10.0,
     "Expected bladder capacity for age",
     "Children: 30 mL times completed years plus one from 4 years on, at most 390 mL; 38 mL plus "
     "2.5 mL a month in the first year.",
     "ICCS (from memory); Holmdahl G et al. J Urol 1996;156:1809",
     offsetof(struct filling_measures, expected_capacity), 0},
    {"filling", "abdominal_leak_point_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Abdominal leak point pressure",
     "Lowest total pves at which urine leaked on coughing or straining without a contraction; with "
     "the level before and the rise beside it.",
     ICS_2002, offsetof(struct filling_measures, abdominal_leak_point_pressure),
     CATALOGUE_SIGNAL(PVES)},
    {"filling", "detrusor_leak_point_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Detrusor leak point pressure",
     "Lowest detrusor pressure at which urine leaked without a contraction and without raised "
     "abdominal pressure.",
     ICS_2002, offsetof(struct filling_measures, detrusor_leak_point_pressure), PRESSURE_SIGNALS},
};

static const struct catalogue_column contraction_columns[] = {
    {"start_s", CATALOGUE_NUMBER, "s", 1.0, "Start",
     offsetof(struct involuntary_contraction, start_s)},
    {"peak_s", CATALOGUE_NUMBER, "s", 1.0, "Peak",
     offsetof(struct involuntary_contraction, peak_s)},
    {"end_s", CATALOGUE_NUMBER, "s", 1.0, "End", offsetof(struct involuntary_contraction, end_s)},
    {"volume_ml", CATALOGUE_NUMBER, "mL", 10.0, "Volume at its start",
     offsetof(struct involuntary_contraction, volume_ml)},
    {"amplitude", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Amplitude",
     offsetof(struct involuntary_contraction, amplitude_cmh2o)},
    {"peak_pdet", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Highest detrusor pressure",
     offsetof(struct involuntary_contraction, peak_pdet_cmh2o)},
    {"kind", CATALOGUE_WORD, NULL, 1.0, "Kind", offsetof(struct involuntary_contraction, kind)},
    {"leak", CATALOGUE_YES_NO, NULL, 1.0, "With leakage",
     offsetof(struct involuntary_contraction, leak)},
    {"urgency", CATALOGUE_YES_NO, NULL, 1.0, "With urgency",
     offsetof(struct involuntary_contraction, urgency)},
    {"after_cough", CATALOGUE_YES_NO, NULL, 1.0, "After a cough or strain",
     offsetof(struct involuntary_contraction, after_cough)},
};

static const struct catalogue_column cough_columns[] = {
    {"at_s", CATALOGUE_NUMBER, "s", 1.0, "Time", offsetof(struct cough, at_s)},
    {"pves_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pves",
     offsetof(struct cough, pves_rise_cmh2o)},
    {"pabd_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pabd",
     offsetof(struct cough, pabd_rise_cmh2o)},
    {"transmission", CATALOGUE_NUMBER, "1", 0.01, "Rise of pabd over rise of pves",
     offsetof(struct cough, transmission)},
    {"marked", CATALOGUE_YES_NO, NULL, 1.0, "Marked", offsetof(struct cough, marked)},
};

static const struct catalogue_column strain_columns[] = {
    {"start_s", CATALOGUE_NUMBER, "s", 1.0, "Start", offsetof(struct strain, start_s)},
    {"peak_s", CATALOGUE_NUMBER, "s", 1.0, "Peak", offsetof(struct strain, peak_s)},
    {"end_s", CATALOGUE_NUMBER, "s", 1.0, "End", offsetof(struct strain, end_s)},
    {"pves_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pves",
     offsetof(struct strain, pves_rise_cmh2o)},
    {"pabd_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pabd",
     offsetof(struct strain, pabd_rise_cmh2o)},
    {"marked", CATALOGUE_YES_NO, NULL, 1.0, "Marked", offsetof(struct strain, marked)},
};

static const struct catalogue_column leak_columns[] = {
    {"at_s", CATALOGUE_NUMBER, "s", 1.0, "Time", offsetof(struct leak, at_s)},
    {"volume_ml", CATALOGUE_NUMBER, "mL", 10.0, "Volume in the bladder",
     offsetof(struct leak, volume_ml)},
    {"lost_ml", CATALOGUE_NUMBER, "mL", 1.0, "Volume lost", offsetof(struct leak, lost_ml)},
    {"cause", CATALOGUE_WORD, NULL, 1.0, "Cause", offsetof(struct leak, cause)},
    {"pves_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "pves before",
     offsetof(struct leak, pves_baseline_cmh2o)},
    {"pves_leak", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "pves at the leak",
     offsetof(struct leak, pves_leak_cmh2o)},
    {"pves_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pves",
     offsetof(struct leak, pves_rise_cmh2o)},
    {"pabd_leak", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "pabd at the leak",
     offsetof(struct leak, pabd_leak_cmh2o)},
    {"pdet_leak", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "pdet at the leak",
     offsetof(struct leak, pdet_leak_cmh2o)},
};

#define COLUMNS(table) sizeof(table) / sizeof(table)[0], table

static const struct catalogue_list lists[] = {
    {"involuntary_contractions", "Involuntary detrusor contractions",
     "Waves of detrusor pressure during filling that pabd does not explain; amplitude as the "
     "largest mean over 2 s, above the level before, volume with the initial residual. Without "
     "permission to void, one in which "
     "filling ends counts.",
     ICS_2002, offsetof(struct filling_measures, involuntary_contractions),
     sizeof(struct involuntary_contraction), COLUMNS(contraction_columns)},
    {"coughs", "Coughs",
     "Short peaks in both pressure lines up to the end of filling, found without markers; spikes "
     "within 1 s of the first are one cough, read at the highest; each rise is the line's own peak "
     "over the 2 s before.",
     ICS_GUP, offsetof(struct filling_measures, coughs), sizeof(struct cough),
     COLUMNS(cough_columns)},
    {"strains", "Strains (Valsalva)",
     "Longer rises of both pressure lines together up to the end of filling, found without "
     "markers.",
     COMMON_PRACTICE, offsetof(struct filling_measures, strains), sizeof(struct strain),
     COLUMNS(strain_columns)},
    {"leaks", "Leaks", "Losses of urine during filling, from markers and from flow on the meter.",
     ICS_2002, offsetof(struct filling_measures, leaks), sizeof(struct leak),
     COLUMNS(leak_columns)},
};

const struct catalogue_section catalogue_filling = {
    .code = "filling",
    .label = "Filling",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
    .list_count = sizeof lists / sizeof lists[0],
    .lists = lists,
};
