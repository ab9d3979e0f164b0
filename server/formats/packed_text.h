/* Texts that are kept compressed (zstd). */
#ifndef FORMATS_PACKED_TEXT_H
#define FORMATS_PACKED_TEXT_H

#include "base/arena.h"
#include "base/error.h"

#include <stddef.h>
#include <stdint.h>

/* Compresses onto the arena. */
MUST_CHECK bool packed_text_make(struct arena *arena, const char *text, size_t length,
                                 const uint8_t **ret_data, size_t *ret_length,
                                 struct error *reterr);

/* The text again, NUL-terminated, on the arena. ERROR_INTERNAL: damaged, or longer than `limit`. */
MUST_CHECK bool packed_text_read(struct arena *arena, const uint8_t *data, size_t length,
                                 size_t limit, const char **ret_text, size_t *ret_length,
                                 struct error *reterr);

#endif
