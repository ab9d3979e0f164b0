#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

#define PROPOSAL "no published rule: this project's choice"
#define EMG      CATALOGUE_SIGNAL(EMG)
#define FLOW     (CATALOGUE_SIGNAL(FLOW) | CATALOGUE_SIGNAL(VVOID))
#define PDET     (CATALOGUE_SIGNAL(PVES) | CATALOGUE_SIGNAL(PABD) | CATALOGUE_SIGNAL(PDET))

static const struct catalogue_row rows[] = {
    {"emg", "envelope", CATALOGUE_WORD, NULL, 1.0, "Envelope of the EMG",
     "How the envelope was made: a raw signal loses its mean over 2 s and gets a root mean square "
     "over 0.2 s, a rectified one a mean over 0.5 s, an envelope is kept; at most 20 values a "
     "second.",
     PROPOSAL, offsetof(struct emg_measures, envelope), EMG},
    {"emg", "resting_mean", CATALOGUE_NUMBER, "uV", 0.1, "EMG at rest",
     "Median of the envelope over the first undisturbed 10 s of filling.", PROPOSAL,
     offsetof(struct emg_measures, resting_mean), EMG},
    {"emg", "filling_mean", CATALOGUE_NUMBER, "uV", 0.1, "EMG during filling",
     "Median of the envelope over all of filling.", PROPOSAL,
     offsetof(struct emg_measures, filling_mean), EMG},
    {"emg", "filling_slope", CATALOGUE_NUMBER, "uV/min", 0.1, "Change of the EMG during filling",
     "Slope of the line of least squares through medians of 10 s of filling.", PROPOSAL,
     offsetof(struct emg_measures, filling_slope), EMG},
    {"emg", "guarding", CATALOGUE_NUMBER, "%", 1.0, "Rise of the EMG over filling (guarding)",
     "Median over the last tenth of filling minus that at rest, over that at rest.", PROPOSAL,
     offsetof(struct emg_measures, guarding), EMG},
    {"emg", "voiding_mean", CATALOGUE_NUMBER, "uV", 0.1, "EMG during voiding",
     "Median of the envelope while urine flows (above 0.5 mL/s), flow shifted by its delay.",
     PROPOSAL, offsetof(struct emg_measures, voiding_mean), EMG | FLOW},
    {"emg", "voiding_to_filling", CATALOGUE_NUMBER, "1", 0.01, "EMG during voiding over filling",
     "Median during flow over median of the last 10 s before permission to void.", PROPOSAL,
     offsetof(struct emg_measures, voiding_to_filling), EMG | FLOW},
    {"emg", "relaxation_lag", CATALOGUE_NUMBER, "s", 0.1, "EMG lag",
     "Onset of flow minus start of the relaxation of the EMG.",
     "Combs AJ et al. 2013 name the lag; where relaxation starts is this project's choice",
     offsetof(struct emg_measures, relaxation_lag), EMG | FLOW},
    {"emg", "burst_overlap", CATALOGUE_NUMBER, "%", 1.0,
     "Share of the voiding contraction with EMG bursts",
     "Time with a burst while pdet is raised for voiding, over the length of that rise.", PROPOSAL,
     offsetof(struct emg_measures, burst_overlap), EMG | PDET},
    {"emg", "bursts_during_voiding", CATALOGUE_NUMBER, "1", 1.0, "EMG bursts during voiding",
     "Count of bursts during flow or the detrusor contraction of the voiding.", PROPOSAL,
     offsetof(struct emg_measures, bursts_during_voiding), EMG},
};

static const struct catalogue_column burst_columns[] = {
    {"start_s", CATALOGUE_NUMBER, "s", 0.1, "Start", offsetof(struct emg_burst, start_s)},
    {"end_s", CATALOGUE_NUMBER, "s", 0.1, "End", offsetof(struct emg_burst, end_s)},
    {"peak", CATALOGUE_NUMBER, "uV", 0.1, "Peak", offsetof(struct emg_burst, peak_uv)},
};

static const struct catalogue_list lists[] = {
    {"bursts", "EMG bursts",
     "Stretches of at least 0.5 s above rest plus emg_burst_sd robust standard deviations, gaps "
     "below 0.25 s joined, during voiding.",
     PROPOSAL, offsetof(struct emg_measures, bursts), sizeof(struct emg_burst),
     sizeof burst_columns / sizeof burst_columns[0], burst_columns},
};

const struct catalogue_section catalogue_emg = {
    .code = "emg",
    .label = "Electromyogram",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
    .list_count = sizeof lists / sizeof lists[0],
    .lists = lists,
};
