/* A urethra, and how a catheter is drawn through it. */
#ifndef DEMO_DATA_PLAN_URETHRA_H
#define DEMO_DATA_PLAN_URETHRA_H

#include <stdbool.h>

struct plan_urethra {
    double closure_cmh2o; /* maximum, at rest */
    double functional_mm;
    double peak_part;      /* of the functional length, from the bladder neck */
    double plateau_share;  /* men: the prostatic part, as a share of the maximum; women 0 */
    double speed_mm_s;     /* of the puller */
    bool puller_channel;   /* its movement is recorded; otherwise the speed is entered */
    bool unmarked;         /* nobody marked start and end of the pulls */
    int rest_pulls;        /* first these, */
    int stress_pulls;      /* then these, with a cough every few seconds */
    double cough_cmh2o;    /* rise in the bladder */
    double cough_period_s; /* from one to the next */
    /* Share of a cough's rise that reaches the urethra, at the bladder neck, in the middle of the
     * functional length, and at its end. */
    double transmission[3];
};

#endif
