/* Layout of a block: one byte that says how the codes were arranged, then a zstd frame.
 *
 * A code is an unsigned integer of 2, 4 or 8 bytes: an int16 or int32 in two's complement, or the
 * bits of a float or a double. ARRANGED_PLAIN has the codes little-endian one after the other.
 * ARRANGED_DELTA has differences to the code before (modulo the width, so that no difference
 * overflows), zigzag-coded, all lowest bytes first, then all second bytes, and so on: slowly
 * changing signals become long runs of small bytes. */
#include "formats/sample_block.h"

#include "base/number.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>

enum {
    WIDTH_MAX = 8,
    RAW_SIZE_MAX = SAMPLE_BLOCK_LENGTH * WIDTH_MAX,
    PACKED_SIZE_MAX = RAW_SIZE_MAX + RAW_SIZE_MAX / 128 + 64,
    ZSTD_LEVEL = 1
};

_Static_assert(ZSTD_COMPRESSBOUND(RAW_SIZE_MAX) <= PACKED_SIZE_MAX, "room for incompressible data");

enum arrangement { ARRANGED_PLAIN, ARRANGED_DELTA, ARRANGEMENT_COUNT };

struct packed {
    size_t length;
    uint8_t bytes[1 + PACKED_SIZE_MAX];
};

/* Codes as unsigned integers of their width. Copied in and out, because what the caller has may be
 * an array of float or double. */
union words {
    uint16_t of16[SAMPLE_BLOCK_LENGTH];
    uint32_t of32[SAMPLE_BLOCK_LENGTH];
    uint64_t of64[SAMPLE_BLOCK_LENGTH];
};

struct sample_codec {
    ZSTD_CCtx *encoder;
    ZSTD_DCtx *decoder;
    union words codes;
    union words differences;
    uint8_t raw[RAW_SIZE_MAX];
    struct packed packed;
};

struct sample_codec *sample_codec_new(void)
{
    struct sample_codec *codec = malloc(sizeof *codec);
    if (codec == NULL) {
        return NULL;
    }
    codec->encoder = ZSTD_createCCtx();
    codec->decoder = ZSTD_createDCtx();
    if (codec->encoder == NULL || codec->decoder == NULL) {
        sample_codec_free(codec);
        return NULL;
    }
    return codec;
}

void sample_codec_free(struct sample_codec *codec)
{
    if (codec != NULL) {
        ZSTD_freeCCtx(codec->encoder);
        ZSTD_freeDCtx(codec->decoder);
        free(codec);
    }
}

size_t sample_block_count(size_t count)
{
    return number_divide_up(count, SAMPLE_BLOCK_LENGTH);
}

/* ---- arranging codes as bytes ----
 *
 * One function a width, because the loops are the cost of storing and are fast only when their
 * types are known, when no step waits for the one before, and when no first step differs. Adding
 * differences up has to wait, and so it does nothing else. */

static void arrange_delta16(struct sample_codec *codec, size_t count)
{
    const uint16_t *codes = codec->codes.of16;
    uint16_t *zigzag = codec->differences.of16;
    zigzag[0] = codes[0];
    for (size_t i = 1; i < count; i++) {
        zigzag[i] = (uint16_t)(codes[i] - codes[i - 1]);
    }
    for (size_t i = 0; i < count; i++) {
        unsigned delta = zigzag[i];
        zigzag[i] = (uint16_t)(delta << 1 ^ (0U - (delta >> 15)));
    }
    uint8_t *low = codec->raw;
    uint8_t *high = codec->raw + count;
    for (size_t i = 0; i < count; i++) {
        low[i] = (uint8_t)zigzag[i];
    }
    for (size_t i = 0; i < count; i++) {
        high[i] = (uint8_t)(zigzag[i] >> 8);
    }
}

