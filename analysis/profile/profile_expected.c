#include "analysis/profile/profile_expected.h"

#include "analysis/criteria_profile.h"

bool profile_expected_for_age(double age_years, struct profile_expected *ret_expected)
{
    const double middle = CRITERIA_PROFILE_AGE_HIGH_CMH2O - age_years;
    const double lower = CRITERIA_PROFILE_AGE_LOW_CMH2O - age_years;

    if (!(age_years >= 0.0) || !(lower > 0.0)) {
        return false;
    }
    *ret_expected = (struct profile_expected){
        .cmh2o = middle,
        .least_cmh2o = middle * (1.0 - CRITERIA_PROFILE_AGE_SHARE),
        .most_cmh2o = middle * (1.0 + CRITERIA_PROFILE_AGE_SHARE),
        .lower_rule_cmh2o = lower,
    };
    return true;
}
