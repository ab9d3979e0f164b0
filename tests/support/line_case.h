/* A pressure-flow study as a room records it (breathing, wandering, noise, resolution, coughs that
 * both lines answer nearly alike), drawn from a seed, with at most one defect of a line in it. */
#ifndef TESTS_SUPPORT_LINE_CASE_H
#define TESTS_SUPPORT_LINE_CASE_H

#include "support/synth.h"

#include <stdint.h>

enum line_defect {
    LINE_SOUND,
    LINE_UNEQUAL,      /* pabd answers coughs with half */
    LINE_DAMPED,       /* pabd follows late and low */
    LINE_SILENT,       /* pves is shut: it holds its level but for drift */
    LINE_DEAD_NO_MARK, /* the same, and the coughs are not marked */
    LINE_PVES_OUT,     /* expelled with the flow */
    LINE_PABD_OUT,     /* slipped out during filling */
    LINE_STEP,         /* pves against the wall */
    LINE_DRIFT,        /* pabd */
    LINE_CLIPPED,      /* pves cut off below the peaks of coughs */
    LINE_NOISY,        /* pabd, for a minute */
    LINE_NEGATIVE,     /* pabd too high for a minute: pdet at -7.5 cmH2O */
    LINE_FLUSHED,      /* pves */
    LINE_MOVED,        /* both, to standing, without a marker */
    LINE_PUMP_SLOW,    /* infused volume rises more slowly than entered */
    LINE_PUMP_STANDS,  /* for a minute while the markers say that it runs */
    LINE_DEFECTS
};

struct line_case {
    uint64_t seed;
    double rate_hz; /* of flow and pressures */
    enum line_defect defect;
};

/* Opens `synth` with the study; the caller closes it. Filling lasts from 30 to 510 s, permission
 * is at 530 s, flow from 545 to 585 s, the end at 640 s. Defects begin within 200 to 400 s unless
 * said otherwise.
 *
 * Returns when the defect begins. */
double line_case_open(struct synth *synth, struct line_case how);

/* Name of a defect for tables, the code by which it must be told, and the signal. */
const char *line_defect_name(enum line_defect defect);
const char *line_defect_code(enum line_defect defect);
enum signal_kind line_defect_signal(enum line_defect defect);

#endif
