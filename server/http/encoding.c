#include "http/encoding.h"

#include "http/field.h"

#define ZLIB_CONST /* zlib.h then takes its input as const */
#include <limits.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>

enum {
    INITIAL_OUTPUT = 65536,
    ZSTD_LEVEL = 1,
    ZSTD_WINDOW_LOG = 23, /* 8 MiB: what RFC 8878 asks every decoder to manage */
    GZIP_LEVEL = 4,
    GZIP_WINDOW = 15 + 16, /* zlib: the largest window, with a gzip header */
    GZIP_MEMORY = 8
};

struct codec {
    ZSTD_CCtx *zstd_encoder;
    ZSTD_DCtx *zstd_decoder;
    z_stream deflater;
    z_stream inflater;
    bool has_deflater;
    bool has_inflater;
};

/* Grows up to limit + 1 bytes: the one more shows that the limit is passed. */
struct output {
    char *data;
    size_t length;
    size_t capacity;
    size_t limit;
};

struct codec *codec_new(void)
{
    return calloc(1, sizeof(struct codec));
}

void codec_free(struct codec *codec)
{
    if (codec == NULL) {
        return;
    }
    ZSTD_freeCCtx(codec->zstd_encoder);
    ZSTD_freeDCtx(codec->zstd_decoder);
    if (codec->has_deflater) {
        (void)deflateEnd(&codec->deflater);
    }
    if (codec->has_inflater) {
        (void)inflateEnd(&codec->inflater);
    }
    free(codec);
}

bool coding_parse(const char *field, enum coding *ret_coding)
{
    struct field_element element;
    *ret_coding = CODING_IDENTITY;
    if (field == NULL || !field_next_element(&field, &element)) {
        return true;
    }
    struct field_element another;
    if (field_next_element(&field, &another)) {
        return false;
    }
    if (slice_equals(element.value, "gzip") || slice_equals(element.value, "x-gzip")) {
        *ret_coding = CODING_GZIP;
        return true;
    }
    if (slice_equals(element.value, "zstd")) {
        *ret_coding = CODING_ZSTD;
        return true;
    }
    return slice_equals(element.value, "identity");
}

const char *coding_name(enum coding coding)
{
    switch (coding) {
    case CODING_GZIP:
        return "gzip";
    case CODING_ZSTD:
        return "zstd";
    case CODING_IDENTITY:
        break;
    }
    return NULL;
}

/* Makes room for at least one more byte, and the NUL. */
static enum decoding output_grow(struct output *output)
{
    if (output->length < output->capacity) {
        return DECODING_OK;
    }
    if (output->length > output->limit) {
        return DECODING_TOO_LARGE;
    }
    size_t capacity = output->capacity == 0 ? INITIAL_OUTPUT : output->capacity * 2;
    if (capacity > output->limit + 1) {
        capacity = output->limit + 1;
    }
    char *data = realloc(output->data, capacity + 1);
    if (data == NULL) {
        return DECODING_NO_MEMORY;
    }
    output->data = data;
    output->capacity = capacity;
    return DECODING_OK;
}

static unsigned portion(size_t length)
{
    return length < UINT_MAX ? (unsigned)length : UINT_MAX;
}

static bool prepare_inflater(struct codec *codec)
{
    if (!codec->has_inflater) {
        codec->has_inflater = inflateInit2(&codec->inflater, GZIP_WINDOW) == Z_OK;
        return codec->has_inflater;
    }
    return inflateReset(&codec->inflater) == Z_OK;
}

static enum decoding decode_gzip(struct codec *codec, const void *input, size_t length,
                                 struct output *output)
{
    if (!prepare_inflater(codec)) {
        return DECODING_NO_MEMORY;
    }
    z_stream *stream = &codec->inflater;
    const unsigned char *in = input;
    size_t used = 0;
    int state = Z_OK;
    while (used < length || state != Z_STREAM_END) {
        if (state == Z_STREAM_END && inflateReset(stream) != Z_OK) {
            return DECODING_NO_MEMORY; /* another member follows */
        }
        enum decoding room = output_grow(output);
        if (room != DECODING_OK) {
            return room;
        }
        stream->next_in = in + used;
        stream->avail_in = portion(length - used);
        stream->next_out = (unsigned char *)output->data + output->length;
        stream->avail_out = portion(output->capacity - output->length);
        unsigned in_before = stream->avail_in;
        unsigned out_before = stream->avail_out;
        state = inflate(stream, Z_NO_FLUSH);
        used += in_before - stream->avail_in;
        output->length += out_before - stream->avail_out;
        if (state == Z_MEM_ERROR) {
            return DECODING_NO_MEMORY;
        }
        if (state != Z_OK && state != Z_STREAM_END) {
            return DECODING_DAMAGED; /* includes Z_BUF_ERROR: the input ended too early */
        }
    }
    return DECODING_OK;
}

