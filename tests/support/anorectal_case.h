/* An anorectal manometry with known truth: rest, squeezes, long squeeze, coughs, pushes, fast and
 * slow inflations, in the order of the usual protocol. */
#ifndef TESTS_SUPPORT_ANORECTAL_CASE_H
#define TESTS_SUPPORT_ANORECTAL_CASE_H

#include "support/synth.h"

/* How it is recorded. */
struct anorectal_case {
    double rate_hz;
    size_t sensors;        /* 1: panal; 2 to 12: panal1.. */
    size_t outside;        /* of these, so many outermost lie outside the body */
    size_t in_rectum;      /* and so many innermost in the rectum */
    double noise;          /* of pressures, mmHg */
    double drift_mmhg_min; /* of the anal sensors */
    double marker_late_s;  /* squeeze, long_squeeze, cough, push and balloon markers */
    bool mixed_rates;      /* every other sensor slower, each with a start of its own */
    bool without_markers;  /* of squeezes, coughs, pushes and fast inflations */
};

enum { ANORECTAL_SQUEEZES = 3, ANORECTAL_COUGHS = 2, ANORECTAL_PUSHES = 3, ANORECTAL_BALLOONS = 3 };

/* The truth, without drift. */
struct anorectal_truth {
    double rest;
    double squeezes_s[ANORECTAL_SQUEEZES];
    double squeeze_increment;
    double squeeze_max;
    double squeeze_max_s;
    double squeeze_duration_s;
    double long_squeeze_s;
    double endurance_s;
    double coughs_s[ANORECTAL_COUGHS];
    double cough_increment;
    double cough_gradient;
    double cough_gradient_s;
    double pushes_s[ANORECTAL_PUSHES];
    double push_rise;
    double push_residual;
    double push_relaxation;
    double push_s; /* in the middle of the best push */
    double gradient;
    double index;
    double balloons_s[ANORECTAL_BALLOONS];
    double rair_volume_ml;
    double rair_relaxation;
    double rair_duration_s;
    double first_sensation_ml;
    double desire_ml;
    double tolerated_ml;
    double compliance;
};

struct anorectal_truth anorectal_truth(void);

/* Opens `synth` with the study; the caller closes it. */
void anorectal_case_open(struct synth *synth, struct anorectal_case how);

#endif