static void arrange_delta32(struct sample_codec *codec, size_t count)
{
    const uint32_t *codes = codec->codes.of32;
    uint32_t *zigzag = codec->differences.of32;
    zigzag[0] = codes[0];
    for (size_t i = 1; i < count; i++) {
        zigzag[i] = codes[i] - codes[i - 1];
    }
    for (size_t i = 0; i < count; i++) {
        zigzag[i] = zigzag[i] << 1 ^ (0U - (zigzag[i] >> 31));
    }
    for (size_t b = 0; b < sizeof *zigzag; b++) {
        for (size_t i = 0; i < count; i++) {
            codec->raw[b * count + i] = (uint8_t)(zigzag[i] >> (8 * b));
        }
    }
}

static void arrange_delta64(struct sample_codec *codec, size_t count)
{
    const uint64_t *codes = codec->codes.of64;
    uint64_t *zigzag = codec->differences.of64;
    zigzag[0] = codes[0];
    for (size_t i = 1; i < count; i++) {
        zigzag[i] = codes[i] - codes[i - 1];
    }
    for (size_t i = 0; i < count; i++) {
        zigzag[i] = zigzag[i] << 1 ^ (UINT64_C(0) - (zigzag[i] >> 63));
    }
    for (size_t b = 0; b < sizeof *zigzag; b++) {
        for (size_t i = 0; i < count; i++) {
            codec->raw[b * count + i] = (uint8_t)(zigzag[i] >> (8 * b));
        }
    }
}

static void read_delta16(const uint8_t *bytes, size_t count, uint16_t *codes)
{
    const uint8_t *high = bytes + count;
    for (size_t i = 0; i < count; i++) {
        unsigned zigzag = bytes[i] | (unsigned)high[i] << 8;
        codes[i] = (uint16_t)(zigzag >> 1 ^ (0U - (zigzag & 1)));
    }
    unsigned sum = 0;
    for (size_t i = 0; i < count; i++) {
        sum += codes[i];
        codes[i] = (uint16_t)sum;
    }
}

static void read_delta32(const uint8_t *bytes, size_t count, uint32_t *codes)
{
    for (size_t i = 0; i < count; i++) {
        uint32_t zigzag = bytes[i] | (uint32_t)bytes[count + i] << 8 |
                          (uint32_t)bytes[2 * count + i] << 16 |
                          (uint32_t)bytes[3 * count + i] << 24;
        codes[i] = zigzag >> 1 ^ (0U - (zigzag & 1));
    }
    for (size_t i = 1; i < count; i++) {
        codes[i] += codes[i - 1];
    }
}

static void read_delta64(const uint8_t *bytes, size_t count, uint64_t *codes)
{
    for (size_t i = 0; i < count; i++) {
        uint64_t zigzag = 0;
        for (size_t b = 0; b < sizeof *codes; b++) {
            zigzag |= (uint64_t)bytes[b * count + i] << (8 * b);
        }
        codes[i] = zigzag >> 1 ^ (UINT64_C(0) - (zigzag & 1));
    }
    for (size_t i = 1; i < count; i++) {
        codes[i] += codes[i - 1];
    }
}

static void arrange_delta(struct sample_codec *codec, const void *codes, size_t count, size_t width)
{
    memcpy(&codec->codes, codes, count * width);
    switch (width) {
    case sizeof(uint16_t):
        arrange_delta16(codec, count);
        return;
    case sizeof(uint32_t):
        arrange_delta32(codec, count);
        return;
    default:
        arrange_delta64(codec, count);
    }
}

static void read_delta(struct sample_codec *codec, size_t count, size_t width, void *codes)
{
    switch (width) {
    case sizeof(uint16_t):
        read_delta16(codec->raw, count, codec->codes.of16);
        break;
    case sizeof(uint32_t):
        read_delta32(codec->raw, count, codec->codes.of32);
        break;
    default:
        read_delta64(codec->raw, count, codec->codes.of64);
    }
    memcpy(codes, &codec->codes, count * width);
}

/* ---- blocks ---- */

_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__,
               "ARRANGED_PLAIN copies the codes as they are in memory");

