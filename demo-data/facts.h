/* What happened in profiles, manometries and trainings, as the maker of the signals knows it. */
#ifndef DEMO_DATA_FACTS_H
#define DEMO_DATA_FACTS_H

#include <stdbool.h>
#include <stddef.h>

enum { FACTS_COUGHS_MAX = 16, FACTS_PULLS_MAX = 6, FACTS_EFFORTS_MAX = 40 };

/* A cough during a stress profile. */
struct facts_transmission {
    double at_s;
    double position_mm; /* of the sensor, from the bladder neck */
    double pves_rise_cmh2o;
    double pura_rise_cmh2o;
};

/* One pull of a urethral pressure profile; lengths and pressures free of noise. */
struct facts_pull {
    const char *kind; /* "rest", "stress" */
    double start_s;   /* the puller begins to move */
    double end_s;
    double neck_s; /* the sensor leaves the bladder */
    double speed_mm_s;
    double pves_cmh2o;
    double closure_cmh2o; /* maximum */
    double functional_mm;
    double total_mm; /* to where the sensor is out of the urethra: 1 cmH2O above nothing */
    double to_peak_mm;
    double area_cmh2o_cm;
    size_t cough_count;
    struct facts_transmission coughs[FACTS_COUGHS_MAX];
};

/* One manoeuvre of an anorectal manometry, mmHg. */
struct facts_manoeuvre {
    const char *kind; /* "squeeze", "long_squeeze", "cough", "push", "balloon" */
    double start_s;
    double end_s;
    double anal_rest_mmhg;
    double anal_peak_mmhg;
    double anal_lowest_mmhg;
    double rectal_rise_mmhg;
    double volume_ml; /* balloon */
    double hold_s;    /* squeezes: above half of the greatest increment */
};

struct facts_anorectal {
    double rest_mmhg;
    double rest_from_s;
    double rest_to_s;
    double canal_mm; /* where the anal canal exceeds the rectum by 5 mmHg */
    double first_sensation_ml;
    double desire_ml;
    double tolerated_ml;
    double compliance_ml_mmhg;
    size_t count;
    struct facts_manoeuvre items[FACTS_EFFORTS_MAX];
};

/* One contraction of the pelvic floor, in the unit of the signal. */
struct facts_effort {
    const char *kind; /* "quick", "long" */
    double start_s;
    double end_s;
    double peak;
    double mean; /* while above half of its net peak */
    double hold_s;
    bool followed; /* false: the person missed the command */
};

struct facts_training {
    double rest;
    size_t count;
    struct facts_effort items[FACTS_EFFORTS_MAX];
};

#endif
