#define ZLIB_CONST

#include "http/encoding.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#include <zlib.h>
#include <zstd.h>

#include <cmocka.h>

enum {
    MEBIBYTE = 1024 * 1024,
    BOMB_SIZE = 4 * MEBIBYTE,
    BOMB_LIMIT = 2097152,
    ALLOWED_KIB = 65536
};

static const enum coding codings[] = {CODING_GZIP, CODING_ZSTD};

static int set_up(void **state)
{
    *state = codec_new();
    return *state == NULL ? -1 : 0;
}

static int tear_down(void **state)
{
    codec_free(*state);
    return 0;
}

struct bytes {
    char *data;
    size_t length;
};

static struct bytes sample_text(size_t length)
{
    struct bytes text = {malloc(length + 1), length};
    assert_non_null(text.data);
    for (size_t i = 0; i < length; i++) {
        text.data[i] = "0123456789,."[(i * i / 7) % 12];
    }
    return text;
}

static struct bytes encode(struct codec *codec, enum coding coding, struct bytes plain)
{
    void *data = NULL;
    struct bytes encoded = {NULL, 0};
    assert_true(codec_encode(codec, coding, plain.data, plain.length, &data, &encoded.length));
    encoded.data = data;
    return encoded;
}

static void gives_back_what_went_in(void **state)
{
    static const size_t lengths[] = {100, 1024, 65536, 65537, 1000000};
    for (size_t c = 0; c < 2; c++) {
        for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
            struct bytes plain = sample_text(lengths[i]);
            struct bytes encoded = encode(*state, codings[c], plain);
            assert_true(encoded.length < plain.length);
            struct bytes back = {NULL, 0};
            assert_int_equal(codec_decode(*state, codings[c], encoded.data, encoded.length,
                                          plain.length, &back.data, &back.length),
                             DECODING_OK);
            assert_int_equal(back.length, plain.length);
            assert_memory_equal(back.data, plain.data, plain.length);
            assert_int_equal(back.data[back.length], '\0');
            free(plain.data);
            free(encoded.data);
            free(back.data);
        }
    }
}

static void holds_the_limit_to_the_byte(void **state)
{
    for (size_t c = 0; c < 2; c++) {
        struct bytes plain = sample_text(200000);
        struct bytes encoded = encode(*state, codings[c], plain);
        char *data = NULL;
        size_t length = 0;
        assert_int_equal(
            codec_decode(*state, codings[c], encoded.data, encoded.length, 199999, &data, &length),
            DECODING_TOO_LARGE);
        assert_null(data);
        assert_int_equal(
            codec_decode(*state, codings[c], encoded.data, encoded.length, 200000, &data, &length),
            DECODING_OK);
        free(data);
        free(plain.data);
        free(encoded.data);
    }
}

static void refuses_every_truncation_and_trailing_bytes(void **state)
{
    for (size_t c = 0; c < 2; c++) {
        struct bytes plain = sample_text(3000);
        struct bytes encoded = encode(*state, codings[c], plain);
        char *data = NULL;
        size_t length = 0;
        for (size_t cut = 0; cut < encoded.length; cut++) {
            assert_int_equal(
                codec_decode(*state, codings[c], encoded.data, cut, 100000, &data, &length),
                DECODING_DAMAGED);
        }
        char *longer = realloc(encoded.data, encoded.length + 3);
        assert_non_null(longer);
        encoded.data = longer;
        memset(longer + encoded.length, 'x', 3);
        assert_int_equal(
            codec_decode(*state, codings[c], longer, encoded.length + 3, 100000, &data, &length),
            DECODING_DAMAGED);
        free(plain.data);
        free(encoded.data);
    }
}

static void refuses_other_codings(void **state)
{
    static const char text[] = "{\"type\": \"uroflowmetry\"}";
    for (size_t c = 0; c < 2; c++) {
        char *data = NULL;
        size_t length = 0;
        assert_int_equal(
            codec_decode(*state, codings[c], text, sizeof text - 1, 1000, &data, &length),
            DECODING_DAMAGED);
        struct bytes plain = sample_text(1000);
        struct bytes other = encode(*state, codings[1 - c], plain);
        assert_int_equal(
            codec_decode(*state, codings[c], other.data, other.length, 1000, &data, &length),
            DECODING_DAMAGED);
        free(plain.data);
        free(other.data);
    }
}

/* A codec is used again after anything that went wrong with it. */
static void recovers_from_damage(void **state)
{
    refuses_every_truncation_and_trailing_bytes(state);
    gives_back_what_went_in(state);
}

/* 500 MiB of zeros as one gzip member. */
static struct bytes gzip_bomb(void)
{
    struct bytes bomb = {malloc(BOMB_SIZE), BOMB_SIZE};
    static char zeros[MEBIBYTE];
    assert_non_null(bomb.data);
    z_stream stream;
    memset(&stream, 0, sizeof stream);
    assert_int_equal(deflateInit2(&stream, 1, Z_DEFLATED, 31, 8, Z_DEFAULT_STRATEGY), Z_OK);
    stream.next_out = (unsigned char *)bomb.data;
    stream.avail_out = BOMB_SIZE;
    for (int i = 0; i < 500; i++) {
        stream.next_in = (const unsigned char *)zeros;
        stream.avail_in = MEBIBYTE;
        int flush = i == 499 ? Z_FINISH : Z_NO_FLUSH;
        assert_int_equal(deflate(&stream, flush), i == 499 ? Z_STREAM_END : Z_OK);
    }
    bomb.length = BOMB_SIZE - stream.avail_out;
    assert_int_equal(deflateEnd(&stream), Z_OK);
    return bomb;
}