static bool pack(struct sample_codec *codec, enum arrangement arrangement, const void *codes,
                 size_t count, size_t width, struct error *reterr)
{
    struct packed *packed = &codec->packed;
    const void *raw = codes;
    if (arrangement == ARRANGED_DELTA) {
        arrange_delta(codec, codes, count, width);
        raw = codec->raw;
    }
    packed->bytes[0] = (uint8_t)arrangement;
    size_t length = ZSTD_compressCCtx(codec->encoder, packed->bytes + 1, PACKED_SIZE_MAX, raw,
                                      count * width, ZSTD_LEVEL);
    if (ZSTD_isError(length)) {
        return error_set(reterr, ERROR_INTERNAL, "compress samples: %s", ZSTD_getErrorName(length));
    }
    packed->length = 1 + length;
    return true;
}

/* Floats on a decimal grid pack better as they are, noise does not. The beginning of the block
 * tells, for packing all of it in both ways would be most of what storing floats costs. */
static bool choose_arrangement(struct sample_codec *codec, enum sample_encoding encoding,
                               const void *codes, size_t count, enum arrangement *ret_arrangement,
                               struct error *reterr)
{
    enum { TRIED = 512 };

    *ret_arrangement = ARRANGED_DELTA;
    if (encoding != SAMPLES_FLOAT32 && encoding != SAMPLES_FLOAT64) {
        return true;
    }
    size_t width = sample_encoding_width(encoding);
    size_t tried = count < TRIED ? count : TRIED;
    size_t lengths[ARRANGEMENT_COUNT] = {0};
    for (int a = 0; a < ARRANGEMENT_COUNT; a++) {
        if (!pack(codec, (enum arrangement)a, codes, tried, width, reterr)) {
            return false;
        }
        lengths[a] = codec->packed.length;
    }
    *ret_arrangement =
        lengths[ARRANGED_PLAIN] < lengths[ARRANGED_DELTA] ? ARRANGED_PLAIN : ARRANGED_DELTA;
    return true;
}

bool sample_block_encode(struct sample_codec *codec, const struct samples *samples, size_t index,
                         struct sample_block *ret_block, struct error *reterr)
{
    if (index >= sample_block_count(samples->count)) {
        return error_set(reterr, ERROR_INTERNAL, "no block %zu in %zu samples", index,
                         samples->count);
    }
    size_t first = index * SAMPLE_BLOCK_LENGTH;
    size_t left = samples->count - first;
    size_t count = left < SAMPLE_BLOCK_LENGTH ? left : SAMPLE_BLOCK_LENGTH;
    size_t width = sample_encoding_width(samples->encoding);
    const void *codes = (const uint8_t *)samples->codes + first * width;

    enum arrangement arrangement = ARRANGED_DELTA;
    if (!choose_arrangement(codec, samples->encoding, codes, count, &arrangement, reterr) ||
        !pack(codec, arrangement, codes, count, width, reterr)) {
        return false;
    }
    const struct packed *packed = &codec->packed;
    *ret_block = (struct sample_block){
        .sample_count = (uint32_t)count,
        .checksum = (uint32_t)crc32_z(0, packed->bytes, packed->length),
        .length = packed->length,
        .data = packed->bytes,
    };
    return true;
}

bool sample_block_decode(struct sample_codec *codec, enum sample_encoding encoding,
                         const struct sample_block *block, void *codes, struct error *reterr)
{
    size_t width = sample_encoding_width(encoding);
    if (block->sample_count == 0 || block->sample_count > SAMPLE_BLOCK_LENGTH ||
        block->length < 1) {
        return error_set(reterr, ERROR_INTERNAL, "sample block of impossible size");
    }
    if ((uint32_t)crc32_z(0, block->data, block->length) != block->checksum) {
        return error_set(reterr, ERROR_INTERNAL, "sample block with a wrong checksum");
    }
    enum arrangement arrangement = block->data[0];
    size_t expected = block->sample_count * width;
    size_t length = ZSTD_decompressDCtx(codec->decoder, codec->raw, sizeof codec->raw,
                                        block->data + 1, block->length - 1);
    if (ZSTD_isError(length) || length != expected || arrangement >= ARRANGEMENT_COUNT) {
        return error_set(reterr, ERROR_INTERNAL, "sample block that does not unpack");
    }
    if (arrangement == ARRANGED_DELTA) {
        read_delta(codec, block->sample_count, width, codes);
    } else {
        memcpy(codes, codec->raw, expected);
    }
    return true;
}
