#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

#define URETHRAL_SIGNALS (CATALOGUE_SIGNAL(PURA) | CATALOGUE_SIGNAL(PVES))
#define LENGTH_SIGNALS   (URETHRAL_SIGNALS | CATALOGUE_SIGNAL(PULLER))

#define ICS_URETHRAL "Lose G et al. (ICS). Neurourol Urodyn 2002;21:258-260"

static const struct catalogue_row rows[] = {
    {"profiles", "kind", CATALOGUE_WORD, NULL, 1.0, "Kind of profile",
     "stress when coughs that raise pves by at least 15 cmH2O lie within the pull, else rest.",
     ICS_URETHRAL, offsetof(struct profile_measures, kind), URETHRAL_SIGNALS},
    {"profiles", "start_s", CATALOGUE_NUMBER, "s", 0.1, "Start of the pull",
     "Where the puller leaves its place; without a puller signal, the pull_start marker.",
     COMMON_PRACTICE, offsetof(struct profile_measures, start), CATALOGUE_SIGNAL(PULLER)},
    {"profiles", "end_s", CATALOGUE_NUMBER, "s", 0.1, "End of the pull",
     "Where the puller comes to its last place; without a puller signal, the pull_end marker.",
     COMMON_PRACTICE, offsetof(struct profile_measures, end), CATALOGUE_SIGNAL(PULLER)},
    {"profiles", "speed", CATALOGUE_NUMBER, "mm/s", 0.1, "Puller speed",
     "Slope of the withdrawn length over the pull; without a puller signal, as entered.",
     ICS_URETHRAL, offsetof(struct profile_measures, speed), CATALOGUE_SIGNAL(PULLER)},
    {"profiles", "pves_mean", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Mean vesical pressure",
     "Mean over the pull, coughs cut out.", COMMON_PRACTICE,
     offsetof(struct profile_measures, pves_mean), CATALOGUE_SIGNAL(PVES)},
    {"profiles", "maximum_urethral_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Maximum urethral pressure (MUP)", "Highest urethral pressure of the pull, coughs cut out.",
     ICS_URETHRAL, offsetof(struct profile_measures, maximum_urethral_pressure),
     CATALOGUE_SIGNAL(PURA)},
    {"profiles", "maximum_closure_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Maximum urethral closure pressure (MUCP)",
     "Highest difference of urethral and vesical pressure at the same instant.", ICS_URETHRAL,
     offsetof(struct profile_measures, maximum_closure_pressure), URETHRAL_SIGNALS},
    {"profiles", "functional_length", CATALOGUE_NUMBER, "mm", 1.0, "Functional profile length",
     "Length along which closure pressure is above the threshold (ICS: 0), from the peak both "
     "ways.",
     ICS_URETHRAL, offsetof(struct profile_measures, functional_length), LENGTH_SIGNALS},
    {"profiles", "total_length", CATALOGUE_NUMBER, "mm", 1.0, "Total profile length",
     "From the start of the functional length to the return to the outer pressure.", ICS_URETHRAL,
     offsetof(struct profile_measures, total_length), LENGTH_SIGNALS},
    {"profiles", "length_to_peak", CATALOGUE_NUMBER, "mm", 1.0, "Length to the peak",
     "From the start of the functional length to the maximum closure pressure.", ICS_URETHRAL,
     offsetof(struct profile_measures, length_to_peak), LENGTH_SIGNALS},
    {"profiles", "closure_area", CATALOGUE_NUMBER, "cm[H2O].cm", 1.0, "Closure area",
     "Integral of closure pressure over the functional length, by trapezoids.", COMMON_PRACTICE,
     offsetof(struct profile_measures, closure_area), LENGTH_SIGNALS},
    {"profiles", "area_to_peak", CATALOGUE_NUMBER, "cm[H2O].cm", 1.0, "Closure area up to the peak",
     "The same integral up to the maximum closure pressure.", COMMON_PRACTICE,
     offsetof(struct profile_measures, area_to_peak), LENGTH_SIGNALS},
    {"profiles", "mean_closure_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Mean closure pressure",
     "Closure area over functional length.", COMMON_PRACTICE,
     offsetof(struct profile_measures, mean_closure_pressure), URETHRAL_SIGNALS},
    {"profiles", "half_peak_width", CATALOGUE_NUMBER, "mm", 1.0, "Width at half of the peak",
     "Length between the places beside the peak at which closure is half of its maximum.",
     COMMON_PRACTICE, offsetof(struct profile_measures, half_peak_width), LENGTH_SIGNALS},
};

#define ITEM(member) offsetof(struct transmission_ratio, member)

static const struct catalogue_column ratio_columns[] = {
    {"at_s", CATALOGUE_NUMBER, "s", 0.1, "At", ITEM(at_s)},
    {"position_mm", CATALOGUE_NUMBER, "mm", 1.0, "Position", ITEM(position_mm)},
    {"position_percent", CATALOGUE_NUMBER, "%", 1.0, "Position along the functional length",
     ITEM(position_percent)},
    {"pves_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pves", ITEM(pves_rise_cmh2o)},
    {"pura_rise", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Rise of pura", ITEM(pura_rise_cmh2o)},
    {"ratio_percent", CATALOGUE_NUMBER, "%", 1.0, "Transmission ratio", ITEM(ratio_percent)},
    {"stress_closure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Closure pressure at the cough",
     ITEM(stress_closure_cmh2o)},
};

static const struct catalogue_list lists[] = {
    {"transmission_ratios", "Pressure transmission at coughs",
     "100 times the rise of pura over the rise of pves at each cough of at least 15 cmH2O.",
     "Constantinou CE, Govan DE. J Urol 1982;127:964-969",
     offsetof(struct profile_measures, transmission_ratios), sizeof(struct transmission_ratio),
     sizeof ratio_columns / sizeof ratio_columns[0], ratio_columns},
};

const struct catalogue_section catalogue_profiles = {
    .code = "profiles",
    .label = "Urethral pressure profiles",
    .repeated = true,
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
    .list_count = sizeof lists / sizeof lists[0],
    .lists = lists,
};
