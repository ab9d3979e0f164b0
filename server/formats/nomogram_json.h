/* Nomograms as JSON: axes, lines as points, zones. */
#ifndef FORMATS_NOMOGRAM_JSON_H
#define FORMATS_NOMOGRAM_JSON_H

#include "analysis/nomogram/nomogram_chart.h"
#include "base/text.h"

/* Appends a chart as an object. A straight line has two points, a curve many; numbers keep three
 * decimals. A zone names its band in each family, counted from below. */
void nomogram_json_write(const struct nomogram_chart *chart, struct text *out);

#endif
