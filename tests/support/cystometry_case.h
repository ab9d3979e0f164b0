/* Filling cystometries with known truth: what happens is a list of events, laid out by hand or by a
 * seeded plan, on lines with noise, breathing, drift and compliance. */
#ifndef TESTS_SUPPORT_CYSTOMETRY_CASE_H
#define TESTS_SUPPORT_CYSTOMETRY_CASE_H

#include "support/synth.h"

#include <stdint.h>

enum cystometry_kind {
    CASE_CONTRACTION, /* pves up and down over length_s, pabd a little */
    CASE_COUGH,       /* a Gauss curve in both lines, length_s its half width at 1/e */
    CASE_STRAIN,      /* both lines up for length_s, with tremor */
    CASE_RECTAL,      /* pabd alone up or down over length_s */
    CASE_POSITION,    /* both lines to another level within length_s, with movement */
    CASE_FLUSH,       /* one line far up for length_s */
    CASE_TALKING,     /* both lines: small bumps for length_s */
    CASE_KINDS
};

struct cystometry_event {
    enum cystometry_kind kind;
    double at_s; /* start; of a cough its peak */
    double length_s;
    double pves; /* change of each line, cmH2O */
    double pabd;
    double rise_share; /* CASE_CONTRACTION: of the length that is rise; 0: half */
    double fullness;   /* CASE_CONTRACTION: above 0, wider towards the top (0.5: a half sine) */
};

enum { CYSTOMETRY_EVENTS_MAX = 256 };

struct cystometry_case {
    double rate_hz;
    double pabd_rate_hz; /* 0: the same */
    double pabd_start_s;
    double noise;     /* of each line, standard deviation */
    double breathing; /* peak to peak, both lines */
    double drift;     /* of pdet over the whole recording, in a slow curve */
    double rise;      /* of pdet by compliance, start to end of filling */
    double length_s;  /* filling runs from 30 s to 30 s before the end */
    uint64_t seed;
    bool with_pdet;  /* upload it, besides both lines */
    bool permission; /* marker at the end of filling */
    size_t event_count;
    struct cystometry_event events[CYSTOMETRY_EVENTS_MAX]; /* in order of time */
};

/* Where filling starts and ends, and how fast it is. */
double cystometry_fill_start(const struct cystometry_case *plan);
double cystometry_fill_end(const struct cystometry_case *plan);
double cystometry_fill_rate(void);

/* Uniform number in low..high from a seed, which moves on. */
double cystometry_random(uint64_t *seed, double low, double high);

/* Appends an event. */
void cystometry_add(struct cystometry_case *plan, struct cystometry_event event);

/* A plan of contractions between `least` and `most` cmH2O, every one with other events around and
 * coughs anywhere, also on top of it; waves that are too low to be reported are among them. */
void cystometry_fill_plan(struct cystometry_case *plan, double least, double most);

/* A plan of contractions in a row, with nothing but coughs between them. */
void cystometry_fill_waves(struct cystometry_case *plan, double least, double most);

/* Opens `synth` with the recording; the caller closes it. */
void cystometry_open(struct synth *synth, const struct cystometry_case *plan);

#endif
