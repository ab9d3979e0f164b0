/* Published cut-off rules. */
#include "analysis/classify.h"
#include "analysis/criteria_voiding.h"
#include "analysis/voiding/voiding_classes.h"

const char *voiding_chassagne(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return !classify_above(qmax_ml_s, CRITERIA_CHASSAGNE_QMAX_ML_S) &&
                   classify_above(pdet_qmax_cmh2o, CRITERIA_CHASSAGNE_PDET_CMH2O)
               ? "obstructed"
               : "not_obstructed";
}

const char *voiding_farrar(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return classify_below(qmax_ml_s, CRITERIA_FARRAR_QMAX_ML_S) &&
                   classify_above(pdet_qmax_cmh2o, CRITERIA_FARRAR_PDET_CMH2O)
               ? "obstructed"
               : "not_obstructed";
}

const char *voiding_dybowski(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    if (classify_above(qmax_ml_s, CRITERIA_DYBOWSKI_QMAX_ML_S)) {
        return NULL;
    }
    return classify_above(pdet_qmax_cmh2o,
                          CRITERIA_DYBOWSKI_SLOPE * qmax_ml_s + CRITERIA_DYBOWSKI_BASE)
               ? "high_pressure"
               : "low_pressure";
}

const char *voiding_purr_group(double booi)
{
    if (classify_above(booi, CRITERIA_PURR_OBSTRUCTED)) {
        return "III-VI";
    }
    return classify_below(booi, CRITERIA_PURR_UNOBSTRUCTED) ? "0-I" : "II";
}

static const char *underactive(bool is)
{
    return is ? "underactive" : "not_underactive";
}

const char *voiding_underactive_man(double bci, double booi, double efficiency_percent)
{
    return underactive(classify_below(bci, CRITERIA_UNDERACTIVE_BCI) &&
                       classify_below(booi, CRITERIA_UNDERACTIVE_BOOI) &&
                       classify_below(efficiency_percent, CRITERIA_UNDERACTIVE_EFFICIENCY_PERCENT));
}

const char *voiding_underactive_woman(double pdet_qmax_cmh2o, double qmax_ml_s,
                                      double efficiency_percent, bool likely_obstructed)
{
    return underactive(!likely_obstructed &&
                       classify_below(pdet_qmax_cmh2o, CRITERIA_UNDERACTIVE_PDET_CMH2O) &&
                       classify_below(qmax_ml_s, CRITERIA_UNDERACTIVE_QMAX_ML_S) &&
                       classify_below(efficiency_percent, CRITERIA_UNDERACTIVE_EFFICIENCY_PERCENT));
}
