/* What equipment has to meet, with unit and origin; marks as in criteria.h.
 *
 * The figures marked [memory] are those of the ICS guidelines on urodynamic equipment performance,
 * Gammie A et al. Neurourol Urodyn 2014;33:370-379, and of good urodynamic practices, Schafer W et
 * al. Neurourol Urodyn 2002;21:261-274; the tables were not at hand. A clinic may set its own. */
#ifndef ANALYSIS_CRITERIA_EQUIPMENT_H
#define ANALYSIS_CRITERIA_EQUIPMENT_H

/* ---- Largest error of a point: the larger of a fixed amount and a share of what is applied ----
 */

/* Pressure, cmH2O and %: 1, and above it 2 to 3 % of the reading. [memory] The strict form has no
 * share. */
#define CRITERIA_EQUIPMENT_PRESSURE_CMH2O 1.0
#define CRITERIA_EQUIPMENT_PRESSURE_SHARE 3.0
/* Flow, mL/s. [memory] */
#define CRITERIA_EQUIPMENT_FLOW_ML_S 1.0
/* Voided volume, %; "or 2 % of the full scale" is left out, which is wider. [memory] */
#define CRITERIA_EQUIPMENT_VOIDED_SHARE 3.0
/* Infused volume and rate of a pump, %. [memory] */
#define CRITERIA_EQUIPMENT_INFUSED_SHARE 5.0
#define CRITERIA_EQUIPMENT_RATE_SHARE    5.0
/* Speed and way of a puller, %: every length of a profile is wrong by as much. [choice] */
#define CRITERIA_EQUIPMENT_PULLER_SHARE 5.0
/* Volume of a balloon, %: as infused volume. [choice] */
#define CRITERIA_EQUIPMENT_BALLOON_SHARE 5.0
/* Scale, g: the smallest gain that a pad test counts. [choice] */
#define CRITERIA_EQUIPMENT_MASS_G 1.0

/* ---- Pressure beyond the single point ---- */

/* Hysteresis, cmH2O: within the same amount. [memory] */
#define CRITERIA_EQUIPMENT_HYSTERESIS_CMH2O 1.0
/* Less drift than this in a test is wanted, cmH2O. [memory] */
#define CRITERIA_EQUIPMENT_DRIFT_CMH2O 1.0
/* A static column is read at least at these two, cmH2O. [memory] */
#define CRITERIA_EQUIPMENT_COLUMN_LOW_CMH2O  0.0
#define CRITERIA_EQUIPMENT_COLUMN_HIGH_CMH2O 50.0
/* A gain outside of these, or an offset beyond this, cmH2O, asks for a calibration. [choice] */
#define CRITERIA_EQUIPMENT_GAIN_LOW     0.97
#define CRITERIA_EQUIPMENT_GAIN_HIGH    1.03
#define CRITERIA_EQUIPMENT_OFFSET_CMH2O 1.0

/* ---- Arithmetic ---- */

/* At the limit is within it: an error may exceed it by this share of the applied value and of the
 * limit, as decimals have no exact binary form. [choice] */
#define CRITERIA_EQUIPMENT_ROUNDING 1e-9

#endif
