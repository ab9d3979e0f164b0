/* Constants of the voiding section: pressures around the flow, outlet and contractility indices,
 * nomograms. In the manner of criteria.h, with its marks. */
#ifndef ANALYSIS_CRITERIA_VOIDING_H
#define ANALYSIS_CRITERIA_VOIDING_H

/* ---- Pressures around the flow ---- */

/* The rise of pdet before the flow is sought back to this long before the opening, s, and no
 * further than where pdet was this much above its lowest level since, cmH2O. [choice] */
#define CRITERIA_RISE_SEARCH_S   120.0
#define CRITERIA_RISE_STOP_CMH2O 5.0
/* Smallest rise to the opening pressure that has a start, cmH2O. [choice] */
#define CRITERIA_RISE_MIN_CMH2O 5.0
/* The start of the rise lies where the line through these two shares of it meets the level before
 * it. [choice] */
#define CRITERIA_RISE_SHARE_LOW  0.2
#define CRITERIA_RISE_SHARE_HIGH 0.5
/* Premicturition pressure: median over this long, s, before the rise. [choice] */
#define CRITERIA_PREMICTURITION_S 2.0
/* After-contraction: smallest rise over the closing pressure, cmH2O, and how long after the end of
 * flow it is sought, s. ICS 1997 names no amplitude. [choice] */
#define CRITERIA_AFTER_CONTRACTION_CMH2O 10.0
#define CRITERIA_AFTER_CONTRACTION_S     30.0
/* It is matched in pabd when pabd changed by this share of it or more. [choice] */
#define CRITERIA_AFTER_CONTRACTION_MATCH 0.5

/* ---- Straining [choice] ---- */

/* Level of pabd before the voiding: median over this long before the opening, s. */
#define CRITERIA_STRAIN_LEVEL_S 30.0
/* pabd this far above that level is straining, cmH2O. */
#define CRITERIA_STRAIN_RISE_CMH2O 10.0
/* Smallest share of the flow time spent so. */
#define CRITERIA_STRAIN_SHARE 0.2
/* Changes of flow and of pabd over 2 s (from one 2 s average of the flow to the next) go together
 * from this correlation on. */
#define CRITERIA_STRAIN_CORRELATION 0.5
/* At least this share of the flow time needs a known pabd. */
#define CRITERIA_STRAIN_KNOWN_SHARE 0.5

/* ---- Outlet ---- */

/* Obstruction coefficient, pdetQmax / (40 + 2*Qmax); above 1 obstructed. Schafer. [memory] */
#define CRITERIA_OCO_BASE  40.0
#define CRITERIA_OCO_SLOPE 2.0
/* URA: p = u + d*u^2*Q^2, d in (cmH2O)^-1 (mL/s)^-2. Griffiths 1989. [memory] */
#define CRITERIA_URA_D 3.8e-4
/* Lines between the groups 0-I, II and III-VI of the linear PURR, pdetQmax - 2*Qmax: II to III at
 * 40 [memory], I to II near 20 [memory, uncertain]; the grades themselves are not resolved. */
#define CRITERIA_PURR_OBSTRUCTED   40.0
#define CRITERIA_PURR_UNOBSTRUCTED 20.0

/* ---- Women ---- */

/* Female BOOI = pdetQmax - 2.2*Qmax; below 0 obstruction is unlikely (< 10 %). Solomon 2018,
 * Neurourol Urodyn 37:368-378. [read: abstract] */
#define CRITERIA_BOOIF_SLOPE    2.2
#define CRITERIA_BOOIF_UNLIKELY 0.0
/* PIP1 = pdetQmax + Qmax. Tan 2004, Neurourol Urodyn 23:184-189. [read: ICS 2026 abstract 417] */
#define CRITERIA_PIP1_SLOPE 1.0
/* Blaivas and Groutz 2000, Neurourol Urodyn 19:553-564: zones of free Qmax and pdet.max [read:
 * abstract]; their lines, pdet.max = Qmax + 7, 57 and 107 cmH2O, to Qmax 50 mL/s [memory]. */