static struct bytes zstd_bomb(void)
{
    struct bytes bomb = {malloc(BOMB_SIZE), BOMB_SIZE};
    static char zeros[MEBIBYTE];
    assert_non_null(bomb.data);
    ZSTD_CCtx *context = ZSTD_createCCtx();
    assert_non_null(context);
    ZSTD_outBuffer out = {bomb.data, bomb.length, 0};
    for (int i = 0; i < 500; i++) {
        ZSTD_inBuffer in = {zeros, MEBIBYTE, 0};
        size_t left =
            ZSTD_compressStream2(context, &out, &in, i == 499 ? ZSTD_e_end : ZSTD_e_continue);
        assert_int_equal(ZSTD_isError(left), 0);
        assert_int_equal(in.pos, in.size);
    }
    bomb.length = out.pos;
    (void)ZSTD_freeCCtx(context);
    return bomb;
}

static size_t peak_kib(void)
{
    struct rusage usage;
    assert_int_equal(getrusage(RUSAGE_SELF, &usage), 0);
    return (size_t)usage.ru_maxrss;
}

static void refuses_bombs_in_bounded_memory(void **state)
{
    for (size_t c = 0; c < 2; c++) {
        struct bytes bomb = codings[c] == CODING_GZIP ? gzip_bomb() : zstd_bomb();
        assert_in_range(bomb.length, 1000, BOMB_SIZE);
        size_t before_kib = peak_kib();
        char *data = NULL;
        size_t length = 0;
        assert_int_equal(
            codec_decode(*state, codings[c], bomb.data, bomb.length, BOMB_LIMIT, &data, &length),
            DECODING_TOO_LARGE);
        assert_null(data);
        assert_true(peak_kib() - before_kib < ALLOWED_KIB);
        free(bomb.data);
    }
}

/* A frame that asks for a window of 128 MiB would make a decoder take as much. */
static void refuses_an_oversized_zstd_window(void **state)
{
    struct bytes plain = sample_text(100000);
    ZSTD_CCtx *context = ZSTD_createCCtx();
    assert_non_null(context);
    (void)ZSTD_CCtx_setParameter(context, ZSTD_c_windowLog, 27);
    (void)ZSTD_CCtx_setParameter(context, ZSTD_c_contentSizeFlag, 0);
    static char encoded[200000];
    ZSTD_outBuffer out = {encoded, sizeof encoded, 0};
    ZSTD_inBuffer half = {plain.data, 50000, 0};
    assert_int_equal(ZSTD_isError(ZSTD_compressStream2(context, &out, &half, ZSTD_e_flush)), 0);
    ZSTD_inBuffer rest = {plain.data + 50000, 50000, 0};
    assert_int_equal(ZSTD_compressStream2(context, &out, &rest, ZSTD_e_end), 0);
    (void)ZSTD_freeCCtx(context);
    char *data = NULL;
    size_t length = 0;
    assert_int_equal(codec_decode(*state, CODING_ZSTD, encoded, out.pos, 1000000, &data, &length),
                     DECODING_DAMAGED);
    free(plain.data);
}

static void does_not_make_anything_larger(void **state)
{
    char noise[2000];
    uint32_t seed = 1;
    for (size_t i = 0; i < sizeof noise; i++) {
        seed = seed * 1664525U + 1013904223U; /* Numerical Recipes' generator */
        noise[i] = (char)(seed >> 24);
    }
    void *data = NULL;
    size_t length = 0;
    for (size_t c = 0; c < 2; c++) {
        assert_false(codec_encode(*state, codings[c], noise, sizeof noise, &data, &length));
        assert_false(codec_encode(*state, codings[c], noise, 1, &data, &length));
        assert_false(codec_encode(*state, codings[c], noise, 0, &data, &length));
    }
    assert_false(codec_encode(*state, CODING_IDENTITY, noise, sizeof noise, &data, &length));
}

static void reads_content_encoding(void **state)
{
    (void)state;

    static const struct {
        const char *field;
        bool good;
        enum coding coding;
    } cases[] = {
        {NULL, true, CODING_IDENTITY},          {"", true, CODING_IDENTITY},
        {"identity", true, CODING_IDENTITY},    {"GZIP", true, CODING_GZIP},
        {"x-gzip", true, CODING_GZIP},          {" zstd ", true, CODING_ZSTD},
        {"br", false, CODING_IDENTITY},         {"gzip, zstd", false, CODING_IDENTITY},
        {"gzip, gzip", false, CODING_IDENTITY},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        enum coding coding = CODING_IDENTITY;
        assert_int_equal(coding_parse(cases[i].field, &coding), cases[i].good);
        if (cases[i].good) {
            assert_int_equal(coding, cases[i].coding);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(gives_back_what_went_in, set_up, tear_down),
        cmocka_unit_test_setup_teardown(holds_the_limit_to_the_byte, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refuses_every_truncation_and_trailing_bytes, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(refuses_other_codings, set_up, tear_down),
        cmocka_unit_test_setup_teardown(recovers_from_damage, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refuses_bombs_in_bounded_memory, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refuses_an_oversized_zstd_window, set_up, tear_down),
        cmocka_unit_test_setup_teardown(does_not_make_anything_larger, set_up, tear_down),
        cmocka_unit_test(reads_content_encoding),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
