/* Compressed blocks of samples, as the store keeps them. Lossless by construction: decoding gives
 * the uploaded codes bit for bit. */
#ifndef FORMATS_SAMPLE_BLOCK_H
#define FORMATS_SAMPLE_BLOCK_H

#include "base/error.h"
#include "formats/samples.h"

enum { SAMPLE_BLOCK_LENGTH = 4096 };

struct sample_block {
    uint32_t sample_count;
    uint32_t checksum; /* CRC-32 (zlib) of data */
    size_t length;
    const uint8_t *data;
};

/* What encoding and decoding need again and again; not for two threads at a time. */
struct sample_codec;

/* NULL when there is no memory. */
struct sample_codec *sample_codec_new(void);
void sample_codec_free(struct sample_codec *codec);

/* Number of blocks that `count` samples make. */
size_t sample_block_count(size_t count);

/* Encodes block `index` (delta, zigzag, byte shuffle, zstd level 1). The data stays valid until the
 * codec's next use. */
MUST_CHECK bool sample_block_encode(struct sample_codec *codec, const struct samples *samples,
                                    size_t index, struct sample_block *ret_block,
                                    struct error *reterr);

/* Checks and decodes a block into codes[block->sample_count] of the encoding's type.
 * ERROR_INTERNAL: the checksum does not fit or the data cannot be a block; codes are then
 * unspecified. */
MUST_CHECK bool sample_block_decode(struct sample_codec *codec, enum sample_encoding encoding,
                                    const struct sample_block *block, void *codes,
                                    struct error *reterr);

#endif
