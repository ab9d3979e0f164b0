/* Keys in files, and what they seal. */
#include "auth/password.h"
#include "auth/sealing.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* 32 bytes 0x00 to 0x1f, as base64 (RFC 4648, section 4). */
static const char KEY_TEXT[] = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n";

static char path[64];

static void write_file(const void *bytes, size_t length, mode_t mode)
{
    int file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    assert_true(file >= 0);
    assert_int_equal(write(file, bytes, length), length);
    assert_int_equal(fchmod(file, mode), 0);
    assert_int_equal(close(file), 0);
}

static bool reads(struct sealing_key **ret_key)
{
    struct error error = {0};
    bool good = sealing_key_read(path, ret_key, &error);
    if (!good) {
        assert_non_null(strstr(error.detail, "PENSTOCK_KEY_FILE"));
    }
    return good;
}

static void a_key_is_read_raw_or_as_base64(void **state)
{
    (void)state;
    unsigned char raw[SEALING_KEY_BYTES];
    for (size_t i = 0; i < sizeof raw; i++) {
        raw[i] = (unsigned char)i;
    }
    struct sealing_key *from_text = NULL;
    struct sealing_key *from_bytes = NULL;
    write_file(KEY_TEXT, sizeof KEY_TEXT - 1, 0600);
    assert_true(reads(&from_text));
    write_file(raw, sizeof raw, 0400);
    assert_true(reads(&from_bytes));
    unsigned char sealed[5 + SEALING_OVERHEAD];
    char opened[5] = "";
    seal(from_text, "of a", "hello", 5, sealed);
    assert_true(unseal(from_bytes, "of a", sealed, sizeof sealed, opened));
    assert_memory_equal(opened, "hello", 5);
    sealing_key_free(from_text);
    sealing_key_free(from_bytes);
}

static void a_key_that_others_may_read_is_refused(void **state)
{
    (void)state;
    struct sealing_key *key = NULL;
    static const mode_t OPEN[] = {0640, 0604, 0660, 0610, 0602};
    for (size_t i = 0; i < sizeof OPEN / sizeof OPEN[0]; i++) {
        write_file(KEY_TEXT, sizeof KEY_TEXT - 1, OPEN[i]);
        assert_false(reads(&key));
    }
}

static void what_is_no_key_is_refused(void **state)
{
    (void)state;
    struct sealing_key *key = NULL;
    static const char *const NO_KEYS[] = {"", "short",
                                          "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHg==",
                                          "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=AAAA"};
    for (size_t i = 0; i < sizeof NO_KEYS / sizeof NO_KEYS[0]; i++) {
        write_file(NO_KEYS[i], strlen(NO_KEYS[i]), 0600);
        assert_false(reads(&key));
    }
    assert_int_equal(unlink(path), 0);
    assert_false(reads(&key));
    assert_int_equal(mkdir(path, 0700), 0);
    assert_false(reads(&key));
    assert_int_equal(rmdir(path), 0);
}

static void what_is_sealed_opens_only_for_its_owner(void **state)
{
    (void)state;
    struct sealing_key *key = NULL;
    unsigned char sealed[5 + SEALING_OVERHEAD];
    unsigned char again[5 + SEALING_OVERHEAD];
    char opened[5] = "";
    write_file(KEY_TEXT, sizeof KEY_TEXT - 1, 0600);
    assert_true(reads(&key));
    seal(key, "of a", "hello", 5, sealed);
    seal(key, "of a", "hello", 5, again);
    assert_memory_not_equal(sealed, again, sizeof sealed);
    assert_true(unseal(key, "of a", sealed, sizeof sealed, opened));
    assert_false(unseal(key, "of b", sealed, sizeof sealed, opened));
    assert_false(unseal(key, "of a", sealed, sizeof sealed - 1, opened));
    assert_false(unseal(key, "of a", sealed, SEALING_OVERHEAD - 1, opened));
    for (size_t i = 0; i < sizeof sealed; i++) {
        sealed[i] ^= 1U;
        assert_false(unseal(key, "of a", sealed, sizeof sealed, opened));
        sealed[i] ^= 1U;
    }
    sealing_key_free(key);
    sealing_key_free(NULL);
}

int main(void)
{
    if (!password_library_start()) {
        return 1;
    }
    (void)snprintf(path, sizeof path, "/tmp/penstock-test-key-%ld", (long)getpid());
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_key_is_read_raw_or_as_base64),
        cmocka_unit_test(a_key_that_others_may_read_is_refused),
        cmocka_unit_test(what_is_no_key_is_refused),
        cmocka_unit_test(what_is_sealed_opens_only_for_its_owner),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    (void)unlink(path);
    return failed;
}
