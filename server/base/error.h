/* A failure as a value that carries its context. */
#ifndef BASE_ERROR_H
#define BASE_ERROR_H

#include "base/compiler.h"

#include <stdbool.h>

enum error_kind {
    ERROR_NONE,
    ERROR_NOT_FOUND,   /* the thing is not there, or not the caller's to see */
    ERROR_CONFLICT,    /* it is there already, or its state forbids this */
    ERROR_STALE,       /* somebody changed it meanwhile */
    ERROR_INVALID,     /* the input cannot be accepted */
    ERROR_UNAVAILABLE, /* try again later: database away, resources exhausted */
    ERROR_INTERNAL     /* ours: a defect or a broken installation */
};

enum { ERROR_DETAIL_SIZE = 400 };

struct error {
    enum error_kind kind;
    char detail[ERROR_DETAIL_SIZE]; /* for the log; may name SQL states, never patient data */
};

/* Fills `error` and returns false, so that `return error_set(...)` is the usual last line. */
bool error_set(struct error *error, enum error_kind kind, const char *format, ...)
    PRINTF_LIKE(3, 4);

/* Prefixes the detail with what was being attempted; returns false. */
bool error_context(struct error *error, const char *format, ...) PRINTF_LIKE(2, 3);

#endif
