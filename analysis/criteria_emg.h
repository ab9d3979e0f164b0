/* Thresholds, windows and constants of the electromyogram. Marks as in criteria.h; a [choice] that
 * is called a proposal stands so in the project's reference page for want of a published rule. */
#ifndef ANALYSIS_CRITERIA_EMG_H
#define ANALYSIS_CRITERIA_EMG_H

/* ---- Envelope ---- */

/* The mean of a raw signal is taken over twice this, s: at least 1 s in all, because a shorter
 * stretch takes slow activity away. [choice, proposal] */
#define CRITERIA_EMG_MEAN_HALF_S 1.0
/* Half of the window of the root mean square of a raw signal, s: 0.1 to 0.25 s in all. [choice,
 * proposal] */
#define CRITERIA_EMG_RMS_HALF_S 0.1
/* Samples of a raw signal further from the mean than this many average rectified values of their
 * window are spikes and left out (normal noise: one in 6e9). [choice] */
#define CRITERIA_EMG_SPIKE_RATIO 8.0
/* Half of the window of the mean of a rectified signal, s. [choice, proposal] */
#define CRITERIA_EMG_RECTIFIED_HALF_S 0.25
/* The envelope is given at most at this rate, Hz: twice what a chart needs. [choice] */
#define CRITERIA_EMG_ENVELOPE_RATE_HZ 20.0
/* What samples of an unknown form are. From this share of negative ones on, raw. [choice] */
#define CRITERIA_EMG_NEGATIVE_SHARE 0.05
/* Else rectified, when sampled at this rate, Hz, or faster, crossing its local mean at least this
 * often a second, and below this part of its local mean for at least this share of the samples
 * (rectified normal noise: 0.31). Else an envelope. [choice] */
#define CRITERIA_EMG_RECTIFIED_RATE_HZ 200.0
#define CRITERIA_EMG_CROSSINGS_HZ      20.0
#define CRITERIA_EMG_LOW_PART          0.5
#define CRITERIA_EMG_LOW_SHARE         0.2

/* ---- Levels ---- */

/* Rest: this long, s, at the start of filling. [choice, proposal] The first such window without a
 * cough, strain or marker of a disturbance is sought this far, s, in steps of 1 s. [choice] */
#define CRITERIA_EMG_REST_S        10.0
#define CRITERIA_EMG_REST_SEARCH_S 60.0
/* End of filling: its last share for guarding, its last seconds for the ratio. [choice, proposal]
 */
#define CRITERIA_EMG_END_SHARE 0.1
#define CRITERIA_EMG_END_S     10.0
/* The slope over filling goes through medians of segments of this length, s. [choice] */
#define CRITERIA_EMG_SEGMENT_S 10.0
/* Spread of the envelope at rest below this counts as this, uV: an envelope that rounds hides it.
 * [choice] */
#define CRITERIA_EMG_SD_FLOOR_UV 0.1
/* Relaxation begins where the envelope falls below this part of the way from the voiding level to
 * that at the end of filling, for at least this long, s. [choice, proposal] */
#define CRITERIA_EMG_RELAX_PART 0.5
#define CRITERIA_EMG_RELAX_S    1.0

/* ---- Bursts ---- */

/* Shortest burst, and longest gap within one, s. [choice, proposal] */
#define CRITERIA_EMG_BURST_S     0.5
#define CRITERIA_EMG_BURST_GAP_S 0.25
/* The voiding contraction is where the 1 s average of pdet is at least this far above its level
 * before, cmH2O, for at least this long, s. [choice] */
#define CRITERIA_EMG_CONTRACTION_CMH2O 5.0
#define CRITERIA_EMG_CONTRACTION_S     1.0
/* It is sought up to this long after the end of flow, s. [choice] */
#define CRITERIA_EMG_CONTRACTION_TAIL_S 10.0

/* ---- Pattern: hints after Blaivas 1981, J Urol 125:545-548 [read: abstract, for the types;
 * choice, proposal, for the numbers] ---- */

/* Type 1: the largest EMG lies within this of the largest pdet, s, and then falls within this, s,
 * below this share of it, %. */
#define CRITERIA_EMG_TYPE1_PEAK_S       2.0
#define CRITERIA_EMG_TYPE1_FALL_S       2.0
#define CRITERIA_EMG_TYPE1_FALL_PERCENT 50.0

/* Type 2: at least three bursts, each shorter than this, s, that cover at least this share of the
 * contraction, %, and less than type 3. */
enum { CRITERIA_EMG_TYPE2_BURSTS = 3 };

#define CRITERIA_EMG_TYPE2_BURST_S       3.0
#define CRITERIA_EMG_TYPE2_LEAST_PERCENT 20.0
/* Type 3: bursts cover at least this share of the contraction, %. */
#define CRITERIA_EMG_TYPE3_PERCENT 80.0

/* ---- Quality [choice, proposal] ---- */

/* Raw surface EMG wants this rate, Hz, and a logged envelope this one. [memory] */
#define CRITERIA_EMG_RAW_RATE_HZ    1000.0
#define CRITERIA_EMG_LOGGED_RATE_HZ 10.0
/* pabd this far above its level before voiding, cmH2O, during a burst: straining may be the cause.
 */
#define CRITERIA_EMG_STRAIN_CMH2O 10.0
/* A change by more than this ratio within this long, s, from this long before to this long after
 * the onset of flow, s: urine on the electrodes. */
#define CRITERIA_EMG_WET_RATIO    5.0
#define CRITERIA_EMG_WET_STEP_S   1.0
#define CRITERIA_EMG_WET_BEFORE_S 0.5
#define CRITERIA_EMG_WET_AFTER_S  2.0
/* Told from this share of the windows with spikes on. */
#define CRITERIA_EMG_SPIKE_SHARE 0.1

/* A signal that stays at its extreme for three samples or more, and a smooth one this long, s, is
 * cut off there. */
enum { CRITERIA_EMG_CLIP_SAMPLES = 3 };

#define CRITERIA_EMG_CLIP_S 0.5

/* A burst lies this many standard deviations above rest, unless the clinic chose another. [choice]
 */
#define CRITERIA_EMG_BURST_SD 3.0

#endif
