/* Thresholds, windows and constants of urethral pressure profiles, with unit and origin; marks as
 * in criteria.h. */
#ifndef ANALYSIS_CRITERIA_PROFILE_H
#define ANALYSIS_CRITERIA_PROFILE_H

/* ---- Finding the pulls ---- */

/* Rate at which the puller, and the shape of the pressure, are looked at, Hz. [choice] */
#define CRITERIA_PROFILE_SEARCH_HZ 10.0
/* The puller moves when it does so faster than this, mm/s, over this long to both sides, s.
 * [choice] Usual speeds are 0.5 to 2 mm/s [memory]. */
#define CRITERIA_PROFILE_MOVING_MM_S   0.2
#define CRITERIA_PROFILE_MOVING_HALF_S 1.0
/* Shorter ways are no pull, mm. [choice] */
#define CRITERIA_PROFILE_TRAVEL_MIN_MM 10.0
/* A rest of the puller up to this long does not end a pull, s; from this length on, as seen at the
 * moving average, it is told, s. [choice] */
#define CRITERIA_PROFILE_PAUSE_S 5.0
#define CRITERIA_PROFILE_STALL_S 1.0
/* A pull begins and ends where the puller is this close to where it stood, mm. [choice] */
#define CRITERIA_PROFILE_EDGE_MM 0.1
/* The position follows a straight line where the puller is nowhere further off it, mm. [choice] */
#define CRITERIA_PROFILE_LINE_MM 1.0
/* Half of the average of a puller that does not move evenly, s. [choice] */
#define CRITERIA_PROFILE_UNEVEN_HALF_S 0.5
/* Entered speed and the puller's own differ by more than this share. [choice] */
#define CRITERIA_PROFILE_SPEED_SHARE 0.1
/* Fastest pull that a perfused catheter follows, mm/s. Abrams 1978, Br J Urol 50:33-38. [memory] */
#define CRITERIA_PROFILE_SPEED_HIGH_MM_S 7.0
/* Without puller and markers: closure pressure that is a pull, and where it ends, cmH2O; shortest,
 * s; median against coughs, half, s; reach to both sides, s. [choice] */
#define CRITERIA_PROFILE_HUMP_CMH2O      10.0
#define CRITERIA_PROFILE_HUMP_EDGE_CMH2O 5.0
#define CRITERIA_PROFILE_HUMP_MIN_S      2.0
#define CRITERIA_PROFILE_HUMP_HALF_S     1.0
#define CRITERIA_PROFILE_HUMP_REACH_S    20.0
/* Levels at both ends, over as long as the shortest, that differ by more tell bladder from outside,
 * cmH2O. [choice] */
#define CRITERIA_PROFILE_SIDES_CMH2O 3.0

/* ---- The profile ---- */

/* Vesical pressure and closure in the bladder before the pull: median over this long, s. [choice]
 */
#define CRITERIA_PROFILE_BEFORE_S 5.0
/* Closure within this of zero is that of a sensor in the bladder, cmH2O; at least this long, s.
 * [choice] */
#define CRITERIA_PROFILE_BASELINE_CMH2O 5.0
#define CRITERIA_PROFILE_BASELINE_S     3.0
/* From this sampling on, peaks are read from a mean that reaches this far to both sides, s.
 * [choice] */
#define CRITERIA_PROFILE_PEAK_RATE_HZ 50.0
#define CRITERIA_PROFILE_PEAK_HALF_S  0.1
/* Noise (standard deviation) above this is treated as such, cmH2O, where samples stand no further
 * apart than this, mm. [choice] */
#define CRITERIA_PROFILE_NOISE_CMH2O      0.15
#define CRITERIA_PROFILE_NOISE_SPACING_MM 1.0
/* Noisy: the peak is that of parabolas that reach this far to both sides, s. Its
 * place: the vertex of a parabola that reaches this far, mm. [choice] */
#define CRITERIA_PROFILE_PARABOLA_HALF_S  0.75
#define CRITERIA_PROFILE_PARABOLA_HALF_MM 3.0
/* Noisy: the ends of the functional length are sought on a mean, at this many standard deviations
 * of it above the threshold. It is as short as brings those down to this, cmH2O, and reaches this
 * far to both sides at most, mm. From there a line through this much of the flank leads down to the
 * threshold, mm. [choice] */
