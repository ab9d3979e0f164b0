/* Thresholds, windows and constants of anorectal manometry, marked as in criteria.h. */
#ifndef ANALYSIS_CRITERIA_ANORECTAL_H
#define ANALYSIS_CRITERIA_ANORECTAL_H

/* ---- Signals ---- */

/* Faster channels are reduced to at most this rate by block means, Hz: coughs need more than the
 * rest. [choice] */
#define CRITERIA_ARM_RATE_HZ 200.0
/* Half windows of the means on which pressures are read, s: tone and squeezes; coughs, which are
 * faster; pushes and the reflex (lowest 1 s mean: common practice [memory]). [choice] */
#define CRITERIA_ARM_TONE_HALF_S   0.25
#define CRITERIA_ARM_COUGH_HALF_S  0.03
#define CRITERIA_ARM_SECOND_HALF_S 0.5
/* Without rectal pressure, the lowest sensor stands for it when it is not above this, mmHg: what is
 * higher at rest lies in the canal. [choice] */
#define CRITERIA_ARM_ZONE_RECTAL_MOST_MMHG 20.0
/* A sensor that shows one and the same value for this share of its length is dead, when another one
 * never stands still for this long, s. [choice] */
#define CRITERIA_ARM_DEAD_SHARE   0.5
#define CRITERIA_ARM_STANDSTILL_S 5.0

/* ---- Rest ---- */

/* Length of the resting record, s. IAPWG protocol, Carrington 2020, Neurogastroenterol Motil
 * 32:e13679 [memory]; 20, 60 and 300 s agree [read: Oblizajek 2022 abstract]. */
#define CRITERIA_ARM_REST_S 60.0
/* Shortest stretch that is taken for rest when there is no longer one, s. [choice] */
#define CRITERIA_ARM_REST_LEAST_S 10.0
/* Means over this long are compared to find the quietest stretch, s. [choice] */
#define CRITERIA_ARM_REST_BLOCK_S 1.0
/* A stretch below this share of the usual (median) anal pressure is no rest: the catheter lies
 * outside the canal. [choice] */
#define CRITERIA_ARM_REST_LOW_SHARE 0.5
/* What is further than this from the median within half this window is an artefact, mmHg and s.
 * [choice] */
#define CRITERIA_ARM_ARTEFACT_MMHG   15.0
#define CRITERIA_ARM_ARTEFACT_HALF_S 5.0

/* ---- Manoeuvres by marker ---- */

/* Level just before a manoeuvre: median over this long, s. [choice] */
#define CRITERIA_ARM_BEFORE_S 5.0
/* A manoeuvre may begin this long before its marker, s. [choice] */
#define CRITERIA_ARM_EARLY_S 2.0
/* Its peak is sought up to this long after the marker, s: the protocol's 5, 30 and 15 s [memory]
 * with 5 s of slack; a cough, single or double. [choice] */
#define CRITERIA_ARM_SQUEEZE_S 10.0
#define CRITERIA_ARM_LONG_S    35.0
#define CRITERIA_ARM_COUGH_S   4.0
#define CRITERIA_ARM_PUSH_S    20.0
/* It begins where the pressure has come this share of the way to its peak. [choice] */
#define CRITERIA_ARM_ONSET_SHARE 0.1
/* It lasts while the pressure is above this share of its rise; 50 % for the endurance of a squeeze
 * [memory]. */
#define CRITERIA_ARM_HOLD_SHARE 0.5
/* Shorter dips do not end it, s. [choice] */
#define CRITERIA_ARM_DIP_S 1.0
/* Longest endurance, s: the length of the long squeeze. IAPWG protocol [memory] */
#define CRITERIA_ARM_ENDURANCE_S 30.0
/* Rectal rise from which a push is seen in the rectal pressure, mmHg; without it a push is taken to
 * last this long, s (protocol [memory]). [choice] */
#define CRITERIA_ARM_PUSH_SEEN_MMHG 5.0
#define CRITERIA_ARM_PUSH_LENGTH_S  15.0
/* Cut from both ends of a push before the anal pressure is read, s: there it is still on its way.
 * [choice] */
#define CRITERIA_ARM_PUSH_TRIM_S 1.0

/* ---- Manoeuvres without marker ---- */

/* Usual level: median over twice this, s, of this many values a second. [choice] */
#define CRITERIA_ARM_LEVEL_HALF_S  60.0
#define CRITERIA_ARM_LEVEL_RATE_HZ 2.0
/* Rise over that level that is found, mmHg. [choice] */
#define CRITERIA_ARM_FOUND_MMHG 15.0
/* Shorter and longer rises of the anal pressure are no squeeze, s; one from the second length on is
 * a long squeeze. [choice] */
