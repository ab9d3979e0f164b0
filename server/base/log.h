/* One JSON object a line on stderr. No patient data: ids of rows are fine, names and values not. */
#ifndef BASE_LOG_H
#define BASE_LOG_H

#include "base/compiler.h"

#include <stddef.h>

enum log_level { LOG_LEVEL_DEBUG, LOG_LEVEL_INFO, LOG_LEVEL_WARNING, LOG_LEVEL_ERROR };

/* Lines below `level` are dropped. INFO unless set. */
void log_set_level(enum log_level level);

/* A member of a log line. Exactly one of text (may be NULL: then number is used). */
struct log_field {
    const char *name;
    const char *text;
    double number;
};

/* Writes {"time","level","event", fields...} in a single write; control characters are escaped. */
void log_event(enum log_level level, const char *event, const struct log_field *fields,
               size_t field_count);

/* The common case: an event with a formatted "detail". */
void log_message(enum log_level level, const char *event, const char *format, ...)
    PRINTF_LIKE(3, 4);

#endif
