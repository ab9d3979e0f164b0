/* Thresholds by which pressure lines are judged. Marks as in criteria.h. No paper at hand gives a
 * numeric rule for an artefact of a pressure line, but for the ratio at a cough: all limits here
 * raise flags for a person to look at, and refuse nothing. */
#ifndef ANALYSIS_CRITERIA_QUALITY_H
#define ANALYSIS_CRITERIA_QUALITY_H

/* Lines are judged on copies of at most this rate, Hz; what needs the band up to 4 Hz, on lines of
 * at least the second. [choice] */
#define CRITERIA_LINE_RATE_HZ       16.0
#define CRITERIA_LINE_RATE_LEAST_HZ 8.0
/* Lines are watched from this long before filling to this long after voiding, s: before and after,
 * they are handled. [choice] */
#define CRITERIA_WATCH_BEFORE_S 60.0
#define CRITERIA_WATCH_AFTER_S  10.0

/* ---- Response to coughs ---- */

/* Coughs are compared when the larger rise is at least this, cmH2O. [choice] */
#define CRITERIA_RESPONSE_RISE_CMH2O 15.0
/* Level before it: median of this long, ending this long before the peak, s. [choice] */
#define CRITERIA_RESPONSE_LEVEL_S 2.0
#define CRITERIA_RESPONSE_LEAD_S  1.0
/* The peaks of both lines lie within this of each other, s. [choice] */
#define CRITERIA_RESPONSE_REACH_S 1.0
/* It is back at half its height within this, and at least this wide there: longer is a strain,
 * narrower a knock on a tube, s. [choice] */
#define CRITERIA_RESPONSE_RETURN_S 1.5
#define CRITERIA_RESPONSE_WIDTH_S  0.15
/* A cough marker belongs to a response within this, s. [choice] */
#define CRITERIA_RESPONSE_MARKER_S 5.0
/* Smaller over larger rise below this: no response. [choice] Below the clinic's choice (0.7):
 * unequal. Hogan 2012, Neurourol Urodyn 31:1104-1117. [memory] */
#define CRITERIA_RESPONSE_SILENT 0.3
/* Damped: wider at half height than the other line by more than this ratio, or later by more than
 * this, s; judged when the smaller rise is at least this, cmH2O. [choice] */
#define CRITERIA_DAMPED_WIDTH_RATIO 2.0
#define CRITERIA_DAMPED_LAG_S       0.1
#define CRITERIA_DAMPED_RISE_CMH2O  5.0

/* ---- Times of coughs ---- */

/* A cough is wanted before this long into filling, s; during filling at least once within this, s,
 * or this volume, mL (asked for: every minute or 50 mL, GUP 2002 [memory]); and within this before
 * the end of filling, s. [choice] */
#define CRITERIA_SCHEDULE_START_S  60.0
#define CRITERIA_SCHEDULE_GAP_S    120.0
#define CRITERIA_SCHEDULE_GAP_ML   100.0
#define CRITERIA_SCHEDULE_BEFORE_S 60.0

/* ---- Dead and noisy lines ---- */

/* A line is dead when its movement between 0.5 and 4 Hz (robust standard deviation) is below the
 * first, cmH2O, and the other line's above that many times the first, over windows of this length
 * at this distance, s. [choice] */
#define CRITERIA_DEAD_CMH2O    0.05
#define CRITERIA_DEAD_RATIO    3.0
#define CRITERIA_DEAD_WINDOW_S 20.0
#define CRITERIA_DEAD_STEP_S   10.0
#define CRITERIA_DEAD_HALF_S   1.0
/* Noise from sample to sample (robust standard deviation) above this, cmH2O. [choice] */
#define CRITERIA_NOISE_CMH2O 2.0

/* ---- Steps and drift ---- */

/* A catheter is out, or its line open to air, when its pressure alone falls by at least this,
 * cmH2O, within this, s, to at most that, cmH2O, and stays there this long, s; the other line
 * changes by less than this share of it. [choice] */