#define CRITERIA_BG_SLOPE         1.0
#define CRITERIA_BG_MILD          7.0
#define CRITERIA_BG_MODERATE      57.0
#define CRITERIA_BG_SEVERE        107.0
#define CRITERIA_BG_QMAX_MAX_ML_S 50.0
/* Chassagne 1998: Qmax up to, pdetQmax above. [read: textbook page] */
#define CRITERIA_CHASSAGNE_QMAX_ML_S  15.0
#define CRITERIA_CHASSAGNE_PDET_CMH2O 20.0
/* Farrar: Qmax below, pdetQmax above. [read: textbook page] */
#define CRITERIA_FARRAR_QMAX_ML_S  15.0
#define CRITERIA_FARRAR_PDET_CMH2O 50.0
/* Dybowski 2014: for Qmax up to 12 mL/s, pdetQmax above 1.5*Qmax + 10. [read: abstract] */
#define CRITERIA_DYBOWSKI_QMAX_ML_S 12.0
#define CRITERIA_DYBOWSKI_SLOPE     1.5
#define CRITERIA_DYBOWSKI_BASE      10.0

/* ---- Underactivity (Gammie 2016, Eur Urol 69:361-369) [memory] ---- */

/* Men: BCI below, BOOI below. Both: voiding efficiency below, %. */
#define CRITERIA_UNDERACTIVE_BCI                100.0
#define CRITERIA_UNDERACTIVE_BOOI               20.0
#define CRITERIA_UNDERACTIVE_EFFICIENCY_PERCENT 90.0
/* Women: pdetQmax below, Qmax below; no obstruction is a female BOOI up to the limit above which it
 * is likely. [choice for the latter] */
#define CRITERIA_UNDERACTIVE_PDET_CMH2O 20.0
#define CRITERIA_UNDERACTIVE_QMAX_ML_S  15.0

/* ---- Watts factor (Griffiths 1986, Am J Physiol 251:R225-R230) ---- */

/* WF = ((pdet + a)(vdet + b) - a*b) / (2*pi) [read: ICS 2026 abstract 417]; a, cmH2O, b, mm/s, and
 * the volume of the wall that goes with the urine, mL. [memory] */
#define CRITERIA_WATTS_A_CMH2O 25.0
#define CRITERIA_WATTS_B_MM_S  6.0
#define CRITERIA_WATTS_WALL_ML 10.0
/* One cmH2O*mm/s in W/m^2, and mm in one cm. [derived] */
#define CRITERIA_WATTS_UNIT 0.0980665
#define CRITERIA_MM_PER_CM  10.0
/* Evaluated while the bladder holds at least this, mL: near empty the model diverges. [choice] */
#define CRITERIA_WATTS_VOLUME_MIN_ML 20.0

/* ---- Charts ---- */

/* Ranges that the charts show, mL/s and cmH2O. [choice] */
#define CRITERIA_CHART_QMAX_ML_S         30.0
#define CRITERIA_CHART_PDET_CMH2O        150.0
#define CRITERIA_CHART_FEMALE_QMAX_ML_S  40.0
#define CRITERIA_CHART_FEMALE_PDET_CMH2O 100.0

/* ---- Limits unless the clinic chose others; those of BOOI and BCI stand in criteria.h ---- */

/* URA above this in men, Griffiths 1989, Neurourol Urodyn 8:17-27 [memory]; at or above that in
 * women, Mytilekas 2021, Int Neurourol J 25:244-251 [read], cmH2O. */
#define CRITERIA_URA_OBSTRUCTED_MEN_CMH2O   29.0
#define CRITERIA_URA_OBSTRUCTED_WOMEN_CMH2O 20.0
/* Female BOOI above these. Solomon 2018, Neurourol Urodyn 37:368-378. [read: abstract] */
#define CRITERIA_FEMALE_BOOI_LIKELY  5.0
#define CRITERIA_FEMALE_BOOI_CERTAIN 18.0
/* PIP1 below this [read: a study of 2025], above that. Tan 2004, Neurourol Urodyn 23:184-189
 * [memory] */
#define CRITERIA_PIP1_WEAK   30.0
#define CRITERIA_PIP1_STRONG 75.0

#endif
