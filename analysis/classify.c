#include "analysis/classify.h"

#include "analysis/criteria.h"

#include <math.h>

/* Takes the rounding noise of a computation off a difference, so that none stays none. */
static double settle(double difference)
{
    return round(difference / CRITERIA_INDEX_GRAIN) * CRITERIA_INDEX_GRAIN;
}

bool classify_above(double index, double limit)
{
    return settle(index - limit) > 0.0;
}

bool classify_below(double index, double limit)
{
    return settle(index - limit) < 0.0;
}

bool classify_expected_capacity(double age_years, double *ret_ml)
{
    if (age_years >= 0.0 && age_years < CRITERIA_EBC_INFANT_YEARS) {
        *ret_ml = CRITERIA_EBC_INFANT_BASE_ML +
                  CRITERIA_EBC_INFANT_PER_MONTH_ML * floor(age_years * 12.0);
        return true;
    }
    if (age_years >= CRITERIA_EBC_MIN_YEARS) {
        *ret_ml =
            CRITERIA_EBC_PER_YEAR_ML * (fmin(floor(age_years), CRITERIA_EBC_PLATEAU_YEARS) + 1.0);
        return true;
    }
    return false;
}
