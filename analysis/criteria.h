/* Every threshold, window and constant of the analysis, with its unit and where it comes from.
 *
 * Marks: [read] the figure was seen in the named source; [memory] common in the literature but not
 * confirmed in a source at hand, to be checked before it is relied on; [choice] no published rule:
 * a decision of this project, printed beside the value that depends on it.
 *
 * Whole numbers that count something are enums. */
#ifndef ANALYSIS_CRITERIA_H
#define ANALYSIS_CRITERIA_H

/* ---- Samples ---- */

/* Slowest and fastest usable sampling, Hz, and the largest start offset, s. [choice] */
#define CRITERIA_RATE_MIN_HZ 0.01
#define CRITERIA_RATE_MAX_HZ 100000.0
#define CRITERIA_START_MAX_S 1e6
/* Markers further away than this, s, are left out. [choice] */
#define CRITERIA_MARKER_MAX_S 1e8
/* Faster channels are reduced to at most this rate by block means. [choice] */
#define CRITERIA_ANALYSIS_RATE_HZ 50.0
/* A sample beyond this (any unit) is no measurement and counts as missing. [choice] */
#define CRITERIA_SAMPLE_LIMIT 1e6
/* Floor for flow and pressure sampling, Hz. ICS guidelines on equipment performance, Neurourol
 * Urodyn 2014;33:370-379. [memory] */
#define CRITERIA_SAMPLING_FLOOR_HZ 10.0
/* Robust standard deviation: this times the median absolute deviation, as of a normal distribution.
 * [read: any text on robust statistics] */
#define CRITERIA_ROBUST_SCALE 1.4826
/* It needs at least this share of the samples that its span should hold. [choice] */
#define CRITERIA_ROBUST_PRESENT_SHARE 0.5
/* Missing samples up to this long are bridged by a straight line in integrals and runs, s. [choice]
 */
#define CRITERIA_BRIDGE_S 1.0

/* ---- Flow: smoothing and detection ---- */

/* Half of the 2 s sliding average for Qmax, s. Good urodynamic practices, Neurourol Urodyn
 * 2002;21:261-274. [memory] Window: 2*floor(rate)+1 samples, centred. [choice] */
#define CRITERIA_SMOOTH_HALF_S 1.0
/* The 2 s average needs at least this rate, Hz. [choice] */
#define CRITERIA_SMOOTH_RATE_MIN_HZ 0.999
/* Half window of the sliding median on which onset and end are found, s. [choice] */
#define CRITERIA_DETECT_HALF_S 0.25
/* Half window of the regression that turns volume into flow, s. [choice] */
#define CRITERIA_DERIVE_HALF_S 0.25
/* Changes of volume up to this are none, mL; one of up to this many steps of the signal's
 * resolution is a single step; a level that is left this many times slower than those around it is
 * a pause; a step that flow below the threshold makes is drawn out to at most this share of the
 * threshold. [choice] */
#define CRITERIA_STEP_MIN_ML     1e-3
#define CRITERIA_STEP_SINGLE     1.5
#define CRITERIA_STEP_PAUSE      3.0
#define CRITERIA_STEP_SLOW_SHARE 0.2
/* At an abrupt change the regression takes one side: when samples are off its line by more than
 * this, mL, and more than this many steps, counted as at most that many mL each (root mean square:
 * a smallest change that is larger is no resolution but a fast flow), and more than this many times
 * the median mean square; and when one side's line has less than this share of the mean square.
 * [choice] */
#define CRITERIA_EDGE_RESIDUAL_ML  0.05
#define CRITERIA_EDGE_STEPS        0.3
#define CRITERIA_EDGE_STEP_MOST_ML 1.0
#define CRITERIA_EDGE_NOISE        4.0
#define CRITERIA_EDGE_SHARE        0.2
/* Flow is on at or above this, mL/s, sustained this long, s. [choice] */
#define CRITERIA_FLOW_ON_ML_S  0.5
#define CRITERIA_FLOW_ON_MIN_S 0.5
/* A gap is flow below the threshold for at least this long, s. [choice] */
#define CRITERIA_FLOW_GAP_S 1.0
/* A faster change of flow between two samples is a step, mL/s per s. [choice] */
#define CRITERIA_FLOW_STEP_ML_S2 15.0
/* A run of flow with less volume is a drip or noise, mL. [choice] */
#define CRITERIA_RUN_VOLUME_MIN_ML 1.0
/* The integral for voided volume reaches out to where the 2 s average falls to this above what the
 * flow rests at, mL/s, and at most this far, s. [choice] */
