/* A filling whose two pressure lines are straight lines between points, with coughs of given
 * height, width and lag in each: for rules about lines, at their limits. */
#ifndef TESTS_SUPPORT_LINE_PAIR_H
#define TESTS_SUPPORT_LINE_PAIR_H

#include "support/synth.h"

enum { LINE_PAIR_POINTS = 24, LINE_PAIR_COUGHS = 24 };

struct pair_points {
    size_t count;
    double points[LINE_PAIR_POINTS][2]; /* time, value */
};

struct pair_cough {
    double at_s; /* in pves */
    double pves_rise;
    double pabd_rise;
    double width_ratio; /* of pabd over pves; pves is 0.5 s wide at half height */
    double lag_s;       /* of pabd */
    bool marked;
};

struct line_pair {
    double rate_hz;
    double noise;
    double end_s;
    double filling_start_s;
    double filling_stop_s; /* marker, and where the infused volume stops */
    double permission_s;
    double rate_ml_min;
    struct pair_points pves;
    struct pair_points pabd;
    size_t cough_count;
    struct pair_cough coughs[LINE_PAIR_COUGHS];
};

/* Sound but for noise: 50 Hz, pves 25, pabd 22, filling 30 to 330 s at 50 mL/min, permission at
 * 340 s, coughs of 50 cmH2O in both, marked, at 20 and every 60 s from 80 s on, the end at 360 s.
 */
struct line_pair line_pair_sound(void);

/* Changes a line: holds `value` from `at_s` on, reached within `within_s`. */
void line_pair_to(struct pair_points *line, double at_s, double within_s, double value);

/* Opens `synth` with it; the caller closes it. */
void line_pair_open(struct synth *synth, const struct line_pair *how);

/* How many findings have a code; and the first of them on a signal, or NULL. */
size_t line_pair_count(const struct analysis_result *result, const char *code);
const struct quality_finding *line_pair_finding(const struct analysis_result *result,
                                                const char *code, enum signal_kind signal);

#endif
