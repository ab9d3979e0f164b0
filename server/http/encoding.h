/* Content codings, both ways, with a ceiling on what comes out. */
#ifndef HTTP_ENCODING_H
#define HTTP_ENCODING_H

#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>

enum coding { CODING_IDENTITY, CODING_GZIP, CODING_ZSTD };

enum decoding {
    DECODING_OK,
    DECODING_TOO_LARGE, /* more than the limit comes out */
    DECODING_DAMAGED,   /* not what its coding says, or cut short */
    DECODING_NO_MEMORY
};

/* The compressors' working memory, kept by a thread because making it costs more than a small
 * answer does. Not for two threads at a time. */
struct codec;

struct codec *codec_new(void);
void codec_free(struct codec *codec);

/* The coding that a Content-Encoding field names; NULL is identity. False for an unknown one or
 * more than one. */
MUST_CHECK bool coding_parse(const char *field, enum coding *ret_coding);

/* "gzip", "zstd", or NULL for identity. */
const char *coding_name(enum coding coding);

/* Decodes all of `input` into memory from malloc(), followed by a NUL that is not counted. At no
 * time is more than `limit` bytes kept (and at most 8 MiB of window for zstd). */
MUST_CHECK enum decoding codec_decode(struct codec *codec, enum coding coding, const void *input,
                                      size_t length, size_t limit, char **ret_output,
                                      size_t *ret_length);

/* Encodes into memory from malloc(). False when that would not make it smaller (or there is no
 * memory): then the input serves as it is. */
MUST_CHECK bool codec_encode(struct codec *codec, enum coding coding, const void *input,
                             size_t length, void **ret_output, size_t *ret_length);

#endif