#define CRITERIA_OUT_FALL_CMH2O  8.0
#define CRITERIA_OUT_LEVEL_CMH2O 5.0
#define CRITERIA_OUT_WITHIN_S    2.0
#define CRITERIA_OUT_HOLD_S      5.0
#define CRITERIA_OUT_OTHER_SHARE 0.3
/* Or when pves alone falls by more than this and pdet then is below that, cmH2O. [choice] */
#define CRITERIA_OUT_LARGE_CMH2O 20.0
#define CRITERIA_OUT_PDET_CMH2O  (-10.0)
/* A step: one line alone changes by more than this, cmH2O, within this, s, for longer than it takes
 * a catheter to be told as out. [choice] */
#define CRITERIA_STEP_CMH2O    20.0
#define CRITERIA_STEP_WITHIN_S 0.5
/* Level before a fall or step: median of this long, s. [choice] */
#define CRITERIA_STEP_LEVEL_S 2.0
/* A zero, flush or position marker this near explains it, s. [choice] */
#define CRITERIA_STEP_MARKER_S 5.0
/* Drift of pabd, or of pves downwards, between the first and the last share of the filling: above
 * this, cmH2O in 10 min, when filling takes at least that, s. [choice] */
#define CRITERIA_DRIFT_CMH2O_10MIN 10.0
#define CRITERIA_DRIFT_LEAST_S     300.0
#define CRITERIA_DRIFT_SHARE       0.2
/* pdet averaged over twice this, s, below the resting limit for at least that, s. [choice] */
#define CRITERIA_NEGATIVE_HALF_S 0.5
#define CRITERIA_NEGATIVE_S      10.0

/* ---- Clipping ---- */

/* At least this many equal samples at the line's extreme; and once at least so many, or more than
 * once: noise and resolution make a few equal by chance. [choice] */
enum { CRITERIA_CLIP_SAMPLES = 3, CRITERIA_CLIP_SURE_SAMPLES = 5 };

/* The pressure comes and goes so steeply that no round peak explains them: beside the plateau, at
 * its own length away and at most this far, s, it lies lower by more than this, cmH2O, and more
 * than this many steps of the resolution. [choice] */
#define CRITERIA_CLIP_BESIDE_S   0.5
#define CRITERIA_CLIP_DROP_CMH2O 5.0
#define CRITERIA_CLIP_DROP_STEPS 10.0
/* Or they last at least this long, s, beyond this, cmH2O: no patient holds a pressure so exactly.
 * [choice] */
#define CRITERIA_SATURATED_S     0.5
#define CRITERIA_SATURATED_CMH2O 95.0

/* Flow: it stands still at its highest value for at least this long, s, because a shorter plateau
 * hardly changes a mean over 2 s; its own length away on both sides it lies lower by more than
 * this, mL/s, and more than the steps of the resolution above, which no round peak reaches.
 * [choice] */
#define CRITERIA_FLOW_CLIP_S         2.0
#define CRITERIA_FLOW_CLIP_DROP_ML_S 1.0

/* ---- Events ---- */

/* A flush is told when it lasts at least this long, s: shorter it is a cough in one line. A rectal
 * contraction lasts at most that long, s. [choice] */
#define CRITERIA_FLUSH_TOLD_S  2.0
#define CRITERIA_RECTAL_TOLD_S 30.0

/* ---- Pump ---- */

/* Entered filling rate and slope of the infused volume: further apart than both of these, share
 * and mL/min. Pumps and volumes are held to 5 % (ICS guidelines on equipment performance, Neurourol
 * Urodyn 2014;33:370-379 [memory]); three times that. [choice] */
#define CRITERIA_PUMP_SHARE  0.15
#define CRITERIA_PUMP_ML_MIN 3.0

/* The markers say that the pump runs, or stands, for at least so many segments of the filling
 * (criteria.h) in a row while the volume does not, or does. [choice] */
enum { CRITERIA_PUMP_SEGMENTS = 3 };

/* Smaller over larger rise at a cough, unless the clinic chose another. Hogan 2012, Neurourol
 * Urodyn 31:1104-1117. [memory] */
#define CRITERIA_COUGH_TRANSMISSION_LOW 0.7

#endif
