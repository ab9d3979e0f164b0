/* Thresholds and windows for events in the pressure lines and for involuntary contractions; marks
 * as in criteria.h. */
#ifndef ANALYSIS_CRITERIA_PRESSURE_H
#define ANALYSIS_CRITERIA_PRESSURE_H

/* ---- The slow axis ---- */

/* What takes a second or longer is looked for on at most this many samples a second, levels over
 * minutes on at most that many, Hz. [choice] */
#define CRITERIA_GRID_HZ 10.0
#define CRITERIA_SLOW_HZ 1.0
/* Below this rate nothing is looked for, Hz. [choice] */
#define CRITERIA_EVENT_RATE_MIN_HZ 0.9
/* A marker this far from an event still belongs to it, s. [choice] */
#define CRITERIA_EVENT_MARKER_S 5.0

/* ---- Coughs ---- */

/* A cough is a peak narrower than twice this, s. [choice] */
#define CRITERIA_COUGH_HALF_S 1.0
/* Rise over what is wider, mean of the two lines: the least that counts, and the least that counts
 * within talking and movement, cmH2O. 15: other-studies and cough checks [memory]; 8 [choice]. */
#define CRITERIA_COUGH_RISE_CMH2O 8.0
#define CRITERIA_COUGH_SURE_CMH2O 15.0
/* It stands out of its neighbours by this share of its rise, and is at least this share of the
 * whole rise over the level of minutes in one of the lines: else it is the crest of a strain.
 * [choice] */
#define CRITERIA_COUGH_APART_SHARE 0.5
#define CRITERIA_COUGH_CREST_SHARE 0.4
/* Both lines take part: the smaller peak is at least this share of the larger. [choice] */
#define CRITERIA_COUGH_BOTH_SHARE 0.2
/* Spikes up to this long after the first are one cough, read at the highest of them, s: people
 * cough twice at one request, and a cough is a volley of expulsions. [choice] */
#define CRITERIA_COUGH_VOLLEY_S 1.0
/* A line's own peak lies within this of the cough, s; its level before is the median over this
 * long, s. Baseline 2 s: Good urodynamic practices 2002 [memory]; the rest [choice]. */
#define CRITERIA_COUGH_PEAK_S   0.3
#define CRITERIA_COUGH_BEFORE_S 2.0
/* It begins and ends where it is this share of its height. [choice] */
#define CRITERIA_COUGH_FOOT_SHARE 0.1
/* Below this rate coughs are missed or too low, Hz. [choice] */
#define CRITERIA_COUGH_RATE_MIN_HZ 4.0

/* ---- Restlessness ---- */

/* At least so many peaks of at least this, cmH2O, and no further apart than that, s. [choice] */
enum { CRITERIA_RESTLESS_PEAKS = 4 };

#define CRITERIA_RESTLESS_RISE_CMH2O 4.0
#define CRITERIA_RESTLESS_APART_S    2.5

/* ---- Flushes ---- */

/* One line jumps by at least this, cmH2O, within this, s, while the other changes by less than that
 * share, and comes back to within that share. Beside a flush or zero marker the jump may be
 * smaller. [choice] */
#define CRITERIA_FLUSH_EDGE_CMH2O        30.0
#define CRITERIA_FLUSH_MARKED_EDGE_CMH2O 10.0
#define CRITERIA_FLUSH_EDGE_S            0.5
#define CRITERIA_FLUSH_SHARE             0.3
/* Before a jump downwards the line kept within that share of it for at least this long, s.
 * [choice] */
#define CRITERIA_FLUSH_STILL_S 1.0
/* It lasts at least, and at most, this long, s; its marker lies within this, s. [choice] */
#define CRITERIA_FLUSH_MIN_S    1.0
#define CRITERIA_FLUSH_MAX_S    60.0
#define CRITERIA_FLUSH_MARKER_S 15.0

/* ---- Changes of position ---- */

/* Both lines step by at least this between medians over that long on both sides, cmH2O and s; the
 * smaller step is at least this share of the larger; the way from a fifth to four fifths of the
 * step takes at most this long, s. [choice] */
#define CRITERIA_POSITION_STEP_CMH2O 5.0
#define CRITERIA_POSITION_LEVEL_S    60.0
#define CRITERIA_POSITION_BOTH_SHARE 0.4
#define CRITERIA_POSITION_EDGE_SHARE 0.2
#define CRITERIA_POSITION_MAX_S      15.0

