/* Content codings under libFuzzer. The first byte says what: 'z' and 'g' decode the rest, zstd or
 * gzip, under a limit of the two bytes that follow; 'Z' and 'G' encode it, decode that, and decode
 * it cut short. The codec is kept from input to input as a worker keeps it, and what it gives must
 * not depend on what it did before. */
#include "promise.h"

#include "http/encoding.h"

#define ZLIB_CONST
#include <stdlib.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>

enum { PLAIN_MAX = 1 << 17 };

struct bytes {
    const void *data;
    size_t length;
};

/* Decodes with zlib alone, in one go a member; false unless all is sound and fits. */
static bool plain_gzip(const uint8_t *input, size_t length, uint8_t *output, size_t *ret_length)
{
    z_stream stream = {
        .next_in = input, .avail_in = (unsigned)length, .next_out = output, .avail_out = PLAIN_MAX};
    int state = Z_OK;
    do {
        if (inflateInit2(&stream, 15 + 16) != Z_OK) {
            return false;
        }
        state = inflate(&stream, Z_FINISH);
        (void)inflateEnd(&stream);
    } while (state == Z_STREAM_END && stream.avail_in > 0);
    *ret_length = PLAIN_MAX - stream.avail_out;
    return state == Z_STREAM_END;
}

static bool plain_zstd(const uint8_t *input, size_t length, uint8_t *output, size_t *ret_length)
{
    *ret_length = ZSTD_decompress(output, PLAIN_MAX, input, length);
    return ZSTD_isError(*ret_length) == 0;
}

/* Decoding gives `expected`. */
static void check_same(struct codec *codec, enum coding coding, struct bytes input, size_t limit,
                       struct bytes expected)
{
    char *text = NULL;
    size_t length = 0;
    enum decoding outcome =
        codec_decode(codec, coding, input.data, input.length, limit, &text, &length);
    promise(outcome == DECODING_OK && length == expected.length &&
                memcmp(text, expected.data, length) == 0,
            "the same once more");
    free(text);
}

static void check_plain(enum coding coding, const uint8_t *input, size_t length, const char *text,
                        size_t text_length)
{
    uint8_t *plain = malloc(PLAIN_MAX);
    size_t plain_length = 0;
    promise(plain != NULL, "there is memory");
    bool good = coding == CODING_GZIP ? plain_gzip(input, length, plain, &plain_length)
                                      : plain_zstd(input, length, plain, &plain_length);
    /* In one go libzstd also takes what a stream must refuse: windows beyond 8 MiB, and blocks that
     * are longer than their window. */
    promise(good == (text != NULL) || (good && coding == CODING_ZSTD),
            "sound as the library alone says");
    promise(text == NULL || (plain_length == text_length && memcmp(plain, text, text_length) == 0),
            "the bytes that the library alone gives");
    free(plain);
}

static void check_decoding(struct codec *codec, enum coding coding, const uint8_t *input,
                           size_t length, size_t limit)
{
    char *text = NULL;
    size_t text_length = 0;
    enum decoding outcome = codec_decode(codec, coding, input, length, limit, &text, &text_length);
    promise(outcome != DECODING_NO_MEMORY, "memory suffices");
    promise((outcome == DECODING_OK) == (text != NULL), "a text when it is sound");
    if (outcome == DECODING_TOO_LARGE) {
        return;
    }
    if (outcome == DECODING_OK) {
        struct codec *fresh = codec_new();
        promise(text_length <= limit && text[text_length] == '\0', "within the limit, and ended");
        check_same(fresh, coding, (struct bytes){input, length}, text_length,
                   (struct bytes){text, text_length});
        codec_free(fresh);
        char *more = NULL;
        size_t ignored = 0;
        promise(text_length == 0 || codec_decode(codec, coding, input, length, text_length - 1,
                                                 &more, &ignored) == DECODING_TOO_LARGE,
                "a limit one byte lower is passed");
    }
    check_plain(coding, input, length, text, text_length);
    free(text);
}

static void check_encoding(struct codec *codec, enum coding coding, const uint8_t *input,
                           size_t length)
{
    void *packed = NULL;
    size_t packed_length = 0;
    if (!codec_encode(codec, coding, input, length, &packed, &packed_length)) {
        return;
    }
    char *text = NULL;
    size_t ignored = 0;
    struct bytes whole = {input, length};
    struct bytes smaller = {packed, packed_length};
    promise(packed_length < length, "smaller than it was");
    check_same(codec, coding, smaller, length, whole);
    promise(codec_decode(codec, coding, packed, packed_length - 1, length, &text, &ignored) ==
                DECODING_DAMAGED,
            "what is cut short is damaged");
    check_same(codec, coding, smaller, length, whole);
    free(packed);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static struct codec *codec;
    if (codec == NULL) {
        codec = codec_new();
        promise(codec != NULL, "there is memory");
    }
    if (size < 3) {
        return 0;
    }
    size_t limit = ((size_t)bytes[1] << 8 | bytes[2]) + 1;
    char *input = promise_text(bytes + 3, size - 3);
    switch (bytes[0]) {
    case 'z':
    case 'g':
        check_decoding(codec, bytes[0] == 'z' ? CODING_ZSTD : CODING_GZIP, (const uint8_t *)input,
                       size - 3, limit);
        break;
    default:
        check_encoding(codec, bytes[0] == 'Z' ? CODING_ZSTD : CODING_GZIP, (const uint8_t *)input,
                       size - 3);
        break;
    }
    free(input);
    return 0;
}
