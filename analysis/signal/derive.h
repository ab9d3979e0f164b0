/* Flow from the volume in the vessel, whose signal comes in steps of its resolution. */
#ifndef ANALYSIS_SIGNAL_DERIVE_H
#define ANALYSIS_SIGNAL_DERIVE_H

#include "analysis/signal/series.h"

/* The smallest change between two samples in a row, mL: the resolution of a volume signal in steps.
 * 0 when nothing changes. */
double derive_step(const struct series *volume);

/* Joins the steps of a slow rise by straight lines. Where the volume stands still between two rises
 * of one step each, the line runs from the first sample of one level to the first of the next, if
 * flow is on at that slope and this is no pause in a much faster flow; else the level is held, and
 * left at the slope of the rise that follows, so that an onset keeps its place. Falls, larger
 * changes and gaps stay as they are.
 *
 * output  volume->count values; must not overlap the input */
void derive_join_steps(const struct series *volume, double step_ml, double *output);

/* Flow: the slope of the line of least squares through the samples within half_s to both sides; at
 * an abrupt change, through as many on that side of the sample that fits a line by far better, so
 * that onset and end are not smeared. Missing where integrate_slope() is.
 *
 * step_ml  resolution of the volume: what is off a line by less is no abrupt change
 * scratch  2 * volume->count values
 * output   volume->count values; must not overlap the input. Time is count times window. */
void derive_flow(const struct series *volume, double half_s, double step_ml, double *scratch,
                 double *output);

#endif
