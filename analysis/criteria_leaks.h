/* Thresholds and windows for losses of urine during filling. Marks as in criteria.h. */
#ifndef ANALYSIS_CRITERIA_LEAKS_H
#define ANALYSIS_CRITERIA_LEAKS_H

/* ---- On the meter ---- */

/* The volume in the vessel is looked at on at most this many samples a second, Hz. [choice] */
#define CRITERIA_LEAK_RATE_HZ 10.0
/* And averaged over twice this, s. [choice] */
#define CRITERIA_LEAK_SMOOTH_HALF_S 0.25
/* A spurt: volume rises by at least this, mL, within twice this, s. A dribble: by at least that,
 * within twice that. [choice] */
#define CRITERIA_LEAK_SPURT_ML       1.0
#define CRITERIA_LEAK_SPURT_HALF_S   1.0
#define CRITERIA_LEAK_DRIBBLE_ML     2.0
#define CRITERIA_LEAK_DRIBBLE_HALF_S 5.0
/* And by more than this many robust standard deviations of such rises, and steps of the signal's
 * resolution, counted as at most that many mL each: a larger smallest change is a leak. [choice] */
#define CRITERIA_LEAK_NOISE        5.0
#define CRITERIA_LEAK_STEPS        1.5
#define CRITERIA_LEAK_STEP_MOST_ML 1.0
/* It reaches as far as volume rises by this share of that. [choice] */
#define CRITERIA_LEAK_EDGE_SHARE 0.25
/* Volume before and after it: median over this long, s. [choice] */
#define CRITERIA_LEAK_LEVEL_S 1.0
/* It begins, and ends, where a straight line through the moments at which these shares of it are
 * lost, or still to be lost, reaches none. [choice] */
#define CRITERIA_LEAK_NEAR_SHARE 0.1
#define CRITERIA_LEAK_FAR_SHARE  0.3
/* A fast excursion on a meter of flow alone is a leak when a cough or strain ended at most this
 * long before it, s, and it lasts at least that, s: else it is a knock. [choice] */
#define CRITERIA_LEAK_KNOCK_COUGH_S 2.0
#define CRITERIA_LEAK_KNOCK_LEAST_S 0.25
/* A marker set at most this early, or late, s, belongs to the leak on the meter; markers no further
 * apart than that, s, are of one leak. [choice] */
#define CRITERIA_LEAK_MARKER_EARLY_S 3.0
#define CRITERIA_LEAK_MARKER_LATE_S  5.0
#define CRITERIA_LEAK_MARKER_APART_S 2.0

/* ---- Cause ---- */

/* A cough or strain causes a leak on the meter when it overlaps the moment of it (less the flow
 * delay) widened by this much to both sides, s, because delays differ; and a leak that was only
 * marked when it lies at most that long before the marker, s. [choice] */
#define CRITERIA_LEAK_CAUSE_S        1.0
#define CRITERIA_LEAK_CAUSE_MARKED_S 5.0
/* A contraction that was under way this long before the cough or strain may have caused it too:
 * then the cause is unclear, s. [choice] */
#define CRITERIA_LEAK_UNDER_WAY_S 2.0
/* Without cough, strain and contraction, pdet this far above its resting level makes the leak one
 * of the detrusor (low compliance), cmH2O; pabd has then risen by at most this share of that over
 * what it was at rest. [choice] */
#define CRITERIA_LEAK_PDET_RISE_CMH2O 10.0
#define CRITERIA_LEAK_PABD_SHARE      0.5

/* ---- Pressures ---- */

/* Level before: median of this long, ending this long before cough, strain, contraction or leak is
 * taken to begin, because what begins slowly began before that, s. [choice] */
#define CRITERIA_LEAK_BASELINE_S      2.0
#define CRITERIA_LEAK_BASELINE_LEAD_S 1.0
/* Peak of a cough: within this of where the event has it, s. [choice] */
#define CRITERIA_LEAK_PEAK_HALF_S 0.5
/* Pressure at a moment: median over twice this, s. [choice] */
#define CRITERIA_LEAK_READ_HALF_S 0.25

/* ---- Leak point pressures, unless the clinic chose others, cmH2O ---- */

/* Abdominal: below a weak sphincter, above a competent one. [read: ICS terminology page] Detrusor:
 * above, a risk to the upper tract. McGuire 1981, J Urol 126:205-209. [read: abstract] */
#define CRITERIA_STRESS_LEAK_LOW_CMH2O    60.0
#define CRITERIA_STRESS_LEAK_HIGH_CMH2O   90.0
#define CRITERIA_DETRUSOR_LEAK_HIGH_CMH2O 40.0

#endif
