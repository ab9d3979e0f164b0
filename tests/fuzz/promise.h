/* What the fuzzers of this folder share: promises, and memory whose ends are watched. */
#ifndef FUZZ_PROMISE_H
#define FUZZ_PROMISE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* libFuzzer's entry, or that of replay.c. NOLINTNEXTLINE(readability-identifier-naming) */
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

_Noreturn void promise_broken(const char *what);

/* Ends the process, saying which promise is broken, unless it holds. */
static inline void promise(bool holds, const char *what)
{
    if (!holds) {
        promise_broken(what);
    }
}

/* A copy of exactly these bytes and a NUL from malloc(), so that reading past them is seen. */
char *promise_text(const uint8_t *bytes, size_t size);

/* The same, without what follows the first NUL: a text as C has it. */
char *promise_line(const uint8_t *bytes, size_t size);

#endif
