/* Constructors of struct measure, so that no section can forget the reason or the source. */
#ifndef ANALYSIS_MEASURE_H
#define ANALYSIS_MEASURE_H

#include "analysis/result.h"

/* A computed number; absent when `value` is not finite. `method` may be NULL. */
struct measure measure_of(double value, const char *method);

/* The same, read at a moment of the recording. */
struct measure measure_at(double value, double at_s, const char *method);

/* Says that a value rests on a stretch of the recording; nothing when it is absent. */
void measure_rest_on(struct measure *measure, double from_s, double to_s);

/* A number that came with the upload. */
struct measure measure_entered(double value, const char *method);

/* A word, e.g. "bell". */
struct measure measure_word(const char *word, const char *method);

/* No value, not even zero: NaN; `reason` is a sentence fragment. */
struct measure measure_absent(const char *reason);

/* Whether there is a value. */
bool measure_known(const struct measure *measure);

#endif
