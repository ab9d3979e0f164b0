/* Which anal sensors lie in the anal high-pressure zone. */
#ifndef ANALYSIS_ANORECTAL_ANAL_ZONE_H
#define ANALYSIS_ANORECTAL_ANAL_ZONE_H

#include "analysis/anorectal/anal_signals.h"

/* Sets in_zone of each sensor, by its level at rest: the highest sensor and, side by side with it,
 * those more than 5 mmHg above the rectal level, as for the functional length of the canal. Without
 * rectal pressure, the lowest sensor on the same side of the highest stands for it, up to 20 mmHg:
 * a higher one lies in the canal. `panal` has no place and always counts. At least one live sensor
 * is in the zone; all are when no level is known.
 *
 * Rest is the minute from a `rest` marker; else the minute before the first marker of a manoeuvre
 * or inflation; else, and where less than 10 s remain, the whole recording: medians, so manoeuvres
 * hardly move them. Needs the sensors' series and `dead`, rect_raw and extent. */
void anal_zone_find(const struct study *study, struct anal_signals *signals);

#endif
