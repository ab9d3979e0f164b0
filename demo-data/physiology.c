#include "physiology.h"

#include <math.h>

double physiology_flow_ml_s(struct physiology_outlet outlet, double isometric_cmh2o,
                            double yield_cmh2o_s_ml)
{
    double excess = isometric_cmh2o - outlet.pmuo_cmh2o;
    if (excess <= 0.0) {
        return 0.0;
    }
    /* Positive root of Q^2 / C + yield * Q - excess = 0. */
    double half = 0.5 * yield_cmh2o_s_ml * outlet.conductance;
    return sqrt(half * half + excess * outlet.conductance) - half;
}

double physiology_yield_factor(double volume_ml, double reference_ml)
{
    static const double wall_ml = 10.0;
    double ratio = (reference_ml + wall_ml) / (fmax(volume_ml, 0.0) + wall_ml);
    return cbrt(ratio * ratio);
}

double physiology_fullness(double volume_ml, double empty_ml, double soft_ml)
{
    double left_ml = fmax(volume_ml - empty_ml, 0.0);
    return left_ml / (left_ml + soft_ml);
}
