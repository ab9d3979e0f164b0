/* What the literature leaves open, or normal limits that depend on a clinic's own equipment: each
 * clinic may choose, and every document states what was in use. */
#ifndef ANALYSIS_CHOICES_H
#define ANALYSIS_CHOICES_H

#include "analysis/recording.h"

/* Limits of anorectal manometry, for one sex: they depend on catheter, sex and age, so none has a
 * default, and without one no class is given. */
struct anorectal_limits {
    struct optional_number rest_lower_mmhg;
    struct optional_number rest_upper_mmhg;
    struct optional_number squeeze_increment_lower_mmhg;
    struct optional_number push_rectal_rise_lower_mmhg;
    struct optional_number first_sensation_lower_ml;
    struct optional_number first_sensation_upper_ml;
    struct optional_number desire_lower_ml;
    struct optional_number desire_upper_ml;
    struct optional_number maximum_tolerated_lower_ml;
    struct optional_number maximum_tolerated_upper_ml;
};

struct analysis_choices {
    struct optional_number flow_delay_s;
    struct optional_number contraction_amplitude_cmh2o; /* smallest that is reported */
    struct optional_number compliance_low_ml_cmh2o;
    struct optional_number compliance_very_low_ml_cmh2o;
    struct optional_number cough_transmission_low; /* smaller rise over larger rise */
    struct optional_number stress_leak_low_cmh2o;  /* VLPP: below suggests a weak sphincter */
    struct optional_number stress_leak_high_cmh2o;
    struct optional_number detrusor_leak_high_cmh2o;
    struct optional_number obstruction_high; /* BOOI above: obstructed */
    struct optional_number obstruction_low;  /* BOOI below: unobstructed */
    struct optional_number contractility_high;
    struct optional_number contractility_low;
    struct optional_number ura_obstructed_men;
    struct optional_number ura_obstructed_women;
    struct optional_number female_obstruction_likely;
    struct optional_number female_obstruction_certain;
    struct optional_number pip1_low;
    struct optional_number pip1_high;
    struct optional_number voiding_efficiency_low; /* no default: 90 and 80 % are both in use */
    struct optional_number watts_factor_low;       /* no default: no agreed limit */
    struct optional_number closure_pressure_low_cmh2o;
    struct optional_number closure_threshold_cmh2o; /* functional length: closure above this */
    struct optional_number emg_burst_sd;
    struct optional_number rair_relaxation_percent;
    struct optional_number push_relaxation_percent;
    struct optional_number balloon_expulsion_s;
    struct anorectal_limits anorectal_women;
    struct anorectal_limits anorectal_men;
};

/* One choice: name, unit, range and what is used when the clinic chose nothing. */
struct choice_row {
    const char *code; /* "compliance_low_ml_cmh2o"; "anorectal_women.rest_lower_mmhg" */
    const char *unit; /* UCUM */
    bool has_default;
    double standard; /* the default */
    double least;    /* accepted range, both included */
    double most;
    const char *label;
    const char *source; /* where the default, or the range, comes from */
    size_t offset;      /* of the optional_number within struct analysis_choices */
};

size_t choices_count(void);
const struct choice_row *choices_row(size_t index);

/* The row with a code, or NULL. */
const struct choice_row *choices_find(const char *code);

/* Every choice at its default; those without one are not known. */
void choices_standard(struct analysis_choices *ret_choices);

/* What is in use: the chosen number where there is one, else the standard. */
void choices_in_use(const struct analysis_choices *chosen, struct analysis_choices *ret_in_use);

/* Two choices of which the first must not exceed the second. */
struct choice_pair {
    const char *lower; /* codes */
    const char *upper;
};

size_t choices_pair_count(void);
const struct choice_pair *choices_pair(size_t index);

/* Read and change the choice that a row names. */
struct optional_number choices_get(const struct analysis_choices *choices,
                                   const struct choice_row *row);
void choices_set(struct analysis_choices *choices, const struct choice_row *row,
                 struct optional_number number);

/* The number in use for a code: the clinic's, else the default. NaN when there is neither, or no
 * such choice. choices may be NULL: all at their defaults. */
double choices_value(const struct analysis_choices *choices, const char *code);

#endif
