#include "analysis/voiding/outlet.h"

#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"

#include <math.h>

double outlet_booi(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o - CRITERIA_BOOI_SLOPE * qmax_ml_s;
}

double outlet_bci(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o + CRITERIA_BCI_SLOPE * qmax_ml_s;
}

double outlet_obstruction_coefficient(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o / (CRITERIA_OCO_BASE + CRITERIA_OCO_SLOPE * qmax_ml_s);
}

bool outlet_ura(double pdet_qmax_cmh2o, double qmax_ml_s, double *ret_ura)
{
    if (!(qmax_ml_s >= 0.0 && pdet_qmax_cmh2o > 0.0)) {
        return false;
    }
    const double product = 4.0 * CRITERIA_URA_D * qmax_ml_s * qmax_ml_s * pdet_qmax_cmh2o;

    /* The usual form of the root, (sqrt(1 + product) - 1) / (2*d*Q^2), turned over: it has no
     * difference of nearly equal numbers at low flow. */
    *ret_ura = 2.0 * pdet_qmax_cmh2o / (1.0 + sqrt(1.0 + product));
    return isfinite(*ret_ura);
}

double outlet_purr_slope(double pdet_qmax_cmh2o, double opening_cmh2o, double qmax_ml_s)
{
    return (pdet_qmax_cmh2o - opening_cmh2o) / qmax_ml_s;
}

double outlet_female_booi(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o - CRITERIA_BOOIF_SLOPE * qmax_ml_s;
}

double outlet_pip1(double pdet_qmax_cmh2o, double qmax_ml_s)
{
    return pdet_qmax_cmh2o + CRITERIA_PIP1_SLOPE * qmax_ml_s;
}
