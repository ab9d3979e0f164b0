#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

#define PROPOSAL "no published rule: this project's choice"
#define PERFECT                                                                                    \
    "Laycock J, Jerwood D. Physiotherapy 2001;87:631-642; how it is read here is a choice"
#define SESSION                                                                                    \
    (CATALOGUE_SIGNAL(EMG) | CATALOGUE_SIGNAL(PURA) | CATALOGUE_SIGNAL(PVAG) |                     \
     CATALOGUE_SIGNAL(PANAL))
#define AT(member) offsetof(struct training_measures, member), SESSION

static const struct catalogue_row rows[] = {
    {"training", "signal", CATALOGUE_WORD, NULL, 1.0, "Signal used",
     "The EMG's envelope; without an EMG the first of pura, pvag and panal.", PROPOSAL, AT(signal)},
    {"training", "rest_tone", CATALOGUE_NUMBER, "uV", 0.1, "Rest tone (EMG)",
     "Median of the envelope more than 1 s from any contraction.", PROPOSAL, AT(rest_tone)},
    {"training", "rest_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rest tone (pressure)",
     "Median of the pressure more than 1 s from any contraction.", PROPOSAL, AT(rest_pressure)},
    {"training", "rest_variability", CATALOGUE_NUMBER, "%", 1.0, "Variability at rest",
     "Robust standard deviation at rest over its median.",
     "Oleksy L et al. Int J Environ Res Public Health 2021;18:765 use it with the plain SD",
     AT(rest_variability)},
    {"training", "peak_best", CATALOGUE_NUMBER, "uV", 1.0, "Best peak (EMG)",
     "Largest 0.1 s mean of any contraction.", PERFECT, AT(peak_best)},
    {"training", "peak_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Best peak (pressure)",
     "Largest 0.1 s mean of any contraction.", PERFECT, AT(peak_pressure)},
    {"training", "hold_mean", CATALOGUE_NUMBER, "uV", 1.0, "Mean of long contractions (EMG)",
     "Mean from 2 s after the start to the end of the command or hold, over all long contractions.",
     PROPOSAL, AT(hold_mean)},
    {"training", "hold_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Mean of long contractions (pressure)",
     "Mean from 2 s after the start to the end of the command or hold, over all long contractions.",
     PROPOSAL, AT(hold_pressure)},
    {"training", "hold_variability", CATALOGUE_NUMBER, "%", 1.0, "Variability of long contractions",
     "Standard deviation (n - 1) over mean of the same samples, averaged over all long "
     "contractions.",
     PROPOSAL, AT(hold_variability)},
    {"training", "hold_mean_time", CATALOGUE_NUMBER, "s", 0.1, "Mean hold time",
     "Time above half of the contraction's net peak, averaged over all long contractions.",
     PROPOSAL, AT(hold_mean_time)},
    {"training", "quick_count_10s", CATALOGUE_NUMBER, "1", 1.0, "Quick contractions in 10 s",
     "The most contractions of at most 2 s, each returning below half of its net peak, that start "
     "within any 10 s.",
     PERFECT, AT(quick_count_10s)},
    {"training", "long_count", CATALOGUE_NUMBER, "1", 1.0, "Long contractions",
     "Count of contractions longer than 2 s.", PERFECT, AT(long_count)},
    {"training", "endurance", CATALOGUE_NUMBER, "s", 0.1, "Endurance",
     "Longest time until the 2 s mean falls below 60 % of the largest level of the first 2 s, "
     "above rest; at most the commanded time.",
     PERFECT, AT(endurance)},
    {"training", "work_rest_ratio", CATALOGUE_NUMBER, "1", 0.01, "Work over rest, commanded",
     "Time from work to rest markers over time from rest to work markers.", PROPOSAL,
     AT(work_rest_ratio)},
    {"training", "work_rest_achieved", CATALOGUE_NUMBER, "1", 0.01, "Work over rest, achieved",
     "Time of the contractions found over that of the pauses after them.", PROPOSAL,
     AT(work_rest_achieved)},
    {"training", "commands_followed", CATALOGUE_NUMBER, "%", 1.0, "Commands followed",
     "Share of the work markers during which a contraction was found.", PROPOSAL,
     AT(commands_followed)},
    {"training", "abdominal_use", CATALOGUE_NUMBER, "1", 0.1, "Abdominal use",
     "Mean abdominal pressure during contractions over its median at rest.", PROPOSAL,
     offsetof(struct training_measures, abdominal_use), SESSION | CATALOGUE_SIGNAL(PABD)},
};

#define COLUMN(member) offsetof(struct training_contraction, member)

static const struct catalogue_column contraction_columns[] = {
    {"start_s", CATALOGUE_NUMBER, "s", 0.1, "Start", COLUMN(start_s)},
    {"end_s", CATALOGUE_NUMBER, "s", 0.1, "End", COLUMN(end_s)},
    {"peak", CATALOGUE_NUMBER, "uV", 1.0, "Peak (EMG)", COLUMN(peak_uv)},
    {"mean", CATALOGUE_NUMBER, "uV", 1.0, "Mean (EMG)", COLUMN(mean_uv)},
    {"peak_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Peak (pressure)", COLUMN(peak_cmh2o)},
    {"mean_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Mean (pressure)", COLUMN(mean_cmh2o)},
    {"hold_s", CATALOGUE_NUMBER, "s", 0.1, "Hold time", COLUMN(hold_s)},
    {"rise_time_s", CATALOGUE_NUMBER, "s", 0.01, "Rise time", COLUMN(rise_time_s)},
    {"release_time_s", CATALOGUE_NUMBER, "s", 0.01, "Release time", COLUMN(release_time_s)},
    {"kind", CATALOGUE_WORD, NULL, 1.0, "Kind", COLUMN(kind)},
};

static const struct catalogue_list lists[] = {
    {"contractions", "Contractions",
     "Stretches of at least 0.5 s above rest by 3 robust standard deviations of it and by 20 % of "
     "the session's best; quick ones last at most 2 s.",
     PROPOSAL, offsetof(struct training_measures, contractions),
     sizeof(struct training_contraction),
     sizeof contraction_columns / sizeof contraction_columns[0], contraction_columns},
};

const struct catalogue_section catalogue_training = {
    .code = "training",
    .label = "Pelvic floor training",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
    .list_count = sizeof lists / sizeof lists[0],
    .lists = lists,
};
