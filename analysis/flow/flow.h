/* The flow signal made ready: knocks removed, averaged over 2 s, its runs found; and the voiding
 * within it. Used by free uroflowmetry and by the voiding phase of a pressure-flow study alike. */
#ifndef ANALYSIS_FLOW_FLOW_H
#define ANALYSIS_FLOW_FLOW_H

#include "analysis/signal/artefact.h"
#include "analysis/signal/runs.h"
#include "analysis/study.h"

struct flow_record {
    struct series cleaned;  /* without knocks; count 0 when there is no flow signal */
    struct series detected; /* half-second median of it, on which onset and end are found */
    struct series smoothed; /* 2 s average of it; zero outside the record; count 0 below 1 Hz */
    size_t run_count;
    struct run *runs;
    size_t knock_count;
    struct knock *knocks;
};

/* What the flow rests at beside a voiding: a wrong zero, or a dribble. */
struct rest_level {
    bool known; /* enough of it was recorded */
    bool off;   /* off zero throughout, by more than CRITERIA_FLOW_ZERO_ML_S */
    double level_ml_s;
    struct span span; /* where it was read */
};

/* One voiding: the runs first_run..run_end-1 of the record, cut to the limits. */
struct void_phase {
    bool found;
    struct span limits; /* where voiding was looked for */
    bool clip_start;    /* a void_start marker sets the limit: an earlier start is cut off, unless
                           it lies so little earlier that the marker was just set late */
    size_t first_run;
    size_t run_end;
    struct span span; /* first onset to last end */
    bool start_cut;   /* a marker cuts it while flow is on */
    bool end_cut;
    bool start_unseen;
    bool end_unseen;
    bool only_earlier; /* not found, but there is flow before the limits */
    struct rest_level before;
    struct rest_level after;
    bool gap_inside; /* samples are missing within it for longer than is bridged */
};

/* Makes the record of a study's flow. False when memory ran out. */
bool flow_open(const struct study *study, struct flow_record *record);

/* Finds the voiding within limits that flow_limits_*() gave. */
struct void_phase flow_find_void(const struct study *study, const struct flow_record *record,
                                 struct void_phase limits);

/* Where to look in a free uroflowmetry: from permission to void on, when flow follows it, else
 * everywhere; void_start and void_end markers narrow it. */
struct void_phase flow_limits_free(const struct study *study, const struct flow_record *record);

/* Where to look when voiding begins at `from_s` at the earliest (a run that is on at that moment
 * belongs to it). */
struct void_phase flow_limits_from(const struct study *study, double from_s);

/* Volume of a run, mL; missing samples that are not bridged count as none. */
double flow_run_volume(const struct flow_record *record, const struct run *run);

/* Part of run `index` that belongs to the voiding. */
struct span flow_run_span(const struct flow_record *record, const struct void_phase *phase,
                          size_t index);

/* The voiding with the slow trickle before and after it, for volumes: for at most 10 s, down to
 * what the flow rests at. */
struct span flow_with_tails(const struct flow_record *record, const struct void_phase *phase);

#endif