#define CRITERIA_PROFILE_END_SD          3.0
#define CRITERIA_PROFILE_END_GUARD_CMH2O 0.5
#define CRITERIA_PROFILE_END_HALF_MM     0.5
#define CRITERIA_PROFILE_END_LINE_MM     2.0
/* Half-peak width: at this share of the maximum closure pressure. [choice] */
#define CRITERIA_PROFILE_WIDTH_SHARE 0.5
/* Outer end of the total length: where pressure is this near, cmH2O, to the outer level, which is
 * the median over the last seconds of the pull, s, if their two halves differ by no more than this,
 * cmH2O. [choice] */
#define CRITERIA_PROFILE_OUTER_NEAR_CMH2O  1.0
#define CRITERIA_PROFILE_OUTER_S           2.0
#define CRITERIA_PROFILE_OUTER_MOVED_CMH2O 2.0

/* ---- Coughs ---- */

/* Smallest rise of pves that is evaluated, cmH2O. [choice] */
#define CRITERIA_PROFILE_COUGH_CMH2O 15.0
/* Level before: median over this long, s, up to this long before the peak, s; the urethra's own
 * peak lies within the latter to both sides, s (it precedes the bladder's by 0.24 s, Constantinou
 * and Govan 1982 [read: abstract]). [choice] */
#define CRITERIA_PROFILE_COUGH_LEVEL_S 1.0
#define CRITERIA_PROFILE_COUGH_NEAR_S  0.3
/* It falls below this share of its height within this, s, or a marker lies within this, s. [choice]
 */
#define CRITERIA_PROFILE_COUGH_FALL_SHARE 0.5
#define CRITERIA_PROFILE_COUGH_MAX_S      2.0
#define CRITERIA_PROFILE_COUGH_MARKER_S   2.0
/* Cut out for the resting profile: where pves is above this share of the rise, up to this far after
 * the peak, s, and this much more to both sides, s. [choice] */
#define CRITERIA_PROFILE_CUT_SHARE    0.1
#define CRITERIA_PROFILE_CUT_AFTER_S  1.5
#define CRITERIA_PROFILE_CUT_MARGIN_S 0.3
/* Below this sampling a cough's peak is missed, Hz. [choice] Spectra reach 10 to 15 Hz, Thind 1994,
 * Neurourol Urodyn 13:219-225 [memory]. */
#define CRITERIA_PROFILE_STRESS_RATE_HZ 50.0

/* ---- Quality and findings ---- */

/* Excursion of pves above its median during a resting pull, cmH2O. [choice] */
#define CRITERIA_PROFILE_EXCURSION_CMH2O 10.0
/* Range of pves between these shares of its samples, cmH2O. [choice] */
#define CRITERIA_PROFILE_PVES_RANGE_CMH2O 10.0
#define CRITERIA_PROFILE_PVES_LOW_SHARE   0.05
#define CRITERIA_PROFILE_PVES_HIGH_SHARE  0.95
/* Coefficient of variation of the maximum closure pressure over the pulls, %. [choice] */
#define CRITERIA_PROFILE_REPEAT_CV_PERCENT 15.0
/* Closure pressure at a cough at or below this is low, cmH2O: sensitivity 73.1 %, specificity 93.0
 * % for stress incontinence in 400 women. Pizzoferrato 2017, Int Neurourol J 21:121-127. [read:
 * abstract] */
#define CRITERIA_PROFILE_STRESS_CLOSURE_CMH2O 20.0
/* Closure pressure expected of a woman: 110 - age, plus or minus this share of it, or 92 - age,
 * cmH2O. [read: IUGA newsletter] */
#define CRITERIA_PROFILE_AGE_HIGH_CMH2O 110.0
#define CRITERIA_PROFILE_AGE_LOW_CMH2O  92.0
#define CRITERIA_PROFILE_AGE_SHARE      0.2

/* Unless the clinic chose others, cmH2O: a closure pressure at or below this is low, Bump 1997, Am
 * J Obstet Gynecol 177:303-310 [read: abstract]; the functional length is where it is above that.
 */
#define CRITERIA_PROFILE_CLOSURE_LOW_CMH2O  20.0
#define CRITERIA_PROFILE_CLOSURE_OVER_CMH2O 0.0

#endif
