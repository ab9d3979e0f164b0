/* Sources of figures for the tests: recording documents, analysed and reduced as the server does
 * it, and small ones with traces of known shape. */
#ifndef TESTS_FIGURE_SOURCES_H
#define TESTS_FIGURE_SOURCES_H

#include "base/arena.h"
#include "figure/figure.h"

#include <stdbool.h>
#include <stddef.h>

enum { SOURCES_CHANNELS_MAX = 12 };

/* A recording document (JSON) as a source: analysed with the standard limits; traces reduced to the
 * numbers of points that figure.h names. Ends the test, or program, when it cannot be read.
 * age_years  negative: not known */
struct figure_source sources_of_document(struct arena *arena, const char *json, size_t length,
                                         enum patient_sex sex, double age_years);

/* The same of a recording that a test has made; it must live as long as the source. */
struct figure_source sources_of_recording(struct arena *arena, const struct recording *recording);

/* One channel of even samples, unreduced. */
struct traces_channel sources_channel(enum signal_kind signal, double rate_hz,
                                      const double *samples, size_t count);

/* The same reduced to bins of `width` samples. */
struct traces_channel sources_binned(struct arena *arena, enum signal_kind signal, double rate_hz,
                                     const double *samples, size_t count, size_t width);

/* A source of traces alone, without an analysis. */
struct figure_source sources_of_traces(struct arena *arena, enum recording_type type,
                                       double duration_s, const struct traces_channel *channels,
                                       size_t count);

/* An analysis document as text. */
const json_t *sources_analysis(struct arena *arena, const char *json);

#endif
