#include "formats/packed_text.h"

#include <zstd.h>

enum { ZSTD_LEVEL = 1 };

bool packed_text_make(struct arena *arena, const char *text, size_t length,
                      const uint8_t **ret_data, size_t *ret_length, struct error *reterr)
{
    ZSTD_CCtx *encoder = ZSTD_createCCtx();
    if (encoder == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory to compress a text");
    }
    size_t capacity = ZSTD_compressBound(length);
    uint8_t *data = arena_alloc(arena, capacity);
    (void)ZSTD_CCtx_setParameter(encoder, ZSTD_c_compressionLevel, ZSTD_LEVEL);
    (void)ZSTD_CCtx_setParameter(encoder, ZSTD_c_checksumFlag, 1);
    size_t packed = ZSTD_compress2(encoder, data, capacity, text, length);
    ZSTD_freeCCtx(encoder);
    if (ZSTD_isError(packed) != 0) {
        return error_set(reterr, ERROR_INTERNAL, "compress a text: %s", ZSTD_getErrorName(packed));
    }
    *ret_data = data;
    *ret_length = packed;
    return true;
}

bool packed_text_read(struct arena *arena, const uint8_t *data, size_t length, size_t limit,
                      const char **ret_text, size_t *ret_length, struct error *reterr)
{
    unsigned long long size = ZSTD_getFrameContentSize(data, length);
    if (size == ZSTD_CONTENTSIZE_UNKNOWN || size == ZSTD_CONTENTSIZE_ERROR || size > limit) {
        return error_set(reterr, ERROR_INTERNAL, "compressed text of impossible size");
    }
    char *text = arena_alloc(arena, (size_t)size + 1);
    size_t unpacked = ZSTD_decompress(text, (size_t)size, data, length);
    if (ZSTD_isError(unpacked) != 0 || unpacked != size) {
        return error_set(reterr, ERROR_INTERNAL, "compressed text that does not unpack");
    }
    *ret_text = text;
    *ret_length = unpacked;
    return true;
}