/* ---- Strains and rectal contractions ---- */

/* Level of a line: median over twice this, s. Departures from it are looked at in a mean over twice
 * that, s. [choice] */
#define CRITERIA_LINE_LEVEL_HALF_S  60.0
#define CRITERIA_LINE_SMOOTH_HALF_S 1.0
/* An excursion of pabd begins and ends at this, cmH2O; its edges lie at this share of its height.
 * [choice] */
#define CRITERIA_EXCURSION_CMH2O      3.0
#define CRITERIA_EXCURSION_EDGE_SHARE 0.2
/* The level before it is a median over this long, s. [choice] */
#define CRITERIA_EXCURSION_BEFORE_S 5.0
/* It belongs to both lines when the smaller change is at least this share of the larger. [choice]
 */
#define CRITERIA_EXCURSION_BOTH_SHARE 0.5
/* Strain: mean rise of the two lines, cmH2O; time above half of it, s. [choice] */
#define CRITERIA_STRAIN_BOTH_CMH2O 10.0
#define CRITERIA_STRAIN_MIN_S      2.2
/* Rectal contraction: change of pabd alone, cmH2O; time beyond half of it, s. [choice] */
#define CRITERIA_RECTAL_CHANGE_CMH2O 5.0
#define CRITERIA_RECTAL_MIN_S        3.0

/* ---- Involuntary contractions [choice: no published rule] ---- */

/* The record before the start of filling that is looked at for the level, s. */
#define CRITERIA_CONTRACTION_LEAD_S 60.0
/* Median on which contractions are looked for, and mean that gives their height: half of the
 * length, s. A shorter mean takes noise and breathing for height. */
#define CRITERIA_CONTRACTION_MEDIAN_HALF_S 1.0
#define CRITERIA_CONTRACTION_PEAK_HALF_S   1.0
/* The level follows changes slower than this, s; noise reckoned with at least, cmH2O; rounds
 * at most. */
#define CRITERIA_CONTRACTION_PERIOD_S    300.0
#define CRITERIA_CONTRACTION_NOISE_CMH2O 0.3

enum { CRITERIA_CONTRACTION_ROUNDS = 25 };

/* What is left out around a rectal contraction, strain, flush or change of position, s. */
#define CRITERIA_CONTRACTION_MASK_S 1.0
/* A candidate reaches this share of the smallest amplitude above the level, and stands out of its
 * neighbours by that share of its height. */
#define CRITERIA_CONTRACTION_CANDIDATE_SHARE 0.8
#define CRITERIA_CONTRACTION_APART_SHARE     0.5
/* It begins and ends where it is this share of its height above the level, or that much, cmH2O. */
#define CRITERIA_CONTRACTION_EDGE_SHARE 0.1
#define CRITERIA_CONTRACTION_EDGE_CMH2O 1.0
/* Missing or left-out samples up to this long do not end it, s. */
#define CRITERIA_CONTRACTION_BRIDGE_S 15.0
/* Time above half of its amplitude, s. */
#define CRITERIA_CONTRACTION_MIN_S 5.0
/* Change of pabd over that of pves from which on it is no contraction of the bladder alone; both
 * against medians over this long before it, s. */
#define CRITERIA_CONTRACTION_PABD_SHARE 0.5
#define CRITERIA_CONTRACTION_BEFORE_S   10.0
/* Terminal: begins at or above this share of the capacity, and filling ends during it or within
 * this, s. */
#define CRITERIA_TERMINAL_VOLUME_SHARE 0.9
#define CRITERIA_TERMINAL_END_S        5.0
/* One that began less than this before permission to void, s, and has not fallen below this share
 * of its peak by then, is the voiding contraction. */
#define CRITERIA_VOIDING_LEAD_S     20.0
#define CRITERIA_VOIDING_FALL_SHARE 0.8
/* One that empties the bladder is looked at up to this long after the onset of flow, s. */
#define CRITERIA_EMPTYING_BEYOND_S 60.0
/* It follows a cough or strain that ended within this before it, s; an urgency marker within that
 * of it belongs to it, s. */
#define CRITERIA_AFTER_COUGH_S 5.0
#define CRITERIA_URGENCY_S     5.0

/* Smallest amplitude that is reported unless the clinic chose another, cmH2O. ICS 2002 set none.
 * [memory] */
#define CRITERIA_CONTRACTION_CMH2O 5.0

#endif
