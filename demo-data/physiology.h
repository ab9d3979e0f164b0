/* Muscle against outlet: the one model from which every flow and voiding pressure here comes.
 *
 * The detrusor could make the pressure p_iso if nothing moved, and gives up `yield` cmH2O for each
 * mL/s that it empties. The outlet lets the flow Q through at p = pmuo + Q^2 / C (the quadratic
 * form of the passive urethral resistance relation). Both hold at once, which fixes p and Q. */
#ifndef DEMO_DATA_PHYSIOLOGY_H
#define DEMO_DATA_PHYSIOLOGY_H

struct physiology_outlet {
    double pmuo_cmh2o;  /* below this pressure the outlet is shut */
    double conductance; /* C, (mL/s)^2 / cmH2O */
};

/* Steady flow through the outlet, mL/s, for an isometric pressure and a yield > 0. */
double physiology_flow_ml_s(struct physiology_outlet outlet, double isometric_cmh2o,
                            double yield_cmh2o_s_ml);

/* How the yield changes with the bladder's volume: the wall shortens by the same share for less
 * urine when the sphere is small, so Q at a given shortening goes with volume^(2/3). Factor on the
 * yield, 1 at `reference_ml`. The 10 mL of wall tissue: Griffiths et al., Am J Physiol
 * 1986;251:R225-R230 (from memory). */
double physiology_yield_factor(double volume_ml, double reference_ml);

/* Share of its strength that the muscle keeps as the bladder empties: 1 when full, falling over the
 * last few mL. `empty_ml` is where it has nothing left, `soft_ml` how gradual it is. */
double physiology_fullness(double volume_ml, double empty_ml, double soft_ml);

#endif
