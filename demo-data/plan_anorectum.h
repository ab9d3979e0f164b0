/* An anal canal and a rectum, and how they are tested. */
#ifndef DEMO_DATA_PLAN_ANORECTUM_H
#define DEMO_DATA_PLAN_ANORECTUM_H

#include <stdbool.h>

enum { PLAN_SENSORS_MAX = 8, PLAN_INFLATIONS_MAX = 8 };

struct plan_anorectum {
    int sensors;       /* in the canal; 1: a single line at its strongest place */
    double spacing_mm; /* between neighbours, the first outermost; 0 with one */
    double canal_mm;   /* length of the high-pressure zone */
    double rest_mmhg;  /* highest along the canal */
    double rectum_mmhg;
    double squeeze_mmhg;     /* rise of short squeezes */
    double long_mmhg;        /* rise of the long squeeze at its start */
    double long_fatigue_s;   /* time constant with which it fades */
    double cough_mmhg;       /* rise in the rectum */
    double cough_anal_mmhg;  /* rise in the canal */
    double push_rectal_mmhg; /* rise */
    double push_share;       /* of the resting pressure that is left; above 1: the canal tightens */
    double inflations_ml[PLAN_INFLATIONS_MAX]; /* quick ones, for the reflex; 0 ends the list */
    double reflex_share;   /* of the resting pressure that a large volume takes away; 0: none */
    double reflex_from_ml; /* no reflex below */
    double fill_ml_s;      /* slow inflation, for sensation */
    double first_ml;       /* first constant sensation */
    double desire_ml;      /* to defecate */
    double tolerated_ml;   /* at most */
    double compliance_ml_mmhg;
    bool balloon_line;  /* the volume is recorded; otherwise only marked */
    bool pull_through;  /* a single line is drawn out at the start, for the canal's length */
    double expulsion_s; /* of a 50 mL balloon, as timed; 0: not done */
};

#endif