#define CRITERIA_TAIL_ML_S  0.05
#define CRITERIA_TAIL_MAX_S 10.0
/* Resting level of the flow: a median over at least and at most this long, s, beside the voiding
 * and ending at least this long before its onset, s. [choice] */
#define CRITERIA_REST_MIN_S    5.0
#define CRITERIA_REST_WINDOW_S 60.0
#define CRITERIA_REST_LEAD_S   1.0
/* Without a marker, voiding starts with the first run of at least this volume, mL, after which no
 * more than this is infused, mL; in a pressure-flow study with none, with the largest. [choice] */
#define CRITERIA_VOID_VOLUME_MIN_ML 10.0
#define CRITERIA_LEAK_INFUSED_ML    10.0
/* A hand-set void_start marker may be this late within the flow that it marks, and any marker lie
 * this far outside the recording, s. [choice] */
#define CRITERIA_MARKER_SLACK_S 2.0
/* Level of a volume channel before and after voiding: median over this long, s. [choice] */
#define CRITERIA_VOLUME_LEVEL_S 1.0
/* Rise of a volume channel that is given although no run of flow was found, mL. [choice] */
#define CRITERIA_VOLUME_ALONE_MIN_ML 5.0
/* Where a marker cuts the flow: median over this to both sides of it, s. [choice] */
#define CRITERIA_VOLUME_CUT_HALF_S 0.15

/* ---- Flow: knocks ---- */

/* Neighbourhood: median over twice this, s. An excursion shorter than this is a minority of it. */
#define CRITERIA_SPIKE_NEIGHBOUR_HALF_S 2.0
/* Rate at which the neighbourhood is evaluated, Hz. [choice] */
#define CRITERIA_SPIKE_NEIGHBOUR_HZ 10.0
/* Excursion from the neighbourhood: trigger and edge, mL/s; longest, s. [choice] */
#define CRITERIA_SPIKE_HEIGHT_ML_S 5.0
#define CRITERIA_SPIKE_EDGE_ML_S   2.0
#define CRITERIA_SPIKE_MAX_S       2.0
/* The neighbourhood is looked at where flow is beyond this share of the edge: half of it at most,
 * so that nothing within can be an excursion. */
#define CRITERIA_SPIKE_QUIET_SHARE 0.25
/* Share of the height that must come, and go, within this step, s: urine is slower. [choice] */
#define CRITERIA_SPIKE_STEP_S     0.2
#define CRITERIA_SPIKE_RISE_SHARE 0.6
#define CRITERIA_SPIKE_FALL_SHARE 0.35
/* Shorter excursions, up or down, are knocks however many there are: urine does not pulse so fast,
 * s. [choice] */
#define CRITERIA_SPIKE_TINY_S 0.25

/* Longer ones are a train, and stay, when at least this many others like it (length and height up
 * to this ratio) begin within this distance, s. [choice] */
enum { CRITERIA_TRAIN_OTHERS = 2 };

#define CRITERIA_TRAIN_ALIKE  2.0
#define CRITERIA_TRAIN_NEAR_S 15.0
/* From this length on, s, one stays when another lies within the isolation distance, s. [choice] */
#define CRITERIA_SPIKE_BRIEF_S   0.5
#define CRITERIA_SPIKE_ISOLATE_S 2.0
/* One without flow around it, and no higher than a flow can be, stays when it holds this share of
 * the signal's volume. [choice] */
#define CRITERIA_SPURT_SHARE 0.2
/* Below this rate a knock cannot be told from flow, Hz. [choice] */
#define CRITERIA_SPIKE_RATE_MIN_HZ 4.0

/* ---- Flow: squeezes [choice] ---- */

/* Out of a flow of at least this, mL/s, the curve falls below this share of it, and within this
 * time afterwards, s, rises to this share of it plus this, mL/s; neither dip nor surge lasts longer
 * than that, s. */
