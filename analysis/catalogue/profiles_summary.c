#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

#define URETHRAL_SIGNALS (CATALOGUE_SIGNAL(PURA) | CATALOGUE_SIGNAL(PVES))
#define LENGTH_SIGNALS   (URETHRAL_SIGNALS | CATALOGUE_SIGNAL(PULLER))

#define MEAN "Mean of the resting pulls, with its standard deviation and coefficient of variation."

#define MEMBER(member) offsetof(struct profiles_summary_measures, member)

static const struct catalogue_row rows[] = {
    {"profiles_summary", "pulls", CATALOGUE_NUMBER, "1", 1.0, "Resting pulls",
     "Resting pulls with a maximum closure pressure.", COMMON_PRACTICE, MEMBER(pulls), 0},
    {"profiles_summary", "maximum_urethral_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Maximum urethral pressure (MUP)", MEAN, COMMON_PRACTICE, MEMBER(maximum_urethral_pressure),
     CATALOGUE_SIGNAL(PURA)},
    {"profiles_summary", "maximum_closure_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Maximum urethral closure pressure (MUCP)", MEAN, COMMON_PRACTICE,
     MEMBER(maximum_closure_pressure), URETHRAL_SIGNALS},
    {"profiles_summary", "functional_length", CATALOGUE_NUMBER, "mm", 1.0,
     "Functional profile length", MEAN, COMMON_PRACTICE, MEMBER(functional_length), LENGTH_SIGNALS},
    {"profiles_summary", "total_length", CATALOGUE_NUMBER, "mm", 1.0, "Total profile length", MEAN,
     COMMON_PRACTICE, MEMBER(total_length), LENGTH_SIGNALS},
    {"profiles_summary", "length_to_peak", CATALOGUE_NUMBER, "mm", 1.0, "Length to the peak", MEAN,
     COMMON_PRACTICE, MEMBER(length_to_peak), LENGTH_SIGNALS},
    {"profiles_summary", "closure_area", CATALOGUE_NUMBER, "cm[H2O].cm", 1.0, "Closure area", MEAN,
     COMMON_PRACTICE, MEMBER(closure_area), LENGTH_SIGNALS},
    {"profiles_summary", "transmission_ratio", CATALOGUE_NUMBER, "%", 1.0,
     "Pressure transmission ratio", "Median over all coughs of all pulls.", COMMON_PRACTICE,
     MEMBER(transmission_ratio), URETHRAL_SIGNALS},
    {"profiles_summary", "stress_closure_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Lowest closure pressure at a cough",
     "Peak of pura minus peak of pves at the same cough; the lowest of all.", COMMON_PRACTICE,
     MEMBER(stress_closure_pressure), URETHRAL_SIGNALS},
};

const struct catalogue_section catalogue_profiles_summary = {
    .code = "profiles_summary",
    .label = "Urethral pressure profiles, summary",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
};
