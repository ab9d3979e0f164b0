/* Changes of a recording that leave what it shows the same, or change it in a known way; and the
 * comparison of two results of the analysis, value by value. */
#ifndef TESTS_SUPPORT_TRANSFORM_H
#define TESTS_SUPPORT_TRANSFORM_H

#include "support/synth.h"

/* Every channel and marker later (or earlier, when negative). */
void transform_shift(struct synth *synth, double shift_s);

/* Twice the rate: between each two samples their mean. */
void transform_double_rate(struct synth *synth);

/* Through another unit of the same quantity and back, as a sender and the server would. */
void transform_units(struct synth *synth);

/* A constant on every pressure that is measured against the atmosphere. */
void transform_add_pressure(struct synth *synth, double add_cmh2o);

/* Samples of a signal missing within a span; nothing when it is not there. */
void transform_lose(struct synth *synth, enum signal_kind signal, double from_s, double to_s);

/* What may differ between two results. */
struct transform_allowance {
    double shift_s;  /* of every moment */
    double moment_s; /* by which moments may differ otherwise */
    double share;    /* of values: relative to 1 + their size */
    double add;      /* on rows of absolute pressures, in their unit's cmH2O */
    const char *const
        *skipped; /* "section.code" of rows and lists that may differ, ended by NULL */
};

/* Compares all sections, values and lists; fails the test with the name of the first that differs.
 */
void transform_compare(const struct analysis_result *base, const struct analysis_result *changed,
                       const struct transform_allowance *allowance, const char *what);

#endif