#define CRITERIA_SQUEEZE_LEVEL_ML_S  5.0
#define CRITERIA_SQUEEZE_DIP_SHARE   0.3
#define CRITERIA_SQUEEZE_WAIT_S      1.0
#define CRITERIA_SQUEEZE_SURGE_SHARE 1.2
#define CRITERIA_SQUEEZE_SURGE_ML_S  3.0
#define CRITERIA_SQUEEZE_LONGEST_S   2.0

/* ---- Flow: quality ---- */

/* |integral of flow - voided volume| above both of these, mL and share, is a mismatch. [choice] */
#define CRITERIA_VOLUME_MISMATCH_ML    10.0
#define CRITERIA_VOLUME_MISMATCH_SHARE 0.05
/* A pause in the voiding longer than this is told, s. [choice] */
#define CRITERIA_LONG_PAUSE_S 10.0
/* Qmax in this last share of the flow time suggests a wrong end. [choice] */
#define CRITERIA_LATE_MAX_SHARE 0.05
/* Qave above Qmax by more than this ratio is told: tails count for Qave alone. [choice] */
#define CRITERIA_QAVE_RATIO 1.02
/* Flow below this is negative flow, mL/s. [choice] */
#define CRITERIA_NEGATIVE_ML_S (-1.0)
/* Flow outside voiding with a median beyond this, mL/s, throughout, is a wrong zero. [choice] */
#define CRITERIA_FLOW_ZERO_ML_S 0.1
/* Flow that is steady to within this, mL/s, at both ends of the recording, and below that, mL/s, is
 * no voiding but a wrong zero above the threshold. [choice] */
#define CRITERIA_ZERO_STEADY_ML_S 0.2
#define CRITERIA_ZERO_MOST_ML_S   3.0
/* Smallest voided volume for interpretation in adults, mL. [read: urology text] */
#define CRITERIA_LOW_VOLUME_ADULT_ML 150.0
/* Voided volume above which overdistension may mislead, mL. [read: urology text] */
#define CRITERIA_HIGH_VOLUME_ADULT_ML 600.0
/* Children: voided volume below this share of expected capacity. ICCS. [read: lecture page] */
#define CRITERIA_LOW_VOLUME_CHILD_SHARE 0.5
/* Children: voided volume, and voided plus residual volume, above these shares of expected capacity
 * mean an over-full bladder. [read: Chang and Yang 2009 abstract for 115 %] */
#define CRITERIA_HIGH_VOLUME_CHILD_SHARE  1.0
#define CRITERIA_HIGH_INITIAL_CHILD_SHARE 1.15

/* ---- Age and children ---- */

/* Adult rules from this age, years. [choice] */
#define CRITERIA_ADULT_YEARS 18.0
/* Expected bladder capacity 30*(age+1) mL at 4..12 years, then 390 mL. ICCS. [read: second hand,
 * Sano 2023, Eur J Drug Metab Pharmacokinet 48:257-269, as transcribed in open model code] */
#define CRITERIA_EBC_PER_YEAR_ML   30.0
#define CRITERIA_EBC_MIN_YEARS     4.0
#define CRITERIA_EBC_PLATEAU_YEARS 12.0
/* Infants: 38 + 2.5*age in months, mL. Holmdahl 1996, J Urol 156:1809. [read: abstract] */
#define CRITERIA_EBC_INFANT_BASE_ML      38.0
#define CRITERIA_EBC_INFANT_PER_MONTH_ML 2.5
#define CRITERIA_EBC_INFANT_YEARS        1.0

/* The younger children of the limits that follow, in completed years. [read: abstracts] */
enum { CRITERIA_YOUNG_CHILD_MAX_YEARS = 6 };

/* Raised residual in children, single measurement: mL, or share of voided plus residual volume.
 * Chang 2013, Neurourol Urodyn 32:1014-1018. [read: abstract] Applied at 4..12 years. [choice] */
#define CRITERIA_RESIDUAL_YOUNG_ML    30.0
#define CRITERIA_RESIDUAL_YOUNG_SHARE 0.21
#define CRITERIA_RESIDUAL_OLDER_ML    20.0
#define CRITERIA_RESIDUAL_OLDER_SHARE 0.15

/* Adequate flow in children: Qmax squared, numbers in mL/s and mL, not below the voided volume.
 * ICCS. [memory] A tower: Qmax of this many times that. [choice] */
