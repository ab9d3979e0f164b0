/* Marks the values that rest on a stretch of a signal about which something was found. */
#ifndef ANALYSIS_DOUBT_H
#define ANALYSIS_DOUBT_H

#include "analysis/study.h"

/* Adds to each measure the codes of the quality findings (warnings and errors with a span) on its
 * signals around the moment at which it was read, or over a tenth of the stretch that it rests on;
 * those of the values that it is made of; and to each finding and classification those of what it
 * rests on. The result is complete but for this. */
void doubt_mark(struct study *study);

#endif