#define CRITERIA_ARM_FOUND_LEAST_S 1.0
#define CRITERIA_ARM_FOUND_LONG_S  15.0
#define CRITERIA_ARM_FOUND_MOST_S  45.0
/* Rises of the rectal pressure: shorter ones are coughs, longer ones pushes, s. [choice] */
#define CRITERIA_ARM_FOUND_COUGH_S 2.0

/* ---- Balloon ---- */

/* Faster inflation is the test of the reflex, mL/s; a smaller one is none, mL. [choice] */
#define CRITERIA_ARM_FAST_ML_S    5.0
#define CRITERIA_ARM_INFLATION_ML 10.0
/* Pressures are disturbed for this long after an inflation, s. [choice] */
#define CRITERIA_ARM_INFLATION_S 30.0
/* The fall is sought, and its return, up to this long after the inflation, s. [choice] */
#define CRITERIA_ARM_FALL_S   15.0
#define CRITERIA_ARM_RETURN_S 60.0
/* The reflex lasts from this share of its fall to this share of it left. [choice] */
#define CRITERIA_ARM_FALL_SHARE   0.1
#define CRITERIA_ARM_RETURN_SHARE 0.5
/* Absent only after this volume, mL: 240 to 250, a wide rectum needs more. [memory] */
#define CRITERIA_ARM_ABSENT_ML 240.0
/* Rectal rise at an inflation that shows contact of the balloon, mmHg; resting
 * pressure below which a fall cannot be judged, mmHg. [choice] */
#define CRITERIA_ARM_CONTACT_MMHG  5.0
#define CRITERIA_ARM_REST_LOW_MMHG 10.0
/* Compliance: smallest volume, mL, and rise of the rectal pressure, mmHg. [choice] */
#define CRITERIA_ARM_COMPLIANCE_ML   20.0
#define CRITERIA_ARM_COMPLIANCE_MMHG 2.0
/* Longest plausible expulsion time, s. [choice] */
#define CRITERIA_ARM_EXPULSION_MAX_S 3600.0

/* ---- Canal length ---- */

/* Anal above rectal pressure at rest by more than this, mmHg. [read: a review of high-resolution
 * anorectal manometry] */
#define CRITERIA_ARM_LENGTH_MMHG 5.0
/* Between sensors the pressure above the rectal one is taken to fall exponentially, to this at the
 * first sensor beyond the canal, mmHg: there it is nothing but noise. [choice] */
#define CRITERIA_ARM_LENGTH_FLOOR_MMHG 1.0
/* Positions are joined over this length, mm; a longer pull is none, mm. [choice] */
#define CRITERIA_ARM_LENGTH_BIN_MM  1.0
#define CRITERIA_ARM_LENGTH_MOST_MM 300.0
/* The puller moves when it is this far from where it began or ends, mm; the stations at both ends
 * count for this long, s. [choice] */
#define CRITERIA_ARM_PULL_MOVED_MM 0.5
#define CRITERIA_ARM_PULL_DWELL_S  5.0
/* Without rectal signal, the pressure at the beginning of the pull stands for it: median over this
 * long, s. [choice] */
#define CRITERIA_ARM_PULL_RECTAL_S 1.0

/* ---- Classes ---- */

/* Rectal rise from which a push is adequate, mmHg. Rao 1999, Am J Gastroenterol 94:773-783.
 * [memory] */
#define CRITERIA_ARM_PUSH_ADEQUATE_MMHG 45.0
/* Share of the pushes that must show one pattern: two of three. At least two pushes. [choice] */
#define CRITERIA_ARM_PUSHES_AGREE 0.66

/* ---- Quality ---- */

/* Plausible anal and rectal pressures, mmHg, and how long outside, s. [choice] */
#define CRITERIA_ARM_LEAST_MMHG 0.0
#define CRITERIA_ARM_MOST_MMHG  400.0
#define CRITERIA_ARM_OUTSIDE_S  1.0
/* Largest value that is held for this long while the line moves otherwise: it is cut off, s.
 * [choice] */
#define CRITERIA_ARM_CLIPPED_S 0.5
/* Change of the level before the manoeuvres from the first to the last, mmHg. [choice] */
#define CRITERIA_ARM_DRIFT_MMHG 20.0
/* Wanted for coughs, Hz. [memory] */
#define CRITERIA_ARM_COUGH_RATE_HZ 20.0

/* ---- Unless the clinic chose others ---- */

/* Relaxation from which the reflex is there, London 2020 [memory]; below which a push relaxes too
 * little, Rao 2008 [read: second hand]; seconds after which an expulsion is late, Ratuapli 2013
 * [read: abstract]. */
#define CRITERIA_ARM_REFLEX_PERCENT          25.0
#define CRITERIA_ARM_PUSH_RELAXATION_PERCENT 20.0
#define CRITERIA_ARM_EXPULSION_S             60.0

#endif