#define CRITERIA_TOWER_TIMES 2.2
/* A plateau: flow stays at or above this share of Qmax for this share of the flow time, and is not
 * adequate. [choice] Half a sine does so for 0.41 of its time, a rectangle for all of it. */
#define CRITERIA_PLATEAU_LEVEL 0.8
#define CRITERIA_PLATEAU_SHARE 0.6
/* Lowest acceptable Qmax, about the 10th centile of the better of two flows, mL/s, at 4..6 and at
 * 7..12 years, from this voided volume, mL. Taiwan, 1128 healthy children. [read: abstract of the
 * dual-Qmax study] */
#define CRITERIA_CHILD_QMAX_YOUNG_ML_S 11.5
#define CRITERIA_CHILD_QMAX_OLDER_ML_S 15.0
#define CRITERIA_CHILD_QMAX_VOLUME_ML  50.0

/* ---- Liverpool nomogram (Haylen 1989, Br J Urol 64:30-38) ---- */

/* Coefficients and residual spread. [memory], unconfirmed. */
#define CRITERIA_LIVERPOOL_WOMEN_BASE  0.511
#define CRITERIA_LIVERPOOL_WOMEN_SLOPE 0.505
#define CRITERIA_LIVERPOOL_WOMEN_SD    0.340
#define CRITERIA_LIVERPOOL_MEN_BASE    2.37
#define CRITERIA_LIVERPOOL_MEN_SLOPE   0.18
#define CRITERIA_LIVERPOOL_MEN_AGE     0.014
#define CRITERIA_LIVERPOOL_MEN_SD      0.727
/* Domain: volume from, mL [choice]; to, mL, and Qmax to, mL/s [read: ICS 2023 abstract 202]. */
#define CRITERIA_LIVERPOOL_VOLUME_MIN_ML 15.0
#define CRITERIA_LIVERPOOL_VOLUME_MAX_ML 600.0
#define CRITERIA_LIVERPOOL_QMAX_MAX_ML_S 70.0
/* Below this centile lies the clinically important zone. [read: Haylen 2008 abstract] */
#define CRITERIA_LIVERPOOL_LOW_CENTILE 10.0

/* ---- Filling ---- */

/* Length of the windows for resting and end-filling pressures, s. [choice] */
#define CRITERIA_LEVEL_WINDOW_S 5.0

/* The quiet window for the resting level is sought, second by second, over this long after the
 * start, s. [choice] */
enum { CRITERIA_BASELINE_SEARCH_S = 30 };

/* Spread (largest minus smallest) of pves up to which a window is quiet, cmH2O. [choice] */
#define CRITERIA_QUIET_SPREAD_CMH2O 5.0
/* A window is not quiet within this of a cough, strain, zero, flush or position marker, s. [choice]
 */
#define CRITERIA_QUIET_EVENT_S 2.0
/* Without a permission marker the end-filling pressure is read this long before the flow starts, so
 * that the voiding contraction is not taken for it, s. [choice] */
#define CRITERIA_END_FILL_LEAD_S 10.0
/* End-filling pressure this far above that of the half minute before: a contraction may be under
 * way, cmH2O. [choice] */
#define CRITERIA_END_FILL_JUMP_CMH2O 10.0
#define CRITERIA_END_FILL_LOOKBACK_S 30.0
/* Where the infused volume begins to be recorded: up to this it was 0 until then; above that, mL,
 * its counter was not set to 0. [choice] */
#define CRITERIA_INFUSION_ZERO_ML  1.0
#define CRITERIA_INFUSION_START_ML 10.0
/* Rise of the infused volume that shows that filling has begun, mL. [choice] */
#define CRITERIA_INFUSION_RISE_ML 1.0
/* Segments over which the slope of the infused volume is taken, s; slower is idle, mL/min. [choice]
 */
#define CRITERIA_FILL_SEGMENT_S   10.0
#define CRITERIA_FILL_IDLE_ML_MIN 3.0
#define CRITERIA_FILL_PER_WEIGHT_DIVIDE                                                            \
    4.0 /* physiological: weight/4 mL/min, ICS 2002 [memory]                                       \
         */