static enum decoding decode_zstd(struct codec *codec, const void *input, size_t length,
                                 struct output *output)
{
    if (codec->zstd_decoder == NULL) {
        codec->zstd_decoder = ZSTD_createDCtx();
        if (codec->zstd_decoder == NULL ||
            ZSTD_isError(ZSTD_DCtx_setParameter(codec->zstd_decoder, ZSTD_d_windowLogMax,
                                                ZSTD_WINDOW_LOG)) != 0) {
            return DECODING_NO_MEMORY;
        }
    }
    (void)ZSTD_DCtx_reset(codec->zstd_decoder, ZSTD_reset_session_only);
    ZSTD_inBuffer in = {input, length, 0};
    size_t left = 1; /* 0: at the end of a frame, all of it flushed */
    while (in.pos < in.size || left != 0) {
        enum decoding room = output_grow(output);
        if (room != DECODING_OK) {
            return room;
        }
        ZSTD_outBuffer out = {output->data, output->capacity, output->length};
        size_t in_before = in.pos;
        left = ZSTD_decompressStream(codec->zstd_decoder, &out, &in);
        bool moved = in.pos > in_before || out.pos > output->length;
        output->length = out.pos;
        if (ZSTD_isError(left) != 0 || !moved) {
            return DECODING_DAMAGED;
        }
    }
    return DECODING_OK;
}

enum decoding codec_decode(struct codec *codec, enum coding coding, const void *input,
                           size_t length, size_t limit, char **ret_output, size_t *ret_length)
{
    struct output output = {NULL, 0, 0, limit < SIZE_MAX / 4 ? limit : SIZE_MAX / 4};
    enum decoding result = coding == CODING_GZIP ? decode_gzip(codec, input, length, &output)
                                                 : decode_zstd(codec, input, length, &output);
    if (result == DECODING_OK && output.length > limit) {
        result = DECODING_TOO_LARGE;
    }
    if (result != DECODING_OK) {
        free(output.data);
        return result;
    }
    output.data[output.length] = '\0';
    *ret_output = output.data;
    *ret_length = output.length;
    return DECODING_OK;
}

static size_t encode_gzip(struct codec *codec, const void *input, size_t length, void *output,
                          size_t capacity)
{
    if (codec->has_deflater) {
        codec->has_deflater = deflateReset(&codec->deflater) == Z_OK;
    } else {
        codec->has_deflater = deflateInit2(&codec->deflater, GZIP_LEVEL, Z_DEFLATED, GZIP_WINDOW,
                                           GZIP_MEMORY, Z_DEFAULT_STRATEGY) == Z_OK;
    }
    if (!codec->has_deflater || length > UINT_MAX) {
        return 0;
    }
    z_stream *stream = &codec->deflater;
    stream->next_in = input;
    stream->avail_in = (unsigned)length;
    stream->next_out = output;
    stream->avail_out = (unsigned)capacity;
    return deflate(stream, Z_FINISH) == Z_STREAM_END ? capacity - stream->avail_out : 0;
}

static size_t encode_zstd(struct codec *codec, const void *input, size_t length, void *output,
                          size_t capacity)
{
    if (codec->zstd_encoder == NULL) {
        codec->zstd_encoder = ZSTD_createCCtx();
    }
    if (codec->zstd_encoder == NULL) {
        return 0;
    }
    size_t written =
        ZSTD_compressCCtx(codec->zstd_encoder, output, capacity, input, length, ZSTD_LEVEL);
    return ZSTD_isError(written) != 0 ? 0 : written;
}

bool codec_encode(struct codec *codec, enum coding coding, const void *input, size_t length,
                  void **ret_output, size_t *ret_length)
{
    if (coding == CODING_IDENTITY || length < 2) {
        return false;
    }
    /* No larger than the input: an encoder that needs more fails, and has not helped. */
    size_t capacity = length - 1;
    void *output = malloc(capacity);
    if (output == NULL) {
        return false;
    }
    size_t written = coding == CODING_GZIP ? encode_gzip(codec, input, length, output, capacity)
                                           : encode_zstd(codec, input, length, output, capacity);
    if (written == 0) {
        free(output);
        return false;
    }
    *ret_output = output;
    *ret_length = written;
    return true;
}
