/* Closure pressure quoted for women of an age: orientation, no limit. */
#ifndef ANALYSIS_PROFILE_PROFILE_EXPECTED_H
#define ANALYSIS_PROFILE_PROFILE_EXPECTED_H

#include <stdbool.h>

struct profile_expected {
    double cmh2o;            /* 110 - age */
    double least_cmh2o;      /* that less 20 % */
    double most_cmh2o;       /* and more */
    double lower_rule_cmh2o; /* 92 - age */
};

/* Both rules, from a page of the International Urogynecological Association. False when the age is
 * unknown (negative) or so high that the second rule gives nothing above 0.
 *
 * age_years  completed years */
bool profile_expected_for_age(double age_years, struct profile_expected *ret_expected);

#endif