/* Compliance: smallest rise that counts, cmH2O, and smallest volume, mL. [choice] */
#define CRITERIA_COMPLIANCE_RISE_MIN_CMH2O 1.0
#define CRITERIA_COMPLIANCE_VOLUME_MIN_ML  10.0
/* Low and very low compliance, mL/cmH2O: 20 [read: Ghoniem; no agreed value exists], 10 [read]. */
#define CRITERIA_COMPLIANCE_LOW      20.0
#define CRITERIA_COMPLIANCE_VERY_LOW 10.0

/* Resting pves and pabd by position, cmH2O. Good urodynamic practices 2002. [memory] */
#define CRITERIA_REST_SUPINE_MIN   5.0
#define CRITERIA_REST_SUPINE_MAX   20.0
#define CRITERIA_REST_SITTING_MIN  15.0
#define CRITERIA_REST_SITTING_MAX  40.0
#define CRITERIA_REST_STANDING_MIN 30.0
#define CRITERIA_REST_STANDING_MAX 50.0
/* Resting pdet, any position, cmH2O. [memory] */
#define CRITERIA_REST_PDET_MIN (-5.0)
#define CRITERIA_REST_PDET_MAX 10.0

/* ---- Voiding ---- */

/* Flow delay when none was entered, and accepted range, s. [choice]; published values disagree. */
#define CRITERIA_FLOW_DELAY_S     0.8
#define CRITERIA_FLOW_DELAY_MAX_S 3.0
/* Half window for the maximum pressures: long enough for noise, short enough for a peak, s.
 * [choice] */
#define CRITERIA_PEAK_HALF_S 0.5
/* Half window for opening and closing pressure, where pressure may change fast, s. [choice] */
#define CRITERIA_EDGE_HALF_S 0.25
/* BOOI = pdetQmax - 2*Qmax: above 40 obstructed [read], below 20 unobstructed [read: second hand,
 * open calculators that cite Abrams 1999 and NBK562310], between (both included) equivocal, as
 * there. Abrams 1999, BJU Int 84:14-15. */
#define CRITERIA_BOOI_SLOPE        2.0
#define CRITERIA_BOOI_OBSTRUCTED   40.0
#define CRITERIA_BOOI_UNOBSTRUCTED 20.0
/* BCI = pdetQmax + 5*Qmax: above 150 strong [read: second hand, as above], below 100 weak
 * [read], between (both included) normal. Abrams 1999. */
#define CRITERIA_BCI_SLOPE  5.0
#define CRITERIA_BCI_STRONG 150.0
#define CRITERIA_BCI_WEAK   100.0
/* Indices are compared with their limits to this precision, so that rounding noise of a computation
 * does not move a value off a limit. [choice] */
#define CRITERIA_INDEX_GRAIN 1e-6

/* ---- Plausibility (flags, never refusals) [choice] ---- */

#define CRITERIA_PLAUSIBLE_QMAX_ML_S     60.0
#define CRITERIA_PLAUSIBLE_VOLUME_ML     1000.0
#define CRITERIA_PLAUSIBLE_PRESSURE_MIN  (-10.0)
#define CRITERIA_PLAUSIBLE_PRESSURE_MAX  250.0
#define CRITERIA_PLAUSIBLE_PRESSURE_S    1.0 /* in one stretch at least this long, s */
#define CRITERIA_PLAUSIBLE_WEIGHT_MIN_KG 2.0
#define CRITERIA_PLAUSIBLE_WEIGHT_MAX_KG 250.0
#define CRITERIA_PLAUSIBLE_AGE_MAX_YEARS 125.0
/* Uploaded pdet against pves - pabd: difference, cmH2O, for at least this share of the samples. */
#define CRITERIA_PDET_DIFFERENCE_CMH2O 5.0
#define CRITERIA_PDET_DIFFERENCE_SHARE 0.01
/* A pressure that does not move at all for this long is a dead line, s. */
#define CRITERIA_FLAT_S 30.0
/* A value is doubtful when a finding's span lies within this of the moment at which it was read, s.
 * [choice] */
#define CRITERIA_DOUBT_SLACK_S 1.0
/* One that rests on a stretch is doubtful when a finding's span covers this share of it. [choice]
 */
#define CRITERIA_DOUBT_SHARE 0.1

/* Spans of one kind listed one by one for a signal; the rest is given as one span. */
enum { CRITERIA_SPANS_LISTED = 10 };

#endif
