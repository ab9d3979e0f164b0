/* The signals of an anorectal manometry made ready: any number of anal sensors, of any rates and
 * starts, as one pressure; rectal pressure; balloon volume. */
#ifndef ANALYSIS_ANORECTAL_ANAL_SIGNALS_H
#define ANALYSIS_ANORECTAL_ANAL_SIGNALS_H

#include "analysis/study.h"

enum { ANAL_SENSORS_MAX = SIGNAL_PANAL12 - SIGNAL_PANAL + 1 };

struct anal_sensor {
    enum signal_kind signal;
    struct series series; /* short gaps bridged */
    bool dead;            /* stands still while others move: left out */
    bool in_zone;         /* alive and in the anal high-pressure zone (anal_zone.h) */
};

struct anal_signals {
    size_t sensor_count;
    struct anal_sensor sensors[ANAL_SENSORS_MAX]; /* panal first, then panal1 (outermost) inwards */
    /* Highest at each instant of the sensors in the anal high-pressure zone, each averaged first
     * (criteria_anorectal.h): a sensor in the rectum would show the rectal pressure while pushing.
     * All of count 0 when there is no anal sensor. Missing where the highest sensor is. */
    struct series anal;
    struct series anal_cough;
    struct series anal_second;
    struct series anal_pull; /* as anal_cough, of all live sensors: they leave the zone on a pull */
    struct series rect;      /* the same averages of the rectal pressure; count 0 without one */
    struct series rect_cough;
    struct series rect_second;
    struct series rect_raw; /* short gaps bridged */
    struct series balloon;  /* mL; count 0 without one */
    struct series puller;   /* mm; likewise */
    struct span extent;     /* of all of these; from_s > to_s when there is none */
};

/* Makes the signals ready. False when memory ran out. */
bool anal_signals_open(struct study *study, struct anal_signals *signals);

/* Longest time for which a series shows one and the same value; `ret_span` may be NULL. */
double anal_signals_standstill(const struct series *series, struct span *ret_span);

#endif
