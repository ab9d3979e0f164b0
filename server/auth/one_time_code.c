#include "auth/one_time_code.h"

#include "base/text.h"

#include <liboath/oath.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

enum { URI_LIMIT = 2048, RECOVERY_CHARACTERS = 16 };

static const int64_t step_us = (int64_t)ONE_TIME_STEP_S * 1000000;

bool one_time_code(const unsigned char *secret, size_t length, int64_t step, unsigned digits,
                   char code[ONE_TIME_CODE_SIZE])
{
    char made[ONE_TIME_CODE_SIZE] = "";
    int status = oath_hotp_generate((const char *)secret, length, (uint64_t)step, digits, false,
                                    OATH_HOTP_DYNAMIC_TRUNCATION, made);
    memcpy(code, made, sizeof made);
    sodium_memzero(made, sizeof made);
    return status == OATH_OK;
}

int64_t one_time_step(int64_t time_us)
{
    return time_us / step_us;
}

int64_t one_time_code_step(const unsigned char *secret, size_t length, int64_t now_us,
                           const char *code)
{
    int64_t found = -1;
    char given[ONE_TIME_DIGITS + 1] = "";
    if (strlen(code) != ONE_TIME_DIGITS) {
        return -1;
    }
    memcpy(given, code, ONE_TIME_DIGITS);
    int64_t now = one_time_step(now_us);
    for (int64_t step = now - 1; step <= now + 1; step++) {
        char expected[ONE_TIME_CODE_SIZE];
        if (one_time_code(secret, length, step, ONE_TIME_DIGITS, expected) &&
            sodium_memcmp(expected, given, ONE_TIME_DIGITS) == 0) {
            found = step;
        }
        sodium_memzero(expected, sizeof expected);
    }
    return found;
}

const char *one_time_secret_text(struct arena *arena, const unsigned char *secret, size_t length)
{
    char *encoded = NULL;
    size_t encoded_length = 0;
    if (oath_base32_encode((const char *)secret, length, &encoded, &encoded_length) != OATH_OK) {
        return NULL;
    }
    while (encoded_length > 0 && encoded[encoded_length - 1] == '=') {
        encoded_length--;
    }
    const char *text = arena_strndup(arena, encoded, encoded_length);
    sodium_memzero(encoded, encoded_length);
    free(encoded);
    return text;
}

static void append_escaped(struct text *out, const char *value)
{
    for (; *value != '\0'; value++) {
        bool plain = (*value >= 'a' && *value <= 'z') || (*value >= 'A' && *value <= 'Z') ||
                     (*value >= '0' && *value <= '9') || strchr("-._~", *value) != NULL;
        if (plain) {
            text_append_char(out, *value);
        } else {
            text_printf(out, "%%%02X", (unsigned)(unsigned char)*value);
        }
    }
}

const char *one_time_uri(struct arena *arena, const char *secret_text, const char *username,
                         const char *clinic_name)
{
    struct text uri;
    text_init(&uri, arena, URI_LIMIT);
    text_append(&uri, "otpauth://totp/");
    append_escaped(&uri, clinic_name);
    text_append_char(&uri, ':');
    append_escaped(&uri, username);
    text_printf(&uri, "?secret=%s&issuer=", secret_text);
    append_escaped(&uri, clinic_name);
    text_printf(&uri, "&algorithm=SHA1&digits=%d&period=%d", ONE_TIME_DIGITS, ONE_TIME_STEP_S);
    return uri.data;
}

void recovery_code_new(char text[RECOVERY_CODE_SIZE])
{
    static const char ALPHABET[] = "abcdefghijklmnopqrstuvwxyz234567"; /* of base32 */
    unsigned char bytes[RECOVERY_CHARACTERS];
    randombytes_buf(bytes, sizeof bytes);
    size_t length = 0;
    for (size_t i = 0; i < sizeof bytes; i++) {
        if (i > 0 && i % 4 == 0) {
            text[length++] = '-';
        }
        text[length++] = ALPHABET[bytes[i] % 32];
    }
    text[length] = '\0';
    sodium_memzero(bytes, sizeof bytes);
}

bool recovery_code_hash(const char *text, unsigned char hash[SECRET_HASH_BYTES])
{
    char plain[RECOVERY_CHARACTERS + 1];
    size_t length = 0;
    for (; *text != '\0'; text++) {
        if (strchr(" -\t", *text) != NULL) {
            continue;
        }
        if (length == RECOVERY_CHARACTERS) {
            return false;
        }
        plain[length++] = (char)(*text >= 'A' && *text <= 'Z' ? *text + ('a' - 'A') : *text);
    }
    plain[length] = '\0';
    secret_hash(plain, hash);
    sodium_memzero(plain, sizeof plain);
    return length == RECOVERY_CHARACTERS;
}
