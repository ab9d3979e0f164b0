/* Thresholds, windows and constants of pelvic floor training and of the trend over visits. Marks as
 * in criteria.h; no published rule is known for most, so they are a [choice] of this project. */
#ifndef ANALYSIS_CRITERIA_TRAINING_H
#define ANALYSIS_CRITERIA_TRAINING_H

/* ---- Finding contractions ---- */

/* Half window of the median on which they are found, s: a spike is shorter. [choice] */
#define CRITERIA_TRAINING_DETECT_HALF_S 0.25

/* First guess of the rest: the lower half of the lower half ... of the samples, so many times.
 * [choice] */
enum { CRITERIA_TRAINING_REST_HALVINGS = 3 };

/* A contraction is above rest by this many robust standard deviations, and by this share of the
 * session's best net peak, whichever is more, for at least this long, s. [choice, proposal] */
#define CRITERIA_TRAINING_REST_SD    3.0
#define CRITERIA_TRAINING_BEST_SHARE 0.2
#define CRITERIA_TRAINING_MIN_S      0.5
/* Spread at rest below this counts as this, uV or cmH2O. [choice] */
#define CRITERIA_TRAINING_SD_FLOOR 0.1
/* Gaps below this are none, s. [choice] */
#define CRITERIA_TRAINING_GAP_S 0.25
/* Rest is what lies further than this, s, from every contraction. [choice] */
#define CRITERIA_TRAINING_REST_SLACK_S 1.0
/* Shortest rest, s, in all, that gives a rest tone. [choice] */
#define CRITERIA_TRAINING_REST_LEAST_S 3.0
/* Contractions up to this long are quick, s. [choice, proposal; 2 s of work in a surface EMG
 * sequence: read, Oleksy 2021] */
#define CRITERIA_TRAINING_QUICK_S 2.0
/* Quick contractions are apart when the signal returns below this share of their net peak.
 * [choice, proposal] */
#define CRITERIA_TRAINING_RETURN_SHARE 0.5
/* Quick contractions are counted within this, s. [choice, proposal] */
#define CRITERIA_TRAINING_COUNT_WINDOW_S 10.0

/* ---- Each contraction [choice, proposal] ---- */

/* Half window of the mean for the peak, s. */
#define CRITERIA_TRAINING_PEAK_HALF_S 0.05
/* The hold is read from this long after the start on, s. */
#define CRITERIA_TRAINING_HOLD_FROM_S 2.0
/* Hold time: above this share of the net peak. */
#define CRITERIA_TRAINING_HOLD_SHARE 0.5
/* Rise and release: between these shares of the net peak. */
#define CRITERIA_TRAINING_EDGE_LOW  0.1
#define CRITERIA_TRAINING_EDGE_HIGH 0.9
/* Endurance: until the mean over twice this, s, falls below this share of the largest level within
 * the first seconds, s, all above rest. */
#define CRITERIA_TRAINING_ENDURANCE_HALF_S  1.0
#define CRITERIA_TRAINING_ENDURANCE_SHARE   0.6
#define CRITERIA_TRAINING_ENDURANCE_FIRST_S 2.0

/* ---- Findings and quality ---- */

/* Abdominal pressure during contractions over its own rest: more is told. [choice, proposal] */
#define CRITERIA_TRAINING_ABDOMINAL_RATIO 2.0
/* Endurance below this share of what was commanded, where that was at least this long, s, is told.
 * [choice] */
#define CRITERIA_TRAINING_SHORT_SHARE 0.75
#define CRITERIA_TRAINING_SHORT_S     5.0
/* Rest before the first contraction shorter than this, s, is told; 60 s in a surface EMG sequence
 * [read: Oleksy 2021]; the limit is a [choice]. */
#define CRITERIA_TRAINING_REST_BEFORE_S 10.0
/* Rest that moves over the session by more than this share of the best net peak is drift. [choice]
 */
#define CRITERIA_TRAINING_DRIFT_SHARE 0.1
/* Pressures below this rate, Hz, hide quick contractions. [choice] */
#define CRITERIA_TRAINING_RATE_FLOOR_HZ 10.0

/* ---- Trend over visits ---- */

/* A change smaller than this many coefficients of variation of repeats is within variation.
 * [choice, proposal] */
#define CRITERIA_TREND_VARIATIONS    2.0
#define CRITERIA_TREND_DAYS_PER_WEEK 7.0

#endif
