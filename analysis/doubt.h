/* Marks the values that rest on a stretch of a signal about which something was found. */
#ifndef ANALYSIS_DOUBT_H
#define ANALYSIS_DOUBT_H

#include "analysis/study.h"

/* Adds to each measure that was read at a moment the codes of the quality findings (warnings and
 * errors with a span) on its signals around that moment. The result is complete but for this. */
void doubt_mark(struct study *study);

#endif
