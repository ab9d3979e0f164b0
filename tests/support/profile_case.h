/* Urethral pressure profiles with known truth: pulls from the bladder outward, and back. */
#ifndef TESTS_SUPPORT_PROFILE_CASE_H
#define TESTS_SUPPORT_PROFILE_CASE_H

#include "support/synth.h"

enum { PROFILE_CASE_PULLS = 6, PROFILE_CASE_COUGHS = 64 };

enum profile_case_pulls {
    PROFILE_CASE_PULLER,  /* a puller signal, no markers */
    PROFILE_CASE_MARKERS, /* markers and an entered speed */
    PROFILE_CASE_SHAPE    /* an entered speed alone */
};

/* How it is recorded. */
struct profile_case {
    enum profile_case_pulls found;
    size_t pulls; /* up to PROFILE_CASE_PULLS */
    double rate_hz;
    double noise;     /* of both pressures, cmH2O */
    double breathing; /* amplitude in both lines, cmH2O */
    double speed_mm_s;
    double pves_cmh2o;
    double closure_cmh2o;  /* peak */
    double length_mm;      /* functional */
    double puller_step_mm; /* resolution of the puller signal; 0: exact */
    double coughs_every_s; /* 0: none; half sines of half a second */
    double cough_cmh2o;
    double transmission; /* of the urethra, 1: as much as the bladder */
    double early_s;      /* by which the urethra's peak precedes */
    bool without_pves;
    bool with_pabd;
    unsigned seed;
};

/* An average woman, one pull at 1 mm/s and 10 Hz with a puller, no noise. */
struct profile_case profile_case_plain(void);

struct profile_case_truth {
    double start_s[PROFILE_CASE_PULLS];
    double end_s[PROFILE_CASE_PULLS];
    double closure; /* MUCP */
    double length_mm;
    double total_mm;
    double to_peak_mm;
    double area_cmh2o_cm;
    double half_width_mm;
    double bladder_mm; /* from the start of the pull to the start of the functional length */
    size_t cough_count;
    double cough_s[PROFILE_CASE_COUGHS]; /* within pulls, peak in pves */
};

/* Opens `synth` with the recording; the caller closes it. */
void profile_case_open(struct synth *synth, const struct profile_case *how,
                       struct profile_case_truth *ret_truth);

/* Urethral pressure at a moment without noise, and its maximum over a pull without coughs. */
double profile_case_pura(const struct profile_case *how, double at_s);
double profile_case_highest(const struct profile_case *how, size_t pull);

/* A resting profile of given samples every `spacing_mm` at 1 mm/s, with constant pves, as in the
 * worked examples: a pull_start marker at the first and a pull_end marker at the last sample. */
void profile_case_samples(struct synth *synth, double spacing_mm, size_t count, const double *pura,
                          double pves_cmh2o);

#endif
