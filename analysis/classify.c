#include "analysis/classify.h"

#include "analysis/criteria.h"

#include <math.h>

/* Takes the rounding noise of a computation off an index, so that 40 stays 40. */
static double settle(double index)
{
    return round(index / CRITERIA_INDEX_GRAIN) * CRITERIA_INDEX_GRAIN;
}

static bool above(double index, double limit)
{
    return settle(index) > limit + 0.5 * CRITERIA_INDEX_GRAIN;
}

static bool below(double index, double limit)
{
    return settle(index) < limit - 0.5 * CRITERIA_INDEX_GRAIN;
}

double classify_booi(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o - CRITERIA_BOOI_SLOPE * qmax_ml_s;
}

double classify_bci(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o + CRITERIA_BCI_SLOPE * qmax_ml_s;
}

const char *classify_obstruction(double booi)
{
    if (above(booi, CRITERIA_BOOI_OBSTRUCTED)) {
        return "obstructed";
    }
    return below(booi, CRITERIA_BOOI_UNOBSTRUCTED) ? "unobstructed" : "equivocal";
}

const char *classify_contractility(double bci)
{
    if (above(bci, CRITERIA_BCI_STRONG)) {
        return "strong";
    }
    return below(bci, CRITERIA_BCI_WEAK) ? "weak" : "normal";
}

const char *classify_compliance(double compliance_ml_cmh2o)
{
    if (below(compliance_ml_cmh2o, CRITERIA_COMPLIANCE_VERY_LOW)) {
        return "very_low";
    }
    return below(compliance_ml_cmh2o, CRITERIA_COMPLIANCE_LOW) ? "low" : "not_low";
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
